package fleet

import (
	"cmp"
	"context"
	"reflect"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// WorkOrder is something to be done at a door. Orders come from plans, from findings and from people.
type WorkOrder struct {
	CustomerID, SiteID, DoorID, WorkOrderID uuid.UUID
	Kind                                    string // inspection, service, repair, call_out, accident, handover
	PlanID                                  *uuid.UUID
	Period                                  duedate.Day `json:",omitzero"` // the due date of the plan that it stands for; zero without a plan
	OriginVisitID                           *uuid.UUID  // the visit whose findings it mends
	DueOn                                   duedate.Day // until then it is done in time: of a plan the period's day, or as much later as the plan allows
	State                                   string      // open, done, cancelled, superseded (of a due date or a plan that is none any more)
	AssignedTo                              *uuid.UUID
	PlannedOn                               duedate.Day `json:",omitzero"`
	Note                                    string
	DoneOn                                  duedate.Day `json:",omitzero"`
	DoneVisitID                             *uuid.UUID
	Version                                 int
	RecordedAt                              time.Time
	MadeBy                                  *uuid.UUID // nil: the program

	Caller              Caller
	Symptom             string     // in the caller's words
	Priority            string     // normal, urgent, emergency: common practice, no source
	ReceivedAt          *time.Time // when the call came in
	RespondBy           *time.Time // by when somebody must be at the door
	ReportedUnsafe      bool       // by the caller: no finding, and no case, until an inspector says so
	PeopleHurt          bool
	Accident            *Accident
	BillingBasis        string // unsettled, contract, warranty, time_and_material, insurance, goodwill
	CustomerOrderNumber string

	// When, by whom and why the order came to be as it stands; nil and "" as long as nobody has said anything, and
	// where the state follows from plans or findings.
	StateAt  *time.Time
	StateBy  *uuid.UUID
	StateWhy string
	TimeZone string `json:"-"` // the site's: instants of the order are read in it
}

// Caller is who asked for the work.
type Caller struct {
	Name, Telephone, Role string
}

// Accident is what is known of an accident at a door before anybody has looked. Local law may require a report.
type Accident struct {
	What        string // what happened
	Told        string // who was told: authority, insurer, owner
	KeptAsFound *bool  // the door is left as it was found until it was looked at; nil: not known
}

// The words that people choose from.
func orderKinds() []string {
	return []string{"inspection", "service", "repair", "call_out", "accident", "handover"}
}
func priorities() []string { return []string{"normal", "urgent", "emergency"} }
func billingBases() []string {
	return []string{"unsettled", "contract", "warranty", "time_and_material", "insurance", "goodwill"}
}

// ByHand tells whether a person made the order: its state is then what people say of it.
func (o WorkOrder) ByHand() bool { return o.PlanID == nil && o.OriginVisitID == nil }

// EndsByWord tells whether the order is done when somebody says so; one of an inspection plan is by a signed conclusion, and a repair by its findings.
func (o WorkOrder) EndsByWord() bool { return o.ByHand() || o.PlanID != nil && !needsInspection(o) }

// OrderState is how an inspection order stands by the completed inspections.
type OrderState struct {
	WorkOrderID uuid.UUID
	State       string
	DueOn       duedate.Day
	DoneOn      duedate.Day
	DoneVisitID *uuid.UUID
}

// WorkOrderQuery asks for work orders in the order of their due days.
type WorkOrderQuery struct {
	State, Kind                          string // "" for all
	CustomerID, SiteID, DoorID, Assigned uuid.UUID
	DueFrom, DueUntil                    duedate.Day            // zero: no bound
	RespondUntil                         time.Time              // zero: no bound; otherwise only orders that somebody must respond to by then
	Planned                              *bool                  // with a planned day, or without
	Search                               string                 // in note, symptom, caller, and customer's order number
	Overdue                              bool                   // only open ones whose due day has passed at their site
	Today                                map[string]duedate.Day // by time zone; the use-case fills it in for Overdue
	AfterDay                             duedate.Day
	AfterID                              uuid.UUID
	Limit                                int
}

// CallOrder is an open order of a plan; those of one door are done at one call, where nothing is held against it.
type CallOrder struct {
	DoorID, WorkOrderID uuid.UUID
	Kind                string
	DueOn               duedate.Day
}

type workOrderRows interface {
	// CallOrders gives the open orders of the plans of doors, by their due days.
	CallOrders(ctx context.Context, doors []uuid.UUID) ([]CallOrder, error)
	WorkOrderByID(ctx context.Context, id uuid.UUID) (WorkOrder, error)
	WorkOrderPage(ctx context.Context, q WorkOrderQuery) ([]WorkOrder, error)
	ZonesInUse(ctx context.Context) ([]string, error)
	InspectionOrders(ctx context.Context, doorID uuid.UUID) ([]WorkOrder, error)
	RepairOrders(ctx context.Context, doorID uuid.UUID) ([]WorkOrder, error)
	// OrdersByHand gives the orders of a door that people made and of which something was said.
	OrdersByHand(ctx context.Context, doorID uuid.UUID) ([]WorkOrder, error)
	OrderEvents(ctx context.Context, doorID uuid.UUID) ([]OrderEvent, error)
	InsertOrderEvent(ctx context.Context, e OrderEvent) error
	// ChangesOf gives states that a thing was given, the newest first.
	ChangesOf(ctx context.Context, q ChangeQuery) ([]Change, error)
	// InsertWorkOrder answers false when the id is taken.
	InsertWorkOrder(ctx context.Context, o WorkOrder) (bool, error)
	UpdateWorkOrder(ctx context.Context, o WorkOrder, at time.Time) error
	// UpsertRepairs writes corrective orders by their ids; what a dispatcher decided about one stays.
	UpsertRepairs(ctx context.Context, list []WorkOrder, at time.Time) error
	// HoldPlans keeps the generation from making orders of a door until the transaction ends. Whoever moves due dates
	// or settles orders does it first, or an order is made for a due date that has just been served.
	HoldPlans(ctx context.Context, doorID uuid.UUID) error
	SetOrderStates(ctx context.Context, list []OrderState, at time.Time) error
	// TechnicianExists tells whether a person of role technician who may sign in at that time has that id.
	TechnicianExists(ctx context.Context, id uuid.UUID, at time.Time) (bool, error)
	// InsertDueOrders makes the orders of one page of active plans whose lead time has come, and with them those of the same doors' other plans that may
	// be served beside them; it gives the last plan of the page, and is keyed by door, plan and period, so that no run makes one twice.
	InsertDueOrders(ctx context.Context, asOf duedate.Day, after PlanKey, limit int, at time.Time) (made int64, last PlanKey, looked int, err error)
}

// PlanKey is an active plan: a door has one for each purpose.
type PlanKey struct {
	DoorID  uuid.UUID
	Purpose string
}

// generationPage is how many plans one transaction looks at: what a kill loses at most.
const generationPage = 20000

// OpenDueWorkOrders makes the order of every active plan whose due date, less its lead time, has come, and with it that of each other plan of the door
// whose tolerance has begun by then, so that one visit does both.
// It is a function of the day and of what is there: run twice, late, or by several at once, it gives the same orders.
// An order that a dispatcher cancelled is not made again.
func (f *Fleet) OpenDueWorkOrders(ctx context.Context, asOf duedate.Day) (made int64, err error) {
	var after, last PlanKey
	for looked := generationPage; looked == generationPage; after = last {
		var page int64
		err := f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) (err error) {
			page, last, looked, err = tx.InsertDueOrders(ctx, asOf, after, generationPage, f.Now())
			return err
		})
		if err != nil {
			return made, err
		}
		made += page
	}
	return made, nil
}

