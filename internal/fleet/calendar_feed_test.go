package fleet_test

import (
	"bytes"
	"encoding/base64"
	"fmt"
	mathrand "math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-ical"
	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/report"
)

// subscribe makes a feed and gives its secret.
func (r *rig) subscribe(t testing.TB, by identity.Actor, c fleet.CalendarFeed) (fleet.CalendarFeed, string) {
	t.Helper()
	r.WriteCalendar = report.Calendar
	c.FeedID = r.id()
	saved, secret, created, err := r.PutCalendarFeed(t.Context(), by, c)
	if err != nil || !created || secret == "" {
		t.Fatal(created, secret, err)
	}
	return saved, secret
}

// subscribed is a calendar as another program reads it, by a library that shares no code with the one that writes: by UID.
func (r *rig) subscribed(t testing.TB, secret string) (map[string]ical.Event, []byte) {
	t.Helper()
	b, err := r.ReadCalendarFeed(t.Context(), secret)
	if err != nil {
		t.Fatal(err)
	}
	c, err := ical.NewDecoder(bytes.NewReader(b)).Decode()
	if err != nil {
		t.Fatalf("%v in\n%s", err, b)
	}
	events := map[string]ical.Event{}
	for _, e := range c.Events() {
		uid := eventSays(t, e, "UID")
		if _, twice := events[uid]; twice {
			t.Errorf("%s twice in\n%s", uid, b)
		}
		events[uid] = e
	}
	return events, b
}

func eventSays(t testing.TB, e ical.Event, name string) string {
	t.Helper()
	if e.Props.Get(name) == nil {
		return ""
	}
	text, err := e.Props.Text(name)
	if err != nil {
		t.Fatal(name, err)
	}
	return text
}

func sequence(t testing.TB, e ical.Event) (n int) {
	t.Helper()
	if _, err := fmt.Sscan(e.Props.Get("SEQUENCE").Value, &n); err != nil {
		t.Fatal(err)
	}
	return n
}

// when is the beginning of an event as the format has it: a date alone for all of a day.
func when(e ical.Event) string { return e.Props.Get("DTSTART").Value }

func TestACalendarOfASiteSaysWhatIsDueAgreedDoneAndWithdrawnThereAndNothingElse(t *testing.T) {
	t.Parallel()
	w := newTown(t)
	due := w.call(t, "West", 38.5, -121.5, "2026-04-01")
	here := func(on string) fleet.WorkOrder {
		return w.order(t, w.callOut(w.door(t, due.SiteID, "Door").DoorID, on))
	}
	visit, done, gone := here("2026-04-02"), here("2026-03-01"), here("2026-04-03")
	elsewhere := w.call(t, "West", 38.5, -121.5, "2026-04-01")
	_, secret := w.subscribe(t, dispatcher, fleet.CalendarFeed{SiteID: due.SiteID, Note: "the caretaker's telephone"})
	if _, err := w.AssignWorkOrder(t.Context(), dispatcher, visit.WorkOrderID, &w.west, day("2026-03-29"), 1); err != nil {
		t.Fatal(err)
	}
	if _, err := w.HoldOrder(t.Context(), dispatcher, fleet.OrderHold{WorkOrderID: visit.WorkOrderID, Begin: &fleet.DayHours{FromMinute: 8 * 60, ToMinute: 10 * 60}, Why: "the tenant is a witness in a lawsuit"}); err != nil {
		t.Fatal(err)
	}
	if _, err := w.EndWorkOrder(t.Context(), dispatcher, done.WorkOrderID, day("2026-03-02"), "on paper", 1); err != nil {
		t.Fatal(err)
	}
	if _, err := w.CancelWorkOrder(t.Context(), dispatcher, gone.WorkOrderID, "bricked up", 1); err != nil {
		t.Fatal(err)
	}
	events, text := w.subscribed(t, secret)
	if len(events) != 4 {
		t.Fatalf("%d events in\n%s", len(events), text)
	}
	for name, want := range map[string]struct {
		id             uuid.UUID
		begins, status string
		says           string
	}{
		"due":       {due.WorkOrderID, "20260401", "CONFIRMED", "call-out due"},
		"visit":     {visit.WorkOrderID, "20260329T150000Z", "CONFIRMED", "Site 0, door"}, // eight o'clock of summer time in Los Angeles
		"done":      {done.WorkOrderID, "20260302", "CONFIRMED", "call-out done"},
		"withdrawn": {gone.WorkOrderID, "20260403", "CANCELLED", "withdrawn"},
	} {
		e, ok := events[want.id.String()]
		if !ok || when(e) != want.begins || eventSays(t, e, "STATUS") != want.status || !strings.Contains(eventSays(t, e, "SUMMARY"), want.says) {
			t.Errorf("%s: begins %q, %s, %q", name, when(e), eventSays(t, e, "STATUS"), eventSays(t, e, "SUMMARY"))
		}
	}
	agreed := eventSays(t, events[visit.WorkOrderID.String()], "DESCRIPTION")
	if !strings.Contains(agreed, "between 08:00 and 10:00 by the clock of America/Los_Angeles") || !strings.Contains(agreed, "by 2 Apr") {
		t.Errorf("agreed: %s", agreed)
	}
	for _, secretOfStaff := range []string{"lawsuit", "⟦", elsewhere.WorkOrderID.String()} {
		if bytes.Contains(text, []byte(secretOfStaff)) {
			t.Errorf("the calendar says %q:\n%s", secretOfStaff, text)
		}
	}
	if _, again := w.subscribed(t, secret); !bytes.Equal(text, again) {
		t.Error("nothing has changed, and the calendar is another one")
	}
	w.pass(43 * 24 * time.Hour)
	if events, _ = w.subscribed(t, secret); len(events) != 3 {
		t.Errorf("after six weeks %d events, want what was withdrawn gone", len(events))
	}
}

