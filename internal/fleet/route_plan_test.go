package fleet_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// town is a company with sites around Sacramento, one door each, and two technicians at opposite ends of it.
type town struct {
	*rig
	customer uuid.UUID
	east     uuid.UUID // technician of the region East
	west     uuid.UUID // of everywhere
	sites    map[uuid.UUID]fleet.Site
	hours    map[uuid.UUID]fleet.VisitingHours
}

func newTown(t *testing.T) *town {
	t.Helper()
	r := newFleet(t) // Tuesday, 3 March 2026
	w := &town{rig: r, customer: r.customer(t, "Kestrel Arcades").CustomerID, sites: map[uuid.UUID]fleet.Site{}, hours: map[uuid.UUID]fleet.VisitingHours{}}
	w.east, w.west = r.person(t, identity.Technician, "name = 'Edda Alder'"), r.person(t, identity.Technician, "name = 'Wim Tarn'")
	w.terms(t, w.east, -121.30, "East")
	w.terms(t, w.west, -121.60)
	return w
}

func (w *town) terms(t *testing.T, who uuid.UUID, longitude float64, regions ...string) {
	t.Helper()
	if _, _, err := w.PutWorkingTerms(t.Context(), dispatcher, fleet.WorkingTerms{PersonID: who, TimeZone: "America/Los_Angeles", Home: fleet.Position{LatitudeDeg: 38.58, LongitudeDeg: longitude},
		Weekdays: []int{1, 2, 3, 4, 5}, Hours: fleet.DayHours{FromMinute: 7 * 60, ToMinute: 16 * 60}, Break: fleet.DayHours{FromMinute: 12 * 60, ToMinute: 12*60 + 30}, Regions: regions}, 0); err != nil {
		t.Fatal(err)
	}
}

// call is an order at a new door of a new site.
func (w *town) call(t *testing.T, region string, latitude, longitude float64, due string, more ...func(*fleet.WorkOrder)) fleet.WorkOrder {
	t.Helper()
	facts := w.siteFacts(w.customer, fmt.Sprintf("Site %d", len(w.sites)))
	facts.Region, facts.Position = region, &fleet.Position{LatitudeDeg: latitude, LongitudeDeg: longitude}
	site, _, err := w.PutSite(t.Context(), dispatcher, facts, 0)
	if err != nil {
		t.Fatal(err)
	}
	w.sites[site.SiteID] = site
	o := fleet.WorkOrder{WorkOrderID: w.id(), DoorID: w.door(t, site.SiteID, "Door").DoorID, Kind: "call_out", DueOn: day(due)}
	for _, m := range more {
		m(&o)
	}
	made, _, err := w.PutWorkOrder(t.Context(), dispatcher, o, 0)
	if err != nil {
		t.Fatal(err)
	}
	return made
}

func (w *town) open(t *testing.T, site uuid.UUID, from, to int, weekdays ...int) {
	t.Helper()
	v, _, err := w.PutVisitingHours(t.Context(), dispatcher, fleet.VisitingHours{SiteID: site, Weekdays: weekdays, Hours: fleet.DayHours{FromMinute: from * 60, ToMinute: to * 60}}, 0)
	if err != nil {
		t.Fatal(err)
	}
	w.hours[site] = v
}

func (w *town) plan(t *testing.T, more ...func(*fleet.RouteAsk)) fleet.RoutePlan {
	t.Helper()
	ask := fleet.RouteAsk{From: day("2026-03-04"), Days: 3, Steps: 3000}.Filled()
	for _, m := range more {
		m(&ask)
	}
	p, _, err := w.PlanRoutes(t.Context(), dispatcher, w.id(), ask)
	if err != nil {
		t.Fatal(err)
	}
	w.verify(t, p)
	return p
}

