package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// HoursBody is a span of the day by the clock of the place.
type HoursBody struct {
	From  string `json:"from" pattern:"^([01][0-9]|2[0-3]):[0-5][0-9]$" doc:"07:30"`
	Until string `json:"until" pattern:"^(([01][0-9]|2[0-3]):[0-5][0-9]|24:00)$" doc:"15:30"`
}

func newHoursBody(h fleet.DayHours) *HoursBody {
	if h.FromMinute >= h.ToMinute {
		return nil
	}
	from, until := h.Texts()
	return &HoursBody{from, until}
}

// hours reads a span; none is the zero one.
func (r *reader) hours(pointer string, b *HoursBody) (h fleet.DayHours) {
	if b == nil {
		return h
	}
	h, ok := fleet.ParseDayHours(b.From, b.Until)
	if !ok {
		r.faults.Add(pointer, "hours_wrong")
	}
	return h
}

// WorkingTermsBody is what is said of when and from where a technician works.
type WorkingTermsBody struct {
	TimeZone         string     `json:"time_zone" doc:"IANA zone of the hours."`
	HomeLatitudeDeg  float64    `json:"home_latitude_deg" minimum:"-90" maximum:"90" doc:"WGS 84. Every day begins and ends there: home or depot."`
	HomeLongitudeDeg float64    `json:"home_longitude_deg" minimum:"-180" maximum:"180"`
	Weekdays         []int      `json:"weekdays" minItems:"1" maxItems:"7" doc:"ISO 8601: 1 is Monday, 7 Sunday."`
	Hours            HoursBody  `json:"hours" doc:"From setting off to being back."`
	Break            *HoursBody `json:"break,omitempty"`
	Regions          []string   `json:"regions,omitempty" maxItems:"50" doc:"Regions of sites; none: everywhere."`
}

type workingTermsItem struct {
	PersonID uuid.UUID `json:"person_id" format:"uuid"`
	WorkingTermsBody
	Version    int       `json:"version"`
	RecordedAt time.Time `json:"recorded_at"`
	RecordedBy uuid.UUID `json:"recorded_by" format:"uuid"`
}

func newWorkingTermsItem(w fleet.WorkingTerms) workingTermsItem {
	return workingTermsItem{PersonID: w.PersonID, Version: w.Version, RecordedAt: w.RecordedAt, RecordedBy: w.RecordedBy, WorkingTermsBody: WorkingTermsBody{TimeZone: w.TimeZone,
		HomeLatitudeDeg: w.Home.LatitudeDeg, HomeLongitudeDeg: w.Home.LongitudeDeg, Weekdays: w.Weekdays, Hours: *newHoursBody(w.Hours), Break: newHoursBody(w.Break), Regions: w.Regions}}
}

type workingTermsPutIn struct {
	PersonID uuid.UUID `path:"person_id" format:"uuid"`
	IfMatch
	Body WorkingTermsBody
}

type workingTermsOut struct {
	Status int
	ETag   string `header:"ETag"`
	Body   workingTermsItem
}

type workingTermsListIn struct{ PageIn }

type workingTermsListOut struct {
	Body struct {
		WorkingTerms []workingTermsItem `json:"working_terms" doc:"By person."`
		PageOut
	}
}

// VisitingHoursBody is what is said of when a site lets technicians in.
type VisitingHoursBody struct {
	Weekdays []int     `json:"weekdays" minItems:"1" maxItems:"7" doc:"ISO 8601: 1 is Monday, 7 Sunday."`
	Hours    HoursBody `json:"hours" doc:"By the site's clock. A visit begins and ends within them."`
}

type visitingHoursItem struct {
	SiteID uuid.UUID `json:"site_id" format:"uuid"`
	VisitingHoursBody
	Version    int       `json:"version"`
	RecordedAt time.Time `json:"recorded_at"`
	RecordedBy uuid.UUID `json:"recorded_by" format:"uuid"`
}

