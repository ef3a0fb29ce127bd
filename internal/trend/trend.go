package trend

import (
	"cmp"
	"math"
	"slices"

	"lintel.example/lintel/internal/duedate"
)

// Point is one value on the day on which it was read.
type Point struct {
	Day   duedate.Day
	Value float64
	// Run counts how often the door had been changed before: a setting, a part, a repair. Points of different runs are of
	// different doors, so to speak, and only the last run is looked at.
	Run int
}

// Limit is what the value must stay within, in its unit; nil is no bound on that side.
type Limit struct {
	AtLeast, AtMost *float64
}

// Reason says why no day is told. It is also the last part of a message key, "trend.reason.<reason>".
type Reason string

const (
	FewPoints Reason = "few_points"      // fewer than LeastPoints on different days since the last change
	ShortTime Reason = "short_time"      // less than LeastMonths from the first to the last of them
	NoDrift   Reason = "no_drift"        // the interval of the slope holds zero: it may as well rise as fall
	NoLimit   Reason = "no_limit"        // it drifts, but towards no bound
	Away      Reason = "away_from_limit" // it drifts away from its only bound
	FarOff    Reason = "far_off"         // it reaches the bound later than MostYears after the last point
)

const (
	// LeastPoints are five because four points stand in one order by chance in 2 of 24 cases, five in 2 of 120: no interval that
	// holds in 95 of 100 cases can be had of fewer.
	LeastPoints = 5
	// LeastMonths and MostYears are ours: a year and a half has seen one winter and two summers or the other way round, and nobody knows
	// what becomes of a door in more than ten years.
	LeastMonths = 18
	MostYears   = 10
	// Level is the share of cases in which the interval of the slope holds the true one. That of the day holds it in about nine of ten:
	// the height of the line is uncertain as well.
	Level = 0.95
	// mostPoints bounds the pairs; the newest count. No door is inspected more often between two changes.
	mostPoints = 200
)

const daysPerYear = 365.2425

// Trend is what the points since the last change say. With an empty Reason there is a Crossing; with NoLimit, Away and FarOff
// there is a Line; else there is neither.
type Trend struct {
	Points   []Point // of the last run, by day
	Line     *Line
	Crossing *Crossing
	Reason   Reason
}

// Line is the fitted line, with the lines of the least and the greatest slope of its interval.
type Line struct {
	From              duedate.Day // the day of the first point
	low, likely, high straight    // of the least slope of the interval, of the median, of the greatest
}

// straight is a line over the days since Line.From.
type straight struct{ height, perDay float64 }

// Crossing is when the line reaches the bound that it heads for. No day is before the last point's: a bound that is
// reached already is reached from then on.
type Crossing struct {
	Bound    float64
	AtMost   bool        // the bound is the greatest value allowed; else the least
	Earliest duedate.Day // the ends of the interval
	Likely   duedate.Day
	Latest   duedate.Day // zero: later than MostYears after the last point, or never
}

// Of tells the trend of the points of the last run. The order of the points does not matter; values are finite.
func Of(points []Point, limit Limit) Trend {
	var t Trend
	t.Points = lastRun(points)
	n := len(t.Points)
	days := 0
	for i, p := range t.Points {
		if i == 0 || p.Day != t.Points[i-1].Day {
			days++
		}
	}
	if days < LeastPoints {
		t.Reason = FewPoints
		return t
	}
	first, last := t.Points[0].Day, t.Points[n-1].Day
	if last.Before(first.AddMonths(LeastMonths)) {
		t.Reason = ShortTime
		return t
	}
	x, y := make([]float64, n), make([]float64, n)
	for i, p := range t.Points {
		x[i], y[i] = float64(first.DaysUntil(p.Day)), p.Value
	}
	low, likely, high := slope(x, y)
	if !(low > 0 || high < 0) {
		t.Reason = NoDrift
		return t
	}
	through := func(perDay float64) straight { return straight{height(x, y, perDay), perDay} }
	t.Line = &Line{From: first, low: through(low), likely: through(likely), high: through(high)}
	bound, away := limit.AtMost, limit.AtLeast
	if likely < 0 {
		bound, away = away, bound
	}
	switch {
	case bound != nil:
		t.Crossing, t.Reason = t.Line.crossing(*bound, last)
	case away != nil:
		t.Reason = Away
	default:
		t.Reason = NoLimit
	}
	return t
}

