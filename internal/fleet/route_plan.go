package fleet

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/route"
)

// RouteAsk says for which days routes are planned, and how.
type RouteAsk struct {
	From      duedate.Day `json:"from"`
	Days      int         `json:"days"`       // 1 to 62
	AheadDays int         `json:"ahead_days"` // orders due so long after the last day are done on the way, where that costs little
	Factor    float64     `json:"factor"`     // how much longer a way is than the great circle
	SpeedKmh  float64     `json:"speed_kmh"`
	ArrivalM  float64     `json:"arrival_min"`
	Steps     int         `json:"steps"` // of the search: with the same orders the same plan
	Seed      uint64      `json:"seed"`
	Ways      Ways        `json:"-"` // measured ones; nil: all are guessed
}

// Ways gives how long and how far it is from one place to another; a place is a site or the home of a technician, by its id.
type Ways func(from, to uuid.UUID) (minutes, km float64, known bool)

// What is assumed where nothing else is said: common practice, no source.
const (
	usualFactor, usualSpeedKmh, usualArrivalMin = 1.3, 45.0, 8.0
	usualSteps                                  = 40_000
	mostSearchSteps                             = 5_000_000
)

// Filled gives the usual value to whatever is zero.
func (a RouteAsk) Filled() RouteAsk {
	a.Days, a.Factor, a.SpeedKmh, a.Seed = cmp.Or(a.Days, 5), cmp.Or(a.Factor, usualFactor), cmp.Or(a.SpeedKmh, usualSpeedKmh), cmp.Or(a.Seed, 1)
	a.ArrivalM, a.Steps = cmp.Or(a.ArrivalM, usualArrivalMin), cmp.Or(a.Steps, usualSteps)
	return a
}

// RoutePlan is who drives where on some days.
type RoutePlan struct {
	RoutePlanID uuid.UUID
	State       string // draft, taken_over
	MadeAt      time.Time
	MadeBy      uuid.UUID
	TakenAt     *time.Time
	TakenBy     *uuid.UUID
	RouteAnswer
}

// RouteAnswer is what was planned, and on what it rests. The JSON names are kept.
type RouteAnswer struct {
	Ask      RouteAsk     `json:"ask"`
	Shifts   []RouteShift `json:"shifts"` // by day, then by name; only those with visits
	Left     []RouteLeft  `json:"left"`   // by due day
	Idle     []RouteIdle  `json:"idle"`   // technicians who are not planned, and why
	Visits   int          `json:"visits"`
	DriveMin float64      `json:"drive_min"`
	WorkMin  float64      `json:"work_min"`
	KM       float64      `json:"km"`
	Late     int          `json:"late"`    // visits after their due day that were not late before the plan's first day
	Moved    int          `json:"moved"`   // visits that were planned otherwise before
	Guessed  bool         `json:"guessed"` // ways are great circles times the factor
	Lasting  []Lasting    `json:"lasting"`
}

// Lasting is how long a visit of a kind is taken to last, and from how many signed visits that is learnt; none: it is the usual.
type Lasting struct {
	Kind    string  `json:"kind"`
	Minutes float64 `json:"minutes"`
	Of      int     `json:"of"`
}

// RouteShift is the day of one technician.
type RouteShift struct {
	PersonID uuid.UUID     `json:"person_id"`
	Name     string        `json:"name"`
	TimeZone string        `json:"time_zone"`
	Day      duedate.Day   `json:"day"`
	Begins   time.Time     `json:"begins"` // sets off from home
	Ends     time.Time     `json:"ends"`   // is back
	Break    *[2]time.Time `json:"break,omitempty"`
	DriveMin float64       `json:"drive_min"`
	KM       float64       `json:"km"`
	Stops    []RouteStop   `json:"stops"`
}

// RouteStop is one order in a shift.
type RouteStop struct {
	RouteOrder
	Arrive    time.Time  `json:"arrive"`
	Begin     time.Time  `json:"begin"`
	Leave     time.Time  `json:"leave"`
	KM        float64    `json:"km"` // from the stop before, or from home
	DetourMin float64    `json:"detour_min"`
	Other     string     `json:"other"` // who would be next best on which day; "" when nobody could
	OtherMin  float64    `json:"other_min"`
	Held      bool       `json:"held"`
	Late      bool       `json:"late"`
	Stood     RouteWas   `json:"stood"`          // how it was planned before
	With      *uuid.UUID `json:"with,omitempty"` // the order at whose call it is done; nil: a call of its own
	Moved     bool       `json:"moved"`          // it was, and otherwise
}

// RouteWas is how an order was planned before.
type RouteWas struct {
	PersonID *uuid.UUID  `json:"person_id,omitempty"`
	On       duedate.Day `json:"on,omitzero"`
}

