package field

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Borders that all but coincide are what the overlay library loses areas at.
func TestAUnionLosesNoArea(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := device(rapid.Float64Range(1, 4).Draw(t, "height_m"), rapid.Float64Range(0, 80).Draw(t, "tilt_deg"), rapid.Float64Range(-90, 90).Draw(t, "yaw_deg"),
			0, 0.05, rapid.Float64Range(15, 120).Draw(t, "az"), rapid.Float64Range(15, 120).Draw(t, "el"), rapid.Float64Range(5, 40).Draw(t, "limit"), 6, 0)
		clip := rapid.Bool().Draw(t, "clip")
		a, b := d.OnPlane(0.1, clip), d.OnPlane(rapid.Float64Range(0, 1).Draw(t, "plane"), clip)
		if rapid.Bool().Draw(t, "all but the same") {
			b = nil
			by := math.Pow(10, rapid.Float64Range(-14, -5).Draw(t, "by"))
			for _, p := range a {
				b = append(b, aside(p, by, by))
			}
		}
		got, areaA, areaB, common := areaOf(union(a, b)), areaOf(a), areaOf(b), 0.0
		for _, p := range a {
			for _, q := range b {
				common += commonM2(p, q)
			}
		}
		if got < max(areaA, areaB)-1e-5 || got > areaA+areaB+1e-5 {
			t.Errorf("%g m² and %g m² together are %g", areaA, areaB, got)
		}
		if math.Abs(got-(areaA+areaB-common)) > 1e-5*(1+got) {
			t.Errorf("%g m² and %g m² with %g in common are %g", areaA, areaB, common, got)
		}
	})
}

// A region out of several chains along a line is clipped to as many rings as there are, each of them once.
func TestWhatALineCutsInPartsIsThereOnce(t *testing.T) {
	comb := Ring{{0, 0}, {5, 0}, {5, 2}, {4, 2}, {4, 1}, {3, 1}, {3, 2}, {2, 2}, {2, 1}, {1, 1}, {1, 2}, {0, 2}, {0, 0}}
	if polys := polygons(clip([]Ring{comb}, line{XY{0, 1}, 0.5})); len(polys) != 1 || math.Abs(areaOf(polys)-2.5) > 1e-12 {
		t.Errorf("the back of a comb: %d polygons, %g m²", len(polys), areaOf(polys))
	}
	if polys := polygons(clip([]Ring{comb}, line{XY{0, -1}, -1.5})); len(polys) != 3 || math.Abs(areaOf(polys)-1.5) > 1e-12 {
		t.Errorf("three teeth: %d polygons, %g m²", len(polys), areaOf(polys))
	}
	slit := Ring{{0, 0}, {3, 0}, {3, 3}, {0, 3}, {0, 2}, {2, 2}, {2, 1}, {0, 1}, {0, 0}}
	if polys := polygons(clip([]Ring{slit}, line{XY{1, 0}, 1})); len(polys) != 2 || math.Abs(areaOf(polys)-2) > 1e-12 {
		t.Errorf("both jaws: %d polygons, %g m²", len(polys), areaOf(polys))
	}
}

// A beam's light ends at its ends, and is as wide at them as anywhere.
func TestABeamIsAsLongAsItsEndsSay(t *testing.T) {
	b := Beam{Sensing{Presence, math.Inf(1), 0}, Point{-0.5, 0.3, 0.4}, Point{0.5, 0.3, 0.4}, 0.02}
	f := BodyFootprint(b, 0.71, true)
	if math.Abs(f.WidthM-1) > 1e-9 || math.Abs(f.DepthM-0.02) > 1e-9 || math.Abs(f.AreaM2-0.02) > 1e-9 {
		t.Errorf("a beam of 1 m × 2 cm lies on %g m × %g m, %g m²", f.WidthM, f.DepthM, f.AreaM2)
	}
	if !b.SeesBody(XY{0.599, 0.3}, 0.71) || b.SeesBody(XY{0.601, 0.3}, 0.71) {
		t.Error("a body is seen until its nearest part is past the end")
	}
}

