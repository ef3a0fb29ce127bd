package field

import (
	"encoding/json"
	"errors"
	"flag"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "write the golden numbers anew")

// vec is for checks by vectors, which the package itself does without.
type vec [3]float64

func (a vec) dot(b vec) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec) times(k float64) vec {
	return vec{a[0] * k, a[1] * k, a[2] * k}
}
func (a vec) plus(b vec) vec { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }

// axes are b, h and v of the frame's definition.
func axes(tiltDeg, yawDeg float64) (b, h, v vec) {
	t, w := tiltDeg*math.Pi/180, yawDeg*math.Pi/180
	return vec{math.Sin(t) * math.Sin(w), math.Sin(t) * math.Cos(w), -math.Cos(t)}, vec{math.Cos(w), -math.Sin(w), 0},
		vec{math.Cos(t) * math.Sin(w), math.Cos(t) * math.Cos(w), math.Sin(t)}
}

// inSpot says by the angle between two vectors whether a point lies in the cone of any spot, and in range on its level.
func inSpot(g SpotGrid, p vec) bool {
	for spot := range g.Rows * g.Columns {
		if inOneSpot(g, spot, p) {
			return true
		}
	}
	return false
}

func inOneSpot(g SpotGrid, spot int, p vec) bool {
	b, h, v := axes(g.TiltDeg, g.YawDeg)
	d := p.plus(vec{-g.OffsetXM, -g.OffsetYM, -g.HeightM})
	e := (float64(spot/g.Columns) - float64(g.Rows-1)/2) * g.RowStepDeg * math.Pi / 180
	a := (float64(spot%g.Columns) - float64(g.Columns-1)/2) * g.ColumnStepDeg * math.Pi / 180
	u := b.times(math.Cos(e) * math.Cos(a)).plus(h.times(math.Cos(e) * math.Sin(a))).plus(v.times(math.Sin(e)))
	return u.dot(d) >= math.Sqrt(d.dot(d))*math.Cos(g.DivergenceDeg/2*math.Pi/180) && d[2] < 0 && d[2] >= u[2]*g.RangeM
}

func anySpotGrid(t *rapid.T) SpotGrid {
	f := func(low, high float64, name string) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
	return SpotGrid{
		Sensing: Sensing{Presence, 30, 1},
		Mount:   Mount{HeightM: f(1.9, 3, "height"), TiltDeg: f(0, 30, "tilt"), YawDeg: f(-180, 180, "yaw"), OffsetXM: f(-1, 1, "x"), OffsetYM: f(0, 1, "y")},
		Rows:    rapid.IntRange(1, 3).Draw(t, "rows"), Columns: rapid.IntRange(1, 6).Draw(t, "columns"),
		RowStepDeg: f(0, 8, "row step"), ColumnStepDeg: f(0, 12, "column step"), DivergenceDeg: f(0.5, 4, "divergence"),
		RangeM: f(1, 5, "range"), DetectionShare: f(0.05, 0.45, "share"),
	}
}

func TestSpotsOnAPlaneAreTheConesCutByIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := anySpotGrid(t)
		if err := g.Validate(); err != nil {
			t.Fatal(err)
		}
		z := rapid.Float64Range(0, 1).Draw(t, "z")
		polys := g.OnPlane(z, false)
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "points"), 0))
		for range 300 {
			v := XY{g.OffsetXM - 3 + 6*random.Float64(), g.OffsetYM - 3 + 6*random.Float64()}
			if got, want := covers(polys, v), inSpot(g, vec{v[0], v[1], z}); got != want && toBorder(polys, v) > 1e-3 {
				t.Fatalf("%v: %v, by vectors %v", v, got, want)
			}
		}
		for _, p := range polys {
			for _, v := range p[0] { // a point of the border is on that of a spot: what is in and what is out of it lies within a millimetre
				if !onBorderOfASpot(g, v, z) {
					t.Fatalf("%v is not on the border", v)
				}
			}
		}
	})
}

func onBorderOfASpot(g SpotGrid, v XY, z float64) bool {
	for spot := range g.Rows * g.Columns {
		in := 0
		for k := range 16 {
			sin, cos := math.Sincos(float64(k) * math.Pi / 8)
			if inOneSpot(g, spot, vec{v[0] + 1e-3*cos, v[1] + 1e-3*sin, z}) {
				in++
			}
		}
		if in > 0 && in < 16 {
			return true
		}
	}
	return false
}

