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

// plans gives a door of the town a plan of inspections and one of service, and makes their orders of 3 March 2026.
func (w *town) plans(t *testing.T, door uuid.UUID, inspection, service string) {
	t.Helper()
	for purpose, anchor := range map[string]string{"inspection": inspection, "service": service} {
		if _, _, err := w.PutPlan(t.Context(), dispatcher, fleet.Plan{PlanID: w.id(), DoorID: door, Purpose: purpose, IntervalMonths: 12, Regime: duedate.Anniversary, ToleranceDays: 60,
			LeadDays: 10, AnchorOn: day(anchor), Active: true}, 0); err != nil {
			t.Fatal(err)
		}
	}
	w.generate(t, day("2026-03-03"))
}

func TestARoutePlanDoesTheOrdersOfADoorsPlansAtOneCall(t *testing.T) {
	t.Parallel()
	w := newTown(t)
	for _, who := range []uuid.UUID{w.east, w.west} {
		if _, err := w.db.Admin.Exec(t.Context(), "insert into qualification (person_id, qualification_id, scheme, number, valid_from, valid_until, recorded_at) values ($1, $2, 'Inspector', '7', '2025-01-01', '2027-01-01', now())", who, w.id()); err != nil {
			t.Fatal(err)
		}
	}
	far := w.call(t, "West", 38.58, -121.55, "2026-03-05")
	w.plans(t, far.DoorID, "2026-03-06", "2026-04-20") // the service is due weeks after the plan's last day and is not looked ahead to
	apart := w.call(t, "West", 38.59, -121.56, "2026-03-05")
	w.plans(t, apart.DoorID, "2026-03-06", "2026-04-20")
	late := w.ordersOf(t, fleet.WorkOrderQuery{DoorID: apart.DoorID, Kind: "service"})[0]
	if _, err := w.AssignWorkOrder(t.Context(), dispatcher, late.WorkOrderID, nil, day("2026-04-15"), late.Version); err != nil { // somebody has planned it apart
		t.Fatal(err)
	}
	p := w.plan(t)
	at := map[uuid.UUID][]fleet.RouteStop{}
	for _, s := range p.Shifts {
		for i, stop := range s.Stops {
			at[stop.DoorID] = append(at[stop.DoorID], stop)
			if stop.With != nil && (i == 0 || s.Stops[i-1].WorkOrderID != *stop.With || !s.Stops[i-1].Leave.Equal(stop.Begin) || stop.KM != 0) {
				t.Errorf("%+v does not follow %v", stop, *stop.With)
			}
		}
	}
	kinds := func(door uuid.UUID) (list []string) {
		for _, stop := range at[door] {
			kind := stop.Kind
			if stop.With != nil {
				kind += " with it"
			}
			list = append(list, kind)
		}
		slices.Sort(list)
		return list
	}
	if got := kinds(far.DoorID); !slices.Equal(got, []string{"call_out", "inspection", "service with it"}) {
		t.Errorf("at the door: %v, left %+v", got, p.Left)
	}
	if got := kinds(apart.DoorID); !slices.Equal(got, []string{"call_out", "inspection"}) {
		t.Errorf("at the door whose service is planned apart: %v", got)
	}
	_, done, err := w.TakeOverRoutePlan(t.Context(), dispatcher, p.RoutePlanID)
	if err != nil || done.Assigned != 5 {
		t.Errorf("%+v %v", done, err)
	}
	list, err := w.CallOrders(t.Context(), dispatcher, []uuid.UUID{far.DoorID})
	if err != nil || len(list) != 2 || list[0].Kind != "inspection" || list[1].Kind != "service" {
		t.Errorf("%+v %v", list, err)
	}
	// A site that lets nobody stay for both has them done on two days.
	brief := w.call(t, "West", 38.58, -121.54, "2026-03-05")
	w.plans(t, brief.DoorID, "2026-03-06", "2026-03-06")
	w.open(t, brief.SiteID, 9, 10, 1, 2, 3, 4, 5)
	if _, err := w.CancelWorkOrder(t.Context(), dispatcher, brief.WorkOrderID, "not wanted", brief.Version); err != nil {
		t.Fatal(err)
	}
	p = w.plan(t)
	days := []string{}
	for _, s := range p.Shifts {
		for _, stop := range s.Stops {
			if stop.DoorID == brief.DoorID && stop.Kind != "call_out" {
				days = append(days, stop.Kind)
			}
		}
	}
	slices.Sort(days)
	if !slices.Equal(days, []string{"inspection", "service"}) {
		t.Errorf("an hour each day is open: %v, left %+v", days, p.Left)
	}
}