func TestACalendarOfATechnicianHasTheOwnVisitsAtTheHoursOfThePlanOfRoutes(t *testing.T) {
	t.Parallel()
	w := newTown(t)
	for i := range 4 {
		w.call(t, "West", 38.58+float64(i)*0.01, -121.58, "2026-03-06")
		w.call(t, "East", 38.58+float64(i)*0.01, -121.32, "2026-03-06")
	}
	_, east := w.subscribe(t, dispatcher, fleet.CalendarFeed{PersonID: w.east})
	_, west := w.subscribe(t, identity.Actor{PersonID: w.west, Role: identity.Technician, ScopeKind: identity.ScopeAll, Language: "en"}, fleet.CalendarFeed{PersonID: w.west})
	plan := w.plan(t)
	if events, _ := w.subscribed(t, east); len(events) != 0 {
		t.Errorf("%d visits of a draft", len(events))
	}
	if _, _, err := w.TakeOverRoutePlan(t.Context(), dispatcher, plan.RoutePlanID); err != nil {
		t.Fatal(err)
	}
	of := map[uuid.UUID]map[string]ical.Event{}
	of[w.east], _ = w.subscribed(t, east)
	of[w.west], _ = w.subscribed(t, west)
	if len(of[w.east])+len(of[w.west]) != 8 || len(of[w.east]) == 0 || len(of[w.west]) == 0 {
		t.Fatalf("%d and %d visits", len(of[w.east]), len(of[w.west]))
	}
	for _, s := range plan.Shifts {
		for _, stop := range s.Stops {
			e, ok := of[s.PersonID][stop.WorkOrderID.String()]
			if !ok {
				t.Errorf("%s has no visit at %s", s.Name, stop.Site)
				continue
			}
			begins, err := e.DateTimeStart(time.UTC)
			ends, err2 := e.DateTimeEnd(time.UTC)
			if err != nil || err2 != nil || !begins.Equal(stop.Begin.Truncate(time.Second)) || !ends.Equal(stop.Leave.Truncate(time.Second)) || eventSays(t, e, "TRANSP") != "OPAQUE" {
				t.Errorf("%s at %s from %s until %s, want %s until %s", s.Name, stop.Site, begins, ends, stop.Begin, stop.Leave)
			}
		}
	}
	moved := plan.Shifts[0].Stops[0].WorkOrderID // somebody moves it by hand: the plan's hour is none any more
	o, err := w.WorkOrder(t.Context(), dispatcher, moved)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.AssignWorkOrder(t.Context(), dispatcher, moved, &plan.Shifts[0].PersonID, day("2026-03-20"), o.Version); err != nil {
		t.Fatal(err)
	}
	after, _ := w.subscribed(t, map[uuid.UUID]string{w.east: east, w.west: west}[plan.Shifts[0].PersonID])
	if e := after[moved.String()]; when(e) != "20260320" || sequence(t, e) < sequence(t, of[plan.Shifts[0].PersonID][moved.String()]) {
		t.Errorf("moved to %s with sequence %d", when(e), sequence(t, e))
	}
}

