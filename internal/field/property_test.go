package field

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// anyDevice draws from the whole range of the limits, with a liking for their ends.
func anyDevice(t *rapid.T) Device {
	draw := func(l limit, liked ...float64) float64 {
		if len(liked) > 0 && rapid.IntRange(0, 3).Draw(t, "liked") == 0 {
			return rapid.SampledFrom(liked).Draw(t, l.member)
		}
		return rapid.Float64Range(l.low, l.top).Draw(t, l.member)
	}
	return device(
		draw(limitHeight, 0.3, 2.1, 3), draw(limitTilt, 0, 30, 90), draw(limitYaw, 0, 90, 180, -180),
		draw(limitOffsetX, 0), draw(limitOffsetY, 0, 0.05),
		draw(limitAzimuth, 1, 30, 180), draw(limitElevation, 1, 30, 180), draw(limitCap, 3, 12, 25, 60),
		draw(limitRange, 3, 6, 50), draw(limitReach, 0, -3))
}

// anyPlane draws a height up to the device's, often the floor's or the device's own.
func anyPlane(t *rapid.T, d Device) float64 {
	switch rapid.IntRange(0, 3).Draw(t, "plane") {
	case 0:
		return 0
	case 1:
		return d.HeightM
	}
	// a millimetre under the device its field is a fan of hair-thin rays, which the tests below could not follow
	return rapid.Float64Range(0, d.HeightM-0.05).Draw(t, "plane_height_m")
}

func TestRingsAreClosedSimpleAndTurnTheRightWay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDevice(t)
		f := d.Footprint(anyPlane(t, d), rapid.Bool().Draw(t, "clip"))
		if f.Polygons == nil {
			t.Fatal("polygons are nil")
		}
		for _, p := range f.Polygons {
			for i, r := range p {
				if r[0] != r[len(r)-1] || len(r) < 4 {
					t.Fatalf("ring %d is not closed", i)
				}
				if (ringArea(r) > 0) != (i == 0) {
					t.Fatalf("ring %d turns the wrong way", i)
				}
			}
		}
		if err := multi(f.Polygons).Validate(); err != nil {
			t.Fatal(err)
		}
	})
}

func TestEveryVertexLiesOnTheBorder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDevice(t)
		z, clip := anyPlane(t, d), rapid.Bool().Draw(t, "clip")
		if d.HeightM == z && d.TiltDeg < 1 {
			return // all level directions change φ within a hair's breadth
		}
		polys := d.OnPlane(z, clip)
		area := measure(polys).AreaM2
		for _, p := range polys {
			for _, r := range p {
				for i, v := range r {
					if clip && v[1] == 0 {
						continue
					}
					in, out := false, false
					for _, radius := range []float64{1e-5, 1e-4, 1e-3} {
						for k := range 720 {
							sin, cos := math.Sincos(float64(k) * math.Pi / 360)
							if d.InVolume(Point{v[0] + radius*cos, v[1] + radius*sin, z}) {
								in = true
							} else {
								out = true
							}
						}
					}
					if !out || !in && area > 1e-3 && !thinTip(r, i) { // the surroundings of a hair-thin tip can miss it
						t.Fatalf("the surroundings of %v are inside %v and outside %v", v, in, out)
					}
				}
			}
		}
	})
}

// thinTip tells whether a ring turns back at a vertex, but for less than a degree.
func thinTip(r Ring, i int) bool {
	n := len(r) - 1
	v, a, b := r[i%n], r[(i+n-1)%n], r[(i+1)%n]
	return dist(v, a) > 0 && dist(v, b) > 0 && ((a[0]-v[0])*(b[0]-v[0])+(a[1]-v[1])*(b[1]-v[1]))/(dist(v, a)*dist(v, b)) > math.Cos(math.Pi/180)
}

func TestPointsAreInsideWhereTheInequalityHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDevice(t)
		z, clip := anyPlane(t, d), rapid.Bool().Draw(t, "clip")
		polys := d.OnPlane(z, clip)
		reach := math.Sqrt(max(0, sq(d.fullReachM())-sq(d.HeightM-z)))
		for range 200 {
			ψ := rapid.Float64Range(-math.Pi, math.Pi).Draw(t, "direction")
			r := reach * sq(rapid.Float64Range(0, 1.05).Draw(t, "distance"))
			v := XY{d.OffsetXM + r*math.Sin(ψ), d.OffsetYM + r*math.Cos(ψ)}
			if want := d.InVolume(Point{v[0], v[1], z}) && (!clip || v[1] >= 0); covers(polys, v) != want && !nearBorder(d, polys, v, z) {
				t.Fatalf("%+v on %g: at %v the inequality says %v", d, z, v, want)
			}
		}
	})
}

// nearBorder says whether a point is within a millimetre of the border that was computed, or on a field thinner than that.
func nearBorder(d Device, polys []Polygon, v XY, z float64) bool {
	if toBorder(polys, v) <= 1e-3 {
		return true
	}
	here, alike := d.InVolume(Point{v[0], v[1], z}), 0
	for k := range 16 {
		sin, cos := math.Sincos(float64(k)*math.Pi/8 + 0.1)
		if d.InVolume(Point{v[0] + 1e-3*cos, v[1] + 1e-3*sin, z}) == here {
			alike++
		}
	}
	return alike <= 2 // a hair: whatever it is, its surroundings are the other
}

