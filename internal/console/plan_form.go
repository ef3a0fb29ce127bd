package console

import (
	"context"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
)

type planFormData struct {
	New    bool
	Plan   fleet.Plan
	Door   fleet.Name
	DoorID uuid.UUID
	Form   form
}

func (c *Console) planNew(ctx context.Context, q *request) (answer, error) {
	return c.planNewPage(ctx, q, newForm(map[string]string{"plan_id": c.NewID().String(), "/purpose": fleet.Inspection, "/interval_months": "12", "/regime": string(duedate.Anniversary), "/tolerance_days": "30", "/grace_days": "0", "/lead_days": "30"}), http.StatusOK)
}

func (c *Console) planNewPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	door, err := q.pathID("door_id")
	if err != nil {
		return nil, err
	}
	return c.planPage(ctx, q, planFormData{New: true, DoorID: door, Form: f}, status)
}

func (c *Console) planPage(ctx context.Context, q *request, data planFormData, status int) (answer, error) {
	door, err := c.Fleet.Door(ctx, q.by, data.DoorID, fleet.AsOf{})
	if err != nil {
		return nil, err
	}
	data.Door = fleet.Name{Text: door.Name, Tag: door.Tag}
	return page{name: "plan-form", status: status, data: data}, nil
}

func (r *reader) plan(door, id uuid.UUID) fleet.Plan {
	return fleet.Plan{DoorID: door, PlanID: id, Purpose: r.form.Value("/purpose"), IntervalMonths: r.number("/interval_months"), Regime: duedate.Regime(r.form.Value("/regime")), FixedMonth: time.Month(r.count("/fixed_month")),
		ToleranceDays: r.number("/tolerance_days"), GraceDays: r.count("/grace_days"), LeadDays: r.number("/lead_days"), AnchorOn: r.day("/anchor_on"), FromHandover: r.form.Value("/from_handover") != "", Active: true}
}

func (c *Console) planMake(ctx context.Context, q *request) (answer, error) {
	door, f, err := q.formOf("door_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	plan := r.plan(door, r.id("plan_id"))
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutPlan(ctx, q.by, plan, 0)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.planNewPage(ctx, q, f, status) })
	}
	return seeOther("/doors/" + door.String() + "#work"), nil
}

// planOf finds the plan that the address names.
func (c *Console) planOf(ctx context.Context, q *request) (p fleet.Plan, err error) {
	door, err := q.pathID("door_id")
	if err != nil {
		return p, err
	}
	id, err := q.pathID("plan_id")
	if err != nil {
		return p, err
	}
	list, err := c.Fleet.Plans(ctx, q.by, door)
	if err != nil {
		return p, err
	}
	i := slices.IndexFunc(list, func(one fleet.Plan) bool { return one.PlanID == id })
	if i < 0 {
		return p, fault.New(fault.NotFound, "route_not_found")
	}
	return list[i], nil
}

func (c *Console) planChange(ctx context.Context, q *request) (answer, error) {
	return c.planChangePage(ctx, q, form{}, http.StatusOK)
}

func (c *Console) planChangePage(ctx context.Context, q *request, f form, status int) (answer, error) {
	p, err := c.planOf(ctx, q)
	if err != nil {
		return nil, err
	}
	if f.values == nil {
		f = newForm(map[string]string{"/interval_months": strconv.Itoa(p.IntervalMonths), "/regime": string(p.Regime), "/tolerance_days": strconv.Itoa(p.ToleranceDays), "/grace_days": strconv.Itoa(p.GraceDays),
			"/lead_days": strconv.Itoa(p.LeadDays), "/anchor_on": p.AnchorOn.String(), "version": strconv.Itoa(p.Version)})
		if p.FixedMonth != 0 {
			f.values.Set("/fixed_month", strconv.Itoa(int(p.FixedMonth)))
		}
		if p.FromHandover {
			f.values.Set("/from_handover", "yes")
		}
	}
	return c.planPage(ctx, q, planFormData{Plan: p, DoorID: p.DoorID, Form: f}, status)
}

func (c *Console) planPut(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	present, err := c.planOf(ctx, q)
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	plan, version := r.plan(present.DoorID, present.PlanID), r.number("version")
	plan.Active, plan.Purpose = present.Active, present.Purpose
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutPlan(ctx, q.by, plan, version)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.planChangePage(ctx, q, f, status) })
	}
	return seeOther("/doors/" + present.DoorID.String() + "#work"), nil
}

type planTurnData struct {
	Plan  fleet.Plan
	Door  fleet.Name
	Start bool
	Form  form
}

// planTurnForm asks before a plan is stopped, or started again.
func (c *Console) planTurnForm(ctx context.Context, q *request) (answer, error) {
	return c.planTurnPage(ctx, q, form{}, http.StatusOK)
}

func (c *Console) planTurnPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	what := q.PathValue("what")
	if what != "stop" && what != "start" {
		return c.nowhere(ctx, q)
	}
	p, err := c.planOf(ctx, q)
	if err != nil {
		return nil, err
	}
	door, err := c.Fleet.Door(ctx, q.by, p.DoorID, fleet.AsOf{})
	if err != nil {
		return nil, err
	}
	if f.values == nil {
		f = newForm(map[string]string{"version": strconv.Itoa(p.Version)})
	}
	return page{name: "plan-turn", status: status, data: planTurnData{p, fleet.Name{Text: door.Name, Tag: door.Tag}, what == "start", f}}, nil
}

func (c *Console) planTurn(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	what := q.PathValue("what")
	if what != "stop" && what != "start" {
		return c.nowhere(ctx, q)
	}
	p, err := c.planOf(ctx, q)
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	version := r.number("version")
	p.Active = what == "start"
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutPlan(ctx, q.by, p, version)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.planTurnPage(ctx, q, f, status) })
	}
	return seeOther("/doors/" + p.DoorID.String() + "#work"), nil
}
