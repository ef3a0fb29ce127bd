package field

import (
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestABodyIsSeenWhereAnyOfItsPointsIs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := device(
			rapid.Float64Range(0.3, 5).Draw(t, "height_m"), rapid.Float64Range(0, 90).Draw(t, "tilt_deg"),
			rapid.Float64Range(-60, 60).Draw(t, "yaw_deg"), 0, rapid.Float64Range(0, 1).Draw(t, "offset_y_m"),
			rapid.Float64Range(10, 120).Draw(t, "az"), rapid.Float64Range(10, 120).Draw(t, "el"), 25,
			rapid.Float64Range(1, 8).Draw(t, "range"), 0)
		height := rapid.Float64Range(0.1, 2).Draw(t, "body")
		polys := BodyFootprint(d, height, true).Polygons
		for range 150 {
			v := XY{rapid.Float64Range(-4, 4).Draw(t, "x"), rapid.Float64Range(0, 6).Draw(t, "y")}
			seen := false
			for k := range 401 {
				z := seenFromM + (height-seenFromM)*float64(k)/400
				seen = seen || d.InVolume(Point{v[0], v[1], z})
			}
			if covers(polys, v) != seen && toBorder(polys, v) > bodyM && len(polys) > 0 {
				t.Fatalf("%+v, body %g m: at %v seen is %v", d, height, v, seen)
			}
			weaker := d
			weaker.ReachDB -= 0.01 // without a touching point
			if len(polys) == 0 && seen && BodyFootprint(weaker, height, true).AreaM2 > 0 {
				t.Fatalf("%+v, body %g m: seen at %v, yet no field", d, height, v)
			}
		}
	})
}

func TestAHoleThatAnotherRegionCoversIsFilled(t *testing.T) {
	ring := Zone{X1M: 3, Y1M: 3}.polygon()
	hole := Zone{X0M: 1, X1M: 2, Y0M: 1, Y1M: 2}.polygon()[0]
	slices.Reverse(hole)
	whole := Zone{X0M: 0.5, X1M: 4, Y0M: 0.5, Y1M: 4}.polygon()
	got := measure(union([]Polygon{append(ring, hole)}, []Polygon{whole}, []Polygon{Zone{X1M: 0.2, Y1M: 0.2}.polygon()}))
	if want := 9 + 3.5*3.5 - 2.5*2.5; math.Abs(got.AreaM2-want) > 1e-9 {
		t.Errorf("%g m², want %g", got.AreaM2, want)
	}
}

func TestALeafThatSwingsUnderItsSensorIsSeenAndTheWayOutIsNamed(t *testing.T) {
	d := device(2.3, 30, 0, 0, 0.1, 58, 36, 25, 6, 0)
	leaf := SwingLeaf{HingeXM: -0.5, TowardsX: 1, WidthM: 1, HeightM: 2.1, OpensToDeg: 90}
	c := d.CheckLeaf(leaf)
	if !c.Seen || c.Share <= 0 || c.Share > 1 || c.FirstDeg > c.LastDeg || c.LastDeg > 90 || c.FarthestM > 1 {
		t.Fatalf("got %+v", c)
	}
	offset, found := d.OffsetClearOf(leaf)
	if !found || c.ClearReachDB == nil {
		t.Fatalf("no way out: %v, %+v", found, c)
	}
	out := d
	out.OffsetYM += offset
	if out.CheckLeaf(leaf).Seen {
		t.Errorf("still seen %g m further out", offset)
	}
	out.OffsetYM -= 0.02
	if !out.CheckLeaf(leaf).Seen {
		t.Errorf("%g m is not the least offset", offset)
	}
	weak := d
	weak.ReachDB = *c.ClearReachDB
	if weak.CheckLeaf(leaf).Seen {
		t.Errorf("still seen at %g dB", *c.ClearReachDB)
	}
	weak.ReachDB += 0.11
	if !weak.CheckLeaf(leaf).Seen {
		t.Errorf("%g dB is not the greatest reach", *c.ClearReachDB)
	}
}

func TestTheMirroredLeafIsSeenAlike(t *testing.T) {
	d := device(2.3, 30, 12, 0.2, 0.1, 58, 36, 25, 6, 0)
	m := d
	m.YawDeg, m.OffsetXM = -d.YawDeg, -d.OffsetXM
	a := d.CheckLeaf(SwingLeaf{HingeXM: -0.5, TowardsX: 1, WidthM: 1, HeightM: 2.1, OpensToDeg: 110})
	b := m.CheckLeaf(SwingLeaf{HingeXM: 0.5, TowardsX: -1, WidthM: 1, HeightM: 2.1, OpensToDeg: 110})
	if a.Share != b.Share || a.FirstDeg != b.FirstDeg || a.LastDeg != b.LastDeg {
		t.Errorf("%+v and %+v", a, b)
	}
}

