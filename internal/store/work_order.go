package store

import (
	"context"
	"encoding/json"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

type workOrderRow struct {
	CustomerID    uuid.UUID
	SiteID        uuid.UUID
	DoorID        uuid.UUID
	WorkOrderID   uuid.UUID
	Kind          string
	PlanID        *uuid.UUID
	Period        *time.Time
	OriginVisitID *uuid.UUID
	DueOn         time.Time
	State         string
	AssignedTo    *uuid.UUID
	PlannedOn     *time.Time
	Note          string
	DoneOn        *time.Time
	DoneVisitID   *uuid.UUID
	Version       int
	RecordedAt    time.Time
	MadeBy        *uuid.UUID

	CallerName          string
	CallerTelephone     string
	CallerRole          string
	Symptom             string
	Priority            string
	ReceivedAt          *time.Time
	RespondBy           *time.Time
	ReportedUnsafe      bool
	PeopleHurt          bool
	AccidentWhat        string
	AccidentTold        string
	KeptAsFound         *bool
	BillingBasis        string
	CustomerOrderNumber string
	StateAt             *time.Time
	StateBy             *uuid.UUID
	StateWhy            string
	TimeZone            string
}

func (r workOrderRow) order() fleet.WorkOrder {
	o := fleet.WorkOrder{CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, WorkOrderID: r.WorkOrderID, Kind: r.Kind, PlanID: r.PlanID,
		Period: day(r.Period), OriginVisitID: r.OriginVisitID, DueOn: day(&r.DueOn), State: r.State, AssignedTo: r.AssignedTo, PlannedOn: day(r.PlannedOn),
		Note: r.Note, DoneOn: day(r.DoneOn), DoneVisitID: r.DoneVisitID, Version: r.Version, RecordedAt: r.RecordedAt, MadeBy: r.MadeBy,
		Caller: fleet.Caller{Name: r.CallerName, Telephone: r.CallerTelephone, Role: r.CallerRole}, Symptom: r.Symptom, Priority: r.Priority,
		ReceivedAt: r.ReceivedAt, RespondBy: r.RespondBy, ReportedUnsafe: r.ReportedUnsafe, PeopleHurt: r.PeopleHurt,
		BillingBasis: r.BillingBasis, CustomerOrderNumber: r.CustomerOrderNumber, StateAt: r.StateAt, StateBy: r.StateBy, StateWhy: r.StateWhy, TimeZone: r.TimeZone}
	if r.Kind == "accident" {
		o.Accident = &fleet.Accident{What: r.AccidentWhat, Told: r.AccidentTold, KeptAsFound: r.KeptAsFound}
	}
	return o
}

// saidArgs are what people say of an order.
func saidArgs(o fleet.WorkOrder, args pgx.StrictNamedArgs) pgx.StrictNamedArgs {
	accident := fleet.Accident{}
	if o.Accident != nil {
		accident = *o.Accident
	}
	for name, value := range map[string]any{"work_order_id": o.WorkOrderID, "due_on": date(o.DueOn), "state": o.State, "note": o.Note, "version": o.Version,
		"caller_name": o.Caller.Name, "caller_telephone": o.Caller.Telephone, "caller_role": o.Caller.Role, "symptom": o.Symptom, "priority": o.Priority,
		"received_at": o.ReceivedAt, "respond_by": o.RespondBy, "reported_unsafe": o.ReportedUnsafe, "people_hurt": o.PeopleHurt, "accident_what": accident.What,
		"accident_told": accident.Told, "kept_as_found": accident.KeptAsFound, "billing_basis": o.BillingBasis, "customer_order_number": o.CustomerOrderNumber} {
		args[name] = value
	}
	return args
}

const sqlWorkOrderByID = `-- work_order_by_id
select customer_id, site_id, door_id, work_order_id, kind, plan_id, period, origin_visit_id, due_on, state, assigned_to, planned_on, note, done_on, done_visit_id, version, recorded_at,
  made_by, caller_name, caller_telephone, caller_role, symptom, priority, received_at, respond_by, reported_unsafe, people_hurt, accident_what, accident_told, kept_as_found,
  billing_basis, customer_order_number, state_at, state_by, state_why, (select s.time_zone from site s where s.site_id = work_order.site_id) as time_zone
from work_order where work_order_id = @work_order_id`

// WorkOrderByID gives one work order.
func (t *Tx) WorkOrderByID(ctx context.Context, id uuid.UUID) (fleet.WorkOrder, error) {
	r, err := queryOne[workOrderRow](ctx, t, "work_order_by_id", sqlWorkOrderByID, pgx.StrictNamedArgs{"work_order_id": id}, "work_order_not_found")
	return r.order(), err
}

const sqlWorkOrderPage = `-- work_order_page
select customer_id, site_id, door_id, work_order_id, kind, plan_id, period, origin_visit_id, due_on, state, assigned_to, planned_on, note, done_on, done_visit_id, version, recorded_at,
  made_by, caller_name, caller_telephone, caller_role, symptom, priority, received_at, respond_by, reported_unsafe, people_hurt, accident_what, accident_told, kept_as_found,
  billing_basis, customer_order_number, state_at, state_by, state_why, (select s.time_zone from site s where s.site_id = work_order.site_id) as time_zone
from work_order
where (due_on, work_order_id) > (@after_day, @after_id)
  and (@state::text = '' or state = @state) and (@kind::text = '' or kind = @kind)
  and (@customer_id::uuid is null or customer_id = @customer_id) and (@site_id::uuid is null or site_id = @site_id)
  and (@door_id::uuid is null or door_id = @door_id) and (@assigned_to::uuid is null or assigned_to = @assigned_to)
  and (@due_from::date is null or due_on >= @due_from) and (@due_until::date is null or due_on <= @due_until)
  and (@respond_until::timestamptz is null or respond_by <= @respond_until) and (@planned::boolean is null or (planned_on is not null) = @planned)
  and (@search::text = '' or lower(concat_ws(' ', note, symptom, caller_name, customer_order_number)) like @search)
  and (not @overdue or state = 'open' and exists (
    select from site s join unnest(@zones::text[], @todays::date[]) as z (zone, today) on z.zone = s.time_zone
    where s.site_id = work_order.site_id and work_order.due_on < z.today))
order by due_on, work_order_id limit @limit`

// WorkOrderPage lists work orders by due day.
func (t *Tx) WorkOrderPage(ctx context.Context, q fleet.WorkOrderQuery) ([]fleet.WorkOrder, error) {
	zones, todays := zonesAndDays(q.Today)
	rows, err := query[workOrderRow](ctx, t, "work_order_page", sqlWorkOrderPage, pgx.StrictNamedArgs{"after_day": fromDay(q.AfterDay), "after_id": q.AfterID,
		"state": q.State, "kind": q.Kind, "customer_id": optional(q.CustomerID), "site_id": optional(q.SiteID), "door_id": optional(q.DoorID),
		"assigned_to": optional(q.Assigned), "due_from": date(q.DueFrom), "due_until": date(q.DueUntil), "respond_until": optionalInstant(q.RespondUntil), "planned": q.Planned,
		"search": containing(q.Search), "overdue": q.Overdue, "zones": zones, "todays": todays, "limit": q.Limit})
	return each(rows, workOrderRow.order), err
}

const sqlCallOrders = `-- call_orders
select door_id, work_order_id, kind, due_on from work_order where door_id = any (@doors::uuid[]) and state = 'open' and plan_id is not null order by due_on, work_order_id`

// CallOrders gives the open orders of the plans of doors.
func (t *Tx) CallOrders(ctx context.Context, doors []uuid.UUID) ([]fleet.CallOrder, error) {
	type row struct {
		DoorID      uuid.UUID
		WorkOrderID uuid.UUID
		Kind        string
		DueOn       time.Time
	}
	rows, err := query[row](ctx, t, "call_orders", sqlCallOrders, pgx.StrictNamedArgs{"doors": doors})
	return each(rows, func(r row) fleet.CallOrder {
		return fleet.CallOrder{DoorID: r.DoorID, WorkOrderID: r.WorkOrderID, Kind: r.Kind, DueOn: day(&r.DueOn)}
	}), err
}

const sqlZonesInUse = `-- zones_in_use
select distinct time_zone from site`

// ZonesInUse gives the time zones of the sites in sight.
func (t *Tx) ZonesInUse(ctx context.Context) ([]string, error) {
	rows, err := query[struct{ TimeZone string }](ctx, t, "zones_in_use", sqlZonesInUse, pgx.StrictNamedArgs{})
	return each(rows, func(r struct{ TimeZone string }) string { return r.TimeZone }), err
}

// optionalInstant is NULL for the zero instant.
func optionalInstant(at time.Time) *time.Time {
	if at.IsZero() {
		return nil
	}
	return &at
}

// fromDay is the day after which a list goes on; the zero Day is before all days.
func fromDay(d duedate.Day) time.Time {
	if at := date(d); at != nil {
		return *at
	}
	return time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC)
}