// verify walks every shift of a plan with a clock of its own: ways by the spherical law of cosines, hours and break of the technician, hours of the
// site. It shares no code with the planning.
func (w *town) verify(t *testing.T, p fleet.RoutePlan) {
	t.Helper()
	km := func(a, b fleet.Position) float64 {
		rad := math.Pi / 180
		c := math.Sin(a.LatitudeDeg*rad)*math.Sin(b.LatitudeDeg*rad) + math.Cos(a.LatitudeDeg*rad)*math.Cos(b.LatitudeDeg*rad)*math.Cos((a.LongitudeDeg-b.LongitudeDeg)*rad)
		return 6371.0088 * math.Acos(max(-1, min(1, c))) * p.Ask.Factor
	}
	seen, driven := map[uuid.UUID]bool{}, 0.0
	for _, s := range p.Shifts {
		terms, err := w.WorkingTerms(t.Context(), dispatcher, fleet.WorkingTermsQuery{PersonID: s.PersonID, Limit: 1})
		if err != nil || len(terms) != 1 {
			t.Fatalf("%v %v", terms, err)
		}
		zone, _ := time.LoadLocation(s.TimeZone)
		y, m, d := s.Day.Date()
		at := func(minute int) time.Time { return time.Date(y, m, d, minute/60, minute%60, 0, 0, zone) }
		begins, ends, pause, over := at(terms[0].Hours.FromMinute), at(terms[0].Hours.ToMinute), at(terms[0].Break.FromMinute), at(terms[0].Break.ToMinute)
		wd := int(time.Date(y, m, d, 12, 0, 0, 0, zone).Weekday())
		if wd == 0 || wd == 6 {
			t.Errorf("%s works on %s", s.Name, s.Day)
		}
		if s.Begins.Before(begins) || s.Ends.After(ends) {
			t.Errorf("%s on %s from %s until %s", s.Name, s.Day, s.Begins, s.Ends)
		}
		here, now := terms[0].Home, s.Begins
		drive := func(to fleet.Position) {
			takes := 0.0
			if to != here {
				takes = km(here, to)/p.Ask.SpeedKmh*60 + p.Ask.ArrivalM
			}
			driven += km(here, to)
			arrives := now.Add(time.Duration(takes * float64(time.Minute)))
			if now.Before(over) && arrives.After(pause) { // the break stops the drive
				if left := pause.Sub(now); left > 0 {
					takes -= left.Minutes()
				}
				arrives = over.Add(time.Duration(takes * float64(time.Minute)))
			}
			here, now = to, arrives
		}
		for _, stop := range s.Stops {
			if seen[stop.WorkOrderID] {
				t.Errorf("%s is planned twice", stop.Site)
			}
			seen[stop.WorkOrderID] = true
			drive(*w.sites[stop.SiteID].Position)
			const rounded = 2 * time.Second
			if stop.Begin.Before(now.Add(-rounded)) {
				t.Errorf("%s begins at %s, nobody is there before %s", stop.Site, stop.Begin, now)
			}
			if stop.Begin.Before(over) && stop.Leave.After(pause) {
				t.Errorf("%s from %s until %s reaches into the break", stop.Site, stop.Begin, stop.Leave)
			}
			if h, ok := w.hours[stop.SiteID]; ok {
				minute := func(x time.Time) int { return x.In(zone).Hour()*60 + x.In(zone).Minute() }
				if !slices.Contains(h.Weekdays, wd) || minute(stop.Begin) < h.Hours.FromMinute || minute(stop.Leave) > h.Hours.ToMinute {
					t.Errorf("%s is not open on %s at %s", stop.Site, s.Day, stop.Begin)
				}
			}
			if region := w.sites[stop.SiteID].Region; len(terms[0].Regions) > 0 && !slices.Contains(terms[0].Regions, region) {
				t.Errorf("%s goes to %s in %q", s.Name, stop.Site, region)
			}
			if stop.Late != s.Day.After(stop.DueOn) {
				t.Errorf("%s on %s, due on %s: late %v", stop.Site, s.Day, stop.DueOn, stop.Late)
			}
			now = stop.Leave
		}
		drive(terms[0].Home)
		if now.Sub(s.Ends).Abs() > 3*time.Second {
			t.Errorf("%s is back at %s, the plan says %s", s.Name, now, s.Ends)
		}
	}
	for _, l := range p.Left {
		if seen[l.WorkOrderID] {
			t.Errorf("%s is planned and left out", l.Site)
		}
		seen[l.WorkOrderID] = true
	}
	if math.Abs(driven-p.KM) > 0.01 {
		t.Errorf("%.3f km, the plan says %.3f", driven, p.KM)
	}
}