func TestALeafThatTurnsTooSlowlyIsNotSeen(t *testing.T) {
	d := device(2.3, 30, 0, 0, 0.1, 58, 36, 25, 6, 0)
	leaf := SwingLeaf{HingeXM: -0.5, TowardsX: 1, WidthM: 1, HeightM: 2.1, OpensToDeg: 90, SweepTimeS: 4, LeastSpeedMps: 0.1}
	static := leaf
	static.SweepTimeS = 0
	moving, still := d.CheckLeaf(leaf), d.CheckLeaf(static)
	if moving.Share >= still.Share || !moving.Seen {
		t.Errorf("seen share %g moving, %g by geometry", moving.Share, still.Share)
	}
	leaf.SweepTimeS = 40 // no part is faster than 0.04 m/s
	if d.CheckLeaf(leaf).Seen {
		t.Error("seen although slower than the least speed")
	}
}

func TestAClosingPanelIsSeenByAFieldThatReachesTheDoor(t *testing.T) {
	near := device(2.2, 20, 0, 0, 0.1, 60, 36, 25, 5, 0)
	far := device(2.2, 40, 0, 0, 1.5, 30, 20, 25, 5, 0)
	panel := SlidingLeaf{FromXM: -0.6, ToXM: 0.6, HeightM: 2.1}
	if !near.CheckLeaf(panel).Seen {
		t.Error("a field that begins at the door does not see the panel")
	}
	if c := far.CheckLeaf(panel); c.Seen || *c.ClearReachDB != 0 {
		t.Errorf("a field that begins far from the door: %+v", c)
	}
	if offset, found := far.OffsetClearOf(panel); !found || offset != 0 {
		t.Errorf("must move by %g m although nothing is seen", offset)
	}
}

func TestAccessoriesActPhysically(t *testing.T) {
	bare := device(2.4, 30, 0, 0, 0.05, 60, 45, 25, 6, 0)
	apply := func(a ...Accessory) Footprint {
		d, err := Apply(bare, a)
		if err != nil {
			t.Fatal(err)
		}
		return d.Footprint(0, false)
	}
	before := apply()
	if f := apply(Spacer(0.04), ExtensionArm(0.6)); math.Abs(f.FarM-before.FarM-0.64) > 1e-6 || math.Abs(f.AreaM2-before.AreaM2) > 1e-6 {
		t.Errorf("spacer and arm move the field by %g m", f.FarM-before.FarM)
	}
	covered, less := apply(WeatherCover(1.5)), bare
	less.ReachDB = -3
	if want := less.Footprint(0, false); math.Abs(covered.AreaM2-want.AreaM2) > 1e-9 {
		t.Errorf("1.5 dB one way give %g m², 3 dB less reach %g m²", covered.AreaM2, want.AreaM2)
	}
	if f, want := apply(RainHood(40, 0)), 0.05+2.4*math.Tan(40*math.Pi/180); math.Abs(f.FarM-want) > 1e-6 {
		t.Errorf("the hood cuts at %g m, want %g", f.FarM, want)
	}
	f := apply(CeilingRecess(3, 0.9, 15))
	if half := 3 * math.Tan(15*math.Pi/180); f.WidthM > 2*half+1e-9 || f.NearM < 0.9-half-1e-9 || f.FarM > 0.9+half+1e-9 || f.AreaM2 == 0 {
		t.Errorf("the recess lets %+v through", f)
	}
	if f := apply(Accessory{AzimuthBeamwidthDeg: new(30.0)}); f.WidthM >= before.WidthM {
		t.Error("a mask for a narrower beam does not narrow the field")
	}
}

func TestAccessoriesOutsideTheirLimitsAreNamed(t *testing.T) {
	bare := device(2.4, 30, 0, 0, 19.5, 60, 45, 25, 6, 0)
	for _, c := range []struct {
		a      []Accessory
		member string
	}{
		{[]Accessory{Spacer(-0.1)}, "accessories[0].out_m"},
		{[]Accessory{Spacer(0.1), WeatherCover(31)}, "accessories[1].loss_db"},
		{[]Accessory{RainHood(91, 0)}, "accessories[0].cut_off_deg"},
		{[]Accessory{RainHood(math.NaN(), 0)}, "accessories[0].cut_off_deg"},
		{[]Accessory{CeilingRecess(13, 1, 60)}, "accessories[0].height_m"},
		{[]Accessory{CeilingRecess(3, 1, 60), CeilingRecess(3, 1, 60)}, "accessories[1].height_m"},
		{[]Accessory{ExtensionArm(0.9)}, "offset_y_m"},
		{[]Accessory{{AzimuthBeamwidthDeg: new(0.0)}}, "accessories[0].azimuth_beamwidth_deg"},
	} {
		_, err := Apply(bare, c.a)
		var fault *InputError
		if !errors.As(err, &fault) || fault.Member != c.member {
			t.Errorf("got %v, want a fault of %s", err, c.member)
		}
	}
}

