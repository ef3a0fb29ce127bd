package identity_test

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

func TestSignInOpensASessionOfThePersonWithTheirRights(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	p, oneTime := r.person(t, "ada@lintel.example", identity.OwnerAgent)
	secret, s, who, err := r.SignIn(t.Context(), " Ada@Lintel.example ", oneTime, "a browser\nof today", "req-1")
	if err != nil {
		t.Fatal(err)
	}
	if s.PersonID != p.PersonID || s.UserAgent != "a browser of today" || !s.ExpiresAt.Equal(r.now.Add(7*24*time.Hour)) {
		t.Errorf("session %+v", s)
	}
	if who.Role != identity.OwnerAgent || !slices.Equal(who.Customers, p.Customers) || who.Units != "metric" || who.Language != "en" || !who.MustChangePassword || who.TokenScopes != nil {
		t.Errorf("actor %+v", who)
	}
	again, err := r.Authenticate(t.Context(), secret)
	if err != nil || again.PersonID != p.PersonID || again.SessionID != s.SessionID || !slices.Equal(again.Customers, p.Customers) {
		t.Errorf("the secret stands for %+v, %v", again, err)
	}
	if got := r.actions(t, s.SessionID); !slices.Equal(got, []string{"signed_in"}) {
		t.Errorf("audit %v", got)
	}
	if n := r.count(t, `select count(*) from session where position(convert_to($1, 'UTF8') in secret_sha256) > 0 or user_agent like '%' || $1 || '%'`, secret); n != 0 {
		t.Error("the secret itself is in the database")
	}
}

// refusals are ways to fail that nobody may tell apart. Each is made on a person of its own.
func refusals(t *testing.T, r *rig) map[string][2]string {
	unknown := [2]string{"nobody@lintel.example", password}
	_, oneTime := r.person(t, "wrong@lintel.example", identity.Technician)
	wrong := [2]string{"wrong@lintel.example", oneTime + "x"}
	off, offTime := r.person(t, "off@lintel.example", identity.Technician)
	if _, err := r.DisablePerson(t.Context(), program, off.PersonID, true, ""); err != nil {
		t.Fatal(err)
	}
	_, pastTime := r.person(t, "past@lintel.example", identity.Auditor)
	r.exec(t, `update person set expires_at = $1 where email = 'past@lintel.example'`, r.now)
	r.person(t, "none@lintel.example", identity.Technician)
	r.exec(t, `update person set password_hash = null where email = 'none@lintel.example'`)
	return map[string][2]string{"unknown": unknown, "wrong password": wrong, "disabled": {off.Email, offTime}, "expired": {"past@lintel.example", pastTime},
		"without a password": {"none@lintel.example", password}, "unreadable address": {"a\x00\xff@lintel.example", password}, "unreadable password": {"wrong@lintel.example", "\x00\xff"},
		"overlong password": {"wrong@lintel.example", strings.Repeat("é", 5000)}, "no address": {"", password}}
}

func TestEveryRefusedSignInReadsTheSame(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	for name, c := range refusals(t, r) {
		r.pass(time.Second)
		secret, s, who, err := r.SignIn(t.Context(), c[0], c[1], "", "")
		if secret != "" || s != (identity.Session{}) || who.PersonID != (identity.Actor{}).PersonID || err == nil || err.Error() != "sign_in_failed" {
			t.Errorf("%s: %q, %+v, %v", name, secret, s, err)
		}
		if f := fault.Of(err); len(f) != 1 || f[0].Kind != fault.Unauthenticated {
			t.Errorf("%s: %v", name, err)
		}
	}
	if n := r.count(t, "select count(*) from session"); n != 0 {
		t.Errorf("%d sessions", n)
	}
}

// afterFirst ends a context as soon as the first transaction is over.
type afterFirst struct {
	identity.GateStore
	end  context.CancelFunc
	once sync.Once
}

func (a *afterFirst) InGate(ctx context.Context, f func(context.Context, identity.GateTx) error) error {
	err := a.GateStore.InGate(ctx, f)
	a.once.Do(a.end)
	return err
}

