package fleet

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// What becomes of an order that a person made is what people say of it: a dispatcher who cancels it, ends it or opens it
// again, and whoever signs a visit that did it. All of it is kept, and the state is computed from the whole of it, so
// that a visit may be signed late and the order in which things arrive does not matter.

// OrderEvent is something that was said of a work order. It never changes.
type OrderEvent struct {
	CustomerID, SiteID, DoorID, WorkOrderID, EventID uuid.UUID
	Kind                                             string      // done, cancelled, reopened
	At                                               time.Time   // when it was said; of a visit when they left, but never after it was received
	DoneOn                                           duedate.Day // of done: the day at the site
	VisitID                                          *uuid.UUID  // of done: the signed visit; nil: a dispatcher said so
	Why                                              string
	RecordedAt                                       time.Time
	RecordedBy                                       uuid.UUID
}

// stateOf adds up what was said of an order. What lies before a reopening counts no more; work that was done was done,
// even if somebody cancelled the order; of several who did it the first counts.
func stateOf(said []OrderEvent) (state string, by *OrderEvent) {
	sorted := slices.SortedFunc(slices.Values(said), func(a, b OrderEvent) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(rankOf(a.Kind), rankOf(b.Kind)), strings.Compare(a.EventID.String(), b.EventID.String()))
	})
	state = "open"
	for i, e := range sorted {
		switch {
		case e.Kind == "reopened":
			state, by = "open", &sorted[i]
		case e.Kind == "done" && state != "done", e.Kind == "cancelled" && state == "open":
			state, by = e.Kind, &sorted[i]
		}
	}
	return state, by
}

// rankOf orders what was said in one moment: a reopening is an answer to the others.
func rankOf(kind string) int { return slices.Index([]string{"done", "cancelled", "reopened"}, kind) }

// with gives the order as it stands by what was said of it.
func (o WorkOrder) with(said []OrderEvent) WorkOrder {
	state, by := stateOf(said)
	o.State, o.DoneOn, o.DoneVisitID, o.StateAt, o.StateBy, o.StateWhy = state, duedate.Day{}, nil, nil, nil, ""
	if by != nil {
		o.DoneOn, o.DoneVisitID, o.StateAt, o.StateBy, o.StateWhy = by.DoneOn, by.VisitID, &by.At, &by.RecordedBy, by.Why
	}
	return o
}

// CancelWorkOrder ends an order without its being done.
func (f *Fleet) CancelWorkOrder(ctx context.Context, by identity.Actor, id uuid.UUID, why string, ifMatch int) (WorkOrder, error) {
	return f.decideOrder(ctx, by, OrderEvent{WorkOrderID: id, Kind: "cancelled", Why: why}, ifMatch)
}

// EndWorkOrder says that an order was done although no signed visit says so: by others, or before there was this
// register. An inspection is done only by being signed.
func (f *Fleet) EndWorkOrder(ctx context.Context, by identity.Actor, id uuid.UUID, on duedate.Day, why string, ifMatch int) (WorkOrder, error) {
	if on.IsZero() {
		return WorkOrder{}, fault.At("/done_on", "date_missing")
	}
	return f.decideOrder(ctx, by, OrderEvent{WorkOrderID: id, Kind: "done", DoneOn: on, Why: why}, ifMatch)
}

// ReopenWorkOrder opens an order again that was done or cancelled.
func (f *Fleet) ReopenWorkOrder(ctx context.Context, by identity.Actor, id uuid.UUID, why string, ifMatch int) (WorkOrder, error) {
	return f.decideOrder(ctx, by, OrderEvent{WorkOrderID: id, Kind: "reopened", Why: why}, ifMatch)
}