// PutWorkOrder makes a work order by hand, or changes what people say of it. Orders of plans and of findings are the
// program's own: their due days are derived. Who pays and under which number is often known only when all is done, so
// that may be said of a closed order too.
func (f *Fleet) PutWorkOrder(ctx context.Context, by identity.Actor, o WorkOrder, ifMatch int) (saved WorkOrder, created bool, err error) {
	o.tidy()
	if err := f.checkOrder(o); err != nil {
		return WorkOrder{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		door, err := tx.DoorByID(ctx, o.DoorID, AsOf{})
		if err != nil {
			return instead(err, fault.At("/door_id", "door_not_found"))
		}
		site, err := tx.SiteByID(ctx, door.SiteID)
		if err != nil {
			return err
		}
		put := o
		if err := put.fallDue(door, site); err != nil {
			return err
		}
		put.CustomerID, put.SiteID, put.State, put.Version, put.RecordedAt, put.MadeBy = door.CustomerID, door.SiteID, "open", 1, f.Now(), &by.PersonID
		if put.ReceivedAt == nil {
			put.ReceivedAt = copied(&put.RecordedAt)
		}
		if created, err = tx.InsertWorkOrder(ctx, put); err != nil {
			return err
		}
		if created {
			if o.WorkOrderID.Version() != 7 { // the program's own ids are of version 8: see the face
				return fault.New(fault.Invalid, "id_not_v7")
			}
			saved = put
			return f.record(ctx, tx, by, "work_order", put.WorkOrderID, put)
		}
		saved, err = f.changeOrder(ctx, tx, by, o.WorkOrderID, ifMatch, func(present *WorkOrder) error {
			switch {
			case present.DoorID != o.DoorID || present.Kind != o.Kind:
				return fault.New(fault.Conflict, "work_order_differs")
			case !present.ByHand() && present.DueOn != put.DueOn:
				return &fault.Error{Kind: fault.Conflict, Code: "due_day_is_derived", Pointer: "/due_on"}
			}
			present.say(put, o.ReceivedAt != nil)
			return nil
		})
		return err
	})
	return saved, created, err
}

