package fleet_test

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"encoding/binary"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
	"lintel.example/lintel/internal/words"
)

// rig is the use-cases on a database of the test's own, with a clock that stands until it is moved and ids that are
// the same in every run.
type rig struct {
	*fleet.Fleet
	db  storetest.DB
	now time.Time
	// late is how much later than now it is at the server: what devices write now reaches it then.
	late time.Duration
	ids  atomic.Uint64
}

// newFleet begins on the morning of 3 March 2026.
func newFleet(t testing.TB) *rig {
	t.Helper()
	book, err := loadBook()
	if err != nil {
		t.Fatal(err)
	}
	texts, err := loadWords()
	if err != nil {
		t.Fatal(err)
	}
	keys, err := identity.ParseKeyring([]byte("test:" + base64.StdEncoding.EncodeToString([]byte("a key of thirty-two bytes for it"))))
	if err != nil {
		t.Fatal(err)
	}
	r := &rig{db: storetest.New(t), now: time.Date(2026, 3, 3, 9, 0, 0, 0, time.UTC)}
	r.Fleet = fleet.New(fleet.Parts{Store: store.New(r.db.App, "lintel"), Book: book, Keys: keys, Words: texts, Now: func() time.Time { return r.now.Add(r.late) }, NewID: r.id, Random: rand.Reader})
	return r
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

var dispatcher = identity.Actor{PersonID: uuid.MustParse("01950000-0000-7000-8000-00000000d15b"), Name: "Ada Lindqvist", Role: identity.Dispatcher,
	ScopeKind: identity.ScopeAll, Units: "metric", Language: "en"}

// agentOf is somebody outside the company who sees a set of customers.
func agentOf(customers ...uuid.UUID) identity.Actor {
	return identity.Actor{PersonID: uuid.MustParse("01950000-0000-7000-8000-00000000a6e7"), Role: identity.OwnerAgent, ScopeKind: identity.ScopeCustomers, Customers: customers}
}

// tenantOf is somebody outside the company who sees a set of sites.
func tenantOf(sites ...uuid.UUID) identity.Actor {
	return identity.Actor{PersonID: uuid.MustParse("01950000-0000-7000-8000-00000000007e"), Role: identity.OwnerAgent, ScopeKind: identity.ScopeSites, Sites: sites}
}

func (r *rig) customer(t testing.TB, name string) fleet.Customer {
	t.Helper()
	c, _, err := r.PutCustomer(t.Context(), dispatcher, fleet.Customer{CustomerID: r.id(), Name: name}, 0)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// siteFacts is a site as a dispatcher would put it.
func (r *rig) siteFacts(customer uuid.UUID, name string) fleet.Site {
	return fleet.Site{CustomerID: customer, SiteID: r.id(), Name: name, City: "Sacramento", Country: "US", Jurisdiction: "US-CA", TimeZone: "America/Los_Angeles"}
}

func (r *rig) site(t testing.TB, customer uuid.UUID, name string) fleet.Site {
	t.Helper()
	s, _, err := r.PutSite(t.Context(), dispatcher, r.siteFacts(customer, name), 0)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// doorFacts is a full-energy sliding door of two leaves, as a dispatcher would register it.
func (r *rig) doorFacts(site uuid.UUID, name string) fleet.DoorPut {
	leaf := fleet.Leaf{Motion: "slide", Hinge: "none", OpensTowards: "left", WidthM: fleet.Q(1, fleet.Measured), HeightM: fleet.Q(2.2, fleet.Measured), MassKg: fleet.Q(60, fleet.Measured)}
	other := leaf
	other.OpensTowards = "right"
	return fleet.DoorPut{DoorID: r.id(), SiteID: site, Name: name, KnownSince: day("2026-01-01"), Reason: "taken over with the contract", Facts: fleet.DoorFacts{
		Kind: "sliding", Energy: "full", Traffic: "two_way", PresenceBy: "both",
		A:           fleet.SideFacts{Label: "street", Activation: "sensor"},
		B:           fleet.SideFacts{Label: "hall", Activation: "sensor"},
		ClearWidthM: fleet.Q(1.8, fleet.Measured), HeaderDepthM: fleet.Q(0.2, fleet.Measured),
		OpeningTimeS: fleet.UnknownQuantity(), ClosingTimeS: fleet.UnknownQuantity(), Modes: []string{"day"}, GuideRails: "none", Egress: p(false),
		RuleBasis: fleet.RuleBasis{PackID: "a156.10@2005", Since: day("2026-01-01"), Why: "in force when the door was built"},
		Leaves:    []fleet.Leaf{leaf, other}}}
}

func (r *rig) door(t testing.TB, site uuid.UUID, name string) fleet.Door {
	t.Helper()
	d, _, err := r.PutDoor(t.Context(), dispatcher, r.doorFacts(site, name))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func day(text string) duedate.Day {
	d, err := duedate.ParseDay(text)
	if err != nil {
		panic(err)
	}
	return d
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

// count looks with a superuser's eyes.
func (r *rig) count(t testing.TB, query string, args ...any) (n int) {
	t.Helper()
	if err := r.db.Admin.QueryRow(context.Background(), query, args...).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func p[T any](v T) *T { return &v }

// Words and packs are read once for all tests: nobody changes them, and reading them takes as long as many a test.
var (
	loadWords = sync.OnceValues(words.Load)
	loadBook  = sync.OnceValues(rulebook.Embedded)
)