// decideOrder adds what a dispatcher decides to what was said of an order. The same again is success.
func (f *Fleet) decideOrder(ctx context.Context, by identity.Actor, e OrderEvent, ifMatch int) (saved WorkOrder, err error) {
	tidy(&e.Why)
	var faults fault.List
	checkText(&faults, "/reason", e.Why, 1, 2000)
	f.checkDay(&faults, "/done_on", e.DoneOn)
	if err := faults.Err(); err != nil {
		return WorkOrder{}, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		present, err := lockedOrder(ctx, tx, e.WorkOrderID)
		if err != nil {
			return err
		}
		if saved = present; present.saidLast(e) {
			return nil
		}
		if err := f.mayDecide(ctx, tx, present, e); err != nil {
			return err
		}
		if err := checkVersion(ifMatch, present.Version); err != nil {
			return err
		}
		said := e
		said.CustomerID, said.SiteID, said.DoorID, said.EventID = present.CustomerID, present.SiteID, present.DoorID, f.NewID()
		said.At, said.RecordedAt, said.RecordedBy = f.after(present.StateAt), f.Now(), by.PersonID
		if err := tx.InsertOrderEvent(ctx, said); err != nil {
			return err
		}
		if saved, err = f.follow(ctx, tx, present); err != nil {
			return err
		}
		if e.Kind == "cancelled" || present.PlanID == nil {
			return nil
		}
		if err := f.settleDoor(ctx, tx, by, present.DoorID); err != nil { // the plan moves on, or says whether it is wanted still
			return err
		}
		saved, err = tx.WorkOrderByID(ctx, e.WorkOrderID)
		return err
	})
	return saved, err
}

// after is now, but never before what was said last: clocks stand and go back.
func (f *Fleet) after(last *time.Time) time.Time {
	now := f.Now()
	if last != nil && !now.After(*last) {
		return last.Add(time.Microsecond)
	}
	return now
}

// lockedOrder gives an order under its door's lock: what visits add up to changes orders too.
func lockedOrder(ctx context.Context, tx Tx, id uuid.UUID) (WorkOrder, error) {
	present, err := tx.WorkOrderByID(ctx, id)
	if err != nil {
		return WorkOrder{}, err
	}
	if err := tx.LockDoor(ctx, present.DoorID); err != nil {
		return WorkOrder{}, err
	}
	return tx.WorkOrderByID(ctx, id)
}

// saidLast tells whether the order stands as it does because of these very words.
func (o WorkOrder) saidLast(e OrderEvent) bool {
	state := map[string]string{"done": "done", "cancelled": "cancelled", "reopened": "open"}[e.Kind]
	return o.State == state && o.StateAt != nil && o.StateWhy == e.Why && o.DoneOn == e.DoneOn && o.DoneVisitID == nil
}

func (f *Fleet) mayDecide(ctx context.Context, tx Tx, o WorkOrder, e OrderEvent) error {
	switch {
	case o.OriginVisitID != nil: // ends with its findings, and no other way
		return fault.New(fault.Conflict, "repair_is_derived")
	case e.Kind == "reopened" && o.State == "open":
		return fault.New(fault.Conflict, "work_order_open")
	case e.Kind == "reopened" && o.PlanID != nil && (o.State == "superseded" || o.State == "done" && needsInspection(o)), e.Kind == "done" && needsInspection(o):
		return fault.New(fault.Conflict, "ended_by_inspection")
	case e.Kind != "reopened" && o.State != "open":
		return fault.New(fault.Conflict, "work_order_closed")
	case e.Kind != "done":
		return nil
	}
	door, err := tx.DoorByID(ctx, o.DoorID, AsOf{})
	if err != nil {
		return err
	}
	switch today := duedate.DayIn(f.Now(), Site{TimeZone: o.TimeZone}.Location()); {
	case e.DoneOn.After(today):
		return fault.At("/done_on", "done_in_the_future", "day", today.String())
	case e.DoneOn.Before(door.KnownSince):
		return fault.At("/done_on", "before_the_door", "day", door.KnownSince.String())
	}
	return nil
}

