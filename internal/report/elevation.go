package report

import (
	"math"
	"slices"
	"strconv"
	"strings"
)

// The heights at which a small person's body is looked for, in metres above the
// floor: 0.10 m, and 28 in, the height of the small test body of internal/field.
const (
	bodyFootM = 0.10
	bodyTopM  = 0.71
)

var bodyPen = Pen{WidthMM: 0.25, Dash: []float64{0.5, 0.8}, Tone: Ink}

// elevationScene draws a side of a door as seen along the wall: y away from the
// door to the right, z up from the floor, at the largest scale at which it fits
// into so many millimetres. It is nil where no sensor is on the side. A field is
// on record on the floor only: above it the drawing shows its axis and the
// straight lines to its near and far edge, and says so.
func elevationScene(t Texts, in PlanDrawing, widthMM, heightMM float64) (*Scene, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	if len(in.Sensors) == 0 {
		return nil, nil
	}
	return largest(in.Units, in.elevationExtent(), widthMM, heightMM, func(n float64) *Scene {
		return elevationAt(t, in, n, widthMM)
	}), nil
}

// elevationExtent is what an elevation must show: some wall and floor, the
// leaves, each sensor, and the reach of each field.
func (in PlanDrawing) elevationExtent() Box {
	b := Box{Point{-0.3, 0}, Point{1, math.Max(in.LeafHeightM+0.2, 1)}}
	for _, d := range in.Sensors {
		if d.elevated() {
			b.add(Point{d.YM, *d.HeightM + 0.1})
			if d.Aim != nil {
				b.add(Point{d.Aim[1], 0})
			}
		}
		for _, f := range []*PlanField{d.Field, d.Former} {
			if f != nil && len(f.Polygons) > 0 {
				b.add(Point{f.NearM, 0}, Point{f.FarM, 0})
			}
			if f != nil {
				for _, path := range raysAside(PlanSensor{Field: f}).Paths {
					b.add(path...)
				}
			}
		}
	}
	return b
}

// elevated says that it is known where the sensor is in an elevation.
func (d PlanSensor) elevated() bool { return d.Placed && d.HeightM != nil }

func elevationAt(t Texts, in PlanDrawing, denominator, widthMM float64) *Scene {
	s := &Scene{Title: t.T("report.elevation.title", "side", in.Title), Denominator: denominator}
	s.Desc = elevationDesc(t, in, denominator)
	body := in.elevationExtent()
	s.add(elevationWall(s, in, body)...)

	for _, z := range []float64{bodyFootM, bodyTopM} {
		s.add(&Line{Paths: [][]Point{{{0, z}, {body.Max.X, z}}}, Pen: bodyPen})
	}
	for i, d := range in.Sensors {
		if f := d.Former; f != nil && len(f.Polygons) > 0 { // below the number of its lane
			top := laneTop(s, i)
			s.add(&Area{Rings: [][]Point{box(Point{f.NearM, top - s.m(2.8)}, Point{f.FarM, top + s.m(0.4)})}, Pen: formerPen})
		}
		s.add(elevationField(s, d, i)...)
	}
	var numbers []marker
	for i, d := range in.Sensors {
		if d.elevated() {
			at := d
			at.XM, at.YM = d.YM, *d.HeightM
			if d.Aim != nil {
				at.Aim = &[2]float64{d.Aim[1], d.planeM()}
			}
			numbers = append(numbers, marker{at, strconv.Itoa(i + 1)})
		}
	}
	s.add(markers(s, numbers)...)
	elevationDimensions(s, t, in, body)
	elevationLegend(s, t, in, widthMM)
	return s
}

// elevationWall is the floor, the closed leaf or leaves, the wall above them, and
// how far the header stands out; how high the header is, is not on record.
func elevationWall(s *Scene, in PlanDrawing, body Box) []Shape {
	floor := [][]Point{box(Point{body.Min.X, -s.m(1.6)}, Point{body.Max.X, 0})}
	sh := []Shape{hatch(floor, 45, s.m(0.9), Pen{WidthMM: 0.15, Tone: Ink}), &Line{Paths: [][]Point{{{body.Min.X, 0}, {body.Max.X, 0}}}, Pen: wallPen}}
	if in.LeafHeightM == 0 {
		return append(sh, &Line{Paths: [][]Point{{{0, 0}, {0, body.Max.Y}}}, Pen: Pen{WidthMM: 0.5, Dash: []float64{3, 1}, Tone: Ink}})
	}
	above := [][]Point{box(Point{-wallM, in.LeafHeightM}, Point{0, body.Max.Y})}
	sh = append(sh, &Rect{Min: Point{-0.08, 0}, Max: Point{-0.04, in.LeafHeightM}, Pen: leafPen, Fill: true, Tone: White},
		hatch(above, 45, s.m(0.9), Pen{WidthMM: 0.18, Tone: Ink}), &Area{Rings: above, Pen: wallPen})
	if in.HeaderDepthM > 0 {
		d := in.HeaderDepthM
		sh = append(sh, &Line{Paths: [][]Point{{{0, in.LeafHeightM}, {d, in.LeafHeightM}, {d, body.Max.Y}}}, Pen: headerPen})
	}
	return sh
}