func newVisitingHoursItem(v fleet.VisitingHours) visitingHoursItem {
	return visitingHoursItem{SiteID: v.SiteID, Version: v.Version, RecordedAt: v.RecordedAt, RecordedBy: v.RecordedBy,
		VisitingHoursBody: VisitingHoursBody{Weekdays: v.Weekdays, Hours: *newHoursBody(v.Hours)}}
}

type visitingHoursGetIn struct {
	SiteID uuid.UUID `path:"site_id" format:"uuid"`
}

type visitingHoursPutIn struct {
	SiteID uuid.UUID `path:"site_id" format:"uuid"`
	IfMatch
	Body VisitingHoursBody
}

type visitingHoursOut struct {
	Status int
	ETag   string `header:"ETag"`
	Body   visitingHoursItem
}

// HoldBody says whether an order stays where it is planned.
type HoldBody struct {
	Held  bool       `json:"held" doc:"True: route plans leave it with its technician and on its planned day."`
	Begin *HoursBody `json:"begin,omitempty" doc:"The appointment: when the visit begins, by the site's clock. Of held ones with a planned day."`
	Why   string     `json:"why,omitempty" maxLength:"1000"`
}

type holdPutIn struct {
	WorkOrderPath
	Body HoldBody
}

type holdOut struct {
	Body struct {
		WorkOrderID uuid.UUID `json:"work_order_id" format:"uuid"`
		HoldBody
		RecordedAt *time.Time `json:"recorded_at,omitempty"`
		RecordedBy *uuid.UUID `json:"recorded_by,omitempty" format:"uuid"`
	}
}

func newHoldOut(order uuid.UUID, h *fleet.OrderHold) *holdOut {
	out := &holdOut{}
	out.Body.WorkOrderID = order
	if h != nil {
		out.Body.HoldBody = HoldBody{Held: true, Why: h.Why}
		out.Body.RecordedAt, out.Body.RecordedBy = &h.RecordedAt, &h.RecordedBy
		if h.Begin != nil {
			from, until := h.Begin.Texts()
			out.Body.Begin = &HoursBody{from, until}
		}
	}
	return out
}

// routePlanKey is where a list of plans goes on.
type routePlanKey struct {
	At time.Time `json:"a"`
	ID uuid.UUID `json:"i"`
}

type RoutePlanPath struct {
	RoutePlanID uuid.UUID `path:"route_plan_id" format:"uuid"`
}

// RoutePlanBody says for which days routes are planned, and how.
type RoutePlanBody struct {
	From       string  `json:"from" format:"date"`
	Days       int     `json:"days,omitempty" minimum:"1" maximum:"62" doc:"5 if absent."`
	AheadDays  int     `json:"ahead_days,omitempty" minimum:"0" maximum:"366" doc:"Orders that are due so long after the last day are done on the way where that costs little; none if absent."`
	Factor     float64 `json:"factor,omitempty" minimum:"1" maximum:"3" doc:"How much longer a way is than the great circle; 1.3 if absent: common practice, no source."`
	SpeedKmh   float64 `json:"speed_kmh,omitempty" minimum:"5" maximum:"130" doc:"45 if absent: common practice, no source."`
	ArrivalMin float64 `json:"arrival_min,omitempty" minimum:"0" maximum:"120" doc:"To park, sign in and find the door; 8 if absent: common practice, no source."`
	Steps      int     `json:"steps,omitempty" minimum:"1" maximum:"400000" doc:"How long to search, 40,000 if absent. With the same orders, steps and seed the same plan; the command line takes more."`
	Seed       uint64  `json:"seed,omitempty" doc:"Where chance begins; 1 if absent."`
}

type routePlanPutIn struct {
	RoutePlanPath
	Body RoutePlanBody
}

