package report

import (
	"math"
	"slices"
	"strings"

	"lintel.example/lintel/internal/fleet"
)

// The pens of what is no radar.
var (
	dotTone    = Ink
	curtainPen = Pen{WidthMM: 0.18, Tone: Ink}
	beamPen    = Pen{WidthMM: 0.8, Tone: Ink}
	matPen     = Pen{WidthMM: 0.12, Tone: Ink}
	actPen     = Pen{WidthMM: 0.35, Dash: []float64{1.8, 0.5, 0.3, 0.5}, Tone: Ink}
	unfitPen   = Pen{WidthMM: 0.25, Dash: []float64{0.3, 0.6}, Tone: Ink}
)

// fieldArea is what a device watches, in the pattern of how it senses: a radar's strokes rise where it opens the door and fall where it protects, spots of
// light are dots, a curtain upright strokes, a beam is solid, a mat has diamonds, and an act the dash-dotted border of where it is within reach. What does
// not count for the zone that it is wired for has no pattern, and a border of dots.
func fieldArea(s *Scene, d PlanSensor, r [][]Point) []Shape {
	border := &Area{Rings: r, Pen: fieldPen}
	if len(d.Unfit) > 0 {
		border.Pen = unfitPen
		return []Shape{border}
	}
	switch d.Sensing {
	case "infrared_presence":
		return []Shape{dots(r, s.m(1.5), s.m(0.22)), border}
	case "laser_curtain":
		return []Shape{hatch(r, 90, s.m(0.9), curtainPen), border}
	case "beam":
		border.Fill, border.Tone = true, Ink
		return []Shape{border}
	case "mat":
		return []Shape{hatch(r, 45, s.m(2.2), matPen), hatch(r, -45, s.m(2.2), matPen), border}
	case "knowing_act":
		border.Pen = actPen
		return []Shape{border}
	}
	deg := 60.0
	if d.Purpose == "presence" {
		deg = -60
	}
	return []Shape{hatch(r, deg, s.m(1.5), fieldStroke), border}
}

// dots is a lattice of small filled squares inside polygons.
func dots(rings [][]Point, spacing, half float64) *Area {
	b := emptyBox()
	for _, ring := range rings {
		b.add(ring...)
	}
	area := &Area{Fill: true, Tone: dotTone}
	for row := math.Ceil(b.Min.Y / spacing); row*spacing <= b.Max.Y; row++ {
		y, shift := row*spacing, 0.0
		if int64(row)%2 != 0 {
			shift = spacing / 2
		}
		xs := crossings(rings, y)
		for i := 0; i+1 < len(xs); i += 2 {
			for k := math.Ceil((xs[i] + half - shift) / spacing); k*spacing+shift <= xs[i+1]-half; k++ {
				x := k*spacing + shift
				area.Rings = append(area.Rings, box(Point{x - half, y - half}, Point{x + half, y + half}))
			}
		}
	}
	return area
}

// raysAbove are the rays of a device as they are seen from above: the edges of a curtain's sheets, and a beam with a bar across each of its ends.
func raysAbove(s *Scene, d PlanSensor) []Shape {
	if d.Field == nil {
		return nil
	}
	line := &Line{Pen: sweepPen}
	for _, r := range d.Field.Rays {
		from, to := Point{r[0][0], r[0][1]}, Point{r[1][0], r[1][1]}
		long := math.Hypot(to.X-from.X, to.Y-from.Y)
		switch {
		case d.Sensing == "infrared_presence" || long == 0:
		case d.Sensing == "beam":
			across := Point{-(to.Y - from.Y) / long * s.m(1.2), (to.X - from.X) / long * s.m(1.2)}
			pen := beamPen
			if len(d.Unfit) > 0 {
				pen = unfitPen
			}
			return []Shape{&Line{Paths: [][]Point{{from, to}, {{from.X - across.X, from.Y - across.Y}, {from.X + across.X, from.Y + across.Y}},
				{{to.X - across.X, to.Y - across.Y}, {to.X + across.X, to.Y + across.Y}}}, Pen: pen}}
		default:
			line.Paths = append(line.Paths, []Point{from, to})
		}
	}
	if len(line.Paths) == 0 {
		return nil
	}
	return []Shape{line}
}