// The area of an ellipse that a cone cuts out of a plane, by π·a·b with Dandelin's spheres (textbook geometry): with β between
// axis and perpendicular, b² = d²·sin²δ/(cos²β − sin²δ) and a = d·sin δ·cos δ/(cos²β − sin²δ).
func TestASpotsAreaIsTheTextbooksEllipse(t *testing.T) {
	for _, β := range []float64{0, 20, 45, 70} {
		g := SpotGrid{Sensing: Sensing{Presence, 30, 0}, Mount: Mount{HeightM: 2.5, TiltDeg: β}, Rows: 1, Columns: 1, DivergenceDeg: 6, RangeM: 20, DetectionShare: 0.1}
		sinδ, cosδ := math.Sincos(3 * math.Pi / 180)
		c2 := sq(math.Cos(β * math.Pi / 180))
		want := math.Pi * sq(2.5) * sq(sinδ) * cosδ / math.Pow(c2-sq(sinδ), 1.5)
		if got := measure(g.OnPlane(0, false)).AreaM2; math.Abs(got-want) > 1e-6*want {
			t.Errorf("tilt %g: %g m², want %g", β, got, want)
		}
	}
}

// A floor point that counts as seen is one where a straight edge of a body covers the share: cells of the plane counted.
func TestAnEdgeThatReachesTheCoreCoversTheDetectionShare(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for range 20 {
		g := SpotGrid{Sensing: Sensing{Presence, 30, 0}, Mount: Mount{HeightM: 2.2, TiltDeg: 40 * random.Float64()}, Rows: 1, Columns: 1, DivergenceDeg: 2, RangeM: 5, DetectionShare: 0.05 + 0.4*random.Float64()}
		whole, core := g.OnPlane(seenFromM, false), g.OfBody(seenFromM, false)
		edge := core[0][0][0]
		for _, v := range core[0][0] {
			if v[1] > edge[1] {
				edge = v
			}
		}
		in, all := 0, 0
		f := measure(whole)
		for x := -f.WidthM; x < f.WidthM; x += f.WidthM / 300 {
			for y := f.NearM; y < f.FarM; y += f.DepthM / 300 {
				if inSpot(g, vec{x, y, seenFromM}) {
					all++
					if y > edge[1] {
						in++
					}
				}
			}
		}
		if got := float64(in) / float64(all); math.Abs(got-g.DetectionShare) > 0.01 {
			t.Errorf("an edge at the core covers %.3f, want %.3f", got, g.DetectionShare)
		}
	}
}

func TestABodyIsSeenByASpotOfWhichItCoversTheShare(t *testing.T) {
	g := SpotGrid{Sensing: Sensing{Presence, 30, 0}, Mount: Mount{HeightM: 2.2, TiltDeg: 20}, Rows: 2, Columns: 3, RowStepDeg: 8, ColumnStepDeg: 10, DivergenceDeg: 3, RangeM: 5, DetectionShare: 0.3}
	random := rand.New(rand.NewPCG(3, 4))
	seen := 0
	for range 150 {
		at := XY{2*random.Float64() - 1, 1.5 * random.Float64()}
		least, most := 1.0, 0.0 // the greatest share on planes, with the body a little smaller and larger
		for _, s := range spotsByVectors(g) {
			for z := 0.1; z <= 0.711; z += 0.61 / 30 {
				small, large := s.share(g, z, at, bodyHalfM-0.003), s.share(g, z, at, bodyHalfM+0.003)
				most, least = max(most, large), min(least, 1-small)
			}
		}
		got := g.SeesBody(at, 0.71)
		if surely := 1-least >= 0.34; surely && !got || most < 0.26 && got {
			t.Errorf("%v: seen %v, the share is from %.2f to %.2f", at, got, 1-least, most)
		}
		if got {
			seen++
		}
	}
	if seen < 10 || seen > 140 {
		t.Errorf("%d of 150 are seen: the test says nothing", seen)
	}
}

type spotAxis struct{ u vec }