func TestAVisitThatGoesToSomebodyElseIsCancelledInTheFirstCalendar(t *testing.T) {
	t.Parallel()
	w := newTown(t)
	o := w.call(t, "West", 38.5, -121.5, "2026-04-01")
	_, east := w.subscribe(t, dispatcher, fleet.CalendarFeed{PersonID: w.east})
	_, west := w.subscribe(t, dispatcher, fleet.CalendarFeed{PersonID: w.west})
	give := func(to *uuid.UUID) {
		t.Helper()
		w.pass(time.Hour)
		now, err := w.WorkOrder(t.Context(), dispatcher, o.WorkOrderID)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.AssignWorkOrder(t.Context(), dispatcher, o.WorkOrderID, to, day("2026-03-20"), now.Version); err != nil {
			t.Fatal(err)
		}
	}
	last := map[string]int{}
	want := func(inEast, inWest string) {
		t.Helper()
		for name, c := range map[string]struct{ secret, status string }{"east": {east, inEast}, "west": {west, inWest}} {
			events, text := w.subscribed(t, c.secret)
			e, ok := events[o.WorkOrderID.String()]
			if ok != (c.status != "") || ok && eventSays(t, e, "STATUS") != c.status {
				t.Fatalf("in the calendar of %s, want %q:\n%s", name, c.status, text)
			}
			if ok {
				if n := sequence(t, e); n < last[name] {
					t.Errorf("sequence %d after %d", n, last[name])
				}
				last[name] = sequence(t, e)
			}
		}
	}
	want("", "")
	give(&w.east)
	want("CONFIRMED", "")
	give(&w.west)
	want("CANCELLED", "CONFIRMED")
	give(&w.east)
	want("CONFIRMED", "CANCELLED")
	give(nil)
	want("CANCELLED", "CANCELLED")
	w.pass(43 * 24 * time.Hour)
	want("", "")
}

