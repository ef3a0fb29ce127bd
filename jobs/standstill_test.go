package jobs_test

import (
	"crypto/rand"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/notify/mailcatcher"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
	"lintel.example/lintel/jobs"
)

// twin is an installation with a clock of its own; what people enter is the same in each, ids and all.
type twin struct {
	t       *testing.T
	db      storetest.DB
	rooms   jobs.Rooms
	catcher *mailcatcher.Catcher
	now     time.Time
	ids     uint64
}

// newTwin has thirty doors at sites in three zones, due from long ago until far ahead, with owners, an agent of all sites and an office.
func newTwin(t *testing.T, on duedate.Day) *twin {
	t.Helper()
	w := &twin{t: t, db: storetest.New(t)}
	w.at(on, 12)
	texts, err := loadWords()
	if err != nil {
		t.Fatal(err)
	}
	book, err := loadBook()
	if err != nil {
		t.Fatal(err)
	}
	if w.catcher, err = mailcatcher.Listen("127.0.0.1:0", nil, mailcatcher.Hooks{}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = w.catcher.Close() })
	clock, database := func() time.Time { return w.now }, store.New(w.db.App, "lintel")
	hasher, err := identity.NewHasherForTests()
	if err != nil {
		t.Fatal(err)
	}
	w.rooms = jobs.Rooms{People: identity.NewPeople(database, hasher, clock, w.id, rand.Reader), Fleet: fleet.New(fleet.Parts{Store: database, Book: book, Words: texts,
		Company: fleet.ReportCompany{Name: "Lindqvist Doors"}, Post: newPost(t, w.catcher.Address()), Now: clock, NewID: w.id})}
	for n, role := range []string{"dispatcher", "administrator"} {
		if _, err := w.db.Admin.Exec(t.Context(), `insert into person (person_id, email, name, role, scope_kind, created_at) values (md5($1)::uuid, $1 || '@office.example', 'Person ' || $2::int, $1, 'all', now())`, role, n); err != nil {
			t.Fatal(err)
		}
	}
	f, by := w.rooms.Fleet, identity.Program()
	customer, _, err := f.PutCustomer(t.Context(), by, fleet.Customer{CustomerID: w.id(), Name: "Kestrel Arcades"}, 0)
	if err != nil {
		t.Fatal(err)
	}
	agent := w.party("care@agent.example")
	for s, zone := range []string{"America/Los_Angeles", "America/New_York", "UTC"} {
		site, _, err := f.PutSite(t.Context(), by, fleet.Site{CustomerID: customer.CustomerID, SiteID: w.id(), Name: fmt.Sprint("Arcade ", s), Country: "US", Jurisdiction: "US-CA", TimeZone: zone}, 0)
		if err != nil {
			t.Fatal(err)
		}
		w.stands(site, w.party(fmt.Sprintf("owner%d@kestrel.example", s)), "owner")
		w.stands(site, agent, "managing_agent")
		for n := range 10 {
			w.door(site, on.AddDays(10*n+s-45))
		}
	}
	return w
}

func (w *twin) at(day duedate.Day, hour int) {
	y, m, d := day.Date()
	w.now = time.Date(y, m, d, hour, 0, 0, 0, time.UTC)
}

// id counts: ids do not tell how often the jobs ran.
func (w *twin) id() (id uuid.UUID) {
	w.ids++
	binary.BigEndian.PutUint64(id[:8], uint64(w.now.UnixMilli())<<16)
	binary.BigEndian.PutUint64(id[8:], w.ids)
	id[6], id[8] = 0x70, 0x80
	return id
}

func (w *twin) party(email string) fleet.Party {
	w.t.Helper()
	p, _, err := w.rooms.Fleet.PutParty(w.t.Context(), identity.Program(), fleet.Party{PartyID: w.id(), Name: email, Email: email}, 0)
	if err != nil {
		w.t.Fatal(err)
	}
	return p
}

func (w *twin) stands(site fleet.Site, p fleet.Party, role string) {
	w.t.Helper()
	if _, _, err := w.rooms.Fleet.PutStanding(w.t.Context(), identity.Program(), fleet.Standing{SiteID: site.SiteID, StandingID: w.id(), PartyID: p.PartyID, Role: role,
		FromDay: duedate.DayIn(w.now, time.UTC).AddDays(-400)}, 0); err != nil {
		w.t.Fatal(err)
	}
}

func (w *twin) door(site fleet.Site, due duedate.Day) {
	w.t.Helper()
	put := slidingDoor(site.SiteID, duedate.DayIn(w.now, time.UTC).AddDays(-100))
	put.DoorID = w.id()
	door, _, err := w.rooms.Fleet.PutDoor(w.t.Context(), identity.Program(), put)
	if err != nil {
		w.t.Fatal(err)
	}
	if _, _, err := w.rooms.Fleet.PutPlan(w.t.Context(), identity.Program(), fleet.Plan{DoorID: door.DoorID, PlanID: w.id(), IntervalMonths: 12, Regime: duedate.Anniversary, ToleranceDays: 60,
		LeadDays: 45, AnchorOn: due, Active: true}, 0); err != nil {
		w.t.Fatal(err)
	}
}

