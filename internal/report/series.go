package report

import (
	"io"
	"math"
)

// SeriesDrawing is what the drawing of one reading over the years shows. Times are
// years with fractions (2026.5 is the middle of 2026), values are in Unit (SI).
type SeriesDrawing struct {
	Title, Desc string // Desc says in words everything that the drawing shows
	Units       Units
	Unit        string // SI, or m2
	Dots        []SeriesDot
	Set         bool        // the values follow from how something was set: nobody read them
	Changes     []float64   // when the door was changed
	Least, Most *float64    // the limits
	Line        *SeriesLine // nil: no trend is told
}

// SeriesDot is one value; what was read before the last change is drawn hollow.
type SeriesDot struct {
	Year, Value float64
	Before      bool
}

// SeriesLine is a fitted line with its interval, and when it reaches a limit.
type SeriesLine struct {
	From float64 // year of the first point that it is fitted to
	At   func(year float64) (low, likely, high float64)
	// Earliest, Likely and Latest say when it reaches Bound; Likely is 0 when it does
	// not, Latest is 0 when that is farther off than anybody can say.
	Bound, Earliest, Likely, Latest float64
}

// The pens of a series.
var (
	axisPen   = Pen{WidthMM: 0.2, Tone: Ink}
	gridPen   = Pen{WidthMM: 0.09, Tone: Faint}
	dotPen    = Pen{WidthMM: 0.3, Tone: Ink}
	limitPen  = Pen{WidthMM: 0.5, Dash: []float64{3, 1}, Tone: Ink}
	linePen   = Pen{WidthMM: 0.35, Tone: Ink}
	bandPen   = Pen{WidthMM: 0.15, Dash: []float64{0.8, 0.8}, Tone: Ink}
	changePen = Pen{WidthMM: 0.25, Dash: []float64{0.3, 0.9}, Tone: Ink}
	reachPen  = Pen{WidthMM: 0.7, Tone: Ink}
)

// The paper of a series, in millimetres. One metre of its scene is one millimetre.
const (
	seriesWidth  = 120
	seriesHeight = 46
	dotRadius    = 1
)

// SeriesSVG draws readings over the years.
func SeriesSVG(w io.Writer, t Texts, in SeriesDrawing) error { return WriteSVG(w, seriesScene(t, in)) }

// chart turns years and values into places on the paper.
type chart struct{ x0, x1, y0, y1 float64 }

func (f chart) at(year, value float64) Point {
	return Point{(year - f.x0) / (f.x1 - f.x0) * seriesWidth, (min(max(value, f.y0), f.y1) - f.y0) / (f.y1 - f.y0) * seriesHeight}
}

func seriesScene(t Texts, in SeriesDrawing) *Scene {
	s := &Scene{Title: in.Title, Desc: in.Desc, Denominator: 1000}
	f, step := frameOf(in)
	in.axes(t, s, f, step)
	used := map[string]bool{}
	if l := in.Line; l != nil {
		l.band(s, f)
		used["line"], used["band"] = true, true
	}
	for _, c := range in.Changes {
		if c >= f.x0 {
			s.add(&Line{Paths: [][]Point{{f.at(c, f.y0), f.at(c, f.y1)}}, Pen: changePen})
			used["change"] = true
		}
	}
	for _, bound := range []*float64{in.Least, in.Most} {
		if bound != nil {
			s.add(&Line{Paths: [][]Point{{f.at(f.x0, *bound), f.at(f.x1, *bound)}}, Pen: limitPen})
			used["limit"] = true
		}
	}
	if l := in.Line; l != nil && l.Likely != 0 {
		l.reach(s, f)
		used["reach"] = true
	}
	for _, d := range in.Dots {
		s.add(dot(f.at(d.Year, d.Value), d.Before)...)
		switch {
		case in.Set:
			used["set"] = true
		case d.Before:
			used["before"] = true
		default:
			used["read"] = true
		}
	}
	seriesLegend(t, s, used)
	return s
}

