package trend

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"lintel.example/lintel/internal/duedate"
)

func day(t interface{ Fatal(...any) }, text string) duedate.Day {
	d, err := duedate.ParseDay(text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// at makes points of days since 2015-01-01.
func at(t interface{ Fatal(...any) }, days []int, values []float64) []Point {
	points := make([]Point, len(days))
	for i := range days {
		points[i] = Point{Day: day(t, "2015-01-01").AddDays(days[i]), Value: values[i]}
	}
	return points
}

func ptr(v float64) *float64 { return &v }

// The first row is the example of Sen's paper of 1968: slope 4, height 6, interval 26/7 to 35/8 (as the tests of the R package
// "deming" have it, which also mend a slip of the paper's list). The second is the example of the R package "statpsych",
// function ci.theil (method of Hollander and Wolfe 1999). All figures but Sen's were computed with SciPy 1.10.1, stats.theilslopes(y, x, 0.95,
// method='joint'), which gives the same for the first two.
func TestSlopeIntervalAndHeightAreThoseOfPublishedExamples(t *testing.T) {
	for _, c := range []struct {
		name                      string
		x, y                      []float64
		low, likely, high, height float64
	}{
		{"Sen 1968", []float64{1, 2, 3, 4, 10, 12, 18}, []float64{9, 15, 19, 20, 45, 55, 78}, 26.0 / 7, 4, 35.0 / 8, 6},
		{"Hollander and Wolfe's method, with ties among x", []float64{67, 28, 30, 28, 52, 40, 25, 37, 44, 10, 14, 20, 28, 40, 51},
			[]float64{21, 4, 9, 12, 35, 18, 10, 22, 24, 1, 6, 8, 13, 16, 19}, 0.32432432432432434, 0.5, 0.75, -2},
		{"ties among the values", []float64{0, 181, 370, 548, 731, 915, 1096, 1280}, []float64{4.0, 4.0, 3.9, 3.9, 3.9, 3.7, 3.7, 3.6},
			-0.0005291005291005296, -0.00032018442622950806, -0.00013679890560875526, 4.034695184426229},
		{"an outlier", []float64{0, 365, 731, 1096, 1461, 1826, 2192}, []float64{110, 113, 118, 60, 128, 131, 137},
			0.00821917808219178, 0.012320328542094456, 0.01639344262295082, 108.99383983572895},
		{"two on one day", []float64{0, 0, 365, 365, 730, 730, 1095}, []float64{10, 11, 12, 12, 14, 15, 15},
			0.0027397260273972603, 0.00502283105022831, 0.00684931506849315, 10.166666666666666},
	} {
		order := make([]int, len(c.x))
		for i := range order {
			order[i] = i
		}
		slices.SortFunc(order, func(a, b int) int { return int(c.x[a] - c.x[b]) })
		x, y := make([]float64, len(order)), make([]float64, len(order))
		for i, k := range order {
			x[i], y[i] = c.x[k], c.y[k]
		}
		low, likely, high := slope(x, y)
		for _, pair := range [][2]float64{{low, c.low}, {likely, c.likely}, {high, c.high}, {height(x, y, likely), c.height}} {
			if math.Abs(pair[0]-pair[1]) > 1e-12*max(1, math.Abs(pair[1])) {
				t.Errorf("%s: %v, published %v", c.name, pair[0], pair[1])
			}
		}
	}
}

func TestNothingIsToldThatThePointsDoNotBear(t *testing.T) {
	yearly := []int{0, 365, 730, 1095, 1460, 1825}
	falling := []float64{4.0, 3.9, 3.8, 3.7, 3.6, 3.5}
	for _, c := range []struct {
		name   string
		points []Point
		limit  Limit
		want   Reason
	}{
		{"none at all", nil, Limit{}, FewPoints},
		{"four", at(t, yearly[:4], falling[:4]), Limit{AtLeast: ptr(3)}, FewPoints},
		{"six on four days", at(t, []int{0, 0, 365, 365, 730, 1095}, falling), Limit{AtLeast: ptr(3)}, FewPoints},
		{"one day short of eighteen months", at(t, []int{0, 100, 200, 300, 400, 546}, falling), Limit{AtLeast: ptr(3)}, ShortTime}, // 2016-06-30
		{"up and down", at(t, yearly, []float64{4, 3.8, 4.1, 3.9, 4, 3.9}), Limit{AtLeast: ptr(3)}, NoDrift},
		{"always the same", at(t, yearly, []float64{4, 4, 4, 4, 4, 4}), Limit{AtLeast: ptr(3)}, NoDrift},
		{"no bound", at(t, yearly, falling), Limit{}, NoLimit},
		{"away from the bound", at(t, yearly, falling), Limit{AtMost: ptr(5)}, Away},
		{"in twenty years", at(t, yearly, falling), Limit{AtLeast: ptr(1.5)}, FarOff},
	} {
		got := Of(c.points, c.limit)
		told := got.Line != nil
		if got.Reason != c.want || got.Crossing != nil || told != slices.Contains([]Reason{NoLimit, Away, FarOff}, c.want) {
			t.Errorf("%s: %q, a line: %v, a day: %v; want %q", c.name, got.Reason, told, got.Crossing, c.want)
		}
	}
	if got := Of(at(t, []int{0, 100, 200, 300, 400, 547}, falling), Limit{AtLeast: ptr(3)}); got.Crossing == nil {
		t.Errorf("eighteen months to the day: %q", got.Reason)
	}
}

// A tenth of a second a year, exactly: the day can be counted by hand.
func TestTheDayIsWhereTheLineMeetsTheLimit(t *testing.T) {
	falling := at(t, []int{0, 365, 730, 1095, 1460, 1825}, []float64{4.0, 3.9, 3.8, 3.7, 3.6, 3.5})
	c := Of(falling, Limit{AtLeast: ptr(3.3), AtMost: ptr(9)}).Crossing
	want := day(t, "2015-01-01").AddDays(7 * 365)
	if c == nil || c.Bound != 3.3 || c.AtMost || c.Likely != want || c.Earliest.DaysUntil(want) > 1 || want.DaysUntil(c.Latest) > 1 {
		t.Errorf("%+v, want %v", c, want)
	}
	rising := at(t, []int{0, 365, 730, 1095, 1460, 1825}, []float64{100, 105, 110, 115, 120, 125})
	c = Of(rising, Limit{AtLeast: ptr(20), AtMost: ptr(133)}).Crossing
	want = day(t, "2015-01-01").AddDays(2409) // 33 N at 5 N in 365 days
	if c == nil || c.Bound != 133 || !c.AtMost || c.Likely != want {
		t.Errorf("%+v, want %v", c, want)
	}
	c = Of(rising, Limit{AtMost: ptr(118)}).Crossing // is past it
	if last := rising[5].Day; c == nil || c.Earliest != last || c.Likely != last || c.Latest != last {
		t.Errorf("%+v, want the day of the last point", c)
	}
}

func TestAChangeOfTheDoorBeginsAnew(t *testing.T) {
	points := at(t, []int{0, 365, 730, 1095, 1460, 1825, 2190}, []float64{4.0, 3.9, 3.8, 3.7, 3.6, 4.2, 4.1})
	if Of(points, Limit{AtLeast: ptr(3)}).Reason != NoDrift {
		t.Fatal("the series as a whole was to show nothing")
	}
	for i := range points[5:] {
		points[5+i].Run = 1
	}
	got := Of(points, Limit{AtLeast: ptr(3)})
	if got.Reason != FewPoints || len(got.Points) != 2 {
		t.Errorf("after the change: %q of %d points", got.Reason, len(got.Points))
	}
	if before := Of(points[:5], Limit{AtLeast: ptr(3)}); before.Crossing == nil {
		t.Errorf("before the change: %q", before.Reason)
	}
}

// drawn gives points whose days and values lie on grids, so that moving them by steps of the grid rounds nothing.
func drawn(t *rapid.T) []Point {
	n := rapid.IntRange(LeastPoints, 14).Draw(t, "n")
	d, v := 0, rapid.IntRange(-50, 50).Draw(t, "start")
	drift := rapid.IntRange(-3, 3).Draw(t, "drift")
	points := make([]Point, n)
	for i := range points {
		d += rapid.IntRange(140, 500).Draw(t, "gap")
		v += drift + rapid.IntRange(-2, 2).Draw(t, "noise")
		points[i] = Point{Day: day(t, "2015-01-01").AddDays(d), Value: float64(v) / 8}
	}
	return points
}

func moved(points []Point, by, times float64, days int) []Point {
	out := slices.Clone(points)
	for i := range out {
		out[i].Value, out[i].Day = (out[i].Value+by)*times, out[i].Day.AddDays(days)
	}
	return out
}

func TestTheOrderOfThePointsDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		points := drawn(t)
		limit := Limit{AtLeast: ptr(-20), AtMost: ptr(20)}
		one, other := Of(points, limit), Of(rapid.Permutation(points).Draw(t, "shuffled"), limit)
		same(t, one, other, 1, 0)
	})
}

