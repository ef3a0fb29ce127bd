package route

import "math"

// Reason says why a visit is left out. What it is called for people is the caller's.
type Reason string

const (
	NotAllowed  Reason = "not_allowed"  // none of the shifts that Only names, or no shift at all
	Unqualified Reason = "unqualified"  // no shift has all that the visit needs
	TooBig      Reason = "too_big"      // no shift that has it has the capacity
	NotThatDay  Reason = "not_that_day" // its windows meet the hours of no shift that may
	TooFar      Reason = "too_far"      // no shift that may can be there in time and be back in time, even without other visits
	NotWorth    Reason = "not_worth"    // there is room, but the detour costs more than leaving it out
	Full        Reason = "full"         // by itself it would fit; with the others no room was found
)

// Explain says why the plan leaves a visit out: the first limit that stands in its way whatever the plan looks like, else what the
// plan itself has against it. Full is no proof that there is no plan with the visit.
func Explain(p *Problem, plan Plan, visit int) Reason {
	v := &p.Visits[visit]
	reason := NotAllowed
	further := func(r Reason, order int, reached *int) {
		if order > *reached {
			reason, *reached = r, order
		}
	}
	reached := 0
	for r := range p.Shifts {
		shift := &p.Shifts[r]
		bare := Visit{Only: v.Only}
		switch window, meets := windowIn(v, shift.Hours); {
		case !mayServe(&bare, shift, r):
		case v.Needs&^shift.Has != 0:
			further(Unqualified, 1, &reached)
		case v.Demand > shift.Capacity:
			further(TooBig, 2, &reached)
		case !meets:
			further(NotThatDay, 3, &reached)
		case !p.alone(v, shift, window):
			further(TooFar, 4, &reached)
		default:
			further(Full, 5, &reached)
		}
	}
	if reason == Full && !math.IsInf(v.Price, 1) {
		s := newSearch(p, 0)
		s.take(plan)
		s.price[visit] = math.Inf(1)
		s.blink = math.MaxInt
		if r, _, _ := s.position(int32(visit)); r != nobody {
			return NotWorth
		}
	}
	return reason
}

// alone says whether a shift can make the visit when it makes no other.
func (p *Problem) alone(v *Visit, shift *Shift, window Window) bool {
	arrive := shift.Break.Drive(shift.Hours.From, p.Time[shift.Start*p.Places+v.Place])
	begin := shift.Break.begin(max(arrive, window.From), v.Duration)
	return begin <= window.To && shift.Break.Drive(begin+v.Duration, p.Time[v.Place*p.Places+shift.End]) <= shift.Hours.To
}

// Placement is where and when a visit is made, and what speaks for it.
type Placement struct {
	Shift, Position int // of the route's visits, from 0
	Arrive, Begin   float64
	Leave           float64
	// Detour is how much longer its route is for it.
	Detour float64
	// Other is the shift in which it would otherwise cost least, all else staying, and OtherDetour what it would cost there; -1
	// when it would fit into no other.
	Other       int
	OtherDetour float64
}

// Placements tells of each visit where it is made; nil for one that is left out.
func Placements(p *Problem, plan Plan) []*Placement {
	s := newSearch(p, 0)
	s.take(plan)
	s.blink = math.MaxInt
	out := make([]*Placement, len(p.Visits))
	for r := range s.routes {
		w, shift := &s.routes[r], &p.Shifts[r]
		for i := 1; i < len(w.stops)-1; i++ {
			a, b, c := &w.stops[i-1], &w.stops[i], &w.stops[i+1]
			around := 0.0
			if len(w.stops) > 3 {
				around = p.Distance[int(a.place)*p.Places+int(c.place)]
			}
			arrive := shift.Break.Drive(a.leave, p.Time[int(a.place)*p.Places+int(b.place)])
			out[b.visit] = &Placement{Shift: r, Position: i - 1, Arrive: arrive, Begin: b.leave - p.Visits[b.visit].Duration, Leave: b.leave,
				Detour: b.leg + c.leg - around, Other: -1}
		}
	}
	for u, placed := range out {
		if placed == nil {
			continue
		}
		s.price[u] = math.Inf(1)
		s.routes[placed.Shift].closed = true
		if r, _, extra := s.position(int32(u)); r != nobody {
			placed.Other, placed.OtherDetour = int(r), extra
		}
		s.routes[placed.Shift].closed = false
	}
	return out
}

// take makes the plan the search's.
func (s *search) take(plan Plan) {
	k := kept{routes: make([][]int32, len(s.routes))}
	for r, visits := range plan.Routes {
		for _, u := range visits {
			k.routes[r] = append(k.routes[r], int32(u))
		}
	}
	for _, u := range plan.Left {
		k.absent = append(k.absent, int32(u))
	}
	s.restore(&k)
}
