package field

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// 2·v·f/c by hand, with c of the SI: 2·24.125e9/299,792,458 = 160.945 Hz per m/s; and the figure of 100 Hz and 120 Hz lamps by the same division.
func TestDopplerConstantsAreThoseOfThePhysics(t *testing.T) {
	m := Motion{FrequencyHz: 24.125e9}
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"Hz per m/s", m.DopplerHz(1), 160.945},
		{"lamps at 50 Hz", m.LampMps(50), 0.6213},
		{"lamps at 60 Hz", m.LampMps(60), 0.7456},
	} {
		if math.Abs(c.got-c.want) > 5e-4*c.want {
			t.Errorf("%s: %.4f, want %.4f", c.what, c.got, c.want)
		}
	}
}

func drawWalk(t *rapid.T) (Device, Motion, Body, Path) {
	in := func(name string, low, top float64) float64 { return rapid.Float64Range(low, top).Draw(t, name) }
	d := Device{
		Mount:   Mount{HeightM: in("height", 1.9, 3.5), TiltDeg: in("tilt", 5, 60), YawDeg: in("yaw", -40, 40), OffsetXM: in("x", -1, 1), OffsetYM: in("y", 0, 0.5)},
		Antenna: Antenna{AzimuthBeamwidthDeg: in("az", 20, 80), ElevationBeamwidthDeg: in("el", 20, 60), AttenuationLimitDB: in("cap", 14, 30), BoresightRangeM: in("range", 3, 8)},
		ReachDB: in("reach", -6, 0),
	}
	m := Motion{LeastSpeedMps: in("least", 0, 0.3), Direction: rapid.SampledFrom([]Direction{Approaching, Departing, Either}).Draw(t, "direction"), ConfirmTravelM: in("confirm", 0.02, 0.4)}
	b := rapid.SampledFrom(Bodies()).Draw(t, "body")
	from := XY{in("fx", -4, 4), in("fy", 0.2, 6)}
	to := XY{in("tx", -2, 2), in("ty", 0, 3)}
	return d, m, b, Path{from, to}
}

func TestAMirroredWalkTriggersAtTheMirroredPoint(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, m, b, p := drawWalk(t)
		other := d
		other.YawDeg, other.OffsetXM = -d.YawDeg, -d.OffsetXM
		q := Path{{-p[0][0], p[0][1]}, {-p[1][0], p[1][1]}}
		a, c := d.Walk(m, b, p), other.Walk(m, b, q)
		if a.Triggers != c.Triggers || math.Abs(a.AlongM-c.AlongM) > 1e-3 || math.Abs(a.At[0]+c.At[0]) > 1e-3 {
			t.Fatalf("%v against %v", a, c)
		}
	})
}

func TestMoreToConfirmNeverTriggersEarlier(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, m, b, p := drawWalk(t)
		more := m
		more.ConfirmTravelM += rapid.Float64Range(0, 0.5).Draw(t, "more")
		a, c := d.Walk(m, b, p), d.Walk(more, b, p)
		if c.Triggers && (!a.Triggers || c.AlongM < a.AlongM-5e-3) { // the border is found to a millimetre
			t.Fatalf("%v, with more to confirm %v", a, c)
		}
	})
}

func TestMoreReachNeverTriggersLater(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, m, b, p := drawWalk(t)
		more := d
		more.ReachDB += rapid.Float64Range(0, 6).Draw(t, "more")
		a, c := d.Walk(m, b, p), more.Walk(m, b, p)
		if a.Triggers && (!c.Triggers || c.AlongM > a.AlongM+2e-3) {
			t.Fatalf("%v, with more reach %v", a, c)
		}
	})
}

func TestWhoIsFasterHasLessTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, m, b, p := drawWalk(t)
		m.LeastSpeedMps = 0 // who is slow is noticed as well
		o := Opening{ClearWidthM: 1.2, OpeningTimeS: 1.5, StartDelayS: 0.2}
		fast := b
		fast.SpeedMps *= rapid.Float64Range(1, 3).Draw(t, "faster")
		slow, quick := d.InTime(m, b, o, Approach{"drawn", p}), d.InTime(m, fast, o, Approach{"drawn", p})
		if quick.MarginS > slow.MarginS+1e-6 {
			t.Fatalf("%.3f s at %.2f m/s, %.3f s at %.2f m/s", slow.MarginS, b.SpeedMps, quick.MarginS, fast.SpeedMps)
		}
	})
}

