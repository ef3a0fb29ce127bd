package fleet_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// planned gives a new door of a new site a yearly plan.
func (w *town) planned(t *testing.T, region, firstDue string, toleranceDays int) fleet.Plan {
	t.Helper()
	facts := w.siteFacts(w.customer, "Site of "+firstDue)
	facts.Region = region
	site, _, err := w.PutSite(t.Context(), dispatcher, facts, 0)
	if err != nil {
		t.Fatal(err)
	}
	p, _, err := w.PutPlan(t.Context(), dispatcher, fleet.Plan{PlanID: w.id(), DoorID: w.door(t, site.SiteID, "Door").DoorID, IntervalMonths: 12, Regime: duedate.Anniversary, ToleranceDays: toleranceDays, AnchorOn: day(firstDue), Active: true}, 0)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestTheForecastSaysWhichMonthsHaveNoRoomAndWhatToDoEarlier(t *testing.T) {
	t.Parallel()
	w := newTown(t) // Tuesday, 3 March 2026: 21 working days are left of March, April has 20, as two are closed; a visit takes 45 + 55 minutes of the 5.1 that a day leaves
	if _, _, err := w.PutClosedDay(t.Context(), dispatcher, fleet.ClosedDay{ClosedDayID: w.id(), Span: duedate.Span{From: day("2026-04-06"), Until: day("2026-04-07")}, Name: "Works outing"}, 0); err != nil {
		t.Fatal(err)
	}
	early := w.planned(t, "East", "2026-04-10", 60)
	w.planned(t, "East", "2026-04-20", 60)
	w.planned(t, "East", "2026-04-28", 10)
	overdue := w.planned(t, "", "2024-01-15", 30)
	c, err := w.Forecast(t.Context(), dispatcher, fleet.ForecastAsk{Months: 14, OtherPercent: 99, DriveMin: 55}) // either technician has room for one in March
	if err != nil {
		t.Fatal(err)
	}
	if c.Technicians != 2 || c.VisitMin != 45 || c.VisitLearnt != 0 || len(c.Regions) != 2 || c.Regions[0].Region != "East" || c.Regions[1].Region != "" {
		t.Fatalf("%+v", c)
	}
	east := c.Regions[0].Months
	if len(east) != 14 || east[0].First != day("2026-03-03") || east[13].First != day("2027-04-01") {
		t.Fatalf("%+v", east)
	}
	var visits, smooth []int
	for _, m := range east {
		visits, smooth = append(visits, m.Visits), append(smooth, m.Smooth)
	}
	if !slices.Equal(visits, []int{0, 3, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 3}) || !slices.Equal(smooth, []int{1, 2, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 2}) {
		t.Errorf("due %v, smoothed %v", visits, smooth)
	}
	// One goes to East, the other everywhere: in April, with work in East only, both are East's.
	if april := east[1]; math.Abs(april.CapacityMin-2*20*5.1) > 0.5 || !april.Over || april.StillOver || april.WorkMin != 300 || april.SmoothMin != 200 {
		t.Errorf("%+v", april)
	}
	if len(c.Moves) == 0 || c.Moves[0].PlanID != early.PlanID || c.Moves[0].Due != day("2026-04-10") || c.Moves[0].Earliest != day("2026-03-03") || c.Moves[0].Until != day("2026-03-31") || c.Moves[0].Door != "Door" {
		t.Errorf("%+v", c.Moves)
	}
	// Overdue by two periods it is one visit, and due again on the next anniversary.
	none := c.Regions[1].Months
	if none[0].Visits != 1 || none[10].Visits != 1 || none[10].First != day("2027-01-01") || overdue.NextDue != day("2024-01-15") {
		t.Errorf("%+v", none)
	}
}

func TestTheForecastTakesTheDriveFromRoutesThatWereTakenOver(t *testing.T) {
	t.Parallel()
	w := newTown(t)
	for range 9 {
		w.call(t, "", 38.58, -121.45, "2026-03-12")
	}
	p, _, err := w.PlanRoutes(t.Context(), dispatcher, w.id(), fleet.RouteAsk{From: day("2026-03-09"), Days: 5, Steps: 50}.Filled())
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := w.TakeOverRoutePlan(t.Context(), dispatcher, p.RoutePlanID); err != nil {
		t.Fatal(err)
	}
	w.person(t, identity.Technician, "name = 'Noa Brook'")
	c, err := w.Forecast(t.Context(), dispatcher, fleet.UsualForecast())
	if err != nil {
		t.Fatal(err)
	}
	if p.Visits != 9 || c.DriveLearnt != 9 || math.Abs(c.DriveMin-p.DriveMin/9) > 1e-9 || c.Months != 18 || c.OtherPercent != 30 || !slices.Equal(c.WithoutTerms, []string{"Noa Brook"}) {
		t.Errorf("%d visits, %g minutes: %+v", p.Visits, p.DriveMin, c)
	}
}

func TestTheForecastRefusesWhatItCannotAnswer(t *testing.T) {
	t.Parallel()
	w := newFleet(t)
	_, err := w.Forecast(t.Context(), dispatcher, fleet.ForecastAsk{Months: 37, OtherPercent: 100, DriveMin: math.NaN()})
	var at []string
	for _, f := range fault.Of(err) {
		at = append(at, f.Pointer+" "+f.Code)
	}
	if !slices.Equal(at, []string{"/months out_of_range", "/other_percent out_of_range", "/drive_min out_of_range"}) {
		t.Errorf("refused for %v", at)
	}
	w.now = time.Date(2026, 1, 31, 12, 0, 0, 0, time.UTC) // a day that the next month lacks
	if _, err := w.Forecast(t.Context(), dispatcher, fleet.UsualForecast()); err != nil {
		t.Error(err)
	}
}
