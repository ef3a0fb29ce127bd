package duedate

import (
	"fmt"
	"slices"
	"time"
)

// How a Cycle counts its dates.
const (
	// Anniversary counts every date from the anchor: anchor + 1 interval, anchor + 2 intervals and so on, so that the 31st comes back after a
	// short month.
	Anniversary Regime = "anniversary"
	// FromLast counts from the last inspection, and on from each date as if it were done on its day: for law that forbids more than an interval
	// between two. A date that a short month clamped stays where it is.
	FromLast Regime = "from_last"
	// MonthEnd is FromLast to the last day of the month: the calendar months of 14 CFR 91.409, whose intervals end with the month.
	MonthEnd Regime = "month_end"
	// FixedMonth is the last day of one month of the year, the first of them after the anchor.
	FixedMonth Regime = "fixed_month"
)

// CycleRegimes are the regimes of a Cycle.
func CycleRegimes() []Regime { return []Regime{Anniversary, FromLast, MonthEnd, FixedMonth} }

// Cycle says on which days something is due again and again.
type Cycle struct {
	Regime      Regime
	EveryMonths int // 1 to 1200; of FixedMonth a multiple of 12
	// Anchor is what the dates are counted from; it is no date itself.
	Anchor     Day
	FixedMonth time.Month // of that regime only
	// ToleranceBeforeDays is how early an inspection still satisfies a date, of Anniversary and FixedMonth; shorter than the interval.
	ToleranceBeforeDays int
}

// CycleFault is what makes no sense in a Cycle: the member and why.
type CycleFault struct{ Member, What string }

func (f *CycleFault) Error() string {
	if f.Member == "" {
		return f.What
	}
	return f.Member + ": " + f.What
}

// Validate names the first member that makes no sense; the error is a *CycleFault.
func (c Cycle) Validate() error {
	const mostMonths = 1200
	switch {
	case !slices.Contains(CycleRegimes(), c.Regime):
		return &CycleFault{"regime", fmt.Sprintf("must be one of %s, %s, %s and %s", Anniversary, FromLast, MonthEnd, FixedMonth)}
	case c.EveryMonths < 1 || c.EveryMonths > mostMonths:
		return &CycleFault{"every_months", fmt.Sprintf("must be a whole number from 1 to %d", mostMonths)}
	case c.Anchor.IsZero():
		return &CycleFault{"anchor", "is missing"}
	case c.Regime == FixedMonth && c.EveryMonths%12 != 0:
		return &CycleFault{"every_months", "must be divisible by 12 with the regime fixed_month"}
	case c.Regime == FixedMonth && (c.FixedMonth < time.January || c.FixedMonth > time.December):
		return &CycleFault{"fixed_month", "must be a whole number from 1 to 12 with the regime fixed_month"}
	case c.Regime != FixedMonth && c.FixedMonth != 0:
		return &CycleFault{"fixed_month", "goes with the regime fixed_month only"}
	case c.ToleranceBeforeDays < 0:
		return &CycleFault{"tolerance_before_days", "must not be negative"}
	case c.ToleranceBeforeDays >= shortest(c.EveryMonths):
		return &CycleFault{"tolerance_before_days", fmt.Sprintf("must be shorter than the interval: at most %d days", shortest(c.EveryMonths)-1)}
	}
	return nil
}

// shortest is how many days so many months have at least.
func shortest(months int) int {
	least := 0
	for from := range 12 {
		day := Day{2001, uint8(from + 1), 1} // the years after it up to 2004 have 365 days; longer spans hold a leap year wherever they begin
		if days := day.DaysUntil(day.AddMonths(months)); least == 0 || days < least {
			least = days
		}
	}
	return least
}

// Basis is what a date is counted from.
type Basis string

const (
	OfAnchor     Basis = "anchor"
	OfInspection Basis = "inspection"
	OfDate       Basis = "date" // the date before it
)

// Due is one date of a Cycle and how it came about.
type Due struct {
	On      Day
	From    Day
	Basis   Basis // what From is
	Months  int   // from From to On, before a day that the month lacks became its last
	Clamped bool  // the month lacks the day
	Last    Day   // the inspection that satisfied the dates before; the zero Day when there was none
	Early   int   // by how many days Last came before the date that it satisfied; 0 on the day and later
	Counted Day   // the date that Last satisfied; the zero Day when it satisfied none
	Missed  []Day // of the first date only: earlier ones that no inspection of their own period satisfied
}