func TestAMirroredMountHasTheMirroredField(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDevice(t)
		z, clip := anyPlane(t, d), rapid.Bool().Draw(t, "clip")
		m := d
		m.YawDeg, m.OffsetXM = -d.YawDeg, -d.OffsetXM
		a, b := d.OnPlane(z, clip), m.OnPlane(z, clip)
		for _, p := range a {
			for _, v := range p[0] {
				if v := (XY{-v[0], v[1]}); toBorder(b, v) > 2e-3 {
					t.Fatalf("%v is %g m off the mirrored border", v, toBorder(b, v))
				}
			}
		}
		if fa, fb := measure(a), measure(b); math.Abs(fa.AreaM2-fb.AreaM2) > 5e-4+0.003*fa.AreaM2 || math.Abs(fa.WidthM-fb.WidthM) > 2e-3 {
			t.Fatalf("%g m² and %g m²", fa.AreaM2, fb.AreaM2)
		}
	})
}

func TestMoreReachHoldsTheOldField(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDevice(t)
		z := anyPlane(t, d)
		far := d
		far.ReachDB = rapid.Float64Range(d.ReachDB, 0).Draw(t, "more_reach_db")
		small, large := d.Footprint(z, true), far.Footprint(z, true)
		if small.AreaM2 > large.AreaM2*1.003+5e-4 {
			t.Fatalf("%g m² at %g dB, %g m² at %g dB", small.AreaM2, d.ReachDB, large.AreaM2, far.ReachDB)
		}
		for _, p := range small.Polygons {
			for _, v := range p[0] {
				if !covers(large.Polygons, v) && toBorder(large.Polygons, v) > 2e-3 {
					t.Fatalf("%v is lost with more reach", v)
				}
			}
		}
	})
}

func TestAllLengthsTimesKGiveTheFieldTimesK(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDevice(t)
		z := anyPlane(t, d)
		k := rapid.Float64Range(0.5, 2).Draw(t, "k")
		s := d
		s.HeightM, s.OffsetXM, s.OffsetYM, s.BoresightRangeM = k*d.HeightM, k*d.OffsetXM, k*d.OffsetYM, k*d.BoresightRangeM
		a, b := d.Footprint(z, true), s.Footprint(k*z, true)
		tol := 2e-3 * max(1, k)
		if math.Abs(a.WidthM*k-b.WidthM) > tol || math.Abs(a.FarM*k-b.FarM) > tol || math.Abs(a.NearM*k-b.NearM) > tol ||
			math.Abs(a.AreaM2*k*k-b.AreaM2) > 1e-3+0.004*b.AreaM2 {
			t.Fatalf("k = %g: %+v and %+v", k, a, b)
		}
	})
}

func TestALowAttenuationLimitMakesASecondPatch(t *testing.T) {
	d := device(1, 70, 0, 0, 3, 20, 12, 12, 5, 0)
	polys := d.OnPlane(0, true)
	if len(polys) != 2 {
		t.Fatalf("%d pieces, want the lobe's and the patch under the sensor", len(polys))
	}
	if !covers(polys, XY{0, 3}) {
		t.Error("the patch is not under the sensor")
	}
}

func TestAWideAntennaTurnedToTheHorizontalLeavesAHole(t *testing.T) {
	d := device(0.3, 90, 0, 0, 0, 180, 40, 60, 50, 0)
	polys := d.OnPlane(0, false)
	if len(polys) != 1 || len(polys[0]) != 2 {
		t.Fatalf("got %d polygons", len(polys))
	}
	if covers(polys, XY{0, 0}) {
		t.Error("sees straight down")
	}
}

func TestAPlaneThroughTheSensorIsTheLimitOfPlanesBelow(t *testing.T) {
	for _, tilt := range []float64{5, 30, 60, 90} {
		d := device(2, tilt, 10, 0, 1, 60, 60, 12, 5, 0)
		a, b := d.Footprint(2, true), d.Footprint(2-2e-5, true)
		if math.Abs(a.WidthM-b.WidthM) > 2e-3 || math.Abs(a.FarM-b.FarM) > 2e-3 || math.Abs(a.AreaM2-b.AreaM2) > 0.004*a.AreaM2 {
			t.Errorf("tilt %g: %g × %g m at the sensor, %g × %g m just below", tilt, a.WidthM, a.DepthM, b.WidthM, b.DepthM)
		}
	}
}

func TestPlanesAboveTheSensorAreComputedToo(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDevice(t)
		z := d.HeightM + rapid.Float64Range(0.02, 2).Draw(t, "above")
		polys := d.OnPlane(z, false)
		reach := math.Sqrt(max(0, sq(d.fullReachM())-sq(d.HeightM-z)))
		for range 200 {
			ψ := rapid.Float64Range(-math.Pi, math.Pi).Draw(t, "direction")
			r := reach * sq(rapid.Float64Range(0, 1.05).Draw(t, "distance"))
			v := XY{d.OffsetXM + r*math.Sin(ψ), d.OffsetYM + r*math.Cos(ψ)}
			if want := d.InVolume(Point{v[0], v[1], z}); covers(polys, v) != want && !nearBorder(d, polys, v, z) {
				t.Fatalf("%+v on %g: at %v the inequality says %v", d, z, v, want)
			}
		}
	})
}
