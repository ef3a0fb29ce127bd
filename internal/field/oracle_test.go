package field_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/field/oracle"
)

// What is asked of a field for any input; the oracle's own uncertainty comes on top.
const (
	extentToleranceM = 0.005
	areaTolerance    = 0.003
	areaToleranceM2  = 0.0005
)

// Two hundred mounts, a hundred of them hard ones, against cells counted by other code.
func TestFootprintAgreesWithTheOracle(t *testing.T) {
	random := rand.New(rand.NewPCG(2026, 1))
	for i := range 200 {
		m := oracle.Draw(random.Float64, i%2 == 1)
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			t.Parallel()
			compare(t, m)
		})
	}
}

func compare(t *testing.T, m oracle.Mount) {
	d := device(m)
	if err := d.Validate(); err != nil {
		t.Fatalf("%+v: %v", m, err)
	}
	got, want := d.Footprint(m.PlaneHeightM, m.ClipAtDoorPlane), m.Measure()
	switch {
	case len(got.Polygons) == 0 && !want.Empty:
		t.Errorf("%+v:\nempty, want %v with %g m²", m, want.Found, want.AreaM2)
	case len(got.Polygons) > 0 && want.Possible == oracle.Cell{}:
		t.Errorf("%+v:\n%g m², want it empty", m, got.AreaM2)
	case want.Empty:
		return // at most a hair, which counts for nothing
	}
	for _, c := range []struct {
		what                       string
		got, least, most, tolerate float64
	}{
		{"near_m", got.NearM, want.Possible.Near, want.Found.Near, extentToleranceM},
		{"far_m", got.FarM, want.Found.Far, want.Possible.Far, extentToleranceM},
		{"depth_m", got.DepthM, want.Found.Far - want.Found.Near, want.Possible.Far - want.Possible.Near, extentToleranceM},
		{"width_m", got.WidthM, want.Found.Right - want.Found.Left, want.Possible.Right - want.Possible.Left, extentToleranceM},
		{"area_m2", got.AreaM2, want.AreaM2 - want.ErrorM2, want.AreaM2 + want.ErrorM2, max(areaTolerance*want.AreaM2, areaToleranceM2)},
	} {
		if !(c.got >= c.least-c.tolerate && c.got <= c.most+c.tolerate) {
			t.Errorf("%+v:\n%s %.6f, want %.6f to %.6f, give or take %.6f", m, c.what, c.got, c.least, c.most, c.tolerate)
		}
	}
	checkPoints(t, m, got, want)
	checkRings(t, m, got)
}

// checkPoints: what is surely seen, 2 mm and more from the border, lies in one of the polygons, what is surely unseen in
// none.
func checkPoints(t *testing.T, m oracle.Mount, got field.Footprint, want oracle.Extent) {
	check := func(cells []oracle.Cell, seen bool) {
		const most = 400
		for i := 0; i < len(cells); i += max(1, len(cells)/most) {
			x, y := cells[i].Middle()
			within := slices.ContainsFunc(got.Polygons, func(p field.Polygon) bool { return p.Contains(field.XY{x, y}) })
			if within != seen {
				t.Errorf("%+v:\nthe point (%g, %g) in the middle of the cell %+v is seen: %v; in a polygon: %v", m, x, y, cells[i], seen, within)
				return
			}
		}
	}
	check(want.Seen, true)
	check(want.Unseen, false)
}

// checkRings: rings are closed, outer ones turn counter-clockwise and holes clockwise, and the numbers that are reported
// are those of the rings.
func checkRings(t *testing.T, m oracle.Mount, got field.Footprint) {
	area := 0.0
	left, right, near, far := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, p := range got.Polygons {
		for i, ring := range p {
			if len(ring) < 4 || ring[0] != ring[len(ring)-1] {
				t.Fatalf("%+v:\na ring of %d points is not closed", m, len(ring))
			}
			sum := 0.0
			for k, q := range ring[1:] {
				sum += (ring[k][0] - q[0]) * (ring[k][1] + q[1] - 2*ring[0][1]) / 2
				left, right = min(left, q[0]), max(right, q[0])
				near, far = min(near, q[1]), max(far, q[1])
			}
			if (i == 0) != (sum > 0) {
				t.Errorf("%+v:\nring %d turns the wrong way (area %g)", m, i, sum)
			}
			area += sum
		}
	}
	if len(got.Polygons) == 0 {
		return
	}
	const rounding = 1e-6
	if math.Abs(area-got.AreaM2) > rounding || math.Abs(right-left-got.WidthM) > rounding ||
		math.Abs(near-got.NearM) > rounding || math.Abs(far-got.FarM) > rounding || math.Abs(far-near-got.DepthM) > rounding {
		t.Errorf("%+v:\nthe rings have width %g, near %g, far %g, area %g; reported %g, %g, %g, %g",
			m, right-left, near, far, area, got.WidthM, got.NearM, got.FarM, got.AreaM2)
	}
}

func device(m oracle.Mount) field.Device {
	return field.Device{
		Mount:   field.Mount{HeightM: m.HeightM, TiltDeg: m.TiltDeg, YawDeg: m.YawDeg, OffsetXM: m.OffsetXM, OffsetYM: m.OffsetYM},
		Antenna: field.Antenna{AzimuthBeamwidthDeg: m.AzimuthBeamwidthDeg, ElevationBeamwidthDeg: m.ElevationBeamwidthDeg, AttenuationLimitDB: m.AttenuationLimitDB, BoresightRangeM: m.BoresightRangeM},
		ReachDB: m.ReachDB,
	}
}