func spotsByVectors(g SpotGrid) (all []spotAxis) {
	b, h, v := axes(g.TiltDeg, g.YawDeg)
	for row := range g.Rows {
		for column := range g.Columns {
			e := (float64(row) - float64(g.Rows-1)/2) * g.RowStepDeg * math.Pi / 180
			a := (float64(column) - float64(g.Columns-1)/2) * g.ColumnStepDeg * math.Pi / 180
			all = append(all, spotAxis{b.times(math.Cos(e) * math.Cos(a)).plus(h.times(math.Cos(e) * math.Sin(a))).plus(v.times(math.Sin(e)))})
		}
	}
	return all
}

// share counts cells of the plane about the spot.
func (s spotAxis) share(g SpotGrid, z float64, at XY, radius float64) float64 {
	drop := g.HeightM - z
	mid := XY{g.OffsetXM + s.u[0]/-s.u[2]*drop, g.OffsetYM + s.u[1]/-s.u[2]*drop}
	if dist(mid, at) > 0.5 {
		return 0
	}
	in, all := 0, 0
	for x := mid[0] - 0.12; x < mid[0]+0.12; x += 0.006 {
		for y := mid[1] - 0.12; y < mid[1]+0.12; y += 0.006 {
			d := vec{x - g.OffsetXM, y - g.OffsetYM, -drop}
			if s.u.dot(d) >= math.Sqrt(d.dot(d))*math.Cos(g.DivergenceDeg/2*math.Pi/180) {
				all++
				if dist(XY{x, y}, at) <= radius {
					in++
				}
			}
		}
	}
	return float64(in) / float64(all)
}

func anyCurtain(t *rapid.T) Curtain {
	f := func(low, high float64, name string) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
	from := f(-80, 40, "from")
	return Curtain{
		Sensing: Sensing{Presence, math.Inf(1), 0}, HeightM: f(1.9, 4, "height"), YawDeg: f(-180, 180, "yaw"), OffsetXM: f(-1, 1, "x"), OffsetYM: f(-1, 1, "y"),
		LeansDeg: []float64{f(-70, 70, "lean"), f(-70, 70, "lean")}, FromDeg: from, ToDeg: f(from+1, 80, "to"), StepDeg: f(0.05, 3, "step"),
		RangeM: f(1, 10, "range"), SpotM: f(0.005, 0.02, "spot"), DivergenceDeg: f(0, 0.3, "divergence"), WholeSpot: rapid.Bool().Draw(t, "whole"),
	}
}

func TestABodyUnderASheetOfACurtainIsSeen(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := anyCurtain(t)
		if err := c.Validate(); err != nil {
			t.Fatal(err)
		}
		const height = 1.5
		polys := c.OfBody(height, false)
		within := c.reachM()
		hair := c.spotAt(within)/2 + 2e-3
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "points"), 0))
		for range 200 {
			v := XY{c.OffsetXM - 4 + 8*random.Float64(), c.OffsetYM - 4 + 8*random.Float64()}
			switch got, want := covers(polys, v), underSheet(c, v, height, within); {
			case want && !got && toBorder(polys, v) > 2*hair:
				t.Fatalf("%v is under a sheet and not seen", v)
			case got && !want && !nearSheet(c, v, height, within, 2*hair): // a sheet is as thick as its spots, and two may lie close together
				t.Fatalf("%v is seen and under no sheet", v)
			}
		}
	})
}

// underSheet says whether the upright line through v meets a sheet, by vectors: normal·(p − s) = 0.
func underSheet(c Curtain, v XY, height, within float64) bool {
	for _, lean := range c.LeansDeg {
		down, right, normal := axes(lean, c.YawDeg)
		d := vec{v[0] - c.OffsetXM, v[1] - c.OffsetYM, 0}
		if normal[2] == 0 {
			continue
		}
		d[2] = -(normal[0]*d[0] + normal[1]*d[1]) / normal[2]
		z := c.HeightM + d[2]
		angle := math.Atan2(d.dot(right), d.dot(down)) * 180 / math.Pi
		if z >= seenFromM && z <= height && angle >= c.FromDeg && angle <= c.ToDeg && math.Sqrt(d.dot(d)) <= within {
			return true
		}
	}
	return false
}

