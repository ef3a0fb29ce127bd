package report

import (
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"sync"
)

// PlanDrawing is what a plan view of one side of a door shows. All places are in
// the frame of the side: origin in the middle of the opening, y away from the
// door into the side, x to the right of somebody who stands in the opening and
// looks into the side; metres and degrees.
type PlanDrawing struct {
	Title string
	Units Units
	// OpeningM is the clear width; 0 is unknown, and the wall is then drawn with
	// no opening and says so.
	OpeningM float64
	// LeafHeightM is the height of the highest leaf; 0 is unknown.
	LeafHeightM float64
	// HeaderDepthM is how far the header stands out on this side; 0: not drawn.
	HeaderDepthM float64
	Leaves       []PlanLeaf
	Sensors      []PlanSensor
	Required     []PlanZone
	KeptClear    []PlanZone
	// Gaps are the uncovered pieces of the required zones.
	Gaps Polygons
	// Spots are the largest circles in them.
	Spots []PlanSpot
	// Marks are where outputs came on a walk test.
	Marks []PlanMark

	// narrow: measures and legend stand beneath, for want of room beside.
	narrow bool
}

// PlanSpot is the largest circle that nothing covers in one uncovered piece.
type PlanSpot struct{ XM, YM, DiameterM float64 }

// PlanMark is a mark of a walk test: OutM is how far it lies outside of where the
// device should have answered, negative inside; an outlier did not count.
type PlanMark struct {
	XM, YM, OutM float64
	Number       int
	Outlier      bool
}

// Polygons is a list of polygons, each a list of closed rings (the outer, then
// holes), each a list of [x, y] in metres.
type Polygons = [][][][2]float64

// PlanLeaf is one leaf as seen from above.
type PlanLeaf struct {
	// Motion is swing, slide, fold or revolve; anything else is drawn closed.
	Motion string
	// JambXM is where it hinges or folds, or the jamb towards which it slides;
	// for revolve, the axis.
	JambXM float64
	// WidthM is the leaf's width; for revolve, the radius.
	WidthM float64
	// Towards says that it opens towards this side (swing, fold).
	Towards bool
}

// PlanSensor is a device with the field that it watches.
type PlanSensor struct {
	// Name is printed in the legend, e.g. model and place.
	Name string
	// Purpose is activation or presence; it decides the pattern of a radar.
	Purpose string
	// Sensing is as the catalogue's and decides the pattern; empty: radar.
	Sensing string
	// OnLeaf says that it moves with the leaf; it is drawn with the leaf closed.
	OnLeaf bool
	// Unfit says, in words, for which zones it does not count, and why.
	Unfit []string
	// Placed says that X and Y are known; without it only the legend speaks.
	Placed bool
	XM, YM float64
	// HeightM is nil when unknown.
	HeightM *float64
	// Aim is where the axis meets the floor; nil when it does not or is unknown.
	Aim *[2]float64
	// Field is nil when it is not computable; Missing then says why.
	Field   *PlanField
	Missing string
	// Former is the field before a change that the drawing shows; nil: no change.
	Former *PlanField
}

// PlanField is a field on the floor and its extents.
type PlanField struct {
	WidthM, DepthM, NearM, FarM float64
	Polygons                    Polygons
	// ModelVersion is of the model that computed it; empty: not said.
	ModelVersion string
	// Rays are the few that stand for a device of light: from and to, each x, y and z.
	Rays [][2][3]float64
	// PlaneM is how high above the floor the field lies.
	PlaneM float64
}

// PlanZone is a required or a kept-clear zone.
type PlanZone struct {
	Name string
	// Purpose of a required zone is activation or presence and decides its dashes.
	Purpose  string
	Polygons Polygons
}

// FieldDrawing is what the drawing of one computed field shows: the device as it
// is mounted and set, and the field on a plane.
type FieldDrawing struct {
	Title string
	Units Units

	HeightM, TiltDeg, YawDeg, OffsetXM, OffsetYM float64
	AzimuthBeamwidthDeg, ElevationBeamwidthDeg   float64
	BoresightRangeM, ReachDB, AttenuationLimitDB float64
	PlaneHeightM                                 float64
	ClipAtDoorPlane                              bool
	WidthM, DepthM, NearM, FarM, AreaM2          float64
	Polygons                                     Polygons
}

// Limits of what can be drawn: a place is within 1 km, a text within 300 signs.
const (
	farthestM   = 1000
	longestText = 300
)

// PlanSVG draws one side of a door to scale: from above, and below that, where
// it has sensors, from the side.
func PlanSVG(w io.Writer, t Texts, in PlanDrawing) error {
	scenes, err := sideScenes(t, in, 190, 150)
	if err != nil {
		return err
	}
	return WriteSVG(w, scenes...)
}

// NarrowPlanSVG draws the same into less than half the width, the legends beneath: for two side by side.
func NarrowPlanSVG(w io.Writer, t Texts, in PlanDrawing) error {
	in.narrow = true
	scenes, err := sideScenes(t, in, narrowMM, 320)
	if err != nil {
		return err
	}
	return WriteSVG(w, scenes...)
}

// sideScenes are the plan of a side and its elevation, if it has one.
func sideScenes(t Texts, in PlanDrawing, widthMM, heightMM float64) ([]*Scene, error) {
	plan, err := planScene(t, in, widthMM, heightMM)
	if err != nil {
		return nil, err
	}
	elevation, err := elevationScene(t, in, widthMM, heightMM)
	if err != nil || elevation == nil {
		return []*Scene{plan}, err
	}
	return []*Scene{plan, elevation}, nil
}

