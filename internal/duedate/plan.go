package duedate

import (
	"fmt"
	"slices"
	"time"
)

// Plan is a Cycle by which a door is looked after: its anchor is the first due date (AnchorDue), and it says when the work order is made and from
// when it is late.
type Plan struct {
	Cycle
	LeadDays  int // the work order is made so many days before the due date
	GraceDays int // it is late so many days after the due date only
}

// PlanFault is what makes no sense in a plan: a member of it, why, and the bounds that it must keep to.
type PlanFault struct {
	Member          string // interval_months, regime, fixed_month, tolerance_days, lead_days, grace_days
	Code            string // out_of_range, regime_unknown, interval_in_years, fixed_month_missing, fixed_month_elsewhere, tolerance_without_anchor, lead_over_tolerance
	Least, Greatest int    // of out_of_range; of lead_over_tolerance the greatest is the tolerance
}

// Error implements error for logs.
func (f *PlanFault) Error() string {
	return fmt.Sprintf("%s: %s (%d to %d)", f.Member, f.Code, f.Least, f.Greatest)
}

const halfMonthDays, longestMonths, mostDays = 14, 120, 366

// Validate names the first member that makes no sense; the error is a *PlanFault. The numbers of days are bounded by half the interval (14
// days for each month, 366 at most), so that a day lies nearer to the due date that it serves than to the one before. The lead of a plan whose dates are counted
// from the anchor must not pass its tolerance: else a work order could be done on a day that does not count for its own
// period, and that period could never be closed.
func (p Plan) Validate() error {
	half := min(halfMonthDays*p.EveryMonths, mostDays)
	switch {
	case p.EveryMonths < 1 || p.EveryMonths > longestMonths:
		return &PlanFault{"interval_months", "out_of_range", 1, longestMonths}
	case !slices.Contains(CycleRegimes(), p.Regime):
		return &PlanFault{Member: "regime", Code: "regime_unknown"}
	case p.Regime == FixedMonth && p.EveryMonths%12 != 0:
		return &PlanFault{Member: "interval_months", Code: "interval_in_years"}
	case p.Regime == FixedMonth && (p.FixedMonth < time.January || p.FixedMonth > time.December):
		return &PlanFault{"fixed_month", "fixed_month_missing", 1, 12}
	case p.Regime != FixedMonth && p.FixedMonth != 0:
		return &PlanFault{Member: "fixed_month", Code: "fixed_month_elsewhere"}
	case p.ToleranceBeforeDays < 0 || p.ToleranceBeforeDays > half:
		return &PlanFault{"tolerance_days", "out_of_range", 0, half}
	case p.LeadDays < 0 || p.LeadDays > half:
		return &PlanFault{"lead_days", "out_of_range", 0, half}
	case p.GraceDays < 0 || p.GraceDays > half:
		return &PlanFault{"grace_days", "out_of_range", 0, half}
	case p.walks() && p.ToleranceBeforeDays != 0:
		return &PlanFault{Member: "tolerance_days", Code: "tolerance_without_anchor"}
	case !p.walks() && p.LeadDays > p.ToleranceBeforeDays:
		return &PlanFault{"lead_days", "lead_over_tolerance", 0, p.ToleranceBeforeDays}
	}
	return nil
}

// OrderOn is the first day on which the work order for a due date is made: the lead before it, at most half of what may lie between two
// inspections, and on no day of a suspension.
func (p Plan) OrderOn(due Day) Day {
	lead := p.LeadDays
	if p.LongestMonths > 0 {
		lead = min(lead, halfMonthDays*p.LongestMonths)
	}
	return p.Resumed(due.AddDays(-lead))
}

// DueBy is the last day on which a date is served in time: its grace later, but never later than the longest interval allows.
func (p Plan) DueBy(d Due) Day {
	by := d.On.AddDays(p.GraceDays)
	if !d.Latest.IsZero() && by.After(d.Latest) {
		return later(d.On, d.Latest)
	}
	return by
}

// CountsFrom is the first day on which an inspection serves a date: its tolerance before it where dates are counted from the anchor, and the zero Day,
// however early, where the inspection itself starts the count. What was put off by a suspension is served from the first day after it.
func (p Plan) CountsFrom(d Due) Day {
	switch {
	case !d.Deferred.IsZero():
		return d.On
	case p.walks() || !d.Capped.IsZero():
		return Day{}
	}
	return d.On.AddDays(-p.ToleranceBeforeDays)
}

// NamedNow gives the regime by its present name: records of before keep the former ones.
func (r Regime) NamedNow() Regime {
	switch r {
	case "anchored":
		return Anniversary
	case "from_completion":
		return FromLast
	}
	return r
}