// night is what a server that runs does from five in the morning on: what the ledger says is due, in the order in which it comes,
// and the mail at an hour at which it may go out in all three zones.
func (w *twin) night(on duedate.Day, turned bool) {
	w.t.Helper()
	w.at(on, 6)
	schedules, err := jobs.Schedules()
	if err != nil {
		w.t.Fatal(err)
	}
	todo, err := w.rooms.Fleet.EnsureRuns(w.t.Context(), schedules)
	if err != nil {
		w.t.Fatal(err)
	}
	if turned {
		slices.Reverse(todo)
	}
	for _, r := range todo {
		if _, _, err := jobs.RunOnce(w.t.Context(), w.rooms, r.Job, r.AsOf, false); err != nil {
			w.t.Fatal(err)
		}
	}
	w.at(on, 17)
	if _, err := jobs.SendWaiting(w.t.Context(), w.rooms.Fleet); err != nil {
		w.t.Fatal(err)
	}
}

// lines gives the rows of a query, each as one text.
func (w *twin) lines(query string, args ...any) (list []string) {
	w.t.Helper()
	rows, err := w.db.Admin.Query(w.t.Context(), query, args...)
	if err != nil {
		w.t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			w.t.Fatal(err)
		}
		list = append(list, line)
	}
	if err := rows.Err(); err != nil {
		w.t.Fatal(err)
	}
	return list
}

func TestAfterFortyDaysOfStandstillEverythingIsAsIfItHadRunAndOnlyTheHighestRungIsMailed(t *testing.T) {
	first, err := duedate.ParseDay("2026-03-02")
	if err != nil {
		t.Fatal(err)
	}
	last := first.AddDays(40)
	steady, stood := newTwin(t, first), newTwin(t, first)
	steady.night(first, false)
	stood.night(first, false)
	mailsBefore := len(stood.catcher.Messages())
	for d := first.AddDays(1); !d.After(last); d = d.AddDays(1) {
		steady.night(d, d.Weekday() == time.Monday)
	}
	stood.night(last, true) // the notices before the orders

	const orders = `select (to_jsonb(o) - 'recorded_at')::text from work_order o order by work_order_id`
	want := steady.lines(orders)
	if len(want) < 12 {
		t.Fatalf("%d orders: the world shows too little", len(want))
	}
	if diff := cmp.Diff(want, stood.lines(orders)); diff != "" {
		t.Errorf("other orders (-every night +once): %s", diff)
	}
	const keys = `select concat_ws(' ', reason, due_on, turn_on, rung, recipient_id) from notice where reason like 'work_order:%' order by 1`
	if diff := cmp.Diff(steady.lines(keys), stood.lines(keys)); diff != "" {
		t.Errorf("other notices on record (-every night +once): %s", diff)
	}
	const highest = `select concat_ws(' ', n.reason, n.rung, n.role, n.recipient_email, n.state, n.because) from notice n where n.reason like 'work_order:%'
		and n.turn_on = (select max(x.turn_on) from notice x where x.reason = n.reason) order by 1`
	if diff := cmp.Diff(steady.lines(highest), stood.lines(highest)); diff != "" {
		t.Errorf("other rungs in the end (-every night +once): %s", diff)
	}

	// Of what the standstill passed over nothing was mailed, and the record says why.
	const passed = `select count(*)::text from notice n where n.made_at >= $1 and n.turn_on < (select max(x.turn_on) from notice x where x.reason = n.reason) and `
	if n := stood.lines(passed+`(n.state, n.because) <> ('superseded', 'higher_rung')`, stood.now.Add(-16*time.Hour)); n[0] != "0" {
		t.Errorf("%s lower rungs are not superseded by a higher one", n[0])
	}
	if n := stood.lines(passed+`n.state = 'superseded'`, stood.now.Add(-16*time.Hour)); n[0] == "0" {
		t.Error("no rung was passed over: the world shows too little")
	}
	to := map[string]int{}
	for _, m := range stood.catcher.Messages()[mailsBefore:] {
		to[m.To]++
	}
	if diff := cmp.Diff(map[string]int{"owner0@kestrel.example": 1, "owner1@kestrel.example": 1, "owner2@kestrel.example": 1, "care@agent.example": 1, "dispatcher@office.example": 1,
		"administrator@office.example": 1}, to); diff != "" {
		t.Errorf("mails after the standstill: %s", diff)
	}
	if n := stood.lines(`select count(*)::text from job_run where state = 'superseded' and job = 'queue_notices'`); n[0] != "39" {
		t.Errorf("%s nights are on record as passed over, want 39", n[0])
	}

	// Once more changes nothing.
	everything := func() string {
		var all []string
		for _, table := range []string{"work_order", "notice", "letter", "letter_notice", "letter_attempt"} {
			all = append(all, stood.lines(`select to_jsonb(x)::text from `+table+` x order by 1`)...)
		}
		return strings.Join(all, "\n")
	}
	before, mails := everything(), len(stood.catcher.Messages())
	for _, job := range []string{"queue_notices", "due_work_orders", "queue_notices"} {
		if _, did, err := jobs.RunOnce(t.Context(), stood.rooms, job, last, true); err != nil || !did {
			t.Fatal(did, err)
		}
	}
	stood.night(last, false)
	if diff := cmp.Diff(before, everything()); diff != "" || len(stood.catcher.Messages()) != mails {
		t.Errorf("run twice: %d mails instead of %d, %s", len(stood.catcher.Messages()), mails, diff)
	}
}