// lastRun gives the points since the last change, by day, the newest of them when there are too many.
func lastRun(points []Point) []Point {
	run := math.MinInt
	for _, p := range points {
		run = max(run, p.Run)
	}
	of := slices.DeleteFunc(slices.Clone(points), func(p Point) bool { return p.Run != run })
	slices.SortFunc(of, func(a, b Point) int { return cmp.Or(a.Day.Compare(b.Day), cmp.Compare(a.Value, b.Value)) })
	return of[max(0, len(of)-mostPoints):]
}

// crossing tells when the line and the ends of its interval reach a bound that they head for.
func (l *Line) crossing(bound float64, last duedate.Day) (*Crossing, Reason) {
	day := func(s straight, round func(float64) float64) duedate.Day {
		d := round((bound - s.height) / s.perDay) // not zero: the whole interval points one way
		if d := l.From.AddDays(int(min(max(d, -1e6), 1e6))); d.After(last) {
			return d
		}
		return last
	}
	end := last.AddYears(MostYears)
	c := &Crossing{Bound: bound, AtMost: l.likely.perDay > 0, Likely: day(l.likely, math.Round)}
	if c.Likely.After(end) {
		return nil, FarOff
	}
	for _, s := range []straight{l.low, l.likely, l.high} { // the three turn about different points: any may be the first
		if d := day(s, math.Floor); c.Earliest.IsZero() || d.Before(c.Earliest) {
			c.Earliest = d
		}
		if d := day(s, math.Ceil); d.After(c.Latest) {
			c.Latest = d
		}
	}
	if c.Latest.After(end) {
		c.Latest = duedate.Day{}
	}
	return c, ""
}

// PerYear is the slope in units a year, and the ends of its interval.
func (l *Line) PerYear() (low, likely, high float64) {
	return l.low.perDay * daysPerYear, l.likely.perDay * daysPerYear, l.high.perDay * daysPerYear
}

// On gives the line's value on a day, and the least and the greatest of the lines of its interval there.
func (l *Line) On(day duedate.Day) (low, likely, high float64) {
	x := float64(l.From.DaysUntil(day))
	at := func(s straight) float64 { return s.height + s.perDay*x }
	a, b, c := at(l.low), at(l.likely), at(l.high)
	return min(a, b, c), b, max(a, b, c)
}

// slope gives the median of all pairwise slopes and the ends of its interval at Level. x is in order.
func slope(x, y []float64) (low, likely, high float64) {
	var all []float64
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			if x[j] > x[i] {
				all = append(all, (y[j]-y[i])/(x[j]-x[i]))
			}
		}
	}
	slices.Sort(all)
	n := float64(len(all))
	chance := math.Sqrt2 * math.Erfinv(Level) * math.Sqrt(kendallVariance(x, y))
	least := int(math.RoundToEven((n-chance)/2)) - 1
	greatest := int(math.RoundToEven((n + chance) / 2))
	return all[max(0, least)], median(all), all[min(len(all)-1, greatest)]
}

// height is the median of what a line of that slope through zero leaves over.
func height(x, y []float64, perDay float64) float64 {
	over := make([]float64, len(x))
	for i := range x {
		over[i] = y[i] - perDay*x[i]
	}
	slices.Sort(over)
	return median(over)
}

// kendallVariance is the variance of Kendall's S when there is no trend: ties among days and among values lessen it (Sen 1968, 2.6).
func kendallVariance(x, y []float64) float64 {
	term := func(n float64) float64 { return n * (n - 1) * (2*n + 5) / 18 }
	v := term(float64(len(x)))
	for _, values := range [][]float64{x, y} {
		times := map[float64]float64{}
		for _, value := range values {
			times[value]++
		}
		for _, t := range times {
			v -= term(t)
		}
	}
	return max(0, v)
}

func median(sorted []float64) float64 {
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}
