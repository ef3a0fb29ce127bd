package field

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// strip is a leaf of next to no height at the height of a device whose volume is a ball of 1.5 m about a point 2 m straight out from the hinge: all is plane
// geometry. The tip at angle α is √(5 − 4·sin α) from the device.
func strip() (Device, SwingLeaf) {
	return Device{Mount: Mount{TiltDeg: 90, OffsetYM: 2}, Antenna: Antenna{1, 1, 20, 15}}, SwingLeaf{TowardsX: 1, WidthM: 1, HeightM: 1e-3, OpensToDeg: 90}
}

// By hand: the tip enters where 5 − 4·sin α = 1.5², and has come 0.25 m nearer where it is 1.25² (59.25°). Opening in 1.5 s it turns by 1.0472 rad/s; along the line of
// sight that is 2·cos α/r of it, half a metre a second up to 75.3°. A patch ρ from the hinge comes as near as 2 − ρ, so those beyond 0.75 m come 0.25 m nearer, but
// the one at 0.8 m only where sin α = 3.0775/3.2, at 0.37 m/s: two of the eleven that are 10 cm apart. The ball must shrink to 1.25 m, 40·lg(1.25/1.5) = −3.17 dB, or move out by 0.25 m.
func TestALeafByHand(t *testing.T) {
	d, leaf := strip()
	l := MovingLeaf{Leaf: leaf, OpeningS: 1.5, ClosingS: 3}
	m := Motion{Direction: Approaching, ConfirmTravelM: 0.25, LeastSpeedMps: 0.5}
	w := d.WatchLeaf(m, l)
	o := w.Opening
	if !o.Triggers || math.Abs(o.At*90-59.25) > 0.5 || math.Abs(o.Low-o.At) > 1e-9 || math.Abs(o.High*90-75.3) > 0.5 || math.Abs(o.Share-2.0/11) > 1e-9 || o.FarthestM != 1 {
		t.Errorf("opening: %+v", o)
	}
	if c := w.Closing; c.Triggers || c.Why != WrongDirection {
		t.Errorf("closing, the leaf goes away from the device: %+v", c)
	}
	if w.Consequence != LeafProlongs {
		t.Error(w.Consequence)
	}
	m.Direction, m.LeastSpeedMps = Departing, 0.1
	w = d.WatchLeaf(m, l)
	if c := w.Closing; w.Consequence != LeafReopens || !c.Triggers || math.Abs(c.Low*90-43.43) > 0.5 { // out of the ball where sin α = 2.75/4
		t.Errorf("closing: %+v, %s", c, w.Consequence)
	}
	l.Inhibited = true
	if w = d.WatchLeaf(m, l); w.Consequence != LeafMasked {
		t.Error(w.Consequence)
	}
	m.LeastSpeedMps = 1.1
	if w = d.WatchLeaf(m, l); w.Consequence != LeafUnnoticed || w.Closing.Why != TooSlow || w.Closing.MostMps > math.Pi/6 {
		t.Errorf("the tip moves at π/6 m/s: %+v", w.Closing)
	}
	m = Motion{Direction: Either, ConfirmTravelM: 0.25}
	if r := d.RemedyFor(m, l); r.ReachDB == nil || math.Abs(*r.ReachDB+3.2) > 1e-9 || r.OffsetM == nil || math.Abs(*r.OffsetM-0.25) > 0.011 {
		t.Errorf("%v, %v", r.ReachDB, r.OffsetM)
	}
}