const sqlHoldPlans = `-- hold_plans
select plan_id from inspection_plan where door_id = @door_id order by purpose, plan_id for no key update`

// HoldPlans keeps the plans of a door, and so the generation of their orders, as they are until the transaction ends.
func (t *Tx) HoldPlans(ctx context.Context, doorID uuid.UUID) error {
	_, err := exec(ctx, t, "hold_plans", sqlHoldPlans, pgx.StrictNamedArgs{"door_id": doorID})
	return err
}

const sqlOrdersOfDoor = `-- orders_of_door
select customer_id, site_id, door_id, work_order_id, kind, plan_id, period, origin_visit_id, due_on, state, assigned_to, planned_on, note, done_on, done_visit_id, version, recorded_at,
  made_by, caller_name, caller_telephone, caller_role, symptom, priority, received_at, respond_by, reported_unsafe, people_hurt, accident_what, accident_told, kept_as_found,
  billing_basis, customer_order_number, state_at, state_by, state_why, (select s.time_zone from site s where s.site_id = work_order.site_id) as time_zone
from work_order
where door_id = @door_id and case @of::text when 'plan' then plan_id is not null else origin_visit_id is not null end
order by due_on, work_order_id`

// InspectionOrders gives the orders that the plans of a door made.
func (t *Tx) InspectionOrders(ctx context.Context, doorID uuid.UUID) ([]fleet.WorkOrder, error) {
	rows, err := query[workOrderRow](ctx, t, "orders_of_door", sqlOrdersOfDoor, pgx.StrictNamedArgs{"door_id": doorID, "of": "plan"})
	return each(rows, workOrderRow.order), err
}

