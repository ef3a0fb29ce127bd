package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type WorkOrderPath struct {
	WorkOrderID uuid.UUID `path:"work_order_id" format:"uuid"`
}

type workOrderItem struct {
	WorkOrderID   uuid.UUID  `json:"work_order_id" format:"uuid"`
	CustomerID    uuid.UUID  `json:"customer_id" format:"uuid"`
	SiteID        uuid.UUID  `json:"site_id" format:"uuid"`
	DoorID        uuid.UUID  `json:"door_id" format:"uuid"`
	Kind          string     `json:"kind" enum:"inspection,service,repair,call_out,accident,handover"`
	PlanID        *uuid.UUID `json:"plan_id,omitempty" format:"uuid"`
	Period        string     `json:"period,omitempty" format:"date" doc:"The due date of the plan that it stands for."`
	OriginVisitID *uuid.UUID `json:"origin_visit_id,omitempty" format:"uuid" doc:"The visit whose findings it mends."`
	DueOn         string     `json:"due_on" format:"date"`
	State         string     `json:"state" enum:"open,done,cancelled,superseded"`
	AssignedTo    *uuid.UUID `json:"assigned_to,omitempty" format:"uuid"`
	PlannedOn     string     `json:"planned_on,omitempty" format:"date"`
	Note          string     `json:"note,omitempty"`
	DoneOn        string     `json:"done_on,omitempty" format:"date"`
	DoneVisitID   *uuid.UUID `json:"done_visit_id,omitempty" format:"uuid"`
	Version       int        `json:"version"`
}

func newWorkOrderItem(o fleet.WorkOrder) workOrderItem {
	return workOrderItem{WorkOrderID: o.WorkOrderID, CustomerID: o.CustomerID, SiteID: o.SiteID, DoorID: o.DoorID, Kind: o.Kind, PlanID: o.PlanID, Period: o.Period.String(),
		OriginVisitID: o.OriginVisitID, DueOn: o.DueOn.String(), State: o.State, AssignedTo: o.AssignedTo, PlannedOn: o.PlannedOn.String(), Note: o.Note,
		DoneOn: o.DoneOn.String(), DoneVisitID: o.DoneVisitID, Version: o.Version}
}

type workOrderOut struct {
	Status int
	ETag   string `header:"ETag"`
	Body   workOrderItem
}

func newWorkOrderOut(o fleet.WorkOrder, isNew bool) *workOrderOut {
	return &workOrderOut{Status: created(isNew), ETag: etag(o.Version), Body: newWorkOrderItem(o)}
}

type workOrderListIn struct {
	PageIn
	State      string `query:"state" enum:"open,done,cancelled,superseded"`
	Kind       string `query:"kind" enum:"inspection,service,repair,call_out,accident,handover"`
	CustomerID string `query:"customer_id" format:"uuid"`
	SiteID     string `query:"site_id" format:"uuid"`
	DoorID     string `query:"door_id" format:"uuid"`
	AssignedTo string `query:"assigned_to" format:"uuid"`
	DueUntil   string `query:"due_until" format:"date"`
	Overdue    bool   `query:"overdue" doc:"Only open ones whose due day has passed where the door is."`
}

type workOrderListOut struct {
	Body struct {
		WorkOrders []workOrderItem `json:"work_orders"`
		PageOut
	}
}

type workOrderPutIn struct {
	WorkOrderPath
	IfMatch
	Body struct {
		DoorID uuid.UUID `json:"door_id" format:"uuid"`
		Kind   string    `json:"kind" enum:"inspection,service,repair,call_out,accident,handover"`
		DueOn  string    `json:"due_on" format:"date"`
		Note   string    `json:"note,omitempty" maxLength:"2000"`
	}
}

type workOrderAssignIn struct {
	WorkOrderPath
	IfMatch
	Body struct {
		AssignedTo *uuid.UUID `json:"assigned_to,omitempty" format:"uuid" doc:"A technician; absent takes the assignment back."`
		PlannedOn  string     `json:"planned_on,omitempty" format:"date"`
	}
}

