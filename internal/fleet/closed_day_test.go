package fleet_test

import (
	"context"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

func closed(from, until, name string) fleet.ClosedDay {
	c := fleet.ClosedDay{Span: duedate.Span{From: day(from)}, Name: name}
	if until != "" {
		c.Until = day(until)
	}
	return c
}

func (a *rig) close(t testing.TB, c fleet.ClosedDay, more ...func(*fleet.ClosedDay)) fleet.ClosedDay {
	t.Helper()
	c.ClosedDayID = a.id()
	for _, m := range more {
		m(&c)
	}
	saved, created, err := a.PutClosedDay(t.Context(), dispatcher, c, 0)
	if err != nil || !created {
		t.Fatal(created, err)
	}
	return saved
}

// The Fourth of July 2026 is a Saturday, observed on Friday (5 U.S.C. 6103(b)).
func TestClosedDaysMoveTheDayToDoItAndNeverTheDueDate(t *testing.T) {
	t.Parallel()
	a := newFleet(t) // Tuesday, 3 March 2026
	site := a.site(t, a.customer(t, "Kestrel Arcades").CustomerID, "Depot")
	door := a.door(t, site.SiteID, "Gate")
	plan, _, err := a.PutPlan(t.Context(), dispatcher, fleet.Plan{DoorID: door.DoorID, PlanID: a.id(), IntervalMonths: 12, Regime: duedate.Anniversary, AnchorOn: day("2026-07-04"), ToleranceDays: 30, LeadDays: 30, Active: true}, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := a.OpenDueWorkOrders(t.Context(), day("2026-06-10")); err != nil {
		t.Fatal(err)
	}
	catalogue, err := words.Load()
	if err != nil {
		t.Fatal(err)
	}
	texts := catalogue.Printer("en", words.Metric)
	doBy := func(by identity.Actor) string {
		t.Helper()
		e, err := a.ExplainDue(t.Context(), by, door.DoorID)
		if err != nil {
			t.Fatal(err)
		}
		date := e.Told(texts).Plans[0].Dates[0]
		if date.On != day("2026-07-04") || date.By != day("2026-07-04") {
			t.Fatalf("the due date moved: %+v", date)
		}
		return date.DoBy.String() + " " + date.DoByWhy
	}
	order := func() string {
		t.Helper()
		list, err := a.WorkOrders(t.Context(), dispatcher, fleet.WorkOrderQuery{DoorID: door.DoorID, Limit: 5})
		if err != nil || len(list) != 1 || list[0].DueOn != day("2026-07-04") {
			t.Fatal(list, err)
		}
		d, err := a.OrderDoBy(t.Context(), dispatcher, list[0])
		if err != nil {
			t.Fatal(err)
		}
		return d.On.String()
	}
	if got := doBy(dispatcher); !strings.HasPrefix(got, "2026-07-03 ") || !strings.Contains(got, "Saturday") || order() != "2026-07-03" {
		t.Errorf("before anything is closed: %s, the order by %s", got, order())
	}
	if got := doBy(agentOf(site.CustomerID)); got != " " {
		t.Errorf("the customer is told of working days: %s", got)
	}
	a.close(t, closed("2026-07-03", "", "Independence Day observed"), func(c *fleet.ClosedDay) { c.Place = "US" })
	a.close(t, closed("2026-07-02", "", "unheard of"), func(c *fleet.ClosedDay) { c.Place = "CA" })
	if got := doBy(dispatcher); !strings.HasPrefix(got, "2026-07-02 ") || order() != "2026-07-02" {
		t.Errorf("with the holiday: %s, the order by %s", got, order())
	}
	inventory := a.close(t, closed("2026-06-22", "2026-07-02", "inventory"), func(c *fleet.ClosedDay) { c.CustomerID = &site.CustomerID })
	if got := doBy(dispatcher); !strings.HasPrefix(got, "2026-06-19 ") || order() != "2026-06-19" {
		t.Errorf("with the customer's own days: %s, the order by %s", got, order())
	}
	// 4 June is the first day on which an inspection counts for 4 July: with all of June closed, no day is left.
	june := a.close(t, closed("2026-06-01", "2026-06-21", "strike"), func(c *fleet.ClosedDay) { c.SiteID = &site.SiteID })
	if got := doBy(dispatcher); !strings.HasPrefix(got, " ") || !strings.Contains(got, "agree on a day") || order() != "" {
		t.Errorf("with no day left: %q, the order by %q", got, order())
	}
	june.Cancelled, inventory.Cancelled = true, true
	for _, c := range []fleet.ClosedDay{june, inventory} {
		if _, _, err := a.PutClosedDay(t.Context(), dispatcher, c, c.Version); err != nil {
			t.Fatal(err)
		}
	}
	a.close(t, closed("2026-07-02", "", "moving house"), func(c *fleet.ClosedDay) { c.SiteID = &site.SiteID })
	if _, _, err := a.PutVisitingHours(t.Context(), dispatcher, fleet.VisitingHours{SiteID: site.SiteID, Weekdays: []int{2, 4, 6}, Hours: fleet.DayHours{FromMinute: 480, ToMinute: 900}}, 0); err != nil {
		t.Fatal(err)
	}
	if got := doBy(dispatcher); !strings.HasPrefix(got, "2026-07-04") || order() != "2026-07-04" {
		t.Errorf("a site that is open on Saturdays: %s, the order by %s", got, order())
	}
	if _, err := a.Plans(t.Context(), dispatcher, plan.DoorID); err != nil {
		t.Fatal(err)
	}
}

func TestAClosedDayIsOfOnePlaceAndKeepsItsVersions(t *testing.T) {
	t.Parallel()
	a := newFleet(t)
	site := a.site(t, a.customer(t, "Kestrel Arcades").CustomerID, "Depot")
	stranger := a.customer(t, "Wren Halls").CustomerID
	for _, c := range []struct {
		want string
		put  fleet.ClosedDay
	}{
		{"/name text_missing", closed("2026-07-03", "", " ")},
		{"/from date_missing", fleet.ClosedDay{Name: "feast"}},
		{"/until closed_too_long", closed("2026-07-03", "2026-07-02", "feast")},
		{"/until closed_too_long", closed("2026-07-03", "2027-07-04", "feast")},
		{"/from date_implausible", closed("1826-07-04", "", "feast")},
		{"/place jurisdiction_unknown", fleet.ClosedDay{Name: "feast", Place: "Utopia", Span: duedate.Span{From: day("2026-07-03")}}},
		{"/place closed_twice", fleet.ClosedDay{Name: "feast", Place: "US", CustomerID: &site.CustomerID, Span: duedate.Span{From: day("2026-07-03")}}},
		{"/site_id site_not_found", fleet.ClosedDay{Name: "feast", SiteID: &stranger, Span: duedate.Span{From: day("2026-07-03")}}},
		{"/customer_id site_of_other_customer", fleet.ClosedDay{Name: "feast", SiteID: &site.SiteID, CustomerID: &stranger, Span: duedate.Span{From: day("2026-07-03")}}},
		{"/customer_id customer_not_found", fleet.ClosedDay{Name: "feast", CustomerID: &site.SiteID, Span: duedate.Span{From: day("2026-07-03")}}},
	} {
		c.put.ClosedDayID = a.id()
		_, _, err := a.PutClosedDay(t.Context(), dispatcher, c.put, 0)
		if list := fault.Of(err); len(list) != 1 || list[0].Pointer+" "+list[0].Code != c.want {
			t.Errorf("%+v: %v, want %s", c.put, err, c.want)
		}
	}
	all, err := a.ClosedDays(t.Context(), dispatcher, fleet.ClosedDayQuery{Limit: 10})
	if err != nil || len(all) != 0 {
		t.Fatalf("what was refused is there: %v %v", all, err)
	}
	feast := a.close(t, closed("2026-12-24", "2026-12-26", "feast"), func(c *fleet.ClosedDay) { c.SiteID = &site.SiteID })
	if *feast.CustomerID != site.CustomerID {
		t.Errorf("of customer %v", feast.CustomerID)
	}
	if again, created, err := a.PutClosedDay(t.Context(), dispatcher, feast, 0); err != nil || created || again.Version != 1 {
		t.Errorf("the same again: %v %v %v", again, created, err)
	}
	feast.Name = "winter feast"
	if _, _, err := a.PutClosedDay(t.Context(), dispatcher, feast, 7); !fault.Is(err, "version_differs") {
		t.Errorf("another version: %v", err)
	}
	if saved, _, err := a.PutClosedDay(t.Context(), dispatcher, feast, 1); err != nil || saved.Version != 2 {
		t.Errorf("%v %v", saved, err)
	}
	a.close(t, closed("2026-12-25", "", "Christmas"))
	for _, c := range []struct {
		q    fleet.ClosedDayQuery
		want string
	}{
		{fleet.ClosedDayQuery{SiteID: site.SiteID}, "winter feast, Christmas"},
		{fleet.ClosedDayQuery{CustomerID: site.CustomerID}, "winter feast"},
		{fleet.ClosedDayQuery{CustomerID: stranger}, ""},
		{fleet.ClosedDayQuery{From: day("2026-12-26")}, "winter feast"},
		{fleet.ClosedDayQuery{Until: day("2026-12-24")}, "winter feast"},
		{fleet.ClosedDayQuery{AfterDay: day("2026-12-24"), AfterID: feast.ClosedDayID}, "Christmas"},
	} {
		list, err := a.ClosedDays(t.Context(), dispatcher, c.q)
		var names []string
		for _, one := range list {
			names = append(names, one.Name)
		}
		if got := strings.Join(names, ", "); err != nil || got != c.want {
			t.Errorf("%+v: %q %v, want %q", c.q, got, err, c.want)
		}
	}
	// What closes a site goes with it when it changes hands.
	if _, err := a.HandOverSite(t.Context(), dispatcher, fleet.HandOver{SiteID: site.SiteID, CustomerID: stranger, Day: day("2026-03-03")}, site.Version); err != nil {
		t.Fatal(err)
	}
	if list, err := a.ClosedDays(t.Context(), dispatcher, fleet.ClosedDayQuery{CustomerID: stranger}); err != nil || len(list) != 1 {
		t.Errorf("%v %v", list, err)
	}
}

func TestRoutesKeepClearOfClosedDaysAndComeInTimeAllTheSame(t *testing.T) {
	t.Parallel()
	w := newTown(t)
	// Wednesday 4 to Friday 6 March: Friday the company is closed, Thursday the second site.
	due := w.call(t, "East", 38.58, -121.40, "2026-03-08") // a Sunday: to be done by Thursday, though it is due after the plan's last day
	shut := w.call(t, "West", 38.58, -121.55, "2026-03-06")
	ahead := w.call(t, "West", 38.57, -121.55, "2026-03-09")
	w.close(t, closed("2026-03-06", "", "outing"))
	w.close(t, closed("2026-03-05", "", "stocktaking"), func(c *fleet.ClosedDay) { c.SiteID = &shut.SiteID })
	p := w.plan(t)
	days := map[uuid.UUID]string{}
	for _, s := range p.Shifts {
		if s.Day == day("2026-03-06") {
			t.Errorf("%s works on the company's closed day", s.Name)
		}
		for _, stop := range s.Stops {
			days[stop.WorkOrderID] = s.Day.String()
			if stop.WorkOrderID == due.WorkOrderID && stop.Urgency != "due" {
				t.Errorf("what must be done by Thursday is %s", stop.Urgency)
			}
		}
	}
	if days[shut.WorkOrderID] != "2026-03-04" {
		t.Errorf("the site that is closed on Thursday is visited on %q", days[shut.WorkOrderID])
	}
	if days[due.WorkOrderID] == "" {
		t.Errorf("what is due on Sunday has no visit: %+v", p.Left)
	}
	if slices.ContainsFunc(p.Left, func(l fleet.RouteLeft) bool { return l.WorkOrderID == ahead.WorkOrderID }) || days[ahead.WorkOrderID] != "" {
		t.Error("what may still be done on Monday was asked for")
	}
	held := w.call(t, "West", 38.58, -121.55, "2026-03-06")
	w.close(t, closed("2026-03-04", "2026-03-06", "moving"), func(c *fleet.ClosedDay) { c.SiteID = &held.SiteID })
	p = w.plan(t)
	if len(p.Left) != 1 || p.Left[0].WorkOrderID != held.WorkOrderID {
		t.Errorf("a site that is closed on all days is not left out: %+v", p.Left)
	}
}

func TestOfTwoWhoEnterTheSameClosedDayOneIsToldThatItIsThere(t *testing.T) {
	t.Parallel()
	a := newFleet(t)
	c := closed("2026-12-25", "", "Christmas")
	c.ClosedDayID = a.id()
	made := make(chan bool, 2)
	for range 2 {
		go func() {
			_, created, err := a.PutClosedDay(context.WithoutCancel(t.Context()), dispatcher, c, 0)
			if err != nil {
				t.Error(err)
			}
			made <- created
		}()
	}
	if first, second := <-made, <-made; first == second {
		t.Errorf("created %v and %v", first, second)
	}
}
