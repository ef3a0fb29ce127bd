package fleet_test

import (
	"slices"
	"time"
)

// planOracle says what must come of one door's year, written from the rules of README.md and on time.Time alone: it calls nothing that it judges.
type planOracle struct {
	regime            string
	months, tol, lead int
	month             time.Month
	anchor            time.Time
	done              []time.Time
	off               map[string][2]time.Time // by suspension: first and last day
	orders            map[time.Time]bool      // periods that have an order
}

const oracleCap = 12 // months between two inspections that the rules of the door allow

func dayAt(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 0, 0, 0, 0, time.UTC) }

func endOf(t time.Time) time.Time { return dayAt(t.Year(), t.Month()+1, 0) }

// plus adds months; a day that a month lacks becomes its last.
func plus(t time.Time, months int) time.Time {
	first := dayAt(t.Year(), t.Month()+time.Month(months), 1)
	if end := endOf(first); end.Day() < t.Day() {
		return end
	}
	return dayAt(first.Year(), first.Month(), t.Day())
}

// regular is the next date by the regime alone.
func (o *planOracle) regular(last time.Time) time.Time {
	switch o.regime {
	case "from_last", "month_end":
		first, next := o.anchor, o.anchor
		if !last.IsZero() {
			next = plus(last, o.months)
		}
		if o.regime == "month_end" {
			first, next = endOf(first), endOf(next)
		}
		return slices.MaxFunc([]time.Time{first, next}, time.Time.Compare)
	}
	first, date := o.anchor, func(k int) time.Time { return plus(o.anchor, k*o.months) }
	if o.regime == "fixed_month" {
		for first.Month() != o.month || !first.Equal(endOf(first)) {
			first = first.AddDate(0, 0, 1)
		}
		date = func(k int) time.Time { return endOf(plus(dayAt(first.Year(), first.Month(), 1), k*o.months)) }
	}
	k := 0
	for ; !last.IsZero() && !date(k).AddDate(0, 0, -o.tol).After(last); k++ {
	}
	return date(k)
}

// next is the day on which the door is due.
func (o *planOracle) next() time.Time {
	var last time.Time
	for _, d := range o.done {
		if d.After(last) {
			last = d
		}
	}
	due := o.regular(last)
	if !last.IsZero() {
		least := o.anchor
		if o.regime == "month_end" {
			least = endOf(least)
		}
		if most := plus(last, oracleCap); most.Before(due) {
			due = slices.MaxFunc([]time.Time{most, least}, time.Time.Compare)
		}
	}
	return o.inUse(due)
}

// inUse is the first day from one on that no suspension holds.
func (o *planOracle) inUse(d time.Time) time.Time {
	for again := true; again; {
		again = false
		for _, s := range o.off {
			if !d.Before(s[0]) && !d.After(s[1]) {
				d, again = s[1].AddDate(0, 0, 1), true
			}
		}
	}
	return d
}

// night makes the order of the next date when its time has come.
func (o *planOracle) night(today time.Time) {
	due := o.next()
	if !o.inUse(due.AddDate(0, 0, -min(o.lead, 14*oracleCap))).After(today) {
		o.orders[due] = true
	}
}
