package fleet

import (
	"context"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// WorkOrder is something to be done at a door.
type WorkOrder struct {
	CustomerID, SiteID, DoorID, WorkOrderID uuid.UUID
	Kind                                    string // inspection, service, repair, call_out, accident, handover
	PlanID                                  *uuid.UUID
	Period                                  duedate.Day `json:",omitzero"` // the due date of the plan that it stands for; zero without a plan
	OriginVisitID                           *uuid.UUID  // the visit whose findings it mends
	DueOn                                   duedate.Day
	State                                   string // open, done, cancelled, superseded (of a due date or a plan that is none any more)
	AssignedTo                              *uuid.UUID
	PlannedOn                               duedate.Day `json:",omitzero"`
	Note                                    string
	DoneOn                                  duedate.Day `json:",omitzero"`
	DoneVisitID                             *uuid.UUID
	Version                                 int
	RecordedAt                              time.Time
}

// OrderState is how an inspection order stands by the completed inspections.
type OrderState struct {
	WorkOrderID uuid.UUID
	State       string
	DoneOn      duedate.Day
	DoneVisitID *uuid.UUID
}

// WorkOrderQuery asks for work orders in the order of their due days.
type WorkOrderQuery struct {
	State, Kind                          string // "" for all
	CustomerID, SiteID, DoorID, Assigned uuid.UUID
	DueUntil                             duedate.Day            // zero: no bound
	Overdue                              bool                   // only open ones whose due day has passed at their site
	Today                                map[string]duedate.Day // by time zone; the use-case fills it in for Overdue
	AfterDay                             duedate.Day
	AfterID                              uuid.UUID
	Limit                                int
}

type workOrderRows interface {
	WorkOrderByID(ctx context.Context, id uuid.UUID) (WorkOrder, error)
	WorkOrderPage(ctx context.Context, q WorkOrderQuery) ([]WorkOrder, error)
	ZonesInUse(ctx context.Context) ([]string, error)
	InspectionOrders(ctx context.Context, doorID uuid.UUID) ([]WorkOrder, error)
	RepairOrders(ctx context.Context, doorID uuid.UUID) ([]WorkOrder, error)
	// InsertWorkOrder answers false when the id is taken.
	InsertWorkOrder(ctx context.Context, o WorkOrder) (bool, error)
	UpdateWorkOrder(ctx context.Context, o WorkOrder) error
	// UpsertRepairs writes corrective orders by their ids; what a dispatcher decided about one stays.
	UpsertRepairs(ctx context.Context, list []WorkOrder) error
	// HoldPlans keeps the generation from making orders of a door until the transaction ends. Whoever moves due dates
	// or settles orders does it first, or an order is made for a due date that has just been served.
	HoldPlans(ctx context.Context, doorID uuid.UUID) error
	SetOrderStates(ctx context.Context, list []OrderState) error
	// EndServedOrders ends those orders made by hand at a door that a visit served; the earliest visit counts.
	EndServedOrders(ctx context.Context, doorID uuid.UUID, ids []uuid.UUID, on duedate.Day, visitID uuid.UUID) error
	// TechnicianExists tells whether a person of role technician who may sign in at that time has that id.
	TechnicianExists(ctx context.Context, id uuid.UUID, at time.Time) (bool, error)
	// InsertDueOrders makes the inspection orders of one page of active plans whose lead time has come, by door, and
	// gives the last door looked at; keyed by door, plan and period, so that no run makes one twice.
	InsertDueOrders(ctx context.Context, asOf duedate.Day, afterDoor uuid.UUID, limit int, at time.Time) (made int64, last uuid.UUID, looked int, err error)
}

// generationPage is how many plans one transaction looks at: what a kill loses at most.
const generationPage = 20000

// OpenDueWorkOrders makes the inspection order of every active plan whose due date, less its lead time, has come.
// It is a function of the day and of what is there: run twice, late, or by several at once, it gives the same orders.
// An order that a dispatcher cancelled is not made again.
func (f *Fleet) OpenDueWorkOrders(ctx context.Context, asOf duedate.Day) (made int64, err error) {
	var after, last uuid.UUID
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

// PutWorkOrder makes a work order by hand, or changes its due day and note. Orders of plans and of findings are the
// program's own.
func (f *Fleet) PutWorkOrder(ctx context.Context, by identity.Actor, o WorkOrder, ifMatch int) (saved WorkOrder, created bool, err error) {
	tidy(&o.Note)
	var faults fault.List
	checkOneOf(&faults, "/kind", o.Kind, "inspection", "service", "repair", "call_out", "accident", "handover")
	checkText(&faults, "/note", o.Note, 0, 2000)
	if o.DueOn.IsZero() {
		faults.Add("/due_on", "date_missing")
	}
	f.checkDay(&faults, "/due_on", o.DueOn)
	if err := faults.Err(); err != nil {
		return WorkOrder{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		door, err := tx.DoorByID(ctx, o.DoorID, AsOf{})
		if err != nil {
			return instead(err, fault.At("/door_id", "door_not_found"))
		}
		if o.DueOn.Before(door.KnownSince) {
			return fault.At("/due_on", "before_the_door", "day", door.KnownSince.String())
		}
		o.CustomerID, o.SiteID, o.State, o.Version, o.RecordedAt = door.CustomerID, door.SiteID, "open", 1, f.Now()
		if created, err = tx.InsertWorkOrder(ctx, o); err != nil {
			return err
		}
		if created {
			if o.WorkOrderID.Version() != 7 { // the program's own ids are of version 8: see the face
				return fault.New(fault.Invalid, "id_not_v7")
			}
			saved = o
			return f.record(ctx, tx, by, "work_order", o.WorkOrderID, o)
		}
		saved, err = f.changeOrder(ctx, tx, by, o.WorkOrderID, ifMatch, func(present *WorkOrder) error {
			switch derived := present.PlanID != nil || present.OriginVisitID != nil; {
			case present.DoorID != o.DoorID || present.Kind != o.Kind:
				return fault.New(fault.Conflict, "work_order_differs")
			case derived && present.DueOn != o.DueOn:
				return &fault.Error{Kind: fault.Conflict, Code: "due_day_is_derived", Pointer: "/due_on"}
			}
			present.DueOn, present.Note = o.DueOn, o.Note
			return nil
		})
		return err
	})
	return saved, created, err
}

// changeOrder applies what somebody decided about an open order; no change is success whatever version was named.
// The door is locked first: what visits add up to changes orders too.
func (f *Fleet) changeOrder(ctx context.Context, tx Tx, by identity.Actor, id uuid.UUID, ifMatch int, change func(*WorkOrder) error) (WorkOrder, error) {
	present, err := tx.WorkOrderByID(ctx, id)
	if err != nil {
		return WorkOrder{}, err
	}
	if err := tx.LockDoor(ctx, present.DoorID); err != nil {
		return WorkOrder{}, err
	}
	if present, err = tx.WorkOrderByID(ctx, id); err != nil {
		return WorkOrder{}, err
	}
	changed := present
	if err := change(&changed); err != nil {
		return WorkOrder{}, err
	}
	if sameOrder(changed, present) {
		return present, nil
	}
	if present.State != "open" {
		return WorkOrder{}, fault.New(fault.Conflict, "work_order_closed")
	}
	if err := checkVersion(ifMatch, present.Version); err != nil {
		return WorkOrder{}, err
	}
	changed.Version++
	if err := tx.UpdateWorkOrder(ctx, changed); err != nil {
		return WorkOrder{}, err
	}
	return changed, f.record(ctx, tx, by, "work_order", id, changed)
}

func sameOrder(a, b WorkOrder) bool {
	same := a.AssignedTo == b.AssignedTo || a.AssignedTo != nil && b.AssignedTo != nil && *a.AssignedTo == *b.AssignedTo
	return same && a.DueOn == b.DueOn && a.Note == b.Note && a.PlannedOn == b.PlannedOn && a.State == b.State
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

// CancelWorkOrder ends an order without its being done; why is added to its note.
func (f *Fleet) CancelWorkOrder(ctx context.Context, by identity.Actor, id uuid.UUID, why string, ifMatch int) (saved WorkOrder, err error) {
	tidy(&why)
	var faults fault.List
	checkText(&faults, "/reason", why, 1, 2000)
	if err := faults.Err(); err != nil {
		return WorkOrder{}, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		saved, err = f.changeOrder(ctx, tx, by, id, ifMatch, func(o *WorkOrder) error {
			if o.OriginVisitID != nil {
				return fault.New(fault.Conflict, "repair_is_derived")
			}
			if o.State == "cancelled" && strings.HasSuffix(o.Note, why) {
				return nil
			}
			o.State, o.Note = "cancelled", strings.TrimSpace(o.Note+"\n"+why)
			return nil
		})
		return err
	})
	return saved, err
}

// endServed ends the orders made by hand that a signed visit served at a door. Those of plans and findings end by what
// the entries say.
func endServed(ctx context.Context, tx Tx, v Visit, doorID uuid.UUID, on duedate.Day) error {
	for _, d := range v.Attendance.Doors {
		if d.DoorID != doorID || len(d.WorkOrders) == 0 {
			continue
		}
		if err := tx.EndServedOrders(ctx, doorID, d.WorkOrders, on, v.VisitID); err != nil {
			return err
		}
	}
	return nil
}

// WorkOrder gives one work order.
func (f *Fleet) WorkOrder(ctx context.Context, by identity.Actor, id uuid.UUID) (o WorkOrder, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		o, err = tx.WorkOrderByID(ctx, id)
		return err
	})
	return o, err
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