// Panels by hand. A sliding one crosses under a device beside it: 1 m of opening at 3 m a second. Folding panels of 1 m put the knuckle 0.5·sin 60° before the door.
func TestPanelsMoveAsTheyDo(t *testing.T) {
	slide := SlidingLeaf{FromXM: 1, ToXM: -1, HeightM: 2}
	for _, c := range []struct {
		across, open, x float64
		hidden          bool
	}{{0, 0, 1, false}, {2, 0, -1, false}, {2, 0.5, 0, false}, {0.5, 0.5, 1.5, true}, {2, 1, 1, false}} {
		if at, hidden := slide.at(patch{across: c.across, face: 0.1}, c.open); math.Abs(at[0]-c.x) > 1e-9 || at[1] != 0.1 || hidden != c.hidden {
			t.Errorf("%+v: %v %v", c, at, hidden)
		}
	}
	fold := FoldingLeaf{HingeXM: -0.5, TowardsX: 1, WidthM: 1, HeightM: 2, OpensToDeg: 60}
	for _, c := range []struct{ across, open, x, y float64 }{{0, 1, -0.5, 0}, {0.5, 1, -0.25, 0.5 * math.Sqrt(3) / 2}, {1, 1, 0, 0}, {1, 0, 0.5, 0}, {0.75, 1, -0.125, 0.25 * math.Sqrt(3) / 2}} {
		if at, _ := fold.at(patch{across: c.across}, c.open); math.Abs(at[0]-c.x) > 1e-9 || math.Abs(at[1]-c.y) > 1e-9 {
			t.Errorf("%+v: %v", c, at)
		}
	}
	d := Device{Mount: Mount{HeightM: 2.2, TiltDeg: 20, OffsetYM: 0.1}, Antenna: Antenna{60, 40, 25, 5}}
	m := Motion{Direction: Either, LeastSpeedMps: 0.1, ConfirmTravelM: 0.1}
	for _, l := range []Leaf{slide, fold} {
		if w := d.WatchLeaf(m, MovingLeaf{Leaf: l, OpeningS: 2, ClosingS: 3}); w.Consequence != LeafReopens || !d.CheckLeaf(l).Seen {
			t.Errorf("%T: %+v", l, w)
		}
	}
	away := d
	away.OffsetYM, away.TiltDeg, away.BoresightRangeM = 2, 40, 3
	for _, l := range []Leaf{slide, fold} {
		if w := away.WatchLeaf(m, MovingLeaf{Leaf: l, OpeningS: 2, ClosingS: 3}); w.Consequence != LeafUnnoticed {
			t.Errorf("%T, seen from 2 m by a device that looks away: %+v", l, w)
		}
	}
}

func TestWhatKeepsALeafFromTriggeringIsTheLeast(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, m, _, _ := drawWalk(t)
		l := MovingLeaf{Leaf: SwingLeaf{HingeXM: -0.5, TowardsX: 1, WidthM: 1, HeightM: 2, OpensToDeg: 90}, OpeningS: 1.5, ClosingS: 3}
		r := d.RemedyFor(m, l)
		quiet := func(d Device) bool { return d.WatchLeaf(m, l).Consequence == LeafUnnoticed }
		if r.ReachDB != nil {
			weak, more := d, d
			weak.ReachDB, more.ReachDB = *r.ReachDB, *r.ReachDB+0.2
			if !quiet(weak) || *r.ReachDB < d.ReachDB-0.2 && quiet(more) {
				t.Fatalf("%g dB", *r.ReachDB)
			}
		}
		if r.OffsetM != nil {
			out := d
			out.OffsetYM += *r.OffsetM
			if !quiet(out) || *r.OffsetM > 0 && quiet(d) {
				t.Fatalf("%g m", *r.OffsetM)
			}
		}
	})
}

func TestAMirroredLeafTriggersAlike(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, m, _, _ := drawWalk(t)
		other := d
		other.YawDeg, other.OffsetXM = -d.YawDeg, -d.OffsetXM
		leaf := func(side float64) MovingLeaf {
			return MovingLeaf{Leaf: SwingLeaf{HingeXM: -0.5 * side, TowardsX: side, WidthM: 1, HeightM: 2, OpensToDeg: 90}, OpeningS: 1.5, ClosingS: 3}
		}
		if a, b := d.WatchLeaf(m, leaf(1)), other.WatchLeaf(m, leaf(-1)); a.Consequence != b.Consequence || math.Abs(a.Closing.At-b.Closing.At) > 1e-3 || math.Abs(a.Opening.Share-b.Opening.Share) > 0.01 {
			t.Fatalf("%+v and %+v", a, b)
		}
	})
}

func BenchmarkWatchLeaf(b *testing.B) {
	d := Device{Mount: Mount{HeightM: 2.3, TiltDeg: 30, OffsetYM: 0.1}, Antenna: Antenna{58, 36, 25, 6}}
	l := MovingLeaf{Leaf: SwingLeaf{HingeXM: -0.5, TowardsX: 1, WidthM: 1, HeightM: 2.1, OpensToDeg: 90}, OpeningS: 1.5, ClosingS: 3}
	for b.Loop() {
		d.WatchLeaf(Motion{LeastSpeedMps: 0.1, Direction: Approaching, ConfirmTravelM: 0.2}, l)
	}
}