// RoutePlanHead is a plan without its shifts.
type RoutePlanHead struct {
	RoutePlanID uuid.UUID     `json:"route_plan_id" format:"uuid"`
	State       string        `json:"state" enum:"draft,taken_over"`
	MadeAt      time.Time     `json:"made_at"`
	MadeBy      uuid.UUID     `json:"made_by" format:"uuid"`
	TakenAt     *time.Time    `json:"taken_at,omitempty"`
	TakenBy     *uuid.UUID    `json:"taken_by,omitempty" format:"uuid"`
	Asked       RoutePlanBody `json:"asked"`
	Visits      int           `json:"visits"`
	DriveMin    float64       `json:"drive_min" doc:"Arrivals included."`
	WorkMin     float64       `json:"work_min"`
	KM          float64       `json:"km"`
	Late        int           `json:"late" doc:"Visits that come after their due day and were not overdue before."`
	Moved       int           `json:"moved" doc:"Visits that were planned otherwise before."`
	Guessed     bool          `json:"guessed" doc:"Ways are great circles times the factor, and not measured."`
}

func newRoutePlanHead(p fleet.RoutePlan) RoutePlanHead {
	a := p.Ask
	return RoutePlanHead{RoutePlanID: p.RoutePlanID, State: p.State, MadeAt: p.MadeAt, MadeBy: p.MadeBy, TakenAt: p.TakenAt, TakenBy: p.TakenBy, Visits: p.Visits, DriveMin: p.DriveMin,
		WorkMin: p.WorkMin, KM: p.KM, Late: p.Late, Moved: p.Moved, Guessed: p.Guessed,
		Asked: RoutePlanBody{From: a.From.String(), Days: a.Days, AheadDays: a.AheadDays, Factor: a.Factor, SpeedKmh: a.SpeedKmh, ArrivalMin: a.ArrivalM, Steps: a.Steps, Seed: a.Seed}}
}

// PlannedOrder is what is shown of an order in a plan.
type PlannedOrder struct {
	WorkOrderID uuid.UUID `json:"work_order_id" format:"uuid"`
	SiteID      uuid.UUID `json:"site_id" format:"uuid"`
	Site        string    `json:"site"`
	DoorID      uuid.UUID `json:"door_id" format:"uuid"`
	Door        string    `json:"door"`
	Kind        string    `json:"kind" enum:"inspection,service,repair,call_out,accident,handover"`
	DueOn       string    `json:"due_on" format:"date"`
	Urgency     string    `json:"urgency" enum:"unsafe,overdue,due,ahead"`
}

func newPlannedOrder(o fleet.RouteOrder) PlannedOrder {
	return PlannedOrder{WorkOrderID: o.WorkOrderID, SiteID: o.SiteID, Site: o.Site, DoorID: o.DoorID, Door: o.Door, Kind: o.Kind, DueOn: o.DueOn.String(), Urgency: o.Urgency}
}

type plannedStop struct {
	PlannedOrder
	Arrive    time.Time `json:"arrive"`
	Begin     time.Time `json:"begin"`
	Leave     time.Time `json:"leave"`
	KM        float64   `json:"km" doc:"From the stop before."`
	DetourMin float64   `json:"detour_min" doc:"How much longer the day's drive is for it."`
	Other     string    `json:"other,omitempty" doc:"Who would be next best, and on which day; absent when nobody could."`
	OtherMin  float64   `json:"other_min,omitempty" doc:"The detour there."`
	Held      bool      `json:"held,omitempty"`
	Late      bool      `json:"late,omitempty"`
	With      string    `json:"with_order_id,omitempty" format:"uuid" doc:"The order at whose call it is done; absent: a call of its own."`
	Moved     bool      `json:"moved,omitempty" doc:"It was planned otherwise."`
}

