package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

type PlanBody struct {
	Purpose        string `json:"purpose,omitempty" enum:"inspection,fire_door,service" doc:"inspection if absent. What is done: a safety inspection, which a signed conclusion serves; the items of a fire door, or service, which are served when their order is said to be done. A door has one active plan for each; orders of several are made together where the tolerance of one has begun when that of another is made."`
	IntervalMonths int    `json:"interval_months" minimum:"1" maximum:"120"`
	Regime         string `json:"regime" enum:"anniversary,from_last,month_end,fixed_month" doc:"anniversary: on the day of anchor_on, every so many months; from_last: so many months after the last inspection; month_end: as from_last, to the end of the month; fixed_month: the end of one month, every so many years. A day that a month lacks becomes its last."`
	FixedMonth     int    `json:"fixed_month,omitempty" minimum:"1" maximum:"12" doc:"Of the regime fixed_month, whose interval_months must be divisible by 12."`
	ToleranceDays  int    `json:"tolerance_days" minimum:"0" maximum:"366" doc:"anniversary, fixed_month: an inspection so many days early still counts for its due date."`
	GraceDays      int    `json:"grace_days,omitempty" minimum:"0" maximum:"366" doc:"It is overdue only so many days after its due date, but no later than the longest interval allows."`
	LeadDays       int    `json:"lead_days" minimum:"0" maximum:"366" doc:"The work order is made so many days ahead."`
	AnchorOn       string `json:"anchor_on" format:"date" doc:"The first due date; of month_end and fixed_month it stands for the first end of such a month that is not before it."`
	FromHandover   bool   `json:"from_handover,omitempty" doc:"Count from the day of the door's handover as soon as that is done, and from anchor_on until then."`
	Active         bool   `json:"active"`
}

type planItem struct {
	PlanID uuid.UUID `json:"plan_id" format:"uuid"`
	DoorID uuid.UUID `json:"door_id" format:"uuid"`
	PlanBody
	NextDue       string     `json:"next_due" format:"date"`
	DueBy         string     `json:"due_by" format:"date" doc:"Until then next_due is served in time."`
	OrdersFrom    string     `json:"orders_from" format:"date" doc:"From then on its work order is made."`
	RegularDue    string     `json:"regular_due,omitempty" format:"date" doc:"What the regime alone would give: next_due was brought forward by the longest interval, or put off by a suspension."`
	LongestMonths int        `json:"longest_interval_months,omitempty" doc:"The most that may lie between two inspections by the rules that judge the door: a date that would come later is brought forward. Absent when none of them says."`
	Suspended     []spanItem `json:"suspended,omitempty" doc:"Days on which nothing becomes due: a date in one of them is due on the first day after it."`
	Version       int        `json:"version"`
}

type spanItem struct {
	From  string `json:"from" format:"date"`
	Until string `json:"until" format:"date"`
}

func newPlanItem(p fleet.Plan) planItem {
	item := planItem{PlanID: p.PlanID, DoorID: p.DoorID, NextDue: p.NextDue.String(), DueBy: p.DueBy.String(), OrdersFrom: p.OrdersFrom.String(), RegularDue: p.RegularDue.String(),
		LongestMonths: p.LongestMonths, Version: p.Version, PlanBody: PlanBody{Purpose: p.Purpose, IntervalMonths: p.IntervalMonths, Regime: string(p.Regime), FixedMonth: int(p.FixedMonth),
			ToleranceDays: p.ToleranceDays, GraceDays: p.GraceDays, LeadDays: p.LeadDays, AnchorOn: p.AnchorOn.String(), FromHandover: p.FromHandover, Active: p.Active}}
	for _, s := range p.Suspended {
		item.Suspended = append(item.Suspended, spanItem{s.From.String(), s.Until.String()})
	}
	return item
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
	Overdue      bool   `query:"overdue" doc:"Only those that can no more be served in time, by the day where the door is."`
	WithoutOrder bool   `query:"without_order" doc:"Only those for which no work order is open, because it was cancelled or its time has not come."`
}