func TestTheWorstApproachIsTheOneWithLeastInHand(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, m, b, _ := drawWalk(t)
		o := Opening{ClearWidthM: 1.2, OpeningTimeS: 1.5}
		least := math.Inf(1)
		for _, a := range Fan(o) {
			least = min(least, d.InTime(m, b, o, a).MarginS)
		}
		if worst := d.WorstInTime(m, b, o, Fan(o)); worst.MarginS != least {
			t.Fatalf("%+v, the least is %g s", worst, least)
		}
	})
}

// By hand: triggered 2.291 m before the door (see TestAWalkByHand), the shoe is there after 1.527 s; the door needs 0.2 s and half of 1.6 s for half of its
// width, and 0.1 s are lost. 1.1 s at 1.5 m/s are 1.65 m that must be left. A slow one of 0.8 m/s is held up to the foot and 0.5 s more.
func TestInTimeByHand(t *testing.T) {
	shoe := Body{HeightM: 0.1, WidthM: 0.5, SpeedMps: 1.5}
	m := Motion{Direction: Approaching, ConfirmTravelM: 0.5, LatencyS: 0.1, HoldS: 0.5}
	a := Approach{"straight", Path{{0, 6}, {0, 0}}}
	o := Opening{ClearWidthM: 1, StartDelayS: 0.2, OpeningTimeS: 1.6}
	left := math.Sqrt(5.25)
	in := ball(1.1).InTime(m, shoe, o, a)
	if math.Abs(in.NeededS-1) > 1e-9 || math.Abs(in.AvailableS-(left/1.5-0.1)) > 2e-3 || math.Abs(in.MarginS-(left/1.5-1.1)) > 2e-3 || math.Abs(in.LeastM-1.65) > 1e-9 {
		t.Errorf("%+v", in)
	}
	shoe.SpeedMps = 0.8
	if margin, w := ball(1.1).StaysOpen(m, shoe, a, 1); math.Abs(margin-1.5) > 2e-3 {
		t.Errorf("%g s, %v", margin, w)
	}
	m.LeastSpeedMps = 1
	if margin, _ := ball(1.1).StaysOpen(m, shoe, a, 1); !math.IsInf(margin, -1) {
		t.Errorf("%g s for somebody who is too slow to be noticed", margin)
	}
}

// A walker crosses in front of the door, 2 m away: before the point of closest approach the range shrinks, after it it grows.
func TestApproachAlsoAnswersForThoseWhoMerelyCross(t *testing.T) {
	d := Device{Mount: Mount{HeightM: 2.2, TiltDeg: 35, OffsetYM: 0.1}, Antenna: Antenna{70, 40, 25, 6}}
	m := Motion{LeastSpeedMps: 0.1, Direction: Approaching, ConfirmTravelM: 0.1}
	b, _ := BodyNamed("walker")
	p := Path{{-4, 1.5}, {4, 1.5}}
	in := d.Walk(m, b, p)
	m.Direction = Departing
	out := d.Walk(m, b, p)
	if !in.Triggers || in.At[0] >= 0 || !out.Triggers || out.At[0] <= 0 {
		t.Errorf("approach: %v; departure: %v", in, out)
	}
}

// ball is a device whose volume is, but for a pencil of 1° that points away from the door into the air, the ball of 3 m radius that its attenuation limit
// makes (30 m less 20 dB): geometry with a pencil and paper.
func ball(heightM float64) Device {
	return Device{Mount: Mount{HeightM: heightM, TiltDeg: 90, YawDeg: 180}, Antenna: Antenna{1, 1, 20, 30}}
}

