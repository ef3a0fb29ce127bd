package console

import (
	"context"
	"net/http"

	"lintel.example/lintel/internal/fleet"
)

type suspensionsData struct {
	Plan   fleet.Plan
	Door   fleet.Name
	List   []fleet.Suspension
	Runs   []option // suspensions that may end earlier
	New    form
	Resume form
}

// suspensions shows when a plan is and was suspended, and asks for more.
func (c *Console) suspensions(ctx context.Context, q *request) (answer, error) {
	return c.suspensionsPage(ctx, q, form{}, form{}, http.StatusOK)
}

func (c *Console) suspensionsPage(ctx context.Context, q *request, suspend, resume form, status int) (answer, error) {
	p, err := c.planOf(ctx, q)
	if err != nil {
		return nil, err
	}
	door, err := c.Fleet.Door(ctx, q.by, p.DoorID, fleet.AsOf{})
	if err != nil {
		return nil, err
	}
	data := suspensionsData{Plan: p, Door: fleet.Name{Text: door.Name, Tag: door.Tag}, New: suspend, Resume: resume}
	if data.List, err = c.Fleet.Suspensions(ctx, q.by, p.DoorID, p.PlanID); err != nil {
		return nil, err
	}
	for _, s := range data.List {
		if !s.Span.Until.Before(s.Span.From) {
			data.Runs = append(data.Runs, option{Value: s.EventID.String(), Text: s.Says(q.texts)})
		}
	}
	if data.New.values == nil {
		data.New = newForm(map[string]string{"suspension_id": c.NewID().String(), "/reason": "door_out_of_use"})
	}
	if data.Resume.values == nil {
		data.Resume = newForm(map[string]string{"resumption_id": c.NewID().String()})
	}
	return page{name: "suspensions", status: status, data: data}, nil
}

func (c *Console) planSuspend(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	p, err := c.planOf(ctx, q)
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	e := fleet.SuspensionEvent{DoorID: p.DoorID, PlanID: p.PlanID, EventID: r.id("suspension_id"), FromOn: r.day("/from"), UntilOn: r.day("/until"), Reason: f.Value("/reason"), Why: f.Value("/why")}
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.SuspendPlan(ctx, q.by, e)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.suspensionsPage(ctx, q, f, form{}, status) })
	}
	return seeOther("/doors/" + p.DoorID.String() + "#work"), nil
}

func (c *Console) planResume(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	p, err := c.planOf(ctx, q)
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	e := fleet.SuspensionEvent{DoorID: p.DoorID, PlanID: p.PlanID, SuspensionID: r.id("suspension"), EventID: r.id("resumption_id"), FromOn: r.day("/on"), Why: f.Value("/why")}
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.ResumePlan(ctx, q.by, e)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.suspensionsPage(ctx, q, form{}, f, status) })
	}
	return seeOther("/doors/" + p.DoorID.String() + "#work"), nil
}

type dueData struct {
	fleet.DueTold
	DoorID string
}

// due says when a door is due, and why.
func (c *Console) due(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("door_id")
	if err != nil {
		return nil, err
	}
	e, err := c.Fleet.ExplainDue(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	return page{name: "due", data: dueData{e.Told(q.texts), id.String()}}, nil
}
