package route

import (
	"cmp"
	"math"
	"slices"
)

// bySavings plans as textbooks do, to have something to compare the search with; it shares no code with it. Each visit goes to
// the technician who lives nearest of those who may; routes are joined end to start by the greatest saving (G. Clarke and
// J. W. Wright, "Scheduling of vehicles from a central depot to a number of delivery points", Operations Research 12(4), 1964)
// as long as one of the technician's shifts can still drive them; shifts are given out by augmenting paths; what is left goes
// where it costs least. Then visits move to where they cost less and stretches of a route are turned around (2-opt, G. A. Croes,
// Operations Research 6(6), 1958), until neither makes the plan shorter.
func bySavings(p *Problem) Plan {
	plan := Plan{Routes: make([][]int, len(p.Shifts)), Left: []int{}}
	type who struct {
		start, end int
		has        uint64
	}
	shiftsOf, order := map[who][]int{}, []who{}
	for r, s := range p.Shifts {
		w := who{s.Start, s.End, s.Has}
		if shiftsOf[w] == nil {
			order = append(order, w)
		}
		shiftsOf[w] = append(shiftsOf[w], r)
	}
	own := map[who][]int{}
	for u, v := range p.Visits {
		nearest, near := who{}, math.Inf(1)
		for _, w := range order {
			if d := p.way(w.start, v.Place) + p.way(v.Place, w.end); d < near && slices.ContainsFunc(shiftsOf[w], func(r int) bool { _, ok := oneRoute(p, r, []int{u}); return ok }) {
				nearest, near = w, d
			}
		}
		if math.IsInf(near, 1) {
			plan.Left = append(plan.Left, u)
			continue
		}
		own[nearest] = append(own[nearest], u)
	}
	for _, w := range order {
		routes := joined(p, own[w], shiftsOf[w])
		for r, visits := range givenOut(p, routes, shiftsOf[w], &plan.Left) {
			plan.Routes[r] = visits
		}
	}
	l := local{p: p, plan: &plan, length: make([]float64, len(p.Shifts))}
	for r := range plan.Routes {
		l.length[r], _ = oneRoute(p, r, plan.Routes[r])
	}
	l.place()
	for l.relocate() || l.turn() {
	}
	l.place()
	plan.Used, plan.Distance = driven(p, plan)
	slices.Sort(plan.Left)
	return plan
}

func (p *Problem) way(a, b int) float64 { return p.Distance[a*p.Places+b] }

// oneRoute drives one route and says how long it is and whether the shift can. A route without visits is nothing.
func oneRoute(p *Problem, r int, visits []int) (length float64, ok bool) {
	if len(visits) == 0 {
		return 0, true
	}
	s := &p.Shifts[r]
	rest := s.Break.To - s.Break.From
	at, worked, load := s.Start, 0.0, 0.0 // worked: minutes since the shift's begin, the rest not counted
	noon := s.Break.From - s.Hours.From
	clock := func() float64 {
		if rest > 0 && worked >= noon {
			return s.Hours.From + worked + rest
		}
		return s.Hours.From + worked
	}
	for _, u := range visits {
		v := &p.Visits[u]
		load += v.Demand
		if v.Needs&^s.Has != 0 || load > s.Capacity || len(v.Only) > 0 && !slices.Contains(v.Only, r) {
			return 0, false
		}
		length += p.way(at, v.Place)
		worked += p.Time[at*p.Places+v.Place]
		at = v.Place
		if rest > 0 && worked == noon { // there as the rest begins
			worked = math.Nextafter(noon, math.Inf(-1))
		}
		begins := math.Inf(1)
		for _, w := range v.Windows {
			if b := wait(s, max(clock(), w.From), v.Duration); b <= w.To {
				begins = b
				break
			}
		}
		if len(v.Windows) == 0 {
			begins = wait(s, clock(), v.Duration)
		}
		if math.IsInf(begins, 1) {
			return 0, false
		}
		worked = begins + v.Duration - s.Hours.From
		if rest > 0 && begins >= s.Break.To {
			worked -= rest
		}
	}
	length += p.way(at, s.End)
	worked += p.Time[at*p.Places+s.End]
	end := s.Hours.From + worked
	if rest > 0 && worked > noon {
		end += rest
	}
	return length, end <= s.Hours.To
}

// wait says when a visit begins that does not reach into the rest.
func wait(s *Shift, t, lasts float64) float64 {
	if s.Break.From < s.Break.To && t < s.Break.To && t+lasts > s.Break.From {
		return s.Break.To
	}
	return t
}