// Dues gives the dates that are still due after the last of the inspections, up to and including a day, as if each were then done on its day. The
// inspections may come in any order and more than once. c must be valid.
//
//   - Anniversary, FixedMonth: an inspection satisfies every date up to the latest one whose tolerance before had begun by then; one before
//     the anchor satisfies nothing. Dates before its own period that had none are Missed.
//   - FromLast, MonthEnd: the last inspection starts the count, also one before the anchor; without any the anchor does.
func (c Cycle) Dues(done []Day, until Day) []Due {
	if c.Regime == FromLast || c.Regime == MonthEnd {
		return c.walk(done, until)
	}
	return c.grid(done, until)
}

// walk counts each date from the one before.
func (c Cycle) walk(done []Day, until Day) (list []Due) {
	from, basis, last := c.Anchor, OfAnchor, Day{}
	if len(done) > 0 {
		last = slices.MaxFunc(done, Day.Compare)
		from, basis = last, OfInspection
	}
	for {
		d := Due{From: from, Basis: basis, Months: c.EveryMonths, Last: last, On: from.AddMonths(c.EveryMonths)}
		if c.Regime == MonthEnd {
			d.On = d.On.monthEnd()
		} else {
			d.Clamped = d.On.day < from.day
		}
		if d.On.After(until) || !d.On.After(from) { // the calendar has an end
			return list
		}
		list = append(list, d)
		from, basis = d.On, OfDate
	}
}

// grid counts every date from the anchor.
func (c Cycle) grid(done []Day, until Day) (list []Due) {
	satisfied, own, last := 0, map[int]bool{}, Day{}
	for _, d := range done {
		if d.Before(c.Anchor) {
			continue
		}
		k := c.satisfiedOn(d)
		own[k] = true
		if satisfied = max(satisfied, k); d.After(last) {
			last = d
		}
	}
	first := Due{}
	for k := 1; k < satisfied; k++ {
		if !own[k] {
			first.Missed = append(first.Missed, c.date(k))
		}
	}
	for k := satisfied + 1; ; k++ {
		d := Due{On: c.date(k), From: c.Anchor, Basis: OfAnchor, Months: k * c.EveryMonths, Last: last}
		if d.On.After(until) || k > 1 && !d.On.After(c.date(k-1)) {
			return list
		}
		if c.Regime == Anniversary {
			d.Clamped = d.On.day < c.Anchor.day
		} else {
			d.Months -= c.EveryMonths
		}
		if satisfied > 0 {
			d.Counted = c.date(satisfied)
			d.Early = max(0, last.DaysUntil(d.Counted))
		}
		if len(list) == 0 {
			d.Missed = first.Missed
		}
		list = append(list, d)
	}
}

// date is the k-th date of a cycle whose dates are counted from the anchor, k ≥ 1.
func (c Cycle) date(k int) Day {
	if c.Regime == Anniversary {
		return c.Anchor.AddMonths(k * c.EveryMonths)
	}
	first := Day{c.Anchor.year, uint8(c.FixedMonth), 1}.monthEnd()
	if !first.After(c.Anchor) {
		first = first.AddYears(1).monthEnd()
	}
	return first.AddMonths((k - 1) * c.EveryMonths).monthEnd()
}

// satisfiedOn is the number of the latest date that an inspection on a day satisfies; 0 when it satisfies none.
func (c Cycle) satisfiedOn(d Day) int {
	reaches := d.AddDays(c.ToleranceBeforeDays)
	// Whole months between the first date and the day give the number to within one; the calendar settles the rest.
	k := max(0, c.date(1).MonthsUntil(reaches)/c.EveryMonths)
	for !c.date(k+1).After(reaches) && c.date(k+1) != lastDay {
		k++
	}
	return k
}

// monthEnd is the last day of the month.
func (d Day) monthEnd() Day {
	return Day{d.year, d.month, uint8(daysIn(int(d.year), time.Month(d.month)))}
}
