package field_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/field/oracle"
)

// badlyMounted is a device as it hangs, another as it is recorded, and the marks of a walk test at the one that hangs.
func badlyMounted(r *rand.Rand, blunders float64) (hangs oracle.Mount, test field.WalkTest) {
	between := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	hangs = oracle.Mount{
		HeightM: between(2.0, 3.2), TiltDeg: between(15, 45), YawDeg: between(-10, 10), OffsetXM: between(-0.3, 0.3), OffsetYM: between(0, 0.3),
		AzimuthBeamwidthDeg: between(25, 60), ElevationBeamwidthDeg: between(25, 50), AttenuationLimitDB: 25,
		BoresightRangeM: between(3.5, 8), ReachDB: between(-6, 0),
	}
	tester := oracle.Tester{TallM: between(1.5, 1.9), SpeedMps: between(0.5, 1.5), ConfirmM: between(0, 0.25), LatencyS: between(0.05, 0.25)}
	d := device(hangs)
	d.HeightM += 0.02 * r.NormFloat64()
	d.OffsetXM += 0.02 * r.NormFloat64()
	d.OffsetYM += 0.02 * r.NormFloat64()
	d.YawDeg += r.NormFloat64()
	d.TiltDeg += between(-8, 8)
	d.BoresightRangeM *= between(0.8, 1.25)
	test = field.WalkTest{Device: d, Motion: field.Motion{LeastSpeedMps: 0.02, Direction: field.Approaching, ConfirmTravelM: tester.ConfirmM, LatencyS: tester.LatencyS}}
	for _, m := range hangs.WalkTest(tester, 0.05, blunders, r.Float64, r.NormFloat64) {
		test.Marks = append(test.Marks, field.Mark{At: field.XY{m.X, m.Y}, HeadingDeg: math.Atan2(m.TowardsX, m.TowardsY) * 180 / math.Pi,
			SpeedMps: tester.SpeedMps, BodyHeightM: tester.TallM})
	}
	return hangs, test
}

// What is asked of it is in the plan of the field's model: range within 5 % and tilt within 2° in 90 of 100, intervals of 95 % that hold 90 to 99 % of the
// time. The marks are made by other code, from the published pattern.
func TestAHundredWalkTestsGiveRangeAndTiltBack(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 11))
	const tests = 100
	near, held, asked := 0, 0, 0
	for range tests {
		hangs, test := badlyMounted(r, 0.1)
		f, err := test.Fit()
		if err != nil {
			t.Fatal(err)
		}
		rangeM, tilt := f.Values[0], f.Values[1]
		if math.Abs(rangeM.Value/hangs.BoresightRangeM-1) <= 0.05 && math.Abs(tilt.Value-hangs.TiltDeg) <= 2 {
			near++
		} else {
			t.Logf("%+v\n marks %d range %.2f (%.2f–%.2f) tilt %.1f (%.1f–%.1f) scatter %.3f", hangs, len(test.Marks), rangeM.Value, rangeM.Low, rangeM.Top, tilt.Value, tilt.Low, tilt.Top, f.ScatterM)
		}
		for i, v := range f.Values {
			asked++
			if truth := []float64{hangs.BoresightRangeM, hangs.TiltDeg}[i]; v.Low <= truth && truth <= v.Top {
				held++
			}
		}
	}
	t.Logf("%d of %d near, %d of %d intervals hold", near, tests, held, asked)
	if near < 90 {
		t.Errorf("range and tilt are near in %d of %d", near, tests)
	}
	if share := float64(held) / float64(asked); share < 0.90 || share > 0.99 {
		t.Errorf("intervals hold in %d of %d", held, asked)
	}
}

// hung is a device whose walk test follows: as it hangs, and marks of it by oracle code without any error.
func hung(change func(*oracle.Mount)) (oracle.Mount, field.WalkTest) {
	m := oracle.Mount{HeightM: 2.4, TiltDeg: 30, OffsetYM: 0.1, AzimuthBeamwidthDeg: 45, ElevationBeamwidthDeg: 35, AttenuationLimitDB: 25, BoresightRangeM: 6, ReachDB: -2}
	recorded := device(m)
	change(&m)
	r := rand.New(rand.NewPCG(3, 5))
	test := field.WalkTest{Device: recorded, Motion: field.Motion{Direction: field.Approaching, ConfirmTravelM: 0.15, LatencyS: 0.2}}
	tester := oracle.Tester{TallM: 1.7, SpeedMps: 1, ConfirmM: 0.15, LatencyS: 0.2}
	for _, k := range m.WalkTest(tester, 0.01, 0, r.Float64, r.NormFloat64) {
		test.Marks = append(test.Marks, field.Mark{At: field.XY{k.X, k.Y}, HeadingDeg: math.Atan2(k.TowardsX, k.TowardsY) * 180 / math.Pi, SpeedMps: 1, BodyHeightM: 1.7})
	}
	return m, test
}

