package api

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"maps"
	"net/http"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type WorkOrderPath struct {
	WorkOrderID uuid.UUID `path:"work_order_id" format:"uuid"`
}

// WorkOrderBody is what people say of a work order.
type WorkOrderBody struct {
	DueOn               string     `json:"due_on,omitempty" format:"date" doc:"Absent: the day of respond_by at the site."`
	Note                string     `json:"note,omitempty" maxLength:"2000"`
	Caller              *caller    `json:"caller,omitempty" doc:"Who asked for the work."`
	Symptom             string     `json:"symptom,omitempty" maxLength:"2000" doc:"In the caller's words."`
	Priority            string     `json:"priority,omitempty" enum:"normal,urgent,emergency" doc:"Normal if absent."`
	ReceivedAt          *time.Time `json:"received_at,omitempty" doc:"When the call came in; absent: now, or as it was."`
	RespondBy           *time.Time `json:"respond_by,omitempty" doc:"By when somebody must be at the door; answered in the site's time zone."`
	ReportedUnsafe      bool       `json:"reported_unsafe,omitempty" doc:"The caller calls the door unsafe. It is a finding only when an inspector says so."`
	PeopleHurt          bool       `json:"people_hurt,omitempty"`
	Accident            *accident  `json:"accident,omitempty" doc:"Of an accident only, and always there."`
	BillingBasis        string     `json:"billing_basis,omitempty" enum:"unsettled,contract,warranty,time_and_material,insurance,goodwill" doc:"Unsettled if absent. It may be said of a closed order too."`
	CustomerOrderNumber string     `json:"customer_order_number,omitempty" maxLength:"100" doc:"The customer's own. It may be said of a closed order too."`
}

type caller struct {
	Name      string `json:"name,omitempty" maxLength:"200"`
	Telephone string `json:"telephone,omitempty" maxLength:"50" doc:"Shown to the company's own people only."`
	Role      string `json:"role,omitempty" maxLength:"100" doc:"What they are at the site."`
}

type accident struct {
	What        string `json:"what" minLength:"1" maxLength:"4000" doc:"What happened."`
	Told        string `json:"told,omitempty" maxLength:"1000" doc:"Who was told of it."`
	KeptAsFound *bool  `json:"kept_as_found,omitempty" doc:"The door is left as it was found until it has been looked at; absent: not known."`
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
	WorkOrderBody
	State       string     `json:"state" enum:"open,done,cancelled,superseded"`
	StateAt     *time.Time `json:"state_at,omitempty" doc:"When it was said that it stands so; absent where it follows from plans or findings."`
	StateBy     *uuid.UUID `json:"state_by,omitempty" format:"uuid"`
	StateWhy    string     `json:"state_why,omitempty"`
	AssignedTo  *uuid.UUID `json:"assigned_to,omitempty" format:"uuid"`
	PlannedOn   string     `json:"planned_on,omitempty" format:"date"`
	DoneOn      string     `json:"done_on,omitempty" format:"date"`
	DoneVisitID *uuid.UUID `json:"done_visit_id,omitempty" format:"uuid"`
	MadeBy      *uuid.UUID `json:"made_by,omitempty" format:"uuid" doc:"Absent: the program."`
	TimeZone    string     `json:"time_zone" doc:"The site's."`
	Cautions    []string   `json:"cautions,omitempty" doc:"What to mind, in the reader's language."`
	Version     int        `json:"version"`
}

func (a *API) newWorkOrderItem(by identity.Actor, o fleet.WorkOrder) workOrderItem {
	zone := fleet.Site{TimeZone: o.TimeZone}.Location()
	item := workOrderItem{WorkOrderID: o.WorkOrderID, CustomerID: o.CustomerID, SiteID: o.SiteID, DoorID: o.DoorID, Kind: o.Kind, PlanID: o.PlanID, Period: o.Period.String(),
		OriginVisitID: o.OriginVisitID, State: o.State, StateAt: o.StateAt, StateBy: o.StateBy, StateWhy: o.StateWhy, AssignedTo: o.AssignedTo, PlannedOn: o.PlannedOn.String(),
		DoneOn: o.DoneOn.String(), DoneVisitID: o.DoneVisitID, MadeBy: o.MadeBy, TimeZone: o.TimeZone, Version: o.Version,
		WorkOrderBody: WorkOrderBody{DueOn: o.DueOn.String(), Note: o.Note, Symptom: o.Symptom, Priority: o.Priority, ReceivedAt: inZone(o.ReceivedAt, zone),
			RespondBy: inZone(o.RespondBy, zone), ReportedUnsafe: o.ReportedUnsafe, PeopleHurt: o.PeopleHurt, Accident: (*accident)(o.Accident),
			BillingBasis: o.BillingBasis, CustomerOrderNumber: o.CustomerOrderNumber}}
	if o.Caller != (fleet.Caller{}) {
		c := caller(o.Caller)
		item.Caller = &c
	}
	for _, c := range []struct {
		key  string
		said bool
	}{{"accident", o.Kind == "accident"}, {"people_hurt", o.PeopleHurt}, {"reported_unsafe", o.ReportedUnsafe}, {"handover", o.Kind == "handover" && o.State == "open"}} {
		if c.said {
			item.Cautions = append(item.Cautions, a.text(by, "work_order.caution."+c.key))
		}
	}
	return item
}

