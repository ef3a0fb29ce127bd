package fleet_test

import (
	"slices"
	"testing"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// suspend suspends a plan for the season.
func (r *rig) suspend(t testing.TB, p fleet.Plan, from, until string) fleet.Suspension {
	t.Helper()
	s, created, err := r.SuspendPlan(t.Context(), dispatcher, fleet.SuspensionEvent{DoorID: p.DoorID, PlanID: p.PlanID, EventID: r.id(), FromOn: day(from), UntilOn: day(until), Reason: "season", Why: "closed"})
	if err != nil || !created {
		t.Fatal(created, err)
	}
	return s
}

func (r *rig) resume(t testing.TB, s fleet.Suspension, on string) {
	t.Helper()
	_, created, err := r.ResumePlan(t.Context(), dispatcher, fleet.SuspensionEvent{DoorID: s.DoorID, PlanID: s.PlanID, SuspensionID: s.EventID, EventID: r.id(), FromOn: day(on), Why: "open again"})
	if err != nil || !created {
		t.Fatal(created, err)
	}
}

// stand is the plan's next day and its orders with their states.
func (r *rig) stand(t testing.TB, p fleet.Plan) (lines []string) {
	t.Helper()
	plans, err := r.Plans(t.Context(), dispatcher, p.DoorID)
	if err != nil {
		t.Fatal(err)
	}
	lines = append(lines, "next "+plans[0].NextDue.String())
	orders, err := r.WorkOrders(t.Context(), dispatcher, fleet.WorkOrderQuery{DoorID: p.DoorID, Limit: 20})
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range orders {
		lines = append(lines, o.Period.String()+" "+o.State)
	}
	return lines
}

func TestNoOrderIsMadeWhileAPlanIsSuspendedAndOneWhenItGoesOn(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	site := r.site(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade")
	plan := r.plan(t, fleet.Plan{DoorID: r.door(t, site.SiteID, "Door").DoorID, IntervalMonths: 12, Regime: duedate.Anniversary, ToleranceDays: 30, LeadDays: 30, AnchorOn: day("2026-04-20")})
	want := func(on string, want ...string) {
		t.Helper()
		r.generate(t, day(on))
		if got := r.stand(t, plan); !slices.Equal(got, want) {
			t.Errorf("on %s: %v, want %v", on, got, want)
		}
	}
	want("2026-03-20", "next 2026-04-20")
	first := r.suspend(t, plan, "2026-03-21", "2026-05-31")
	want("2026-03-21", "next 2026-06-01")
	want("2026-05-31", "next 2026-06-01")
	r.resume(t, first, "2026-05-10")
	want("2026-05-09", "next 2026-05-10")
	want("2026-05-10", "next 2026-05-10", "2026-05-10 open")
	second := r.suspend(t, plan, "2026-05-10", "2026-05-20") // an order that is open stands for nothing any more
	want("2026-05-12", "next 2026-05-21", "2026-05-10 superseded")
	want("2026-05-21", "next 2026-05-21", "2026-05-10 superseded", "2026-05-21 open")
	r.resume(t, second, "2026-05-10") // taken back: the order of before is open again, and only that
	want("2026-05-22", "next 2026-05-10", "2026-05-10 open", "2026-05-21 superseded")
}

func TestWhatIsSaidOfASuspensionStaysAndTheSameAgainChangesNothing(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	site := r.site(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade")
	plan := r.plan(t, fleet.Plan{DoorID: r.door(t, site.SiteID, "Door").DoorID, IntervalMonths: 12, Regime: duedate.FromLast, LeadDays: 30, AnchorOn: day("2026-04-20")})
	other := r.plan(t, fleet.Plan{DoorID: r.door(t, site.SiteID, "Other").DoorID, IntervalMonths: 12, Regime: duedate.FromLast, LeadDays: 30, AnchorOn: day("2026-04-20")})
	said := fleet.SuspensionEvent{DoorID: plan.DoorID, PlanID: plan.PlanID, EventID: r.id(), FromOn: day("2026-04-01"), UntilOn: day("2026-04-30"), Reason: "season", Why: "closed"}
	for i := range 2 {
		if _, created, err := r.SuspendPlan(t.Context(), dispatcher, said); err != nil || created != (i == 0) {
			t.Fatal(i, created, err)
		}
	}
	for name, c := range map[string]struct {
		change func(*fleet.SuspensionEvent)
		want   string
	}{
		"other days":        {func(e *fleet.SuspensionEvent) { e.UntilOn = day("2026-05-01") }, "suspension_differs"},
		"of another plan":   {func(e *fleet.SuspensionEvent) { e.DoorID, e.PlanID = other.DoorID, other.PlanID }, "suspension_differs"},
		"of another door":   {func(e *fleet.SuspensionEvent) { e.DoorID = other.DoorID }, "plan_not_found"},
		"of no plan":        {func(e *fleet.SuspensionEvent) { e.PlanID = r.id() }, "plan_not_found"},
		"no first day":      {func(e *fleet.SuspensionEvent) { e.FromOn = duedate.Day{} }, "date_missing at /from"},
		"ends before":       {func(e *fleet.SuspensionEvent) { e.UntilOn = day("2026-03-31") }, "suspension_out_of_range at /until"},
		"for years":         {func(e *fleet.SuspensionEvent) { e.UntilOn = day("2028-04-02") }, "suspension_out_of_range at /until"},
		"no known reason":   {func(e *fleet.SuspensionEvent) { e.Reason = "whim" }, "word_unknown at /reason"},
		"nothing in words":  {func(e *fleet.SuspensionEvent) { e.Why = " " }, "text_missing at /why"},
		"a year of no sort": {func(e *fleet.SuspensionEvent) { e.FromOn = day("0026-04-01") }, "date_implausible at /from"},
	} {
		changed := said
		c.change(&changed)
		_, _, err := r.SuspendPlan(t.Context(), dispatcher, changed)
		t.Run(name, func(t *testing.T) { wantFault(t, err, c.want) })
	}
	_, _, err := r.ResumePlan(t.Context(), dispatcher, fleet.SuspensionEvent{DoorID: plan.DoorID, PlanID: plan.PlanID, SuspensionID: r.id(), EventID: r.id(), FromOn: day("2026-04-10"), Why: "open"})
	wantFault(t, err, "suspension_not_found")
	_, _, err = r.ResumePlan(t.Context(), dispatcher, fleet.SuspensionEvent{DoorID: plan.DoorID, PlanID: plan.PlanID, SuspensionID: said.EventID, EventID: r.id(), FromOn: day("2026-05-01"), Why: "open"})
	wantFault(t, err, "resumed_after_end at /on")
	if got := r.stand(t, plan); !slices.Equal(got, []string{"next 2026-05-01"}) {
		t.Errorf("after all that was refused: %v", got)
	}
}

func TestSuspensionsComeToTheSameInWhateverOrderTheyAreHeardOf(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var said []fleet.SuspensionEvent
		number := byte(0)
		event := func(of uuid.UUID, kind string) fleet.SuspensionEvent {
			number++
			e := fleet.SuspensionEvent{EventID: uuid.UUID{15: number}, SuspensionID: of, Kind: kind, FromOn: day("2026-01-01").AddDays(rapid.IntRange(0, 90).Draw(t, "from"))}
			if kind == "suspended" {
				e.SuspensionID, e.UntilOn = e.EventID, e.FromOn.AddDays(rapid.IntRange(0, 40).Draw(t, "days"))
			}
			return e
		}
		for range rapid.IntRange(1, 4).Draw(t, "suspensions") {
			s := event(uuid.Nil, "suspended")
			said = append(said, s)
			for range rapid.IntRange(0, 3).Draw(t, "resumptions") {
				said = append(said, event(s.EventID, "resumed"))
			}
		}
		want := fleet.SpansOf(said)
		for _, s := range want {
			if s.Until.Before(s.From) {
				t.Fatalf("%v is no span", s)
			}
		}
		if got := fleet.SpansOf(rapid.Permutation(said).Draw(t, "in another order")); !slices.Equal(got, want) {
			t.Fatalf("%v, want %v", got, want)
		}
	})
}