// nearSheet says whether a body at v comes within far of a sheet, level by level: on each, a sheet is a straight line.
func nearSheet(c Curtain, v XY, height, within, far float64) bool {
	const levels = 1000
	for _, lean := range c.LeansDeg {
		down, right, _ := axes(lean, c.YawDeg)
		for k := range levels + 1 {
			along := (c.HeightM - seenFromM - (height-seenFromM)*float64(k)/levels) / -down[2]
			if along <= 0 || along > within {
				continue
			}
			most := math.Sqrt(within*within - along*along)
			at := func(deg float64) XY {
				aside := max(-most, min(most, along*math.Tan(deg*math.Pi/180)))
				p := down.times(along).plus(right.times(aside))
				return XY{c.OffsetXM + p[0], c.OffsetYM + p[1]}
			}
			if toSegment(v, at(c.FromDeg), at(c.ToDeg)) <= far*far {
				return true
			}
		}
	}
	return false
}

// Objects are slid past a row of rays: wider than the least one, none hides; narrower, one does.
func TestNothingAsWideAsTheLeastObjectHidesBetweenRays(t *testing.T) {
	for _, whole := range []bool{false, true} {
		c := Curtain{StepDeg: 0.5, RangeM: 30, SpotM: 0.01, DivergenceDeg: 0.1, WholeSpot: whole}
		for _, r := range []float64{2, 5, 12, 20} {
			spacing, spot := r*math.Sqrt(2-2*math.Cos(0.5*math.Pi/180)), 0.01+2*r*math.Tan(0.05*math.Pi/180)
			hides := func(width float64) bool {
				for k := range 2000 {
					left := spacing * float64(k) / 2000
					told := false
					for ray := -30; ray <= 30; ray++ {
						a, b := float64(ray)*spacing-spot/2, float64(ray)*spacing+spot/2
						if whole {
							told = told || a >= left && b <= left+width
						} else {
							told = told || b >= left && a <= left+width
						}
					}
					if !told {
						return true
					}
				}
				return false
			}
			least := c.LeastObjectM(r)
			if hides(least+1e-4) || least > 1e-4 && !hides(least-1e-4) {
				t.Errorf("whole %v at %g m: %g is not the least", whole, r, least)
			}
		}
	}
}

// A published form of the resolution of a scanned beam is the same chord; here worked by hand: 2·4 m·sin(0.125°) + 16 mm = 33.45 mm.
func TestLeastObjectByHand(t *testing.T) {
	c := Curtain{StepDeg: 0.25, SpotM: 0.016, WholeSpot: true}
	if got := c.LeastObjectM(4); math.Abs(got-0.03345) > 1e-5 {
		t.Errorf("%g m", got)
	}
}

func TestABodyThatStandsInABeamIsSeen(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(low, high float64, name string) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
		b := Beam{Sensing{Presence, math.Inf(1), 0}, Point{f(-2, 2, "x"), f(-2, 2, "y"), f(0, 1.2, "z")}, Point{f(-2, 2, "x"), f(-2, 2, "y"), f(0, 1.2, "z")}, 0.01}
		if b.Validate() != nil {
			t.Skip("no length")
		}
		polys := b.OfBody(0.71, false)
		for range 50 {
			along := f(-0.1, 1.1, "along")
			at := XY{b.From.X + along*(b.To.X-b.From.X) + f(-0.2, 0.2, "off"), b.From.Y + along*(b.To.Y-b.From.Y) + f(-0.2, 0.2, "off")}
			near := math.Inf(1) // distance from points of the axis at the body's heights
			first, last, nearest := -1, -1, -1
			for k := range 4001 {
				s := float64(k) / 4000
				if z := b.From.Z + s*(b.To.Z-b.From.Z); z >= seenFromM && z <= 0.71 {
					if first < 0 {
						first = k
					}
					last = k
					if d := math.Hypot(b.From.X+s*(b.To.X-b.From.X)-at[0], b.From.Y+s*(b.To.Y-b.From.Y)-at[1]); d < near {
						near, nearest = d, k
					}
				}
			}
			atEnd := nearest == first || nearest == last // where the beam is cut off square, and the distance to its axis tells less
			if got := b.SeesBody(at, 0.71); got != (near <= 0.105) && math.Abs(near-0.105) > 2e-3 && !(atEnd && math.Abs(near-0.105) < 7e-3) {
				t.Fatalf("%+v at %v: seen %v, the axis is %g m away", b, at, got, near)
			}
			if got := covers(polys, at); got != (near <= 0.005) && math.Abs(near-0.005) > 2e-3 && !(atEnd && !got) {
				t.Fatalf("%+v at %v: under the beam %v, the axis is %g m away", b, at, got, near)
			}
		}
	})
}