func TestAnAddressIsMadeByWhomItConcernsAndReadByWhoeverHasIt(t *testing.T) {
	t.Parallel()
	w := newTown(t)
	at, other := w.call(t, "West", 38.5, -121.5, "2026-04-01"), w.call(t, "West", 38.5, -121.5, "2026-04-01")
	tech := identity.Actor{PersonID: w.west, Role: identity.Technician, ScopeKind: identity.ScopeAll, Language: "en"}
	colleague := identity.Actor{PersonID: w.east, Role: identity.Technician, ScopeKind: identity.ScopeAll, Language: "en"}
	make := func(by identity.Actor, c fleet.CalendarFeed) error {
		c.FeedID = w.id()
		_, _, _, err := w.PutCalendarFeed(t.Context(), by, c)
		return err
	}
	wantFault(t, make(tech, fleet.CalendarFeed{SiteID: at.SiteID}), "not_allowed")
	wantFault(t, make(tech, fleet.CalendarFeed{PersonID: w.east}), "not_allowed")
	wantFault(t, make(agentOf(w.customer), fleet.CalendarFeed{PersonID: w.east}), "not_allowed")
	wantFault(t, make(tenantOf(other.SiteID), fleet.CalendarFeed{SiteID: at.SiteID}), "site_not_found at /site_id")
	wantFault(t, make(dispatcher, fleet.CalendarFeed{PersonID: w.id()}), "no_technician at /person_id")
	wantFault(t, make(dispatcher, fleet.CalendarFeed{PersonID: w.east, SiteID: at.SiteID}), "feed_of_one")
	wantFault(t, make(dispatcher, fleet.CalendarFeed{SiteID: at.SiteID, Note: "two\nlines"}), "text_of_lines at /note")

	feed, secret := w.subscribe(t, tech, fleet.CalendarFeed{PersonID: w.west})
	again, none, created, err := w.PutCalendarFeed(t.Context(), tech, fleet.CalendarFeed{FeedID: feed.FeedID, PersonID: w.west})
	if err != nil || created || none != "" || again.FeedID != feed.FeedID {
		t.Errorf("the same again: %v %q %v", created, none, err)
	}
	_, _, _, err = w.PutCalendarFeed(t.Context(), colleague, fleet.CalendarFeed{FeedID: feed.FeedID, PersonID: w.east})
	wantFault(t, err, "not_allowed")
	if n := w.count(t, `select count(*) from calendar_feed where calendar_feed::text like '%' || $1 || '%'`, secret); n != 0 {
		t.Error("the secret is kept")
	}
	for who, want := range map[*identity.Actor]int{&tech: 1, &colleague: 0, &dispatcher: 1, p(agentOf(w.customer)): 0} {
		list, err := w.CalendarFeeds(t.Context(), *who, fleet.CalendarFeedQuery{Limit: 10})
		if err != nil || len(list) != want {
			t.Errorf("%s sees %d, want %d: %v", who.Role, len(list), want, err)
		}
	}
	_, err = w.RevokeCalendarFeed(t.Context(), colleague, feed.FeedID)
	wantFault(t, err, "not_allowed")
	_, err = w.RevokeCalendarFeed(t.Context(), agentOf(w.customer), feed.FeedID)
	wantFault(t, err, "feed_not_found")
	w.subscribed(t, secret)
}

// Taken back, made up, of a technician who has left, of an agent who sees the site no more, of a site that changed hands: each is
// answered alike.
func TestAnAddressThatHoldsNoMoreIsAsIfItHadNeverBeen(t *testing.T) {
	t.Parallel()
	w := newTown(t)
	at := w.call(t, "West", 38.5, -121.5, "2026-04-01")
	agent := agentOf(w.customer)
	tenant := tenantOf(at.SiteID)
	do := func(sql string, args ...any) {
		t.Helper()
		if _, err := w.db.Admin.Exec(t.Context(), sql, args...); err != nil {
			t.Fatal(err)
		}
	}
	for _, who := range []*identity.Actor{&agent, &tenant} {
		who.PersonID, who.Language = w.id(), "en"
		do(`insert into person (person_id, email, name, role, scope_kind, created_at) values ($1, $2, 'Somebody', 'owner_agent', $3, now())`, who.PersonID, who.PersonID.String()+"@lintel.example", string(who.ScopeKind))
	}
	do(`insert into person_customer (person_id, customer_id) values ($1, $2)`, agent.PersonID, w.customer)
	do(`insert into person_site (person_id, site_id) values ($1, $2)`, tenant.PersonID, at.SiteID)
	gone := func(secret string) {
		t.Helper()
		_, err := w.ReadCalendarFeed(t.Context(), secret)
		wantFault(t, err, "feed_not_found")
	}
	office, fromOffice := w.subscribe(t, dispatcher, fleet.CalendarFeed{SiteID: at.SiteID})
	_, ofEast := w.subscribe(t, dispatcher, fleet.CalendarFeed{PersonID: w.east})
	_, ofWest := w.subscribe(t, dispatcher, fleet.CalendarFeed{PersonID: w.west})
	_, ofAgent := w.subscribe(t, agent, fleet.CalendarFeed{SiteID: at.SiteID})
	_, ofTenant := w.subscribe(t, tenant, fleet.CalendarFeed{SiteID: at.SiteID})
	_, another := w.subscribe(t, dispatcher, fleet.CalendarFeed{SiteID: at.SiteID})
	for _, secret := range []string{fromOffice, ofEast, ofWest, ofAgent, ofTenant, another} {
		w.subscribed(t, secret)
	}
	if n := w.count(t, `select count(*) from calendar_feed where read_at = $1`, w.now); n != 6 {
		t.Errorf("%d were noted as read", n)
	}
	raw := [32]byte{1}
	for _, secret := range []string{"", "x", "lintel_" + base64.RawURLEncoding.EncodeToString(raw[:]), fromOffice + "x", strings.ToUpper(fromOffice), "'; select"} {
		gone(secret)
	}
	first, err := w.RevokeCalendarFeed(t.Context(), dispatcher, office.FeedID)
	if err != nil || first.RevokedAt == nil {
		t.Fatal(first, err)
	}
	gone(fromOffice)
	w.pass(time.Minute)
	if second, err := w.RevokeCalendarFeed(t.Context(), administrator, office.FeedID); err != nil || !second.RevokedAt.Equal(*first.RevokedAt) {
		t.Errorf("taken back twice: %v %v", second.RevokedAt, err)
	}
	do(`update person set disabled_at = now() where person_id = $1`, w.east)
	gone(ofEast)
	do(`update person set role = 'support' where person_id = $1`, w.west)
	gone(ofWest)
	do(`delete from person_customer where person_id = $1`, agent.PersonID)
	gone(ofAgent)
	do(`update person set expires_at = $2 where person_id = $1`, tenant.PersonID, w.now)
	gone(ofTenant)
	w.subscribed(t, another)
	site, err := w.Site(t.Context(), dispatcher, at.SiteID)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.HandOverSite(t.Context(), dispatcher, fleet.HandOver{SiteID: at.SiteID, CustomerID: w.rig.customer(t, "Elm Depots").CustomerID, Day: day("2026-03-03")}, site.Version); err != nil {
		t.Fatal(err)
	}
	gone(another)
}