// By hand. A shoe (0.1 m) walks at 1.5 m/s towards the foot of a device 1 m above it and on. It enters the ball √(9 − 1) = 2.828 m before the foot. The range
// shrinks from 3 m to 2.5 m at √(6.25 − 1) = 2.291 m, where 0.5 m are confirmed. With at least 0.75 m/s along the line of sight, half of its speed, it is too slow
// within 1/√3 = 0.577 m of the foot, which takes 1.155/1.5 = 0.77 s; beyond that it leaves, and is out after 2.828 m.
func TestAWalkByHand(t *testing.T) {
	shoe := Body{HeightM: 0.1, SpeedMps: 1.5}
	path := Path{{0, 6}, {0, 4}, {0, -6}}
	root := math.Sqrt
	for _, c := range []struct {
		what           string
		m              Motion
		beforeM, heldS float64
	}{
		{"held while it comes", Motion{Direction: Approaching, LeastSpeedMps: 0.75, ConfirmTravelM: 0.5}, root(5.25), (root(5.25) - root(1./3)) / 1.5},
		{"a pause longer than the hold ends it", Motion{Direction: Approaching, LeastSpeedMps: 0.75, ConfirmTravelM: 0.5, HoldWhileMoving: true, HoldS: 0.75}, root(5.25), (root(5.25)-root(1./3))/1.5 + 0.75},
		{"a pause shorter than the hold does not", Motion{Direction: Approaching, LeastSpeedMps: 0.75, ConfirmTravelM: 0.5, HoldWhileMoving: true, HoldS: 0.8}, root(5.25), (root(5.25)+root(8))/1.5 + 0.8},
		{"movement the other way does not hold by itself", Motion{Direction: Approaching, LeastSpeedMps: 0.75, ConfirmTravelM: 0.5, HoldS: 0.8}, root(5.25), (root(5.25)-root(1./3))/1.5 + 0.8},
		{"who leaves triggers after the foot", Motion{Direction: Departing, LeastSpeedMps: 0.75, ConfirmTravelM: 0.5}, -root(sq(root(4./3)+0.5) - 1), (root(8) - root(sq(root(4./3)+0.5)-1)) / 1.5},
		{"either: it begins anew at the foot", Motion{Direction: Either, ConfirmTravelM: 1.9}, root(sq(1.1) - 1), root(sq(1.1)-1) / 1.5},
		{"either: 1.9 m are confirmed anew √(2.9² − 1) = 2.722 m after the foot, 1.815 s: too late", Motion{Direction: Either, ConfirmTravelM: 1.9, HoldS: 1.8}, root(sq(1.1) - 1), root(sq(1.1)-1)/1.5 + 1.8},
		{"either: in time", Motion{Direction: Either, ConfirmTravelM: 1.9, HoldS: 1.83}, root(sq(1.1) - 1), (root(sq(1.1)-1)+root(8))/1.5 + 1.83},
	} {
		w := ball(1.1).Walk(c.m, shoe, path)
		if before := 6 - w.AlongM; !w.Triggers || math.Abs(before-c.beforeM) > 1e-2 || math.Abs(w.HeldS-c.heldS) > 1e-2 || w.LeftM != 12-w.AlongM {
			t.Errorf("%s: %v; want %.3f m before the foot, held %.3f s", c.what, w, c.beforeM, c.heldS)
		}
	}
	if w := ball(1.1).Walk(Motion{Direction: Either, ConfirmTravelM: 2.1}, shoe, path); w.Why != TravelTooShort || math.Abs(w.MostTravelM-2) > 2e-3 {
		t.Errorf("the range changes by 2 m: %v", w)
	}
	quiet := shoe
	quiet.CrossSectionDB = 40 * math.Log10(0.5) // half the range
	if w := ball(1.1).Walk(Motion{Direction: Approaching, ConfirmTravelM: 0.4}, quiet, path); math.Abs(6-w.AlongM-root(sq(1.1)-1)) > 1e-2 {
		t.Errorf("a sixteenth of the echo enters at 1.5 m: %v", w)
	}
}

// The walk by hand once more, all along: outside, to be confirmed, confirmed, too slow about the foot, the other way, outside.
func TestStretchesTellAWholePath(t *testing.T) {
	got := ball(1.1).Stretches(Motion{Direction: Approaching, LeastSpeedMps: 0.75, ConfirmTravelM: 0.5}, Body{HeightM: 0.1, SpeedMps: 1.5}, Path{{0, 6}, {0, -6}})
	want := []Stretch{{0, 3.172, NeverInside, 0, 0}, {3.172, 3.709, TravelTooShort, 0, 0.5}, {3.709, 5.423, "", 0, 3 - math.Sqrt(4./3)},
		{5.423, 6.577, TooSlow, 0.75, 0}, {6.577, 8.828, WrongDirection, 1.5 * math.Sqrt(8) / 3, 0}, {8.828, 12, NeverInside, 0, 0}}
	if len(got) != len(want) {
		t.Fatalf("%+v", got)
	}
	for i, w := range want {
		g := got[i]
		if g.Why != w.Why || math.Abs(g.FromM-w.FromM) > 0.06 || math.Abs(g.ToM-w.ToM) > 0.06 || w.MostMps > 0 && math.Abs(g.MostMps-w.MostMps) > 0.01 || math.Abs(g.MostTravelM-w.MostTravelM) > 0.06 {
			t.Errorf("%+v, want %+v", g, w)
		}
	}
}