// mostRays is how many rays of one device an elevation shows.
const mostRays = 7

// raysAside are the rays as they are seen along the wall, of many the two outer ones and some between.
func raysAside(d PlanSensor) *Line {
	line := &Line{Pen: sweepPen}
	if d.Field == nil {
		return line
	}
	for _, r := range d.Field.Rays {
		if from, to := (Point{r[0][1], r[0][2]}), (Point{r[1][1], r[1][2]}); from != to {
			line.Paths = append(line.Paths, []Point{from, to})
		}
	}
	slices.SortStableFunc(line.Paths, func(a, b []Point) int {
		if a[1].X < b[1].X {
			return -1
		} else if a[1].X > b[1].X {
			return 1
		}
		return 0
	})
	if n := len(line.Paths); n > mostRays {
		var some [][]Point
		for i := range mostRays {
			some = append(some, line.Paths[i*(n-1)/(mostRays-1)])
		}
		line.Paths = some
	}
	return line
}

// aims says whether a device looks along an axis.
func aims(sensing string) bool {
	return sensing == "" || sensing == "radar" || sensing == "infrared_presence" || sensing == "laser_curtain"
}

// onFloor says whether the field of a device is that on the floor; of the others it is from where a grown person is told of.
func onFloor(sensing string) bool { return sensing == "" || sensing == "radar" }

// said is what there is to say of a device beside its name: how it senses, that it moves with the leaf, and for what it does not count.
func (d PlanSensor) said(t Texts) []string {
	var list []string
	if !onFloor(d.Sensing) {
		list = append(list, t.T("report.plan.kind."+d.Sensing))
	}
	if d.OnLeaf {
		list = append(list, t.T("report.plan.on_leaf"))
	}
	return append(list, d.Unfit...)
}

// fieldText says how large a field is and where it begins.
func (d PlanSensor) fieldText(t Texts, u Units) string {
	return t.T("report.plan.field_desc"+d.ofWhom(), "width", u.length(t, d.Field.WidthM), "depth", u.length(t, d.Field.DepthM), "near", u.length(t, d.Field.NearM))
}

// mostDimensioned is how many devices have their measures on lines of a drawing: of more than that they stand in the legend.
const mostDimensioned = 3

// crowded says that there is no room for the measures of every device beside the drawing.
func (in PlanDrawing) crowded() bool {
	n := 0
	if in.narrow {
		return true
	}
	for _, d := range in.Sensors {
		if d.Field != nil && len(d.Field.Polygons) > 0 {
			n++
		}
	}
	return n > mostDimensioned
}

// dimensioned says whether the extents of a field are measured in a plan: not where there are too many, nor of what is so narrow that what its dimensions
// say would cover each other.
func (in PlanDrawing) dimensioned(s *Scene, d PlanSensor) bool {
	if d.Field == nil || len(d.Field.Polygons) == 0 || in.crowded() {
		return false
	}
	return s.mm(d.Field.DepthM) >= 2 && (d.Field.NearM <= nearShownM || s.mm(d.Field.NearM+d.Field.DepthM)/2 >= textMM*1.3)
}

// ofWhom ends the key of a text about a field by whom it is of.
func (d PlanSensor) ofWhom() string {
	switch {
	case onFloor(d.Sensing):
		return ""
	case d.Sensing == "knowing_act":
		return ".act"
	}
	return ".body"
}

// emptyText says that a field is empty.
func (d PlanSensor) emptyText(t Texts) string {
	if onFloor(d.Sensing) {
		return t.T("report.plan.empty")
	}
	return t.T("report.plan.empty.body")
}

// Unfitness puts into words for which zones a device does not count, and why.
func Unfitness(t Texts, d fleet.ReportDevice) (list []string) {
	for _, u := range d.Unfit {
		because := t.T("report.unfit_because.lets_go", "still", decimal(u.StillS, 1, true), "asked", decimal(u.AskedS, 1, true))
		if u.Reason != "lets_go" {
			because = t.T("report.unfit_because." + u.Purpose + "." + u.Tells)
		}
		list = append(list, t.T("report.plan.unfit", "zone", strings.TrimSuffix(u.Zone, "."), "because", because))
	}
	return list
}

