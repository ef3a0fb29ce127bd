package store

import (
	"context"
	"maps"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

type planRow struct {
	CustomerID     uuid.UUID
	SiteID         uuid.UUID
	DoorID         uuid.UUID
	PlanID         uuid.UUID
	IntervalMonths int
	Regime         string
	FixedMonth     *int
	ToleranceDays  int
	GraceDays      int
	LeadDays       int
	AnchorOn       time.Time
	FromHandover   bool
	NextDue        time.Time
	RegularDue     *time.Time
	DueBy          time.Time
	OrdersFrom     time.Time
	LongestMonths  *int
	Suspended      []time.Time
	Active         bool
	Version        int
	RecordedAt     time.Time
	RecordedBy     uuid.UUID
	Purpose        string
	BesideFrom     *time.Time
}

func (r planRow) plan() fleet.Plan {
	return fleet.Plan{CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, PlanID: r.PlanID, IntervalMonths: r.IntervalMonths,
		Regime: duedate.Regime(r.Regime).NamedNow(), FixedMonth: time.Month(valueOf(r.FixedMonth)), ToleranceDays: r.ToleranceDays, GraceDays: r.GraceDays, LeadDays: r.LeadDays,
		AnchorOn: day(&r.AnchorOn), FromHandover: r.FromHandover, Suspended: spans(r.Suspended),
		PlanDates: fleet.PlanDates{NextDue: day(&r.NextDue), RegularDue: day(r.RegularDue), DueBy: day(&r.DueBy), OrdersFrom: day(&r.OrdersFrom), LongestMonths: valueOf(r.LongestMonths), BesideFrom: day(r.BesideFrom)}, Purpose: r.Purpose,
		Active: r.Active, Version: r.Version, RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy}
}

func valueOf(n *int) int {
	if n == nil {
		return 0
	}
	return *n
}

// orNull gives NULL for 0.
func orNull(n int) *int {
	if n == 0 {
		return nil
	}
	return &n
}

// spans reads days in pairs.
func spans(days []time.Time) (list []duedate.Span) {
	for pair := range slices.Chunk(days, 2) {
		list = append(list, duedate.Span{From: day(&pair[0]), Until: day(&pair[1])})
	}
	return list
}

func pairs(list []duedate.Span) []time.Time {
	days := []time.Time{}
	for _, s := range list {
		days = append(days, *date(s.From), *date(s.Until))
	}
	return days
}

const sqlPlanByID = `-- plan_by_id
select customer_id, site_id, door_id, plan_id, interval_months, regime, fixed_month, tolerance_days, grace_days, lead_days, anchor_on, from_handover,
  next_due, regular_due, coalesce(due_by, next_due) as due_by, coalesce(orders_from, next_due - lead_days) as orders_from, longest_months, suspended, active, version, recorded_at, recorded_by, purpose, beside_from
from inspection_plan where plan_id = @plan_id`

// PlanByID gives one inspection plan.
func (t *Tx) PlanByID(ctx context.Context, id uuid.UUID) (fleet.Plan, error) {
	r, err := queryOne[planRow](ctx, t, "plan_by_id", sqlPlanByID, pgx.StrictNamedArgs{"plan_id": id}, "plan_not_found")
	return r.plan(), err
}

const sqlPlanPage = `-- plan_page
select customer_id, site_id, door_id, plan_id, interval_months, regime, fixed_month, tolerance_days, grace_days, lead_days, anchor_on, from_handover,
  next_due, regular_due, coalesce(due_by, next_due) as due_by, coalesce(orders_from, next_due - lead_days) as orders_from, longest_months, suspended, active, version, recorded_at, recorded_by, purpose, beside_from
from inspection_plan
where active and (next_due, plan_id) > (@after_day, @after_id)
  and (@customer_id::uuid is null or customer_id = @customer_id) and (@site_id::uuid is null or site_id = @site_id)
  and (@due_until::date is null or next_due <= @due_until)
  and (not @overdue or exists (
    select from site s join unnest(@zones::text[], @todays::date[]) as z (zone, today) on z.zone = s.time_zone
    where s.site_id = inspection_plan.site_id and coalesce(inspection_plan.due_by, inspection_plan.next_due) < z.today))
  and (not @without_order or not exists (
    select from work_order o where o.door_id = inspection_plan.door_id and o.plan_id = inspection_plan.plan_id and o.state = 'open'))
order by next_due, plan_id limit @limit`

// PlanPage lists active plans by their next due day.
func (t *Tx) PlanPage(ctx context.Context, q fleet.PlanQuery) ([]fleet.Plan, error) {
	zones, todays := zonesAndDays(q.Today)
	rows, err := query[planRow](ctx, t, "plan_page", sqlPlanPage, pgx.StrictNamedArgs{"after_day": fromDay(q.AfterDay), "after_id": q.AfterID,
		"customer_id": optional(q.CustomerID), "site_id": optional(q.SiteID), "due_until": date(q.DueUntil), "overdue": q.Overdue, "zones": zones, "todays": todays,
		"without_order": q.WithoutOrder, "limit": q.Limit})
	return each(rows, planRow.plan), err
}

const sqlPlansOfDoor = `-- plans_of_door
select customer_id, site_id, door_id, plan_id, interval_months, regime, fixed_month, tolerance_days, grace_days, lead_days, anchor_on, from_handover,
  next_due, regular_due, coalesce(due_by, next_due) as due_by, coalesce(orders_from, next_due - lead_days) as orders_from, longest_months, suspended, active, version, recorded_at, recorded_by, purpose, beside_from
from inspection_plan where door_id = @door_id order by active desc, recorded_at, plan_id`

// PlansOfDoor gives the inspection plans of a door, the active one first.
func (t *Tx) PlansOfDoor(ctx context.Context, doorID uuid.UUID) ([]fleet.Plan, error) {
	rows, err := query[planRow](ctx, t, "plans_of_door", sqlPlansOfDoor, pgx.StrictNamedArgs{"door_id": doorID})
	return each(rows, planRow.plan), err
}

const sqlInsertPlan = `-- insert_plan
insert into inspection_plan (customer_id, site_id, door_id, plan_id, interval_months, regime, fixed_month, tolerance_days, grace_days, lead_days, anchor_on, from_handover,
  next_due, regular_due, due_by, orders_from, longest_months, active, version, recorded_at, recorded_by, purpose, beside_from)
values (@customer_id, @site_id, @door_id, @plan_id, @interval_months, @regime, @fixed_month, @tolerance_days, @grace_days, @lead_days, @anchor_on, @from_handover,
  @next_due, @regular_due, @due_by, @orders_from, @longest_months, @active, @version, @recorded_at, @recorded_by, @purpose, @beside_from)
on conflict (plan_id) do nothing`

// InsertPlan adds an inspection plan, or answers false when the id is taken.
func (t *Tx) InsertPlan(ctx context.Context, p fleet.Plan) (bool, error) {
	return insertOne(ctx, t, "insert_plan", sqlInsertPlan, with(datesOf(p.PlanDates), pgx.StrictNamedArgs{"customer_id": p.CustomerID, "site_id": p.SiteID, "door_id": p.DoorID, "plan_id": p.PlanID,
		"interval_months": p.IntervalMonths, "regime": string(p.Regime), "fixed_month": orNull(int(p.FixedMonth)), "tolerance_days": p.ToleranceDays, "grace_days": p.GraceDays, "lead_days": p.LeadDays,
		"anchor_on": date(p.AnchorOn), "from_handover": p.FromHandover, "active": p.Active, "version": p.Version, "recorded_at": p.RecordedAt, "recorded_by": p.RecordedBy, "purpose": p.Purpose}))
}

func datesOf(d fleet.PlanDates) pgx.StrictNamedArgs {
	return pgx.StrictNamedArgs{"next_due": date(d.NextDue), "regular_due": date(d.RegularDue), "due_by": date(d.DueBy), "orders_from": date(d.OrdersFrom), "longest_months": orNull(d.LongestMonths), "beside_from": date(d.BesideFrom)}
}

func with(args, more pgx.StrictNamedArgs) pgx.StrictNamedArgs {
	maps.Copy(args, more)
	return args
}

const sqlUpdatePlan = `-- update_plan
update inspection_plan set interval_months = @interval_months, regime = @regime, fixed_month = @fixed_month, tolerance_days = @tolerance_days, grace_days = @grace_days,
  lead_days = @lead_days, anchor_on = @anchor_on, from_handover = @from_handover, active = @active, version = @version
where plan_id = @plan_id and version = @version - 1`

// UpdatePlan writes the next version of a plan; its dates follow by SetPlanDates.
func (t *Tx) UpdatePlan(ctx context.Context, p fleet.Plan) error {
	return expectOne(exec(ctx, t, "update_plan", sqlUpdatePlan, pgx.StrictNamedArgs{"plan_id": p.PlanID, "interval_months": p.IntervalMonths,
		"regime": string(p.Regime), "fixed_month": orNull(int(p.FixedMonth)), "tolerance_days": p.ToleranceDays, "grace_days": p.GraceDays, "lead_days": p.LeadDays,
		"anchor_on": date(p.AnchorOn), "from_handover": p.FromHandover, "active": p.Active, "version": p.Version}))
}

const sqlSetPlanDates = `-- set_plan_dates
update inspection_plan set next_due = @next_due, regular_due = @regular_due, due_by = @due_by, orders_from = @orders_from, longest_months = @longest_months, beside_from = @beside_from where plan_id = @plan_id`

// SetPlanDates writes the dates that the completed inspections give.
func (t *Tx) SetPlanDates(ctx context.Context, planID uuid.UUID, d fleet.PlanDates) error {
	_, err := exec(ctx, t, "set_plan_dates", sqlSetPlanDates, with(datesOf(d), pgx.StrictNamedArgs{"plan_id": planID}))
	return err
}
