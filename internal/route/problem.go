package route

import (
	"fmt"
	"math"
)

// Problem is what is to be planned.
type Problem struct {
	// Places is how many places there are; they have the numbers from 0.
	Places int
	// Distance and Time hold what it takes from place a to place b at [a*Places+b]. Distance is what a plan makes small; Time
	// has the unit of the windows. Both are finite and not negative; the same slice may serve as both.
	Distance, Time []float64
	Visits         []Visit
	Shifts         []Shift
	// FewestShifts: one shift less is better than any distance. For shifts that are all alike, as a carrier's vehicles are, and visits that
	// must all be made and may be made by any. Where no plan with all of them is found, one that leaves some out is just any.
	FewestShifts bool
}

// Window is a span of time, both ends belonging to it.
type Window struct {
	From, To float64
}

// Visit is one attendance at a place.
type Visit struct {
	Place int
	// Windows are when it may begin, in order and apart; none is at any time. Waiting is allowed.
	Windows  []Window
	Duration float64
	// Demand takes room of the shift's Capacity.
	Demand float64
	// Needs is a set of bits, each of which the shift must have: qualifications, areas, keys; what a bit means is the caller's.
	Needs uint64
	// Only names the shifts that may, by number, where somebody has settled it; empty is all.
	Only []int
	// Price is what leaving it out costs, in distance; +Inf is a visit that must be made.
	Price float64
}

// Shift is one technician on one day.
type Shift struct {
	Start, End int // places
	Hours      Window
	// Break is a rest at a fixed time: no visit reaches into it, driving stops for it. From equal to To is none.
	Break    Window
	Capacity float64
	Has      uint64
}

// Plan is an answer.
type Plan struct {
	// Routes has, for each shift, its visits in their order.
	Routes [][]int
	// Left are the visits left out, in order.
	Left []int
	// Distance is that of all routes with visits, Used how many these are.
	Distance float64
	Used     int
	// Steps is how many steps the search took.
	Steps int
}

// Check says what is wrong with the problem itself; nil when it can be planned.
func (p *Problem) Check() error {
	if p.Places < 0 || len(p.Distance) != p.Places*p.Places || len(p.Time) != p.Places*p.Places {
		return fmt.Errorf("distances and times must be of %d × %d places", p.Places, p.Places)
	}
	for i := range p.Distance {
		if !atLeastZero(p.Distance[i]) || !atLeastZero(p.Time[i]) {
			return fmt.Errorf("from place %d to %d: distance and time must be finite and not negative", i/p.Places, i%p.Places)
		}
	}
	for i, v := range p.Visits {
		switch {
		case v.Place < 0 || v.Place >= p.Places:
			return fmt.Errorf("visit %d: no such place: %d", i, v.Place)
		case !atLeastZero(v.Duration) || !atLeastZero(v.Demand):
			return fmt.Errorf("visit %d: duration and demand must be finite and not negative", i)
		case !(v.Price >= 0):
			return fmt.Errorf("visit %d: its price must not be negative", i)
		case p.FewestShifts && (v.Price <= math.MaxFloat64 || len(v.Only) > 0):
			return fmt.Errorf("visit %d: where fewer shifts are better than any distance, every visit must be made, by any of them", i)
		}
		for k, w := range v.Windows {
			if !w.runs() || k > 0 && w.From <= v.Windows[k-1].To {
				return fmt.Errorf("visit %d: its windows must be finite, in order and apart", i)
			}
		}
		for _, s := range v.Only {
			if s < 0 || s >= len(p.Shifts) {
				return fmt.Errorf("visit %d: no such shift: %d", i, s)
			}
		}
	}
	for i, s := range p.Shifts {
		switch {
		case s.Start < 0 || s.Start >= p.Places || s.End < 0 || s.End >= p.Places:
			return fmt.Errorf("shift %d: no such place", i)
		case !s.Hours.runs() || !s.Break.runs():
			return fmt.Errorf("shift %d: hours and break must be finite and must not end before they begin", i)
		case p.FewestShifts && s != p.Shifts[0]:
			return fmt.Errorf("shift %d: where fewer shifts are better than any distance, all must be alike", i)
		case !atLeastZero(s.Capacity):
			return fmt.Errorf("shift %d: capacity must be finite and not negative", i)
		case s.Break.Drive(s.Hours.From, p.Time[s.Start*p.Places+s.End]) > s.Hours.To:
			return fmt.Errorf("shift %d: the way from its start to its end alone takes longer than its hours", i)
		}
	}
	return nil
}

func atLeastZero(x float64) bool { return x >= 0 && x <= math.MaxFloat64 }

func (w Window) runs() bool {
	return w.From <= w.To && math.Abs(w.From) <= math.MaxFloat64 && math.Abs(w.To) <= math.MaxFloat64
}