// FieldSVG draws fields to scale, each from above and below that from the side, one below the other, all at one scale so
// that they compare.
func FieldSVG(w io.Writer, t Texts, in ...FieldDrawing) error {
	n := 0.0
	for i, f := range in {
		if err := f.check(); err != nil {
			return fmt.Errorf("drawing %d: %w", i+1, err)
		}
		n = math.Max(n, fieldScale(f))
	}
	var scenes []*Scene
	for _, f := range in {
		plan := fieldScene(t, f, n)
		scenes = append(scenes, plan, elevationAt(t, f.aside(plan.Title), n, 0))
	}
	return WriteSVG(w, scenes...)
}

// The pens of a plan.
var (
	wallPen     = Pen{WidthMM: 0.5, Tone: Ink}
	leafPen     = Pen{WidthMM: 0.4, Tone: Ink}
	sweepPen    = Pen{WidthMM: 0.18, Tone: Ink}
	headerPen   = Pen{WidthMM: 0.18, Dash: []float64{2.4, 0.8, 0.4, 0.8}, Tone: Ink}
	fieldPen    = Pen{WidthMM: 0.35, Tone: Ink}
	fieldStroke = Pen{WidthMM: 0.09, Tone: Soft}
	clearPen    = Pen{WidthMM: 0.25, Dash: []float64{0.5, 0.8}, Tone: Ink}
	clearStroke = Pen{WidthMM: 0.15, Tone: Ink}
	gapStroke   = Pen{WidthMM: 0.22, Tone: Ink}
	formerPen   = Pen{WidthMM: 0.2, Dash: []float64{0.9, 0.6}, Tone: Ink}
	aimPen      = Pen{WidthMM: 0.18, Dash: []float64{1.6, 0.7}, Tone: Ink}
)

const (
	wallM      = 0.12  // the wall as drawn: its thickness is not on record
	textMM     = 2.6   // the height of type on a drawing
	legendMM   = 62    // the width of the column right of a drawing
	nearShownM = 0.005 // a field that begins nearer to the door has no dimension of that
	narrowMM   = 88    // the width of a drawing that has its legend beneath
)

// planScene draws the plan at the largest scale at which it fits, with its
// dimensions and legend, into so many millimetres.
func planScene(t Texts, in PlanDrawing, widthMM, heightMM float64) (*Scene, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	body := in.extent()
	return largest(in.Units, body, widthMM, heightMM, func(n float64) *Scene { return planAt(t, in, body, n, widthMM, heightMM) }), nil
}

// largest draws at the largest scale at which the body and all that is written
// around it fit into so many millimetres.
func largest(u Units, body Box, widthMM, heightMM float64, at func(denominator float64) *Scene) *Scene {
	all := u.scales()
	for i := 0; ; i++ {
		var n float64
		if i < len(all) {
			n = all[i]
		} else {
			n = all[len(all)-1] * float64(i-len(all)+2)
		}
		if body.Width()*1000/n > widthMM || body.Height()*1000/n > heightMM {
			continue
		}
		s := at(n)
		b := s.Bounds()
		if fits := s.mm(b.Width()) <= widthMM && s.mm(b.Height()) <= heightMM; fits || body.Width()*1000/n < 20 && i >= len(all) {
			return s
		}
	}
}

func planAt(t Texts, in PlanDrawing, body Box, denominator, widthMM, heightMM float64) *Scene {
	s := &Scene{Title: in.Title, Denominator: denominator}
	s.Desc = planDesc(t, in, denominator)

	for _, z := range in.KeptClear {
		s.add(clearZone(s, rings(z.Polygons))...)
	}
	for _, d := range in.Sensors {
		if d.Field != nil {
			s.add(fieldArea(s, d, rings(d.Field.Polygons))...)
		}
	}
	for _, d := range in.Sensors {
		if d.Former != nil {
			s.add(&Area{Rings: rings(d.Former.Polygons), Pen: formerPen})
		}
	}
	if gaps := rings(in.Gaps); len(gaps) > 0 {
		s.add(gapArea(s, gaps)...)
	}
	for _, c := range in.Spots {
		at := Point{c.XM, c.YM}
		s.add(&Arc{Centre: at, RadiusM: c.DiameterM / 2, FromDeg: 0, ToDeg: 360, Pen: fieldPen})
		// A circle too small for its text has it in the legend only.
		if text := t.T("report.plan.diameter", "value", in.Units.length(t, c.DiameterM)); textWidthMM(text, textMM, false) < s.mm(c.DiameterM) {
			s.add(&Text{At: Point{at.X, at.Y - s.m(textMM*0.35)}, String: text, HeightMM: textMM, Anchor: Middle, Tone: Ink, Backed: true})
		}
	}
	for _, z := range in.Required {
		s.add(&Area{Rings: rings(z.Polygons), Pen: zonePen(z.Purpose)})
	}
	s.add(wall(s, t, in, body)...)
	for _, l := range in.Leaves {
		s.add(leaf(s, l)...)
	}
	var numbers []marker
	for i, d := range in.Sensors {
		s.add(raysAbove(s, d)...)
		if d.Placed {
			numbers = append(numbers, marker{d, strconv.Itoa(i + 1)})
		}
	}
	s.add(markers(s, numbers)...)

	for _, m := range in.Marks {
		s.add(walkMark(s, m, in.Sensors)...)
	}

	frame := s.Bounds()
	if in.OpeningM > 0 {
		s.add(&Dimension{From: Point{-in.OpeningM / 2, -wallM}, To: Point{in.OpeningM / 2, -wallM}, Line: math.Min(frame.Min.Y, 0) - s.m(4.5),
			Label: t.T("report.plan.opening", "value", in.Units.length(t, in.OpeningM))})
	}
	for _, d := range leafWidths(t, in) {
		d.Line = s.Bounds().Min.Y - s.m(3.2)
		s.add(d)
	}
	lane := 0.0
	for i, d := range in.Sensors {
		if in.dimensioned(s, d) {
			s.add(extents(s, t, in.Units, *d.Field, frame, lane, fieldLabel(in.Sensors, i))...)
			lane++
		}
	}
	planLegend(s, t, in, widthMM, heightMM)
	return s
}

