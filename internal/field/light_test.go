package field

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Angles by hand: the edge of a leaf of 0.9 m comes to a line 0.5 m from the door at asin(0.5/0.9) = 33.7°, and stays beyond it.
func TestALeafCrossesABeamFromTheAngleAtWhichItsEdgeReachesIt(t *testing.T) {
	b := Beam{Sensing{Presence, math.Inf(1), 0}, Point{-1, 0.5, 0.6}, Point{1, 0.5, 0.6}, 0.02}
	leaf := SwingLeaf{HingeXM: -0.45, TowardsX: 1, WidthM: 0.9, HeightM: 2.1, OpensToDeg: 90}
	c := SeesLeaf(b, leaf, nil)
	if want := math.Asin(0.5/0.9) * 180 / math.Pi; !c.Seen || math.Abs(c.FirstDeg-want) > 1 || math.Abs(c.LastDeg-89.5) > 1e-9 || math.Abs(c.FarthestM-0.9) > 0.02 {
		t.Errorf("want seen from %.1f°: %+v", want, c)
	}
	b.From.Z, b.To.Z = 2.2, 2.2
	if c := SeesLeaf(b, leaf, nil); c.Seen {
		t.Errorf("the beam passes above the leaf: %+v", c)
	}
	panel := SlidingLeaf{FromXM: -0.5, ToXM: 0.5, HeightM: 2.1}
	for y, seen := range map[float64]bool{0.05: true, 0.2: false} {
		b = Beam{b.Sensing, Point{-0.5, y, 0.6}, Point{0.5, y, 0.6}, 0.02}
		if c := SeesLeaf(b, panel, nil); c.Seen != seen {
			t.Errorf("a beam %g m before the panel: %+v", y, c)
		}
	}
}

func anyLit(t *rapid.T) Lit {
	draw := func(name string, low, top float64) float64 { return rapid.Float64Range(low, top).Draw(t, name) }
	height, x, y, yaw := draw("height", 0.5, 3), draw("x", -1, 1), draw("y", 0, 0.6), draw("yaw", -180, 180)
	is := Sensing{Presence, math.Inf(1), 0}
	switch rapid.IntRange(0, 2).Draw(t, "kind") {
	case 0:
		return SpotGrid{is, Mount{height, draw("tilt", 0, 80), yaw, x, y}, rapid.IntRange(1, 4).Draw(t, "rows"), rapid.IntRange(1, 5).Draw(t, "columns"), draw("row step", 0, 8), draw("column step", 0, 8), draw("divergence", 0.5, 8), draw("range", 0.5, 6), 0.2}
	case 1:
		from := draw("from", -80, 0)
		return Curtain{Sensing: is, HeightM: height, YawDeg: yaw, OffsetXM: x, OffsetYM: y, LeansDeg: []float64{draw("lean", -60, 60)}, FromDeg: from, ToDeg: from + draw("fan", 1, 80), StepDeg: 0.3, RangeM: draw("range", 0.5, 6), SpotM: 0.01}
	}
	return Beam{is, Point{x, y, height}, Point{draw("to x", -2, 2), draw("to y", 0, 1.5), draw("to z", 0, 3)}, 0.02}
}

func anySwing(t *rapid.T) SwingLeaf {
	return SwingLeaf{HingeXM: rapid.Float64Range(-1, 1).Draw(t, "hinge"), TowardsX: rapid.SampledFrom([]float64{-1, 1}).Draw(t, "towards"), WidthM: rapid.Float64Range(0.4, 1.5).Draw(t, "width"),
		HeightM: rapid.Float64Range(1, 2.5).Draw(t, "leaf height"), OpensToDeg: rapid.Float64Range(30, 120).Draw(t, "opens to")}
}