// tidy brings texts and instants into one form and fills in what need not be said.
func (o *WorkOrder) tidy() {
	for _, text := range []*string{&o.Note, &o.Caller.Name, &o.Caller.Telephone, &o.Caller.Role, &o.Symptom, &o.CustomerOrderNumber} {
		tidy(text)
	}
	if o.Accident != nil {
		o.Accident = copied(o.Accident)
		tidy(&o.Accident.What)
		tidy(&o.Accident.Told)
	}
	o.Priority, o.BillingBasis = cmp.Or(o.Priority, "normal"), cmp.Or(o.BillingBasis, "unsettled")
	o.ReceivedAt, o.RespondBy = instantOf(o.ReceivedAt), instantOf(o.RespondBy)
}

// instantOf gives an instant as fine as the database keeps it.
func instantOf(at *time.Time) *time.Time {
	if at == nil {
		return nil
	}
	exact := at.UTC().Truncate(time.Microsecond)
	return &exact
}

func (f *Fleet) checkOrder(o WorkOrder) error {
	var faults fault.List
	checkOneOf(&faults, "/kind", o.Kind, orderKinds()...)
	checkOneOf(&faults, "/priority", o.Priority, priorities()...)
	checkOneOf(&faults, "/billing_basis", o.BillingBasis, billingBases()...)
	checkText(&faults, "/note", o.Note, 0, 2000)
	checkLine(&faults, "/caller/name", o.Caller.Name, 0, 200)
	checkLine(&faults, "/caller/telephone", o.Caller.Telephone, 0, 50)
	checkLine(&faults, "/caller/role", o.Caller.Role, 0, 100)
	checkText(&faults, "/symptom", o.Symptom, 0, 2000)
	checkLine(&faults, "/customer_order_number", o.CustomerOrderNumber, 0, 100)
	if o.DueOn.IsZero() && o.RespondBy == nil {
		faults.Add("/due_on", "date_missing")
	}
	f.checkDay(&faults, "/due_on", o.DueOn)
	if at := o.ReceivedAt; at != nil {
		f.checkInstant(&faults, "/received_at", *at)
		if at.After(f.Now().Add(5 * time.Minute)) { // two clocks are never quite the same
			faults.Add("/received_at", "received_in_the_future")
		}
	}
	if at := o.RespondBy; at != nil {
		f.checkInstant(&faults, "/respond_by", *at)
		if o.ReceivedAt != nil && at.Before(*o.ReceivedAt) {
			faults.Add("/respond_by", "respond_before_received")
		}
	}
	o.checkAccident(&faults)
	return faults.Err()
}

// checkAccident asks what happened where there was an accident, and nowhere else.
func (o WorkOrder) checkAccident(faults *fault.List) {
	switch {
	case o.Kind == "accident" && o.Accident == nil:
		faults.Add("/accident", "accident_missing")
	case o.Kind == "accident":
		checkText(faults, "/accident/what", o.Accident.What, 1, 4000)
		checkText(faults, "/accident/told", o.Accident.Told, 0, 1000)
	case o.Accident != nil:
		faults.Add("/accident", "accident_of_other_kind")
	case o.PeopleHurt:
		faults.Add("/people_hurt", "hurt_is_accident")
	}
}

// fallDue holds the due day against the door and against the time of response, which is a day at the site; where only
// the time of response is given, the order is due on its day.
func (o *WorkOrder) fallDue(door Door, site Site) error {
	o.TimeZone = site.TimeZone
	if o.RespondBy != nil {
		day := duedate.DayIn(*o.RespondBy, site.Location())
		if o.DueOn.IsZero() {
			o.DueOn = day
		}
		if o.DueOn.Before(day) {
			return fault.At("/due_on", "due_before_response", "day", day.String())
		}
	}
	if o.DueOn.Before(door.KnownSince) {
		return fault.At("/due_on", "before_the_door", "day", door.KnownSince.String())
	}
	return nil
}

// say takes over what people say of an order; when it was received stays unless that is said, too.
func (o *WorkOrder) say(put WorkOrder, received bool) {
	o.DueOn, o.Note, o.Caller, o.Symptom, o.Priority, o.RespondBy = put.DueOn, put.Note, put.Caller, put.Symptom, put.Priority, put.RespondBy
	o.ReportedUnsafe, o.PeopleHurt, o.Accident = put.ReportedUnsafe, put.PeopleHurt, put.Accident
	o.BillingBasis, o.CustomerOrderNumber = put.BillingBasis, put.CustomerOrderNumber
	if received {
		o.ReceivedAt = put.ReceivedAt
	}
}