// Whether an account exists must not show in how long the answer takes: whatever is refused after one transaction has
// waited for a hash to be computed.
func TestEveryRefusedSignInComputesAHash(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	cases := refusals(t, r)
	release, err := r.hasher.Occupy(hashesAtOnce)
	if err != nil {
		t.Fatal(err)
	}
	defer release()
	for name, c := range cases {
		r.pass(time.Second)
		ctx, cancel := context.WithCancel(t.Context())
		people := r.on(&afterFirst{GateStore: r.gate(), end: cancel})
		if _, _, _, err := people.SignIn(ctx, c[0], c[1], "", ""); !errors.Is(err, context.Canceled) {
			t.Errorf("%s: answered %v without a hash", name, err)
		}
		cancel()
	}
}

func TestWhoeverFailsWaitsLongerAndLongerWhetherTheAccountExistsOrNot(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	r.person(t, "ada@lintel.example", identity.Technician)
	waits := map[string][]int{}
	for _, email := range []string{"ada@lintel.example", "nobody@lintel.example"} {
		for range 15 {
			_, _, _, err := r.SignIn(t.Context(), email, "not the password", "", "")
			wantFault(t, err, "sign_in_failed")
			seconds := 0
			if _, _, _, err := r.SignIn(t.Context(), email, "not the password", "", ""); fault.Is(err, "sign_in_wait") {
				f := fault.Of(err)[0]
				if f.Kind != fault.TooMany {
					t.Errorf("kind %d", f.Kind)
				}
				seconds = f.Args[1].(int)
			} else { // counted as another failure
				wantFault(t, err, "sign_in_failed")
			}
			waits[email] = append(waits[email], seconds)
			r.pass(time.Duration(seconds) * time.Second)
		}
	}
	if want := []int{0, 1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 900, 900, 900, 900}; !slices.Equal(waits["ada@lintel.example"], want) {
		t.Errorf("waits %v, want %v", waits["ada@lintel.example"], want)
	}
	if !slices.Equal(waits["ada@lintel.example"], waits["nobody@lintel.example"]) {
		t.Errorf("waits tell the accounts apart: %v", waits)
	}
}

func TestWaitingRefusesTheRightPasswordTooAndThenTakesIt(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	_, oneTime := r.person(t, "ada@lintel.example", identity.Technician)
	for range 3 {
		_, _, _, err := r.SignIn(t.Context(), "ada@lintel.example", "not the password", "", "")
		wantFault(t, err, "sign_in_failed")
	}
	_, _, _, err := r.SignIn(t.Context(), "ada@lintel.example", oneTime, "", "")
	wantFault(t, err, "sign_in_wait")
	r.pass(time.Second)
	r.signIn(t, "ada@lintel.example", oneTime)
	if n := r.count(t, "select count(*) from sign_in_failure"); n != 0 {
		t.Errorf("%d failures are kept after a sign-in that succeeded", n)
	}
}

func TestAHundredFailuresInARowHelpOnlyAnAdministrator(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	p, oneTime := r.person(t, "ada@lintel.example", identity.Technician)
	account := sha256.Sum256([]byte(p.Email))
	r.exec(t, `insert into sign_in_failure select gen_random_uuid(), $1, $2 from generate_series(1, 99)`, account[:], r.now)
	r.pass(time.Hour)
	_, _, _, err := r.SignIn(t.Context(), p.Email, "not the password", "", "")
	wantFault(t, err, "sign_in_failed")
	r.pass(1000 * time.Hour)
	_, _, _, err = r.SignIn(t.Context(), "ada@lintel.example", oneTime, "", "")
	wantFault(t, err, "sign_in_locked")
	anew, err := r.ResetPassword(t.Context(), program, p.PersonID, "")
	if err != nil {
		t.Fatal(err)
	}
	r.signIn(t, "ada@lintel.example", anew)
}

func TestManySignInsAtOnceGetNoMoreGuessesThanOneAfterTheOther(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	r.person(t, "ada@lintel.example", identity.Technician)
	const guesses = 20
	answers := make(chan error, guesses)
	for i := range guesses {
		go func() {
			_, _, _, err := r.SignIn(context.Background(), "ada@lintel.example", fmt.Sprintf("guess number %d of many", i), "", "")
			answers <- err
		}()
	}
	compared := 0
	for range guesses {
		if err := <-answers; fault.Is(err, "sign_in_failed") {
			compared++
		} else {
			wantFault(t, err, "sign_in_wait")
		}
	}
	if compared != 3 {
		t.Errorf("%d guesses were compared, want the 3 that are free", compared)
	}
}

// duringHash does something between the comparison's transaction and the one that opens the session.
type duringHash struct {
	identity.GateStore
	do   func()
	once sync.Once
}