// elevationField is the stretch of floor that a field reaches over, a bar below
// the floor for each sensor, and the lines of sight to its ends.
func elevationField(s *Scene, d PlanSensor, lane int) []Shape {
	if d.Field == nil || len(d.Field.Polygons) == 0 {
		return nil
	}
	near, far := d.Field.NearM, d.Field.FarM
	if least := s.m(0.8); far-near < least { // a line is to be seen
		near, far = (near+far-least)/2, (near+far+least)/2
	}
	top := laneTop(s, lane)
	sh := fieldArea(s, d, [][]Point{box(Point{near, top - s.m(2.4)}, Point{far, top})})
	sh = append(sh, &Text{At: Point{near - s.m(1), top - s.m(2.2)}, String: strconv.Itoa(lane + 1), HeightMM: textMM, Anchor: End, Bold: true, Tone: Ink, Backed: true})
	switch {
	case d.Sensing == "mat":
		sh = append(sh, fieldArea(s, d, [][]Point{box(Point{near, 0}, Point{far, s.m(1)})})...)
	case !onFloor(d.Sensing):
		if rays := raysAside(d); len(rays.Paths) > 0 {
			sh = append(sh, rays)
		}
	case d.elevated():
		at, z := Point{d.YM, *d.HeightM}, d.Field.PlaneM
		sh = append(sh, &Line{Paths: [][]Point{{at, {near, z}}, {at, {far, z}}}, Pen: sweepPen})
		if z > 0 {
			sh = append(sh, &Line{Paths: [][]Point{{{near, z}, {far, z}}}, Pen: leafPen})
		}
	}
	return sh
}

// planeM is how high above the floor the field lies.
func (d PlanSensor) planeM() float64 {
	if d.Field == nil {
		return 0
	}
	return d.Field.PlaneM
}

// laneTop is where the bar of a sensor begins, below the floor.
func laneTop(s *Scene, lane int) float64 { return -s.m(2.2 + 3.4*float64(lane)) }

func elevationDimensions(s *Scene, t Texts, in PlanDrawing, body Box) {
	frame, lane := s.Bounds(), 0.0
	if in.LeafHeightM > 0 {
		s.add(&Dimension{From: Point{-wallM, 0}, To: Point{-wallM, in.LeafHeightM}, Upright: true, Line: frame.Min.X - s.m(4),
			Label: t.T("report.elevation.leaf", "value", in.Units.length(t, in.LeafHeightM))})
	}
	right := frame.Max.X + s.m(5)
	for _, z := range []float64{bodyFootM, bodyTopM} {
		s.add(&Text{At: Point{frame.Max.X + s.m(1), z - s.m(0.9)}, String: in.Units.length(t, z), HeightMM: textMM, Tone: Ink})
		right = math.Max(right, frame.Max.X+s.m(textWidthMM(in.Units.length(t, z), textMM, false)+5))
	}
	low := frame.Min.Y
	for i, d := range in.Sensors {
		label := fieldLabel(in.Sensors, i)
		if in.crowded() {
			break
		}
		if d.elevated() && *d.HeightM > 0 {
			s.add(&Dimension{From: Point{d.YM, 0}, To: Point{d.YM, *d.HeightM}, Upright: true, Line: right + s.m(28*lane),
				Label: label + t.T("report.elevation.height", "value", in.Units.length(t, *d.HeightM))})
			lane++
		}
		if d.Field != nil && len(d.Field.Polygons) > 0 {
			for _, edge := range []struct {
				key string
				m   float64
			}{{"report.plan.near", d.Field.NearM}, {"report.plan.far", d.Field.FarM}} {
				if edge.m > 0.005 {
					low -= s.m(4.5)
					s.add(&Dimension{From: Point{0, 0}, To: Point{edge.m, 0}, Line: low, Label: label + t.T(edge.key, "value", in.Units.length(t, edge.m))})
				}
			}
		}
	}
}