const sqlOrdersByHand = `-- orders_by_hand
select customer_id, site_id, door_id, work_order_id, kind, plan_id, period, origin_visit_id, due_on, state, assigned_to, planned_on, note, done_on, done_visit_id, version, recorded_at,
  made_by, caller_name, caller_telephone, caller_role, symptom, priority, received_at, respond_by, reported_unsafe, people_hurt, accident_what, accident_told, kept_as_found,
  billing_basis, customer_order_number, state_at, state_by, state_why, (select s.time_zone from site s where s.site_id = work_order.site_id) as time_zone
from work_order
where door_id = @door_id and plan_id is null and origin_visit_id is null
  and exists (select from work_order_event e where e.door_id = @door_id and e.work_order_id = work_order.work_order_id)
order by work_order_id`

// OrdersByHand gives the orders of a door that people made and of which something was said.
func (t *Tx) OrdersByHand(ctx context.Context, doorID uuid.UUID) ([]fleet.WorkOrder, error) {
	rows, err := query[workOrderRow](ctx, t, "orders_by_hand", sqlOrdersByHand, pgx.StrictNamedArgs{"door_id": doorID})
	return each(rows, workOrderRow.order), err
}

// RepairOrders gives the corrective orders that visits at a door made.
func (t *Tx) RepairOrders(ctx context.Context, doorID uuid.UUID) ([]fleet.WorkOrder, error) {
	rows, err := query[workOrderRow](ctx, t, "orders_of_door", sqlOrdersOfDoor, pgx.StrictNamedArgs{"door_id": doorID, "of": "visit"})
	return each(rows, workOrderRow.order), err
}

const sqlInsertWorkOrder = `-- insert_work_order
insert into work_order (customer_id, site_id, door_id, work_order_id, kind, due_on, state, note, version, recorded_at, made_by, caller_name, caller_telephone, caller_role,
  symptom, priority, received_at, respond_by, reported_unsafe, people_hurt, accident_what, accident_told, kept_as_found, billing_basis, customer_order_number)
values (@customer_id, @site_id, @door_id, @work_order_id, @kind, @due_on, @state, @note, @version, @recorded_at, @made_by, @caller_name, @caller_telephone, @caller_role,
  @symptom, @priority, @received_at, @respond_by, @reported_unsafe, @people_hurt, @accident_what, @accident_told, @kept_as_found, @billing_basis, @customer_order_number)
on conflict (work_order_id) do nothing`

