package fleet

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// SuspensionEvent is something that was said of a suspension of a plan. It never changes.
type SuspensionEvent struct {
	CustomerID, SiteID, DoorID, PlanID, EventID, SuspensionID uuid.UUID
	Kind                                                      string      // suspended: its first, whose id is the suspension's; resumed
	FromOn                                                    duedate.Day // suspended: the first day; resumed: the first day on which the plan goes on
	UntilOn                                                   duedate.Day `json:",omitzero"` // suspended: the last day
	Reason                                                    string      // suspended: door_out_of_use, building_closed, season, other
	Why                                                       string
	RecordedAt                                                time.Time
	RecordedBy                                                uuid.UUID
}

// Suspension is a time in which nothing of a plan becomes due and no work order is made. A date that falls into it is due on the first day after it: a
// door is inspected before it goes back into use. What was due before stays due. Whether a door may stand unused without its inspection is for the
// local code to say.
type Suspension struct {
	SuspensionEvent                   // how it began
	Events          []SuspensionEvent // that it goes on earlier, by when it was said
	Span            duedate.Span      // what all of it comes to; until a day before its first where it was taken back
}

// suspensionsOf adds up what was said of the suspensions of a plan: each ends on its last day or before the earliest day on which somebody said
// that it goes on. It is a function of the set.
func suspensionsOf(said []SuspensionEvent) (list []Suspension) {
	for _, e := range said {
		if e.Kind == "suspended" {
			list = append(list, Suspension{SuspensionEvent: e, Span: duedate.Span{From: e.FromOn, Until: e.UntilOn}})
		}
	}
	slices.SortFunc(list, func(a, b Suspension) int {
		return cmp.Or(a.FromOn.Compare(b.FromOn), strings.Compare(a.EventID.String(), b.EventID.String()))
	})
	for i := range list {
		s := &list[i]
		for _, e := range said {
			if e.Kind != "resumed" || e.SuspensionID != s.EventID {
				continue
			}
			s.Events = append(s.Events, e)
			if last := e.FromOn.AddDays(-1); last.Before(s.Span.Until) {
				s.Span.Until = last
			}
		}
		slices.SortFunc(s.Events, func(a, b SuspensionEvent) int {
			return cmp.Or(a.RecordedAt.Compare(b.RecordedAt), strings.Compare(a.EventID.String(), b.EventID.String()))
		})
		if s.Span.Until.Before(s.Span.From) {
			s.Span.Until = s.Span.From.AddDays(-1)
		}
	}
	return list
}

// spansOf gives the days of suspensions that took place.
func spansOf(list []Suspension) (spans []duedate.Span) {
	for _, s := range list {
		if !s.Span.Until.Before(s.Span.From) {
			spans = append(spans, s.Span)
		}
	}
	return spans
}

type suspensionRows interface {
	// SuspensionEvents gives what was said of the suspensions of a plan, by when it was recorded.
	SuspensionEvents(ctx context.Context, planID uuid.UUID) ([]SuspensionEvent, error)
	// InsertSuspensionEvent answers false when the id is taken.
	InsertSuspensionEvent(ctx context.Context, e SuspensionEvent) (bool, error)
	SetSuspended(ctx context.Context, planID uuid.UUID, spans []duedate.Span) error
}

// mostSuspendedMonths is how long one suspension may be: a door that is forgotten comes back. Common practice, no source.
const mostSuspendedMonths = 24

// SuspendPlan suspends a plan from a day until another; sent again it changes nothing.
func (f *Fleet) SuspendPlan(ctx context.Context, by identity.Actor, e SuspensionEvent) (s Suspension, created bool, err error) {
	e.Kind, e.SuspensionID = "suspended", e.EventID
	tidy(&e.Why)
	var faults fault.List
	for pointer, day := range map[string]duedate.Day{"/from": e.FromOn, "/until": e.UntilOn} {
		if day.IsZero() {
			faults.Add(pointer, "date_missing")
		}
		f.checkDay(&faults, pointer, day)
	}
	if most := e.FromOn.AddMonths(mostSuspendedMonths); faults == nil && (e.UntilOn.Before(e.FromOn) || e.UntilOn.After(most)) {
		faults.Add("/until", "suspension_out_of_range", "first", e.FromOn.String(), "last", most.String())
	}
	checkOneOf(&faults, "/reason", e.Reason, "door_out_of_use", "building_closed", "season", "other")
	checkText(&faults, "/why", e.Why, 1, 500)
	if err := faults.Err(); err != nil {
		return s, false, err
	}
	return f.sayOfSuspension(ctx, by, e, func([]Suspension) error { return nil })
}