// leafWidths measure each leaf where it is closed, and what revolves across.
func leafWidths(t Texts, in PlanDrawing) (list []*Dimension) {
	for _, l := range in.Leaves {
		if l.WidthM <= 0 {
			continue
		}
		from, to, key, m := l.JambXM, l.JambXM-math.Copysign(l.WidthM, l.JambXM), "report.plan.leaf", l.WidthM
		if l.Motion == "revolve" {
			from, to, key, m = l.JambXM-l.WidthM, l.JambXM+l.WidthM, "report.plan.revolving", 2*l.WidthM
		}
		list = append(list, &Dimension{From: Point{math.Min(from, to), -wallM}, To: Point{math.Max(from, to), -wallM}, Label: t.T(key, "value", in.Units.length(t, m))})
	}
	return list
}

// zoneText names a zone and says how large it is, from edge to edge.
func zoneText(t Texts, u Units, key string, z PlanZone) string {
	text := t.T(key, "name", z.Name)
	if ps := flat(z.Polygons); len(ps) > 0 {
		west, east, south, north := corners(ps)
		text += t.T("report.plan.zone_size", "width", u.length(t, east.X-west.X), "depth", u.length(t, north.Y-south.Y), "near", u.length(t, south.Y))
	}
	return text
}

// formerText says of which sensor thin dashes show the present field, and how large it is.
func formerText(t Texts, u Units, i int, f PlanField) string {
	if len(f.Polygons) == 0 {
		return t.T("report.plan.former_empty", "number", i+1)
	}
	return t.T("report.plan.former", "number", i+1, "width", u.length(t, f.WidthM), "depth", u.length(t, f.DepthM), "near", u.length(t, f.NearM))
}

// fieldLabel starts a dimension with the number of its sensor where there are
// several.
func fieldLabel(all []PlanSensor, i int) string {
	if len(all) < 2 {
		return ""
	}
	return strconv.Itoa(i+1) + ": "
}

// extents are the dimensions of a field: width above frame, near and depth on
// its right, each further field one lane out.
func extents(s *Scene, t Texts, u Units, f PlanField, frame Box, lane float64, label string) []Shape {
	west, east, south, north := corners(flat(f.Polygons))
	top := frame.Max.Y + s.m(4+5*lane)
	right := frame.Max.X + s.m(4+26*lane)
	text := func(key string, m float64) string { return label + t.T(key, "value", u.length(t, m)) }
	sh := []Shape{
		&Dimension{From: west, To: east, Line: top, Label: text("report.plan.width", f.WidthM)},
		&Dimension{From: south, To: north, Upright: true, Line: right, Label: text("report.plan.depth", f.DepthM)},
	}
	if f.NearM > nearShownM {
		sh = append(sh, &Dimension{From: Point{right - s.m(3), 0}, To: south, Upright: true, Line: right, Label: text("report.plan.near", f.NearM)})
	}
	return sh
}

// corners are the first points that lie farthest to each side.
func corners(ps []Point) (west, east, south, north Point) {
	west, east, south, north = ps[0], ps[0], ps[0], ps[0]
	for _, p := range ps {
		if p.X < west.X {
			west = p
		}
		if p.X > east.X {
			east = p
		}
		if p.Y < south.Y {
			south = p
		}
		if p.Y > north.Y {
			north = p
		}
	}
	return west, east, south, north
}

// wall is the wall on both sides of the opening, cut through, and the header
// above it. Its thickness is drawn, not measured.
func wall(s *Scene, t Texts, in PlanDrawing, body Box) []Shape {
	const thick = wallM
	half := in.OpeningM / 2
	var sh []Shape
	side := func(from, to float64) {
		r := [][]Point{{{from, -thick}, {to, -thick}, {to, 0}, {from, 0}}}
		sh = append(sh, &Area{Rings: r, Fill: true, Tone: White}, hatch(r, 45, s.m(0.9), Pen{WidthMM: 0.18, Tone: Ink}), &Area{Rings: r, Pen: wallPen})
	}
	if half > 0 {
		side(body.Min.X, -half)
		side(half, body.Max.X)
	} else {
		side(body.Min.X, body.Max.X)
		sh = append(sh, &Text{At: Point{0, -thick - s.m(3.4)}, String: t.T("report.plan.opening_unknown"), HeightMM: textMM, Anchor: Middle, Tone: Ink})
	}
	if in.HeaderDepthM > 0 {
		w := half
		if w == 0 {
			w = (body.Max.X - body.Min.X) / 2
		}
		sh = append(sh, &Line{Paths: [][]Point{{{-w, 0}, {-w, in.HeaderDepthM}, {w, in.HeaderDepthM}, {w, 0}}}, Pen: headerPen})
	}
	return sh
}

