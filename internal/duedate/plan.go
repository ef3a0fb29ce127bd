package duedate

import (
	"fmt"
	"slices"
)

// Regime says from what the next due date of a plan is counted.
type Regime string

const (
	// Anchored keeps all due dates on one anchor: anchor, anchor + 1 interval, anchor + 2 intervals and so on, whenever
	// the inspections were really done.
	Anchored Regime = "anchored"
	// FromCompletion counts the interval from the last inspection: for law that forbids more than an interval between
	// two inspections.
	FromCompletion Regime = "from_completion"
)

// Plan says how often a door is inspected.
type Plan struct {
	IntervalMonths      int    // months from one due date to the next, 1 to 120
	Regime              Regime // from what the interval is counted
	ToleranceBeforeDays int    // Anchored only: an inspection up to so many days before a due date counts for it
	LeadDays            int    // the work order is made so many days before the due date
}

// PlanFault is what makes no sense in a plan: a member of it, why, and the bounds that it must keep to.
type PlanFault struct {
	Member          string // interval_months, regime, tolerance_days, lead_days
	Code            string // out_of_range, regime_unknown, tolerance_without_anchor, lead_over_tolerance
	Least, Greatest int    // of out_of_range; of lead_over_tolerance the greatest is the tolerance
}

// Error implements error for logs.
func (f *PlanFault) Error() string {
	return fmt.Sprintf("%s: %s (%d to %d)", f.Member, f.Code, f.Least, f.Greatest)
}

// Validate names the first member that makes no sense; the error is a *PlanFault. The two numbers of days are bounded by half the interval (14
// days for each month), so that a day lies nearer to the due date that it serves than to the one before. An Anchored
// plan's lead must not pass its tolerance: else a work order could be done on a day that does not count for its own
// period, and that period could never be closed.
func (p Plan) Validate() error {
	const halfMonthDays, longestMonths = 14, 120
	half := halfMonthDays * p.IntervalMonths
	switch {
	case p.IntervalMonths < 1 || p.IntervalMonths > longestMonths:
		return &PlanFault{"interval_months", "out_of_range", 1, longestMonths}
	case p.Regime != Anchored && p.Regime != FromCompletion:
		return &PlanFault{Member: "regime", Code: "regime_unknown"}
	case p.ToleranceBeforeDays < 0 || p.ToleranceBeforeDays > half:
		return &PlanFault{"tolerance_days", "out_of_range", 0, half}
	case p.LeadDays < 0 || p.LeadDays > half:
		return &PlanFault{"lead_days", "out_of_range", 0, half}
	case p.Regime == FromCompletion && p.ToleranceBeforeDays != 0:
		return &PlanFault{Member: "tolerance_days", Code: "tolerance_without_anchor"}
	case p.Regime == Anchored && p.LeadDays > p.ToleranceBeforeDays:
		return &PlanFault{"lead_days", "lead_over_tolerance", 0, p.ToleranceBeforeDays}
	}
	return nil
}

// NextDue gives the date on which the next inspection is due, from the SET of the inspections that were completed:
// their order and repetitions do not matter, so an inspection that is uploaded late gives what it would have given in
// time. Only the latest one decides, so an older one that arrives afterwards changes nothing. plan must be valid.
//
// anchor is the first due date. A door whose history is unknown takes the day on which it was taken over, and is due
// at once. A door that is inspected at its handover takes that day, with the handover's inspection among completions,
// and is due one interval later.
//
//   - No inspection, in both regimes: the anchor.
//   - Anchored: the due dates are the anchor + k intervals. An inspection counts for the last due date whose window
//     has opened, ToleranceBeforeDays before it. On time, late, or early within the window: the next due date is one
//     interval after the one that it counts for, on the anchor's day. Late by more than an interval: due dates that
//     passed on the way are not made up for, the next is the first one whose window the inspection had not reached.
//     Earlier than the window: it does not count for that due date, which stays; an inspection before the anchor's own
//     window changes nothing. Two inspections that count are at most one interval and the tolerance apart.
//   - FromCompletion: the latest inspection + 1 interval, whether it was early, on time or late, but never before the
//     anchor.
func NextDue(plan Plan, anchor Day, completions []Day) Day {
	if len(completions) == 0 {
		return anchor
	}
	latest := slices.MaxFunc(completions, Day.Compare)
	if plan.Regime == FromCompletion {
		return later(anchor, latest.AddMonths(plan.IntervalMonths))
	}
	return plan.firstNotReached(anchor, latest)
}

// firstNotReached is the first due date of an Anchored plan whose window opens after the inspection.
func (p Plan) firstNotReached(anchor, inspection Day) Day {
	windowReaches := inspection.AddDays(p.ToleranceBeforeDays)
	if anchor.After(windowReaches) {
		return anchor
	}
	// Whole months between the two give the count of intervals to within one; the calendar settles the rest.
	months := (int(windowReaches.year)-int(anchor.year))*12 + int(windowReaches.month) - int(anchor.month)
	k := months / p.IntervalMonths
	due := anchor.AddMonths(k * p.IntervalMonths)
	for !due.After(windowReaches) && due != lastDay {
		k++
		due = anchor.AddMonths(k * p.IntervalMonths)
	}
	return due
}

// OrderOn is the day from which the work order for a due date is made.
func (p Plan) OrderOn(due Day) Day { return due.AddDays(-p.LeadDays) }

func later(a, b Day) Day {
	if a.After(b) {
		return a
	}
	return b
}
