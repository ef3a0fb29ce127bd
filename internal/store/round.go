package store

import (
	"context"
	"encoding/json"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type workingTermsRow struct {
	PersonID        uuid.UUID
	TimeZone        string
	LatitudeDeg     float64
	LongitudeDeg    float64
	Weekdays        []int
	FromMinute      int
	ToMinute        int
	BreakFromMinute int
	BreakToMinute   int
	Regions         []string
	Version         int
	RecordedAt      time.Time
	RecordedBy      uuid.UUID
}

func (r workingTermsRow) terms() fleet.WorkingTerms {
	return fleet.WorkingTerms{PersonID: r.PersonID, TimeZone: r.TimeZone, Home: fleet.Position{LatitudeDeg: r.LatitudeDeg, LongitudeDeg: r.LongitudeDeg}, Weekdays: r.Weekdays,
		Hours: fleet.DayHours{FromMinute: r.FromMinute, ToMinute: r.ToMinute}, Break: fleet.DayHours{FromMinute: r.BreakFromMinute, ToMinute: r.BreakToMinute}, Regions: r.Regions,
		Version: r.Version, RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy}
}

const sqlWorkingTerms = `-- working_terms
select person_id, time_zone, latitude_deg, longitude_deg, weekdays, from_minute, to_minute, break_from_minute, break_to_minute, regions, version, recorded_at, recorded_by
from working_terms where (@person_id::uuid is null or person_id = @person_id) and person_id > @after_id order by person_id limit @limit`

// WorkingTermsPage lists the terms of technicians by their ids.
func (t *Tx) WorkingTermsPage(ctx context.Context, q fleet.WorkingTermsQuery) ([]fleet.WorkingTerms, error) {
	rows, err := query[workingTermsRow](ctx, t, "working_terms", sqlWorkingTerms, pgx.StrictNamedArgs{"person_id": optional(q.PersonID), "after_id": q.AfterID, "limit": q.Limit})
	return each(rows, workingTermsRow.terms), err
}

const sqlPutWorkingTerms = `-- put_working_terms
insert into working_terms (person_id, time_zone, latitude_deg, longitude_deg, weekdays, from_minute, to_minute, break_from_minute, break_to_minute, regions, version, recorded_at, recorded_by)
values (@person_id, @time_zone, @latitude_deg, @longitude_deg, @weekdays, @from_minute, @to_minute, @break_from_minute, @break_to_minute, @regions, @version, @recorded_at, @recorded_by)
on conflict (person_id) do update set time_zone = excluded.time_zone, latitude_deg = excluded.latitude_deg, longitude_deg = excluded.longitude_deg, weekdays = excluded.weekdays,
  from_minute = excluded.from_minute, to_minute = excluded.to_minute, break_from_minute = excluded.break_from_minute, break_to_minute = excluded.break_to_minute,
  regions = excluded.regions, version = excluded.version, recorded_at = excluded.recorded_at, recorded_by = excluded.recorded_by`

// PutWorkingTerms writes the terms of a technician.
func (t *Tx) PutWorkingTerms(ctx context.Context, w fleet.WorkingTerms) error {
	_, err := exec(ctx, t, "put_working_terms", sqlPutWorkingTerms, pgx.StrictNamedArgs{"person_id": w.PersonID, "time_zone": w.TimeZone, "latitude_deg": w.Home.LatitudeDeg,
		"longitude_deg": w.Home.LongitudeDeg, "weekdays": w.Weekdays, "from_minute": w.Hours.FromMinute, "to_minute": w.Hours.ToMinute, "break_from_minute": w.Break.FromMinute,
		"break_to_minute": w.Break.ToMinute, "regions": w.Regions, "version": w.Version, "recorded_at": w.RecordedAt, "recorded_by": w.RecordedBy})
	return err
}

type visitingHoursRow struct {
	CustomerID uuid.UUID
	SiteID     uuid.UUID
	Weekdays   []int
	FromMinute int
	ToMinute   int
	Version    int
	RecordedAt time.Time
	RecordedBy uuid.UUID
}

func (r visitingHoursRow) hours() fleet.VisitingHours {
	return fleet.VisitingHours{CustomerID: r.CustomerID, SiteID: r.SiteID, Weekdays: r.Weekdays, Hours: fleet.DayHours{FromMinute: r.FromMinute, ToMinute: r.ToMinute},
		Version: r.Version, RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy}
}

const sqlVisitingHours = `-- visiting_hours
select customer_id, site_id, weekdays, from_minute, to_minute, version, recorded_at, recorded_by from visiting_hours where site_id = @site_id`

// VisitingHoursOf gives the hours of a site.
func (t *Tx) VisitingHoursOf(ctx context.Context, siteID uuid.UUID) ([]fleet.VisitingHours, error) {
	rows, err := query[visitingHoursRow](ctx, t, "visiting_hours", sqlVisitingHours, pgx.StrictNamedArgs{"site_id": siteID})
	return each(rows, visitingHoursRow.hours), err
}

const sqlPutVisitingHours = `-- put_visiting_hours
insert into visiting_hours (customer_id, site_id, weekdays, from_minute, to_minute, version, recorded_at, recorded_by)
values (@customer_id, @site_id, @weekdays, @from_minute, @to_minute, @version, @recorded_at, @recorded_by)
on conflict (customer_id, site_id) do update set weekdays = excluded.weekdays, from_minute = excluded.from_minute, to_minute = excluded.to_minute,
  version = excluded.version, recorded_at = excluded.recorded_at, recorded_by = excluded.recorded_by`

// PutVisitingHours writes the hours of a site.
func (t *Tx) PutVisitingHours(ctx context.Context, v fleet.VisitingHours) error {
	_, err := exec(ctx, t, "put_visiting_hours", sqlPutVisitingHours, pgx.StrictNamedArgs{"customer_id": v.CustomerID, "site_id": v.SiteID, "weekdays": v.Weekdays,
		"from_minute": v.Hours.FromMinute, "to_minute": v.Hours.ToMinute, "version": v.Version, "recorded_at": v.RecordedAt, "recorded_by": v.RecordedBy})
	return err
}

type holdRow struct {
	CustomerID  uuid.UUID
	SiteID      uuid.UUID
	DoorID      uuid.UUID
	WorkOrderID uuid.UUID
	FromMinute  *int
	ToMinute    *int
	Why         string
	RecordedAt  time.Time
	RecordedBy  uuid.UUID
}

func (r holdRow) hold() fleet.OrderHold {
	h := fleet.OrderHold{CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, WorkOrderID: r.WorkOrderID, Why: r.Why, RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy}
	if r.FromMinute != nil {
		h.Begin = &fleet.DayHours{FromMinute: *r.FromMinute, ToMinute: *r.ToMinute}
	}
	return h
}

const sqlHold = `-- hold
select customer_id, site_id, door_id, work_order_id, from_minute, to_minute, why, recorded_at, recorded_by from work_order_hold where work_order_id = @work_order_id and held`

// HoldOf gives the hold of an order.
func (t *Tx) HoldOf(ctx context.Context, orderID uuid.UUID) ([]fleet.OrderHold, error) {
	rows, err := query[holdRow](ctx, t, "hold", sqlHold, pgx.StrictNamedArgs{"work_order_id": orderID})
	return each(rows, holdRow.hold), err
}

const sqlPutHold = `-- put_hold
insert into work_order_hold (customer_id, site_id, door_id, work_order_id, from_minute, to_minute, held, why, recorded_at, recorded_by)
values (@customer_id, @site_id, @door_id, @work_order_id, @from_minute, @to_minute, true, @why, @recorded_at, @recorded_by)
on conflict (work_order_id) do update set from_minute = excluded.from_minute, to_minute = excluded.to_minute, held = true, why = excluded.why,
  recorded_at = excluded.recorded_at, recorded_by = excluded.recorded_by`

// PutHold writes the hold of an order.
func (t *Tx) PutHold(ctx context.Context, h fleet.OrderHold) error {
	args := pgx.StrictNamedArgs{"customer_id": h.CustomerID, "site_id": h.SiteID, "door_id": h.DoorID, "work_order_id": h.WorkOrderID, "from_minute": nil, "to_minute": nil,
		"why": h.Why, "recorded_at": h.RecordedAt, "recorded_by": h.RecordedBy}
	if h.Begin != nil {
		args["from_minute"], args["to_minute"] = h.Begin.FromMinute, h.Begin.ToMinute
	}
	_, err := exec(ctx, t, "put_hold", sqlPutHold, args)
	return err
}

const sqlEndHold = `-- end_hold
update work_order_hold set held = false, recorded_at = @at, recorded_by = @by where work_order_id = @work_order_id`

// EndHold ends the hold of an order.
func (t *Tx) EndHold(ctx context.Context, orderID uuid.UUID, at time.Time, by uuid.UUID) error {
	_, err := exec(ctx, t, "end_hold", sqlEndHold, pgx.StrictNamedArgs{"work_order_id": orderID, "at": at, "by": by})
	return err
}

type roundOrderRow struct {
	CustomerID   uuid.UUID
	SiteID       uuid.UUID
	DoorID       uuid.UUID
	WorkOrderID  uuid.UUID
	Kind         string
	DueOn        time.Time
	Priority     string
	RespondBy    *time.Time
	AssignedTo   *uuid.UUID
	PlannedOn    *time.Time
	Site         string
	Door         string
	Region       string
	Country      string
	Jurisdiction string
	TimeZone     string
	LatitudeDeg  *float64
	LongitudeDeg *float64
	Unsafe       bool
	RulePack     string
	Held         bool
	HoldFrom     *int
	HoldTo       *int
	Weekdays     []int
	OpenFrom     *int
	OpenTo       *int
	OfPlan       bool
}

func (r roundOrderRow) order() fleet.RoundOrder {
	o := fleet.RoundOrder{RouteOrder: fleet.RouteOrder{WorkOrderID: r.WorkOrderID, SiteID: r.SiteID, DoorID: r.DoorID, Kind: r.Kind, DueOn: day(&r.DueOn), Site: r.Site, Door: r.Door, TimeZone: r.TimeZone},
		CustomerID: r.CustomerID, Region: r.Region, Country: r.Country, Jurisdiction: r.Jurisdiction, Priority: r.Priority, RespondBy: r.RespondBy, Unsafe: r.Unsafe, RulePack: r.RulePack, AssignedTo: r.AssignedTo, PlannedOn: day(r.PlannedOn), OfPlan: r.OfPlan}
	if r.LatitudeDeg != nil {
		o.Position = &fleet.Position{LatitudeDeg: *r.LatitudeDeg, LongitudeDeg: *r.LongitudeDeg}
	}
	if r.Held {
		o.Hold = &fleet.OrderHold{WorkOrderID: r.WorkOrderID}
		if r.HoldFrom != nil {
			o.Hold.Begin = &fleet.DayHours{FromMinute: *r.HoldFrom, ToMinute: *r.HoldTo}
		}
	}
	if r.OpenFrom != nil {
		o.Hours = &fleet.VisitingHours{SiteID: r.SiteID, Weekdays: r.Weekdays, Hours: fleet.DayHours{FromMinute: *r.OpenFrom, ToMinute: *r.OpenTo}}
	}
	return o
}

const sqlRoundOrders = `-- round_orders
select o.customer_id, o.site_id, o.door_id, o.work_order_id, o.kind, o.due_on, o.priority, o.respond_by, o.assigned_to, o.planned_on,
  s.name as site, d.name as door, s.region, s.country, s.jurisdiction, s.time_zone, s.latitude_deg, s.longitude_deg,
  exists (select from out_of_service_case c where c.door_id = o.door_id and c.state <> 'ended') as unsafe,
  coalesce((select v.rule_pack from door_version v where v.door_id = o.door_id order by v.effective_at desc, v.recorded_at desc, v.version_id desc limit 1), '') as rule_pack,
  h.work_order_id is not null as held, h.from_minute as hold_from, h.to_minute as hold_to, coalesce(v.weekdays, '{}') as weekdays, v.from_minute as open_from, v.to_minute as open_to,
  o.plan_id is not null as of_plan
from work_order o join site s on s.site_id = o.site_id join door d on d.door_id = o.door_id
left join work_order_hold h on h.work_order_id = o.work_order_id and h.held
left join visiting_hours v on v.site_id = o.site_id
where o.state = 'open' and (o.due_on <= @until
  or o.plan_id is not null and o.door_id in (select w.door_id from work_order w where w.state = 'open' and w.plan_id is not null and w.due_on <= @until))
order by o.work_order_id`

// RoundOrders gives the open orders that are due until a day, and the later ones of other plans of their doors.
func (t *Tx) RoundOrders(ctx context.Context, until duedate.Day) ([]fleet.RoundOrder, error) {
	rows, err := query[roundOrderRow](ctx, t, "round_orders", sqlRoundOrders, pgx.StrictNamedArgs{"until": date(until)})
	return each(rows, roundOrderRow.order), err
}

type roundTechnicianRow struct {
	PersonID        uuid.UUID
	Name            string
	TimeZone        *string
	LatitudeDeg     *float64
	LongitudeDeg    *float64
	Weekdays        []int
	FromMinute      *int
	ToMinute        *int
	BreakFromMinute *int
	BreakToMinute   *int
	Regions         []string
	Certificates    []certificateJSON
}

type certificateJSON struct {
	Kind       string       `json:"kind"`
	ValidFrom  duedate.Day  `json:"valid_from"`
	ValidUntil *duedate.Day `json:"valid_until"`
}

func (r roundTechnicianRow) technician() fleet.RoundTechnician {
	t := fleet.RoundTechnician{PersonID: r.PersonID, Name: r.Name}
	if r.TimeZone != nil {
		terms := workingTermsRow{PersonID: r.PersonID, TimeZone: *r.TimeZone, LatitudeDeg: *r.LatitudeDeg, LongitudeDeg: *r.LongitudeDeg, Weekdays: r.Weekdays,
			FromMinute: *r.FromMinute, ToMinute: *r.ToMinute, BreakFromMinute: *r.BreakFromMinute, BreakToMinute: *r.BreakToMinute, Regions: r.Regions}.terms()
		t.Terms = &terms
	}
	for _, c := range r.Certificates {
		q := identity.Qualification{PersonID: r.PersonID, Kind: c.Kind, ValidFrom: c.ValidFrom}
		if c.ValidUntil != nil {
			q.ValidUntil = *c.ValidUntil
		}
		t.Certificates = append(t.Certificates, q)
	}
	return t
}

const sqlRoundTechnicians = `-- round_technicians
select p.person_id, p.name, w.time_zone, w.latitude_deg, w.longitude_deg, w.weekdays, w.from_minute, w.to_minute, w.break_from_minute, w.break_to_minute, w.regions,
  coalesce((select jsonb_agg(jsonb_build_object('kind', c.kind, 'valid_from', c.valid_from, 'valid_until', c.valid_until)) from certificate c where c.person_id = p.person_id), '[]') as certificates
from person p left join working_terms w on w.person_id = p.person_id
where p.role = 'technician' and p.disabled_at is null and (p.expires_at is null or p.expires_at > @at)
order by p.name, p.person_id`

// RoundTechnicians gives everybody who may be sent.
func (t *Tx) RoundTechnicians(ctx context.Context, at time.Time) ([]fleet.RoundTechnician, error) {
	rows, err := query[roundTechnicianRow](ctx, t, "round_technicians", sqlRoundTechnicians, pgx.StrictNamedArgs{"at": at})
	return each(rows, roundTechnicianRow.technician), err
}

const sqlRoutePlaces = `-- route_places
select w.person_id as id, p.name, w.latitude_deg, w.longitude_deg from working_terms w join person p on p.person_id = w.person_id
union all select s.site_id, s.name, s.latitude_deg, s.longitude_deg from site s where s.latitude_deg is not null order by id`

// RoutePlaces gives the places between which ways can be measured.
func (t *Tx) RoutePlaces(ctx context.Context) ([]fleet.RoutePlace, error) {
	type row struct {
		ID           uuid.UUID
		Name         string
		LatitudeDeg  float64
		LongitudeDeg float64
	}
	rows, err := query[row](ctx, t, "route_places", sqlRoutePlaces, nil)
	return each(rows, func(r row) fleet.RoutePlace {
		return fleet.RoutePlace{ID: r.ID, Name: r.Name, Position: fleet.Position{LatitudeDeg: r.LatitudeDeg, LongitudeDeg: r.LongitudeDeg}}
	}), err
}

const sqlLastings = `-- lastings
select kind, percentile_cont(0.5) within group (order by minutes) as minutes, count(*)::integer as of
from (
  select o.kind, extract(epoch from g.signed_at - v.arrived_at)::double precision / 60 / count(*) over (partition by v.visit_id) as minutes
  from work_order o join visit v on v.visit_id = o.done_visit_id join visit_sign_off g on g.visit_id = v.visit_id
  where o.state = 'done' and g.signed_at >= @since and g.signed_at > v.arrived_at) one
where minutes between 3 and 480
group by kind order by kind`

// Lastings gives the median of how long a door took in signed visits, by kind of order.
func (t *Tx) Lastings(ctx context.Context, since time.Time) ([]fleet.Lasting, error) {
	return query[fleet.Lasting](ctx, t, "lastings", sqlLastings, pgx.StrictNamedArgs{"since": since})
}

type routePlanRow struct {
	RoutePlanID uuid.UUID
	State       string
	Answer      json.RawMessage
	MadeAt      time.Time
	MadeBy      uuid.UUID
	TakenAt     *time.Time
	TakenBy     *uuid.UUID
}

func (r routePlanRow) plan() (fleet.RoutePlan, error) {
	p := fleet.RoutePlan{RoutePlanID: r.RoutePlanID, State: r.State, MadeAt: r.MadeAt, MadeBy: r.MadeBy, TakenAt: r.TakenAt, TakenBy: r.TakenBy}
	return p, json.Unmarshal(r.Answer, &p.RouteAnswer)
}

const sqlInsertRoutePlan = `-- insert_route_plan
insert into route_plan (route_plan_id, from_day, days, state, answer, made_at, made_by)
values (@route_plan_id, @from_day, @days, @state, @answer, @made_at, @made_by) on conflict do nothing`

// InsertRoutePlan keeps a plan.
func (t *Tx) InsertRoutePlan(ctx context.Context, p fleet.RoutePlan) (bool, error) {
	return insertOne(ctx, t, "insert_route_plan", sqlInsertRoutePlan, pgx.StrictNamedArgs{"route_plan_id": p.RoutePlanID, "from_day": date(p.Ask.From), "days": p.Ask.Days,
		"state": p.State, "answer": p.RouteAnswer, "made_at": p.MadeAt, "made_by": p.MadeBy})
}

const sqlRoutePlanByID = `-- route_plan_by_id
select route_plan_id, state, answer, made_at, made_by, taken_at, taken_by from route_plan where route_plan_id = @route_plan_id`

// RoutePlanByID gives one plan.
func (t *Tx) RoutePlanByID(ctx context.Context, id uuid.UUID) (fleet.RoutePlan, error) {
	r, err := queryOne[routePlanRow](ctx, t, "route_plan_by_id", sqlRoutePlanByID, pgx.StrictNamedArgs{"route_plan_id": id}, "route_plan_not_found")
	if err != nil {
		return fleet.RoutePlan{}, err
	}
	return r.plan()
}

const sqlRoutePlanPage = `-- route_plan_page
select route_plan_id, state, answer - 'shifts' - 'left' as answer, made_at, made_by, taken_at, taken_by from route_plan
where @before_at::timestamptz is null or (made_at, route_plan_id) < (@before_at, @before_id)
order by made_at desc, route_plan_id desc limit @limit`

// RoutePlanPage lists plans without their shifts, the newest first.
func (t *Tx) RoutePlanPage(ctx context.Context, q fleet.RoutePlanQuery) ([]fleet.RoutePlan, error) {
	rows, err := query[routePlanRow](ctx, t, "route_plan_page", sqlRoutePlanPage, pgx.StrictNamedArgs{"before_at": optionalInstant(q.BeforeAt), "before_id": q.BeforeID, "limit": q.Limit})
	list := make([]fleet.RoutePlan, len(rows))
	for i, r := range rows {
		if list[i], err = r.plan(); err != nil {
			return nil, err
		}
	}
	return list, err
}

const sqlTakeOverRoutePlan = `-- take_over_route_plan
update route_plan set state = 'taken_over', taken_at = coalesce(taken_at, @at), taken_by = coalesce(taken_by, @by) where route_plan_id = @route_plan_id`

// TakeOverRoutePlan notes that somebody took a plan over, the first time.
func (t *Tx) TakeOverRoutePlan(ctx context.Context, id uuid.UUID, at time.Time, by uuid.UUID) error {
	_, err := exec(ctx, t, "take_over_route_plan", sqlTakeOverRoutePlan, pgx.StrictNamedArgs{"route_plan_id": id, "at": at, "by": by})
	return err
}
