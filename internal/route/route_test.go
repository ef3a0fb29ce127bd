package route

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// verify drives a plan minute by minute, so to speak: it shares nothing with the search, and knows a break as a rest that is
// taken out of the time worked. It says the first thing that is wrong.
func verify(p *Problem, plan Plan) error {
	seen := make([]int, len(p.Visits))
	total, used := 0.0, 0
	const close = 1e-9
	for r, visits := range plan.Routes {
		if len(visits) == 0 {
			continue
		}
		used++
		shift := p.Shifts[r]
		now, at, load := shift.Hours.From, shift.Start, 0.0
		drive := func(to int) {
			total += p.Distance[at*p.Places+to]
			takes := p.Time[at*p.Places+to]
			if rest := shift.Break.To - shift.Break.From; rest > 0 {
				if now >= shift.Break.From && now < shift.Break.To {
					now = shift.Break.To
				}
				if now <= shift.Break.From {
					before := shift.Break.From - now
					if takes > before {
						now, takes = shift.Break.To, takes-before
					}
				}
			}
			now, at = now+takes, to
		}
		for _, u := range visits {
			v := p.Visits[u]
			seen[u]++
			load += v.Demand
			if v.Needs&shift.Has != v.Needs {
				return fmt.Errorf("visit %d: shift %d may not", u, r)
			}
			if len(v.Only) > 0 && !slices.Contains(v.Only, r) {
				return fmt.Errorf("visit %d is another's than shift %d's", u, r)
			}
			drive(v.Place)
			begins := math.Inf(1)
			windows := v.Windows
			if len(windows) == 0 {
				windows = []Window{{math.Inf(-1), math.Inf(1)}}
			}
			for _, w := range windows {
				b := max(now, w.From)
				if shift.Break.To > shift.Break.From && b < shift.Break.To && b+v.Duration > shift.Break.From {
					b = shift.Break.To
				}
				if b <= w.To+close {
					begins = min(begins, b)
				}
			}
			if math.IsInf(begins, 1) {
				return fmt.Errorf("visit %d: reached at %v, too late", u, now)
			}
			now = begins + v.Duration
		}
		drive(shift.End)
		if now > shift.Hours.To+close {
			return fmt.Errorf("shift %d is back at %v", r, now)
		}
		if load > shift.Capacity {
			return fmt.Errorf("shift %d carries %v", r, load)
		}
	}
	for _, u := range plan.Left {
		seen[u]++
	}
	for u, n := range seen {
		if n != 1 {
			return fmt.Errorf("visit %d occurs %d times", u, n)
		}
	}
	if used != plan.Used || math.Abs(total-plan.Distance) > 1e-6 {
		return fmt.Errorf("%d shifts and %v said, %d and %v driven", plan.Used, plan.Distance, used, total)
	}
	return nil
}

func TestTheVerifierSeesWhatIsWrong(t *testing.T) {
	p := &Problem{Places: 2, Distance: []float64{0, 10, 10, 0}, Visits: []Visit{{Place: 1, Windows: []Window{{0, 12}}, Duration: 5, Demand: 2, Needs: 1}, {Place: 1, Duration: 5, Demand: 2}},
		Shifts: []Shift{{Hours: Window{0, 30}, Capacity: 4, Has: 1}, {Hours: Window{0, 24}, Capacity: 1}}}
	p.Time = p.Distance
	good := Plan{Routes: [][]int{{0, 1}, {}}, Distance: 20, Used: 1}
	if err := verify(p, good); err != nil {
		t.Fatal(err)
	}
	for name, bad := range map[string]Plan{
		"twice":           {Routes: [][]int{{0, 1, 1}, {}}, Distance: 20, Used: 1},
		"forgotten":       {Routes: [][]int{{0}, {}}, Distance: 20, Used: 1},
		"too late":        {Routes: [][]int{{1, 0}, {}}, Distance: 20, Used: 1},
		"unqualified":     {Routes: [][]int{{1}, {0}}, Distance: 40, Used: 2},
		"overloaded":      {Routes: [][]int{{0}, {1}}, Distance: 40, Used: 2},
		"wrong distance":  {Routes: [][]int{{0, 1}, {}}, Distance: 19, Used: 1},
		"wrong number":    {Routes: [][]int{{0, 1}, {}}, Distance: 20, Used: 2},
		"left and placed": {Routes: [][]int{{0, 1}, {}}, Left: []int{1}, Distance: 20, Used: 1},
	} {
		if verify(p, bad) == nil {
			t.Errorf("%s: nothing is said", name)
		}
	}
}