func TestMovingDaysValuesAndLimitTogetherMovesTheAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		points := drawn(t)
		by, days := float64(rapid.IntRange(-64, 64).Draw(t, "by"))/8, rapid.IntRange(-2000, 2000).Draw(t, "days")
		one := Of(points, Limit{AtLeast: ptr(-20), AtMost: ptr(20)})
		other := Of(moved(points, by, 1, days), Limit{AtLeast: ptr(-20 + by), AtMost: ptr(20 + by)})
		if far(one) || far(other) {
			return // ten years are not the same number of days everywhere
		}
		same(t, one, other, 1, days)
	})
}

func TestAnotherUnitGivesTheSameDays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		points := drawn(t)
		times := []float64{0.25, 4, 1024}[rapid.IntRange(0, 2).Draw(t, "times")]
		one := Of(points, Limit{AtLeast: ptr(-20), AtMost: ptr(20)})
		other := Of(moved(points, 0, times, 0), Limit{AtLeast: ptr(-20 * times), AtMost: ptr(20 * times)})
		same(t, one, other, times, 0)
		mirrored := Of(moved(points, 0, -1, 0), Limit{AtLeast: ptr(-20), AtMost: ptr(20)})
		if (one.Crossing == nil) != (mirrored.Crossing == nil) || one.Crossing != nil && one.Crossing.AtMost == mirrored.Crossing.AtMost {
			t.Fatalf("mirrored: %+v, %+v", one.Crossing, mirrored.Crossing)
		}
	})
}