// RouteOrder is what is shown of an order in a plan.
type RouteOrder struct {
	WorkOrderID uuid.UUID   `json:"work_order_id"`
	SiteID      uuid.UUID   `json:"site_id"`
	DoorID      uuid.UUID   `json:"door_id"`
	Kind        string      `json:"kind"`
	DueOn       duedate.Day `json:"due_on"`
	Urgency     string      `json:"urgency"` // unsafe, overdue, due, ahead
	Site        string      `json:"site"`
	Door        string      `json:"door"`
	TimeZone    string      `json:"time_zone"`
}

// RouteLeft is an order that is not in the plan, and why: what internal/route says, or no_place, no_technician, held_elsewhere.
type RouteLeft struct {
	RouteOrder
	Reason string `json:"reason"`
}

// RouteIdle is a technician who is not planned: no_terms, or free on all of the days.
type RouteIdle struct {
	PersonID uuid.UUID `json:"person_id"`
	Name     string    `json:"name"`
	Reason   string    `json:"reason"`
}

// RoundOrder is an open order with what decides where it may be put.
type RoundOrder struct {
	RouteOrder
	CustomerID            uuid.UUID
	Region                string
	Country, Jurisdiction string
	Position              *Position
	Priority              string
	RespondBy             *time.Time
	Unsafe                bool // an out-of-service case is open at the door
	RulePack              string
	AssignedTo            *uuid.UUID
	PlannedOn             duedate.Day
	OfPlan                bool // a plan made it
	Hold                  *OrderHold
	Hours                 *VisitingHours
}

// RoundTechnician is somebody who may be sent.
type RoundTechnician struct {
	PersonID     uuid.UUID
	Name         string
	Terms        *WorkingTerms
	Certificates []identity.Qualification
}

// RoutePlanQuery asks for plans, the newest first.
type RoutePlanQuery struct {
	BeforeAt time.Time
	BeforeID uuid.UUID
	Limit    int
}

// RoutePlace is a home or a site between which ways can be measured.
type RoutePlace struct {
	ID       uuid.UUID // of the technician or of the site
	Name     string
	Position Position
}

type routePlanRows interface {
	// RoutePlaces gives the homes of technicians and the sites whose position is known, by id.
	RoutePlaces(ctx context.Context) ([]RoutePlace, error)
	// RoundOrders gives the open orders that are due until a day, and the later ones of other plans of their doors, by id.
	RoundOrders(ctx context.Context, until duedate.Day) ([]RoundOrder, error)
	RoundTechnicians(ctx context.Context, at time.Time) ([]RoundTechnician, error)
	// Lastings gives the median of signed visits by kind of order, for each door that was seen to.
	Lastings(ctx context.Context, since time.Time) ([]Lasting, error)
	// InsertRoutePlan answers false when the id is taken.
	InsertRoutePlan(ctx context.Context, p RoutePlan) (bool, error)
	RoutePlanByID(ctx context.Context, id uuid.UUID) (RoutePlan, error)
	RoutePlanPage(ctx context.Context, q RoutePlanQuery) ([]RoutePlan, error)
	TakeOverRoutePlan(ctx context.Context, id uuid.UUID, at time.Time, by uuid.UUID) error
}

func (f *Fleet) checkRouteAsk(a RouteAsk) error {
	var faults fault.List
	if a.From.IsZero() {
		faults.Add("/from", "date_missing")
	}
	f.checkDay(&faults, "/from", a.From)
	within := func(pointer string, x, least, greatest float64) {
		if !(x >= least && x <= greatest) {
			faults.Add(pointer, "out_of_range", "least", least, "greatest", greatest)
		}
	}
	within("/days", float64(a.Days), 1, 62)
	within("/ahead_days", float64(a.AheadDays), 0, 366)
	within("/factor", a.Factor, 1, 3)
	within("/speed_kmh", a.SpeedKmh, 5, 130)
	within("/arrival_min", a.ArrivalM, 0, 120)
	within("/steps", float64(a.Steps), 1, mostSearchSteps)
	return faults.Err()
}

// routesFrom is the first day for which routes are planned: today, where in the world it is still that.
func (f *Fleet) routesFrom() duedate.Day { return duedate.DayIn(f.Now().Add(-12*time.Hour), time.UTC) }

// same refuses another question under the id of a plan.
func (a RouteAsk) same(present RouteAsk) error {
	a.Ways, present.Ways = nil, nil
	if !reflect.DeepEqual(a, present) {
		return fault.New(fault.Conflict, "route_plan_differs")
	}
	return nil
}