// leaf draws a leaf where it stands open and how it gets there.
func leaf(s *Scene, l PlanLeaf) []Shape {
	const thick, plane = 0.04, -0.06 // of the leaf, and the middle of the wall
	inward := 1.0                    // from its jamb towards the middle of the opening
	if l.JambXM > 0 {
		inward = -1
	}
	switch l.Motion {
	case "swing":
		y, from, to := 0.0, 0.0, 90.0
		if inward < 0 {
			from, to = 90, 180
		}
		open := Point{l.JambXM, l.WidthM}
		if !l.Towards {
			y, open = -wallM, Point{l.JambXM, -wallM - l.WidthM}
			from, to = 360-to, 360-from
		}
		return []Shape{
			&Line{Paths: [][]Point{{{l.JambXM, y}, {l.JambXM + inward*l.WidthM, y}}}, Pen: Pen{WidthMM: 0.25, Dash: []float64{1, 0.6}, Tone: Ink}},
			&Arc{Centre: Point{l.JambXM, y}, RadiusM: l.WidthM, FromDeg: from, ToDeg: to, Pen: sweepPen},
			&Area{Rings: [][]Point{box(Point{l.JambXM, y}, Point{l.JambXM + inward*thick, open.Y})}, Pen: leafPen, Fill: true, Tone: White},
		}
	case "fold":
		y, reach := 0.0, l.WidthM/2
		if !l.Towards {
			y, reach = -wallM, -reach
		}
		fold := Point{l.JambXM + inward*l.WidthM*0.12, y + reach}
		end := Point{l.JambXM + inward*l.WidthM*0.24, y}
		return []Shape{
			&Line{Paths: [][]Point{{{l.JambXM, y}, {l.JambXM + inward*l.WidthM, y}}}, Pen: Pen{WidthMM: 0.25, Dash: []float64{1, 0.6}, Tone: Ink}},
			&Line{Paths: [][]Point{{{l.JambXM, y}, fold, end}}, Pen: Pen{WidthMM: 0.6, Tone: Ink}},
			arrow(s, Point{l.JambXM + inward*l.WidthM*0.8, y}, Point{l.JambXM + inward*l.WidthM*0.4, y}),
		}
	case "slide":
		closed := box(Point{l.JambXM, plane - thick/2}, Point{l.JambXM + inward*l.WidthM, plane + thick/2})
		open := box(Point{l.JambXM, plane - thick/2}, Point{l.JambXM - inward*l.WidthM, plane + thick/2})
		mid := l.JambXM + inward*l.WidthM/2
		return []Shape{
			&Area{Rings: [][]Point{open}, Pen: Pen{WidthMM: 0.18, Dash: []float64{1, 0.6}, Tone: Ink}},
			&Area{Rings: [][]Point{closed}, Pen: leafPen, Fill: true, Tone: White},
			arrow(s, Point{mid + inward*l.WidthM/4, plane - s.m(2)}, Point{mid - inward*l.WidthM/4, plane - s.m(2)}),
		}
	case "revolve":
		sh := []Shape{&Arc{Centre: Point{l.JambXM, plane}, RadiusM: l.WidthM, FromDeg: 0, ToDeg: 360, Pen: sweepPen}}
		wings := &Line{Pen: Pen{WidthMM: 0.6, Tone: Ink}}
		for _, deg := range []float64{45, 135, 225, 315} {
			a := Arc{Centre: Point{l.JambXM, plane}, RadiusM: l.WidthM}
			wings.Paths = append(wings.Paths, []Point{a.Centre, a.at(deg)})
		}
		return append(sh, wings)
	default:
		return []Shape{&Area{Rings: [][]Point{box(Point{l.JambXM, plane - thick/2}, Point{l.JambXM + inward*l.WidthM, plane + thick/2})}, Pen: leafPen, Fill: true, Tone: White}}
	}
}

// arrow is a stroke with an open head.
func arrow(s *Scene, from, to Point) *Line {
	l := math.Hypot(to.X-from.X, to.Y-from.Y)
	if l == 0 {
		return &Line{Pen: sweepPen}
	}
	ux, uy, h := (to.X-from.X)/l, (to.Y-from.Y)/l, s.m(1.5)
	barb := func(side float64) Point {
		return Point{to.X - h*(ux-side*uy*0.4), to.Y - h*(uy+side*ux*0.4)}
	}
	return &Line{Paths: [][]Point{{from, to}, {barb(1), to, barb(-1)}}, Pen: Pen{WidthMM: 0.25, Tone: Ink}}
}

// walkMark is a cross with its number; a heavy stroke goes from it, in line with the
// sensor, to where the device should have answered. An outlier is ringed.
func walkMark(s *Scene, m PlanMark, sensors []PlanSensor) []Shape {
	at, c := Point{m.XM, m.YM}, s.m(0.8)
	sh := []Shape{&Line{Paths: [][]Point{{{at.X - c, at.Y - c}, {at.X + c, at.Y + c}}, {{at.X - c, at.Y + c}, {at.X + c, at.Y - c}}}, Pen: Pen{WidthMM: 0.25, Tone: Ink}},
		&Text{At: Point{at.X + c*1.3, at.Y + c*0.6}, String: strconv.Itoa(m.Number), HeightMM: textMM * 0.8, Tone: Ink, Backed: true}}
	if m.Outlier {
		sh = append(sh, &Arc{Centre: at, RadiusM: c * 1.6, FromDeg: 0, ToDeg: 360, Pen: Pen{WidthMM: 0.25, Tone: Ink}})
	}
	if len(sensors) > 0 && m.OutM != 0 {
		dx, dy := sensors[0].XM-at.X, sensors[0].YM-at.Y
		if far := math.Hypot(dx, dy); far > 0 {
			sh = append(sh, &Line{Paths: [][]Point{{at, {at.X + dx/far*m.OutM, at.Y + dy/far*m.OutM}}}, Pen: Pen{WidthMM: 0.6, Tone: Ink}})
		}
	}
	return sh
}

// disc is a filled circle.
func disc(c Point, r float64, tone Tone) *Area {
	a, ring := Arc{Centre: c, RadiusM: r}, []Point(nil)
	for deg := 0.0; deg < 360; deg += 15 {
		ring = append(ring, a.at(deg))
	}
	return &Area{Rings: [][]Point{ring}, Fill: true, Tone: tone}
}

// zonePen is long dashes where the door must open, dash and two dots where it
// must hold.
func zonePen(purpose string) Pen {
	if purpose == "presence" {
		return Pen{WidthMM: 0.5, Dash: []float64{1.6, 0.6, 0.5, 0.6, 0.5, 0.6}, Tone: Ink}
	}
	return Pen{WidthMM: 0.5, Dash: []float64{2.4, 1.3}, Tone: Ink}
}

func clearZone(s *Scene, r [][]Point) []Shape {
	return []Shape{crosses(r, s.m(3.2), s.m(0.6), clearStroke), &Area{Rings: r, Pen: clearPen}}
}