// in finds where a plan has an order.
func in(p fleet.RoutePlan, o fleet.WorkOrder) (s fleet.RouteShift, stop fleet.RouteStop, ok bool) {
	for _, s := range p.Shifts {
		for _, stop := range s.Stops {
			if stop.WorkOrderID == o.WorkOrderID {
				return s, stop, true
			}
		}
	}
	return s, stop, false
}

func why(p fleet.RoutePlan, o fleet.WorkOrder) string {
	for _, l := range p.Left {
		if l.WorkOrderID == o.WorkOrderID {
			return l.Reason
		}
	}
	return ""
}

func TestRoutesKeepToHoursRegionsDueDaysAndWhatIsHeld(t *testing.T) {
	t.Parallel()
	w := newTown(t)
	east := w.call(t, "East", 38.60, -121.25, "2026-03-05")
	west := w.call(t, "West", 38.55, -121.62, "2026-03-06")
	westOnly := w.call(t, "West", 38.57, -121.28, "2026-03-06") // at the door of somebody who may not go there
	early := w.call(t, "West", 38.59, -121.55, "2026-03-04")
	w.open(t, early.SiteID, 7, 9, 3)
	onThursday := w.call(t, "East", 38.56, -121.35, "2026-03-06")
	w.open(t, onThursday.SiteID, 13, 16, 4)
	never := w.call(t, "East", 38.56, -121.36, "2026-03-06")
	w.open(t, never.SiteID, 8, 16, 6, 7)
	overdue := w.call(t, "East", 38.61, -121.31, "2026-03-02")
	onTheWay := w.call(t, "West", 38.5502, -121.6202, "2026-03-20")
	farOut := w.call(t, "West", 39.0, -122.4, "2026-03-20")
	tooFar := w.call(t, "West", 34.0, -118.2, "2026-03-05")
	unknown := w.site(t, w.customer, "Nowhere")
	nowhere, _, err := w.PutWorkOrder(t.Context(), dispatcher, fleet.WorkOrder{WorkOrderID: w.id(), DoorID: w.door(t, unknown.SiteID, "Door").DoorID, Kind: "call_out", DueOn: day("2026-03-05")}, 0)
	if err != nil {
		t.Fatal(err)
	}
	p := w.plan(t, func(a *fleet.RouteAsk) { a.AheadDays = 30 })
	for o, who := range map[*fleet.WorkOrder]uuid.UUID{&west: w.west, &westOnly: w.west, &early: w.west} {
		if s, _, ok := in(p, *o); !ok || s.PersonID != who {
			t.Errorf("%+v is with %s (%v), left because %q", o.DueOn, s.Name, ok, why(p, *o))
		}
	}
	if s, _, ok := in(p, early); !ok || s.Day != day("2026-03-04") {
		t.Errorf("open on Wednesday alone, planned on %s", s.Day)
	}
	if s, _, ok := in(p, onThursday); !ok || s.Day != day("2026-03-05") {
		t.Errorf("open on Thursday alone, planned on %s", s.Day)
	}
	if s, stop, ok := in(p, overdue); !ok || !stop.Late || stop.Urgency != "overdue" {
		t.Errorf("overdue: %v %+v", s.Day, stop)
	}
	if _, _, ok := in(p, east); !ok {
		t.Error("east is left out")
	}
	if _, stop, ok := in(p, onTheWay); !ok || stop.Urgency != "ahead" {
		t.Errorf("what is next door is not done on the way: %+v", stop)
	}
	for o, reason := range map[*fleet.WorkOrder]string{&never: "not_that_day", &farOut: "not_worth", &tooFar: "too_far", &nowhere: "no_place"} {
		if got := why(p, *o); got != reason {
			t.Errorf("left out because %q, want %q", got, reason)
		}
	}
	if p.Late != 0 || p.State != "draft" {
		t.Errorf("%d late, %s", p.Late, p.State)
	}
	again, created, err := w.PlanRoutes(t.Context(), dispatcher, p.RoutePlanID, p.Ask)
	if err != nil || created || len(again.Shifts) != len(p.Shifts) {
		t.Errorf("the same id: %v %v", created, err)
	}
	other := p.Ask
	other.Days++
	_, _, err = w.PlanRoutes(t.Context(), dispatcher, p.RoutePlanID, other)
	wantFault(t, err, "route_plan_differs")
}