// changeOrder applies what somebody decided about an open order; no change is success whatever version was named.
// The door is locked first: what visits add up to changes orders too.
func (f *Fleet) changeOrder(ctx context.Context, tx Tx, by identity.Actor, id uuid.UUID, ifMatch int, change func(*WorkOrder) error) (WorkOrder, error) {
	present, err := lockedOrder(ctx, tx, id)
	if err != nil {
		return WorkOrder{}, err
	}
	changed := present
	if err := change(&changed); err != nil {
		return WorkOrder{}, err
	}
	if sameOrder(changed, present) {
		return present, nil
	}
	settled := present // but for what may be said of a closed order
	settled.BillingBasis, settled.CustomerOrderNumber = changed.BillingBasis, changed.CustomerOrderNumber
	if present.State != "open" && !sameOrder(changed, settled) {
		return WorkOrder{}, fault.New(fault.Conflict, "work_order_closed")
	}
	if err := checkVersion(ifMatch, present.Version); err != nil {
		return WorkOrder{}, err
	}
	changed.Version++
	if err := tx.UpdateWorkOrder(ctx, changed, f.Now()); err != nil {
		return WorkOrder{}, err
	}
	return changed, f.record(ctx, tx, by, "work_order", id, changed)
}

// sameOrder tells whether two states of an order are the same to people.
func sameOrder(a, b WorkOrder) bool {
	for _, o := range []*WorkOrder{&a, &b} {
		o.Version, o.StateAt, o.ReceivedAt, o.RespondBy, o.RecordedAt = 0, instantOf(o.StateAt), instantOf(o.ReceivedAt), instantOf(o.RespondBy), time.Time{}
	}
	return reflect.DeepEqual(a, b)
}

// AssignWorkOrder says who goes and when. Nobody and no day take an assignment back.
func (f *Fleet) AssignWorkOrder(ctx context.Context, by identity.Actor, id uuid.UUID, to *uuid.UUID, on duedate.Day, ifMatch int) (saved WorkOrder, err error) {
	var faults fault.List
	f.checkDay(&faults, "/planned_on", on)
	if err := faults.Err(); err != nil {
		return WorkOrder{}, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if to != nil {
			is, err := tx.TechnicianExists(ctx, *to, f.Now())
			if err != nil {
				return err
			}
			if !is {
				return fault.At("/assigned_to", "no_technician")
			}
		}
		saved, err = f.changeOrder(ctx, tx, by, id, ifMatch, func(o *WorkOrder) error {
			o.AssignedTo, o.PlannedOn = to, on
			return nil
		})
		return err
	})
	return saved, err
}

// CallOrders gives the open orders of the plans of doors, by their due days: what one call at a door does.
func (f *Fleet) CallOrders(ctx context.Context, by identity.Actor, doors []uuid.UUID) (list []CallOrder, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.CallOrders(ctx, doors)
		return err
	})
	return list, err
}

// WorkOrder gives one work order.
func (f *Fleet) WorkOrder(ctx context.Context, by identity.Actor, id uuid.UUID) (o WorkOrder, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		o, err = tx.WorkOrderByID(ctx, id)
		return err
	})
	return o.shownTo(by), err
}

// shownTo leaves out what is for the company's own people: the telephone number of whoever called is personal data.
func (o WorkOrder) shownTo(by identity.Actor) WorkOrder {
	if !by.Role.Staff() {
		o.Caller.Telephone = ""
	}
	return o
}

// WorkOrders lists work orders by due day. An order is overdue when its due day has passed at its site: two sites can
// be on different days at one instant.
func (f *Fleet) WorkOrders(ctx context.Context, by identity.Actor, q WorkOrderQuery) (list []WorkOrder, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if q.Overdue {
			if q.Today, err = f.todays(ctx, tx); err != nil {
				return err
			}
		}
		list, err = tx.WorkOrderPage(ctx, q)
		return err
	})
	for i := range list {
		list[i] = list[i].shownTo(by)
	}
	return list, err
}

// todays tells which day it is in each time zone that has a site.
func (f *Fleet) todays(ctx context.Context, tx Tx) (map[string]duedate.Day, error) {
	zones, err := tx.ZonesInUse(ctx)
	if err != nil {
		return nil, err
	}
	todays := make(map[string]duedate.Day, len(zones))
	for _, zone := range zones {
		todays[zone] = duedate.DayIn(f.Now(), Site{TimeZone: zone}.Location())
	}
	return todays, nil
}
