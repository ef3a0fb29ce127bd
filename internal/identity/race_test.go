package identity_test

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/identity"
)

// midway does something else at the last moment: just before a session, a token or a chosen password is written.
type midway struct {
	identity.GateStore
	do func()
}

func (m midway) InGate(ctx context.Context, f func(context.Context, identity.GateTx) error) error {
	return m.GateStore.InGate(ctx, func(ctx context.Context, tx identity.GateTx) error { return f(ctx, midwayTx{tx, m.do}) })
}

type midwayTx struct {
	identity.GateTx
	do func()
}

func (m midwayTx) InsertSession(ctx context.Context, hash [32]byte, s identity.Session) error {
	m.do()
	return m.GateTx.InsertSession(ctx, hash, s)
}

func (m midwayTx) InsertToken(ctx context.Context, hash [32]byte, t identity.Token) error {
	m.do()
	return m.GateTx.InsertToken(ctx, hash, t)
}

func (m midwayTx) SetPassword(ctx context.Context, person uuid.UUID, hash string, oneTimeUntil *time.Time) error {
	m.do()
	return m.GateTx.SetPassword(ctx, person, hash, oneTimeUntil)
}

// meanwhile lets end run beside what is about to be written: as far as it comes without waiting for that.
func (r *rig) meanwhile(t *testing.T, end func(*identity.People) error) (people *identity.People, ended <-chan error) {
	t.Helper()
	done := make(chan error, 1)
	return r.on(midway{r.gate(), sync.OnceFunc(func() {
		came := make(chan struct{})
		go func() {
			done <- end(r.People)
			close(came)
		}()
		for {
			select {
			case <-came:
				return
			case <-time.After(5 * time.Millisecond):
			}
			if r.count(t, "select count(*) from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock'") > 0 {
				return
			}
		}
	})}), done
}

func TestNothingThatIsBeingOpenedOutlivesItsEnd(t *testing.T) {
	t.Parallel()
	var oneTime string
	reset := func(who identity.Actor) func(*identity.People) error {
		return func(p *identity.People) (err error) {
			oneTime, err = p.ResetPassword(context.Background(), program, who.PersonID, "")
			return err
		}
	}
	disable := func(who identity.Actor) func(*identity.People) error {
		return func(p *identity.People) error {
			_, err := p.DisablePerson(context.Background(), program, who.PersonID, true, "")
			return err
		}
	}
	const email = "ada@lintel.example"
	signIn := func(r *rig, p *identity.People, _ identity.Actor) (string, error) {
		secret, _, _, err := p.SignIn(context.Background(), email, password, "", "")
		return secret, err
	}
	makeToken := func(r *rig, p *identity.People, who identity.Actor) (string, error) {
		secret, _, err := p.CreateToken(context.Background(), who, identity.Token{PersonID: who.PersonID, Name: "export", Scopes: []identity.TokenScope{identity.TokenRead}, ExpiresAt: r.now.Add(time.Hour)}, "")
		return secret, err
	}
	for _, c := range []struct {
		name string
		end  func(identity.Actor) func(*identity.People) error
		open func(*rig, *identity.People, identity.Actor) (string, error)
	}{
		{"sign-in and reset", reset, signIn},
		{"sign-in and disabling", disable, signIn},
		{"token and disabling", disable, makeToken},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newPeople(t)
			who, _ := r.settled(t, email, identity.Technician)
			people, ended := r.meanwhile(t, c.end(who))
			secret, err := c.open(r, people, who)
			if err != nil {
				t.Fatal(err)
			}
			if err := <-ended; err != nil {
				t.Fatal(err)
			}
			if _, err := r.DisablePerson(t.Context(), program, who.PersonID, false, ""); err != nil {
				t.Fatal(err)
			}
			_, err = r.Authenticate(t.Context(), secret)
			wantFault(t, err, "session_ended")
		})
	}
	t.Run("change and reset", func(t *testing.T) {
		r := newPeople(t)
		who, _ := r.settled(t, email, identity.Technician)
		people, ended := r.meanwhile(t, reset(who))
		if err := people.ChangePassword(t.Context(), who, password, "somebody else's seven geese", ""); err != nil {
			t.Fatal(err)
		}
		if err := <-ended; err != nil {
			t.Fatal(err)
		}
		r.signIn(t, email, oneTime)
		_, _, _, err := r.SignIn(t.Context(), email, "somebody else's seven geese", "", "")
		wantFault(t, err, "sign_in_failed")
	})
}

func TestNobodyMakesATokenForSomebodyWhoMayNotSignIn(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	p, _ := r.person(t, "ada@lintel.example", identity.Technician)
	if _, err := r.DisablePerson(t.Context(), program, p.PersonID, true, ""); err != nil {
		t.Fatal(err)
	}
	_, _, err := r.CreateToken(t.Context(), program, identity.Token{PersonID: p.PersonID, Name: "export", Scopes: []identity.TokenScope{identity.TokenRead}, ExpiresAt: r.now.Add(time.Hour)}, "")
	wantFault(t, err, "person_inactive")
	if n := r.count(t, "select count(*) from token"); n != 0 {
		t.Errorf("%d tokens", n)
	}
}