func TestNobodyIsPlannedForDaysThatAreOver(t *testing.T) {
	t.Parallel()
	w := newTown(t)
	today := duedate.DayIn(w.now, time.UTC)
	ask := fleet.RouteAsk{From: today.AddDays(-2), Days: 5, Steps: 50}.Filled()
	_, _, err := w.PlanRoutes(t.Context(), dispatcher, w.id(), ask)
	wantFault(t, err, "route_days_past at /from")
	order := w.call(t, "East", 38.5, -121.6, "2026-03-06")
	p := w.plan(t)
	s, _, ok := in(p, order)
	if !ok {
		t.Fatal("the order is left out")
	}
	w.pass(time.Duration(today.DaysUntil(s.Day))*24*time.Hour + 36*time.Hour)
	_, done, err := w.TakeOverRoutePlan(t.Context(), dispatcher, p.RoutePlanID)
	if err != nil || done.Assigned != 0 || len(done.Passed) != 1 {
		t.Fatalf("%+v %v", done, err)
	}
	if o, err := w.WorkOrder(t.Context(), dispatcher, order.WorkOrderID); err != nil || o.AssignedTo != nil || !o.PlannedOn.IsZero() {
		t.Errorf("planned for a day that is over: %+v %v", o, err)
	}
	if again, created, err := w.PlanRoutes(t.Context(), dispatcher, p.RoutePlanID, p.Ask); err != nil || created || again.State != "taken_over" {
		t.Errorf("the same id later: %v %v", created, err)
	}
}