// inZone shows an instant on the clock of a place.
func inZone(at *time.Time, zone *time.Location) *time.Time {
	if at == nil {
		return nil
	}
	there := at.In(zone)
	return &there
}

type workOrderOut struct {
	Status int
	ETag   string `header:"ETag"`
	Body   workOrderItem
}

func (a *API) newWorkOrderOut(by identity.Actor, o fleet.WorkOrder, isNew bool) *workOrderOut {
	return &workOrderOut{Status: created(isNew), ETag: etag(o.Version), Body: a.newWorkOrderItem(by, o)}
}

type workOrderListIn struct {
	PageIn
	State      string    `query:"state" enum:"open,done,cancelled,superseded"`
	Kind       string    `query:"kind" enum:"inspection,service,repair,call_out,accident,handover"`
	CustomerID string    `query:"customer_id" format:"uuid"`
	SiteID     string    `query:"site_id" format:"uuid"`
	DoorID     string    `query:"door_id" format:"uuid"`
	AssignedTo string    `query:"assigned_to" format:"uuid"`
	DueFrom    string    `query:"due_from" format:"date"`
	DueUntil   string    `query:"due_until" format:"date"`
	Overdue    bool      `query:"overdue" doc:"Only open ones whose due day has passed where the door is."`
	Planned    string    `query:"planned" enum:"yes,no" doc:"Only those with a planned day, or without."`
	Respond    time.Time `query:"respond_until" doc:"Only those that somebody must respond to until this instant."`
	Search     string    `query:"search" maxLength:"100" doc:"In note, symptom, caller's name and customer's order number."`
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
		WorkOrderBody
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

type workOrderReasonIn struct {
	WorkOrderPath
	IfMatch
	Body struct {
		Reason string `json:"reason" minLength:"1" maxLength:"2000"`
	}
}

type workOrderEndIn struct {
	WorkOrderPath
	IfMatch
	Body struct {
		DoneOn string `json:"done_on" format:"date"`
		Reason string `json:"reason" minLength:"1" maxLength:"2000" doc:"Why no signed visit says so."`
	}
}

type workOrderHistoryIn struct {
	WorkOrderPath
	PageIn
}

type workOrderHistoryOut struct {
	Body struct {
		Changes []orderChangeItem `json:"changes"`
		PageOut
	}
}

// orderChangeItem is who changed what of an order.
type orderChangeItem struct {
	At       time.Time      `json:"at"`
	PersonID uuid.UUID      `json:"person_id" format:"uuid"`
	Version  int            `json:"version" doc:"The version that it became by this."`
	Members  []memberChange `json:"members" doc:"Of the first version all that was said."`
}

type memberChange struct {
	Member string          `json:"member"`
	From   json.RawMessage `json:"from,omitempty" doc:"Absent: there was none."`
	To     json.RawMessage `json:"to,omitempty" doc:"Absent: there is none any more."`
}

type workOrderPartsOut struct {
	Body struct {
		Parts []partItem `json:"parts"`
	}
}

// partItem is a part as the office bills it.
type partItem struct {
	EntryID      uuid.UUID  `json:"entry_id" format:"uuid"`
	VisitID      uuid.UUID  `json:"visit_id" format:"uuid"`
	ObservedAt   time.Time  `json:"observed_at" doc:"On the clock of the site."`
	Signed       bool       `json:"signed" doc:"The visit is signed off."`
	Did          string     `json:"did" enum:"fitted,removed"`
	ComponentID  *uuid.UUID `json:"component_id,omitempty" format:"uuid"`
	Kind         string     `json:"kind"`
	Model        string     `json:"model,omitempty" doc:"Of the catalogue, or as it was written."`
	Serial       string     `json:"serial,omitempty"`
	Leaf         int        `json:"leaf,omitempty"`
	Side         string     `json:"side"`
	Quantity     int        `json:"quantity"`
	BillingBasis string     `json:"billing_basis" doc:"Said of the part, else that of the order."`
	Note         string     `json:"note,omitempty"`
}

func newPartItem(o fleet.WorkOrder, l fleet.PartOfOrder) partItem {
	p := l.Entry.Body.Part
	return partItem{EntryID: l.Entry.EntryID, VisitID: l.Entry.VisitID, ObservedAt: l.Entry.ObservedAt.In(fleet.Site{TimeZone: o.TimeZone}.Location()), Signed: l.Entry.Signed,
		Did: p.Did, ComponentID: p.ComponentID, Kind: p.Kind, Model: l.Model, Serial: l.Serial, Leaf: p.Leaf, Side: p.Side, Quantity: p.Quantity,
		BillingBasis: cmp.Or(p.BillingBasis, o.BillingBasis), Note: p.Note}
}

func (a *API) workOrders() {
	add(a, operation("work-order-list", http.MethodGet, "/v1/work-orders", identity.ActReadWork, "Work orders by due day"), a.workOrderList)
	add(a, operation("work-order-get", http.MethodGet, "/v1/work-orders/{work_order_id}", identity.ActReadWork, "One work order"), a.workOrderGet)
	add(a, operation("work-order-put", http.MethodPut, "/v1/work-orders/{work_order_id}", identity.ActPlanWork, "Make or change a work order by hand"), a.workOrderPut)
	add(a, operation("work-order-parts", http.MethodGet, "/v1/work-orders/{work_order_id}/parts", identity.ActReadWork, "What was fitted and taken out under a work order"), a.workOrderParts)
	add(a, operation("work-order-assign", http.MethodPut, "/v1/work-orders/{work_order_id}/assignment", identity.ActPlanWork, "Say who goes and when"), a.workOrderAssign)
	add(a, operation("work-order-cancel", http.MethodPut, "/v1/work-orders/{work_order_id}/cancellation", identity.ActPlanWork, "End a work order without its being done"), a.workOrderCancel)
	add(a, operation("work-order-end", http.MethodPut, "/v1/work-orders/{work_order_id}/completion", identity.ActPlanWork, "Say that a work order was done although no signed visit says so"), a.workOrderEnd)
	add(a, operation("work-order-reopen", http.MethodPut, "/v1/work-orders/{work_order_id}/reopening", identity.ActPlanWork, "Open a work order again"), a.workOrderReopen)
	add(a, operation("work-order-history", http.MethodGet, "/v1/work-orders/{work_order_id}/history", identity.ActReadOffice, "Who changed what of a work order, the newest first"), a.workOrderHistory)
}

// order reads what people say of an order.
func (b WorkOrderBody) order(read *reader) fleet.WorkOrder {
	o := fleet.WorkOrder{Note: b.Note, Symptom: b.Symptom, Priority: b.Priority, ReceivedAt: b.ReceivedAt, RespondBy: b.RespondBy, ReportedUnsafe: b.ReportedUnsafe,
		PeopleHurt: b.PeopleHurt, Accident: (*fleet.Accident)(b.Accident), BillingBasis: b.BillingBasis, CustomerOrderNumber: b.CustomerOrderNumber}
	if b.DueOn != "" {
		o.DueOn = read.day("/due_on", b.DueOn)
	}
	if b.Caller != nil {
		o.Caller = fleet.Caller(*b.Caller)
	}
	return o
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
		Assigned: optionalID(in.AssignedTo), DueFrom: read.day("", in.DueFrom), DueUntil: read.day("", in.DueUntil),
		RespondUntil: in.Respond, Planned: answer(in.Planned), Search: in.Search, Overdue: in.Overdue, AfterDay: key.Day, AfterID: key.ID, Limit: in.Limit}
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
		out.Body.WorkOrders[i] = a.newWorkOrderItem(by, o)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(dayKey{last.DueOn, last.WorkOrderID})
	}
	return out, nil
}