// small is a random problem of up to five visits and three shifts, technicians' or the benchmark's kind.
func small(t *rapid.T) *Problem {
	whole := func(name string, from, to int) float64 { return float64(rapid.IntRange(from, to).Draw(t, name)) }
	p := &Problem{Places: rapid.IntRange(1, 5).Draw(t, "places"), FewestShifts: rapid.Bool().Draw(t, "fewest")}
	var x, y []float64
	for range p.Places {
		x, y = append(x, whole("x", 0, 20)), append(y, whole("y", 0, 20))
	}
	for a := range p.Places {
		for b := range p.Places {
			p.Distance = append(p.Distance, math.Hypot(x[a]-x[b], y[a]-y[b]))
			p.Time = append(p.Time, math.Hypot(x[a]-x[b], y[a]-y[b])*1.5+1)
		}
	}
	for i := range rapid.IntRange(1, 3).Draw(t, "shifts") {
		if i > 0 && p.FewestShifts {
			p.Shifts = append(p.Shifts, p.Shifts[0])
			continue
		}
		s := Shift{Start: rapid.IntRange(0, p.Places-1).Draw(t, "start"), Capacity: whole("capacity", 1, 8), Has: uint64(rapid.IntRange(0, 3).Draw(t, "has"))}
		s.End = s.Start
		if rapid.Bool().Draw(t, "elsewhere") {
			s.End = rapid.IntRange(0, p.Places-1).Draw(t, "end")
		}
		s.Hours.From = whole("from", 0, 100)
		s.Hours.To = s.Hours.From + whole("hours", 100, 200)
		if rapid.Bool().Draw(t, "rests") {
			s.Break.From = s.Hours.From + whole("rest", 10, 50)
			s.Break.To = s.Break.From + whole("long", 5, 15)
		}
		p.Shifts = append(p.Shifts, s)
	}
	for range rapid.IntRange(0, 5).Draw(t, "visits") {
		v := Visit{Place: rapid.IntRange(0, p.Places-1).Draw(t, "place"), Duration: whole("duration", 0, 30), Demand: whole("demand", 0, 4), Price: math.Inf(1)}
		if rapid.Bool().Draw(t, "window") {
			from := whole("opens", 0, 200)
			v.Windows = []Window{{from, from + whole("width", 0, 80)}}
		}
		if rapid.IntRange(0, 3).Draw(t, "needs something") == 0 {
			v.Needs = uint64(rapid.IntRange(0, 3).Draw(t, "needs"))
		}
		if !p.FewestShifts && rapid.IntRange(0, 5).Draw(t, "locked") == 0 {
			v.Only = []int{rapid.IntRange(0, len(p.Shifts)-1).Draw(t, "only")}
		}
		if !p.FewestShifts && rapid.Bool().Draw(t, "optional") {
			v.Price = whole("price", 0, 60)
		}
		p.Visits = append(p.Visits, v)
	}
	return p
}

// best tries every plan there is: how many that must be made are left out, how many shifts (where that counts), and the rest.
func best(p *Problem) [3]float64 {
	found := [3]float64{math.Inf(1)}
	plan := Plan{Routes: make([][]int, len(p.Shifts))}
	var place func(u int)
	place = func(u int) {
		if u == len(p.Visits) {
			plan.Used, plan.Distance = driven(p, plan)
			if verify(p, plan) == nil {
				if v := value(p, plan); slices.Compare(v[:], found[:]) < 0 {
					found = v
				}
			}
			return
		}
		plan.Left = append(plan.Left, u)
		place(u + 1)
		plan.Left = plan.Left[:len(plan.Left)-1]
		for r := range plan.Routes {
			before := plan.Routes[r]
			for at := range len(before) + 1 {
				plan.Routes[r] = slices.Insert(slices.Clone(before), at, u)
				place(u + 1)
			}
			plan.Routes[r] = before
		}
	}
	place(0)
	return found
}

func driven(p *Problem, plan Plan) (used int, distance float64) {
	for r, visits := range plan.Routes {
		if len(visits) == 0 {
			continue
		}
		used++
		at := p.Shifts[r].Start
		for _, u := range visits {
			distance += p.Distance[at*p.Places+p.Visits[u].Place]
			at = p.Visits[u].Place
		}
		distance += p.Distance[at*p.Places+p.Shifts[r].End]
	}
	return used, distance
}

func value(p *Problem, plan Plan) [3]float64 {
	v := [3]float64{0, 0, plan.Distance}
	if p.FewestShifts {
		v[1] = float64(plan.Used)
	}
	for _, u := range plan.Left {
		if price := p.Visits[u].Price; math.IsInf(price, 1) {
			v[0]++
		} else {
			v[2] += price
		}
	}
	return v
}