// PlanRoutes plans who drives where and keeps the plan as a draft: no order changes until it is taken over. The same id gives the
// same plan, and is refused for another question.
func (f *Fleet) PlanRoutes(ctx context.Context, by identity.Actor, id uuid.UUID, ask RouteAsk) (p RoutePlan, created bool, err error) {
	if err := f.checkRouteAsk(ask); err != nil {
		return p, false, err
	}
	var known routeBasis
	there := false
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if p, err = tx.RoutePlanByID(ctx, id); err == nil {
			there = true
			return ask.same(p.Ask)
		}
		if first := f.routesFrom(); ask.From.Before(first) {
			return fault.At("/from", "route_days_past", "first", first)
		}
		known, err = f.roundsFor(ctx, tx, ask)
		return err
	})
	if err != nil || there {
		return p, false, err
	}
	answer, err := f.routesOf(ctx, ask, known)
	if err != nil {
		return p, false, err
	}
	p = RoutePlan{RoutePlanID: id, State: "draft", MadeAt: f.Now(), MadeBy: by.PersonID, RouteAnswer: answer}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if created, err = tx.InsertRoutePlan(ctx, p); err != nil || !created {
			if err == nil {
				if p, err = tx.RoutePlanByID(ctx, id); err == nil {
					err = ask.same(p.Ask)
				}
			}
			return err
		}
		return f.record(ctx, tx, by, "route_plan", id, struct {
			Ask    RouteAsk
			Visits int
		}{ask, answer.Visits})
	})
	return p, created, err
}

// routeBasis is what routes are planned of.
type routeBasis struct {
	orders      []RoundOrder
	technicians []RoundTechnician
	lastings    []Lasting
	ladder      Ladder
	closed      []ClosedDay
}

// roundsFor reads what routes are planned of. Orders are read a month further ahead than was asked: closed days may bring the day forward on which
// one is to be done.
func (f *Fleet) roundsFor(ctx context.Context, tx Tx, ask RouteAsk) (known routeBasis, err error) {
	until := ask.last().AddDays(max(ask.AheadDays, mostHolidays))
	if known.orders, err = tx.RoundOrders(ctx, until); err != nil {
		return known, err
	}
	if known.technicians, err = tx.RoundTechnicians(ctx, f.Now()); err != nil {
		return known, err
	}
	if known.ladder, err = f.ladderOn(ctx, tx, ask.From); err != nil {
		return known, err
	}
	if known.closed, err = tx.ClosedDayPage(ctx, ClosedDayQuery{From: ask.From, Until: until}); err != nil {
		return known, err
	}
	known.lastings, err = tx.Lastings(ctx, f.Now().AddDate(-2, 0, 0))
	return known, err
}

// last is the last of the days for which routes are planned.
func (a RouteAsk) last() duedate.Day { return a.From.AddDays(a.Days - 1) }

// RoutePlan gives one plan.
func (f *Fleet) RoutePlan(ctx context.Context, by identity.Actor, id uuid.UUID) (p RoutePlan, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		p, err = tx.RoutePlanByID(ctx, id)
		return err
	})
	return p, err
}

// RoutePlaces gives the places between which ways can be measured.
func (f *Fleet) RoutePlaces(ctx context.Context, by identity.Actor) (list []RoutePlace, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.RoutePlaces(ctx)
		return err
	})
	return list, err
}

// RoutePlans lists plans, the newest first.
func (f *Fleet) RoutePlans(ctx context.Context, by identity.Actor, q RoutePlanQuery) (list []RoutePlan, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.RoutePlanPage(ctx, q)
		return err
	})
	return list, err
}

// TakenOver is what came of taking a plan over.
type TakenOver struct {
	Assigned int         // orders that now stand as planned
	Passed   []uuid.UUID // orders that were closed, or planned otherwise by somebody, since the plan was made, and those whose day is over
}

// takenTogether is how many orders one transaction assigns.
const takenTogether = 50