func TestWhySomebodyWasNotSeenIsSaid(t *testing.T) {
	d := Device{Mount: Mount{HeightM: 2.2, TiltDeg: 35, OffsetYM: 0.1}, Antenna: Antenna{60, 40, 25, 5}}
	b, _ := BodyNamed("walker")
	towards := Path{{0, 6}, {0, 0}}
	for _, c := range []struct {
		what string
		m    Motion
		p    Path
		want Unseen
	}{
		{"far away", Motion{Direction: Either}, Path{{-9, 9}, {9, 9}}, NeverInside},
		{"slower than is noticed", Motion{Direction: Either, LeastSpeedMps: 1.6}, towards, TooSlow},
		{"walking away from a device for those who come", Motion{Direction: Approaching, LeastSpeedMps: 0.1}, Path{{0, 0.6}, {0, 6}}, WrongDirection},
		{"less far than is confirmed", Motion{Direction: Approaching, ConfirmTravelM: 8}, towards, TravelTooShort},
	} {
		if w := d.Walk(c.m, b, c.p); w.Triggers || w.Why != c.want {
			t.Errorf("%s: %v, want %s", c.what, w, c.want)
		}
	}
}

func TestAFrameTurnsLeavesDevicesAndPointsAlike(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, _, _, _ := drawWalk(t)
		in := func(name string, top float64) float64 { return rapid.Float64Range(-top, top).Draw(t, name) }
		f := Frame{in("fx", 5), in("fy", 5), in("turn", 180)}
		p := Point{in("px", 4), in("py", 4), rapid.Float64Range(0, 2).Draw(t, "pz")}
		if a, b := d.ReachNeededDB(p), f.Device(d).ReachNeededDB(f.Out(p)); math.Abs(a-b) > 1e-6 {
			t.Fatalf("%g in its own frame, %g in the neighbour's", a, b)
		}
	})
}

// A door opposite at 3 m whose leaf swings towards us: what a device on our header sees of it is what it sees of the same leaf told by hand.
func TestALeafOppositeIsTheLeafToldByHand(t *testing.T) {
	d := Device{Mount: Mount{HeightM: 2.2, TiltDeg: 50, OffsetYM: 0.1}, Antenna: Antenna{60, 40, 25, 6}}
	theirs := SwingLeaf{HingeXM: -0.5, TowardsX: 1, WidthM: 1, HeightM: 2.1, OpensToDeg: 90}
	opposite := Frame{0, 3, 180}.Leaf(theirs)
	turned := slices.Collect(samples(opposite, 1))
	for i, s := range slices.Collect(samples(theirs, 1)) {
		got := turned[i].at
		if math.Abs(got.X+s.at.X) > 1e-9 || math.Abs(got.Y-(3-s.at.Y)) > 1e-9 || got.Z != s.at.Z {
			t.Fatalf("%v came out as %v", s.at, got)
		}
	}
	if c := d.CheckLeaf(opposite); !c.Seen {
		t.Error("a leaf that opens towards us at 3 m is not seen")
	}
}

// 2·π·f·a and 2·a by hand: 1 mm at 20 Hz is 0.1257 m/s and 2 mm.
func TestAShakingHeaderLooksLikeItsPeakSpeed(t *testing.T) {
	d := Device{Mount: Mount{HeightM: 2.2, TiltDeg: 90}, Antenna: Antenna{60, 40, 25, 6}}
	s := d.Shaken(Motion{LeastSpeedMps: 0.1, ConfirmTravelM: 0.001}, Shake{0.001, 20, Point{0, 1, 0}})
	if math.Abs(s.SpeedMps-0.12566) > 1e-4 || math.Abs(s.TravelM-0.002) > 1e-9 || !s.Triggers {
		t.Errorf("%+v", s)
	}
	if d.Shaken(Motion{LeastSpeedMps: 0.1, ConfirmTravelM: 0.05}, Shake{0.001, 20, Point{0, 1, 0}}).Triggers {
		t.Error("2 mm of travel pass for 50 mm")
	}
	// At 30° of tilt with 40° of beam the farthest line of sight is 50° from straight down: sin 50°. Sideways 30° of half a beam are 0.5.
	d.TiltDeg = 30
	if s := d.Shaken(Motion{}, Shake{0.001, 20, Point{0, 1, 0}}); math.Abs(s.CosAngle-math.Sin(50*math.Pi/180)) > 1e-9 {
		t.Errorf("at 30° of tilt %+v", s)
	}
	if s := d.Shaken(Motion{}, Shake{0.001, 20, Point{-3, 0, 0}}); math.Abs(s.CosAngle-0.5) > 1e-9 {
		t.Errorf("along the wall %+v", s)
	}
	if s := d.Shaken(Motion{}, Shake{0.001, 20, Point{0, 0, 1}}); math.Abs(s.CosAngle-math.Cos(10*math.Pi/180)) > 1e-9 {
		t.Errorf("up and down %+v", s)
	}
}

