package field_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/field/oracle"
)

func TestAMovedDeviceHasTheMovedField(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMount(t)
		m.ClipAtDoorPlane = false
		moved := m
		moved.OffsetXM = rapid.Float64Range(-20, 20).Draw(t, "x")
		moved.OffsetYM = rapid.Float64Range(-20, 20).Draw(t, "y")
		want := footprint(m)
		if len(want.Polygons) > 0 {
			want.NearM += moved.OffsetYM - m.OffsetYM
			want.FarM += moved.OffsetYM - m.OffsetYM
		}
		same(t, footprint(moved), want)
	})
}

func TestATurnedDeviceHasTheTurnedField(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMount(t)
		m.ClipAtDoorPlane = false
		m.OffsetXM, m.OffsetYM, m.YawDeg = 0, 0, 0
		turned := m
		turned.YawDeg = rapid.Float64Range(-180, 180).Draw(t, "yaw")
		// The extents of the turned field, from the border of the other one.
		want := footprint(m)
		sin, cos := math.Sincos(turned.YawDeg * math.Pi / 180)
		left, right, near, far := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
		for _, p := range want.Polygons {
			for _, q := range p[0] {
				x, y := q[0]*cos+q[1]*sin, q[1]*cos-q[0]*sin // positive yaw turns +y towards +x
				left, right, near, far = min(left, x), max(right, x), min(near, y), max(far, y)
			}
		}
		if len(want.Polygons) > 0 {
			want.WidthM, want.DepthM, want.NearM, want.FarM = right-left, far-near, near, far
		}
		same(t, footprint(turned), want)
	})
}

func TestReachAndRangeAreOneThing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMount(t)
		m.BoresightRangeM = rapid.Float64Range(1, 50).Draw(t, "range")
		m.ReachDB = rapid.Float64Range(-40, 0).Draw(t, "reach")
		full := m
		full.BoresightRangeM, full.ReachDB = m.BoresightRangeM*math.Pow(10, m.ReachDB/40), 0
		same(t, footprint(m), footprint(full))
	})
}

func TestTheClosedLeafOnlyTakesAway(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMount(t)
		m.ClipAtDoorPlane = true
		clipped := footprint(m)
		m.ClipAtDoorPlane = false
		whole := footprint(m)
		if clipped.NearM < 0 {
			t.Fatalf("the clipped field reaches to y = %g", clipped.NearM)
		}
		if whole.NearM >= 0 {
			same(t, clipped, whole)
			return
		}
		if clipped.AreaM2 > whole.AreaM2+max(areaTolerance*whole.AreaM2, areaToleranceM2) || clipped.FarM > max(whole.FarM, 0)+2*extentToleranceM {
			t.Fatalf("clipped %v, whole %v", summary(clipped), summary(whole))
		}
	})
}

func TestALowerAttenuationLimitSeesNoLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMount(t)
		lower := m
		lower.AttenuationLimitDB = rapid.Float64Range(3, m.AttenuationLimitDB).Draw(t, "limit")
		less, more := footprint(m), footprint(lower)
		if len(less.Polygons) == 0 {
			return
		}
		tolerance := max(areaTolerance*more.AreaM2, areaToleranceM2)
		if more.AreaM2 < less.AreaM2-2*tolerance || more.NearM > less.NearM+2*extentToleranceM ||
			more.FarM < less.FarM-2*extentToleranceM || more.WidthM < less.WidthM-2*extentToleranceM {
			t.Fatalf("limit %g dB: %v; limit %g dB: %v", m.AttenuationLimitDB, summary(less), lower.AttenuationLimitDB, summary(more))
		}
	})
}

// A point is in the volume where other code for the same model says so; at the border either may.
func TestVolumeAgreesWithTheOraclePointByPoint(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMount(t)
		m.ClipAtDoorPlane = false
		// In the very plane of a device that looks straight down no azimuth is defined along its vertical axis.
		m.PlaneHeightM = min(m.PlaneHeightM, m.HeightM-1e-5)
		d := device(m)
		reach := m.BoresightRangeM * math.Pow(10, m.ReachDB/40)
		for range 50 {
			p := field.XY{
				m.OffsetXM + reach*rapid.Float64Range(-1, 1).Draw(t, "x"),
				m.OffsetYM + reach*rapid.Float64Range(-1, 1).Draw(t, "y"),
			}
			if got, want := d.InVolume(field.Point{X: p[0], Y: p[1], Z: m.PlaneHeightM}), m.Seen(p[0], p[1]); got != want && !nearBorder(m, p) {
				t.Fatalf("%+v: the point %v is seen: %v, want %v", m, p, got, want)
			}
		}
	})
}

// nearBorder tells whether a micrometre, or a hundred thousandth of a decibel, would decide otherwise.
func nearBorder(m oracle.Mount, p field.XY) bool {
	const awayM, awayDB = 1e-6, 1e-5
	weaker, stronger := m, m
	weaker.ReachDB -= awayDB
	stronger.ReachDB += awayDB
	if weaker.Seen(p[0], p[1]) != stronger.Seen(p[0], p[1]) {
		return true
	}
	seen := 0
	for _, q := range []field.XY{{p[0] - awayM, p[1]}, {p[0] + awayM, p[1]}, {p[0], p[1] - awayM}, {p[0], p[1] + awayM}} {
		if m.Seen(q[0], q[1]) {
			seen++
		}
	}
	return seen > 0 && seen < 4
}

// same compares two footprints of which each may be off by as much as is promised.
func same(t *rapid.T, got, want field.Footprint) {
	t.Helper()
	within := func(a, b, tolerance float64) bool { return math.Abs(a-b) <= tolerance }
	if got.AreaM2 < hairM2 || want.AreaM2 < hairM2 {
		if !within(got.AreaM2, want.AreaM2, hairM2) {
			t.Fatalf("%v, want %v", summary(got), summary(want))
		}
		return
	}
	if !within(got.AreaM2, want.AreaM2, 2*max(areaTolerance*want.AreaM2, areaToleranceM2)) ||
		!within(got.NearM, want.NearM, 2*extentToleranceM) || !within(got.FarM, want.FarM, 2*extentToleranceM) ||
		!within(got.WidthM, want.WidthM, 2*extentToleranceM) || !within(got.DepthM, want.DepthM, 2*extentToleranceM) {
		t.Fatalf("%v, want %v", summary(got), summary(want))
	}
}

// hairM2 is an area below which rounding may decide whether there is a field at all.
const hairM2 = 1e-6

func summary(f field.Footprint) [5]float64 {
	return [5]float64{f.WidthM, f.DepthM, f.NearM, f.FarM, f.AreaM2}
}

func footprint(m oracle.Mount) field.Footprint {
	return device(m).Footprint(m.PlaneHeightM, m.ClipAtDoorPlane)
}

func drawMount(t *rapid.T) oracle.Mount {
	uniform := rapid.Float64Range(0, math.Nextafter(1, 0))
	m := oracle.Draw(func() float64 { return uniform.Draw(t, "uniform") }, rapid.Bool().Draw(t, "hard"))
	if err := device(m).Validate(); err != nil {
		t.Fatal(err)
	}
	return m
}