type plannedShift struct {
	PersonID uuid.UUID     `json:"person_id" format:"uuid"`
	Name     string        `json:"name"`
	Day      string        `json:"day" format:"date"`
	Begins   time.Time     `json:"begins" doc:"Sets off."`
	Ends     time.Time     `json:"ends" doc:"Is back."`
	DriveMin float64       `json:"drive_min"`
	KM       float64       `json:"km"`
	Stops    []plannedStop `json:"stops"`
}

type leftOrder struct {
	PlannedOrder
	Reason string `json:"reason" enum:"not_allowed,unqualified,too_big,not_that_day,too_far,not_worth,full,no_place,no_technician,held_elsewhere"`
	Why    string `json:"why" doc:"The same in words."`
}

type idleTechnician struct {
	PersonID uuid.UUID `json:"person_id" format:"uuid"`
	Name     string    `json:"name"`
	Reason   string    `json:"reason" enum:"no_terms,free"`
}

type routePlanOut struct {
	Status int
	Body   struct {
		RoutePlanHead
		Shifts  []plannedShift   `json:"shifts" doc:"By day and name."`
		Left    []leftOrder      `json:"left" doc:"Orders that are not in it, by due day."`
		Idle    []idleTechnician `json:"idle" doc:"Technicians who are not in it."`
		Caution string           `json:"caution"`
	}
}

func (a *API) newRoutePlanOut(by identity.Actor, p fleet.RoutePlan) *routePlanOut {
	out := &routePlanOut{}
	b := &out.Body
	b.RoutePlanHead, b.Shifts, b.Left, b.Idle, b.Caution = newRoutePlanHead(p), []plannedShift{}, []leftOrder{}, []idleTechnician{}, a.text(by, "route.caution")
	for _, s := range p.Shifts {
		shift := plannedShift{PersonID: s.PersonID, Name: s.Name, Day: s.Day.String(), Begins: s.Begins, Ends: s.Ends, DriveMin: s.DriveMin, KM: s.KM, Stops: []plannedStop{}}
		for _, stop := range s.Stops {
			with := ""
			if stop.With != nil {
				with = stop.With.String()
			}
			shift.Stops = append(shift.Stops, plannedStop{PlannedOrder: newPlannedOrder(stop.RouteOrder), With: with, Arrive: stop.Arrive, Begin: stop.Begin, Leave: stop.Leave, KM: stop.KM,
				DetourMin: stop.DetourMin, Other: stop.Other, OtherMin: stop.OtherMin, Held: stop.Held, Late: stop.Late, Moved: stop.Moved})
		}
		b.Shifts = append(b.Shifts, shift)
	}
	for _, l := range p.Left {
		b.Left = append(b.Left, leftOrder{newPlannedOrder(l.RouteOrder), l.Reason, a.text(by, "route.left."+l.Reason)})
	}
	for _, i := range p.Idle {
		b.Idle = append(b.Idle, idleTechnician(i))
	}
	return out
}

type routePlanListIn struct{ PageIn }

type routePlanListOut struct {
	Body struct {
		RoutePlans []RoutePlanHead `json:"route_plans" doc:"The newest first."`
		PageOut
	}
}

type takenOverOut struct {
	Body struct {
		RoutePlanHead
		Assigned int         `json:"assigned" doc:"Orders that now stand as planned."`
		Passed   []uuid.UUID `json:"passed" doc:"Orders that were closed or planned otherwise since the plan was made, or whose day is over: they stay as they are."`
	}
}