// marker is the number of a device where it is.
type marker struct {
	PlanSensor
	number string
}

const markerMM = 1.8 // its radius

// markers are rings with numbers, of acts squares, and dashed lines to where axes meet the floor. A number that would cover another one stands
// aside, with a line that leads to its place.
func markers(s *Scene, list []marker) []Shape {
	var places, rings []Point
	for _, m := range list {
		places = append(places, Point{m.XM, m.YM})
	}
	var sh []Shape
	for i, m := range list {
		at := places[i]
		label := clearOf(s, at, slices.Concat(rings, without(places, i)))
		rings = append(rings, label)
		sh = append(sh, aimed(s, m.PlanSensor)...)
		if label != at {
			far := math.Hypot(label.X-at.X, label.Y-at.Y)
			edge := Point{label.X + (at.X-label.X)/far*s.m(markerMM), label.Y + (at.Y-label.Y)/far*s.m(markerMM)}
			sh = append(sh, disc(at, s.m(0.5), Ink), &Line{Paths: [][]Point{{at, edge}}, Pen: Pen{WidthMM: 0.25, Tone: Ink}})
		}
		sh = append(sh, ringed(s, m, label)...)
	}
	return sh
}

func without(list []Point, i int) []Point {
	return slices.Delete(slices.Clone(list), i, i+1)
}

// clearOf is the nearest place about a point at which a number covers no other.
func clearOf(s *Scene, at Point, others []Point) Point {
	free := func(p Point) bool {
		return !slices.ContainsFunc(others, func(o Point) bool { return s.mm(math.Hypot(p.X-o.X, p.Y-o.Y)) < 2*markerMM+0.4 })
	}
	if free(at) {
		return at
	}
	for out := 2*markerMM + 1.4; out < 60; out += 2 {
		for _, deg := range []float64{45, 135, 315, 225, 0, 180, 90, 270} {
			sin, cos := math.Sincos(deg * math.Pi / 180)
			if p := (Point{at.X + s.m(out)*cos, at.Y + s.m(out)*sin}); free(p) {
				return p
			}
		}
	}
	return at
}

// aimed is the dashed line to where the axis meets the floor, and a cross there.
func aimed(s *Scene, d PlanSensor) []Shape {
	if d.Aim == nil {
		return nil
	}
	aim, c := Point{d.Aim[0], d.Aim[1]}, s.m(1.2)
	return []Shape{&Line{Paths: [][]Point{{{d.XM, d.YM}, aim}}, Pen: aimPen},
		&Arc{Centre: aim, RadiusM: c * 0.6, FromDeg: 0, ToDeg: 360, Pen: Pen{WidthMM: 0.25, Tone: Ink}},
		&Line{Paths: [][]Point{{{aim.X - c, aim.Y}, {aim.X + c, aim.Y}}, {{aim.X, aim.Y - c}, {aim.X, aim.Y + c}}}, Pen: Pen{WidthMM: 0.25, Tone: Ink}}}
}

// ringed is a number in its ring, in dots where the device does not count; of an act in a square.
func ringed(s *Scene, m marker, at Point) []Shape {
	r, pen := s.m(markerMM), Pen{WidthMM: 0.4, Tone: Ink}
	if len(m.Unfit) > 0 {
		pen.Dash = []float64{0.5, 0.5}
	}
	text := &Text{At: Point{at.X, at.Y - s.m(textMM*0.35)}, String: m.number, HeightMM: textMM, Anchor: Middle, Bold: true, Tone: Ink}
	if m.Sensing == "knowing_act" {
		return []Shape{&Rect{Min: Point{at.X - r, at.Y - r}, Max: Point{at.X + r, at.Y + r}, Pen: pen, Fill: true, Tone: White}, text}
	}
	return []Shape{disc(at, r, White), &Arc{Centre: at, RadiusM: r, FromDeg: 0, ToDeg: 360, Pen: pen}, text}
}