// TakeOverRoutePlan assigns the orders of a plan as it says. Orders that somebody closed or planned otherwise since are passed over and named, and
// so are those whose day is over.
// Taken over in part and again, it goes on where it was.
func (f *Fleet) TakeOverRoutePlan(ctx context.Context, by identity.Actor, id uuid.UUID) (p RoutePlan, done TakenOver, err error) {
	if p, err = f.RoutePlan(ctx, by, id); err != nil {
		return p, done, err
	}
	type assignment struct {
		stop  RouteStop
		shift *RouteShift
	}
	var all []assignment
	for i := range p.Shifts {
		for _, s := range p.Shifts[i].Stops {
			all = append(all, assignment{s, &p.Shifts[i]})
		}
	}
	slices.SortFunc(all, func(a, b assignment) int { return cmp.Compare(a.stop.DoorID.String(), b.stop.DoorID.String()) }) // two do not wait for each other
	for part := range slices.Chunk(all, takenTogether) {
		assigned, passed := 0, []uuid.UUID(nil)
		err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
			assigned, passed = 0, nil
			for _, a := range part {
				o, err := lockedOrder(ctx, tx, a.stop.WorkOrderID)
				if err != nil {
					return err
				}
				over := a.shift.Day.Before(duedate.DayIn(f.Now(), zoneOr(a.shift.TimeZone, time.UTC)))
				if o.State != "open" || over || !a.stop.stands(o, a.shift) {
					passed = append(passed, o.WorkOrderID)
					continue
				}
				assigned++
				if _, err := f.changeOrder(ctx, tx, by, o.WorkOrderID, o.Version, func(o *WorkOrder) error {
					o.AssignedTo, o.PlannedOn = &a.shift.PersonID, a.shift.Day
					return nil
				}); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return p, done, err
		}
		done.Assigned += assigned
		done.Passed = append(done.Passed, passed...)
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if err := tx.TakeOverRoutePlan(ctx, id, f.Now(), by.PersonID); err != nil {
			return err
		}
		if p, err = tx.RoutePlanByID(ctx, id); err != nil {
			return err
		}
		return f.record(ctx, tx, by, "route_plan", id, struct{ TakenOver }{done})
	})
	return p, done, err
}

// stands tells whether an order is still planned as it was when the plan was made, or as the plan has it already.
func (s RouteStop) stands(o WorkOrder, shift *RouteShift) bool {
	is := func(person *uuid.UUID, on duedate.Day) bool {
		return o.PlannedOn == on && (person == nil) == (o.AssignedTo == nil) && (person == nil || *person == *o.AssignedTo)
	}
	if is(&shift.PersonID, shift.Day) {
		return true
	}
	return is(s.Stood.PersonID, s.Stood.On)
}

// routing is a plan in the making.
type routing struct {
	f        *Fleet
	ask      RouteAsk
	since    time.Time // when minute 0 is
	problem  route.Problem
	places   []uuid.UUID
	at       []Position
	numbers  map[uuid.UUID]int
	shifts   []roundShift
	visits   [][]*RoundOrder   // by number of visit: what the call does, the most pressing first
	fixed    []bool            // by number of visit: held
	named    map[int][]int     // by number of visit: the shifts of those who may, where there was no bit for them
	needs    map[string]uint64 // the bits, by a text that names those who may
	left     []RouteLeft
	idle     []RouteIdle
	lastings map[string]Lasting
	known    routeBasis
	sites    map[uuid.UUID]siteCalendar
}

type roundShift struct {
	technician *RoundTechnician
	day        duedate.Day
}

// usualMinutes is how long a visit is taken to last where fewer than learntFrom were signed: common practice, no source.
func usualMinutes(kind string) float64 {
	switch kind {
	case "inspection":
		return 45
	case "service":
		return 60
	case "handover":
		return 90
	}
	return 75
}

const learntFrom = 8

// What leaving an order out costs, in minutes of driving: no detour is too long for the first three, and only a short one is worth the last.
// Common practice, no source.
const (
	priceUnsafe  = 20_000
	priceOverdue = 8_000
	priceDue     = 4_000
	priceAhead   = 25
)

func (f *Fleet) routesOf(ctx context.Context, ask RouteAsk, known routeBasis) (RouteAnswer, error) {
	y, m, d := ask.From.Date()
	r := routing{f: f, ask: ask, since: time.Date(y, m, d, 0, 0, 0, 0, time.UTC), numbers: map[uuid.UUID]int{}, named: map[int][]int{}, lastings: map[string]Lasting{}, idle: []RouteIdle{}, left: []RouteLeft{},
		known: known, sites: map[uuid.UUID]siteCalendar{}, needs: map[string]uint64{}}
	for _, l := range known.lastings {
		if l.Of >= learntFrom {
			r.lastings[l.Kind] = l
		}
	}
	for i := range known.technicians {
		r.addTechnician(&known.technicians[i])
	}
	if err := r.addOrders(known.orders); err != nil {
		return RouteAnswer{}, err
	}
	guessed := r.measure()
	if err := r.problem.Check(); err != nil {
		return RouteAnswer{}, fmt.Errorf("routes: %w", err)
	}
	steps := route.Steps(ask.Steps)
	budget := func(n int) float64 {
		if ctx.Err() != nil {
			return 1
		}
		return steps(n)
	}
	plan := route.Solve(&r.problem, ask.Seed, budget)
	again, err := r.release(plan)
	if err != nil {
		return RouteAnswer{}, err
	}
	if again {
		plan = route.Solve(&r.problem, ask.Seed, budget)
	}
	if err := ctx.Err(); err != nil {
		return RouteAnswer{}, err
	}
	answer := r.told(plan)
	answer.Guessed = guessed
	return answer, nil
}

