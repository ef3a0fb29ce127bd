package identity_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/identity"
)

// token is a token of somebody's own.
func (r *rig) token(t testing.TB, who identity.Actor, scopes ...identity.TokenScope) (string, identity.Token) {
	t.Helper()
	secret, made, err := r.CreateToken(t.Context(), who, identity.Token{PersonID: who.PersonID, Name: "gate", Scopes: scopes, ExpiresAt: r.now.Add(30 * 24 * time.Hour)}, "")
	if err != nil {
		t.Fatal(err)
	}
	return secret, made
}

func TestATokenActsForItsPersonWithinItsScopes(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	who, _ := r.settled(t, "ada@lintel.example", identity.Technician)
	secret, made := r.token(t, who, identity.TokenVisits, identity.TokenRead, identity.TokenRead)
	if want := []identity.TokenScope{identity.TokenRead, identity.TokenVisits}; !slices.Equal(made.Scopes, want) {
		t.Errorf("scopes %v, want %v", made.Scopes, want)
	}
	got, err := r.Authenticate(t.Context(), secret)
	if err != nil || got.PersonID != who.PersonID || got.SessionID != uuid.Nil || !slices.Equal(got.TokenScopes, made.Scopes) {
		t.Fatalf("%+v, %v", got, err)
	}
	for action, want := range map[identity.Action]bool{identity.ActReadRegister: true, identity.ActLogVisit: true, identity.ActMakeReport: false, identity.ActSelf: false, identity.ActRevealCode: false} {
		if got.May(action) != want {
			t.Errorf("%s: %v", action, !want)
		}
	}
	if got := r.actions(t, made.TokenID); !slices.Equal(got, []string{"token_made"}) {
		t.Errorf("audit %v", got)
	}
}

func TestATokenThatHasEndedOpensNothing(t *testing.T) {
	t.Parallel()
	for name, end := range map[string]func(*testing.T, *rig, identity.Token){
		"expired": func(_ *testing.T, r *rig, _ identity.Token) { r.pass(30 * 24 * time.Hour) },
		"revoked": func(t *testing.T, r *rig, k identity.Token) {
			wantFault(t, r.RevokeToken(t.Context(), program, k.PersonID, k.TokenID, ""))
		},
		"its person disabled": func(t *testing.T, r *rig, k identity.Token) {
			_, err := r.DisablePerson(t.Context(), program, k.PersonID, true, "")
			wantFault(t, err)
		},
		"its person disabled and enabled again": func(t *testing.T, r *rig, k identity.Token) {
			for _, disabled := range []bool{true, false} {
				_, err := r.DisablePerson(t.Context(), program, k.PersonID, disabled, "")
				wantFault(t, err)
			}
		},
		"its person expired": func(t *testing.T, r *rig, k identity.Token) { r.exec(t, `update person set expires_at = $1`, r.now) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newPeople(t)
			who, _ := r.settled(t, "ada@lintel.example", identity.Technician)
			secret, made := r.token(t, who, identity.TokenRead)
			if _, err := r.Authenticate(t.Context(), secret); err != nil {
				t.Fatal(err)
			}
			end(t, r, made)
			_, err := r.Authenticate(t.Context(), secret)
			wantFault(t, err, "session_ended")
		})
	}
}

// A one-time password opens the changing of it and nothing else: not a token either, which would stay.
func TestAOneTimePasswordMakesNoToken(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	p, oneTime := r.person(t, "ada@lintel.example", identity.Administrator)
	_, who := r.signIn(t, p.Email, oneTime)
	_, _, err := r.CreateToken(t.Context(), who, identity.Token{PersonID: p.PersonID, Name: "gate", Scopes: []identity.TokenScope{identity.TokenRead}, ExpiresAt: r.now.Add(time.Hour)}, "")
	wantFault(t, err, "password_change_needed")
}

func TestATokenMakesNoTokenForItsOwnPerson(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	who, _ := r.settled(t, "ada@lintel.example", identity.Administrator)
	secret, _ := r.token(t, who, identity.TokenScopes()...)
	program, err := r.Authenticate(t.Context(), secret)
	if err != nil {
		t.Fatal(err)
	}
	_, _, err = r.CreateToken(t.Context(), program, identity.Token{PersonID: who.PersonID, Name: "gate", Scopes: []identity.TokenScope{identity.TokenRead}, ExpiresAt: r.now.Add(time.Hour)}, "")
	wantFault(t, err, "not_allowed")
}

func TestAWrongTokenIsRefusedWithEveryMemberAtFault(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	who, _ := r.settled(t, "ada@lintel.example", identity.Technician)
	for _, c := range []struct {
		token identity.Token
		want  []string
	}{
		{identity.Token{}, []string{"text_missing at /name", "token_scope_missing at /scopes", "token_life at /expires_at"}},
		{identity.Token{Name: "gate", Scopes: []identity.TokenScope{"read", "everything"}, ExpiresAt: r.now.Add(367 * 24 * time.Hour)}, []string{"word_unknown at /scopes", "token_life at /expires_at"}},
	} {
		c.token.PersonID = who.PersonID
		secret, _, err := r.CreateToken(t.Context(), who, c.token, "")
		wantFault(t, err, c.want...)
		if secret != "" {
			t.Error("a secret of no token")
		}
	}
	_, _, err := r.CreateToken(t.Context(), program, identity.Token{PersonID: r.id(), Name: "gate", Scopes: []identity.TokenScope{"read"}, ExpiresAt: r.now.Add(time.Hour)}, "")
	wantFault(t, err, "person_not_found")
}

func TestTokensAreListedNewestFirstAndRevokedOnce(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	who, _ := r.settled(t, "ada@lintel.example", identity.Technician)
	other, _ := r.settled(t, "other@lintel.example", identity.Technician)
	var want []uuid.UUID
	for range 3 { // at one instant
		_, made := r.token(t, who, identity.TokenRead)
		want = append([]uuid.UUID{made.TokenID}, want...)
	}
	var got []uuid.UUID
	for page := (identity.Page{Limit: 2}); ; {
		list, err := r.Tokens(t.Context(), who, who.PersonID, page)
		if err != nil {
			t.Fatal(err)
		}
		for _, k := range list {
			got = append(got, k.TokenID)
			page.BeforeAt, page.BeforeID = k.CreatedAt, k.TokenID
		}
		if len(list) < page.Limit {
			break
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	wantFault(t, r.RevokeToken(t.Context(), other, other.PersonID, want[0], ""), "token_not_found")
	wantFault(t, r.RevokeToken(t.Context(), who, who.PersonID, want[0], ""))
	wantFault(t, r.RevokeToken(t.Context(), who, who.PersonID, want[0], ""), "token_not_found")
	if got := r.actions(t, want[0]); !slices.Equal(got, []string{"token_made", "token_revoked"}) {
		t.Errorf("audit %v", got)
	}
}
