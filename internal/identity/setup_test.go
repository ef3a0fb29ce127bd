package identity_test

import (
	"context"
	"encoding/binary"
	"math/rand/v2"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
)

// hashesAtOnce is how many of the hasher for tests.
const hashesAtOnce = 2

// rig is the use-cases on a database of the test's own, with a clock that stands until it is moved, and ids and
// secrets that are the same in every run.
type rig struct {
	*identity.People
	db     storetest.DB
	hasher *identity.Hasher
	now    time.Time
	ids    atomic.Uint64
}

// newPeople begins on the morning of 3 March 2026.
func newPeople(t testing.TB) *rig {
	t.Helper()
	r := &rig{db: storetest.New(t), now: time.Date(2026, 3, 3, 9, 0, 0, 0, time.UTC)}
	var err error
	if r.hasher, err = identity.NewHasherForTests(); err != nil { // what hashing costs has tests of its own
		t.Fatal(err)
	}
	r.People = r.on(r.gate())
	return r
}

func (r *rig) gate() identity.GateStore { return store.New(r.db.App, "lintel") }

// on is the same use-cases on another store.
func (r *rig) on(gate identity.GateStore) *identity.People {
	return identity.NewPeople(gate, r.hasher, func() time.Time { return r.now }, r.id, rand.NewChaCha8([32]byte{7}))
}

// id gives the next UUIDv7: the clock's milliseconds and a counter.
func (r *rig) id() (id uuid.UUID) {
	binary.BigEndian.PutUint64(id[:8], uint64(r.now.UnixMilli())<<16)
	binary.BigEndian.PutUint64(id[8:], r.ids.Add(1))
	id[6], id[8] = 0x70, 0x80
	return id
}

// pass moves the clock on.
func (r *rig) pass(d time.Duration) { r.now = r.now.Add(d) }

var program = identity.Program()

// person is somebody with a one-time password, as an administrator would put them.
func (r *rig) person(t testing.TB, email string, role identity.Role) (identity.Person, string) {
	t.Helper()
	in := identity.Person{PersonID: r.id(), Email: email, Name: strings.ToUpper(email[:1]) + email[1:strings.Index(email, "@")], Role: role, ScopeKind: identity.ScopeAll}
	if !role.Staff() {
		in.ScopeKind, in.Customers = identity.ScopeCustomers, []uuid.UUID{r.customer(t)}
	}
	if role == identity.Auditor {
		end := r.now.Add(30 * 24 * time.Hour)
		in.ExpiresAt = &end
	}
	p, oneTime, created, err := r.PutPerson(t.Context(), program, in, 0, "")
	if err != nil || !created {
		t.Fatalf("%s: created %v, %v", email, created, err)
	}
	return p, oneTime
}

func (r *rig) customer(t testing.TB) uuid.UUID {
	t.Helper()
	id := r.id()
	r.exec(t, `insert into customer (customer_id, name, account, note, version, created_at, created_by) values ($1, 'Harbour Row', '', '', 1, $2, $1)`, id, r.now)
	return id
}

// signIn gives the secret of a new session.
func (r *rig) signIn(t testing.TB, email, password string) (string, identity.Actor) {
	t.Helper()
	secret, _, who, err := r.SignIn(t.Context(), email, password, "a browser", "")
	if err != nil {
		t.Fatal(err)
	}
	return secret, who
}

// settled is a person who has a password of their own, signed in.
func (r *rig) settled(t testing.TB, email string, role identity.Role) (identity.Actor, string) {
	t.Helper()
	_, oneTime := r.person(t, email, role)
	secret, who := r.signIn(t, email, oneTime)
	if err := r.ChangePassword(t.Context(), who, oneTime, password, ""); err != nil {
		t.Fatal(err)
	}
	who, err := r.Authenticate(t.Context(), secret)
	if err != nil {
		t.Fatal(err)
	}
	return who, secret
}

// password is what every settled person chose.
const password = "seven quiet geese at the lock"

func (r *rig) exec(t testing.TB, sql string, args ...any) {
	t.Helper()
	if _, err := r.db.Admin.Exec(context.Background(), sql, args...); err != nil {
		t.Fatal(err)
	}
}

// count looks with a superuser's eyes.
func (r *rig) count(t testing.TB, sql string, args ...any) (n int) {
	t.Helper()
	if err := r.db.Admin.QueryRow(context.Background(), sql, args...).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// actions are what the audit holds of a subject, the oldest first.
func (r *rig) actions(t testing.TB, subject uuid.UUID) []string {
	t.Helper()
	list, err := r.Events(t.Context(), program, identity.EventQuery{Subject: subject.String(), Page: identity.Page{Limit: 100}})
	if err != nil {
		t.Fatal(err)
	}
	var actions []string
	for _, e := range list {
		actions = append(actions, e.Action)
	}
	slices.Reverse(actions)
	return actions
}

// wantFault fails unless err is made of faults with exactly these codes at these pointers ("code at /pointer").
func wantFault(t testing.TB, err error, want ...string) {
	t.Helper()
	var got []string
	for _, e := range fault.Of(err) {
		line := e.Code
		if e.Pointer != "" {
			line += " at " + e.Pointer
		}
		got = append(got, line)
	}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("got %v (%s), want %s", err, strings.Join(got, "; "), strings.Join(want, "; "))
	}
}
