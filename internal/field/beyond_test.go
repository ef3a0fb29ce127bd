package field

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// By hand: a device 0.2 m before the door and 0.2 m above an opening of 1 m by 2.1 m sees under the header down to 0.2·2.2/0.2 − 0.2 = 2 m behind it at 0.1 m above the
// floor, and at 1.1 m half of that. The jambs' shadows go apart by 1 m in 0.2 m: 11 m at the end, 12 m² in all.
func TestTheOtherSideIsSeenThroughTheDoorwayByHand(t *testing.T) {
	d := Device{Mount: Mount{HeightM: 2.3, TiltDeg: 90, OffsetYM: 0.2}, Antenna: Antenna{1, 1, 20, 200}} // a ball of 20 m
	w := Doorway{1, 2.1}
	f := d.Beyond(w, 0.1)
	if math.Abs(f.AreaM2-12) > 0.01 || math.Abs(f.NearM+2) > 1e-3 || math.Abs(f.FarM) > 1e-3 || math.Abs(f.WidthM-11) > 1e-3 {
		t.Errorf("%.3f m², y %.3f to %.3f, %.3f m wide", f.AreaM2, f.NearM, f.FarM, f.WidthM)
	}
	if lines, _ := w.borders(d, 1.1); math.Abs(lines[3].c-1) > 1e-9 {
		t.Errorf("at 1.1 m down to %g m", lines[3].c)
	}
	m := Motion{Direction: Approaching}
	shoe := Body{HeightM: 0.1, SpeedMps: 1.5}
	come := Path{{0, -6}, {0, 0}}
	if got := d.WalkBeyond(w, m, shoe, come); !got.Triggers || math.Abs(got.AlongM-4) > 3e-3 {
		t.Errorf("who comes on the other side is seen 2 m before the door: %v", got)
	}
	if got := d.Walk(m, shoe, come); !got.Triggers || got.AlongM > 0.01 {
		t.Errorf("without a wall about the opening, at once: %v", got)
	}
	m.Direction = Departing // somebody who has gone through holds it as long as they are seen under the header
	if got := d.WalkBeyond(w, m, shoe, Path{{0, 0.2}, {0, -6}}); math.Abs(got.HeldS-(2.2-got.AlongM)/1.5) > 3e-3 {
		t.Errorf("%v", got)
	}
	if got := d.WalkBeyond(w, m, shoe, Path{{5, -1.5}, {9, -1.5}}); got.Why != NeverInside {
		t.Errorf("behind the wall: %v", got)
	}
	low := d
	low.HeightM, low.OffsetYM = 1, 0.5 // below the header nothing bounds the depth but the range
	if f := low.Beyond(w, 0.1); math.Abs(f.NearM+math.Sqrt(400-0.81)-0.5) > 5e-3 {
		t.Errorf("%.3f", f.NearM)
	}
}

// The region against its points one by one, by the walker's way of asking.
func TestBeyondHoldsThePointsThatAreSeen(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, _, _, _ := drawWalk(t)
		d.YawDeg = rapid.Float64Range(-180, 180).Draw(t, "turned")
		w := Doorway{rapid.Float64Range(0.8, 3).Draw(t, "wide"), rapid.Float64Range(1.9, 2.4).Draw(t, "high")}
		tall := rapid.Float64Range(0.1, 2).Draw(t, "tall")
		f := d.Beyond(w, tall)
		a := d.aim()
		a.doorway = &w
		s := a.sight(d.ReachDB)
		n := steps(max(0, tall-seenFromM), beyondStepM)
		for range 60 {
			p := XY{rapid.Float64Range(-3, 3).Draw(t, "x"), rapid.Float64Range(-4, -0.01).Draw(t, "y")}
			seen := false
			for i := range n + 1 {
				seen = seen || s.sees(Point{p[0], p[1], seenFromM + max(0, tall-seenFromM)*float64(i)/float64(n)})
			}
			if seen != covers(f.Polygons, p) && toBorder(f.Polygons, p) > 0.005 {
				t.Fatalf("%v: seen %v", p, seen)
			}
		}
	})
}

// Two balls of 3 m at 3 m of height, drop 2.9 m to the plane 0.1 m: discs of √(9 − 2.9²) = 0.768 m. Their middles 0.8 m apart they share the textbook's lens,
// 2·r²·acos(d/2r) − d/2·√(4r² − d²); to a per cent, because a body's field is drawn with chords true to 3 mm.
func TestWhereTwoFieldsOverlapByHand(t *testing.T) {
	a := ball(3)
	a.YawDeg, a.OffsetYM = 0, 2
	theirs := ball(3) // opposite, 4.8 m away: its own frame
	theirs.YawDeg, theirs.OffsetYM = 0, 2
	b := Frame{0, 4.8, 180}.Device(theirs)
	r, apart := math.Sqrt(9-2.9*2.9), 0.8
	want := 2*r*r*math.Acos(apart/2/r) - apart/2*math.Sqrt(4*r*r-apart*apart)
	if f := Shared(a, b, 0.1, true); math.Abs(f.AreaM2-want) > 0.01*want || math.Abs((f.NearM+f.FarM)/2-2.4) > 2e-3 {
		t.Errorf("%.4f m², want %.4f, y %.3f to %.3f", f.AreaM2, want, f.NearM, f.FarM)
	}
	if f := Shared(a, Frame{0, 7, 180}.Device(theirs), 0.1, true); f.AreaM2 != 0 {
		t.Errorf("3 m apart they share %g m²", f.AreaM2)
	}
}

// A whole region turned into one's own frame is the field of the device that was turned.
func TestANeighboursFieldIsTheFieldOfTheNeighbourTurned(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, _, _, _ := drawWalk(t)
		in := func(name string, top float64) float64 { return rapid.Float64Range(-top, top).Draw(t, name) }
		f := Frame{in("fx", 5), in("fy", 5), in("turn", 180)}
		z := rapid.Float64Range(0, 1.5).Draw(t, "z")
		a, b := measure(f.Region(d.OnPlane(z, false))), f.Device(d).Footprint(z, false)
		if math.Abs(a.AreaM2-b.AreaM2) > 1e-3+0.003*b.AreaM2 || b.AreaM2 > 0.01 && (math.Abs(a.NearM-b.NearM) > 5e-3 || math.Abs(a.WidthM-b.WidthM) > 5e-3) {
			t.Fatalf("%+v and %+v", a, b)
		}
	})
}

func BenchmarkBeyond(b *testing.B) {
	d := Device{Mount: Mount{HeightM: 2.3, TiltDeg: 10, OffsetYM: 0.1}, Antenna: Antenna{60, 40, 25, 6}}
	for b.Loop() {
		d.Beyond(Doorway{1.2, 2.1}, 1.7)
	}
}
