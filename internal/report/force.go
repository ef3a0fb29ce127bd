package report

import (
	"io"
	"math"
)

// ForceDrawing is what the drawing of a force over time shows: seconds after the contact, newtons.
type ForceDrawing struct {
	Title, Desc string // Desc says in words everything that the drawing shows
	Units       Units
	Curve       []ForcePoint // in the order of time
	StaticFromS float64      // where the limit changes
	Peak        *float64     // the limit before it; nil: none is known
	Static      *float64     // and from it on
	Sealed      bool         // the limits are those of signed verdicts, and not today's
}

// ForcePoint is one sample.
type ForcePoint struct{ S, N float64 }

// ForceSVG draws a force over time against its limits.
func ForceSVG(w io.Writer, t Texts, in ForceDrawing) error { return WriteSVG(w, forceScene(t, in)) }

func forceScene(t Texts, in ForceDrawing) *Scene {
	s := &Scene{Title: in.Title, Desc: in.Desc, Denominator: 1000}
	f := chart{x0: min(0, in.Curve[0].S), x1: math.Max(in.Curve[len(in.Curve)-1].S, in.StaticFromS*1.1)}
	for _, p := range in.Curve {
		f.y0, f.y1 = math.Min(f.y0, p.N), math.Max(f.y1, p.N)
	}
	for _, limit := range []*float64{in.Peak, in.Static} {
		if limit != nil {
			f.y1 = math.Max(f.y1, *limit)
		}
	}
	in.axes(t, s, &f)
	if in.Peak != nil {
		s.add(&Line{Paths: [][]Point{{f.at(0, *in.Peak), f.at(in.StaticFromS, *in.Peak)}}, Pen: limitPen})
	}
	if in.Static != nil {
		s.add(&Line{Paths: [][]Point{{f.at(in.StaticFromS, *in.Static), f.at(f.x1, *in.Static)}}, Pen: limitPen})
	}
	var path []Point
	for _, p := range thinned(in.Curve) {
		path = append(path, f.at(p.S, p.N))
	}
	s.add(&Line{Paths: [][]Point{path}, Pen: linePen})
	in.legend(t, s)
	return s
}

// axes widens the chart to whole steps and draws lines across for newtons and up for seconds, with their numbers.
func (in ForceDrawing) axes(t Texts, s *Scene, f *chart) {
	factor, unit := in.Units.own("N")
	step := niceStep((f.y1 - f.y0) * factor)
	f.y0, f.y1 = math.Floor(f.y0*factor/step)*step/factor, math.Ceil(f.y1*factor/step+0.1)*step/factor
	var grid [][]Point
	for i := range int(math.Round((f.y1-f.y0)*factor/step)) + 1 {
		v := f.y0*factor + float64(i)*step
		p := f.at(f.x0, v/factor)
		grid = append(grid, []Point{p, f.at(f.x1, v/factor)})
		s.add(&Text{At: Point{p.X - 1.5, p.Y - 0.9}, String: withUnit(t, rounded(v, step), unit), HeightMM: textMM, Anchor: End, Tone: Ink})
	}
	second := niceStep(f.x1 - f.x0)
	for v := math.Ceil(f.x0/second) * second; v <= f.x1+second/1000; v += second {
		p := f.at(v, f.y0)
		grid = append(grid, []Point{p, f.at(v, f.y1)})
		s.add(&Text{At: Point{p.X, p.Y - 4}, String: withUnit(t, rounded(v, second), "s"), HeightMM: textMM, Anchor: Middle, Tone: Ink})
	}
	s.add(&Line{Paths: grid, Pen: gridPen}, &Line{Paths: [][]Point{{f.at(f.x0, f.y1), f.at(f.x0, f.y0), f.at(f.x1, f.y0)}}, Pen: axisPen})
}

// rounded takes off what adding up steps leaves.
func rounded(v, step float64) float64 {
	power := math.Pow10(max(0, 1-int(math.Floor(math.Log10(step)))))
	return math.Round(v*power) / power
}

// legend says below the drawing what its lines are.
func (in ForceDrawing) legend(t Texts, s *Scene) {
	x := 0.0
	sign := func(text string, pen Pen) {
		s.add(&Line{Paths: [][]Point{{{x, -10}, {x + 8, -10}}}, Pen: pen}, &Text{At: Point{x + 10, -10.9}, String: text, HeightMM: textMM, Tone: Ink})
		x += 15 + textWidthMM(text, textMM, false)
	}
	sign(t.T("report.force.curve"), linePen)
	if in.Peak != nil || in.Static != nil {
		limit := "report.series.limit"
		if in.Sealed {
			limit = "report.force.limit_sealed"
		}
		sign(t.T(limit), limitPen)
	}
}

// finest is how many pieces a curve is drawn in; a piece has its least and its greatest force, so that no peak is lost.
const finest = 400

func thinned(curve []ForcePoint) []ForcePoint {
	if len(curve) <= 2*finest {
		return curve
	}
	out := make([]ForcePoint, 0, 2*finest)
	for i := range finest {
		piece := curve[i*len(curve)/finest : (i+1)*len(curve)/finest]
		least, most := 0, 0
		for j, p := range piece {
			if p.N < piece[least].N {
				least = j
			}
			if p.N > piece[most].N {
				most = j
			}
		}
		out = append(out, piece[min(least, most)])
		if least != most {
			out = append(out, piece[max(least, most)])
		}
	}
	return out
}
