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
	most              int                     // months between two inspections that the rules of the door allow; 0: they say nothing of such a plan
}

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

// next is the day on which the door is due, and whether that is the regime's own date.
func (o *planOracle) next() (due time.Time, own bool) {
	var last time.Time
	for _, d := range o.done {
		if d.After(last) {
			last = d
		}
	}
	regular := o.regular(last)
	due = regular
	if !last.IsZero() && o.most > 0 {
		least := o.anchor
		if o.regime == "month_end" {
			least = endOf(least)
		}
		if most := plus(last, o.most); most.Before(due) {
			due = slices.MaxFunc([]time.Time{most, least}, time.Time.Compare)
		}
	}
	due = o.inUse(due)
	return due, due.Equal(regular)
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

// ready tells whether the time has come at which the order of the next date is made.
func (o *planOracle) ready(today time.Time) bool {
	due, _ := o.next()
	lead := o.lead
	if o.most > 0 {
		lead = min(lead, 14*o.most)
	}
	return !o.inUse(due.AddDate(0, 0, -lead)).After(today)
}

// night makes the order of the next date when its time has come, or that of another plan of the door and its tolerance has begun.
func (o *planOracle) night(today time.Time, other *planOracle) {
	due, own := o.next()
	beside := other != nil && other.ready(today) && own && (o.regime == "anniversary" || o.regime == "fixed_month") && !o.inUse(due.AddDate(0, 0, -o.tol)).After(today)
	if beside || o.ready(today) {
		o.orders[due] = true
	}
}

// serve says that the order of a period was done on a day: it counts for that period at least.
func (o *planOracle) serve(period, on time.Time) {
	if from := period.AddDate(0, 0, -o.tol); (o.regime == "anniversary" || o.regime == "fixed_month") && from.After(on) {
		on = from
	}
	o.done = append(o.done, on)
}