func (a *API) rounds() {
	add(a, operation("working-terms-list", http.MethodGet, "/v1/working-terms", identity.ActReadOffice, "When, from where and in which regions technicians work"), a.workingTermsList)
	add(a, operation("working-terms-put", http.MethodPut, "/v1/people/{person_id}/working-terms", identity.ActPlanWork, "Say when and from where a technician works"), a.workingTermsPut)
	add(a, operation("visiting-hours-get", http.MethodGet, "/v1/sites/{site_id}/visiting-hours", identity.ActReadOffice, "When a site lets technicians in"), a.visitingHoursGet)
	add(a, operation("visiting-hours-put", http.MethodPut, "/v1/sites/{site_id}/visiting-hours", identity.ActPlanWork, "Say when a site lets technicians in"), a.visitingHoursPut)
	add(a, operation("hold-get", http.MethodGet, "/v1/work-orders/{work_order_id}/hold", identity.ActReadOffice, "Whether an order stays where it is planned"), a.holdGet)
	add(a, operation("hold-put", http.MethodPut, "/v1/work-orders/{work_order_id}/hold", identity.ActPlanWork, "Keep an order where it is planned, or let go of it"), a.holdPut)
	add(a, operation("route-plan-list", http.MethodGet, "/v1/route-plans", identity.ActReadOffice, "Plans of who drives where"), a.routePlanList)
	add(a, operation("route-plan-get", http.MethodGet, "/v1/route-plans/{route_plan_id}", identity.ActReadOffice, "A plan with every shift, stop and reason"), a.routePlanGet)
	add(a, operation("route-plan-put", http.MethodPut, "/v1/route-plans/{route_plan_id}", identity.ActPlanWork, "Plan who drives where; no order changes until it is taken over"), a.routePlanPut)
	add(a, operation("route-plan-take-over", http.MethodPost, "/v1/route-plans/{route_plan_id}/take-over", identity.ActPlanWork, "Assign the orders as a plan says"), a.routePlanTakeOver)
}