func TestABeamDividesAZoneInGaps(t *testing.T) {
	across := func(y, z float64) Source {
		return Source{Name: "beam", Volume: Beam{Sensing{Presence, math.Inf(1), 0}, Point{-1, y, z}, Point{1, y, z}, 0.01}}
	}
	zone := Zone{X0M: -0.6, X1M: 0.6, Y0M: 0, Y1M: 0.4, BodyHeightM: 0.71, Purpose: Presence}
	if c := Cover(zone, []Source{across(0.13, 0.3), across(0.27, 0.3)}); c.Shortfall() || len(c.Gaps) != 3 {
		t.Errorf("no body fits between beams that are 0.13 m apart: %+v", c)
	}
	if c := Cover(zone, []Source{across(0.05, 0.3), across(0.35, 0.3)}); !c.Shortfall() {
		t.Errorf("a body fits between beams that are 0.29 m apart: %+v", c)
	}
	if c := Cover(zone, []Source{across(0.13, 0.9), across(0.27, 0.9)}); !c.Shortfall() {
		t.Errorf("the small test person passes under a beam at 0.9 m: %+v", c)
	}
}

func TestAMatSeesWhoeverStandsOnIt(t *testing.T) {
	m := Mat{Sensing{Both, math.Inf(1), 0}, -0.5, 0.5, 0.2, 1}
	for _, c := range []struct {
		at   XY
		want bool
	}{{XY{0, 0.5}, true}, {XY{0.59, 0.5}, true}, {XY{0.61, 0.5}, false}, {XY{0, 0.11}, true}, {XY{0, 0.09}, false}, {XY{0.58, 1.08}, false}, {XY{0.57, 1.07}, true}} {
		if got := m.SeesBody(c.at, 0.71); got != c.want {
			t.Errorf("%v: %v", c.at, got)
		}
	}
	if got := Cover(Zone{X0M: -0.5, X1M: 0.5, Y1M: 1, BodyHeightM: 0.71}, []Source{{Volume: m}}).CoveredShare; math.Abs(got-0.8) > 1e-9 {
		t.Errorf("covers %g", got)
	}
}

func TestOnlyWhatServesAZonesPurposeCoversIt(t *testing.T) {
	at := func(s Sensing) Source { return Source{Name: "s", Volume: Mat{s, -2, 2, -2, 2}} }
	plate := Source{Name: "s", Volume: Plate{Sensing{Purpose: KnowingAct}, 0, 0.5, 1, 2}}
	radar := Source{Name: "s", Volume: device(2.4, 30, 0, 0, .05, 90, 90, 25, 8, 0)}
	for _, c := range []struct {
		name    string
		source  Source
		purpose Purpose
		still   float64
		fit     bool
	}{
		{"presence for presence", at(Sensing{Presence, 30, 0}), Presence, 30, true},
		{"lets go too soon", at(Sensing{Presence, 20, 0}), Presence, 30, false},
		{"activation for presence", at(Sensing{Activation, 0, 0}), Presence, 0, false},
		{"both for presence", at(Sensing{Both, 60, 0}), Presence, 30, true},
		{"both for activation", at(Sensing{Both, 60, 0}), Activation, 0, true},
		{"presence for activation", at(Sensing{Presence, 60, 0}), Activation, 0, false},
		{"motion for presence", radar, Presence, 0, false},
		{"motion for activation", radar, Activation, 0, true},
		{"a knowing act for activation", plate, Activation, 0, false},
		{"anything where nothing is asked", plate, "", 0, true},
	} {
		got := Cover(Zone{X0M: -0.2, X1M: 0.2, Y0M: 0.3, Y1M: 0.5, BodyHeightM: 0.71, Purpose: c.purpose, StillS: c.still}, []Source{c.source})
		if (got.CoveredShare > 0.99) != c.fit || slices.Contains(got.Unfit, "s") == c.fit {
			t.Errorf("%s: %+v", c.name, got)
		}
	}
}