func TestApplyLeavesTheBareDeviceAlone(t *testing.T) {
	bare := device(2.4, 30, 0, 0, 0.05, 60, 45, 25, 6, 0)
	bare.Cuts = make([]Cut, 1, 8)
	a, err := Apply(bare, []Accessory{RainHood(60, 1)})
	b, err2 := Apply(bare, []Accessory{RainHood(30, 1)})
	if err != nil || err2 != nil || a.Cuts[1] == b.Cuts[1] || len(bare.Cuts) != 1 {
		t.Errorf("%v, %v, %v", a.Cuts, b.Cuts, bare.Cuts)
	}
}

// box sees everything over a rectangle: another sensing principle, as far as coverage is concerned.
type box struct{ x0, x1, y0, y1 float64 }

func (b box) Validate() error                       { return nil }
func (b box) Senses() Sensing                       { return Sensing{Purpose: Both} }
func (b box) OfBody(_ float64, clip bool) []Polygon { return b.OnPlane(0, clip) }
func (b box) SeesBody(p XY, _ float64) bool         { return covers(b.OnPlane(0, false), p) }
func (b box) OnPlane(float64, bool) []Polygon {
	return []Polygon{Zone{X0M: b.x0, X1M: b.x1, Y0M: b.y0, Y1M: b.y1}.polygon()}
}

func TestCoverageAndItsGaps(t *testing.T) {
	zone := Zone{X0M: 0, X1M: 2, Y0M: 0, Y1M: 1, BodyHeightM: 0.71}
	for _, c := range []struct {
		name      string
		sources   []Source
		share     float64
		gaps      int
		circle    float64
		shortfall bool
	}{
		{"nothing watches", nil, 0, 1, 1, true},
		{"all is watched", []Source{{Volume: box{-1, 3, -1, 2}}}, 1, 0, 0, false},
		{"two halves meet", []Source{{Volume: box{0, 1, 0, 1}}, {Volume: box{1, 2, 0, 1}}}, 1, 0, 0, false},
		{"a strip of 0.19 m", []Source{{Volume: box{0, 1.81, 0, 1}}}, .905, 1, .19, false},
		{"a strip of 0.21 m", []Source{{Volume: box{0, 1.79, 0, 1}}}, .895, 1, .21, true},
		{"a corner of 0.25 m × 0.25 m", []Source{{Volume: box{0, 2, 0, .75}}, {Volume: box{0, 1.75, 0, 1}}}, .96875, 1, .25, false},
		{"two gaps", []Source{{Volume: box{.5, 1, 0, 1}}, {Volume: box{1, 1.9, 0, 1}}}, .7, 2, .5, true},
	} {
		got := Cover(zone, c.sources)
		if math.Abs(got.CoveredShare-c.share) > 1e-9 || len(got.Gaps) != c.gaps || got.Shortfall() != c.shortfall {
			t.Errorf("%s: %+v", c.name, got)
		} else if c.gaps > 0 && math.Abs(got.Gaps[0].CircleM-c.circle) > 0.01 {
			t.Errorf("%s: inscribed circle %g m, want %g", c.name, got.Gaps[0].CircleM, c.circle)
		}
	}
}

func TestTheTestBodyMayTurnToFitAGap(t *testing.T) {
	// a strip of 0.21 m, turned by 33°
	turn := turned(33)
	strip := func(width float64) Polygon {
		r := Ring{{0, 0}, {1, 0}, {1, width}, {0, width}, {0, 0}}
		for i, v := range r {
			r[i] = turn.out(v)
		}
		return Polygon{r}
	}
	for _, c := range []struct {
		width float64
		want  bool
	}{{0.21, true}, {0.19, false}} {
		p := strip(c.width)
		if got := roomIn(p).takesTestBody(roomIn(p).widest()); got != c.want {
			t.Errorf("a strip of %g m takes the body: %v", c.width, got)
		}
	}
}

func TestADeviceOfWhichValuesAreUnknownCoversNothing(t *testing.T) {
	zone := Zone{X0M: 0, X1M: 2, Y0M: 0, Y1M: 1}
	got := Cover(zone, []Source{{Name: "S1", Missing: []string{"height_m", "tilt_deg"}}})
	if got.CoveredShare != 0 || len(got.Missing["S1"]) != 2 {
		t.Errorf("got %+v", got)
	}
}