// InsertWorkOrder adds an order made by hand, or answers false when the id is taken.
func (t *Tx) InsertWorkOrder(ctx context.Context, o fleet.WorkOrder) (bool, error) {
	n, err := exec(ctx, t, "insert_work_order", sqlInsertWorkOrder, saidArgs(o, pgx.StrictNamedArgs{"customer_id": o.CustomerID, "site_id": o.SiteID,
		"door_id": o.DoorID, "kind": o.Kind, "recorded_at": o.RecordedAt, "made_by": o.MadeBy}))
	return n == 1, err
}

const sqlUpdateWorkOrder = `-- update_work_order
update work_order set due_on = @due_on, state = @state, assigned_to = @assigned_to, planned_on = @planned_on, note = @note, version = @version,
  caller_name = @caller_name, caller_telephone = @caller_telephone, caller_role = @caller_role, symptom = @symptom, priority = @priority, received_at = @received_at,
  respond_by = @respond_by, reported_unsafe = @reported_unsafe, people_hurt = @people_hurt, accident_what = @accident_what, accident_told = @accident_told,
  kept_as_found = @kept_as_found, billing_basis = @billing_basis, customer_order_number = @customer_order_number, done_on = @done_on, done_visit_id = @done_visit_id,
  state_at = @state_at, state_by = @state_by, state_why = @state_why, changed_at = @at
where work_order_id = @work_order_id and version = @version - 1`

// UpdateWorkOrder writes the next version of an order.
func (t *Tx) UpdateWorkOrder(ctx context.Context, o fleet.WorkOrder, at time.Time) error {
	return expectOne(exec(ctx, t, "update_work_order", sqlUpdateWorkOrder, saidArgs(o, pgx.StrictNamedArgs{"assigned_to": o.AssignedTo, "planned_on": date(o.PlannedOn),
		"done_on": date(o.DoneOn), "done_visit_id": o.DoneVisitID, "state_at": o.StateAt, "state_by": o.StateBy, "state_why": o.StateWhy, "at": at})))
}

const sqlUpsertRepairs = `-- upsert_repairs
insert into work_order as present (customer_id, site_id, door_id, work_order_id, kind, origin_visit_id, due_on, state, done_on, done_visit_id, recorded_at)
select r.customer_id, r.site_id, r.door_id, r.work_order_id, 'repair', r.origin_visit_id, r.due_on, r.state, r.done_on, r.done_visit_id, r.recorded_at
from jsonb_to_recordset(@repairs) as r (customer_id uuid, site_id uuid, door_id uuid, work_order_id uuid, origin_visit_id uuid, due_on date, state text,
  done_on date, done_visit_id uuid, recorded_at timestamptz)
on conflict (work_order_id) do update set due_on = excluded.due_on, state = excluded.state, done_on = excluded.done_on, done_visit_id = excluded.done_visit_id,
  version = present.version + 1, changed_at = @at
where (present.due_on, present.state, present.done_on, present.done_visit_id) is distinct from (excluded.due_on, excluded.state, excluded.done_on, excluded.done_visit_id)`

// UpsertRepairs writes corrective orders by their ids; assignment, planned day and note are people's and stay.
func (t *Tx) UpsertRepairs(ctx context.Context, list []fleet.WorkOrder, at time.Time) error {
	repairs := make([]map[string]any, len(list))
	for i, o := range list {
		repairs[i] = map[string]any{"customer_id": o.CustomerID, "site_id": o.SiteID, "door_id": o.DoorID, "work_order_id": o.WorkOrderID,
			"origin_visit_id": o.OriginVisitID, "due_on": dayText(o.DueOn), "state": o.State, "done_on": dayText(o.DoneOn), "done_visit_id": o.DoneVisitID, "recorded_at": o.RecordedAt}
	}
	_, err := exec(ctx, t, "upsert_repairs", sqlUpsertRepairs, pgx.StrictNamedArgs{"repairs": repairs, "at": at})
	return err
}

// dayText writes a day for a JSON parameter; the zero Day is null.
func dayText(d duedate.Day) *string {
	if d.IsZero() {
		return nil
	}
	text := d.String()
	return &text
}

