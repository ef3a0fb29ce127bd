package duedate

import (
	"fmt"
	"iter"
	"slices"
	"time"
)

// Regime says from what the dates of a Cycle are counted.
type Regime string

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
	// Anchor is what the dates are counted from; it is no date itself unless AnchorDue.
	Anchor Day
	// AnchorDue makes the anchor the first date: of a door that was taken over on a day and is due by then, whatever was done before. No date
	// lies before it, and of MonthEnd and FixedMonth it stands for the first end of a month that is not before it.
	AnchorDue  bool
	FixedMonth time.Month // of that regime only
	// ToleranceBeforeDays is how early an inspection still satisfies a date, of Anniversary and FixedMonth; shorter than the interval.
	ToleranceBeforeDays int
	// LongestMonths is the most that may lie between two inspections; 0: nobody says. A date that would come later is brought forward.
	LongestMonths int
	// Suspended are days on which nothing can be due: a date in one of them is due on the first day after it.
	Suspended []Span
}

// Span is days from one to another, both included.
type Span struct{ From, Until Day }

// Holds tells whether the day is one of the span.
func (s Span) Holds(d Day) bool { return !d.Before(s.From) && !d.After(s.Until) }

// Days are the days of the span, the first one first.
func (s Span) Days() iter.Seq[Day] {
	return func(yield func(Day) bool) {
		for d := s.From; s.Holds(d) && yield(d); d = d.AddDays(1) {
		}
	}
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
	Months  int   // from From to the regime's date, before a day that the month lacks became its last; 0: the anchor itself is the date
	Clamped bool  // the month lacks the day
	Last    Day   // the inspection that satisfied the dates before; the zero Day when there was none
	Early   int   // by how many days Last came before the date that it satisfied; 0 on the day and later
	Counted Day   // the date that Last satisfied; the zero Day when it satisfied none
	Missed  []Day // of the first date only: earlier ones that no inspection of their own period satisfied

	Latest   Day // the last day that LongestMonths allows; the zero Day when it allows all
	Capped   Day // the regime's date, where Latest lies before it; else the zero Day
	CapFrom  Day // what Latest is counted from: an inspection, or the date before as if it were done then
	Deferred Day // the date that fell into a suspension; the zero Day when none did
}

// standing is where a cycle stands: what it has been given, and which of its dates are behind it.
type standing struct {
	last      Day   // the last inspection that counts
	done      Day   // the last inspection, or the date before as if it were done then: what LongestMonths is counted from
	from      Day   // what the next date of FromLast and MonthEnd is counted from
	basis     Basis // what from is
	satisfied int   // how many dates of Anniversary and FixedMonth are behind
	counted   int   // how many of them inspections satisfied
	missed    []Day
}

// Dues gives the dates that are still due after the last of the inspections, up to and including a day, as if each were then done on its day. The
// inspections may come in any order and more than once. c must be valid.
//
//   - Anniversary, FixedMonth: an inspection satisfies every date up to the latest one whose tolerance before had begun by then; one before
//     the anchor satisfies nothing, unless AnchorDue. Dates before its own period that had none are Missed.
//   - FromLast, MonthEnd: the last inspection starts the count, also one before the anchor; without any the anchor does.
//   - A date that lies more than LongestMonths after the last inspection, or after the date before, is brought forward to that day, but never
//     before the anchor, or the end of the month that it stands for.
//   - A date within a suspension is due on the first day after it, and satisfied as if it stood there.
func (c Cycle) Dues(done []Day, until Day) (list []Due) {
	s := c.after(done)
	for {
		d, ok := c.next(s)
		if !ok || d.On.After(until) {
			return list
		}
		list = append(list, d)
		s = c.then(s, d)
	}
}

// Next gives the first of the dates that Dues gives, however far away. At the end of the calendar it is its last day.
func (c Cycle) Next(done []Day) Due {
	d, ok := c.next(c.after(done))
	if !ok {
		d.On = lastDay
	}
	return d
}

// after is where the cycle stands once all of it was done.
func (c Cycle) after(done []Day) standing {
	s := standing{from: c.Anchor, basis: OfAnchor}
	if len(done) > 0 {
		s.done = slices.MaxFunc(done, Day.Compare)
	}
	if c.walks() {
		if s.last = s.done; len(done) > 0 {
			s.from, s.basis = s.last, OfInspection
		}
		return s
	}
	own := make(map[int]bool, len(done))
	for _, d := range done {
		if !c.AnchorDue && d.Before(c.Anchor) {
			continue
		}
		k := c.satisfiedOn(d)
		own[k] = true
		if s.counted = max(s.counted, k); d.After(s.last) {
			s.last = d
		}
	}
	s.satisfied = s.counted
	for k := 1; k < s.satisfied; k++ {
		if own[k] {
			continue
		}
		if d, _ := c.date(k); c.Resumed(d) == d {
			s.missed = append(s.missed, d)
		}
	}
	return s
}