type workOrderCancelIn struct {
	WorkOrderPath
	IfMatch
	Body struct {
		Reason string `json:"reason" minLength:"1" maxLength:"2000"`
	}
}

func (a *API) workOrders() {
	add(a, operation("work-order-list", http.MethodGet, "/v1/work-orders", identity.ActReadWork, "Work orders by due day"), a.workOrderList)
	add(a, operation("work-order-get", http.MethodGet, "/v1/work-orders/{work_order_id}", identity.ActReadWork, "One work order"), a.workOrderGet)
	add(a, operation("work-order-put", http.MethodPut, "/v1/work-orders/{work_order_id}", identity.ActPlanWork, "Make or change a work order by hand"), a.workOrderPut)
	add(a, operation("work-order-assign", http.MethodPut, "/v1/work-orders/{work_order_id}/assignment", identity.ActPlanWork, "Say who goes and when"), a.workOrderAssign)
	add(a, operation("work-order-cancel", http.MethodPut, "/v1/work-orders/{work_order_id}/cancellation", identity.ActPlanWork, "End a work order without its being done"), a.workOrderCancel)
}

// dayKey is the cursor of lists in the order of a day.
type dayKey struct {
	Day duedate.Day `json:"d"`
	ID  uuid.UUID   `json:"i"`
}

func (a *API) workOrderList(ctx context.Context, by identity.Actor, in *workOrderListIn) (*workOrderListOut, error) {
	var key dayKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	var read reader
	q := fleet.WorkOrderQuery{State: in.State, Kind: in.Kind, CustomerID: optionalID(in.CustomerID), SiteID: optionalID(in.SiteID), DoorID: optionalID(in.DoorID),
		Assigned: optionalID(in.AssignedTo), DueUntil: read.day("", in.DueUntil), Overdue: in.Overdue, AfterDay: key.Day, AfterID: key.ID, Limit: in.Limit}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	list, err := a.Fleet.WorkOrders(ctx, by, q)
	if err != nil {
		return nil, err
	}
	out := &workOrderListOut{}
	out.Body.WorkOrders = make([]workOrderItem, len(list))
	for i, o := range list {
		out.Body.WorkOrders[i] = newWorkOrderItem(o)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(dayKey{last.DueOn, last.WorkOrderID})
	}
	return out, nil
}

func (a *API) workOrderGet(ctx context.Context, by identity.Actor, in *WorkOrderPath) (*workOrderOut, error) {
	o, err := a.Fleet.WorkOrder(ctx, by, in.WorkOrderID)
	if err != nil {
		return nil, err
	}
	return newWorkOrderOut(o, false), nil
}

func (a *API) workOrderPut(ctx context.Context, by identity.Actor, in *workOrderPutIn) (*workOrderOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var read reader
	o := fleet.WorkOrder{WorkOrderID: in.WorkOrderID, DoorID: in.Body.DoorID, Kind: in.Body.Kind, DueOn: read.day("/due_on", in.Body.DueOn), Note: in.Body.Note}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	saved, isNew, err := a.Fleet.PutWorkOrder(ctx, by, o, version)
	if err != nil {
		return nil, err
	}
	return newWorkOrderOut(saved, isNew), nil
}

func (a *API) workOrderAssign(ctx context.Context, by identity.Actor, in *workOrderAssignIn) (*workOrderOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var read reader
	on := read.day("/planned_on", in.Body.PlannedOn)
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	saved, err := a.Fleet.AssignWorkOrder(ctx, by, in.WorkOrderID, in.Body.AssignedTo, on, version)
	if err != nil {
		return nil, err
	}
	return newWorkOrderOut(saved, false), nil
}

func (a *API) workOrderCancel(ctx context.Context, by identity.Actor, in *workOrderCancelIn) (*workOrderOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	saved, err := a.Fleet.CancelWorkOrder(ctx, by, in.WorkOrderID, in.Body.Reason, version)
	if err != nil {
		return nil, err
	}
	return newWorkOrderOut(saved, false), nil
}