func (r *routing) place(id uuid.UUID, at Position) int {
	n, known := r.numbers[id]
	if !known {
		n = len(r.places)
		r.numbers[id] = n
		r.places, r.at = append(r.places, id), append(r.at, at)
	}
	return n
}

// isoDay is 1 on Monday and 7 on Sunday.
func isoDay(d duedate.Day) int { return int(d.Weekday()+6)%7 + 1 }

func (r *routing) addTechnician(t *RoundTechnician) {
	if t.Terms == nil {
		r.idle = append(r.idle, RouteIdle{t.PersonID, t.Name, "no_terms"})
		return
	}
	zone := zoneOr(t.Terms.TimeZone, time.UTC)
	home := r.place(t.PersonID, t.Terms.Home)
	works := false
	for n := range r.ask.Days {
		day := r.ask.From.AddDays(n)
		if !slices.Contains(t.Terms.Weekdays, isoDay(day)) || closedEverywhere(r.known.closed, day) {
			continue
		}
		works = true
		s := route.Shift{Start: home, End: home}
		s.Hours.From, s.Hours.To = t.Terms.Hours.span(day, zone, r.since)
		s.Break.From, s.Break.To = t.Terms.Break.span(day, zone, r.since)
		r.problem.Shifts = append(r.problem.Shifts, s)
		r.shifts = append(r.shifts, roundShift{t, day})
	}
	if !works {
		r.idle = append(r.idle, RouteIdle{t.PersonID, t.Name, "free"})
	}
}

// closedEverywhere tells whether nobody of the company works on a day.
func closedEverywhere(closed []ClosedDay, d duedate.Day) bool {
	return slices.ContainsFunc(closed, func(c ClosedDay) bool { return c.CustomerID == nil && c.Place == "" && c.Holds(d) })
}

// calendar are the working days of an order's site.
func (r *routing) calendar(o *RoundOrder) siteCalendar {
	c, known := r.sites[o.SiteID]
	if !known {
		var hours []VisitingHours
		if o.Hours != nil {
			hours = append(hours, *o.Hours)
		}
		c = calendarOfSite(Site{CustomerID: o.CustomerID, SiteID: o.SiteID, Country: o.Country, Jurisdiction: o.Jurisdiction}, r.known.ladder, hours, r.known.closed)
		r.sites[o.SiteID] = c
	}
	return c
}

// mostNeeds is how many different sets of technicians bits are given to; orders with a set beyond name their shifts one by one.
const mostNeeds = 62

func (r *routing) addOrders(orders []RoundOrder) error {
	for _, call := range r.calls(orders) {
		if err := r.addCall(call); err != nil {
			return err
		}
	}
	return nil
}

// calls puts together what one call at a door does: the orders of its plans, unless one is held or planned apart. The first of a call is the most pressing
// one. An order that would only be done after the days asked for, and those that are looked ahead to, is left out, but with another of its call.
func (r *routing) calls(orders []RoundOrder) (list [][]*RoundOrder) {
	type key struct {
		door, to uuid.UUID
		on       duedate.Day
	}
	calls, within := map[key]int{}, []bool{}
	for i := range orders {
		o := &orders[i]
		doBy := r.calendar(o).PreviousWorking(o.DueOn)
		r.rank(o, doBy)
		wanted := !doBy.After(r.last().AddDays(r.ask.AheadDays))
		k := key{door: o.DoorID, on: o.PlannedOn}
		if o.AssignedTo != nil {
			k.to = *o.AssignedTo
		}
		n, known := calls[k]
		switch {
		case known && o.OfPlan && o.Hold == nil:
			list[n], within[n] = append(list[n], o), within[n] || wanted
			continue
		case o.OfPlan && o.Hold == nil:
			calls[k] = len(list)
		}
		list, within = append(list, []*RoundOrder{o}), append(within, wanted)
	}
	asked := [][]*RoundOrder{}
	for n, call := range list {
		if within[n] {
			slices.SortFunc(call, func(a, b *RoundOrder) int {
				return cmp.Or(a.DueOn.Compare(b.DueOn), cmp.Compare(a.WorkOrderID.String(), b.WorkOrderID.String()))
			})
			asked = append(asked, call)
		}
	}
	return asked
}

// apart adds the orders of a call as calls of their own.
func (r *routing) apart(call []*RoundOrder) error {
	for i := range call {
		if err := r.addCall(call[i : i+1 : i+1]); err != nil {
			return err
		}
	}
	return nil
}

