package report

import "math"

// A Scene is one drawing: shapes in metres (x to the right, y up the page) and
// the scale at which they go on paper. What belongs to the paper and not to the
// building (pen widths, text heights, dash lengths) is in millimetres of paper.
// Writers walk Shapes in order; later shapes lie on top.
type Scene struct {
	Title, Desc string
	// Denominator is n of the scale 1:n.
	Denominator float64
	Shapes      []Shape
}

// A Shape is one of *Line, *Area, *Arc, *Rect, *Text and *Dimension.
type Shape interface {
	// plain gives the shape as lines, areas, arcs and texts, which is all that a
	// writer has to know.
	plain(s *Scene) []Shape
	// bounds widens b by what the shape covers in s.
	bounds(s *Scene, b *Box)
}

// Point is a place in metres.
type Point struct{ X, Y float64 }

// Tone is a grey, 0 (ink) to 255 (paper). Nothing is told by tone alone.
type Tone uint8

// The tones of a drawing.
const (
	Ink   Tone = 26
	Soft  Tone = 110
	Faint Tone = 170
	Wash  Tone = 238
	White Tone = 255
)

// Pen draws outlines: width and dashes in millimetres of paper. Width 0 draws
// nothing.
type Pen struct {
	WidthMM float64
	Dash    []float64
	Tone    Tone
}

// Line is one pen stroke through each of its paths.
type Line struct {
	Paths [][]Point
	Pen   Pen
}

// Area is filled and outlined rings; a ring inside another is a hole.
type Area struct {
	Rings [][]Point
	Pen   Pen
	Fill  bool
	Tone  Tone
}

// Arc is a part of a circle from FromDeg counter-clockwise to ToDeg, both from
// the x axis; FromDeg < ToDeg ≤ FromDeg + 360.
type Arc struct {
	Centre         Point
	RadiusM        float64
	FromDeg, ToDeg float64
	Pen            Pen
}

// Rect is an upright rectangle.
type Rect struct {
	Min, Max Point
	Pen      Pen
	Fill     bool
	Tone     Tone
}

// Text is one line of text whose baseline starts, is centred or ends at At.
type Text struct {
	At       Point
	String   string
	HeightMM float64
	Anchor   Anchor
	Bold     bool
	Tone     Tone
	// Backed lays paper under the text, so that it stays legible over patterns.
	Backed bool
}

// Anchor says which end of a text lies at its point.
type Anchor int

// The anchors.
const (
	Start Anchor = iota
	Middle
	End
)

// Dimension measures from From to To along x, or along y if Upright, on a line
// at Line (a y, or an x if Upright). Thin strokes lead from the points to it.
type Dimension struct {
	From, To Point
	Upright  bool
	Line     float64
	Label    string
}

// Box is the extent of something in metres.
type Box struct{ Min, Max Point }

// emptyBox holds nothing and grows with the first point.
func emptyBox() Box {
	inf := math.Inf(1)
	return Box{Point{inf, inf}, Point{-inf, -inf}}
}

func (b *Box) add(ps ...Point) {
	for _, p := range ps {
		b.Min.X, b.Min.Y = math.Min(b.Min.X, p.X), math.Min(b.Min.Y, p.Y)
		b.Max.X, b.Max.Y = math.Max(b.Max.X, p.X), math.Max(b.Max.Y, p.Y)
	}
}

// Width and Height are in metres.
func (b Box) Width() float64  { return b.Max.X - b.Min.X }
func (b Box) Height() float64 { return b.Max.Y - b.Min.Y }

// Bounds is what the scene covers, texts included.
func (s *Scene) Bounds() Box {
	b := emptyBox()
	for _, sh := range s.Shapes {
		sh.bounds(s, &b)
	}
	if b.Min.X > b.Max.X {
		return Box{}
	}
	return b
}

// add puts shapes on top.
func (s *Scene) add(sh ...Shape) { s.Shapes = append(s.Shapes, sh...) }

// plain flattens the scene to lines, areas, arcs and texts. What dimensions say lies
// on top of everything: no stroke of another one runs through it.
func (s *Scene) plain() []Shape {
	var out, labels []Shape
	for _, sh := range s.Shapes {
		if d, ok := sh.(*Dimension); ok {
			strokes, label := d.parts(s)
			out, labels = append(out, strokes...), append(labels, label.plain(s)...)
			continue
		}
		out = append(out, sh.plain(s)...)
	}
	return append(out, labels...)
}

// m is the length in the building of so many millimetres of paper.
func (s *Scene) m(mm float64) float64 { return mm * s.Denominator / 1000 }

// mm is the length on paper of so many metres of building.
func (s *Scene) mm(m float64) float64 { return m * 1000 / s.Denominator }

