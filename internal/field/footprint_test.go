package field

import (
	"math"
	"slices"
	"testing"
	"time"
)

// device is short for tests: height, tilt, yaw, offsets, beamwidths, limit, range, reach.
func device(height, tilt, yaw, x, y, az, el, limit, rng, reach float64) Device {
	return Device{
		Mount:   Mount{HeightM: height, TiltDeg: tilt, YawDeg: yaw, OffsetXM: x, OffsetYM: y},
		Antenna: Antenna{AzimuthBeamwidthDeg: az, ElevationBeamwidthDeg: el, AttenuationLimitDB: limit, BoresightRangeM: rng},
		ReachDB: reach,
	}
}

// workedExamples were counted on a 2 mm grid, with none of this package's code.
var workedExamples = []struct {
	d                             Device
	plane                         float64
	clip                          bool
	width, depth, near, far, area float64
}{
	{device(2.13, 24, 0, 0, .05, 29, 36, 25, 6, 0), 0, true, 1.980, 2.438, 0, 2.438, 3.924},
	{device(3.00, 24, 0, 0, .05, 29, 36, 25, 6, 0), 0, true, 2.172, 2.840, 0, 2.840, 4.847},
	{device(4.00, 24, 0, 0, .05, 29, 36, 25, 6, 0), 0, true, 2.068, 2.696, .370, 3.066, 4.357},
	{device(2.13, 21, 0, 0, .05, 58, 29, 25, 6, 0), 0, true, 3.956, 1.980, 0, 1.980, 6.443},
	{device(3.00, 21, 0, 0, .05, 58, 29, 25, 6, 0), 0, true, 4.180, 2.296, .074, 2.370, 7.606},
	{device(2.13, 30, 0, 0, .05, 45, 45, 25, 4, 0), 0, true, 2.200, 2.394, .036, 2.430, 4.105},
	{device(2.13, 32, 0, 0, .05, 36, 40, 25, 4.4, -6), 0, true, 1.214, 1.474, .487, 1.961, 1.399},
	{device(2.75, 32, 0, 0, .05, 36, 40, 25, 6, 0), .71, true, 2.504, 3.074, 0, 3.074, 6.069},
	{device(2.40, 0, 0, 0, .90, 60, 60, 25, 5, 0), 0, false, 3.564, 3.564, -.882, 2.682, 9.821},
	{device(2.40, 35, 20, -.4, .10, 70, 40, 25, 5, -3), 0, true, 3.138, 2.420, .343, 2.763, 5.819},
}

func TestWorkedExamplesAreMet(t *testing.T) {
	for i, w := range workedExamples {
		f := w.d.Footprint(w.plane, w.clip)
		for _, e := range []struct {
			name           string
			got, want, tol float64
		}{
			{"width_m", f.WidthM, w.width, .005}, {"depth_m", f.DepthM, w.depth, .005}, {"near_m", f.NearM, w.near, .005},
			{"far_m", f.FarM, w.far, .005}, {"area_m2", f.AreaM2, w.area, .003 * w.area},
		} {
			if math.Abs(e.got-e.want) > e.tol {
				t.Errorf("row %d: %s = %.4f, want %.4f", i+1, e.name, e.got, e.want)
			}
		}
		if len(f.Polygons) != 1 {
			t.Errorf("row %d: %d polygons, want 1", i+1, len(f.Polygons))
		}
	}
}

// median reports the middle of the times of single operations: a processor that others use too spoils the mean.
func median(b *testing.B, operations int, do func(i int)) {
	var took []time.Duration
	b.ReportAllocs()
	for b.Loop() {
		start := time.Now()
		do(len(took) % operations)
		took = append(took, time.Since(start))
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)/2].Nanoseconds()), "median-ns/op")
}

func BenchmarkFootprintOrdinary(b *testing.B) {
	var ds []Device
	for _, h := range []float64{2, 2.13, 2.5, 3, 4} {
		for _, tilt := range []float64{15, 24, 32, 45} {
			for _, bw := range [][2]float64{{25, 25}, {29, 36}, {58, 29}, {45, 45}, {70, 40}} {
				for _, r := range []float64{3, 4.5, 6, 8} {
					ds = append(ds, device(h, tilt, 0, 0, .05, bw[0], bw[1], 25, r, 0))
				}
			}
		}
	}
	median(b, len(ds), func(i int) { ds[i].Footprint(0, true) })
}

// Side lobes cut off at 12 dB, turned to the side and back, on planes from the floor to a centimetre below the sensor.
func BenchmarkFootprintHard(b *testing.B) {
	var ds []Device
	planes := []float64{0, 1, 2, 2.3, 2.39}
	for _, tilt := range []float64{10, 30, 45, 60} {
		for _, yaw := range []float64{0, 60, 120, 180} {
			for _, bw := range [][2]float64{{29, 36}, {70, 40}, {45, 20}} {
				ds = append(ds, device(2.4, tilt, yaw, .2, .1, bw[0], bw[1], 12, 6, 0))
			}
		}
	}
	median(b, len(ds)*len(planes), func(i int) { ds[i/len(planes)].Footprint(planes[i%len(planes)], true) })
}