// needsInspection tells whether only a signed conclusion can end the order.
func needsInspection(o WorkOrder) bool { return o.Kind == "inspection" || o.Kind == "handover" }

// follow writes an order as it stands by what was said of it. Whether a plan's order that is open again is wanted
// still is for its plan to say: until then it is superseded, so that no two of a plan are open.
func (f *Fleet) follow(ctx context.Context, tx Tx, present WorkOrder) (WorkOrder, error) {
	events, err := tx.OrderEvents(ctx, present.DoorID)
	if err != nil {
		return WorkOrder{}, err
	}
	changed := present.with(eventsOf(present, events, nil))
	if changed.PlanID != nil && changed.State == "open" {
		changed.State = "superseded"
	}
	return changed, f.writeState(ctx, tx, present, &changed)
}

// writeState writes another state of an order as its next version, recorded by whoever caused it.
func (f *Fleet) writeState(ctx context.Context, tx Tx, present WorkOrder, changed *WorkOrder) error {
	if sameOrder(*changed, present) {
		return nil
	}
	changed.Version++
	if err := tx.UpdateWorkOrder(ctx, *changed, f.Now()); err != nil {
		return err
	}
	by := identity.Program() // a statement was taken back
	if changed.StateBy != nil {
		by.PersonID = *changed.StateBy
	}
	return f.record(ctx, tx, by, "work_order", changed.WorkOrderID, *changed)
}

// eventsOf picks what counts of an order. Of an inspection or a handover "done" counts only with the conclusion that the
// same visit signed: completed gives those.
func eventsOf(o WorkOrder, events []OrderEvent, completed []Completion) []OrderEvent {
	var counting []OrderEvent
	for _, e := range events {
		ended := e.VisitID == nil || !needsInspection(o) || slices.ContainsFunc(completed, func(c Completion) bool {
			return c.VisitID == *e.VisitID && (c.Passed || o.Kind == "inspection")
		})
		if e.WorkOrderID == o.WorkOrderID && ended {
			counting = append(counting, e)
		}
	}
	return counting
}

// settleOrders writes how the orders stand that people made for a door, and gives the day of its handover: the zero Day
// if there was none.
func (f *Fleet) settleOrders(ctx context.Context, tx Tx, doorID uuid.UUID, events []OrderEvent, completed []Completion) (handover duedate.Day, err error) {
	if len(events) == 0 {
		return duedate.Day{}, nil
	}
	orders, err := tx.OrdersByHand(ctx, doorID)
	if err != nil {
		return duedate.Day{}, err
	}
	for _, present := range orders {
		changed := present.with(eventsOf(present, events, completed))
		if err := f.writeState(ctx, tx, present, &changed); err != nil {
			return duedate.Day{}, err
		}
		if changed.Kind == "handover" && changed.DoneOn.After(handover) {
			handover = changed.DoneOn
		}
	}
	return handover, nil
}

// doneOrders gives the orders ending by word that the signer says are done, each of a door of the attendance. Who says
// nothing about it says that all are done that the attendance lists for doors where something was entered.
func doneOrders(ctx context.Context, tx Tx, v Visit, s SignOff, entries []Entry) ([]WorkOrder, error) {
	listed := map[uuid.UUID]uuid.UUID{} // order → door
	doors := doorsOf(entries)
	var ids []uuid.UUID
	for _, d := range v.Attendance.Doors {
		for _, id := range d.WorkOrders {
			listed[id] = d.DoorID
			if s.DoneOrders == nil && slices.Contains(doors, d.DoorID) {
				ids = append(ids, id)
			}
		}
	}
	if s.DoneOrders != nil {
		ids = s.DoneOrders
	}
	var done []WorkOrder
	for i, id := range ids {
		at := fmt.Sprintf("/done_orders/%d", i)
		if _, is := listed[id]; !is {
			return nil, fault.At(at, "order_not_listed")
		}
		o, err := tx.WorkOrderByID(ctx, id)
		if err != nil {
			return nil, err
		}
		ends, err := o.endedIn(entries)
		switch {
		case err != nil:
			return nil, err
		case ends:
			done = append(done, o)
		case s.DoneOrders == nil: // then it is not done
		case !o.EndsByWord():
			return nil, fault.At(at, "order_ends_by_entries")
		case o.Kind == "handover":
			return nil, fault.At(at, "handover_without_passed")
		default:
			return nil, fault.At(at, "inspection_without_conclusion")
		}
	}
	return done, nil
}