type planDueOut struct {
	Body struct {
		Plans []planItem `json:"plans"`
		PageOut
	}
}

type SuspensionPath struct {
	DoorID       uuid.UUID `path:"door_id" format:"uuid"`
	PlanID       uuid.UUID `path:"plan_id" format:"uuid"`
	SuspensionID uuid.UUID `path:"suspension_id" format:"uuid"`
}

// suspensionBody is a time in which nothing of a plan becomes due.
type suspensionBody struct {
	From   string `json:"from" format:"date" doc:"The first day."`
	Until  string `json:"until" format:"date" doc:"The last day; a date between is due on the day after it."`
	Reason string `json:"reason" enum:"door_out_of_use,building_closed,season,other"`
	Why    string `json:"why" minLength:"1" maxLength:"500"`
}

type suspensionItem struct {
	SuspensionID uuid.UUID `json:"suspension_id" format:"uuid"`
	suspensionBody
	RecordedAt time.Time        `json:"recorded_at"`
	RecordedBy uuid.UUID        `json:"recorded_by" format:"uuid"`
	Resumed    []resumptionItem `json:"resumed,omitempty" doc:"That the plan goes on earlier: the earliest day counts."`
	Span       *spanItem        `json:"suspended,omitempty" doc:"The days that it comes to; absent when it was taken back."`
}

// resumptionBody says that a suspended plan goes on earlier than was said.
type resumptionBody struct {
	On  string `json:"on" format:"date" doc:"The first day on which the plan goes on; not after the suspension's last day. Its first day or earlier takes the suspension back."`
	Why string `json:"why" minLength:"1" maxLength:"500"`
}

type resumptionItem struct {
	ResumptionID uuid.UUID `json:"resumption_id" format:"uuid"`
	resumptionBody
	RecordedAt time.Time `json:"recorded_at"`
	RecordedBy uuid.UUID `json:"recorded_by" format:"uuid"`
}

func newSuspensionItem(s fleet.Suspension) suspensionItem {
	item := suspensionItem{SuspensionID: s.EventID, RecordedAt: s.RecordedAt, RecordedBy: s.RecordedBy,
		suspensionBody: suspensionBody{From: s.FromOn.String(), Until: s.UntilOn.String(), Reason: s.Reason, Why: s.Why}}
	for _, e := range s.Events {
		item.Resumed = append(item.Resumed, resumptionItem{ResumptionID: e.EventID, RecordedAt: e.RecordedAt, RecordedBy: e.RecordedBy, resumptionBody: resumptionBody{On: e.FromOn.String(), Why: e.Why}})
	}
	if !s.Span.Until.Before(s.Span.From) {
		item.Span = &spanItem{s.Span.From.String(), s.Span.Until.String()}
	}
	return item
}

type suspensionListIn struct {
	DoorID uuid.UUID `path:"door_id" format:"uuid"`
	PlanID uuid.UUID `path:"plan_id" format:"uuid"`
}

type suspensionListOut struct {
	Body struct {
		Suspensions []suspensionItem `json:"suspensions" doc:"By their first days."`
	}
}

type suspensionPutIn struct {
	SuspensionPath
	Body suspensionBody
}

type resumptionPutIn struct {
	SuspensionPath
	ResumptionID uuid.UUID `path:"resumption_id" format:"uuid"`
	Body         resumptionBody
}

type suspensionOut struct {
	Status int
	Body   suspensionItem
}

type dueOut struct {
	Body fleet.DueTold
}