const sqlSetOrderStates = `-- set_order_states
update work_order o set state = s.state, due_on = s.due_on, done_on = s.done_on, done_visit_id = s.done_visit_id, version = o.version + 1, changed_at = @at,
  state_at = case when s.state <> 'done' then o.state_at end, state_by = case when s.state <> 'done' then o.state_by end,
  state_why = case when s.state <> 'done' then o.state_why else '' end
from jsonb_to_recordset(@states) as s (work_order_id uuid, state text, due_on date, done_on date, done_visit_id uuid)
where o.work_order_id = s.work_order_id and (s.state = 'open') = @opening`

// SetOrderStates writes how inspection orders stand. Those that leave the open state go first: only one of a plan
// may be open at any moment.
func (t *Tx) SetOrderStates(ctx context.Context, list []fleet.OrderState, at time.Time) error {
	states := make([]map[string]any, len(list))
	for i, s := range list {
		states[i] = map[string]any{"work_order_id": s.WorkOrderID, "state": s.State, "due_on": dayText(s.DueOn), "done_on": dayText(s.DoneOn), "done_visit_id": s.DoneVisitID}
	}
	for _, opening := range []bool{false, true} {
		if _, err := exec(ctx, t, "set_order_states", sqlSetOrderStates, pgx.StrictNamedArgs{"states": states, "opening": opening, "at": at}); err != nil {
			return err
		}
	}
	return nil
}

const sqlOrderEvents = `-- order_events
select customer_id, site_id, door_id, work_order_id, event_id, kind, at, done_on, visit_id, why, recorded_at, recorded_by
from work_order_event where door_id = @door_id order by work_order_id, at, event_id`

type orderEventRow struct {
	CustomerID  uuid.UUID
	SiteID      uuid.UUID
	DoorID      uuid.UUID
	WorkOrderID uuid.UUID
	EventID     uuid.UUID
	Kind        string
	At          time.Time
	DoneOn      *time.Time
	VisitID     *uuid.UUID
	Why         string
	RecordedAt  time.Time
	RecordedBy  uuid.UUID
}

func (r orderEventRow) event() fleet.OrderEvent {
	return fleet.OrderEvent{CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, WorkOrderID: r.WorkOrderID, EventID: r.EventID, Kind: r.Kind, At: r.At,
		DoneOn: day(r.DoneOn), VisitID: r.VisitID, Why: r.Why, RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy}
}

// OrderEvents gives what was said of the orders of a door.
func (t *Tx) OrderEvents(ctx context.Context, doorID uuid.UUID) ([]fleet.OrderEvent, error) {
	rows, err := query[orderEventRow](ctx, t, "order_events", sqlOrderEvents, pgx.StrictNamedArgs{"door_id": doorID})
	return each(rows, orderEventRow.event), err
}

const sqlInsertOrderEvent = `-- insert_order_event
insert into work_order_event (customer_id, site_id, door_id, work_order_id, event_id, kind, at, done_on, visit_id, why, recorded_at, recorded_by)
values (@customer_id, @site_id, @door_id, @work_order_id, @event_id, @kind, @at, @done_on, @visit_id, @why, @recorded_at, @recorded_by)`

// InsertOrderEvent keeps what somebody said of an order.
func (t *Tx) InsertOrderEvent(ctx context.Context, e fleet.OrderEvent) error {
	_, err := exec(ctx, t, "insert_order_event", sqlInsertOrderEvent, pgx.StrictNamedArgs{"customer_id": e.CustomerID, "site_id": e.SiteID, "door_id": e.DoorID,
		"work_order_id": e.WorkOrderID, "event_id": e.EventID, "kind": e.Kind, "at": e.At, "done_on": date(e.DoneOn), "visit_id": e.VisitID, "why": e.Why,
		"recorded_at": e.RecordedAt, "recorded_by": e.RecordedBy})
	return err
}

const sqlChangesOf = `-- changes_of
select change_id, at, person_id, subject_kind, subject_id, body from change_log
where subject_kind = @subject_kind and subject_id = @subject_id and (at, change_id) < (@before_at, @before_id)
order by at desc, change_id desc limit @limit`