// answer reads yes or no; nil: not asked.
func answer(word string) *bool {
	yes := word == "yes"
	if word == "" {
		return nil
	}
	return &yes
}

func (a *API) workOrderGet(ctx context.Context, by identity.Actor, in *WorkOrderPath) (*workOrderOut, error) {
	o, err := a.Fleet.WorkOrder(ctx, by, in.WorkOrderID)
	if err != nil {
		return nil, err
	}
	return a.newWorkOrderOut(by, o, false), nil
}

func (a *API) workOrderParts(ctx context.Context, by identity.Actor, in *WorkOrderPath) (*workOrderPartsOut, error) {
	o, err := a.Fleet.WorkOrder(ctx, by, in.WorkOrderID)
	if err != nil {
		return nil, err
	}
	list, err := a.Fleet.PartsOfWorkOrder(ctx, by, in.WorkOrderID)
	if err != nil {
		return nil, err
	}
	out := &workOrderPartsOut{}
	out.Body.Parts = make([]partItem, len(list))
	for i, l := range list {
		out.Body.Parts[i] = newPartItem(o, l)
	}
	return out, nil
}

func (a *API) workOrderPut(ctx context.Context, by identity.Actor, in *workOrderPutIn) (*workOrderOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var read reader
	o := in.Body.order(&read)
	o.WorkOrderID, o.DoorID, o.Kind = in.WorkOrderID, in.Body.DoorID, in.Body.Kind
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	saved, isNew, err := a.Fleet.PutWorkOrder(ctx, by, o, version)
	if err != nil {
		return nil, err
	}
	return a.newWorkOrderOut(by, saved, isNew), nil
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
	return a.newWorkOrderOut(by, saved, false), nil
}