func fit(t *testing.T, w field.WalkTest) field.Fit {
	t.Helper()
	f, err := w.Fit()
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// Bodies by the package's own walker: what Walk says and what Fit takes back are the same physics.
func TestMarksThatAWalkComputesGiveTheDeviceBack(t *testing.T) {
	truth := field.Device{Mount: field.Mount{HeightM: 2.5, TiltDeg: 28, YawDeg: 5, OffsetYM: 0.1},
		Antenna: field.Antenna{AzimuthBeamwidthDeg: 50, ElevationBeamwidthDeg: 35, AttenuationLimitDB: 25, BoresightRangeM: 5.5}}
	motion := field.Motion{LeastSpeedMps: 0.1, Direction: field.Approaching, ConfirmTravelM: 0.1}
	w := field.WalkTest{Device: truth, Motion: motion, Free: []field.Parameter{field.RangeParameter, field.TiltParameter, field.YawParameter}}
	w.Device.BoresightRangeM, w.Device.TiltDeg, w.Device.YawDeg = 4.6, 36, -4
	w.Motion.LatencyS = 0.3
	for bearing := -60.0; bearing <= 60; bearing += 8 {
		sin, cos := math.Sincos(bearing * math.Pi / 180)
		k := truth.Walk(motion, field.Body{HeightM: 1.7, SpeedMps: 1.2}, field.Path{{7 * sin, 7 * cos}, {0, 0.1}})
		if !k.Triggers {
			continue
		}
		x, y := 7*sin, 7*cos-0.1
		length := math.Hypot(x, y)
		late := 1.2 * 0.3
		w.Marks = append(w.Marks, field.Mark{At: field.XY{k.At[0] - late*x/length, k.At[1] - late*y/length}, HeadingDeg: math.Atan2(-x, -y) * 180 / math.Pi, SpeedMps: 1.2, BodyHeightM: 1.7})
	}
	f := fit(t, w)
	for i, want := range []float64{5.5, 28, 5} {
		if got := f.Values[i]; math.Abs(got.Value-want) > []float64{0.06, 0.7, 0.7}[i] || !got.Determined {
			t.Errorf("%s is %.3f ± %.3f of %d marks, hangs at %g", got.Parameter, got.Value, got.SD, len(w.Marks), want)
		}
	}
}

func TestAMarkAtTheWrongPlaceIsNamedAndChangesLittle(t *testing.T) {
	_, w := hung(func(*oracle.Mount) {})
	clean := fit(t, w)
	w.Marks[4].At[1] += 0.9
	f := fit(t, w)
	for i, r := range f.Residuals {
		if r.Outlier != (i == 4) {
			t.Errorf("mark %d, %.3f m off: outlier %v", i, r.M, r.Outlier)
		}
	}
	if f.Residuals[4].M < 0.3 {
		t.Errorf("further out is positive, not %.2f", f.Residuals[4].M)
	}
	if d := f.Values[0].Value - clean.Values[0].Value; math.Abs(d) > 0.1 {
		t.Errorf("it moves the range by %.3f m", d)
	}
}

func TestWhatTheMarksLeaveOpenIsSaidAndTheNextMarkHelps(t *testing.T) {
	m, w := hung(func(*oracle.Mount) {})
	var straight []field.Mark
	for _, k := range w.Marks {
		if math.Abs(math.Abs(k.HeadingDeg)-180) < 20 {
			straight = append(straight, k)
		}
	}
	w.Marks = straight[:4]
	before := fit(t, w)
	tilt := before.Values[1]
	if tilt.Determined || before.Next == nil {
		t.Fatalf("marks in front alone tell the tilt to %.1f ± %.1f°, next %v", tilt.Value, tilt.SD, before.Next)
	}
	if before.Device.TiltDeg != w.Device.TiltDeg {
		t.Errorf("what is left open is taken over: %g", before.Device.TiltDeg)
	}
	heading := before.Next.HeadingDeg * math.Pi / 180
	from := [2]float64{before.Next.At[0] - 6*math.Sin(heading), before.Next.At[1] - 6*math.Cos(heading)}
	k, ok := m.Walked(oracle.Tester{TallM: 1.7, SpeedMps: 1, ConfirmM: 0.15, LatencyS: 0.2}, from[0], from[1], before.Next.At[0]+3*math.Sin(heading), before.Next.At[1]+3*math.Cos(heading))
	if !ok {
		t.Fatalf("nothing answers on the way to %v", before.Next)
	}
	w.Marks = append(w.Marks, field.Mark{At: field.XY{k.X, k.Y}, HeadingDeg: before.Next.HeadingDeg, SpeedMps: 1, BodyHeightM: 1.7})
	if after := fit(t, w); after.Values[1].SD > 0.7*tilt.SD {
		t.Errorf("the mark that was asked for leaves the tilt at ± %.2f°, before ± %.2f°", after.Values[1].SD, tilt.SD)
	}
}

// The width and depth are counted on a grid by the oracle, over the planes that a body reaches through.
func TestWidthAndDepthAloneFixTheRangeOnly(t *testing.T) {
	m := oracle.Mount{HeightM: 2.4, TiltDeg: 30, OffsetYM: 0.1, AzimuthBeamwidthDeg: 45, ElevationBeamwidthDeg: 35, AttenuationLimitDB: 25, BoresightRangeM: 6, ReachDB: -2, ClipAtDoorPlane: true}
	left, right, near, far := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for z := 0.1; z <= 1.7+1e-9; z += 0.1 {
		m.PlaneHeightM = z
		if e := m.Count(oracle.Cell{Left: -4, Near: 0, Right: 4, Far: 6}, 0.02); !e.Empty {
			left, right, near, far = min(left, e.Found.Left), max(right, e.Found.Right), min(near, e.Found.Near), max(far, e.Found.Far)
		}
	}
	w := field.WalkTest{Device: device(m), Taped: &field.Taped{WidthM: right - left, DepthM: far - near, BodyHeightM: 1.7}}
	w.Device.BoresightRangeM = 4.5
	f := fit(t, w)
	if v := f.Values[0]; v.Parameter != field.RangeParameter || !v.Determined || math.Abs(v.Value-6) > 0.1 || v.SD < 0.01 {
		t.Errorf("%+v", v)
	}
	if v := f.Values[1]; v.Parameter != field.TiltParameter || v.Determined || v.Value != 30 {
		t.Errorf("%+v", v)
	}
}

func TestADeviceThatWasKnockedHasDriftedAndOneThatWasNotHasNot(t *testing.T) {
	_, first := hung(func(*oracle.Mount) {})
	_, same := hung(func(*oracle.Mount) {})
	same.Marks = same.Marks[3:]
	_, knocked := hung(func(m *oracle.Mount) { m.TiltDeg += 7 })
	then := fit(t, first)
	for _, d := range fit(t, same).DriftSince(then) {
		if d.Moved {
			t.Errorf("of the same device: %+v", d)
		}
	}
	drift := fit(t, knocked).DriftSince(then)
	if len(drift) != 2 || drift[0].Moved || !drift[1].Moved || math.Abs(drift[1].By-7) > 2 {
		t.Errorf("%+v", drift)
	}
}

func TestAFitThatTheToleranceForbidsIsRefusedWithWhatToMeasureAgain(t *testing.T) {
	_, w := hung(func(m *oracle.Mount) { m.TiltDeg += 9 })
	w.Allowed = map[field.Parameter][2]float64{field.RangeParameter: {5.4, 6.6}, field.TiltParameter: {28, 32}}
	f := fit(t, w)
	if len(f.Refused) != 1 || f.Refused[0].Parameter != field.TiltParameter || len(f.Refused[0].Remeasure) == 0 {
		t.Fatalf("%+v", f.Refused)
	}
	for i, r := range f.Refused[0].Remeasure {
		if r.Parameter == field.TiltParameter || r.Parameter == field.RangeParameter || i > 0 && r.OfSD < f.Refused[0].Remeasure[i-1].OfSD {
			t.Errorf("%+v", f.Refused[0].Remeasure)
		}
	}
	// What is held wrongly is among what is asked for: the device hangs 40 cm higher than recorded.
	_, w = hung(func(m *oracle.Mount) { m.HeightM += 0.4 })
	w.Allowed = map[field.Parameter][2]float64{field.RangeParameter: {5.9, 6.1}, field.TiltParameter: {29, 31}}
	f = fit(t, w)
	if len(f.Refused) == 0 {
		t.Fatalf("%+v", f.Values)
	}
	w.Free = []field.Parameter{field.RangeParameter, field.TiltParameter, field.HeightParameter}
	if v := fit(t, w).Values[2]; math.Abs(v.Value-2.8) > 0.15 {
		t.Errorf("set free, the height is %+v", v)
	}
}

func TestAWalkTestAtFaultNamesTheMember(t *testing.T) {
	for want, spoil := range map[string]func(*field.WalkTest){
		"marks[2].speed_mps":       func(w *field.WalkTest) { w.Marks[2].SpeedMps = 0 },
		"marks[0].body_height_m":   func(w *field.WalkTest) { w.Marks[0].BodyHeightM = math.NaN() },
		"marks must be at least 4": func(w *field.WalkTest) { w.Marks = w.Marks[:3] },
		"free[1]":                  func(w *field.WalkTest) { w.Free = []field.Parameter{"tilt_deg", "colour"} },
		"must have marks, or":      func(w *field.WalkTest) { w.Marks = nil },
		"height_m must be from":    func(w *field.WalkTest) { w.Device.HeightM = 0 },
		"marks tell too little":    func(w *field.WalkTest) { w.Motion.LeastSpeedMps = 4 },
	} {
		_, w := hung(func(*oracle.Mount) {})
		spoil(&w)
		if _, err := w.Fit(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", want, err)
		}
	}
}
