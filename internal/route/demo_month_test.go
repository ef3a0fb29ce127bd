package route

import (
	"cmp"
	"encoding/csv"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"
)

// inspected is one line of testdata/demo-month.csv (see the README there): an inspection of the demo fleet that is due within one month, and
// who made the last one, when.
type inspected struct {
	region, city, site, technician string
	last                           time.Time
}

// demoMonth reads the month. The demo's towns are invented and have no positions: they are drawn within some 60 km of the middle of their
// region, from a seed, sites within 3 km of the middle of their town; technicians live in the town where they made most of last year's visits. Visits take 45 min and may be made on any
// working day of the month; shifts are from 8:00 to 16:30 with a rest at noon: common practice, no source.
func demoMonth(t *testing.T, seed uint64) (p *Problem, lines []inspected, technicians []string, days []time.Time, at []Position) {
	t.Helper()
	f, err := os.Open("testdata/demo-month.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var first time.Time
	regionOf := map[string]string{}
	for _, row := range rows[1:] {
		due, err1 := time.Parse(time.DateOnly, row[0])
		last, err2 := time.Parse(time.DateOnly, row[6])
		if err1 != nil || err2 != nil {
			t.Fatal(row, err1, err2)
		}
		first = time.Date(due.Year(), due.Month(), 1, 0, 0, 0, 0, time.UTC)
		lines = append(lines, inspected{row[1], row[2], row[3], row[5], last})
		if regionOf[row[5]] == "" {
			regionOf[row[5]] = row[1]
			technicians = append(technicians, row[5])
		}
	}
	slices.Sort(technicians)
	for day := first; day.Month() == first.Month(); day = day.AddDate(0, 0, 1) {
		if w := day.Weekday(); w != time.Saturday && w != time.Sunday {
			days = append(days, day)
		}
	}
	dice := rand.New(rand.NewPCG(seed, 5))
	near := func(of Position, deg float64) Position {
		return Position{of.LatitudeDeg + deg*(2*dice.Float64()-1), of.LongitudeDeg + 1.4*deg*(2*dice.Float64()-1)}
	}
	regions := map[string]Position{"us": {40, -89}, "eu": {50, 9}}
	towns, sites := map[string]Position{}, map[string]int{}
	var names []string
	for _, l := range lines {
		if !slices.Contains(names, l.region+" "+l.city) {
			names = append(names, l.region+" "+l.city)
		}
	}
	slices.Sort(names)
	for _, name := range names {
		towns[name] = near(regions[name[:2]], 0.55)
	}
	p = &Problem{}
	for n, who := range technicians {
		made := map[string]int{}
		for _, l := range lines {
			if l.technician == who {
				made[l.region+" "+l.city]++
			}
		}
		home := slices.MaxFunc(names, func(a, b string) int { return made[a] - made[b] })
		at = append(at, near(towns[home], 0.03))
		for _, day := range days {
			opens := day.Sub(first).Minutes() + 8*60
			has := uint64(1)
			if regionOf[who] == "eu" {
				has = 2
			}
			p.Shifts = append(p.Shifts, Shift{Start: n, End: n, Hours: Window{opens, opens + 510}, Break: Window{opens + 240, opens + 270}, Has: has})
		}
	}
	for _, l := range lines {
		if _, known := sites[l.region+l.city+l.site]; !known {
			sites[l.region+l.city+l.site] = len(at)
			at = append(at, near(towns[l.region+" "+l.city], 0.03))
		}
		needs := uint64(1)
		if l.region == "eu" {
			needs = 2
		}
		p.Visits = append(p.Visits, Visit{Place: sites[l.region+l.city+l.site], Duration: 45, Needs: needs, Price: 4000})
	}
	p.Places = len(at)
	roads := Roads{Factor: 1.3, SpeedKmh: 45, ArrivalMin: 8}
	for a := range at {
		for b := range at {
			p.Time = append(p.Time, roads.Minutes(at[a], at[b]))
		}
	}
	p.Distance = p.Time
	if err := p.Check(); err != nil {
		t.Fatal(err)
	}
	return p, lines, technicians, days, at
}

// byHand plans as an office does from last year's book: the same technician in the same week as last year, town after town and site
// after site, day after day of that week; what does not fit goes to the technician's next free day, then to anybody's.
func byHand(p *Problem, lines []inspected, technicians []string, days []time.Time) Plan {
	plan := Plan{Routes: make([][]int, len(p.Shifts)), Left: []int{}}
	order := make([]int, len(lines))
	for u := range order {
		order[u] = u
	}
	week := func(d time.Time) time.Time { return d.AddDate(0, 0, -(int(d.Weekday())+6)%7) }
	again := func(u int) time.Time { return week(lines[u].last.AddDate(0, 0, 52*7)) }
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Or(again(a).Compare(again(b)), strings.Compare(lines[a].city, lines[b].city), strings.Compare(lines[a].site, lines[b].site))
	})
	for _, u := range order {
		who := slices.Index(technicians, lines[u].technician)
		var choice []int
		of := func(n int, those func(day time.Time) bool) {
			for d, day := range days {
				if those(day) {
					choice = append(choice, n*len(days)+d)
				}
			}
		}
		of(who, func(day time.Time) bool { return week(day).Equal(again(u)) })
		of(who, func(day time.Time) bool { return week(day).After(again(u)) })
		of(who, func(day time.Time) bool { return true })
		for n := range technicians {
			of(n, func(day time.Time) bool { return true })
		}
		placed := false
		for _, r := range choice {
			with := append(slices.Clone(plan.Routes[r]), u)
			if _, ok := oneRoute(p, r, with); ok {
				plan.Routes[r], placed = with, true
				break
			}
		}
		if !placed {
			plan.Left = append(plan.Left, u)
		}
	}
	slices.Sort(plan.Left)
	plan.Used, plan.Distance = driven(p, plan)
	return plan
}