// 100 flickers a second look like 0.62 m/s at 24.125 GHz, 120 like 0.75 (2·50 and 2·60 Hz over 160.945 Hz per m/s, by hand).
func TestALampOnTheMainsLooksLikeItsFlicker(t *testing.T) {
	m := Motion{FrequencyHz: 24.125e9}
	if at50, at60 := m.LampMps(50), m.LampMps(60); math.Abs(at50-0.6213) > 1e-3 || math.Abs(at60-0.7456) > 1e-3 {
		t.Errorf("%v and %v m/s", at50, at60)
	}
}

func TestSmallThingsHaveASmallerVolume(t *testing.T) {
	d := Device{Mount: Mount{HeightM: 2.4, TiltDeg: 30, OffsetYM: 0.1}, Antenna: Antenna{60, 40, 25, 5}}
	m := Motion{LeastSpeedMps: 0.1, Direction: Either, ConfirmTravelM: 0.05}
	far := d.Rejects(m, Blown{Name: "leaf", CrossSectionDB: -25, SpeedMps: 2, HeightM: 0.3})
	if far.Triggers || math.Abs(far.RangeM-5*math.Pow(10, -25.0/40)) > 1e-9 {
		t.Errorf("a leaf on the floor is out of reach: %+v", far)
	}
	drop := Blown{Name: "drop", CrossSectionDB: -40, SpeedMps: 6, Falls: true}
	if r := d.Rejects(m, drop); !r.Triggers {
		t.Errorf("a drop that falls by the device is seen: %+v", r)
	}
	m.ConfirmTravelM = 0.6
	if r := d.Rejects(m, drop); r.Triggers || r.Why != TravelTooShort || r.MostTravelM > 0.6 {
		t.Errorf("a drop moves less than 0.6 m within half a metre: %+v", r)
	}
}

func BenchmarkWalk(b *testing.B) {
	d := Device{Mount: Mount{HeightM: 2.2, TiltDeg: 35, OffsetYM: 0.1}, Antenna: Antenna{60, 40, 25, 6}}
	m := Motion{LeastSpeedMps: 0.1, Direction: Approaching, ConfirmTravelM: 0.2}
	body, _ := BodyNamed("walker")
	p := Fan(Opening{ClearWidthM: 1.2})[1].Path
	for b.Loop() {
		d.Walk(m, body, p)
	}
}

func BenchmarkPassing(b *testing.B) {
	d := Device{Mount: Mount{HeightM: 2.2, TiltDeg: 35, OffsetYM: 0.1}, Antenna: Antenna{60, 40, 25, 6}}
	m := Motion{LeastSpeedMps: 0.1, Direction: Approaching, ConfirmTravelM: 0.2}
	body, _ := BodyNamed("walker")
	for b.Loop() {
		d.PassBy(m, body, Zone{X0M: -4, X1M: 4, Y0M: 2, Y1M: 4, BodyHeightM: 1.7}, PassingGrid)
	}
}

func BenchmarkWorstInTime(b *testing.B) {
	d := Device{Mount: Mount{HeightM: 2.2, TiltDeg: 35, OffsetYM: 0.1}, Antenna: Antenna{70, 40, 25, 6}}
	m := Motion{LeastSpeedMps: 0.1, Direction: Approaching, ConfirmTravelM: 0.2}
	body, _ := BodyNamed("walker")
	o := Opening{ClearWidthM: 1.2}
	fan := Fan(o)
	for b.Loop() {
		d.WorstInTime(m, body, o, fan)
	}
}