func (r *routing) addCall(call []*RoundOrder) error {
	o := call[0]
	if o.Position == nil {
		r.leave(call, "no_place")
		return nil
	}
	v := route.Visit{Place: r.place(o.SiteID, *o.Position), Duration: r.minutes(call...), Price: price(o.Urgency)}
	if len(call) > 1 && o.Hours != nil && v.Duration > float64(o.Hours.Hours.ToMinute-o.Hours.Hours.FromMinute) { // the site is not open for so long
		return r.apart(call)
	}
	held := o.Hold != nil
	if held && !o.PlannedOn.IsZero() && (o.PlannedOn.Before(r.ask.From) || o.PlannedOn.After(r.last())) {
		r.leave(call, "held_elsewhere")
		return nil
	}
	v.Windows = r.windows(o, v.Duration, false)
	if r.planned(o) {
		v.Only = r.only(o)
		if held && len(v.Only) == 0 {
			r.leave(call, "held_elsewhere")
			return nil
		}
	}
	may, everybody := r.may(call)
	switch {
	case len(may) == 0 && len(call) > 1: // nobody may do all of it
		return r.apart(call)
	case len(may) == 0:
		r.leave(call, "no_technician")
		return nil
	}
	if !everybody && !held {
		if err := r.need(&v, may); err != nil {
			return err
		}
	}
	r.problem.Visits = append(r.problem.Visits, v)
	r.visits, r.fixed = append(r.visits, call), append(r.fixed, held)
	return nil
}

func (r *routing) leave(call []*RoundOrder, reason string) {
	for _, o := range call {
		r.left = append(r.left, RouteLeft{o.RouteOrder, reason})
	}
}

func (r *routing) last() duedate.Day { return r.ask.last() }

// rank says how an order presses; the last working day until it is due decides what is only ahead.
func (r *routing) rank(o *RoundOrder, doBy duedate.Day) {
	switch {
	case o.Unsafe || o.Priority == "emergency":
		o.Urgency = "unsafe"
	case o.DueOn.Before(r.ask.From) || o.Priority == "urgent":
		o.Urgency = "overdue"
	case doBy.After(r.last()):
		o.Urgency = "ahead"
	default:
		o.Urgency = "due"
	}
}

func price(urgency string) float64 {
	return map[string]float64{"unsafe": priceUnsafe, "overdue": priceOverdue, "due": priceDue, "ahead": priceAhead}[urgency]
}

// minutes is how long a call is taken to last.
func (r *routing) minutes(call ...*RoundOrder) (sum float64) {
	for _, o := range call {
		if l, ok := r.lastings[o.Kind]; ok {
			sum += l.Minutes
		} else {
			sum += usualMinutes(o.Kind)
		}
	}
	return sum
}

// planned tells whether somebody has planned an order for one of the days, or said who goes.
func (r *routing) planned(o *RoundOrder) bool {
	return o.AssignedTo != nil || !o.PlannedOn.IsZero() && !o.PlannedOn.Before(r.ask.From) && !o.PlannedOn.After(r.last())
}

// only names the shifts that agree with how an order is planned.
func (r *routing) only(o *RoundOrder) (list []int) {
	inPlan := !o.PlannedOn.Before(r.ask.From) && !o.PlannedOn.After(r.last())
	for i, s := range r.shifts {
		if (o.AssignedTo == nil || s.technician.PersonID == *o.AssignedTo) && (o.PlannedOn.IsZero() || !inPlan || s.day == o.PlannedOn) {
			list = append(list, i)
		}
	}
	return list
}

// windows are when an order's visit may begin: within the hours of its site on each day that is no holiday there, until its due day, and until somebody must be there.
// One that was late before the first day, or is to come even late, may come on any day.
func (r *routing) windows(o *RoundOrder, lasts float64, late bool) (list []route.Window) {
	zone := zoneOr(o.TimeZone, time.UTC)
	last, latest := r.last(), math.Inf(1)
	if !late && !o.DueOn.Before(r.ask.From) && o.DueOn.Before(last) {
		last = o.DueOn
	}
	if !late && o.RespondBy != nil {
		latest = o.RespondBy.Sub(r.since).Minutes()
	}
	closed := r.calendar(o).Holidays
	for day := r.ask.From; !day.After(last); day = day.AddDays(1) {
		if _, is := closed[day]; is {
			continue
		}
		open := DayHours{0, 24 * 60}
		if o.Hours != nil {
			if !slices.Contains(o.Hours.Weekdays, isoDay(day)) {
				continue
			}
			open = o.Hours.Hours
		}
		from, to := open.span(day, zone, r.since)
		if o.Hours != nil {
			to = max(from, to-lasts)
		}
		if o.Hold != nil && o.Hold.Begin != nil {
			if day != o.PlannedOn {
				continue
			}
			from, to = o.Hold.Begin.span(day, zone, r.since)
		}
		if to = min(to, latest); from <= to {
			if n := len(list); n > 0 && list[n-1].To >= from {
				list[n-1].To = to
				continue
			}
			list = append(list, route.Window{From: from, To: to})
		}
	}
	if list == nil { // never open: a window that meets no shift
		list = []route.Window{{From: -1e6, To: -1e6}}
	}
	return list
}