func TestSmallProblemsAreSolvedAsWellAsByTryingEveryPlan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := small(t)
		if p.Check() != nil {
			t.Skip("no sound problem")
		}
		got, want := [3]float64{math.Inf(1)}, best(p)
		for range 3 { // chance may fail one of them
			plan := Solve(p, rapid.Uint64().Draw(t, "seed"), Steps(3000))
			if err := verify(p, plan); err != nil {
				t.Fatalf("%v\n%+v", err, plan)
			}
			if v := value(p, plan); slices.Compare(v[:], got[:]) < 0 {
				got = v
			}
		}
		if got[0] > 0 && want[0] > 0 && (p.FewestShifts || got[0] == want[0]) {
			return // there is no plan with all that must be made; which one without them is nobody's promise
		}
		if got[0] != want[0] || got[1] != want[1] || math.Abs(got[2]-want[2]) > 1e-6 {
			t.Fatalf("%v, best %v", got, want)
		}
	})
}

func TestEveryPlacementAndEveryGapIsExplained(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := small(t)
		if p.Check() != nil {
			t.Skip("no sound problem")
		}
		plan := Solve(p, 1, Steps(300))
		for u, placed := range Placements(p, plan) {
			if (placed == nil) != slices.Contains(plan.Left, u) {
				t.Fatalf("visit %d: %v", u, placed)
			}
			if placed == nil {
				alone := &Problem{Places: p.Places, Distance: p.Distance, Time: p.Time, Shifts: p.Shifts, Visits: []Visit{p.Visits[u]}}
				alone.Visits[0].Price = math.Inf(1)
				fits := best(alone)[0] == 0
				if reason := Explain(p, plan, u); fits != (reason == Full || reason == NotWorth) {
					t.Fatalf("visit %d would fit alone: %v; %s", u, fits, reason)
				}
				continue
			}
			without := plan
			without.Routes = slices.Clone(plan.Routes)
			without.Routes[placed.Shift] = slices.Delete(slices.Clone(plan.Routes[placed.Shift]), placed.Position, placed.Position+1)
			if plan.Routes[placed.Shift][placed.Position] != u {
				t.Fatalf("visit %d does not stand there: %+v", u, placed)
			}
			if _, d := driven(p, without); math.Abs(plan.Distance-d-placed.Detour) > 1e-6 {
				t.Fatalf("visit %d: detour %v, %v with and %v without", u, placed.Detour, plan.Distance, d)
			}
			if placed.Arrive > placed.Begin+1e-9 || math.Abs(placed.Leave-placed.Begin-p.Visits[u].Duration) > 1e-9 {
				t.Fatalf("visit %d: %+v", u, placed)
			}
		}
	})
}

func TestWhyAVisitIsLeftOut(t *testing.T) {
	two := []float64{0, 10, 10, 0}
	day := Shift{Hours: Window{0, 100}, Capacity: 5, Has: 1}
	for want, p := range map[Reason]*Problem{
		NotAllowed:  {Visits: []Visit{{Place: 1}}},
		Unqualified: {Shifts: []Shift{day}, Visits: []Visit{{Place: 1, Needs: 2}}},
		TooBig:      {Shifts: []Shift{day}, Visits: []Visit{{Place: 1, Demand: 6}}},
		NotThatDay:  {Shifts: []Shift{day}, Visits: []Visit{{Place: 1, Windows: []Window{{200, 300}}}}},
		TooFar:      {Shifts: []Shift{day}, Visits: []Visit{{Place: 1, Windows: []Window{{0, 9}}}}},
		NotWorth:    {Shifts: []Shift{day}, Visits: []Visit{{Place: 1, Price: 19}}},
		Full:        {Shifts: []Shift{day}, Visits: []Visit{{Place: 1, Duration: 50, Price: 30}, {Place: 1, Duration: 50, Price: 40}}},
	} {
		p.Places, p.Distance, p.Time = 2, two, two
		if err := p.Check(); err != nil {
			t.Fatal(want, err)
		}
		plan := Solve(p, 1, Steps(200))
		if len(plan.Left) != 1 || plan.Left[0] != 0 {
			t.Errorf("%s: left are %v", want, plan.Left)
		} else if got := Explain(p, plan, 0); got != want {
			t.Errorf("%s, want %s", got, want)
		}
	}
}