// joined makes routes of one technician's visits.
func joined(p *Problem, visits, shifts []int) [][]int {
	type saving struct {
		from, to int
		saved    float64
	}
	var all []saving
	home := p.Shifts[shifts[0]]
	for _, a := range visits {
		for _, b := range visits {
			i, j := p.Visits[a].Place, p.Visits[b].Place
			if s := p.way(i, home.End) + p.way(home.Start, j) - p.way(i, j); a != b && s > 0 {
				all = append(all, saving{a, b, s})
			}
		}
	}
	slices.SortFunc(all, func(a, b saving) int {
		return cmp.Or(cmp.Compare(b.saved, a.saved), a.from-b.from, a.to-b.to)
	})
	in := map[int][]int{}
	for _, u := range visits {
		in[u] = []int{u}
	}
	for _, s := range all {
		a, b := in[s.from], in[s.to]
		if a[len(a)-1] != s.from || b[0] != s.to || a[0] == b[0] {
			continue
		}
		both := slices.Concat(a, b)
		if slices.ContainsFunc(shifts, func(r int) bool { _, ok := oneRoute(p, r, both); return ok }) {
			for _, u := range both {
				in[u] = both
			}
		}
	}
	var routes [][]int
	for _, u := range visits {
		if in[u][0] == u {
			routes = append(routes, in[u])
		}
	}
	return routes
}

// givenOut gives each route a shift that can drive it, as many as can be, the fullest first.
func givenOut(p *Problem, routes [][]int, shifts []int, left *[]int) map[int][]int {
	slices.SortStableFunc(routes, func(a, b []int) int { return len(b) - len(a) })
	has := map[int]int{} // the route of a shift
	var give func(i int, tried map[int]bool) bool
	give = func(i int, tried map[int]bool) bool {
		for _, r := range shifts {
			if _, ok := oneRoute(p, r, routes[i]); !ok || tried[r] {
				continue
			}
			tried[r] = true
			if other, taken := has[r]; !taken || give(other, tried) {
				has[r] = i
				return true
			}
		}
		return false
	}
	out := map[int][]int{}
	for i := range routes {
		if !give(i, map[int]bool{}) {
			*left = append(*left, routes[i]...)
		}
	}
	for r, i := range has {
		out[r] = slices.Clone(routes[i])
	}
	return out
}

type local struct {
	p      *Problem
	plan   *Plan
	length []float64
}

// set gives a shift these visits if it can drive them.
func (l *local) set(r int, visits []int) bool {
	length, ok := oneRoute(l.p, r, visits)
	if ok {
		l.plan.Routes[r], l.length[r] = visits, length
	}
	return ok
}

// cheapest is where a visit costs least, less than that.
func (l *local) cheapest(u int, below float64, not int) (r, at int) {
	r = -1
	place := l.p.Visits[u].Place
	emptyOf := map[int]bool{}
	for i, visits := range l.plan.Routes {
		s := l.p.Shifts[i]
		if i == not || l.p.Visits[u].Needs&^s.Has != 0 || len(visits) == 0 && emptyOf[s.Start] {
			continue
		}
		before := s.Start
		for k := range len(visits) + 1 {
			after := s.End
			if k < len(visits) {
				after = l.p.Visits[visits[k]].Place
			}
			extra := l.p.way(before, place) + l.p.way(place, after) - l.p.way(before, after)
			if extra < below-1e-9 {
				if _, ok := oneRoute(l.p, i, slices.Insert(slices.Clone(visits), k, u)); ok {
					r, at, below = i, k, extra
					emptyOf[s.Start] = len(visits) == 0
				}
			}
			before = after
		}
	}
	return r, at
}

// place puts in what was left out.
func (l *local) place() {
	var left []int
	for _, u := range l.plan.Left {
		if r, at := l.cheapest(u, l.p.Visits[u].Price, -1); r < 0 || !l.set(r, slices.Insert(slices.Clone(l.plan.Routes[r]), at, u)) {
			left = append(left, u)
		}
	}
	l.plan.Left = append([]int{}, left...)
}

// relocate moves each visit to another route if that makes the plan shorter.
func (l *local) relocate() (better bool) {
	for from := range l.plan.Routes {
		for k := 0; k < len(l.plan.Routes[from]); k++ {
			u := l.plan.Routes[from][k]
			without := slices.Delete(slices.Clone(l.plan.Routes[from]), k, k+1)
			length, ok := oneRoute(l.p, from, without)
			if !ok {
				continue
			}
			if r, at := l.cheapest(u, l.length[from]-length, from); r >= 0 && l.set(r, slices.Insert(slices.Clone(l.plan.Routes[r]), at, u)) {
				l.set(from, without)
				better = true
				k--
			}
		}
	}
	return better
}

// turn turns stretches of routes around if that makes them shorter, and moves visits within their route.
func (l *local) turn() (better bool) {
	for r := range l.plan.Routes {
		for i := 0; i < len(l.plan.Routes[r]); i++ {
			for j := range len(l.plan.Routes[r]) {
				moved := slices.Clone(l.plan.Routes[r])
				u := moved[i]
				moved = slices.Insert(slices.Delete(moved, i, i+1), j, u)
				turned := slices.Clone(l.plan.Routes[r])
				if i < j {
					slices.Reverse(turned[i : j+1])
				}
				for _, other := range [][]int{moved, turned} {
					if length, ok := oneRoute(l.p, r, other); ok && length < l.length[r]-1e-9 {
						l.set(r, other)
						better = true
					}
				}
			}
		}
	}
	return better
}
