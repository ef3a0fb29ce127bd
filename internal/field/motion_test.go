package field

import (
	"math"
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

// bySteps walks a body four millimetres at a time and looks at each point of it with the formulas of the field, written down anew: another way through
// than Walk's intervals.
func bySteps(d Device, m Motion, b Body, p Path) (at float64, triggers bool) {
	const step = 0.004
	n := int(p.LengthM() / step)
	heights := steps(b.HeightM-seenFromM, walkHeightM)
	travel := make([]float64, heights+1)
	rangeOf := func(q XY, z float64) float64 {
		return math.Sqrt(sq(q[0]-d.OffsetXM) + sq(q[1]-d.OffsetYM) + sq(z-d.HeightM))
	}
	for i := 0; i < n; i++ {
		here, next := p.At(float64(i)*step), p.At(float64(i+1)*step)
		for h := range travel {
			z := seenFromM + (b.HeightM-seenFromM)*float64(h)/float64(heights)
			change := rangeOf(next, z) - rangeOf(here, z)
			radial := math.Abs(change) / step * b.SpeedMps
			asked := m.Direction == Either || (m.Direction == Approaching) == (change < 0)
			if d.ReachNeededDB(Point{next[0], next[1], z}) > d.ReachDB+b.CrossSectionDB || radial < m.LeastSpeedMps || !asked {
				travel[h] = 0
				continue
			}
			travel[h] += math.Abs(change)
			if travel[h] >= m.ConfirmTravelM {
				return float64(i+1) * step, true
			}
		}
	}
	return 0, false
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

func TestAWalkTriggersWhereItDoesStepByStep(t *testing.T) {
	triggered, cases := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		d, m, b, p := drawWalk(t)
		if p.LengthM() < 0.5 {
			return
		}
		got := d.Walk(m, b, p)
		at, ok := bySteps(d, m, b, p)
		cases++
		if ok {
			triggered++
		}
		if got.Triggers == ok && (!ok || math.Abs(got.AlongM-at) < 0.03) {
			return
		}
		// Where the two differ, a hair's breadth of travel or of reach decides: then one of them must change sides by it.
		more, less := m, m
		more.ConfirmTravelM, less.ConfirmTravelM = m.ConfirmTravelM*1.03+0.004, m.ConfirmTravelM*0.97-0.004
		wide, narrow := d, d
		wide.ReachDB, narrow.ReachDB = d.ReachDB+0.05, d.ReachDB-0.05
		low, high := math.Inf(1), math.Inf(-1)
		for _, e := range []Walk{wide.Walk(less, b, p), narrow.Walk(more, b, p), wide.Walk(more, b, p), narrow.Walk(less, b, p)} {
			along := e.AlongM
			if !e.Triggers {
				along = math.Inf(1)
			}
			low, high = min(low, along), max(high, along)
		}
		want := at
		if !ok {
			want = math.Inf(1)
		}
		if want < low-0.03 || want > high+0.03 {
			t.Fatalf("%v, step by step %v at %.3f (between %.3f and %.3f)", got, ok, at, low, high)
		}
	})
	if triggered*10 < cases {
		t.Errorf("only %d of %d walks trigger: the test looks at nothing", triggered, cases)
	}
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
		if c.Triggers && (!a.Triggers || c.AlongM < a.AlongM-1e-9) {
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
	turned := opposite.samples()
	for i, s := range theirs.samples() {
		got := turned[i].at
		if math.Abs(got.X+s.at.X) > 1e-9 || math.Abs(got.Y-(3-s.at.Y)) > 1e-9 || got.Z != s.at.Z {
			t.Fatalf("%v came out as %v", s.at, got)
		}
	}
	if c := d.checkLeaf(opposite); !c.Seen {
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
	d.TiltDeg = 30 // sin 30° of the shake is along the line of sight
	if s := d.Shaken(Motion{}, Shake{0.001, 20, Point{0, 1, 0}}); math.Abs(s.CosAngle-0.5) > 1e-9 {
		t.Errorf("at 30° of tilt %+v", s)
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