func TestAPlanChangesNothingUntilItIsTakenOverAndMovesLittleAfterwards(t *testing.T) {
	t.Parallel()
	w := newTown(t)
	var orders []fleet.WorkOrder
	for i := range 14 {
		orders = append(orders, w.call(t, "East", 38.5+float64(i%5)*0.03, -121.6+float64(i)*0.025, "2026-03-06"))
	}
	p := w.plan(t)
	if p.Visits != 14 {
		t.Fatalf("%d visits, left %+v", p.Visits, p.Left)
	}
	if o, _ := w.WorkOrder(t.Context(), dispatcher, orders[0].WorkOrderID); o.AssignedTo != nil {
		t.Error("a draft has changed an order")
	}
	closed := orders[3]
	if _, err := w.CancelWorkOrder(t.Context(), dispatcher, closed.WorkOrderID, "not wanted", 1); err != nil {
		t.Fatal(err)
	}
	p, done, err := w.TakeOverRoutePlan(t.Context(), dispatcher, p.RoutePlanID)
	if err != nil || done.Assigned != 13 || len(done.Passed) != 1 || done.Passed[0] != closed.WorkOrderID || p.State != "taken_over" {
		t.Fatalf("%+v %v %s", done, err, p.State)
	}
	for _, o := range orders {
		s, _, _ := in(p, o)
		now, err := w.WorkOrder(t.Context(), dispatcher, o.WorkOrderID)
		if err != nil {
			t.Fatal(err)
		}
		if o.WorkOrderID != closed.WorkOrderID && (now.PlannedOn != s.Day || *now.AssignedTo != s.PersonID) {
			t.Errorf("planned on %s with %v, the plan has %s with %s", now.PlannedOn, now.AssignedTo, s.Day, s.PersonID)
		}
	}
	if _, done, err = w.TakeOverRoutePlan(t.Context(), dispatcher, p.RoutePlanID); err != nil || done.Assigned != 13 {
		t.Errorf("taken over again: %+v %v", done, err)
	}
	// Somebody calls: what stands is not turned over for it.
	urgent := w.call(t, "East", 38.58, -121.42, "2026-03-04", func(o *fleet.WorkOrder) { o.Priority = "emergency" })
	next := w.plan(t)
	if s, _, ok := in(next, urgent); !ok || s.Day != day("2026-03-04") {
		t.Errorf("the emergency is planned on %s: %q", s.Day, why(next, urgent))
	}
	if next.Moved != 0 {
		t.Errorf("%d visits were moved for one more", next.Moved)
	}
	// Held orders stay even where that is a detour; others make room.
	held := orders[13]
	o, err := w.AssignWorkOrder(t.Context(), dispatcher, held.WorkOrderID, &w.west, day("2026-03-05"), 2)
	if err != nil {
		t.Fatal(err)
	}
	begin := fleet.DayHours{FromMinute: 10 * 60, ToMinute: 10*60 + 30}
	if _, err := w.HoldOrder(t.Context(), dispatcher, fleet.OrderHold{WorkOrderID: o.WorkOrderID, Begin: &begin, Why: "the caretaker is in then"}); err != nil {
		t.Fatal(err)
	}
	p = w.plan(t)
	s, stop, ok := in(p, o)
	if zone, _ := time.LoadLocation("America/Los_Angeles"); !ok || s.PersonID != w.west || s.Day != day("2026-03-05") || !stop.Held || stop.Begin.In(zone).Hour() != 10 {
		t.Errorf("held for Wim on Thursday at ten: %s on %s at %s", s.Name, s.Day, stop.Begin)
	}
	if err := w.FreeOrder(t.Context(), dispatcher, o.WorkOrderID); err != nil {
		t.Fatal(err)
	}
	if h, err := w.OrderHold(t.Context(), dispatcher, o.WorkOrderID); err != nil || h != nil {
		t.Errorf("freed: %+v %v", h, err)
	}
}

// When the day cannot hold what was planned for it, what is not held moves, and the plan says so; what is due and finds no room on time comes late.
func TestWhatFindsNoRoomMovesOrComesLateAndThePlanSaysSo(t *testing.T) {
	t.Parallel()
	w := newTown(t)
	for i := range 14 { // a day holds some six of 75 minutes
		o := w.call(t, "West", 38.58+float64(i)*0.001, -121.58, "2026-03-04")
		if _, err := w.AssignWorkOrder(t.Context(), dispatcher, o.WorkOrderID, &w.west, day("2026-03-04"), 1); err != nil {
			t.Fatal(err)
		}
	}
	p := w.plan(t)
	if p.Visits != 14 || p.Moved < 5 || p.Late != p.Moved {
		t.Errorf("%d visits, %d moved, %d late; left %+v", p.Visits, p.Moved, p.Late, p.Left)
	}
}