// may names those who may be sent: in whose regions the site is, and who may sign where somebody must.
func (r *routing) may(call []*RoundOrder) (list []uuid.UUID, everybody bool) {
	all := 0
	for i, s := range r.shifts {
		t := s.technician
		if i > 0 && r.shifts[i-1].technician == t {
			continue
		}
		all++
		if !slices.ContainsFunc(call, func(o *RoundOrder) bool { return !r.mayDo(t, o) }) {
			list = append(list, t.PersonID)
		}
	}
	return list, len(list) == all
}

func (r *routing) mayDo(t *RoundTechnician, o *RoundOrder) bool {
	if len(t.Terms.Regions) > 0 && !slices.Contains(t.Terms.Regions, o.Region) {
		return false
	}
	if o.Kind != "inspection" || o.RulePack == "" {
		return true
	}
	pack, ok := r.f.Book.Pack(o.RulePack)
	if !ok || len(pack.Certificates()) == 0 {
		return true
	}
	_, certified := PersonCard{Name: t.Name, Certificates: t.Certificates}.On(r.last(), pack.Certificates()...)
	return certified
}

// need gives a set of technicians a bit.
func (r *routing) need(v *route.Visit, may []uuid.UUID) error {
	text, err := json.Marshal(may)
	if err != nil {
		return err
	}
	bit, known := r.needs[string(text)]
	if !known && len(r.needs) < mostNeeds {
		bit = 1 << len(r.needs)
		r.needs[string(text)] = bit
		for i, s := range r.shifts {
			if slices.Contains(may, s.technician.PersonID) {
				r.problem.Shifts[i].Has |= bit
			}
		}
	}
	v.Needs = bit
	if bit != 0 {
		return nil
	}
	var named []int
	for i, s := range r.shifts {
		if slices.Contains(may, s.technician.PersonID) {
			named = append(named, i)
		}
	}
	r.named[len(r.problem.Visits)] = named
	if v.Only = slices.DeleteFunc(v.Only, func(i int) bool { return !slices.Contains(named, i) }); len(v.Only) == 0 {
		v.Only = named
	}
	return nil
}

// measure fills in how long it takes between all places; guessed tells that some ways are not measured.
func (r *routing) measure() (guessed bool) {
	n := len(r.places)
	r.problem.Places, r.problem.Time = n, make([]float64, n*n)
	for a := range n {
		for b := range n {
			minutes, _, known := r.way(a, b)
			r.problem.Time[a*n+b] = minutes
			guessed = guessed || !known
		}
	}
	r.problem.Distance = r.problem.Time
	return guessed
}

func (r *routing) way(a, b int) (minutes, km float64, known bool) {
	if a == b {
		return 0, 0, true
	}
	if r.ask.Ways != nil {
		if minutes, km, known := r.ask.Ways(r.places[a], r.places[b]); known {
			return minutes + r.ask.ArrivalM, km, true
		}
	}
	roads := route.Roads{Factor: r.ask.Factor, SpeedKmh: r.ask.SpeedKmh, ArrivalMin: r.ask.ArrivalM}
	return roads.Minutes(route.Position(r.at[a]), route.Position(r.at[b])), roads.KM(route.Position(r.at[a]), route.Position(r.at[b])), false
}

// release lets go of what kept visits out that found no room: how they were planned before, unless they are held, and their due day, for late is
// better than never; what a call was to do at once is done apart. It tells whether there is anything to try again.
func (r *routing) release(plan route.Plan) (again bool, err error) {
	for _, u := range plan.Left {
		v, o := &r.problem.Visits[u], r.visits[u][0]
		if more := r.visits[u][1:]; len(more) > 0 {
			r.visits[u], again = r.visits[u][:1], true
			v.Duration = r.minutes(o)
			v.Windows = r.windows(o, v.Duration, false)
			if err := r.apart(more); err != nil {
				return false, err
			}
			v = &r.problem.Visits[u] // they were appended to
		}
		if o.Urgency == "ahead" && !r.planned(o) {
			continue
		}
		if r.fixed[u] {
			continue
		}
		if r.planned(o) {
			v.Only, again = r.named[u], true
		}
		if o.RespondBy != nil || !o.DueOn.Before(r.ask.From) && o.DueOn.Before(r.last()) {
			v.Windows, again = r.windows(o, v.Duration, true), true
		}
	}
	return again, nil
}