func (d *duringHash) InGate(ctx context.Context, f func(context.Context, identity.GateTx) error) error {
	err := d.GateStore.InGate(ctx, f)
	d.once.Do(d.do)
	return err
}

func TestSignInOpensNothingForWhoeverWasDisabledOrResetWhileItWasCompared(t *testing.T) {
	t.Parallel()
	for name, meanwhile := range map[string]func(*rig, identity.Person) error{
		"disabled": func(r *rig, p identity.Person) error {
			_, err := r.DisablePerson(context.Background(), program, p.PersonID, true, "")
			return err
		},
		"reset": func(r *rig, p identity.Person) error {
			_, err := r.ResetPassword(context.Background(), program, p.PersonID, "")
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newPeople(t)
			p, oneTime := r.person(t, "ada@lintel.example", identity.Technician)
			people := r.on(&duringHash{GateStore: r.gate(), do: func() {
				if err := meanwhile(r, p); err != nil {
					t.Error(err)
				}
			}})
			_, _, _, err := people.SignIn(t.Context(), p.Email, oneTime, "", "")
			wantFault(t, err, "sign_in_failed")
			if n := r.count(t, "select count(*) from session"); n != 0 {
				t.Errorf("%d sessions", n)
			}
		})
	}
}

func TestAHashOfFormerDaysIsMadeAnewAtTheNextSignIn(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	var err error
	if r.hasher, err = identity.NewHasher(hashesAtOnce); err != nil {
		t.Fatal(err)
	}
	r.People = r.on(r.gate())
	_, secret := r.settled(t, "ada@lintel.example", identity.Technician)
	// The same password, with 8 MiB and 1 pass.
	r.exec(t, `update person set password_hash = $1`, weakHash(t, password))
	r.signIn(t, "ada@lintel.example", password)
	if n := r.count(t, `select count(*) from person where password_hash like '$argon2id$v=19$m=19456,t=2,p=1$%'`); n != 1 {
		t.Error("the old hash is still kept")
	}
	r.signIn(t, "ada@lintel.example", password)
	if _, err := r.Authenticate(t.Context(), secret); err != nil {
		t.Errorf("the other session ended: %v", err)
	}
}

func TestChangingThePasswordEndsTheOtherSessionsAndTheNeedToChange(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	p, oneTime := r.person(t, "ada@lintel.example", identity.Technician)
	other, _ := r.signIn(t, p.Email, oneTime)
	secret, who := r.signIn(t, p.Email, oneTime)
	if !who.MustChangePassword {
		t.Error("a one-time password need not be changed")
	}
	if err := r.ChangePassword(t.Context(), who, oneTime, password, ""); err != nil {
		t.Fatal(err)
	}
	if now, err := r.Authenticate(t.Context(), secret); err != nil || now.MustChangePassword {
		t.Errorf("%+v, %v", now, err)
	}
	_, err := r.Authenticate(t.Context(), other)
	wantFault(t, err, "session_ended")
	_, _, _, err = r.SignIn(t.Context(), p.Email, oneTime, "", "")
	wantFault(t, err, "sign_in_failed")
	r.signIn(t, p.Email, password)
	if got := r.actions(t, p.PersonID); !slices.Equal(got, []string{"person_made", "password_changed"}) {
		t.Errorf("audit %v", got)
	}
}

func TestChangingThePasswordSaysWhatIsWrongAndChangesNothing(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	who, _ := r.settled(t, "ada.lovell@lintel.example", identity.Technician)
	for _, c := range []struct{ present, next, want string }{
		{password, "short", "password_too_short at /next"},
		{password, "my name is ada.lovell of the doors", "password_contains_email at /next"},
		{password, password, "password_same at /next"},
		{password, strings.Replace(password, "s", "\uff53", 1), "password_same at /next"}, // a wide s, which is hashed as an s
		{"not the present password", "another seven quiet geese", "password_differs at /present"},
	} {
		wantFault(t, r.ChangePassword(t.Context(), who, c.present, c.next, ""), c.want)
	}
	r.signIn(t, "ada.lovell@lintel.example", password)
}

func TestGuessingThePresentPasswordFromAnOpenSessionIsThrottledToo(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	who, _ := r.settled(t, "ada@lintel.example", identity.Technician)
	for range 3 {
		wantFault(t, r.ChangePassword(t.Context(), who, "not the present password", "another seven quiet geese", ""), "password_differs at /present")
	}
	wantFault(t, r.ChangePassword(t.Context(), who, password, "another seven quiet geese", ""), "sign_in_wait")
}

