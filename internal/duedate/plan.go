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

// Validate names the first member that makes no sense. The two numbers of days are bounded by half the interval (14
// days for each month), so that a day lies nearer to the due date that it serves than to the one before. An Anchored
// plan's lead must not pass its tolerance: else a work order could be done on a day that does not count for its own
// period, and that period could never be closed.
func (p Plan) Validate() error {
	const halfMonthDays, longestMonths = 14, 120
	switch {
	case p.IntervalMonths < 1 || p.IntervalMonths > longestMonths:
		return fmt.Errorf("interval_months: %d is not within 1 to %d", p.IntervalMonths, longestMonths)
	case p.Regime != Anchored && p.Regime != FromCompletion:
		return fmt.Errorf("regime: %s is neither %q nor %q", quoted(string(p.Regime)), Anchored, FromCompletion)
	case p.ToleranceBeforeDays < 0 || p.ToleranceBeforeDays > halfMonthDays*p.IntervalMonths:
		return fmt.Errorf("tolerance_before_days: %d is not within 0 to %d, half the interval", p.ToleranceBeforeDays, halfMonthDays*p.IntervalMonths)
	case p.LeadDays < 0 || p.LeadDays > halfMonthDays*p.IntervalMonths:
		return fmt.Errorf("lead_days: %d is not within 0 to %d, half the interval", p.LeadDays, halfMonthDays*p.IntervalMonths)
	case p.Regime == FromCompletion && p.ToleranceBeforeDays != 0:
		return fmt.Errorf("tolerance_before_days: %d has no meaning in regime %q, which counts from the day of the inspection", p.ToleranceBeforeDays, FromCompletion)
	case p.Regime == Anchored && p.LeadDays > p.ToleranceBeforeDays:
		return fmt.Errorf("lead_days: %d is more than tolerance_before_days, %d: an order done at once would not count for its due date", p.LeadDays, p.ToleranceBeforeDays)
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

// Period is the key of a plan's work order: the due date that it serves, never the day on which it was made.
func Period(due Day) string { return due.String() }

func later(a, b Day) Day {
	if a.After(b) {
		return a
	}
	return b
}