func (a *API) workOrderCancel(ctx context.Context, by identity.Actor, in *workOrderReasonIn) (*workOrderOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	saved, err := a.Fleet.CancelWorkOrder(ctx, by, in.WorkOrderID, in.Body.Reason, version)
	if err != nil {
		return nil, err
	}
	return a.newWorkOrderOut(by, saved, false), nil
}

func (a *API) workOrderEnd(ctx context.Context, by identity.Actor, in *workOrderEndIn) (*workOrderOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var read reader
	on := read.day("/done_on", in.Body.DoneOn)
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	saved, err := a.Fleet.EndWorkOrder(ctx, by, in.WorkOrderID, on, in.Body.Reason, version)
	if err != nil {
		return nil, err
	}
	return a.newWorkOrderOut(by, saved, false), nil
}

func (a *API) workOrderReopen(ctx context.Context, by identity.Actor, in *workOrderReasonIn) (*workOrderOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	saved, err := a.Fleet.ReopenWorkOrder(ctx, by, in.WorkOrderID, in.Body.Reason, version)
	if err != nil {
		return nil, err
	}
	return a.newWorkOrderOut(by, saved, false), nil
}

func (a *API) workOrderHistory(ctx context.Context, by identity.Actor, in *workOrderHistoryIn) (*workOrderHistoryOut, error) {
	var key instantKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, err := a.Fleet.WorkOrderHistory(ctx, by, fleet.ChangeQuery{SubjectID: in.WorkOrderID, BeforeAt: key.At, BeforeID: key.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &workOrderHistoryOut{}
	out.Body.Changes = make([]orderChangeItem, len(list))
	for i, c := range list {
		item := orderChangeItem{At: c.At, PersonID: c.PersonID, Version: c.After.Version}
		var before any
		if c.Before != nil {
			before = a.newWorkOrderItem(by, *c.Before)
		}
		if item.Members, err = memberChanges(before, a.newWorkOrderItem(by, c.After)); err != nil {
			return nil, err
		}
		out.Body.Changes[i] = item
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.At, last.ChangeID})
	}
	return out, nil
}

// memberChanges names the members in which two states differ, in the order of their names.
func memberChanges(before, after any) ([]memberChange, error) {
	var states [2]map[string]json.RawMessage
	for i, state := range []any{before, after} {
		text, err := json.Marshal(state)
		if err != nil {
			return nil, err
		}
		if err := json.Unmarshal(text, &states[i]); err != nil {
			return nil, err
		}
	}
	names := maps.Clone(states[1])
	if names == nil {
		names = map[string]json.RawMessage{}
	}
	maps.Copy(names, states[0])
	changes := []memberChange{}
	for _, name := range slices.Sorted(maps.Keys(names)) {
		from, to := states[0][name], states[1][name]
		if name != "version" && name != "cautions" && !bytes.Equal(from, to) {
			changes = append(changes, memberChange{name, from, to})
		}
	}
	return changes, nil
}