// told is the plan as people read it.
func (r *routing) told(plan route.Plan) RouteAnswer {
	answer := RouteAnswer{Ask: r.ask, Shifts: []RouteShift{}, Left: r.left, Idle: r.idle, Lasting: []Lasting{}}
	for _, kind := range orderKinds() {
		l, ok := r.lastings[kind]
		if !ok {
			l = Lasting{Kind: kind, Minutes: usualMinutes(kind)}
		}
		answer.Lasting = append(answer.Lasting, l)
	}
	placements := route.Placements(&r.problem, plan)
	for i, visits := range plan.Routes {
		if len(visits) > 0 {
			answer.add(r.shift(i, visits, placements))
		}
	}
	slices.SortStableFunc(answer.Shifts, func(a, b RouteShift) int {
		return cmp.Or(a.Day.Compare(b.Day), cmp.Compare(a.Name, b.Name), cmp.Compare(a.PersonID.String(), b.PersonID.String()))
	})
	for _, u := range plan.Left {
		reason := string(route.Explain(&r.problem, plan, u))
		for _, o := range r.visits[u] {
			answer.Left = append(answer.Left, RouteLeft{o.RouteOrder, reason})
		}
	}
	slices.SortStableFunc(answer.Left, func(a, b RouteLeft) int {
		return cmp.Or(a.DueOn.Compare(b.DueOn), cmp.Compare(a.WorkOrderID.String(), b.WorkOrderID.String()))
	})
	return answer
}

func (a *RouteAnswer) add(s RouteShift) {
	a.Shifts = append(a.Shifts, s)
	a.DriveMin, a.KM = a.DriveMin+s.DriveMin, a.KM+s.KM
	for _, stop := range s.Stops {
		a.Visits++
		a.WorkMin += stop.Leave.Sub(stop.Begin).Minutes()
		if stop.Late && stop.Urgency == "due" {
			a.Late++
		}
		if stop.Moved {
			a.Moved++
		}
	}
}

func (r *routing) shift(i int, visits []int, placements []*route.Placement) RouteShift {
	t, day, shift := r.shifts[i].technician, r.shifts[i].day, r.problem.Shifts[i]
	zone := zoneOr(t.Terms.TimeZone, time.UTC)
	at := func(minute float64) time.Time {
		return r.since.Add(time.Duration(math.Round(minute*60)) * time.Second).In(zone)
	}
	s := RouteShift{PersonID: t.PersonID, Name: t.Name, TimeZone: t.Terms.TimeZone, Day: day}
	if shift.Break.From < shift.Break.To {
		s.Break = &[2]time.Time{at(shift.Break.From), at(shift.Break.To)}
	}
	from := shift.Start
	for k, u := range visits {
		p, v := placements[u], r.problem.Visits[u]
		minutes, km, _ := r.way(from, v.Place)
		s.DriveMin, s.KM, from = s.DriveMin+minutes, s.KM+km, v.Place
		if k == 0 {
			s.Begins = at(max(shift.Hours.From, shift.Break.SetOff(p.Begin, minutes))) // to be there just when the first visit begins
		}
		begin := p.Begin
		for n, o := range r.visits[u] {
			stop := RouteStop{RouteOrder: o.RouteOrder, Arrive: at(begin), Begin: at(begin), Leave: at(begin + r.minutes(o)), Held: r.fixed[u], Late: day.After(o.DueOn)}
			if n == 0 {
				stop.Arrive, stop.KM, stop.DetourMin, stop.OtherMin = at(p.Arrive), km, p.Detour, p.OtherDetour
				if p.Other >= 0 {
					stop.Other = r.shifts[p.Other].technician.Name + ", " + r.shifts[p.Other].day.String()
				}
			} else {
				stop.With = &r.visits[u][0].WorkOrderID
			}
			if n == len(r.visits[u])-1 {
				stop.Leave = at(p.Leave)
			}
			stop.Stood = RouteWas{o.AssignedTo, o.PlannedOn}
			stop.Moved = o.AssignedTo != nil && *o.AssignedTo != t.PersonID || !o.PlannedOn.IsZero() && o.PlannedOn != day
			s.Stops = append(s.Stops, stop)
			begin += r.minutes(o)
		}
	}
	minutes, km, _ := r.way(from, shift.End)
	s.DriveMin, s.KM = s.DriveMin+minutes, s.KM+km
	s.Ends = at(shift.Break.Drive(placements[visits[len(visits)-1]].Leave, minutes))
	return s
}
