package route

import (
	"cmp"
	"math"
	"slices"
)

// mostShifts is how many shifts are searched together. A step looks at each of them, so that a month of sixty technicians at once would leave
// no time to improve anything; those who start near each other are planned together instead, one part after the other.
const mostShifts = 100

// part is some of a problem: shifts that start near each other, and the visits nearest to them.
type part struct {
	shifts, visits []int
	room           float64 // minutes of visits that it still takes
}

// solveInParts plans each part by itself, with its share of the budget, and offers what a part left out to all others.
func solveInParts(p *Problem, seed uint64, budget Budget) Plan {
	plan := Plan{Routes: make([][]int, len(p.Shifts))}
	for r := range plan.Routes {
		plan.Routes[r] = []int{}
	}
	given := 0
	in := make([]bool, len(p.Visits))
	for _, one := range parts(p) {
		before, from := plan.Steps, float64(given)/float64(len(p.Visits))
		given += len(one.visits)
		to := float64(given) / float64(len(p.Visits))
		for _, u := range one.visits {
			in[u] = true
		}
		some := Plan{}
		if len(one.visits) > 0 {
			some = solveWhole(p.only(one), seed, func(steps int) float64 {
				return min(1, max(0, (budget(before+steps)-from)/(to-from)))
			})
		}
		for r, visits := range some.Routes {
			for _, u := range visits {
				plan.Routes[one.shifts[r]] = append(plan.Routes[one.shifts[r]], one.visits[u])
			}
		}
		for _, u := range some.Left {
			plan.Left = append(plan.Left, one.visits[u])
		}
		plan.Steps += some.Steps
	}
	for u := range in {
		if !in[u] {
			plan.Left = append(plan.Left, u)
		}
	}
	s := newSearch(p, seed)
	s.take(plan)
	s.beginStep()
	s.blink = math.MaxInt
	var left []int32
	for _, u := range s.absent {
		if r, at, _ := s.position(u); r != nobody {
			s.putIn(u, r, at)
		} else {
			left = append(left, u)
		}
	}
	s.absent = left
	s.addUp()
	return s.plan(plan.Steps)
}

// parts divides the shifts in two by where they start until few enough are together, and gives each visit to the nearest part that
// may make it and has room.
func parts(p *Problem) []part {
	var list []part
	var divide func(shifts []int)
	divide = func(shifts []int) {
		apart := func(a, b int) float64 { return p.Distance[p.Shifts[a].Start*p.Places+p.Shifts[b].Start] }
		farthest := func(from int) int {
			return slices.MaxFunc(shifts, func(a, b int) int { return cmp.Compare(apart(from, a), apart(from, b)) })
		}
		a := farthest(shifts[0])
		b := farthest(a)
		if len(shifts) <= mostShifts || apart(a, b) == 0 {
			list = append(list, part{shifts: shifts})
			return
		}
		slices.SortStableFunc(shifts, func(x, y int) int {
			return cmp.Or(cmp.Compare(apart(a, x)-apart(b, x), apart(a, y)-apart(b, y)), p.Shifts[x].Start-p.Shifts[y].Start)
		})
		half := len(shifts) / 2
		for half < len(shifts)-1 && p.Shifts[shifts[half-1]].Start == p.Shifts[shifts[half]].Start { // a technician's days stay together
			half++
		}
		divide(slices.Clone(shifts[:half]))
		divide(slices.Clone(shifts[half:]))
	}
	all, work, hours := make([]int, len(p.Shifts)), 0.0, 0.0
	for r, s := range p.Shifts {
		all[r] = r
		hours += s.Hours.To - s.Hours.From
	}
	for _, v := range p.Visits {
		work += v.Duration
	}
	divide(all)
	for k := range list {
		slices.Sort(list[k].shifts)
		for _, r := range list[k].shifts {
			list[k].room += 1.05 * work * (p.Shifts[r].Hours.To - p.Shifts[r].Hours.From) / max(hours, 1)
		}
	}
	near := make([][]float64, len(p.Visits)) // by visit and part; +Inf where it may not
	choice, regret := make([]int, len(p.Visits)), make([]float64, len(p.Visits))
	for u := range p.Visits {
		v := &p.Visits[u]
		near[u] = make([]float64, len(list))
		for k := range list {
			near[u][k] = math.Inf(1)
			for _, r := range list[k].shifts {
				if d := p.Distance[p.Shifts[r].Start*p.Places+v.Place]; d < near[u][k] && mayServe(v, &p.Shifts[r], r) {
					near[u][k] = d
				}
			}
		}
		choice[u] = u
		if two := slices.Sorted(slices.Values(near[u])); len(two) > 1 && two[0] <= math.MaxFloat64 {
			regret[u] = two[1] - two[0]
		}
	}
	slices.SortStableFunc(choice, func(a, b int) int { return cmp.Compare(regret[b], regret[a]) })
	for _, u := range choice {
		best, any := -1, 0
		for k := range list {
			if near[u][k] < near[u][any] {
				any = k
			}
			if list[k].room > 0 && near[u][k] <= math.MaxFloat64 && (best < 0 || near[u][k] < near[u][best]) {
				best = k
			}
		}
		if best < 0 && near[u][any] > math.MaxFloat64 { // nobody may: the last offer says so
			continue
		}
		if best < 0 {
			best = any
		}
		list[best].visits = append(list[best].visits, u)
		list[best].room -= p.Visits[u].Duration
	}
	return list
}

// only is the problem with no more than a part of it.
func (p *Problem) only(one part) *Problem {
	few := &Problem{}
	number, places := map[int]int{}, []int{}
	place := func(old int) int {
		if _, known := number[old]; !known {
			number[old] = len(places)
			places = append(places, old)
		}
		return number[old]
	}
	shift := map[int]int{}
	for i, r := range one.shifts {
		s := p.Shifts[r]
		s.Start, s.End = place(s.Start), place(s.End)
		few.Shifts, shift[r] = append(few.Shifts, s), i
	}
	for _, u := range one.visits {
		v := p.Visits[u]
		v.Place = place(v.Place)
		if len(v.Only) > 0 {
			var here []int
			for _, r := range v.Only {
				if i, in := shift[r]; in {
					here = append(here, i)
				}
			}
			v.Only = here
		}
		few.Visits = append(few.Visits, v)
	}
	few.Places = len(places)
	for _, a := range places {
		for _, b := range places {
			few.Distance, few.Time = append(few.Distance, p.Distance[a*p.Places+b]), append(few.Time, p.Time[a*p.Places+b])
		}
	}
	return few
}
