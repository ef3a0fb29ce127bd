package fleet

import (
	"cmp"
	"context"
	"errors"
	"reflect"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// Plan says how often something is done at a door. A door has at most one for each purpose that is active.
type Plan struct {
	CustomerID, SiteID, DoorID, PlanID uuid.UUID
	Purpose                            string // one of PlanPurposes; it never changes
	IntervalMonths                     int
	Regime                             duedate.Regime
	FixedMonth                         time.Month  // of the regime fixed_month; 0 of the others
	ToleranceDays                      int         // an inspection so many days early still counts for its due date
	GraceDays                          int         // it is overdue only so many days after its due date
	LeadDays                           int         // the work order is made so many days ahead
	AnchorOn                           duedate.Day // the first due date, and what the later ones are counted from
	FromHandover                       bool        // counts from the day of the door's handover as soon as that is done, and from AnchorOn until then
	PlanDates
	Suspended  []duedate.Span // what its suspensions add up to, by their first days
	Active     bool
	Version    int
	RecordedAt time.Time
	RecordedBy uuid.UUID
}

// Inspection is the purpose of plans that signed conclusions serve; the others are served when their order is said to be done.
const Inspection = "inspection"

// PlanPurposes are what plans are for: safety inspections, the items of a fire door, service.
func PlanPurposes() []string { return []string{Inspection, "fire_door", "service"} }

// PlanDates are what follows from a plan, from its suspensions, from the completed inspections, and from the rules that judge its door.
type PlanDates struct {
	NextDue       duedate.Day
	RegularDue    duedate.Day `json:",omitzero"` // what the regime alone gives, where the longest interval or a suspension moved it
	DueBy         duedate.Day `json:",omitzero"` // until then NextDue is served in time
	OrdersFrom    duedate.Day `json:",omitzero"` // from then on its work order is made
	LongestMonths int         // the most that the door's rules allow between two inspections; 0: none says, or it is no plan of inspections
	BesideFrom    duedate.Day `json:",omitzero"` // from then on its work order is made with that of another plan of the door; zero: it is not
}

// Rule is the plan as internal/duedate computes with it.
func (p Plan) Rule() duedate.Plan {
	return duedate.Plan{Cycle: duedate.Cycle{Regime: p.Regime, EveryMonths: p.IntervalMonths, Anchor: p.AnchorOn, AnchorDue: true, FixedMonth: p.FixedMonth,
		ToleranceBeforeDays: p.ToleranceDays, LongestMonths: p.LongestMonths, Suspended: p.Suspended}, LeadDays: p.LeadDays, GraceDays: p.GraceDays}
}

// datesBy gives what follows from the plan when inspections were completed on these days.
func (p Plan) datesBy(done []duedate.Day) PlanDates {
	rule := p.Rule()
	due := rule.Next(done)
	dates := PlanDates{NextDue: due.On, DueBy: rule.DueBy(due), OrdersFrom: rule.OrderOn(due.On), LongestMonths: p.LongestMonths}
	switch {
	case !due.Capped.IsZero():
		dates.RegularDue = due.Capped
	case !due.Deferred.IsZero():
		dates.RegularDue = due.Deferred
	}
	return dates
}

// besideFrom is from when on its next date may be served at a visit for another plan: as soon as an inspection counts for it, where that is before its own
// order would be made, and it is not suspended.
func (p Plan) besideFrom(done []duedate.Day) duedate.Day {
	rule := p.Rule()
	from := rule.CountsFrom(rule.Next(done))
	if from = rule.Resumed(from); from.IsZero() || !from.Before(p.OrdersFrom) {
		return duedate.Day{}
	}
	return from
}

// countsOn is the day as of which an order for a period counts that was done on a day: what was done earlier than an inspection would count serves its own
// period all the same, for it is that order which was done.
func (p Plan) countsOn(period, done duedate.Day) duedate.Day {
	if from := p.Rule().CountsFrom(duedate.Due{On: period}); from.After(done) {
		return from
	}
	return done
}

// servedBy gives what was said to be done of the plan's orders; each counts for its own period at least, however early it was done.
func (p Plan) servedBy(orders []WorkOrder, events []OrderEvent) (list []Completion) {
	for _, o := range orders {
		if o.PlanID == nil || *o.PlanID != p.PlanID {
			continue
		}
		if state, by := stateOf(eventsOf(o, events, nil)); state == "done" {
			c := Completion{Day: by.DoneOn, CountsOn: p.countsOn(o.Period, by.DoneOn), EntryID: by.EventID, Passed: true}
			if by.VisitID != nil {
				c.VisitID = *by.VisitID
			}
			list = append(list, c)
		}
	}
	return list
}

// countedFrom is the plan as it counts once its door was handed over on a day; the zero Day: it was not.
func (p Plan) countedFrom(handover duedate.Day) Plan {
	if p.FromHandover && !handover.IsZero() {
		p.AnchorOn = handover
	}
	return p
}

// PlanQuery asks for active plans in the order of their next due days.
type PlanQuery struct {
	CustomerID, SiteID uuid.UUID              // zero for all
	DueUntil           duedate.Day            // zero: no bound
	Overdue            bool                   // only those that can no more be served in time, by the day at their site
	Today              map[string]duedate.Day // by time zone; the use-case fills it in for Overdue
	WithoutOrder       bool                   // only those for which no order is open: nobody is on the way
	AfterDay           duedate.Day
	AfterID            uuid.UUID
	Limit              int
}

type planRows interface {
	PlanPage(ctx context.Context, q PlanQuery) ([]Plan, error)
	PlanByID(ctx context.Context, id uuid.UUID) (Plan, error)
	// PlansOfDoor gives active and ended plans.
	PlansOfDoor(ctx context.Context, doorID uuid.UUID) ([]Plan, error)
	// InsertPlan answers false when the id is taken.
	InsertPlan(ctx context.Context, p Plan) (bool, error)
	UpdatePlan(ctx context.Context, p Plan) error
	SetPlanDates(ctx context.Context, planID uuid.UUID, d PlanDates) error
}

// PutPlan makes or changes the inspection plan of a door; the next due date follows from the inspections completed
// so far, in the same transaction.
func (f *Fleet) PutPlan(ctx context.Context, by identity.Actor, p Plan, ifMatch int) (saved Plan, created bool, err error) {
	p.Purpose = cmp.Or(p.Purpose, Inspection)
	if err := f.checkPlan(p); err != nil {
		return Plan{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if err := tx.LockDoor(ctx, p.DoorID); err != nil {
			return err
		}
		door, err := tx.DoorByID(ctx, p.DoorID, AsOf{})
		if err != nil {
			return err
		}
		p.CustomerID, p.SiteID = door.CustomerID, door.SiteID
		site, err := tx.SiteByID(ctx, door.SiteID)
		if err != nil {
			return err
		}
		longest, _, err := f.longestInterval(ctx, tx, p, door, site)
		if err != nil {
			return err
		}
		p.LongestMonths, p.Suspended = longest.Months, nil
		p.PlanDates = p.datesBy(nil)
		p.Version, p.RecordedAt, p.RecordedBy = 1, f.Now(), by.PersonID
		if created, err = tx.InsertPlan(ctx, p); err != nil {
			return err
		}
		if !created {
			present, err := tx.PlanByID(ctx, p.PlanID)
			if err != nil {
				return err
			}
			switch {
			case present.DoorID != p.DoorID:
				return fault.New(fault.Conflict, "plan_of_other_door")
			case present.Purpose != p.Purpose:
				return &fault.Error{Kind: fault.Conflict, Code: "plan_of_other_purpose", Pointer: "/purpose"}
			}
			changed := present
			changed.IntervalMonths, changed.Regime, changed.FixedMonth = p.IntervalMonths, p.Regime, p.FixedMonth
			changed.ToleranceDays, changed.GraceDays, changed.LeadDays = p.ToleranceDays, p.GraceDays, p.LeadDays
			changed.AnchorOn, changed.FromHandover, changed.Active = p.AnchorOn, p.FromHandover, p.Active
			if reflect.DeepEqual(changed, present) {
				saved = present
				return nil
			}
			if err := checkVersion(ifMatch, present.Version); err != nil {
				return err
			}
			changed.Version++
			if err := tx.UpdatePlan(ctx, changed); err != nil {
				return err
			}
		}
		if err := f.settleDoor(ctx, tx, by, p.DoorID); err != nil {
			return err
		}
		if saved, err = tx.PlanByID(ctx, p.PlanID); err != nil {
			return err
		}
		return f.record(ctx, tx, by, "plan", saved.PlanID, saved)
	})
	return saved, created, err
}

func (f *Fleet) checkPlan(p Plan) error {
	var faults fault.List
	checkOneOf(&faults, "/purpose", p.Purpose, PlanPurposes()...)
	if p.AnchorOn.IsZero() {
		faults.Add("/anchor_on", "date_missing")
	}
	f.checkDay(&faults, "/anchor_on", p.AnchorOn)
	var wrong *duedate.PlanFault
	if errors.As(p.Rule().Validate(), &wrong) {
		faults.Add("/"+wrong.Member, wrong.Code, "least", wrong.Least, "greatest", wrong.Greatest)
	}
	return faults.Err()
}

// DuePlans lists active plans by their next due day. An order that was cancelled leaves its plan due: what is overdue
// without an order is what nobody is on the way to.
func (f *Fleet) DuePlans(ctx context.Context, by identity.Actor, q PlanQuery) (list []Plan, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if q.Overdue {
			if q.Today, err = f.todays(ctx, tx); err != nil {
				return err
			}
		}
		list, err = tx.PlanPage(ctx, q)
		return err
	})
	return list, err
}

// Plans gives the inspection plans of a door.
func (f *Fleet) Plans(ctx context.Context, by identity.Actor, doorID uuid.UUID) (list []Plan, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if _, err := tx.DoorByID(ctx, doorID, AsOf{}); err != nil {
			return err
		}
		list, err = tx.PlansOfDoor(ctx, doorID)
		return err
	})
	return list, err
}