// Somebody had to be there at six in the morning, before anybody works: late is better than never.
func TestAnEmergencyThatNobodyCanAnswerInTimeIsPlannedAllTheSame(t *testing.T) {
	t.Parallel()
	w := newTown(t)
	zone, _ := time.LoadLocation("America/Los_Angeles")
	at := time.Date(2026, 3, 4, 6, 0, 0, 0, zone)
	o := w.call(t, "West", 38.58, -121.58, "2026-03-04", func(o *fleet.WorkOrder) { o.Priority, o.RespondBy = "emergency", &at })
	p := w.plan(t)
	if s, stop, ok := in(p, o); !ok || s.Day != day("2026-03-04") || stop.Begin.In(zone).Hour() > 8 {
		t.Errorf("planned %v on %s at %s; left because %q", ok, s.Day, stop.Begin, why(p, o))
	}
}

// More sets of technicians than there are bits: an order that must move still goes to nobody but those who may.
func TestRegionsHoldAlsoWhereThereAreMoreSetsOfTechniciansThanBits(t *testing.T) {
	t.Parallel()
	w := newTown(t)
	for i := range 64 {
		w.terms(t, w.person(t, identity.Technician, fmt.Sprintf("name = 'Of region %d'", i)), -121.5, fmt.Sprintf("Region %d", i))
		w.call(t, fmt.Sprintf("Region %d", i), 38.58, -121.5, "2026-03-06")
	}
	east := w.call(t, "East", 38.58, -121.5, "2026-03-06")
	for range 9 { // a Wednesday holds six
		o := w.call(t, "East", 38.58, -121.5, "2026-03-06")
		if _, err := w.AssignWorkOrder(t.Context(), dispatcher, o.WorkOrderID, &w.east, day("2026-03-04"), 1); err != nil {
			t.Fatal(err)
		}
	}
	p := w.plan(t) // and its verifier looks at regions
	if s, _, ok := in(p, east); !ok || p.Moved == 0 || len(p.Left) > 0 {
		t.Errorf("with %s (%v); %d moved, left %+v", s.Name, ok, p.Moved, p.Left)
	}
}

func TestWhatIsWrongWithTermsHoursAndHoldsIsSaid(t *testing.T) {
	t.Parallel()
	w := newTown(t)
	_, _, err := w.PutWorkingTerms(t.Context(), dispatcher, fleet.WorkingTerms{PersonID: w.west, TimeZone: "Mars", Home: fleet.Position{LatitudeDeg: 91}, Weekdays: []int{0, 8},
		Hours: fleet.DayHours{FromMinute: 600, ToMinute: 500}, Break: fleet.DayHours{FromMinute: 60, ToMinute: 120}}, 1)
	wantFault(t, err, "weekdays_wrong at /weekdays", "hours_wrong at /hours", "break_outside_hours at /break", "time_zone_unknown at /time_zone", "position_wrong at /home")
	_, _, err = w.PutWorkingTerms(t.Context(), dispatcher, fleet.WorkingTerms{PersonID: dispatcher.PersonID, TimeZone: "UTC", Weekdays: []int{1}, Hours: fleet.DayHours{ToMinute: 60}}, 0)
	wantFault(t, err, "no_technician")
	o := w.call(t, "East", 38.6, -121.2, "2026-03-05")
	_, err = w.HoldOrder(t.Context(), dispatcher, fleet.OrderHold{WorkOrderID: o.WorkOrderID})
	wantFault(t, err, "nothing_to_hold")
	_, _, err = w.PutVisitingHours(t.Context(), dispatcher, fleet.VisitingHours{SiteID: o.SiteID, Weekdays: []int{}, Hours: fleet.DayHours{FromMinute: 5, ToMinute: 5}}, 0)
	wantFault(t, err, "weekdays_wrong at /weekdays", "hours_wrong at /hours")
	_, _, err = w.PlanRoutes(t.Context(), dispatcher, w.id(), fleet.RouteAsk{Days: 99, Factor: 0.5, SpeedKmh: math.NaN(), Steps: -1})
	wantFault(t, err, "date_missing at /from", "out_of_range at /days", "out_of_range at /factor", "out_of_range at /speed_kmh", "out_of_range at /steps")
}