func (l *Line) plain(*Scene) []Shape { return []Shape{l} }
func (l *Line) bounds(_ *Scene, b *Box) {
	for _, path := range l.Paths {
		b.add(path...)
	}
}

func (a *Area) plain(*Scene) []Shape { return []Shape{a} }
func (a *Area) bounds(_ *Scene, b *Box) {
	for _, ring := range a.Rings {
		b.add(ring...)
	}
}

func (a *Arc) plain(*Scene) []Shape { return []Shape{a} }
func (a *Arc) bounds(_ *Scene, b *Box) {
	b.add(a.at(a.FromDeg), a.at(a.ToDeg))
	for q := math.Ceil(a.FromDeg/90) * 90; q < a.ToDeg; q += 90 {
		b.add(a.at(q))
	}
}

func (a *Arc) at(deg float64) Point {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	return Point{a.Centre.X + a.RadiusM*cos, a.Centre.Y + a.RadiusM*sin}
}

func (r *Rect) plain(*Scene) []Shape {
	ring := []Point{r.Min, {r.Max.X, r.Min.Y}, r.Max, {r.Min.X, r.Max.Y}}
	return []Shape{&Area{Rings: [][]Point{ring}, Pen: r.Pen, Fill: r.Fill, Tone: r.Tone}}
}
func (r *Rect) bounds(_ *Scene, b *Box) { b.add(r.Min, r.Max) }

func (t *Text) plain(s *Scene) []Shape {
	if !t.Backed {
		return []Shape{t}
	}
	b, pad := emptyBox(), s.m(0.4)
	t.bounds(s, &b)
	back := &Rect{Min: Point{b.Min.X - pad, b.Min.Y}, Max: Point{b.Max.X + pad, b.Max.Y}, Fill: true, Tone: White}
	front := *t
	front.Backed = false
	return append(back.plain(s), &front)
}
func (t *Text) bounds(s *Scene, b *Box) {
	w, h := s.m(textWidthMM(t.String, t.HeightMM, t.Bold)), s.m(t.HeightMM)
	x := t.At.X - w*[...]float64{0, 0.5, 1}[t.Anchor]
	b.add(Point{x, t.At.Y - 0.24*h}, Point{x + w, t.At.Y + 0.8*h})
}

// Dimension lines are thin, with a short stroke across each end, as on a building
// drawing. The label of an upright one stands level beside it, away from what is
// measured; that of a level one sits on its line where it fits, else beyond it.
func (d *Dimension) plain(s *Scene) []Shape {
	strokes, label := d.parts(s)
	return append(strokes, label.plain(s)...)
}

func (d *Dimension) parts(s *Scene) (strokes []Shape, label *Text) {
	const height = 2.6
	thin := Pen{WidthMM: 0.13, Tone: Ink}
	over, tick, drop := s.m(1), s.m(0.9), s.m(height*0.32)
	a, z := Point{d.From.X, d.Line}, Point{d.To.X, d.Line}
	if d.Upright {
		a, z = Point{d.Line, d.From.Y}, Point{d.Line, d.To.Y}
	}
	lines := &Line{Pen: thin, Paths: [][]Point{{a, z}}}
	ticks := &Line{Pen: Pen{WidthMM: 0.35, Tone: Ink}}
	for _, lead := range [][2]Point{{d.From, a}, {d.To, z}} {
		from, to := lead[0], lead[1]
		if l := math.Hypot(to.X-from.X, to.Y-from.Y); l > over {
			// Begins a little off the point and runs a little past the line.
			ux, uy := (to.X-from.X)/l*over, (to.Y-from.Y)/l*over
			lines.Paths = append(lines.Paths, []Point{{from.X + ux*0.6, from.Y + uy*0.6}, {to.X + ux, to.Y + uy}})
		}
		ticks.Paths = append(ticks.Paths, []Point{{to.X - tick, to.Y - tick}, {to.X + tick, to.Y + tick}})
	}
	label = &Text{String: d.Label, HeightMM: height, Tone: Ink, Backed: true}
	lo, hi := math.Min(a.X, z.X), math.Max(a.X, z.X)
	switch {
	case d.Upright && d.Line < d.From.X:
		label.At, label.Anchor = Point{d.Line - s.m(1.4), (a.Y+z.Y)/2 - drop}, End
	case d.Upright:
		label.At = Point{d.Line + s.m(1.4), (a.Y+z.Y)/2 - drop}
	case s.m(textWidthMM(d.Label, height, false)+4) < hi-lo:
		label.At, label.Anchor = Point{(lo + hi) / 2, d.Line - drop}, Middle
	default:
		label.At = Point{hi + s.m(1.6), d.Line - drop}
	}
	return []Shape{lines, ticks}, label
}
func (d *Dimension) bounds(s *Scene, b *Box) {
	for _, sh := range d.plain(s) {
		sh.bounds(s, b)
	}
}