type changeRow struct {
	ChangeID    uuid.UUID
	At          time.Time
	PersonID    uuid.UUID
	SubjectKind string
	SubjectID   uuid.UUID
	Body        json.RawMessage
}

func (r changeRow) change() fleet.Change {
	return fleet.Change{ChangeID: r.ChangeID, At: r.At, PersonID: r.PersonID, SubjectKind: r.SubjectKind, SubjectID: r.SubjectID, Body: r.Body}
}

// ChangesOf gives the states that a thing was given, the newest first.
func (t *Tx) ChangesOf(ctx context.Context, q fleet.ChangeQuery) ([]fleet.Change, error) {
	rows, err := query[changeRow](ctx, t, "changes_of", sqlChangesOf, pgx.StrictNamedArgs{"subject_kind": q.SubjectKind, "subject_id": q.SubjectID,
		"before_at": bound(q.BeforeAt), "before_id": q.BeforeID, "limit": q.Limit})
	return each(rows, changeRow.change), err
}

const sqlTechnicianExists = `-- technician_exists
select exists (select from person where person_id = @person_id and role = 'technician' and disabled_at is null
  and (expires_at is null or expires_at > @at)) as there`

// TechnicianExists tells whether an enabled technician has that id.
func (t *Tx) TechnicianExists(ctx context.Context, id uuid.UUID, at time.Time) (bool, error) {
	r, err := queryOne[struct{ There bool }](ctx, t, "technician_exists", sqlTechnicianExists, pgx.StrictNamedArgs{"person_id": id, "at": at}, "person_not_found")
	return r.There, err
}

// The id of a plan's order is made of its plan and period (SHA-256, shaped as a UUIDv8 of RFC 9562), so that
// every way of running the generation gives the same table; the key of the period and the partial unique index on open
// orders are what no run gets past. The plans are held: a due date that is just being moved is read as it will be.
const sqlInsertDueOrders = `-- insert_due_orders
with due as (
  select customer_id, site_id, door_id, plan_id, purpose, next_due, coalesce(due_by, next_due) as due_by from inspection_plan
  where active and (door_id, purpose) > (@after_door, @after_purpose) and coalesce(orders_from, next_due - lead_days) <= @as_of
  order by door_id, purpose limit @limit for share),
beside as (
  select b.customer_id, b.site_id, b.door_id, b.plan_id, b.purpose, b.next_due, coalesce(b.due_by, b.next_due) as due_by from inspection_plan b
  where b.active and b.beside_from <= @as_of and exists (select from due d where d.door_id = b.door_id and d.plan_id <> b.plan_id) for share),
made as (
  insert into work_order (customer_id, site_id, door_id, work_order_id, kind, plan_id, period, due_on, state, recorded_at)
  select customer_id, site_id, door_id,
    encode(set_byte(set_byte(substring(h from 1 for 16), 6, get_byte(h, 6) & 15 | 128), 8, get_byte(h, 8) & 63 | 128), 'hex')::uuid,
    case purpose when 'inspection' then 'inspection' else 'service' end, plan_id, next_due, due_by, 'open', @recorded_at
  from (table due union all table beside) as wanted, sha256(convert_to(plan_id::text || '/' || to_char(next_due, 'YYYY-MM-DD'), 'UTF8')) as h
  on conflict do nothing
  returning 1)
select (select count(*) from made) as made, (select count(*) from due) as looked,
  coalesce((select door_id from due order by door_id desc limit 1), @after_door) as door_id,
  coalesce((select purpose from due order by door_id desc, purpose desc limit 1), @after_purpose) as purpose`

// InsertDueOrders makes the orders of one page of plans whose lead time has come, and of those of the same doors that may be served beside them.
func (t *Tx) InsertDueOrders(ctx context.Context, asOf duedate.Day, after fleet.PlanKey, limit int, at time.Time) (made int64, last fleet.PlanKey, looked int, err error) {
	r, err := queryOne[struct {
		Made    int64
		Looked  int
		DoorID  uuid.UUID
		Purpose string
	}](ctx, t, "insert_due_orders", sqlInsertDueOrders, pgx.StrictNamedArgs{"as_of": date(asOf), "after_door": after.DoorID, "after_purpose": after.Purpose, "limit": limit, "recorded_at": at}, "internal")
	return r.Made, fleet.PlanKey{DoorID: r.DoorID, Purpose: r.Purpose}, r.Looked, err
}
