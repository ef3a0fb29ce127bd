package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type forecastPlanRow struct {
	planRow
	HandedOver *time.Time
	Region     string
	Door       string
	Site       string
}

func (r forecastPlanRow) plan() fleet.ForecastPlan {
	return fleet.ForecastPlan{Plan: r.planRow.plan(), Handover: day(r.HandedOver), Region: r.Region, Door: r.Door, Site: r.Site}
}

const sqlForecastPlans = `-- forecast_plans
select p.customer_id, p.site_id, p.door_id, p.plan_id, p.interval_months, p.regime, p.fixed_month, p.tolerance_days, p.grace_days, p.lead_days, p.anchor_on, p.from_handover,
  p.next_due, p.regular_due, coalesce(p.due_by, p.next_due) as due_by, coalesce(p.orders_from, p.next_due - p.lead_days) as orders_from, p.longest_months, p.suspended, p.active,
  p.version, p.recorded_at, p.recorded_by, p.purpose, p.beside_from,
  case when p.from_handover then (
    select max(o.done_on) from work_order o where o.door_id = p.door_id and o.kind = 'handover' and o.state = 'done' and o.plan_id is null and o.origin_visit_id is null) end as handed_over,
  s.region, d.name as door, s.name as site
from inspection_plan p join site s on s.site_id = p.site_id join door d on d.door_id = p.door_id
where p.active and p.plan_id > @after_id order by p.plan_id limit @limit`

// ForecastPlans gives active plans by their ids.
func (t *Tx) ForecastPlans(ctx context.Context, afterID uuid.UUID, limit int) ([]fleet.ForecastPlan, error) {
	rows, err := query[forecastPlanRow](ctx, t, "forecast_plans", sqlForecastPlans, pgx.StrictNamedArgs{"after_id": afterID, "limit": limit})
	return each(rows, forecastPlanRow.plan), err
}