// ResumePlan says from which day on a suspended plan goes on, earlier than was said; on its first day or before the suspension is taken back.
func (f *Fleet) ResumePlan(ctx context.Context, by identity.Actor, e SuspensionEvent) (s Suspension, created bool, err error) {
	e.Kind = "resumed"
	tidy(&e.Why)
	var faults fault.List
	if e.FromOn.IsZero() {
		faults.Add("/on", "date_missing")
	}
	f.checkDay(&faults, "/on", e.FromOn)
	checkText(&faults, "/why", e.Why, 1, 500)
	if err := faults.Err(); err != nil {
		return s, false, err
	}
	return f.sayOfSuspension(ctx, by, e, func(list []Suspension) error {
		i := slices.IndexFunc(list, func(s Suspension) bool { return s.EventID == e.SuspensionID })
		switch {
		case i < 0:
			return fault.New(fault.NotFound, "suspension_not_found")
		case e.FromOn.After(list[i].UntilOn):
			return fault.At("/on", "resumed_after_end", "day", list[i].UntilOn.String())
		}
		return nil
	})
}

// sayOfSuspension keeps what was said and settles the door by what it comes to.
func (f *Fleet) sayOfSuspension(ctx context.Context, by identity.Actor, e SuspensionEvent, check func([]Suspension) error) (s Suspension, created bool, err error) {
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if err := tx.LockDoor(ctx, e.DoorID); err != nil {
			return err
		}
		plan, err := tx.PlanByID(ctx, e.PlanID)
		switch {
		case err != nil:
			return err
		case plan.DoorID != e.DoorID:
			return fault.New(fault.NotFound, "plan_not_found")
		}
		said, err := tx.SuspensionEvents(ctx, e.PlanID)
		if err != nil {
			return err
		}
		if err := check(suspensionsOf(said)); err != nil {
			return err
		}
		e.CustomerID, e.SiteID, e.RecordedAt, e.RecordedBy = plan.CustomerID, plan.SiteID, f.Now(), by.PersonID
		if created, err = tx.InsertSuspensionEvent(ctx, e); err != nil {
			return err
		}
		if !created {
			i := slices.IndexFunc(said, func(o SuspensionEvent) bool { return o.EventID == e.EventID })
			if i < 0 || !said[i].says(e) {
				return fault.New(fault.Conflict, "suspension_differs")
			}
		}
		if created {
			said = append(said, e)
			if err := tx.SetSuspended(ctx, e.PlanID, spansOf(suspensionsOf(said))); err != nil {
				return err
			}
			if err := f.settleCalendarOf(ctx, tx, e.DoorID); err != nil {
				return err
			}
			if err := f.record(ctx, tx, by, "plan_suspension", e.EventID, e); err != nil {
				return err
			}
		}
		list := suspensionsOf(said)
		s = list[slices.IndexFunc(list, func(s Suspension) bool { return s.EventID == e.SuspensionID })]
		return nil
	})
	return s, created, err
}

// says tells whether two events say the same.
func (e SuspensionEvent) says(o SuspensionEvent) bool {
	return e.SuspensionID == o.SuspensionID && e.Kind == o.Kind && e.FromOn == o.FromOn && e.UntilOn == o.UntilOn && e.Reason == o.Reason && e.Why == o.Why
}

// Suspensions gives the suspensions of a plan by their first days, those that were taken back too.
func (f *Fleet) Suspensions(ctx context.Context, by identity.Actor, doorID, planID uuid.UUID) (list []Suspension, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		plan, err := tx.PlanByID(ctx, planID)
		switch {
		case err != nil:
			return err
		case plan.DoorID != doorID:
			return fault.New(fault.NotFound, "plan_not_found")
		}
		said, err := tx.SuspensionEvents(ctx, planID)
		list = suspensionsOf(said)
		return err
	})
	return list, err
}