func gapArea(s *Scene, r [][]Point) []Shape {
	return []Shape{&Area{Rings: r, Fill: true, Tone: White}, hatch(r, 0, s.m(0.7), gapStroke), hatch(r, 90, s.m(0.7), gapStroke), &Area{Rings: r, Pen: sweepPen}}
}

// legend writes rows to the right of what s shows so far, from the top down.
type legend struct {
	s    *Scene
	x, y float64
	// foot is where rows give way to a count of what is left out; 0: nowhere.
	foot float64
	left int
}

// newLegend stands beside the drawing, flush right in so many millimetres, or beneath it.
func newLegend(s *Scene, widthMM float64, beneath bool) *legend {
	b := s.Bounds()
	if beneath {
		return &legend{s: s, x: b.Min.X, y: b.Min.Y - s.m(6)}
	}
	return &legend{s: s, x: math.Max(b.Max.X+s.m(6), b.Min.X+s.m(widthMM-legendMM)), y: b.Max.Y}
}

// row writes text, wrapped, beside a swatch if there is one.
func (l *legend) row(text string, bold bool, swatch func(b Box) []Shape) {
	if swatch != nil && l.foot != 0 && l.y < l.foot {
		l.left++
		return
	}
	s, indent, height := l.s, 0.0, textMM
	if swatch != nil {
		indent = 10
	}
	if bold {
		height = 3.2
	}
	// Narrower than the column: another typeface may stand in for ours.
	lines := wrap(unitAfterNumber().ReplaceAllString(text, "$1\u00a0$2"), (legendMM-indent)*0.94, height, bold)
	if swatch != nil {
		h := s.m(4)
		b := Box{Point{l.x, l.y - h}, Point{l.x + s.m(8), l.y}}
		s.add(swatch(b)...)
	}
	y := l.y - s.m(height*0.95)
	if swatch != nil {
		y = l.y - s.m(2.9)
	}
	for _, line := range lines {
		s.add(&Text{At: Point{l.x + s.m(indent), y}, String: strings.ReplaceAll(line, "\u00a0", " "), HeightMM: height, Bold: bold, Tone: Ink})
		y -= s.m(height * 1.3)
	}
	used := l.y - y - s.m(height*0.3)
	if swatch != nil {
		used = math.Max(used, s.m(4.6))
	}
	l.y -= used + s.m(0.8)
}

// unitAfterNumber is where a line does not break.
var unitAfterNumber = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`([\d¼½¾]) (m|mm|ft|in|s|dB)\b`) })

func (l *legend) gap(mm float64) { l.y -= l.s.m(mm) }

// scaleBar is a bar of whole metres or feet, about a third of the column long.
func (l *legend) scaleBar(t Texts, u Units) {
	s, unit, key := l.s, 1.0, "report.unit.m"
	if u == US {
		unit, key = 0.3048, "report.unit.ft"
	}
	step := unit
	for _, k := range []float64{0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500} {
		step = k * unit
		if s.mm(step) >= 9 {
			break
		}
	}
	h, x, y := s.m(1.4), l.x, l.y-s.m(4.8)
	for i := range 4 {
		s.add(&Rect{Min: Point{x + float64(i)*step, y}, Max: Point{x + float64(i+1)*step, y + h}, Pen: Pen{WidthMM: 0.2, Tone: Ink}, Fill: true, Tone: []Tone{Ink, White}[i%2]})
	}
	for _, i := range []float64{0, 1, 2, 4} {
		label, anchor := decimal(i*step/unit, 1, true), Middle
		if i == 4 {
			label = t.T(key, "value", label)
		}
		if i == 0 {
			anchor = Start
		}
		s.add(&Text{At: Point{x + i*step, y + h + s.m(0.9)}, String: label, HeightMM: textMM, Anchor: anchor, Tone: Ink})
	}
	l.y = y - s.m(2)
}