// Two technicians, two days from 0 and from 1000. Only Ana may repair; Ben's first day is taken up by a visit that a dispatcher
// gave him.
func TestSeveralDaysAreFilledByWhoMayAndWhenItIsOpen(t *testing.T) {
	const repair = 1
	p := &Problem{Places: 2, Distance: []float64{0, 10, 10, 0}, Time: []float64{0, 10, 10, 0}}
	for _, has := range []uint64{repair, 0} {
		for day := range 2 {
			from := 1000 * float64(day)
			p.Shifts = append(p.Shifts, Shift{Hours: Window{from, from + 100}, Break: Window{from + 50, from + 60}, Has: has})
		}
	}
	const anaFirst, anaSecond, benFirst, benSecond = 0, 1, 2, 3
	bothDays := []Window{{0, 100}, {1000, 1100}}
	p.Visits = []Visit{
		{Place: 1, Duration: 30, Needs: repair, Windows: []Window{{0, 30}}, Price: 100},
		{Place: 1, Duration: 30, Needs: repair, Windows: bothDays[1:], Price: 100},
		{Place: 1, Duration: 40, Only: []int{benFirst}, Price: 100},
		{Place: 1, Duration: 40, Only: []int{benSecond}, Windows: bothDays[1:], Price: 100},
		{Place: 1, Duration: 35, Windows: []Window{{0, 15}, {1060, 1065}}, Price: 90}, // after the break nobody is home in time from it
	}
	if err := p.Check(); err != nil {
		t.Fatal(err)
	}
	plan := Solve(p, 1, Steps(2000))
	if err := verify(p, plan); err != nil {
		t.Fatal(err)
	}
	placed := Placements(p, plan)
	for u, want := range []int{anaFirst, anaSecond, benFirst, benSecond} {
		if placed[u] == nil || placed[u].Shift != want {
			t.Errorf("visit %d: %+v, want shift %d", u, placed[u], want)
		}
	}
	if len(plan.Left) != 1 || plan.Left[0] != 4 || Explain(p, plan, 4) != Full {
		t.Errorf("left %v: %s", plan.Left, Explain(p, plan, 4))
	}
	p.Visits[4].Duration = 30 // now one is home at 1100
	if plan = Solve(p, 1, Steps(2000)); len(plan.Left) != 0 || verify(p, plan) != nil {
		t.Fatalf("%+v: %v", plan, verify(p, plan))
	}
	if last := Placements(p, plan)[4]; last.Shift != anaSecond && last.Shift != benSecond || last.Begin != 1060 {
		t.Errorf("%+v", last)
	}
}

func TestTheSameSeedGivesTheSameAnswer(t *testing.T) {
	for _, in := range instances(t)[4:] {
		a, b := Solve(in.Problem(), 7, Steps(3000)), Solve(in.Problem(), 7, Steps(3000))
		if !reflect.DeepEqual(a, b) {
			t.Errorf("%s: %v and %v", in.Name, a, b)
		}
		if c := Solve(in.Problem(), 8, Steps(3000)); reflect.DeepEqual(a.Routes, c.Routes) {
			t.Errorf("%s: another seed gives the same, so that it is not asked", in.Name)
		}
	}
}

func TestProblemsThatAreNotSoundAreRefused(t *testing.T) {
	sound := func() *Problem {
		return &Problem{Places: 2, Distance: []float64{0, 1, 1, 0}, Time: []float64{0, 1, 1, 0}, Visits: []Visit{{Place: 1}}, Shifts: []Shift{{Hours: Window{0, 10}}}}
	}
	if err := sound().Check(); err != nil {
		t.Fatal(err)
	}
	for name, spoil := range map[string]func(p *Problem){
		"distances":    func(p *Problem) { p.Distance = p.Distance[:3] },
		"not a number": func(p *Problem) { p.Time[1] = math.NaN() },
		"place":        func(p *Problem) { p.Visits[0].Place = 2 },
		"duration":     func(p *Problem) { p.Visits[0].Duration = -1 },
		"price":        func(p *Problem) { p.Visits[0].Price = math.NaN() },
		"window":       func(p *Problem) { p.Visits[0].Windows = []Window{{2, 1}} },
		"windows":      func(p *Problem) { p.Visits[0].Windows = []Window{{1, 3}, {2, 4}} },
		"only":         func(p *Problem) { p.Visits[0].Only = []int{1} },
		"start":        func(p *Problem) { p.Shifts[0].Start = -1 },
		"hours":        func(p *Problem) { p.Shifts[0].Hours = Window{2, 1} },
		"break":        func(p *Problem) { p.Shifts[0].Break = Window{2, 1} },
		"capacity":     func(p *Problem) { p.Shifts[0].Capacity = math.Inf(1) },
		"too short":    func(p *Problem) { p.Shifts[0].End, p.Shifts[0].Hours.To = 1, 0.5 },
		"optional":     func(p *Problem) { p.FewestShifts = true },
	} {
		p := sound()
		spoil(p)
		if p.Check() == nil {
			t.Errorf("%s: nothing is said", name)
		}
	}
}