// then is where the cycle stands when a date was done on its day.
func (c Cycle) then(s standing, d Due) standing {
	s.done, s.from, s.basis, s.missed = d.On, d.On, OfDate, nil
	if !c.walks() {
		s.satisfied = max(s.satisfied, c.satisfiedOn(d.On))
	}
	return s
}

// walks tells whether each date is counted from the one before.
func (c Cycle) walks() bool { return c.Regime == FromLast || c.Regime == MonthEnd }

// next is the first date that is not behind; false at the end of the calendar.
func (c Cycle) next(s standing) (Due, bool) {
	d, ok := c.regular(s)
	if !ok {
		return d, false
	}
	if s.done.IsZero() && !c.AnchorDue {
		s.done = c.Anchor
	}
	if c.LongestMonths > 0 && !s.done.IsZero() {
		least := c.Anchor
		if c.AnchorDue && c.Regime == MonthEnd {
			least, _ = c.date(1)
		}
		d.CapFrom, d.Latest = s.done, later(s.done.AddMonths(c.LongestMonths), least)
		if d.On.After(d.Latest) {
			d.Capped, d.On = d.On, d.Latest
		}
		d.Latest = c.Resumed(d.Latest)
	}
	if resumed := c.Resumed(d.On); resumed != d.On {
		d.Deferred, d.On = d.On, resumed
	}
	return d, true
}

// regular is the date that the regime alone gives.
func (c Cycle) regular(s standing) (Due, bool) {
	if !c.walks() {
		return c.onGrid(s)
	}
	d := Due{From: s.from, Basis: s.basis, Months: c.EveryMonths, Last: s.last}
	var ok bool
	d.On, ok = s.from.plusMonths(c.EveryMonths)
	if d.Clamped = d.On.day < s.from.day; c.Regime == MonthEnd {
		d.On, d.Clamped = d.On.monthEnd(), false
	}
	if c.AnchorDue {
		if first, _ := c.date(1); s.basis == OfAnchor || first.After(d.On) {
			d = Due{On: first, From: c.Anchor, Basis: OfAnchor, Last: s.last}
			ok = true
		}
	}
	return d, ok
}

// onGrid is the first date of those counted from the anchor that is not behind.
func (c Cycle) onGrid(s standing) (Due, bool) {
	k := s.satisfied + 1
	on, ok := c.date(k)
	d := Due{On: on, From: c.Anchor, Basis: OfAnchor, Months: k * c.EveryMonths, Last: s.last, Missed: s.missed}
	if c.AnchorDue || c.Regime == FixedMonth {
		d.Months -= c.EveryMonths
	}
	d.Clamped = c.Regime == Anniversary && d.On.day < c.Anchor.day
	if s.counted > 0 {
		d.Counted, _ = c.date(s.counted)
		d.Early = max(0, s.last.DaysUntil(d.Counted))
	}
	return d, ok
}

// Resumed is the day, or where it lies within a suspension the first day after all that hold it.
func (c Cycle) Resumed(d Day) Day {
	for again := true; again; {
		again = false
		for _, s := range c.Suspended {
			if s.Holds(d) && d != lastDay {
				d, again = s.Until.AddDays(1), true
			}
		}
	}
	return d
}

// date is the k-th date of a cycle whose dates are counted from the anchor, k ≥ 1; false where the calendar ends before it.
func (c Cycle) date(k int) (Day, bool) {
	switch {
	case c.Regime == FixedMonth:
		ahead, first := 0, Day{c.Anchor.year, uint8(c.FixedMonth), 1}.monthEnd()
		if first.Before(c.Anchor) || first == c.Anchor && !c.AnchorDue {
			ahead = 12
		}
		on, ok := first.plusMonths(ahead + (k-1)*c.EveryMonths)
		return on.monthEnd(), ok
	case c.AnchorDue && c.Regime == MonthEnd:
		return c.Anchor.monthEnd(), true
	case c.AnchorDue:
		return c.Anchor.plusMonths((k - 1) * c.EveryMonths)
	}
	return c.Anchor.plusMonths(k * c.EveryMonths)
}

// satisfiedOn is the number of the latest date that an inspection on a day satisfies; 0 when it satisfies none.
func (c Cycle) satisfiedOn(d Day) int {
	reaches := d.AddDays(c.ToleranceBeforeDays)
	// Whole months between the first date and the day give the number to within one; the calendar settles the rest.
	first, _ := c.date(1)
	k := max(0, first.MonthsUntil(reaches)/c.EveryMonths)
	for {
		if on, ok := c.date(k + 1); !ok || on.After(reaches) {
			return k
		}
		k++
	}
}

// monthEnd is the last day of the month.
func (d Day) monthEnd() Day {
	return Day{d.year, d.month, uint8(daysIn(int(d.year), time.Month(d.month)))}
}

func later(a, b Day) Day {
	if a.After(b) {
		return a
	}
	return b
}