func planLegend(s *Scene, t Texts, in PlanDrawing, widthMM, heightMM float64) {
	l := newLegend(s, widthMM, in.narrow)
	l.foot = l.y - s.m(heightMM-24)
	if in.Title != "" {
		l.row(in.Title, true, nil)
	}
	l.row(in.Units.scaleText(t, s.Denominator), false, nil)
	l.scaleBar(t, in.Units)

	pattern := func(draw func(r [][]Point) []Shape) func(Box) []Shape {
		return func(b Box) []Shape { return draw([][]Point{box(b.Min, b.Max)}) }
	}
	for i, d := range in.Sensors {
		if d.Former != nil {
			l.row(formerText(t, in.Units, i, *d.Former), false, pattern(func(r [][]Point) []Shape { return []Shape{&Area{Rings: r, Pen: formerPen}} }))
		}
		text := t.T("report.plan.sensor", "number", i+1, "name", d.Name)
		switch {
		case d.Field == nil:
			text += "\n" + t.T("report.plan.not_computable", "missing", d.Missing)
			l.row(text, false, func(b Box) []Shape {
				return []Shape{&Area{Rings: [][]Point{box(b.Min, b.Max)}, Pen: Pen{WidthMM: 0.2, Dash: []float64{0.6, 0.6}, Tone: Ink}}}
			})
			continue
		case len(d.Field.Polygons) == 0:
			text += "\n" + d.emptyText(t)
		case !in.dimensioned(s, d):
			text += "\n" + d.fieldText(t, in.Units)
		}
		l.row(join("\n", append([]string{text}, d.said(t)...)...), false, pattern(func(r [][]Point) []Shape { return fieldArea(s, d, r) }))
	}
	for _, z := range in.Required {
		l.row(zoneText(t, in.Units, "report.plan.required", z), false, pattern(func(r [][]Point) []Shape { return []Shape{&Area{Rings: r, Pen: zonePen(z.Purpose)}} }))
	}
	if len(in.Gaps) > 0 {
		text := t.T("report.plan.gap")
		for _, c := range in.Spots {
			text += "\n" + t.T("report.plan.diameter", "value", in.Units.length(t, c.DiameterM))
		}
		l.row(text, false, pattern(func(r [][]Point) []Shape { return gapArea(s, r) }))
	}
	for _, z := range in.KeptClear {
		l.row(zoneText(t, in.Units, "report.plan.kept_clear", z), false, pattern(func(r [][]Point) []Shape { return clearZone(s, r) }))
	}
	for _, d := range in.Sensors {
		if d.Placed && d.Aim != nil {
			l.row(t.T("report.plan.aim"), false, func(b Box) []Shape {
				y, c, x := (b.Min.Y+b.Max.Y)/2, s.m(1.2), b.Max.X-s.m(1.2)
				return []Shape{&Line{Paths: [][]Point{{{b.Min.X, y}, {x, y}}}, Pen: aimPen},
					&Line{Paths: [][]Point{{{x - c, y}, {x + c, y}}, {{x, y - c}, {x, y + c}}}, Pen: Pen{WidthMM: 0.25, Tone: Ink}},
					&Arc{Centre: Point{x, y}, RadiusM: c * 0.6, FromDeg: 0, ToDeg: 360, Pen: Pen{WidthMM: 0.25, Tone: Ink}}}
			})
			break
		}
	}
	if len(in.Marks) > 0 {
		l.row(t.T("report.plan.mark"), false, func(b Box) []Shape {
			middle := Point{(b.Min.X + b.Max.X) / 2, (b.Min.Y + b.Max.Y) / 2}
			return walkMark(s, PlanMark{XM: middle.X, YM: middle.Y, OutM: s.m(1.5), Number: 1}, []PlanSensor{{XM: b.Min.X, YM: middle.Y}})
		})
		l.row(t.T("report.plan.outlier"), false, func(b Box) []Shape {
			return walkMark(s, PlanMark{XM: (b.Min.X + b.Max.X) / 2, YM: (b.Min.Y + b.Max.Y) / 2, Number: 2, Outlier: true}, nil)
		})
	}
	if in.HeaderDepthM > 0 {
		l.row(t.T("report.plan.header"), false, func(b Box) []Shape {
			y := (b.Min.Y + b.Max.Y) / 2
			return []Shape{&Line{Paths: [][]Point{{{b.Min.X, y}, {b.Max.X, y}}}, Pen: headerPen}}
		})
	}
	if l.left > 0 {
		l.row(t.T("report.plan.more", "n", l.left), false, nil)
	}
	l.gap(1)
	l.row(in.note(t), false, nil)
}

// note says what a drawing leaves out, and which models computed it.
func (in PlanDrawing) note(t Texts) string {
	note, said := t.T("report.plan.note"), map[string]bool{"": true}
	for _, d := range in.Sensors {
		if d.Field != nil && !said[d.Field.ModelVersion] {
			said[d.Field.ModelVersion] = true
			note += " " + t.T("report.plan.model", "version", d.Field.ModelVersion)
		}
	}
	return note
}

// fieldScale is the largest scale at which f fits its drawings.
func fieldScale(f FieldDrawing) float64 {
	return math.Max(fit(f.Units, f.extent(), 95, 110), fit(f.Units, f.aside("").elevationExtent(), 120, 150))
}

func fieldScene(t Texts, in FieldDrawing, denominator float64) *Scene {
	u := in.Units
	s := &Scene{Title: in.Title, Denominator: denominator}
	if s.Title == "" {
		s.Title = t.T("report.field.title")
	}
	body := in.extent()
	r := rings(in.Polygons)
	s.add(fieldArea(s, PlanSensor{}, r)...)
	door := Pen{WidthMM: 0.6, Tone: Ink}
	if in.ClipAtDoorPlane {
		strip := [][]Point{box(Point{body.Min.X, -s.m(1.6)}, Point{body.Max.X, 0})}
		s.add(hatch(strip, 45, s.m(0.9), Pen{WidthMM: 0.15, Tone: Ink}))
	} else {
		door.Dash = []float64{3, 1}
	}
	s.add(&Line{Paths: [][]Point{{{body.Min.X, 0}, {body.Max.X, 0}}}, Pen: door})

	d := PlanSensor{Placed: true, XM: in.OffsetXM, YM: in.OffsetYM, Aim: in.aim()}
	s.add(markers(s, []marker{{d, "1"}})...)

	frame := s.Bounds()
	if len(r) > 0 {
		s.add(extents(s, t, u, in.planField(), frame, 0, "")...)
		if _, _, _, north := corners(flat(in.Polygons)); in.FarM > 0 {
			s.add(&Dimension{From: Point{body.Min.X, 0}, To: north, Upright: true, Line: frame.Min.X - s.m(4), Label: t.T("report.plan.far", "value", u.length(t, in.FarM))})
		}
	}

	l := newLegend(s, 0, false)
	l.row(s.Title, true, nil)
	l.row(u.scaleText(t, denominator), false, nil)
	l.scaleBar(t, u)
	for _, row := range [][2]string{
		{"height", u.length(t, in.HeightM)},
		{"offset", t.T("report.field.offset_value", "x", u.length(t, in.OffsetXM), "y", u.length(t, in.OffsetYM))},
		{"aim", t.T("report.field.aim_value", "tilt", u.reading(t, in.TiltDeg, "deg"), "yaw", u.reading(t, in.YawDeg, "deg"))},
		{"antenna", t.T("report.field.antenna_value", "azimuth", u.reading(t, in.AzimuthBeamwidthDeg, "deg"), "elevation", u.reading(t, in.ElevationBeamwidthDeg, "deg"))},
		{"range", u.length(t, in.BoresightRangeM)},
		{"reach", u.reading(t, in.ReachDB, "dB")},
		{"limit", u.reading(t, in.AttenuationLimitDB, "dB")},
		{"plane", u.length(t, in.PlaneHeightM)},
		{"edges", t.T("report.field.edges_value", "near", u.length(t, in.NearM), "far", u.length(t, in.FarM))},
		{"area", u.area(t, in.AreaM2)},
	} {
		if len(r) > 0 || row[0] != "edges" && row[0] != "area" {
			l.row(t.T("report.field."+row[0], "value", row[1]), false, nil)
		}
	}
	if in.ClipAtDoorPlane {
		l.row(t.T("report.field.clipped"), false, nil)
	}
	if len(r) == 0 {
		l.row(t.T("report.plan.empty"), true, nil)
	}
	l.gap(1)
	l.row(t.T("report.plan.note"), false, nil)

	if len(r) == 0 {
		s.Desc = u.scaleText(t, denominator) + ". " + t.T("report.plan.empty") + " " + t.T("report.plan.note")
		return s
	}
	s.Desc = t.T("report.field.desc", "width", u.length(t, in.WidthM), "depth", u.length(t, in.DepthM), "near", u.length(t, in.NearM), "far", u.length(t, in.FarM), "scale", u.scaleText(t, denominator)) + " " + t.T("report.plan.note")
	return s
}

