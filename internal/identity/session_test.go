package identity_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/alexedwards/argon2id"
	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// weakHash is a hash with parameters of former days.
func weakHash(t testing.TB, password string) string {
	t.Helper()
	hash, err := argon2id.CreateHash(password, &argon2id.Params{Memory: 8 << 10, Iterations: 1, Parallelism: 1, SaltLength: 16, KeyLength: 32})
	if err != nil {
		t.Fatal(err)
	}
	return hash
}

func TestASecretThatHasEndedOpensNothing(t *testing.T) {
	t.Parallel()
	for name, end := range map[string]func(*testing.T, *rig, identity.Actor){
		"signed out": func(t *testing.T, r *rig, who identity.Actor) {
			if err := r.SignOut(t.Context(), who, ""); err != nil {
				t.Error(err)
			}
		},
		"ended": func(t *testing.T, r *rig, who identity.Actor) {
			wantFault(t, r.EndSession(t.Context(), who, who.SessionID, ""))
		},
		"unused for 12 h":    func(_ *testing.T, r *rig, _ identity.Actor) { r.pass(12 * time.Hour) },
		"its person expired": func(_ *testing.T, r *rig, _ identity.Actor) { r.exec(t, `update person set expires_at = $1`, r.now) },
		"its person disabled": func(t *testing.T, r *rig, who identity.Actor) {
			if _, err := r.DisablePerson(t.Context(), program, who.PersonID, true, ""); err != nil {
				t.Error(err)
			}
		},
		"its person disabled and enabled again": func(t *testing.T, r *rig, who identity.Actor) {
			for _, disabled := range []bool{true, false} {
				if _, err := r.DisablePerson(t.Context(), program, who.PersonID, disabled, ""); err != nil {
					t.Error(err)
				}
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newPeople(t)
			who, secret := r.settled(t, "ada@lintel.example", identity.Technician)
			end(t, r, who)
			got, err := r.Authenticate(t.Context(), secret)
			wantFault(t, err, "session_ended")
			if f := fault.Of(err); len(f) != 1 || f[0].Kind != fault.Unauthenticated || got.Role != "" {
				t.Errorf("%+v, %v", got, err)
			}
		})
	}
}

func TestASessionInUseLastsSevenDays(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	_, secret := r.settled(t, "ada@lintel.example", identity.Technician)
	for passed := time.Duration(0); passed < 7*24*time.Hour; passed += 8 * time.Hour {
		if _, err := r.Authenticate(t.Context(), secret); err != nil {
			t.Fatalf("after %s: %v", passed, err)
		}
		r.pass(8 * time.Hour)
	}
	_, err := r.Authenticate(t.Context(), secret)
	wantFault(t, err, "session_ended")
}

func TestUseIsWrittenAtMostOnceAMinute(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	_, secret := r.settled(t, "ada@lintel.example", identity.Technician)
	began := r.now
	for _, c := range []struct{ pass, seen time.Duration }{{59 * time.Second, 0}, {time.Second, time.Minute}, {30 * time.Second, time.Minute}, {time.Hour, time.Hour + 90*time.Second}} {
		r.pass(c.pass)
		if _, err := r.Authenticate(t.Context(), secret); err != nil {
			t.Fatal(err)
		}
		if n := r.count(t, `select count(*) from session where last_seen_at = $1`, began.Add(c.seen)); n != 1 {
			t.Errorf("at %s the last use is not written as %s", r.now.Sub(began), c.seen)
		}
	}
}

func TestASecretThatIsNotOursIsUnknown(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	for _, secret := range []string{"", "lintel_", "x\x00y", strings.Repeat("a", 10000), "lintel_" + strings.Repeat("A", 43)} {
		_, err := r.Authenticate(t.Context(), secret)
		wantFault(t, err, "secret_unknown")
		if f := fault.Of(err); len(f) != 1 || f[0].Kind != fault.Unauthenticated {
			t.Errorf("%.20q: %v", secret, err)
		}
	}
}

func TestRightsAreReadAnewAtEveryRequest(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	who, secret := r.settled(t, "ada@lintel.example", identity.OwnerAgent)
	p, err := r.Self(t.Context(), who)
	if err != nil {
		t.Fatal(err)
	}
	p.Customers = []uuid.UUID{r.customer(t), r.customer(t)}
	if _, _, _, err := r.PutPerson(t.Context(), program, p, p.Version, ""); err != nil {
		t.Fatal(err)
	}
	if who, err = r.Authenticate(t.Context(), secret); err != nil || !slices.Equal(who.Customers, p.Customers) {
		t.Errorf("sees %v, %v; want %v", who.Customers, err, p.Customers)
	}
}

func TestSessionsAreOnesOwnPagedAndWithoutThoseThatEnded(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	other, _ := r.settled(t, "other@lintel.example", identity.Technician)
	who, _ := r.settled(t, "ada@lintel.example", identity.Technician)
	want := []uuid.UUID{who.SessionID}
	for range 3 {
		r.pass(time.Minute)
		_, again := r.signIn(t, "ada@lintel.example", password)
		want = append([]uuid.UUID{again.SessionID}, want...)
	}
	wantFault(t, r.EndSession(t.Context(), other, want[0], ""), "session_not_found")
	if err := r.EndSession(t.Context(), who, want[0], ""); err != nil {
		t.Fatal(err)
	}
	wantFault(t, r.EndSession(t.Context(), who, want[0], ""), "session_not_found")
	want = want[1:]
	var got []uuid.UUID
	for page := (identity.Page{Limit: 2}); ; {
		list, err := r.Sessions(t.Context(), who, page)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range list {
			got = append(got, s.SessionID)
			page.BeforeAt, page.BeforeID = s.CreatedAt, s.SessionID
		}
		if len(list) < page.Limit {
			break
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("sessions %v, want %v", got, want)
	}
	r.pass(12 * time.Hour)
	if list, err := r.Sessions(t.Context(), who, identity.Page{Limit: 10}); err != nil || len(list) != 0 {
		t.Errorf("%d sessions that nobody used are listed, %v", len(list), err)
	}
}

func TestSigningOutTwiceIsSignedOut(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	who, _ := r.settled(t, "ada@lintel.example", identity.Technician)
	for range 2 {
		if err := r.SignOut(t.Context(), who, ""); err != nil {
			t.Fatal(err)
		}
	}
	if got := r.actions(t, who.SessionID); !slices.Equal(got, []string{"signed_in", "signed_out"}) {
		t.Errorf("audit %v", got)
	}
}