func TestOverlapWithAKeptClearZone(t *testing.T) {
	area, share := Overlap(Zone{X0M: 0, X1M: 2, Y0M: 0, Y1M: 1}, box{1.5, 9, 0, 9})
	if math.Abs(area-0.5) > 1e-9 || math.Abs(share-0.25) > 1e-9 {
		t.Errorf("area %g m², share %g", area, share)
	}
}

func BenchmarkBodyFootprint(b *testing.B) {
	d := device(2.4, 30, 0, 0, 0.05, 60, 45, 25, 6, 0)
	for b.Loop() {
		BodyFootprint(d, 0.71, true)
	}
}

func BenchmarkCover(b *testing.B) {
	d := device(2.4, 30, 0, 0, 0.05, 60, 45, 25, 6, 0)
	for b.Loop() {
		Cover(Zone{X0M: -0.6, X1M: 0.6, Y1M: 1.5, BodyHeightM: 0.71}, []Source{{Name: "a", Volume: d}})
	}
}

func BenchmarkSideFourDevices(b *testing.B) {
	var four []Source
	for _, x := range []float64{-0.6, -0.2, 0.2, 0.6} {
		four = append(four, Source{Name: "s", Volume: device(2.4, 30, 0, x, 0.05, 60, 45, 25, 6, 0)})
	}
	median(b, 1, func(int) { Cover(Zone{X0M: -1, X1M: 1, Y1M: 1.5, BodyHeightM: 0.71}, four) })
}

func BenchmarkCheckLeaf(b *testing.B) {
	d := device(2.3, 30, 0, 0, 0.1, 58, 36, 25, 6, 0)
	for b.Loop() {
		d.CheckLeaf(SwingLeaf{HingeXM: -0.5, TowardsX: 1, WidthM: 1, HeightM: 2.1, OpensToDeg: 90})
	}
}

// Four devices that leave gaps, whose circles and test bodies are looked for.
func BenchmarkSideFourDevicesWithGaps(b *testing.B) {
	var four []Source
	for _, x := range []float64{-1.6, -0.7, 0.7, 1.6} {
		four = append(four, Source{Name: "s", Volume: device(2.4, 20, 0, x, 0.05, 35, 30, 25, 4, -3)})
	}
	zone := Zone{X0M: -1.5, X1M: 1.5, Y1M: 1.5, BodyHeightM: 0.71}
	if c := Cover(zone, four); len(c.Gaps) < 2 || c.CoveredShare < 0.3 {
		b.Fatalf("%d gaps, %g covered", len(c.Gaps), c.CoveredShare)
	}
	median(b, 1, func(int) { Cover(zone, four) })
}

func TestWhatTwoPolygonsHaveInCommonAddsUp(t *testing.T) {
	star := func(t *rapid.T, name string) Polygon {
		n := rapid.IntRange(3, 40).Draw(t, name+" corners")
		x, y := rapid.Float64Range(-1, 1).Draw(t, name+" x"), rapid.Float64Range(-1, 1).Draw(t, name+" y")
		var r Ring
		for i := range n {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			radius := rapid.Float64Range(0.1, 2).Draw(t, name)
			r = append(r, XY{x + radius*cos, y + radius*sin})
		}
		return Polygon{append(r, r[0])}
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := star(t, "a"), star(t, "b")
		if got := commonM2(a, a); math.Abs(got-a.AreaM2()) > 1e-9 {
			t.Errorf("with itself %g of %g m²", got, a.AreaM2())
		}
		common := commonM2(a, b)
		if rings, ok := cutOut(a, b); ok {
			if left := areaOf(polygons(rings)); math.Abs(left+common-a.AreaM2()) > 1e-9 {
				t.Errorf("%g m² left and %g m² in common of %g", left, common, a.AreaM2())
			}
		} else {
			t.Logf("the borders touch")
		}
		if left := areaOf(without(a, b)); math.Abs(left+common-a.AreaM2()) > 1e-6 {
			t.Errorf("%g m² left and %g m² in common of %g", left, common, a.AreaM2())
		}
		if other := commonM2(b, a); math.Abs(other-common) > 1e-9 {
			t.Errorf("%g one way, %g the other", common, other)
		}
		// Monte Carlo with another code path: even–odd of points on a grid.
		const step = 0.02
		in := 0
		for x := -3.0; x < 3; x += step {
			for y := -3.0; y < 3; y += step {
				if v := (XY{x + 0.0043, y + 0.0071}); a.Contains(v) && b.Contains(v) {
					in++
				}
			}
		}
		border := 0.0
		for _, p := range []Polygon{a, b} {
			for i := 1; i < len(p[0]); i++ {
				border += dist(p[0][i-1], p[0][i])
			}
		}
		if grid := float64(in) * step * step; math.Abs(grid-common) > step*math.Sqrt(border*step)+step*border*0.2+0.01 {
			t.Errorf("%g m² in common, on a grid %g (border %g m)", common, grid, border)
		}
	})
}