// A point of light is in the leaf's way at the angle that it has about the hinge, when it is no farther out than the leaf is wide.
func TestTheAnglesAtWhichLightMeetsALeafAreThoseOfItsPointsAboutTheHinge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v, leaf := anyLit(t), anySwing(t)
		rays := v.Rays()
		if g, ok := v.(SpotGrid); ok {
			rays = g.rays(rimRays)
		}
		first, last, atHinge := math.Inf(1), math.Inf(-1), false // where angles run faster than the points follow
		var there [121 * 4]bool                                  // quarters of a degree in which points are
		some := false
		for _, r := range rays {
			for i := range 801 {
				s := float64(i) / 800
				p := Point{r.From.X + s*(r.To.X-r.From.X), r.From.Y + s*(r.To.Y-r.From.Y), r.From.Z + s*(r.To.Z-r.From.Z)}
				out, deg := math.Hypot(p.X-leaf.HingeXM, p.Y), math.Atan2(p.Y, leaf.TowardsX*(p.X-leaf.HingeXM))*180/math.Pi
				atHinge = atHinge || out < 0.1
				if out <= leaf.WidthM && p.Z >= 0 && p.Z <= leaf.HeightM && deg >= 0 && deg <= leaf.OpensToDeg {
					first, last, some, there[int(deg*4)] = min(first, deg), max(last, deg), true, true
				}
			}
		}
		c := SeesLeaf(v, leaf, nil)
		if !some {
			if c.Seen && !atHinge && c.LastDeg-c.FirstDeg > 2 {
				t.Fatalf("no point of light is in the leaf's way: %+v", c)
			}
			return
		}
		if c.Seen && !atHinge && (c.FirstDeg < first-2 || c.LastDeg > last+2) {
			t.Fatalf("seen from %g° to %g°, the points from %g° to %g°", c.FirstDeg, c.LastDeg, first, last)
		}
		// Between two looks light may come and go; what stays for two degrees is seen.
		for i := 4; i+4 < len(there) && !atHinge; i++ {
			if deg := float64(i) / 4; !slices.Contains(there[i-4:i+5], false) && !(c.Seen && c.FirstDeg <= deg+1.5 && c.LastDeg >= deg-1.5) {
				t.Fatalf("points of light are in the way about %g°: %+v", deg, c)
			}
		}
	})
}

// Whatever is fixed to a leaf keeps its place on it, and looks the same way from it.
func TestADeviceOnALeafMovesWithIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		leaf := anySwing(t)
		v := anyLit(t)
		open := rapid.Float64Range(0, 1).Draw(t, "open")
		before, after := v.Rays(), v.carried(leaf.moved(open)).Rays()
		sin, cos := math.Sincos(open * leaf.OpensToDeg * math.Pi / 180)
		onLeaf := func(p Point) (along, off float64) { // along the leaf from its hinge, and off its face
			dx, dy := leaf.TowardsX*(p.X-leaf.HingeXM), p.Y
			return dx*cos + dy*sin, dy*cos - dx*sin
		}
		for i := range before {
			for _, p := range [][2]Point{{before[i].From, after[i].From}, {before[i].To, after[i].To}} {
				along, off := onLeaf(p[1])
				if math.Abs(along-leaf.TowardsX*(p[0].X-leaf.HingeXM)) > 1e-9 || math.Abs(off-p[0].Y) > 1e-9 || math.Abs(p[0].Z-p[1].Z) > 1e-9 {
					t.Fatalf("ray %d: %v came to %v, %g along and %g off", i, p[0], p[1], along, off)
				}
			}
		}
	})
}

// A curtain before the opening, fixed above the door, is crossed by the leaf as it opens into it; fixed to the leaf it looks past it, all the way.
func TestACurtainOnTheLeafDoesNotSeeItsOwnLeafAndOneOnTheHeaderDoes(t *testing.T) {
	leaf := SwingLeaf{HingeXM: -0.45, TowardsX: 1, WidthM: 0.9, HeightM: 2.1, OpensToDeg: 90}
	other := SwingLeaf{HingeXM: 1.35, TowardsX: -1, WidthM: 0.9, HeightM: 2.1, OpensToDeg: 90}
	c := Curtain{Sensing: Sensing{Presence, math.Inf(1), 0}, HeightM: 2.05, OffsetXM: 0, OffsetYM: 0.08, LeansDeg: []float64{5, 20}, FromDeg: -12, ToDeg: 12, StepDeg: 0.4, RangeM: 4, SpotM: 0.01}
	if s := SeesLeaf(c, leaf, nil); !s.Seen || s.FirstDeg > 30 {
		t.Errorf("on the header: %+v", s)
	}
	if s := SeesLeaf(c, leaf, leaf); s.Seen {
		t.Errorf("on the leaf, of its own leaf: %+v", s)
	}
	wide := c
	wide.FromDeg, wide.ToDeg = -60, 60
	if s := SeesLeaf(wide, other, leaf); s.Seen {
		t.Errorf("both leaves turn away from each other: %+v", s)
	}
	if s := SeesLeaf(Mat{Sensing{Presence, 60, 0}, -1, 1, 0, 1}, leaf, nil); s.Seen {
		t.Errorf("a mat under the leaf: %+v", s)
	}
}

func TestWhetherALeafIsSeenAtAllIsToldAsByItsCheck(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		leaf, d := anySwing(t), anyDevice(t)
		d.ReachDB -= rapid.Float64Range(0, 20).Draw(t, "less reach") // about as often seen as not
		if got, want := LeafIsSeen(d, leaf, nil), d.CheckLeaf(leaf).Seen; got != want {
			t.Fatalf("told %v, the check says %v", got, want)
		}
		if lit := anyLit(t); LeafIsSeen(lit, leaf, nil) != SeesLeaf(lit, leaf, nil).Seen {
			t.Fatal("of light it is told otherwise than by its check")
		}
	})
}