func TestResettingThePasswordEndsEverySessionAndMustBeChanged(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	who, secret := r.settled(t, "ada@lintel.example", identity.Technician)
	oneTime, err := r.ResetPassword(t.Context(), program, who.PersonID, "")
	if err != nil {
		t.Fatal(err)
	}
	_, err = r.Authenticate(t.Context(), secret)
	wantFault(t, err, "session_ended")
	_, _, _, err = r.SignIn(t.Context(), "ada@lintel.example", password, "", "")
	wantFault(t, err, "sign_in_failed")
	if _, who := r.signIn(t, "ada@lintel.example", oneTime); !who.MustChangePassword {
		t.Error("the new one-time password need not be changed")
	}
	_, err = r.ResetPassword(t.Context(), program, r.id(), "")
	wantFault(t, err, "person_not_found")
}

func TestAOneTimePasswordThatWasNotUsedInTimeOpensNothing(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	p, given := r.person(t, "ada@lintel.example", identity.Technician)
	r.pass(identity.OneTimeFor - time.Microsecond)
	r.signIn(t, p.Email, given)

	reset, err := r.ResetPassword(t.Context(), program, p.PersonID, "")
	if err != nil {
		t.Fatal(err)
	}
	r.pass(identity.OneTimeFor)
	_, _, _, err = r.SignIn(t.Context(), p.Email, reset, "", "")
	wantFault(t, err, "one_time_password_ended")
	_, _, _, err = r.SignIn(t.Context(), p.Email, reset+"x", "", "")
	wantFault(t, err, "sign_in_failed") // only who knows it hears that it has ended

	who, _ := r.settled(t, "mae@lintel.example", identity.Technician)
	r.pass(2 * identity.OneTimeFor)
	if _, again := r.signIn(t, "mae@lintel.example", password); again.PersonID != who.PersonID {
		t.Error("a password of one's own has ended")
	}
}

func TestWhoSitsAtTheMachineLetsALockedOutAdministratorInAgain(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	if _, err := r.MakeFirstAdministrator(t.Context(), "ada@lintel.example", "Ada"); err != nil {
		t.Fatal(err)
	}
	for range 100 {
		_, _, _, _ = r.SignIn(t.Context(), "ada@lintel.example", "no such password", "", "")
		r.pass(16 * time.Minute)
	}
	oneTime, err := r.ResetPasswordOn(t.Context(), " Ada@lintel.example")
	if err != nil {
		t.Fatal(err)
	}
	_, who := r.signIn(t, "ada@lintel.example", oneTime)
	if got := r.actions(t, who.PersonID); !slices.Equal(got, []string{"person_made", "password_reset"}) {
		t.Errorf("audit %v", got)
	}

	_, err = r.ResetPasswordOn(t.Context(), "nobody@lintel.example")
	wantFault(t, err, "person_not_found")
	gone, _ := r.person(t, "gone@lintel.example", identity.Technician)
	if _, err := r.DisablePerson(t.Context(), program, gone.PersonID, true, ""); err != nil {
		t.Fatal(err)
	}
	_, err = r.ResetPasswordOn(t.Context(), gone.Email)
	wantFault(t, err, "person_inactive")
}

func TestFailedSignInsOfLongAgoAreForgottenAnAccountAtATime(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	fail := func(email string) { _, _, _, _ = r.SignIn(t.Context(), email, "no such password", "", "") }
	began := duedate.DayIn(r.now, time.UTC)
	fail("once@lintel.example")
	fail("twice@lintel.example")
	r.pass(24 * time.Hour)
	fail("twice@lintel.example")
	for _, c := range []struct {
		after           int // days after the first failures
		forgotten, left int
	}{{90, 0, 3}, {91, 1, 2}, {92, 2, 0}} {
		n, err := r.ForgetFailures(t.Context(), began.AddDays(c.after))
		if err != nil || int(n) != c.forgotten {
			t.Errorf("after %d days: %d forgotten, %v; want %d", c.after, n, err, c.forgotten)
		}
		if left := r.count(t, "select count(*) from sign_in_failure"); left != c.left {
			t.Errorf("after %d days: %d left, want %d", c.after, left, c.left)
		}
	}
}