// frameOf gives the piece of paper that everything fits into, and the distance of the lines across it in the unit of the reader.
func frameOf(in SeriesDrawing) (f chart, step float64) {
	f = chart{math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)}
	value := func(v float64) { f.y0, f.y1 = min(f.y0, v), max(f.y1, v) }
	for _, d := range in.Dots {
		f.x0, f.x1 = min(f.x0, d.Year), max(f.x1, d.Year)
		value(d.Value)
	}
	for _, bound := range []*float64{in.Least, in.Most} {
		if bound != nil {
			value(*bound)
		}
	}
	if math.IsInf(f.x0, 1) {
		f.x0, f.x1 = 0, 1
	}
	if math.IsInf(f.y0, 1) {
		f.y0, f.y1 = 0, 1
	}
	if l := in.Line; l != nil {
		f.x1 += 0.5
		if l.Likely != 0 {
			end := l.Likely + 1
			if l.Latest != 0 {
				end = min(end, l.Latest)
			}
			f.x1 = max(f.x1, end)
		}
	}
	f.x0, f.x1 = math.Floor(f.x0), math.Ceil(f.x1+0.1)
	factor, _ := in.Units.own(in.Unit)
	step = niceStep((f.y1 - f.y0) * factor)
	f.y0, f.y1 = (math.Floor(f.y0*factor/step-0.2))*step/factor, (math.Ceil(f.y1*factor/step+0.2))*step/factor
	return f, step
}

// niceStep divides a range into some four steps of 1, 2 or 5 times a power of ten.
func niceStep(span float64) float64 {
	if !(span > 0) {
		return 1
	}
	rough := span / 4
	power := math.Pow(10, math.Floor(math.Log10(rough)))
	for _, m := range []float64{1, 2, 5} {
		if rough <= m*power {
			return m * power
		}
	}
	return 10 * power
}

// axes draws lines across for values and up for years, with their numbers.
func (in SeriesDrawing) axes(t Texts, s *Scene, f chart, step float64) {
	factor, unit := in.Units.own(in.Unit)
	digits := max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	power := math.Pow10(digits)
	var grid [][]Point
	for v := f.y0 * factor; v <= f.y1*factor+step/2; v += step {
		p := f.at(f.x0, v/factor)
		grid = append(grid, []Point{p, f.at(f.x1, v/factor)})
		s.add(&Text{At: Point{p.X - 1.5, p.Y - 0.9}, String: withUnit(t, math.Round(v*power)/power, unit), HeightMM: textMM, Anchor: End, Tone: Ink})
	}
	every := math.Ceil((f.x1 - f.x0) / 12)
	for y := f.x0; y <= f.x1; y += every {
		p := f.at(y, f.y0)
		grid = append(grid, []Point{p, f.at(y, f.y1)})
		s.add(&Text{At: Point{p.X, p.Y - 4}, String: decimal(y, 0, false), HeightMM: textMM, Anchor: Middle, Tone: Ink})
	}
	s.add(&Line{Paths: grid, Pen: gridPen}, &Line{Paths: [][]Point{{f.at(f.x0, f.y1), f.at(f.x0, f.y0), f.at(f.x1, f.y0)}}, Pen: axisPen})
}

// band draws the interval of the line, bounded by dashes, and the line upon it.
func (l *SeriesLine) band(s *Scene, f chart) {
	const pieces = 60
	var low, likely, high []Point
	for i := range pieces + 1 {
		year := l.From + (f.x1-l.From)*float64(i)/pieces
		a, b, c := l.At(year)
		low, high = append(low, f.at(year, a)), append(high, f.at(year, c))
		if b >= f.y0 && b <= f.y1 {
			likely = append(likely, f.at(year, b))
		}
	}
	ring := append([]Point{}, low...)
	for i := len(high) - 1; i >= 0; i-- {
		ring = append(ring, high[i])
	}
	s.add(&Area{Rings: [][]Point{ring}, Fill: true, Tone: Wash}, &Line{Paths: [][]Point{low, high}, Pen: bandPen}, &Line{Paths: [][]Point{likely}, Pen: linePen})
}