func (a *API) plans() {
	add(a, operation("plan-due", http.MethodGet, "/v1/plans", identity.ActReadWork, "Active inspection plans by their next due day"), a.planDue)
	add(a, operation("plan-list", http.MethodGet, "/v1/doors/{door_id}/plans", identity.ActReadWork, "The inspection plans of a door"), a.planList)
	add(a, operation("plan-put", http.MethodPut, "/v1/doors/{door_id}/plans/{plan_id}", identity.ActPlanWork, "Make or change an inspection plan"), a.planPut)
	add(a, operation("suspension-list", http.MethodGet, "/v1/doors/{door_id}/plans/{plan_id}/suspensions", identity.ActReadWork, "When a plan is or was suspended"), a.suspensionList)
	add(a, operation("suspension-put", http.MethodPut, "/v1/doors/{door_id}/plans/{plan_id}/suspensions/{suspension_id}", identity.ActPlanWork, "Suspend a plan for some days: nothing of it becomes due and no work order is made. Never changes; sent again it is the same"), a.suspensionPut)
	add(a, operation("resumption-put", http.MethodPut, "/v1/doors/{door_id}/plans/{plan_id}/suspensions/{suspension_id}/resumptions/{resumption_id}", identity.ActPlanWork, "Say that a suspended plan goes on earlier, or take a suspension back"), a.resumptionPut)
	add(a, operation("due-explained", http.MethodGet, "/v1/doors/{door_id}/due", identity.ActReadWork, "When a door is due by each of its active plans for three years, and why"), a.dueExplained)
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
	p := fleet.Plan{DoorID: in.DoorID, PlanID: in.PlanID, Purpose: b.Purpose, IntervalMonths: b.IntervalMonths, Regime: duedate.Regime(b.Regime), FixedMonth: time.Month(b.FixedMonth),
		ToleranceDays: b.ToleranceDays, GraceDays: b.GraceDays, LeadDays: b.LeadDays, AnchorOn: read.day("/anchor_on", b.AnchorOn), FromHandover: b.FromHandover, Active: b.Active}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	saved, isNew, err := a.Fleet.PutPlan(ctx, by, p, version)
	if err != nil {
		return nil, err
	}
	return &planOut{Status: created(isNew), ETag: etag(saved.Version), Body: newPlanItem(saved)}, nil
}

func (a *API) suspensionList(ctx context.Context, by identity.Actor, in *suspensionListIn) (*suspensionListOut, error) {
	list, err := a.Fleet.Suspensions(ctx, by, in.DoorID, in.PlanID)
	if err != nil {
		return nil, err
	}
	out := &suspensionListOut{}
	out.Body.Suspensions = make([]suspensionItem, len(list))
	for i, s := range list {
		out.Body.Suspensions[i] = newSuspensionItem(s)
	}
	return out, nil
}

func (a *API) suspensionPut(ctx context.Context, by identity.Actor, in *suspensionPutIn) (*suspensionOut, error) {
	var read reader
	e := fleet.SuspensionEvent{DoorID: in.DoorID, PlanID: in.PlanID, EventID: in.SuspensionID, FromOn: read.day("/from", in.Body.From), UntilOn: read.day("/until", in.Body.Until),
		Reason: in.Body.Reason, Why: in.Body.Why}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	s, isNew, err := a.Fleet.SuspendPlan(ctx, by, e)
	if err != nil {
		return nil, err
	}
	return &suspensionOut{created(isNew), newSuspensionItem(s)}, nil
}

func (a *API) resumptionPut(ctx context.Context, by identity.Actor, in *resumptionPutIn) (*suspensionOut, error) {
	var read reader
	e := fleet.SuspensionEvent{DoorID: in.DoorID, PlanID: in.PlanID, SuspensionID: in.SuspensionID, EventID: in.ResumptionID, FromOn: read.day("/on", in.Body.On), Why: in.Body.Why}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	s, isNew, err := a.Fleet.ResumePlan(ctx, by, e)
	if err != nil {
		return nil, err
	}
	return &suspensionOut{created(isNew), newSuspensionItem(s)}, nil
}

func (a *API) dueExplained(ctx context.Context, by identity.Actor, in *DoorPath) (*dueOut, error) {
	e, err := a.Fleet.ExplainDue(ctx, by, in.DoorID)
	if err != nil {
		return nil, err
	}
	return &dueOut{e.Told(a.Words.Printer(by.Language, words.Units(by.Units)))}, nil
}