func far(t Trend) bool { return t.Reason == FarOff || t.Crossing != nil && t.Crossing.Latest.IsZero() }

func same(t *rapid.T, one, other Trend, times float64, days int) {
	if one.Reason != other.Reason || (one.Line == nil) != (other.Line == nil) || (one.Crossing == nil) != (other.Crossing == nil) {
		t.Fatalf("%q %+v, %q %+v", one.Reason, one.Crossing, other.Reason, other.Crossing)
	}
	if one.Line != nil {
		a1, b1, c1 := one.Line.PerYear()
		a2, b2, c2 := other.Line.PerYear()
		for _, pair := range [][2]float64{{a1, a2}, {b1, b2}, {c1, c2}} {
			if math.Abs(pair[0]*times-pair[1]) > 1e-9*math.Abs(pair[1]) {
				t.Fatalf("slopes %v, %v", []float64{a1, b1, c1}, []float64{a2, b2, c2})
			}
		}
	}
	if one.Crossing != nil {
		a, b := one.Crossing, other.Crossing
		for _, pair := range [][2]duedate.Day{{a.Earliest, b.Earliest}, {a.Likely, b.Likely}, {a.Latest, b.Latest}} {
			if pair[0].IsZero() != pair[1].IsZero() || !pair[0].IsZero() && max(pair[0].AddDays(days).DaysUntil(pair[1]), -pair[0].AddDays(days).DaysUntil(pair[1])) > 1 {
				t.Fatalf("%+v, %+v, %d days", a, b, days)
			}
		}
		if a.Earliest.After(a.Likely) || !a.Latest.IsZero() && a.Likely.After(a.Latest) {
			t.Fatalf("out of order: %+v", a)
		}
	}
}

// Least squares, which is no part of this room, is turned by the same outlier: the test would see a fit that is not robust.
func TestOneSlipOfThePenDoesNotTurnTheSlope(t *testing.T) {
	turned := 0
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(6, 12).Draw(t, "n")
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = float64(i*365+rapid.IntRange(-30, 30).Draw(t, "early or late")), 4-float64(i)/8
		}
		at := rapid.IntRange(0, n-1).Draw(t, "at")
		y[at] += float64(rapid.IntRange(-1000, 1000).Draw(t, "slip"))
		if _, likely, _ := slope(x, y); likely >= 0 {
			t.Fatalf("slope %v of %v", likely, y)
		}
		if _, squares := stat.LinearRegression(x, y, nil, false); squares >= 0 {
			turned++
		}
	})
	if turned == 0 {
		t.Error("no slip was wild enough to turn least squares")
	}
}