// What the ball of the side lobes shows behind an accessory's edge is a strip that planes a hand's breadth away need not show.
func TestTheStripBehindACutIsNotLost(t *testing.T) {
	for _, angle := range []float64{20, 45, 70} {
		d := device(1.0, 40, 0, 0, 0.3, 40, 30, 9, 2, 0)
		d.Cuts = []Cut{{YawDeg: 0, AngleDeg: angle}}
		polys := d.OfBody(1.8, false)
		seen, missed := 0, 0
		for x := -1.5; x <= 1.5; x += 0.05 {
			for y := -1.5; y <= 2.5; y += 0.05 {
				at := XY{x + 0.003, y + 0.007}
				if !d.SeesBody(at, 1.8) {
					continue
				}
				if seen++; !covers(polys, at) && toBorder(polys, at) > bodyM {
					missed++
				}
			}
		}
		if seen < 100 || missed > 0 {
			t.Errorf("an edge at %g°: %d places of %d where a body is seen are not of the field", angle, missed, seen)
		}
	}
}

// The share of a circle beyond a chord at the distance k of its radius is (arccos k − k·√(1−k²))/π: the segment of elementary geometry.
func TestARoundSpotsCoreLeavesTheShareBeyondIt(t *testing.T) {
	for _, share := range []float64{0.05, 0.1, 0.2, 0.3, 0.45} {
		g := SpotGrid{Sensing: Sensing{Presence, 30, 0}, Mount: Mount{HeightM: 2.1}, Rows: 1, Columns: 1, DivergenceDeg: 3, RangeM: 5, DetectionShare: share}
		radius := 2 * math.Tan(1.5*math.Pi/180)
		k := BodyFootprint(g, seenFromM, false).WidthM / 2 / radius
		if got := (math.Acos(k) - k*math.Sqrt(1-k*k)) / math.Pi; math.Abs(got-share) > 0.003 {
			t.Errorf("an edge at %.4f of the radius covers %.4f, want %g", k, got, share)
		}
		// A body of 0.2 m covers the spot to the same share by its round edge, a little less: the spiral of places comes near, in no steps.
		s := g.spots()[0]
		for step := range 40 {
			at := s.at(2, 0, 0)
			at[0] += bodyHalfM - radius + 2*radius*float64(step)/40
			if got, next := s.covered(2, at), s.covered(2, XY{at[0] + radius/20, at[1]}); math.Abs(got-next) > 0.05 {
				t.Errorf("a twentieth of the radius further, %g becomes %g", got, next)
			}
		}
	}
}

// A device that all but looks straight down reaches along a plane through itself by a lobe to each side, and by the ball of its side lobes between them.
// Followed by φ, the whole turn of such a lobe lay within a few steps of a number, and the ball was lost.
func TestAPlaneThroughADeviceThatAllButLooksDownHasTheBall(t *testing.T) {
	for _, tiltDeg := range []float64{0, 1e-9, 1e-6, 3.0517578125e-05, 5e-4, 6e-4, 1e-2, 0.3} {
		d := device(1, tiltDeg, 0, 0, 0, 180, 12.75, 5.5, 1.9375, -1)
		polys := d.OnPlane(1, false)
		inside, cells := 0.0, 0.0
		const cell = 2e-3
		for x := -1.5 + cell/2; x < 1.5; x += cell {
			for y := -1.5 + cell/2; y < 1.5; y += cell {
				if d.InVolume(Point{x, y, 1}) {
					cells += cell * cell
				}
			}
		}
		for _, p := range polys {
			inside += p.AreaM2()
		}
		if math.Abs(inside-cells) > max(0.003*cells, 5e-4) {
			t.Errorf("tilt %g: %g m², counted %g m²", tiltDeg, inside, cells)
		}
		if at := (XY{0.3847874202171027, 0.24706916122582206}); !covers(polys, at) {
			t.Errorf("tilt %g: %v is outside", tiltDeg, at)
		}
	}
}