func elevationLegend(s *Scene, t Texts, in PlanDrawing, widthMM float64) {
	l := newLegend(s, widthMM, in.narrow)
	l.row(s.Title, true, nil)
	l.row(in.Units.scaleText(t, s.Denominator), false, nil)
	l.scaleBar(t, in.Units)
	for i, d := range in.Sensors {
		text := elevationSensor(t, d, i)
		if in.crowded() {
			text = join("\n", text, d.heights(t, in.Units))
		}
		l.row(text, false, func(b Box) []Shape {
			if d.Field == nil {
				return []Shape{&Area{Rings: [][]Point{box(b.Min, b.Max)}, Pen: Pen{WidthMM: 0.2, Dash: []float64{0.6, 0.6}, Tone: Ink}}}
			}
			return fieldArea(s, d, [][]Point{box(b.Min, b.Max)})
		})
	}
	for i, d := range in.Sensors {
		if d.Former != nil && len(d.Former.Polygons) > 0 {
			l.row(formerReach(t, in.Units, i, *d.Former), false, func(b Box) []Shape { return []Shape{&Area{Rings: [][]Point{box(b.Min, b.Max)}, Pen: formerPen}} })
		}
	}
	stroke := func(p Pen) func(Box) []Shape {
		return func(b Box) []Shape {
			y := (b.Min.Y + b.Max.Y) / 2
			return []Shape{&Line{Paths: [][]Point{{{b.Min.X, y}, {b.Max.X, y}}}, Pen: p}}
		}
	}
	if slices.ContainsFunc(in.Sensors, func(d PlanSensor) bool { return d.elevated() && d.Aim != nil }) {
		l.row(t.T("report.elevation.axis"), false, stroke(aimPen))
	}
	for _, key := range in.sights() {
		l.row(t.T(key), false, stroke(sweepPen))
	}
	l.row(t.T("report.elevation.body", "foot", in.Units.length(t, bodyFootM), "top", in.Units.length(t, bodyTopM)), false, stroke(bodyPen))
	if in.HeaderDepthM > 0 && in.LeafHeightM > 0 {
		l.row(t.T("report.elevation.header", "depth", in.Units.length(t, in.HeaderDepthM)), false, stroke(headerPen))
	}
	if in.LeafHeightM == 0 {
		l.row(t.T("report.elevation.leaf_unknown"), false, nil)
	}
	l.gap(1)
	l.row(in.note(t), false, nil)
}

// sights are the texts of what the thin lines of an elevation show.
func (in PlanDrawing) sights() (keys []string) {
	if slices.ContainsFunc(in.Sensors, func(d PlanSensor) bool {
		return onFloor(d.Sensing) && d.elevated() && d.Field != nil && len(d.Field.Polygons) > 0
	}) {
		keys = append(keys, "report.elevation.sight")
	}
	if slices.ContainsFunc(in.Sensors, func(d PlanSensor) bool { return len(raysAside(d).Paths) > 0 }) {
		keys = append(keys, "report.elevation.rays")
	}
	return keys
}

// formerReach says from where to where a sensor reaches at present.
func formerReach(t Texts, u Units, i int, f PlanField) string {
	return t.T("report.elevation.former", "number", i+1, "near", u.length(t, f.NearM), "far", u.length(t, f.FarM))
}

// elevationSensor names a sensor and says what an elevation cannot show of it.
func elevationSensor(t Texts, d PlanSensor, i int) string {
	text := t.T("report.plan.sensor", "number", i+1, "name", d.Name)
	if !d.elevated() {
		text += "\n" + t.T("report.elevation.place_unknown")
	}
	switch {
	case d.Field == nil:
		text += "\n" + t.T("report.plan.not_computable", "missing", d.Missing)
	case len(d.Field.Polygons) == 0:
		text += "\n" + d.emptyText(t)
	}
	return join("\n", append([]string{text}, d.said(t)...)...)
}

// heights says how high a device stands and from where to where its field reaches.
func (d PlanSensor) heights(t Texts, u Units) string {
	var parts []string
	if d.elevated() && *d.HeightM > 0 {
		parts = append(parts, t.T("report.elevation.mounted", "value", u.length(t, *d.HeightM)))
	}
	if d.Field != nil && len(d.Field.Polygons) > 0 {
		parts = append(parts, t.T("report.elevation.field_desc"+d.ofWhom(), "near", u.length(t, d.Field.NearM), "far", u.length(t, d.Field.FarM)))
	}
	return strings.Join(parts, " ")
}

// elevationDesc says in words what the elevation shows, each number of it.
func elevationDesc(t Texts, in PlanDrawing, denominator float64) string {
	length := func(m float64) string { return in.Units.length(t, m) }
	parts := []string{in.Units.scaleText(t, denominator) + "."}
	if in.LeafHeightM > 0 {
		parts = append(parts, t.T("report.elevation.leaf", "value", length(in.LeafHeightM))+".")
		if in.HeaderDepthM > 0 {
			parts = append(parts, t.T("report.elevation.header", "depth", length(in.HeaderDepthM))+".")
		}
	} else {
		parts = append(parts, t.T("report.elevation.leaf_unknown")+".")
	}
	for i, d := range in.Sensors {
		parts = append(parts, strings.ReplaceAll(elevationSensor(t, d, i), "\n", ". ")+".")
		if text := d.heights(t, in.Units); text != "" {
			parts = append(parts, text)
		}
		if d.elevated() && d.Aim != nil {
			parts = append(parts, t.T("report.elevation.aim_desc", "value", length(d.Aim[1])))
		}
	}
	for i, d := range in.Sensors {
		if d.Former != nil && len(d.Former.Polygons) > 0 {
			parts = append(parts, formerReach(t, in.Units, i, *d.Former)+".")
		}
	}
	parts = append(parts, t.T("report.elevation.body", "foot", length(bodyFootM), "top", length(bodyTopM))+".")
	for _, key := range in.sights() {
		parts = append(parts, t.T(key)+".")
	}
	return strings.Join(append(parts, in.note(t)), " ")
}