// Whatever is done to an order, its event stays one and the same, and its number grows with what is said of it.
func TestAnEventStaysTheSameWhateverIsDoneToItsOrder(t *testing.T) {
	t.Parallel()
	w := newTown(t)
	o := w.call(t, "West", 38.5, -121.5, "2026-04-01")
	_, secret := w.subscribe(t, dispatcher, fleet.CalendarFeed{SiteID: o.SiteID})
	before, text := w.subscribed(t, secret)
	e := before[o.WorkOrderID.String()]
	dice := mathrand.New(mathrand.NewPCG(7, 1))
	for step := range 40 {
		now, err := w.WorkOrder(t.Context(), dispatcher, o.WorkOrderID)
		if err != nil {
			t.Fatal(err)
		}
		on := day("2026-03-10").AddDays(dice.IntN(20))
		switch dice.IntN(5) {
		case 0:
			_, err = w.AssignWorkOrder(t.Context(), dispatcher, o.WorkOrderID, &w.west, on, now.Version)
		case 1:
			_, err = w.HoldOrder(t.Context(), dispatcher, fleet.OrderHold{WorkOrderID: o.WorkOrderID, Begin: &fleet.DayHours{FromMinute: dice.IntN(600), ToMinute: 700}})
		case 2:
			err = w.FreeOrder(t.Context(), dispatcher, o.WorkOrderID)
		case 3:
			_, err = w.CancelWorkOrder(t.Context(), dispatcher, o.WorkOrderID, "not now", now.Version)
		case 4:
			_, err = w.ReopenWorkOrder(t.Context(), dispatcher, o.WorkOrderID, "after all", now.Version)
		}
		_ = err // some steps are none for an order that stands so; then what is said must not change
		after, newText := w.subscribed(t, secret)
		next, there := after[o.WorkOrderID.String()]
		if !there || len(after) != 1 {
			t.Fatalf("step %d: %d events", step, len(after))
		}
		if sequence(t, next) < sequence(t, e) {
			t.Fatalf("step %d: sequence %d after %d", step, sequence(t, next), sequence(t, e))
		}
		if stamp, was := next.Props.Get("LAST-MODIFIED").Value, e.Props.Get("LAST-MODIFIED").Value; !bytes.Equal(text, newText) && stamp < was {
			t.Fatalf("step %d: changed at %s after %s", step, stamp, was)
		}
		e, text = next, newText
	}
}
