package fleet_test

import (
	"testing"
	"time"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// plan makes a yearly plan of a door and gives it as it was saved.
func (r *rig) plan(t testing.TB, p fleet.Plan) fleet.Plan {
	t.Helper()
	p.PlanID, p.Active = r.id(), true
	saved, _, err := r.PutPlan(t.Context(), dispatcher, p, 0)
	if err != nil {
		t.Fatal(err)
	}
	return saved
}

func TestAPlanIsKeptByEachRegimeWithWhatFollowsFromIt(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	site := r.site(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade")
	for _, c := range []struct {
		plan fleet.Plan
		want fleet.PlanDates
	}{
		{fleet.Plan{IntervalMonths: 12, Regime: duedate.Anniversary, ToleranceDays: 60, LeadDays: 45, GraceDays: 10, AnchorOn: day("2026-03-10")},
			fleet.PlanDates{NextDue: day("2026-03-10"), DueBy: day("2026-03-20"), OrdersFrom: day("2026-01-24"), LongestMonths: 12}},
		{fleet.Plan{IntervalMonths: 24, Regime: duedate.FromLast, LeadDays: 30, AnchorOn: day("2026-03-10")},
			fleet.PlanDates{NextDue: day("2026-03-10"), DueBy: day("2026-03-10"), OrdersFrom: day("2026-02-08"), LongestMonths: 12}},
		{fleet.Plan{IntervalMonths: 6, Regime: duedate.MonthEnd, LeadDays: 30, AnchorOn: day("2026-02-10")},
			fleet.PlanDates{NextDue: day("2026-02-28"), DueBy: day("2026-02-28"), OrdersFrom: day("2026-01-29"), LongestMonths: 12}},
		{fleet.Plan{IntervalMonths: 24, Regime: duedate.FixedMonth, FixedMonth: time.May, ToleranceDays: 30, LeadDays: 30, AnchorOn: day("2026-06-01")},
			fleet.PlanDates{NextDue: day("2027-05-31"), DueBy: day("2027-05-31"), OrdersFrom: day("2027-05-01"), LongestMonths: 12}},
	} {
		c.plan.DoorID = r.door(t, site.SiteID, string(c.plan.Regime)).DoorID
		saved := r.plan(t, c.plan)
		if saved.PlanDates != c.want || saved.FixedMonth != c.plan.FixedMonth || saved.GraceDays != c.plan.GraceDays {
			t.Errorf("%s: %+v, want %+v", c.plan.Regime, saved, c.want)
		}
		list, err := r.Plans(t.Context(), dispatcher, saved.DoorID)
		if err != nil || len(list) != 1 || list[0].PlanDates != c.want {
			t.Errorf("%s: read again %+v, %v", c.plan.Regime, list, err)
		}
	}
}

// The rule that a door of the United States is inspected within a year is recalled and names no clause: it caps nevertheless, on the safe side.
func TestAPlanIsCappedByTheRulesOfItsDoorAndFollowsThemWhenTheyChange(t *testing.T) {
	t.Parallel()
	a := newAttended(t) // inspected on 3 March by a plan that is due on 10 March
	if err := a.inspection(t, technician, passing(madeSafe())...); err != nil {
		t.Fatal(err)
	}
	plans, err := a.Plans(t.Context(), dispatcher, a.door.DoorID)
	if err != nil || len(plans) != 1 {
		t.Fatal(plans, err)
	}
	want := fleet.PlanDates{NextDue: day("2027-03-03"), RegularDue: day("2027-03-10"), DueBy: day("2027-03-03"), OrdersFrom: day("2027-02-01"), LongestMonths: 12}
	if plans[0].PlanDates != want {
		t.Errorf("%+v, want %+v", plans[0].PlanDates, want)
	}
	a.nowChanged(t, func(d *fleet.DoorFacts) { d.RuleBasis = fleet.RuleBasis{} })
	plans, err = a.Plans(t.Context(), dispatcher, a.door.DoorID)
	want = fleet.PlanDates{NextDue: day("2027-03-10"), DueBy: day("2027-03-10"), OrdersFrom: day("2027-02-08")}
	if err != nil || plans[0].PlanDates != want {
		t.Errorf("without a rule basis: %+v, %v, want %+v", plans[0].PlanDates, err, want)
	}
}

func TestWithGraceAPlanAndItsOrderAreOverdueTogether(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	site := r.site(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade")
	plan := r.plan(t, fleet.Plan{DoorID: r.door(t, site.SiteID, "Door").DoorID, IntervalMonths: 12, Regime: duedate.Anniversary, ToleranceDays: 30, LeadDays: 30, AnchorOn: day("2026-03-10")})
	r.generate(t, day("2026-03-03"))
	overdue := func(on string) (plans, orders int) {
		y, m, d := day(on).Date()
		r.now = time.Date(y, m, d, 20, 0, 0, 0, time.UTC)
		p, err := r.DuePlans(t.Context(), dispatcher, fleet.PlanQuery{Overdue: true, Limit: 10})
		if err != nil {
			t.Fatal(err)
		}
		o, err := r.WorkOrders(t.Context(), dispatcher, fleet.WorkOrderQuery{Overdue: true, Limit: 10})
		if err != nil {
			t.Fatal(err)
		}
		return len(p), len(o)
	}
	if p, o := overdue("2026-03-11"); p != 1 || o != 1 {
		t.Errorf("without grace: %d plans and %d orders overdue", p, o)
	}
	plan.GraceDays = 14
	if _, _, err := r.PutPlan(t.Context(), dispatcher, plan, plan.Version); err != nil {
		t.Fatal(err)
	}
	if p, o := overdue("2026-03-24"); p != 0 || o != 0 {
		t.Errorf("within the grace: %d plans and %d orders overdue", p, o)
	}
	if p, o := overdue("2026-03-25"); p != 1 || o != 1 {
		t.Errorf("after the grace: %d plans and %d orders overdue", p, o)
	}
}