// go test -v -run TestAMonthOfTheDemoFleet ./internal/route prints the figures of DEVELOPERS.md.
func TestAMonthOfTheDemoFleetTakesLessOfTheRoadThanBySavingsAndByHand(t *testing.T) {
	for seed := range uint64(5) {
		p, lines, technicians, days, at := demoMonth(t, seed)
		roads := Roads{Factor: 1.3}
		km := func(plan Plan) (sum float64) {
			for r, visits := range plan.Routes {
				from := p.Shifts[r].Start
				for _, u := range visits {
					sum += roads.KM(at[from], at[p.Visits[u].Place])
					from = p.Visits[u].Place
				}
				if len(visits) > 0 {
					sum += roads.KM(at[from], at[p.Shifts[r].End])
				}
			}
			return sum
		}
		t.Logf("%d visits to %d sites, %d technicians, %d working days", len(lines), p.Places-len(technicians), len(technicians), len(days))
		search, savings, hand := Solve(p, 1, Steps(40_000)), bySavings(p), byHand(p, lines, technicians, days)
		for _, x := range []struct {
			name string
			plan Plan
		}{{"search", search}, {"savings and local search", savings}, {"by hand", hand}} {
			if err := verify(p, x.plan); err != nil {
				t.Fatalf("%s: %v", x.name, err)
			}
			t.Logf("%s: %.0f km, %.1f h on the road, %.1f h with visits, %d days of technicians, %d left out", x.name, km(x.plan), x.plan.Distance/60, x.plan.Distance/60+float64(len(lines)-len(x.plan.Left))*0.75, x.plan.Used, len(x.plan.Left))
			if len(search.Left) > len(x.plan.Left) || len(search.Left) == len(x.plan.Left) && search.Distance > x.plan.Distance+1e-6 {
				t.Errorf("%s is better", x.name)
			}
		}
	}
}
