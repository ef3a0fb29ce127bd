package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type PlanBody struct {
	IntervalMonths int    `json:"interval_months" minimum:"1" maximum:"120"`
	Regime         string `json:"regime" enum:"anchored,from_completion" doc:"Anchored keeps the anniversary; from_completion counts from the last inspection."`
	ToleranceDays  int    `json:"tolerance_days" minimum:"0" maximum:"366" doc:"Anchored: an inspection so many days early still counts for its due date."`
	LeadDays       int    `json:"lead_days" minimum:"0" maximum:"366" doc:"The work order is made so many days ahead."`
	AnchorOn       string `json:"anchor_on" format:"date" doc:"The first due date."`
	FromHandover   bool   `json:"from_handover,omitempty" doc:"Count from the day of the door's handover as soon as that is done, and from anchor_on until then."`
	Active         bool   `json:"active"`
}

type planItem struct {
	PlanID uuid.UUID `json:"plan_id" format:"uuid"`
	DoorID uuid.UUID `json:"door_id" format:"uuid"`
	PlanBody
	NextDue string `json:"next_due" format:"date"`
	Version int    `json:"version"`
}

func newPlanItem(p fleet.Plan) planItem {
	return planItem{PlanID: p.PlanID, DoorID: p.DoorID, NextDue: p.NextDue.String(), Version: p.Version, PlanBody: PlanBody{IntervalMonths: p.IntervalMonths,
		Regime: string(p.Regime), ToleranceDays: p.ToleranceDays, LeadDays: p.LeadDays, AnchorOn: p.AnchorOn.String(), FromHandover: p.FromHandover, Active: p.Active}}
}

type planPutIn struct {
	DoorID uuid.UUID `path:"door_id" format:"uuid"`
	PlanID uuid.UUID `path:"plan_id" format:"uuid"`
	IfMatch
	Body PlanBody
}

type planOut struct {
	Status int
	ETag   string `header:"ETag"`
	Body   planItem
}

type planListOut struct {
	Body struct {
		Plans []planItem `json:"plans"`
	}
}

type planDueIn struct {
	PageIn
	CustomerID   string `query:"customer_id" format:"uuid"`
	SiteID       string `query:"site_id" format:"uuid"`
	DueUntil     string `query:"due_until" format:"date"`
	Overdue      bool   `query:"overdue" doc:"Only those whose next due day has passed where the door is."`
	WithoutOrder bool   `query:"without_order" doc:"Only those for which no work order is open, because it was cancelled or its time has not come."`
}

type planDueOut struct {
	Body struct {
		Plans []planItem `json:"plans"`
		PageOut
	}
}

func (a *API) plans() {
	add(a, operation("plan-due", http.MethodGet, "/v1/plans", identity.ActReadWork, "Active inspection plans by their next due day"), a.planDue)
	add(a, operation("plan-list", http.MethodGet, "/v1/doors/{door_id}/plans", identity.ActReadWork, "The inspection plans of a door"), a.planList)
	add(a, operation("plan-put", http.MethodPut, "/v1/doors/{door_id}/plans/{plan_id}", identity.ActPlanWork, "Make or change an inspection plan"), a.planPut)
}

func (a *API) planDue(ctx context.Context, by identity.Actor, in *planDueIn) (*planDueOut, error) {
	var key dayKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	var read reader
	q := fleet.PlanQuery{CustomerID: optionalID(in.CustomerID), SiteID: optionalID(in.SiteID), DueUntil: read.day("", in.DueUntil), Overdue: in.Overdue,
		WithoutOrder: in.WithoutOrder, AfterDay: key.Day, AfterID: key.ID, Limit: in.Limit}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	list, err := a.Fleet.DuePlans(ctx, by, q)
	if err != nil {
		return nil, err
	}
	out := &planDueOut{}
	out.Body.Plans = newPlanItems(list)
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(dayKey{last.NextDue, last.PlanID})
	}
	return out, nil
}

func newPlanItems(list []fleet.Plan) []planItem {
	items := make([]planItem, len(list))
	for i, p := range list {
		items[i] = newPlanItem(p)
	}
	return items
}

func (a *API) planList(ctx context.Context, by identity.Actor, in *DoorPath) (*planListOut, error) {
	list, err := a.Fleet.Plans(ctx, by, in.DoorID)
	if err != nil {
		return nil, err
	}
	out := &planListOut{}
	out.Body.Plans = newPlanItems(list)
	return out, nil
}

func (a *API) planPut(ctx context.Context, by identity.Actor, in *planPutIn) (*planOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var read reader
	b := in.Body
	p := fleet.Plan{DoorID: in.DoorID, PlanID: in.PlanID, IntervalMonths: b.IntervalMonths, Regime: duedate.Regime(b.Regime), ToleranceDays: b.ToleranceDays,
		LeadDays: b.LeadDays, AnchorOn: read.day("/anchor_on", b.AnchorOn), FromHandover: b.FromHandover, Active: b.Active}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	saved, isNew, err := a.Fleet.PutPlan(ctx, by, p, version)
	if err != nil {
		return nil, err
	}
	return &planOut{Status: created(isNew), ETag: etag(saved.Version), Body: newPlanItem(saved)}, nil
}