// A trend is told just when Kendall's S, taken from another's library, stands out of chance. That library knows no ties, so there are none.
func TestATrendIsToldJustWhenKendallsTauStandsOut(t *testing.T) {
	told, silent := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		points := drawn(t)
		x, y := make([]float64, len(points)), make([]float64, len(points))
		for i := range points {
			points[i].Value += float64(i*7%16) / 128 // less than a step of the grid, another at each point
			x[i], y[i] = float64(points[0].Day.DaysUntil(points[i].Day)), points[i].Value
		}
		pairs := float64(len(x)*(len(x)-1)) / 2
		s := math.Abs(stat.Kendall(x, y, nil)) * pairs
		chance := 1.959963984540054 * math.Sqrt(kendallVariance(x, y)) // the normal quantile of 0.975, from printed tables
		switch reason := Of(points, Limit{}).Reason; {
		case s > chance+2 && reason != NoLimit, s < chance-2 && reason != NoDrift:
			t.Fatalf("S %v, by chance up to %v: %q", s, chance, reason)
		case reason == NoLimit:
			told++
		case reason == NoDrift:
			silent++
		}
	})
	if told == 0 || silent == 0 {
		t.Errorf("%d told, %d silent: one side was not tried", told, silent)
	}
}

// simulated is a door that is inspected about every year and read to a twentieth of a second; the drift is a tenth a year.
func simulated(r *rand.Rand, drift, noise float64) (points []Point, last float64) {
	n := 5 + r.IntN(8)
	for i := range n {
		d := i*365 + r.IntN(61) - 30
		value := 5 + drift*float64(d)/365 + noise*r.NormFloat64()
		points = append(points, Point{Day: epoch().AddDays(d), Value: math.Round(value*20) / 20})
		last = float64(d)
	}
	return points, last
}

func epoch() duedate.Day { d, _ := duedate.NewDay(2015, 1, 1); return d }

func TestTheIntervalHoldsTheTrueDayInAboutNineOfTenDoors(t *testing.T) {
	r := rand.New(rand.NewPCG(1968, 1950))
	for _, noise := range []float64{0.03, 0.06, 0.1} { // seconds, as an inspector's watch scatters: common practice, no source
		told, held := 0, 0
		for range 500 {
			points, last := simulated(r, -0.1, noise)
			truth := last + 100 + float64(r.IntN(1200))
			c := Of(points, Limit{AtLeast: ptr(5 - 0.1*truth/365)}).Crossing
			if c == nil {
				continue
			}
			told++
			day := epoch().AddDays(int(truth))
			if !day.Before(c.Earliest) && (c.Latest.IsZero() || !day.After(c.Latest)) {
				held++
			}
		}
		share := float64(held) / float64(told)
		t.Logf("scatter %.2f s: told of %d of 500 doors, held %.1f %%", noise, told, 100*share)
		if told < 200 || share < 0.90 || share > 0.99 {
			t.Errorf("scatter %.2f s: told of %d of 500 doors, the interval held the day in %.1f %%", noise, told, 100*share)
		}
	}
}

func TestADoorThatDoesNotDriftIsSeldomSaidTo(t *testing.T) {
	r := rand.New(rand.NewPCG(1968, 1951))
	drifting, arriving := 0, 0
	for range 500 {
		points, _ := simulated(r, 0, 0.1)
		switch got := Of(points, Limit{AtLeast: ptr(4.8)}); {
		case got.Crossing != nil:
			arriving++
			fallthrough
		case got.Line != nil:
			drifting++
		}
	}
	t.Logf("of 500 doors without drift %d were said to drift and %d to reach a limit of twice their scatter", drifting, arriving)
	if drifting < 1 || drifting > 35 || arriving > 18 { // chance alone lets one in twenty through, half of them towards the bound
		t.Errorf("of 500 doors without drift %d were said to drift and %d to reach their limit", drifting, arriving)
	}
}

func TestAThousandPointsAreAnsweredAtOnce(t *testing.T) {
	var points []Point
	for i := range 1000 {
		points = append(points, Point{Day: epoch().AddDays(i * 7), Value: 5 - float64(i)/1000})
	}
	if got := Of(points, Limit{AtLeast: ptr(3.5)}); len(got.Points) != mostPoints || got.Points[mostPoints-1].Value != points[999].Value || got.Crossing == nil {
		t.Errorf("%d points, %q", len(got.Points), got.Reason)
	}
}

func BenchmarkTrendOfTenInspections(b *testing.B) {
	points, _ := simulated(rand.New(rand.NewPCG(1, 2)), -0.1, 0.05)
	for b.Loop() {
		Of(points, Limit{AtLeast: ptr(3)})
	}
}