// endedIn tells whether a visit with these entries can have done the order.
func (o WorkOrder) endedIn(entries []Entry) (bool, error) {
	if !o.EndsByWord() || !needsInspection(o) {
		return o.EndsByWord(), nil
	}
	conclusion, ok, err := conclusionOf(o.DoorID, entries)
	return ok && (o.Kind == "inspection" || conclusion.Body.Conclusion.Result == "passed"), err
}

// signDone keeps what the signer says is done.
func (f *Fleet) signDone(ctx context.Context, tx Tx, v Visit, s SignOff, signed SignedRecord, site Site, done []WorkOrder) error {
	at := s.LeftAt
	if at.After(signed.ReceivedAt) {
		at = signed.ReceivedAt
	}
	for _, o := range done {
		visit := v.VisitID
		err := tx.InsertOrderEvent(ctx, OrderEvent{CustomerID: o.CustomerID, SiteID: o.SiteID, DoorID: o.DoorID, WorkOrderID: o.WorkOrderID, EventID: f.NewID(), Kind: "done",
			At: at, DoneOn: duedate.DayIn(s.LeftAt, site.Location()), VisitID: &visit, RecordedAt: signed.ReceivedAt, RecordedBy: signed.SignedBy})
		if err != nil {
			return err
		}
	}
	return nil
}

// OrderChange is a state that somebody gave an order, and the one before; nil before the first.
type OrderChange struct {
	At       time.Time
	PersonID uuid.UUID
	ChangeID uuid.UUID
	Before   *WorkOrder
	After    WorkOrder
}

// ChangeQuery asks for the states that one thing was given, the newest first.
type ChangeQuery struct {
	SubjectKind string
	SubjectID   uuid.UUID
	BeforeAt    time.Time // zero: from the newest on
	BeforeID    uuid.UUID
	Limit       int
}

// WorkOrderHistory tells who changed what of an order, the newest first. It is for the company's own people.
func (f *Fleet) WorkOrderHistory(ctx context.Context, by identity.Actor, q ChangeQuery) (list []OrderChange, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		present, err := tx.WorkOrderByID(ctx, q.SubjectID)
		if err != nil {
			return err
		}
		q := q
		q.SubjectKind = "work_order"
		q.Limit++ // one more: what the oldest of the page changed
		changes, err := tx.ChangesOf(ctx, q)
		if err != nil {
			return err
		}
		list, err = orderChanges(changes, present.TimeZone)
		if len(list) == q.Limit {
			list = list[:q.Limit-1]
		}
		return err
	})
	return list, err
}

// orderChanges reads states that are kept as JSON and lays each beside the one before.
func orderChanges(changes []Change, zone string) ([]OrderChange, error) {
	list := make([]OrderChange, len(changes))
	for i, c := range changes {
		list[i] = OrderChange{At: c.At, PersonID: c.PersonID, ChangeID: c.ChangeID}
		body, ok := c.Body.(json.RawMessage)
		if !ok {
			return nil, fmt.Errorf("change %s: its body is %T", c.ChangeID, c.Body)
		}
		if err := json.Unmarshal(body, &list[i].After); err != nil {
			return nil, fmt.Errorf("change %s: %w", c.ChangeID, err)
		}
		list[i].After.TimeZone = zone
		if i > 0 {
			list[i-1].Before = &list[i].After
		}
	}
	return list, nil
}