func (a *API) workingTermsList(ctx context.Context, by identity.Actor, in *workingTermsListIn) (*workingTermsListOut, error) {
	var after nameKey
	if err := readCursor(in.After, &after); err != nil {
		return nil, err
	}
	list, err := a.Fleet.WorkingTerms(ctx, by, fleet.WorkingTermsQuery{AfterID: after.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &workingTermsListOut{}
	out.Body.WorkingTerms = make([]workingTermsItem, len(list))
	for i, w := range list {
		out.Body.WorkingTerms[i] = newWorkingTermsItem(w)
	}
	if len(list) == in.Limit {
		out.Body.Next = cursor(nameKey{ID: list[len(list)-1].PersonID})
	}
	return out, nil
}

func (a *API) workingTermsPut(ctx context.Context, by identity.Actor, in *workingTermsPutIn) (*workingTermsOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var read reader
	b := in.Body
	w := fleet.WorkingTerms{PersonID: in.PersonID, TimeZone: b.TimeZone, Home: fleet.Position{LatitudeDeg: b.HomeLatitudeDeg, LongitudeDeg: b.HomeLongitudeDeg}, Weekdays: b.Weekdays,
		Hours: read.hours("/hours", &b.Hours), Break: read.hours("/break", b.Break), Regions: b.Regions}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	saved, isNew, err := a.Fleet.PutWorkingTerms(ctx, by, w, version)
	if err != nil {
		return nil, err
	}
	return &workingTermsOut{Status: created(isNew), ETag: etag(saved.Version), Body: newWorkingTermsItem(saved)}, nil
}

func (a *API) visitingHoursGet(ctx context.Context, by identity.Actor, in *visitingHoursGetIn) (*visitingHoursOut, error) {
	v, err := a.Fleet.VisitingHours(ctx, by, in.SiteID)
	if err != nil {
		return nil, err
	}
	return &visitingHoursOut{Status: http.StatusOK, ETag: etag(v.Version), Body: newVisitingHoursItem(v)}, nil
}

func (a *API) visitingHoursPut(ctx context.Context, by identity.Actor, in *visitingHoursPutIn) (*visitingHoursOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var read reader
	v := fleet.VisitingHours{SiteID: in.SiteID, Weekdays: in.Body.Weekdays, Hours: read.hours("/hours", &in.Body.Hours)}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	saved, isNew, err := a.Fleet.PutVisitingHours(ctx, by, v, version)
	if err != nil {
		return nil, err
	}
	return &visitingHoursOut{Status: created(isNew), ETag: etag(saved.Version), Body: newVisitingHoursItem(saved)}, nil
}

func (a *API) holdGet(ctx context.Context, by identity.Actor, in *WorkOrderPath) (*holdOut, error) {
	if _, err := a.Fleet.WorkOrder(ctx, by, in.WorkOrderID); err != nil {
		return nil, err
	}
	h, err := a.Fleet.OrderHold(ctx, by, in.WorkOrderID)
	if err != nil {
		return nil, err
	}
	return newHoldOut(in.WorkOrderID, h), nil
}

func (a *API) holdPut(ctx context.Context, by identity.Actor, in *holdPutIn) (*holdOut, error) {
	if !in.Body.Held {
		if in.Body.Begin != nil {
			return nil, fault.At("/begin", "begin_of_free")
		}
		if err := a.Fleet.FreeOrder(ctx, by, in.WorkOrderID); err != nil {
			return nil, err
		}
		return newHoldOut(in.WorkOrderID, nil), nil
	}
	h := fleet.OrderHold{WorkOrderID: in.WorkOrderID, Why: in.Body.Why}
	if in.Body.Begin != nil {
		var read reader
		begin := read.hours("/begin", in.Body.Begin)
		if err := read.faults.Err(); err != nil {
			return nil, err
		}
		h.Begin = &begin
	}
	saved, err := a.Fleet.HoldOrder(ctx, by, h)
	if err != nil {
		return nil, err
	}
	return newHoldOut(in.WorkOrderID, &saved), nil
}

func (a *API) routePlanList(ctx context.Context, by identity.Actor, in *routePlanListIn) (*routePlanListOut, error) {
	var after routePlanKey
	if err := readCursor(in.After, &after); err != nil {
		return nil, err
	}
	list, err := a.Fleet.RoutePlans(ctx, by, fleet.RoutePlanQuery{BeforeAt: after.At, BeforeID: after.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &routePlanListOut{}
	out.Body.RoutePlans = make([]RoutePlanHead, len(list))
	for i, p := range list {
		out.Body.RoutePlans[i] = newRoutePlanHead(p)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(routePlanKey{At: last.MadeAt, ID: last.RoutePlanID})
	}
	return out, nil
}

func (a *API) routePlanGet(ctx context.Context, by identity.Actor, in *RoutePlanPath) (*routePlanOut, error) {
	p, err := a.Fleet.RoutePlan(ctx, by, in.RoutePlanID)
	if err != nil {
		return nil, err
	}
	out := a.newRoutePlanOut(by, p)
	out.Status = http.StatusOK
	return out, nil
}

func (a *API) routePlanPut(ctx context.Context, by identity.Actor, in *routePlanPutIn) (*routePlanOut, error) {
	var read reader
	b := in.Body
	ask := fleet.RouteAsk{From: read.day("/from", b.From), Days: b.Days, AheadDays: b.AheadDays, Factor: b.Factor, SpeedKmh: b.SpeedKmh, ArrivalM: b.ArrivalMin, Steps: b.Steps, Seed: b.Seed}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	p, isNew, err := a.Fleet.PlanRoutes(ctx, by, in.RoutePlanID, ask.Filled())
	if err != nil {
		return nil, err
	}
	out := a.newRoutePlanOut(by, p)
	out.Status = created(isNew)
	return out, nil
}

func (a *API) routePlanTakeOver(ctx context.Context, by identity.Actor, in *RoutePlanPath) (*takenOverOut, error) {
	p, done, err := a.Fleet.TakeOverRoutePlan(ctx, by, in.RoutePlanID)
	if err != nil {
		return nil, err
	}
	out := &takenOverOut{}
	out.Body.RoutePlanHead, out.Body.Assigned, out.Body.Passed = newRoutePlanHead(p), done.Assigned, append([]uuid.UUID{}, done.Passed...)
	return out, nil
}
