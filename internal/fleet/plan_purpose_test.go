package fleet_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// service adds a plan of service to the door, which is inspected by 10 March 2026.
func (a attended) service(t testing.TB, anchor string, tolerance, lead int) fleet.Plan {
	t.Helper()
	p, _, err := a.PutPlan(t.Context(), dispatcher, fleet.Plan{PlanID: a.id(), DoorID: a.door.DoorID, Purpose: "service", IntervalMonths: 6, Regime: duedate.Anniversary, ToleranceDays: tolerance,
		LeadDays: lead, AnchorOn: day(anchor), Active: true}, 0)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// plansOrders are the orders of the door's plans: kind, period and state.
func (a attended) plansOrders(t testing.TB) (list []string, open []uuid.UUID) {
	t.Helper()
	for _, o := range a.ordersOf(t, fleet.WorkOrderQuery{DoorID: a.door.DoorID}) {
		if o.PlanID != nil {
			list = append(list, o.Kind+" "+o.Period.String()+" "+o.State)
			if o.State == "open" {
				open = append(open, o.WorkOrderID)
			}
		}
	}
	return list, open
}

func TestPlansOfADoorAreMadeIntoOneVisitWhereTheirWindowsAllow(t *testing.T) {
	t.Parallel()
	a := newAttended(t) // its inspection is due on 10 March 2026, and has its order
	a.service(t, "2026-04-10", 35, 10)
	for _, step := range []struct {
		asOf string
		want []string
	}{
		{"2026-03-05", []string{"inspection 2026-03-10 open"}},                            // the tolerance of the service begins on 6 March
		{"2026-03-06", []string{"inspection 2026-03-10 open", "service 2026-04-10 open"}}, // and its own order would be made on 31 March
		{"2026-03-06", []string{"inspection 2026-03-10 open", "service 2026-04-10 open"}}, // run again
		{"2026-04-01", []string{"inspection 2026-03-10 open", "service 2026-04-10 open"}}, // nothing of it is made twice
		{"2026-12-24", []string{"inspection 2026-03-10 open", "service 2026-04-10 open"}}, // nor stacked
	} {
		a.generate(t, day(step.asOf))
		if got, _ := a.plansOrders(t); !slices.Equal(got, step.want) {
			t.Errorf("as of %s: %v, want %v", step.asOf, got, step.want)
		}
	}
	_, open := a.plansOrders(t)
	if _, err := a.visited(t, open, nil, passing(madeSafe())...); err != nil {
		t.Fatal(err)
	}
	if got, _ := a.plansOrders(t); !slices.Equal(got, []string{"inspection 2026-03-10 done", "service 2026-04-10 done"}) {
		t.Errorf("after one visit: %v", got)
	}
	due := map[string]string{}
	plans, err := a.Plans(t.Context(), dispatcher, a.door.DoorID)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range plans {
		due[p.Purpose] = p.NextDue.String()
	}
	// The inspection of 3 March counts a year by the rules of the door. The service was done before its tolerance, as its order was at hand all the same:
	// the order's own period is served.
	if due["inspection"] != "2027-03-03" || due["service"] != "2026-10-10" {
		t.Errorf("due then: %v", due)
	}
	a.generate(t, day("2026-09-05"))
	if got, _ := a.plansOrders(t); !slices.Equal(got, []string{"inspection 2026-03-10 done", "service 2026-04-10 done"}) {
		t.Errorf("the tolerance of the service alone makes no order: %v", got)
	}
	a.generate(t, day("2026-09-30"))
	if got, _ := a.plansOrders(t); !slices.Contains(got, "service 2026-10-10 open") || len(got) != 3 {
		t.Errorf("in its own time: %v", got)
	}
}

func TestAPlanOfServiceIsServedByTheWordOfADispatcherOrASignedVisit(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.service(t, "2026-03-20", 30, 30)
	a.generate(t, day("2026-03-03"))
	find := func(state string) fleet.WorkOrder {
		t.Helper()
		list := a.ordersOf(t, fleet.WorkOrderQuery{DoorID: a.door.DoorID, Kind: "service", State: state})
		if len(list) != 1 {
			got, _ := a.plansOrders(t)
			t.Fatalf("not one order of service is %s: %v", state, got)
		}
		return list[0]
	}
	next := func() string {
		t.Helper()
		plans, err := a.Plans(t.Context(), dispatcher, a.door.DoorID)
		i := slices.IndexFunc(plans, func(p fleet.Plan) bool { return p.Purpose == "service" })
		if err != nil || i < 0 {
			t.Fatal(plans, err)
		}
		return plans[i].NextDue.String()
	}
	// An inspection alone does not serve it.
	if _, err := a.visited(t, nil, doneAre(), passing(madeSafe())...); err != nil || next() != "2026-03-20" || find("open").Period != day("2026-03-20") {
		t.Fatalf("%v, due %s", err, next())
	}
	o := find("open")
	ended, err := a.EndWorkOrder(t.Context(), dispatcher, o.WorkOrderID, day("2026-03-03"), "by others", o.Version)
	if err != nil || ended.State != "done" || next() != "2026-09-20" || ended.DoneOn != day("2026-03-03") {
		t.Fatalf("%+v %v, due %s", ended, err, next())
	}
	if again, err := a.EndWorkOrder(t.Context(), dispatcher, o.WorkOrderID, day("2026-03-03"), "by others", o.Version); err != nil || again.Version != ended.Version {
		t.Errorf("the same again: %v %v", again, err)
	}
	opened, err := a.ReopenWorkOrder(t.Context(), dispatcher, o.WorkOrderID, "was not", ended.Version)
	if err != nil || opened.State != "open" || next() != "2026-03-20" {
		t.Fatalf("%+v %v, due %s", opened, err, next())
	}
	a.generate(t, day("2026-03-04"))
	cancelled, err := a.CancelWorkOrder(t.Context(), dispatcher, o.WorkOrderID, "not wanted", opened.Version)
	if err != nil || cancelled.State != "cancelled" || next() != "2026-03-20" {
		t.Fatalf("%+v %v, due %s", cancelled, err, next())
	}
	a.generate(t, day("2026-03-05"))
	if got, _ := a.plansOrders(t); len(got) != 2 {
		t.Errorf("a cancelled order is made again: %v", got)
	}
	reopened, err := a.ReopenWorkOrder(t.Context(), dispatcher, o.WorkOrderID, "wanted", cancelled.Version)
	if err != nil || reopened.State != "open" {
		t.Fatalf("%+v %v", reopened, err)
	}
	a.pass(24 * time.Hour)
	visit, err := a.visited(t, []uuid.UUID{o.WorkOrderID}, doneAre(o.WorkOrderID))
	if err != nil || next() != "2026-09-20" {
		t.Fatalf("%v, due %s", err, next())
	}
	if done := find("done"); done.DoneVisitID == nil || *done.DoneVisitID != visit {
		t.Errorf("%+v", done)
	}
	// What is explained is what is kept, also to the customer, who may not read what was said of orders.
	for _, by := range []struct {
		who  string
		plan fleet.PlanExplained
	}{{"the office", a.explained(t, false)}, {"the customer", a.explained(t, true)}} {
		if by.plan.Dates[0].On != day("2026-09-20") || len(by.plan.Inspections) != 1 || by.plan.Longest != nil {
			t.Errorf("%s: %+v", by.who, by.plan)
		}
	}
}

// explained is the plan of service as it is explained.
func (a attended) explained(t testing.TB, customer bool) fleet.PlanExplained {
	t.Helper()
	by := dispatcher
	if customer {
		by = agentOf(a.door.CustomerID)
	}
	e, err := a.ExplainDue(t.Context(), by, a.door.DoorID)
	i := slices.IndexFunc(e.Plans, func(p fleet.PlanExplained) bool { return p.Plan.Purpose == "service" })
	if err != nil || i < 0 {
		t.Fatal(e, err)
	}
	return e.Plans[i]
}

func TestADoorHasOneActivePlanForEachPurposeAndAPlanKeepsIts(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	p := a.service(t, "2026-04-10", 35, 10)
	other := p
	other.PlanID = a.id()
	_, _, err := a.PutPlan(t.Context(), dispatcher, other, 0)
	wantFault(t, err, "plan_exists")
	p.Purpose = "fire_door"
	_, _, err = a.PutPlan(t.Context(), dispatcher, p, 1)
	wantFault(t, err, "plan_of_other_purpose at /purpose")
	other.Purpose = "cleaning"
	_, _, err = a.PutPlan(t.Context(), dispatcher, other, 0)
	if err == nil {
		t.Error("a purpose that nobody knows was taken")
	}
	beside := func() (days []string) {
		plans, err := a.Plans(t.Context(), dispatcher, a.door.DoorID)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range plans {
			days = append(days, p.Purpose+" "+p.BesideFrom.String())
		}
		slices.Sort(days)
		return days
	}
	if got := beside(); !slices.Equal(got, []string{"inspection ", "service 2026-03-06"}) { // the inspection's order is made with its tolerance anyway
		t.Errorf("%v", got)
	}
	p.Purpose, p.Active = "service", false
	if _, _, err := a.PutPlan(t.Context(), dispatcher, p, 1); err != nil {
		t.Fatal(err)
	}
	if got := beside(); !slices.Equal(got, []string{"inspection ", "service "}) {
		t.Errorf("after one has ended: %v", got)
	}
	lines, err := a.Doors(t.Context(), dispatcher, fleet.DoorQuery{Site: a.door.SiteID, Limit: 5})
	if err != nil || len(lines) != 1 || lines[0].NextDue != day("2026-03-10") {
		t.Errorf("%v %v", lines, err)
	}
}