func TestWhatIsOutOfLimitsIsNamed(t *testing.T) {
	s := Sensing{Presence, 30, 0}
	grid := SpotGrid{s, Mount{HeightM: 2.2}, 2, 2, 5, 5, 2, 4, 0.3}
	curtain := Curtain{Sensing: s, HeightM: 2.2, LeansDeg: []float64{0}, FromDeg: -40, ToDeg: 40, StepDeg: 1, RangeM: 4, SpotM: 0.01}
	change := func(f func(g *SpotGrid)) Volume { g := grid; f(&g); return g }
	sheet := func(f func(c *Curtain)) Volume { c := curtain; f(&c); return c }
	for member, v := range map[string]Volume{
		"rows":            change(func(g *SpotGrid) { g.Rows = 0 }),
		"height_m":        change(func(g *SpotGrid) { g.HeightM = math.NaN() }),
		"detection_share": change(func(g *SpotGrid) { g.DetectionShare = 0.9 }),
		"purpose":         change(func(g *SpotGrid) { g.Purpose = KnowingAct }),
		"still_s":         change(func(g *SpotGrid) { g.StillS = -1 }),
		"to_deg":          sheet(func(c *Curtain) { c.ToDeg = -50 }),
		"leans_deg[1]":    sheet(func(c *Curtain) { c.LeansDeg = []float64{0, 90} }),
		"leans_deg":       sheet(func(c *Curtain) { c.LeansDeg = nil }),
		"from_z_m":        Beam{s, Point{0, 0, -1}, Point{1, 0, 1}, 0.01},
		"to_x_m":          Beam{s, Point{0, 0, 1}, Point{0, 0, 1}, 0.01},
		"x1_m":            Mat{s, 1, 0, 0, 1},
		"reach_m":         Plate{Sensing{Purpose: KnowingAct}, 0, 0, 1, 0},
	} {
		var fault *InputError
		if err := v.Validate(); !errors.As(err, &fault) || fault.Member != member {
			t.Errorf("%s: %v", member, err)
		}
	}
}

func TestAModelVersionComputesAsItDid(t *testing.T) {
	type numbers struct{ WidthM, NearM, FarM, AreaM2, BodyAreaM2 float64 }
	m, err := ModelOf("field-1")
	if err != nil {
		t.Fatal(err)
	}
	var got []numbers
	for _, w := range workedExamples {
		f := m.Footprint(w.d, w.plane, w.clip)
		got = append(got, numbers{micro(f.WidthM), micro(f.NearM), micro(f.FarM), micro(f.AreaM2), micro(m.BodyFootprint(w.d, 0.71, true).AreaM2)})
	}
	const path = "testdata/field-1.json"
	if *update {
		text, _ := json.MarshalIndent(got, "", "  ")
		if err := os.WriteFile(path, append(text, '\n'), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var want []numbers
	if err := json.Unmarshal(text, &want); err != nil || len(want) != len(got) {
		t.Fatal(err, len(want))
	}
	near := func(a, b float64) bool { return math.Abs(a-b) <= 2e-3 }
	for i, w := range want {
		g := got[i]
		if !near(g.WidthM, w.WidthM) || !near(g.NearM, w.NearM) || !near(g.FarM, w.FarM) || math.Abs(g.AreaM2-w.AreaM2) > 1e-3*w.AreaM2 || math.Abs(g.BodyAreaM2-w.BodyAreaM2) > 5e-3*w.BodyAreaM2 {
			t.Errorf("row %d: %+v, stored %+v", i+1, g, w)
		}
	}
	standing := Zone{X0M: -0.2, X1M: 0.2, Y0M: 0.3, Y1M: 0.5, BodyHeightM: 0.71, Purpose: Presence, StillS: 30}
	radar := []Source{{Name: "s", Volume: device(2.4, 30, 0, 0, .05, 90, 90, 25, 8, 0)}}
	if c := m.Cover(standing, radar); c.CoveredShare != 1 || len(c.Unfit) > 0 {
		t.Errorf("a motion sensor counted where somebody stands: %+v", c)
	}
	if now, err := ModelOf(ModelVersion); err != nil || now.Cover(standing, radar).CoveredShare != 0 {
		t.Errorf("a motion sensor counts no more where somebody stands: %v", err)
	}
	var fault *InputError
	if _, err := ModelOf("field-0"); !errors.As(err, &fault) || fault.Member != "model_version" {
		t.Errorf("an unknown version: %v", err)
	}
}