// reach draws on the limit from when to when the line reaches it, with a stroke where that is likely; an arrow where the end is off the paper.
func (l *SeriesLine) reach(s *Scene, f chart) {
	to, open := l.Latest, false
	if to == 0 || to > f.x1 {
		to, open = f.x1, true
	}
	a, b, m := f.at(l.Earliest, l.Bound), f.at(to, l.Bound), f.at(l.Likely, l.Bound)
	paths := [][]Point{{a, b}, {{m.X, m.Y - 1.8}, {m.X, m.Y + 1.8}}, {{a.X, a.Y - 1}, {a.X, a.Y + 1}}}
	if open {
		paths = append(paths, []Point{{b.X - 1.2, b.Y + 1.2}, b, {b.X - 1.2, b.Y - 1.2}})
	} else {
		paths = append(paths, []Point{{b.X, b.Y - 1}, {b.X, b.Y + 1}})
	}
	s.add(&Line{Paths: paths, Pen: reachPen})
}

func dot(at Point, hollow bool) []Shape {
	ring := make([]Point, 16)
	for i := range ring {
		sin, cos := math.Sincos(float64(i) * math.Pi / 8)
		ring[i] = Point{at.X + dotRadius*cos, at.Y + dotRadius*sin}
	}
	tone := Ink
	if hollow {
		tone = White
	}
	return []Shape{&Area{Rings: [][]Point{ring}, Fill: true, Tone: tone, Pen: dotPen}}
}

// seriesLegend says below the drawing what its signs mean, only those that are in it.
func seriesLegend(t Texts, s *Scene, used map[string]bool) {
	x, y := 0.0, -10.0
	stroke := func(p Pen) func(at Point) []Shape {
		return func(at Point) []Shape {
			return []Shape{&Line{Paths: [][]Point{{{at.X, at.Y}, {at.X + 8, at.Y}}}, Pen: p}}
		}
	}
	for _, sign := range []struct {
		name string
		draw func(at Point) []Shape
	}{
		{"read", func(at Point) []Shape { return dot(Point{at.X + 4, at.Y}, false) }},
		{"set", func(at Point) []Shape { return dot(Point{at.X + 4, at.Y}, false) }},
		{"before", func(at Point) []Shape { return dot(Point{at.X + 4, at.Y}, true) }},
		{"change", stroke(changePen)},
		{"limit", stroke(limitPen)},
		{"line", stroke(linePen)},
		{"band", func(at Point) []Shape {
			lines := &Line{Paths: [][]Point{{{at.X, at.Y - 1}, {at.X + 8, at.Y - 1}}, {{at.X, at.Y + 1}, {at.X + 8, at.Y + 1}}}, Pen: bandPen}
			return []Shape{&Rect{Min: Point{at.X, at.Y - 1}, Max: Point{at.X + 8, at.Y + 1}, Fill: true, Tone: Wash}, lines}
		}},
		{"reach", func(at Point) []Shape {
			return []Shape{&Line{Paths: [][]Point{{{at.X, at.Y}, {at.X + 8, at.Y}}, {{at.X + 4, at.Y - 1.8}, {at.X + 4, at.Y + 1.8}}}, Pen: reachPen}}
		}},
	} {
		if !used[sign.name] {
			continue
		}
		text := &Text{String: t.T("report.series." + sign.name), HeightMM: textMM, Tone: Ink}
		width := 10 + textWidthMM(text.String, text.HeightMM, false)
		if x > 0 && x+width > seriesWidth {
			x, y = 0, y-5
		}
		s.add(sign.draw(Point{x, y})...)
		text.At = Point{x + 10, y - 0.9}
		s.add(text)
		x += width + 5
	}
}
