package fleet

import (
	"context"
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
	Period                                  duedate.Day // the due date of the plan that it stands for; zero without a plan
	OriginVisitID                           *uuid.UUID  // the visit whose findings it mends
	DueOn                                   duedate.Day
	State                                   string // open, done, cancelled, superseded (made for a due date that is none any more)
	AssignedTo                              *uuid.UUID
	PlannedOn                               duedate.Day
	Note                                    string
	DoneOn                                  duedate.Day
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
	DueUntil                             duedate.Day // zero: no bound
	AfterDay                             duedate.Day
	AfterID                              uuid.UUID
	Limit                                int
}

type workOrderRows interface {
	WorkOrderByID(ctx context.Context, id uuid.UUID) (WorkOrder, error)
	WorkOrderPage(ctx context.Context, q WorkOrderQuery) ([]WorkOrder, error)
	InspectionOrders(ctx context.Context, doorID uuid.UUID) ([]WorkOrder, error)
	RepairOrders(ctx context.Context, doorID uuid.UUID) ([]WorkOrder, error)
	// InsertWorkOrder answers false when the id is taken.
	InsertWorkOrder(ctx context.Context, o WorkOrder) (bool, error)
	UpdateWorkOrder(ctx context.Context, o WorkOrder) error
	// UpsertRepairs writes corrective orders by their ids; what a dispatcher decided about one stays.
	UpsertRepairs(ctx context.Context, list []WorkOrder) error
	SetOrderStates(ctx context.Context, list []OrderState) error
	// TechnicianExists tells whether an enabled person of role technician has that id.
	TechnicianExists(ctx context.Context, id uuid.UUID) (bool, error)
	// InsertDueOrders makes the inspection orders of one page of active plans whose lead time has come, and gives
	// the last plan looked at; keyed by door, plan and period, so that no run makes one twice.
	InsertDueOrders(ctx context.Context, asOf duedate.Day, afterPlan uuid.UUID, limit int, at time.Time) (made int64, last uuid.UUID, looked int, err error)
}

// generationPage is how many plans one transaction looks at: what a kill loses at most.
const generationPage = 20000

// OpenDueWorkOrders makes the inspection order of every active plan whose due date, less its lead time, has come.
// It is a function of the day and of what is there: run twice, late, or by several at once, it gives the same orders.
func (f *Fleet) OpenDueWorkOrders(ctx context.Context, asOf duedate.Day) (made int64, err error) {
	var after uuid.UUID
	for {
		looked, page, last := 0, int64(0), after
		err := f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) (err error) {
			page, last, looked, err = tx.InsertDueOrders(ctx, asOf, after, generationPage, f.Now())
			return err
		})
		if err != nil {
			return made, err
		}
		made += page
		if looked < generationPage {
			return made, nil
		}
		after = last
	}
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
	if err := faults.Err(); err != nil {
		return WorkOrder{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		door, err := tx.DoorByID(ctx, o.DoorID, AsOf{})
		if err != nil {
			return fault.At("/door_id", "door_not_found").Because(err)
		}
		o.CustomerID, o.SiteID, o.State, o.Version, o.RecordedAt = door.CustomerID, door.SiteID, "open", 1, f.Now()
		saved = o
		if created, err = tx.InsertWorkOrder(ctx, o); err != nil || created {
			return err
		}
		saved, err = f.changeOrder(ctx, tx, o.WorkOrderID, ifMatch, func(present *WorkOrder) error {
			if present.DoorID != o.DoorID || present.Kind != o.Kind {
				return fault.New(fault.Conflict, "work_order_differs")
			}
			present.DueOn, present.Note = o.DueOn, o.Note
			return nil
		})
		return err
	})
	return saved, created, err
}

// changeOrder applies a change to an open order; no change is success whatever version was named.
func (f *Fleet) changeOrder(ctx context.Context, tx Tx, id uuid.UUID, ifMatch int, change func(*WorkOrder) error) (WorkOrder, error) {
	present, err := tx.WorkOrderByID(ctx, id)
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
	if present.State != "open" {
		return WorkOrder{}, fault.New(fault.Conflict, "work_order_closed")
	}
	if err := checkVersion(ifMatch, present.Version); err != nil {
		return WorkOrder{}, err
	}
	changed.Version++
	return changed, tx.UpdateWorkOrder(ctx, changed)
}

func sameOrder(a, b WorkOrder) bool {
	same := a.AssignedTo == b.AssignedTo || a.AssignedTo != nil && b.AssignedTo != nil && *a.AssignedTo == *b.AssignedTo
	return same && a.DueOn == b.DueOn && a.Note == b.Note && a.PlannedOn == b.PlannedOn && a.State == b.State
}

// AssignWorkOrder says who goes and when. Nobody and no day take an assignment back.
func (f *Fleet) AssignWorkOrder(ctx context.Context, by identity.Actor, id uuid.UUID, to *uuid.UUID, on duedate.Day, ifMatch int) (saved WorkOrder, err error) {
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if to != nil {
			is, err := tx.TechnicianExists(ctx, *to)
			if err != nil {
				return err
			}
			if !is {
				return fault.At("/assigned_to", "no_technician")
			}
		}
		saved, err = f.changeOrder(ctx, tx, id, ifMatch, func(o *WorkOrder) error {
			o.AssignedTo, o.PlannedOn = to, on
			return nil
		})
		return err
	})
	return saved, err
}

// CancelWorkOrder ends an order without its being done; why is kept in its note.
func (f *Fleet) CancelWorkOrder(ctx context.Context, by identity.Actor, id uuid.UUID, why string, ifMatch int) (saved WorkOrder, err error) {
	tidy(&why)
	var faults fault.List
	checkText(&faults, "/reason", why, 1, 2000)
	if err := faults.Err(); err != nil {
		return WorkOrder{}, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		saved, err = f.changeOrder(ctx, tx, id, ifMatch, func(o *WorkOrder) error {
			if o.OriginVisitID != nil {
				return fault.New(fault.Conflict, "repair_is_derived")
			}
			o.State, o.Note = "cancelled", why
			return nil
		})
		return err
	})
	return saved, err
}

// WorkOrder gives one work order.
func (f *Fleet) WorkOrder(ctx context.Context, by identity.Actor, id uuid.UUID) (o WorkOrder, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		o, err = tx.WorkOrderByID(ctx, id)
		return err
	})
	return o, err
}

// WorkOrders lists work orders by due day.
func (f *Fleet) WorkOrders(ctx context.Context, by identity.Actor, q WorkOrderQuery) (list []WorkOrder, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.WorkOrderPage(ctx, q)
		return err
	})
	return list, err
}
