package route

import (
	"math"
	"slices"
)

// Budget says which share of what may be spent is gone after that many steps; the search ends at 1.
type Budget func(steps int) float64

// Steps is a budget of so many steps: with the same seed the same answer, on any machine.
func Steps(n int) Budget {
	return func(steps int) float64 {
		if steps >= n {
			return 1
		}
		return float64(steps) / float64(n)
	}
}

// Shares of the budget, where fewer shifts come first: until fleetShare for using fewer (Christiaens and Vanden Berghe 2020 give
// it a tenth; it ends earlier where fewer cannot carry the demand), from there until looseShare with visits left out on
// the way. The latter is ours: where few long routes are packed tight no single step leads from one way of dividing
// the visits to a better one, and a start in the wrong one ends a fifth too long.
const (
	fleetShare = 0.1
	looseShare = 0.3
)

// Solve plans. The problem must be sound (Problem.Check). The plan keeps to every limit; visits for which it found no room
// and whose price is less than their detour are left out (Plan.Left). Many shifts are planned in parts (mostShifts).
func Solve(p *Problem, seed uint64, budget Budget) Plan {
	if !p.FewestShifts && len(p.Shifts) > mostShifts && slices.ContainsFunc(p.Shifts, func(s Shift) bool { return s.Start != p.Shifts[0].Start }) {
		return solveInParts(p, seed, budget)
	}
	return solveWhole(p, seed, budget)
}

func solveWhole(p *Problem, seed uint64, budget Budget) Plan {
	w := work{search: newSearch(p, seed), budget: budget, share: budget(0)}
	w.recreate()
	w.best = w.keep(nil)
	if p.FewestShifts {
		w.useFewer()
		w.shortenLoosely()
	}
	w.shorten()
	return w.plan(w.steps)
}

// work is a search under way.
type work struct {
	*search
	budget Budget
	steps  int
	share  float64
	best   *kept
}

// step takes out and puts back. What it changed can be undone until the next.
func (w *work) step() {
	w.beginStep()
	w.ruin()
	w.recreate()
	w.steps++
	w.share = w.budget(w.steps)
}

// improve keeps the plan if it is the best so far.
func (w *work) improve() {
	if w.cost() < w.best.cost-1e-9 {
		w.best = w.keep(w.best)
	}
}

// goBack takes the best plan up again.
func (w *work) goBack() {
	w.restore(w.best)
	if w.p.FewestShifts && len(w.absent) == 0 {
		w.closeEmpty()
	}
}

// useFewer dissolves one route after the other as long as it finds room for the visits elsewhere.
func (w *work) useFewer() {
	missed := make([]float64, len(w.p.Visits)) // how often each was left out so far
	least := w.fewestBound()
	for w.share < 1 && (len(w.best.absent) > 0 || w.share < fleetShare) {
		if len(w.absent) == 0 {
			w.closeEmpty()
			if w.used <= least {
				break
			}
			w.dissolve(missed)
		}
		before := sum(missed, w.absent)
		w.step()
		after := sum(missed, w.absent)
		for _, u := range w.absent {
			missed[u]++
		}
		if len(w.absent) == 0 || after < before || after == before && w.tolerable(w.costBefore, w.cost()) {
			w.improve()
		} else {
			w.undo()
		}
	}
	w.goBack()
}

// shortenLoosely makes routes shorter and leaves visits out for a fine, which rises while some are left out and falls while
// none is, so that the search keeps crossing the border of what is complete.
func (w *work) shortenLoosely() {
	fine := w.scale
	for w.share < looseShare {
		if len(w.absent) > 0 {
			fine *= 1.001
		} else {
			fine = max(fine/1.001, w.scale/4)
		}
		before := w.loose(fine)
		w.step()
		if w.tolerable(before, w.loose(fine)) {
			w.improve()
		} else {
			w.undo()
		}
	}
	w.goBack()
}

// shorten makes routes shorter.
func (w *work) shorten() {
	for w.share < 1 {
		w.step()
		if w.tolerable(w.costBefore, w.cost()) {
			w.improve()
		} else {
			w.undo()
		}
	}
	w.goBack()
}

// Temperatures at the beginning and at the end, in mean distances between places.
const (
	hot  = 2.5
	cold = 0.025
)

// tolerable is the rule of simulated annealing by a threshold with chance in it.
func (w *work) tolerable(before, after float64) bool {
	t := w.scale * hot * math.Pow(cold/hot, w.share)
	return after < before-t*math.Log(w.dice.unit())
}

func sum(of []float64, which []int32) float64 {
	total := 0.0
	for _, u := range which {
		total += of[u]
	}
	return total
}

// kept is a plan put aside.
type kept struct {
	routes [][]int32
	absent []int32
	cost   float64
}

func (s *search) keep(into *kept) *kept {
	if into == nil {
		into = &kept{routes: make([][]int32, len(s.routes))}
	}
	s.addUp()
	for r := range s.routes {
		into.routes[r] = into.routes[r][:0]
		for _, stop := range s.routes[r].visits() {
			into.routes[r] = append(into.routes[r], stop.visit)
		}
	}
	into.absent = append(into.absent[:0], s.absent...)
	into.cost = s.cost()
	return into
}

func (s *search) restore(k *kept) {
	for u := range s.where {
		s.where[u] = nobody
	}
	for r, visits := range k.routes {
		s.routes[r].closed = false
		s.fill(int32(r), visits)
	}
	s.absent = append(s.absent[:0], k.absent...)
	s.addUp()
}

func (s *search) plan(steps int) Plan {
	p := Plan{Routes: make([][]int, len(s.routes)), Left: []int{}, Distance: s.length, Used: s.used, Steps: steps}
	for r := range s.routes {
		p.Routes[r] = []int{}
		for _, stop := range s.routes[r].visits() {
			p.Routes[r] = append(p.Routes[r], int(stop.visit))
		}
	}
	for _, u := range s.absent {
		p.Left = append(p.Left, int(u))
	}
	slices.Sort(p.Left)
	return p
}

// fewestBound is how many shifts the demand needs at least, the largest ones.
func (s *search) fewestBound() int {
	wanted := 0.0
	for _, v := range s.p.Visits {
		wanted += v.Demand
	}
	room := make([]float64, len(s.p.Shifts))
	for i, shift := range s.p.Shifts {
		room[i] = shift.Capacity
	}
	slices.Sort(room)
	n := 0
	for carried := 0.0; n < len(room) && carried < wanted; n++ {
		carried += room[len(room)-1-n]
	}
	return max(n, min(1, len(s.p.Visits)))
}

// closeEmpty takes shifts without visits out of the plan.
func (s *search) closeEmpty() {
	for r := range s.routes {
		if len(s.routes[r].visits()) == 0 {
			s.routes[r].closed = true
		}
	}
}

// dissolve closes the route whose visits were left out least often so far, and leaves them out.
func (s *search) dissolve(missed []float64) {
	s.beginStep()
	easiest, least := nobody, math.Inf(1)
	for r := range s.routes {
		if s.routes[r].closed {
			continue
		}
		total := 0.0
		for _, stop := range s.routes[r].visits() {
			total += missed[stop.visit]
		}
		if total < least {
			easiest, least = int32(r), total
		}
	}
	for _, stop := range s.routes[easiest].visits() {
		s.where[stop.visit] = nobody
		s.absent = append(s.absent, stop.visit)
	}
	s.fill(easiest, nil)
	s.routes[easiest].closed = true
	s.addUp()
}