func (in FieldDrawing) planField() PlanField {
	return PlanField{WidthM: in.WidthM, DepthM: in.DepthM, NearM: in.NearM, FarM: in.FarM, Polygons: in.Polygons, PlaneM: in.PlaneHeightM}
}

// aside is the field as an elevation shows it: alone at a door of which nothing is known.
func (in FieldDrawing) aside(title string) PlanDrawing {
	f := in.planField()
	return PlanDrawing{Title: title, Units: in.Units, Sensors: []PlanSensor{{Name: title, Placed: true, XM: in.OffsetXM, YM: in.OffsetYM, HeightM: &in.HeightM, Aim: in.aim(), Field: &f}}}
}

// aim is where the axis meets the plane, nil where that is far outside of the field.
func (in FieldDrawing) aim() *[2]float64 {
	at := aim(in.HeightM-in.PlaneHeightM, in.OffsetXM, in.OffsetYM, in.TiltDeg, in.YawDeg)
	if at != nil && !in.extent().holds(Point{at[0], at[1]}) {
		return nil
	}
	return at
}

// aim is where the axis of a sensor at height above the plane meets it; nil for
// an axis at or above 85°, which meets it nowhere useful.
func aim(height, x, y, tiltDeg, yawDeg float64) *[2]float64 {
	if tiltDeg > 85 || height <= 0 {
		return nil
	}
	reach := height * math.Tan(tiltDeg*math.Pi/180)
	sin, cos := math.Sincos(yawDeg * math.Pi / 180)
	return &[2]float64{x + reach*sin, y + reach*cos}
}

// planDesc says in words what the plan shows, for readers who do not see it.
func planDesc(t Texts, in PlanDrawing, denominator float64) string {
	parts := []string{in.Units.scaleText(t, denominator) + "."}
	if in.OpeningM > 0 {
		parts = append(parts, t.T("report.plan.opening", "value", in.Units.length(t, in.OpeningM))+".")
	} else {
		parts = append(parts, t.T("report.plan.opening_unknown")+".")
	}
	for _, d := range leafWidths(t, in) {
		parts = append(parts, d.Label+".")
	}
	for i, d := range in.Sensors {
		if d.Former != nil {
			parts = append(parts, formerText(t, in.Units, i, *d.Former)+".")
		}
		parts = append(parts, t.T("report.plan.sensor", "number", i+1, "name", d.Name)+".")
		switch {
		case d.Field == nil:
			parts = append(parts, t.T("report.plan.not_computable", "missing", d.Missing))
		case len(d.Field.Polygons) == 0:
			parts = append(parts, d.emptyText(t))
		default:
			parts = append(parts, d.fieldText(t, in.Units))
		}
		for _, one := range d.said(t) {
			parts = append(parts, one+".")
		}
	}
	for _, z := range in.Required {
		parts = append(parts, zoneText(t, in.Units, "report.plan.required", z)+".")
	}
	for _, c := range in.Spots {
		parts = append(parts, t.T("report.plan.gap_desc", "value", in.Units.length(t, c.DiameterM)))
	}
	if len(in.Marks) > 0 {
		parts = append(parts, t.T("report.plan.marks_desc", "n", len(in.Marks)))
	}
	for _, z := range in.KeptClear {
		parts = append(parts, zoneText(t, in.Units, "report.plan.kept_clear", z)+".")
	}
	return strings.Join(append(parts, in.note(t)), " ")
}

// extent is what a plan must show, at least the opening with a stretch of wall.
func (in PlanDrawing) extent() Box {
	half := math.Max(in.OpeningM/2, 0.5) + 0.5
	b := Box{Point{-half, -0.3}, Point{half, 0.5}}
	for _, l := range in.Leaves {
		switch {
		case l.Motion == "revolve":
			b.add(Point{l.JambXM - l.WidthM, -l.WidthM}, Point{l.JambXM + l.WidthM, l.WidthM})
		case l.Motion == "slide":
			b.add(Point{l.JambXM + math.Copysign(l.WidthM+0.1, l.JambXM), 0})
		case (l.Motion == "swing" || l.Motion == "fold") && l.Towards:
			b.add(Point{l.JambXM, l.WidthM + 0.1})
		case l.Motion == "swing" || l.Motion == "fold":
			b.add(Point{l.JambXM, -l.WidthM - 0.25})
		}
	}
	for _, d := range in.Sensors {
		if d.Placed {
			b.add(Point{d.XM, d.YM})
			if d.Aim != nil {
				b.add(Point{d.Aim[0], d.Aim[1]})
			}
		}
		for _, f := range []*PlanField{d.Field, d.Former} {
			if f != nil {
				b.add(flat(f.Polygons)...)
			}
		}
	}
	for _, m := range in.Marks {
		b.add(Point{m.XM, m.YM})
	}
	for _, zones := range [][]PlanZone{in.Required, in.KeptClear} {
		for _, z := range zones {
			b.add(flat(z.Polygons)...)
		}
	}
	return b
}

func (in FieldDrawing) extent() Box {
	b := Box{Point{-0.5, 0}, Point{0.5, 0.5}}
	b.add(Point{in.OffsetXM, in.OffsetYM})
	b.add(flat(in.Polygons)...)
	side := 0.05 * b.Width()
	b.Min.X, b.Max.X = b.Min.X-side, b.Max.X+side
	return b
}

func (b Box) holds(p Point) bool {
	return p.X >= b.Min.X && p.X <= b.Max.X && p.Y >= b.Min.Y && p.Y <= b.Max.Y
}

// fit is the largest scale at which b fits into so many millimetres.
func fit(u Units, b Box, widthMM, heightMM float64) float64 {
	all := u.scales()
	for _, n := range all {
		if b.Width()*1000/n <= widthMM && b.Height()*1000/n <= heightMM {
			return n
		}
	}
	// Larger than any ruler's scale: the next round number of thousands.
	return math.Ceil(math.Max(b.Width()/widthMM, b.Height()/heightMM)) * 1000
}

func rings(p Polygons) [][]Point {
	var out [][]Point
	for _, polygon := range p {
		for _, ring := range polygon {
			r := make([]Point, 0, len(ring))
			for _, xy := range ring {
				r = append(r, Point{xy[0], xy[1]})
			}
			// A closed ring says its first point twice; the writers close it.
			if n := len(r); n > 1 && r[0] == r[n-1] {
				r = r[:n-1]
			}
			if len(r) > 0 {
				out = append(out, r)
			}
		}
	}
	return out
}

func flat(p Polygons) []Point {
	var out []Point
	for _, r := range rings(p) {
		out = append(out, r...)
	}
	return out
}

func box(a, z Point) []Point { return []Point{a, {z.X, a.Y}, z, {a.X, z.Y}} }

// check names what cannot be drawn.
func (in PlanDrawing) check() error {
	var c checks
	c.text("title", in.Title)
	c.size("opening_m", in.OpeningM)
	c.size("leaf_height_m", in.LeafHeightM)
	c.size("header_depth_m", in.HeaderDepthM)
	for i, l := range in.Leaves {
		c.place(fmt.Sprintf("leaves[%d].jamb_x_m", i), l.JambXM)
		c.size(fmt.Sprintf("leaves[%d].width_m", i), l.WidthM)
	}
	for i, d := range in.Sensors {
		at := fmt.Sprintf("sensors[%d].", i)
		c.text(at+"name", d.Name)
		c.text(at+"missing", d.Missing)
		c.place(at+"x_m", d.XM)
		c.place(at+"y_m", d.YM)
		if d.HeightM != nil {
			c.size(at+"height_m", *d.HeightM)
		}
		if d.Aim != nil {
			c.place(at+"aim", d.Aim[0], d.Aim[1])
		}
		for name, f := range map[string]*PlanField{"field": d.Field, "former": d.Former} {
			if f != nil {
				c.place(at+name+" extents", f.WidthM, f.DepthM, f.NearM, f.FarM)
				c.polygons(at+name+".polygons", f.Polygons)
			}
		}
	}
	c.zones("required", in.Required)
	c.zones("kept_clear", in.KeptClear)
	c.polygons("gaps", in.Gaps)
	for i, o := range in.Spots {
		c.place(fmt.Sprintf("spots[%d]", i), o.XM, o.YM)
		c.size(fmt.Sprintf("spots[%d].diameter_m", i), o.DiameterM)
	}
	for i, m := range in.Marks {
		c.place(fmt.Sprintf("marks[%d]", i), m.XM, m.YM, m.OutM)
	}
	return errors.Join(c...)
}

func (in FieldDrawing) check() error {
	var c checks
	c.text("title", in.Title)
	c.place("inputs", in.HeightM, in.TiltDeg, in.YawDeg, in.OffsetXM, in.OffsetYM, in.AzimuthBeamwidthDeg, in.ElevationBeamwidthDeg,
		in.BoresightRangeM, in.ReachDB, in.AttenuationLimitDB, in.PlaneHeightM)
	c.place("extents", in.WidthM, in.DepthM, in.NearM, in.FarM)
	c.polygons("polygons", in.Polygons)
	return errors.Join(c...)
}

type checks []error

func (c *checks) place(name string, vs ...float64) {
	for _, v := range vs {
		if math.IsNaN(v) || math.Abs(v) > farthestM {
			*c = append(*c, fmt.Errorf("%s: %v cannot be drawn, want a number within ±%d", name, v, farthestM))
		}
	}
}

func (c *checks) size(name string, v float64) {
	if c.place(name, v); v < 0 {
		*c = append(*c, fmt.Errorf("%s: %v is negative", name, v))
	}
}

func (c *checks) text(name, s string) {
	if n := len([]rune(s)); n > longestText {
		*c = append(*c, fmt.Errorf("%s: %d signs, want at most %d", name, n, longestText))
	}
}

func (c *checks) zones(name string, zones []PlanZone) {
	for i, z := range zones {
		c.text(fmt.Sprintf("%s[%d].name", name, i), z.Name)
		c.polygons(fmt.Sprintf("%s[%d].polygons", name, i), z.Polygons)
	}
}

func (c *checks) polygons(name string, p Polygons) {
	for i, polygon := range p {
		for _, ring := range polygon {
			for _, xy := range ring {
				before := len(*c)
				if c.place(fmt.Sprintf("%s[%d]", name, i), xy[0], xy[1]); len(*c) > before {
					return
				}
			}
		}
	}
}
