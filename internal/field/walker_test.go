package field_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/field/oracle"
)

// Walkers drawn by chance, followed frame by frame by other code that knows phases instead of slopes and looks at all heights.
func TestAWalkTriggersWhereItDoesFrameByFrame(t *testing.T) {
	const walks = 100
	random := rand.New(rand.NewPCG(2026, 3))
	in := func(low, top float64) float64 { return low + (top-low)*random.Float64() }
	triggered, exact := 0, 0
	for range walks {
		mount := oracle.Mount{HeightM: in(1.9, 3.5), TiltDeg: in(5, 60), YawDeg: in(-40, 40), OffsetXM: in(-1, 1), OffsetYM: in(0, 0.5),
			AzimuthBeamwidthDeg: in(20, 80), ElevationBeamwidthDeg: in(20, 60), AttenuationLimitDB: in(14, 30), BoresightRangeM: in(3, 8), ReachDB: in(-6, 0)}
		b := field.Bodies()[random.IntN(len(field.Bodies()))]
		m := field.Motion{FrequencyHz: 24.125e9, LeastSpeedMps: in(0, 0.3), ConfirmTravelM: in(0.02, 0.4),
			Direction: []field.Direction{field.Approaching, field.Departing, field.Either}[random.IntN(3)]}
		p := field.Path{{in(-4, 4), in(0.2, 6)}, {in(-3, 3), in(0, 4)}, {in(-2, 2), in(0, 3)}}

		at, ok := mount.Walks(movement(m), walker(b, p))
		got := device(mount).Walk(m, b, p)
		if ok {
			triggered++
		}
		if got.Triggers == ok && (!ok || math.Abs(got.AlongM-at) < 0.03) {
			exact++
			continue
		}
		// Where they differ, a hair's breadth decides: of travel, of reach, or of speed. What a hair more and a hair less give must lie about it.
		early, late := m, m
		early.ConfirmTravelM, late.ConfirmTravelM = m.ConfirmTravelM*0.97-0.004, m.ConfirmTravelM*1.03+0.004
		early.LeastSpeedMps, late.LeastSpeedMps = m.LeastSpeedMps*0.97, m.LeastSpeedMps*1.03
		wide, narrow := mount, mount
		wide.ReachDB, narrow.ReachDB = mount.ReachDB+0.05, mount.ReachDB-0.05
		low, high := triggersAt(device(wide).Walk(early, b, p)), triggersAt(device(narrow).Walk(late, b, p))
		if want := triggersAt(field.Walk{Triggers: ok, AlongM: at}); want < low-0.03 || want > high+0.03 {
			t.Errorf("%v, frame by frame %v at %.3f, not between %.3f and %.3f\n%+v %+v %v %+v", got, ok, at, low, high, mount, m, p, b)
		}
	}
	if exact < walks*95/100 || triggered < walks/4 {
		t.Errorf("of %d walks %d trigger, and %d agree to 3 cm", walks, triggered, exact)
	}
}

func triggersAt(w field.Walk) float64 {
	if !w.Triggers {
		return math.Inf(1)
	}
	return w.AlongM
}

func movement(m field.Motion) oracle.Movement {
	return oracle.Movement{CarrierHz: m.FrequencyHz, LeastHz: 2 * m.LeastSpeedMps * m.FrequencyHz / 299792458,
		Approaching: m.Direction != field.Departing, Leaving: m.Direction != field.Approaching, Cycles: 2 * m.ConfirmTravelM * m.FrequencyHz / 299792458}
}

func walker(b field.Body, p field.Path) oracle.Walker {
	w := oracle.Walker{TallM: b.HeightM, SpeedMps: b.SpeedMps, CrossSectionDB: b.CrossSectionDB}
	for _, q := range p {
		w.Path = append(w.Path, [2]float64(q))
	}
	return w
}

// Leaves drawn by chance, frame by frame: every patch of 7 cm by other code.
func TestALeafTriggersWhereItDoesFrameByFrame(t *testing.T) {
	const leaves = 20
	random := rand.New(rand.NewPCG(2026, 4))
	in := func(low, top float64) float64 { return low + (top-low)*random.Float64() }
	triggered, exact := 0, 0
	for i := range leaves {
		mount := oracle.Mount{HeightM: in(2.1, 2.6), TiltDeg: in(10, 50), YawDeg: in(-40, 40), OffsetXM: in(-0.5, 0.5), OffsetYM: in(0, 0.8),
			AzimuthBeamwidthDeg: in(20, 80), ElevationBeamwidthDeg: in(20, 60), AttenuationLimitDB: in(14, 30), BoresightRangeM: in(3, 7), ReachDB: in(-6, 0)}
		m := field.Motion{FrequencyHz: 24.125e9, LeastSpeedMps: in(0, 0.3), ConfirmTravelM: in(0.05, 0.5),
			Direction: []field.Direction{field.Approaching, field.Departing, field.Either}[random.IntN(3)]}
		wing := oracle.Wing{HingeX: 0.5, Towards: -1, WideM: in(0.7, 1.2), HighM: 2.1, ToDeg: in(80, 110), Seconds: in(1.5, 6), Closing: i%2 == 1}
		leaf := field.MovingLeaf{Leaf: field.SwingLeaf{HingeXM: 0.5, TowardsX: -1, WidthM: wing.WideM, HeightM: 2.1, OpensToDeg: wing.ToDeg}, OpeningS: wing.Seconds, ClosingS: wing.Seconds}

		deg, ok := mount.Turns(movement(m), wing)
		stroke := func(mount oracle.Mount, m field.Motion) field.Stroke {
			if w := device(mount).WatchLeaf(m, leaf); wing.Closing {
				return w.Closing
			} else {
				return w.Opening
			}
		}
		got := stroke(mount, m)
		if ok {
			triggered++
		}
		if got.Triggers == ok && (!ok || math.Abs(got.At*wing.ToDeg-deg) < 3) {
			exact++
			continue
		}
		early, late := m, m
		early.ConfirmTravelM, late.ConfirmTravelM = m.ConfirmTravelM*0.97-0.004, m.ConfirmTravelM*1.03+0.004
		early.LeastSpeedMps, late.LeastSpeedMps = m.LeastSpeedMps*0.97, m.LeastSpeedMps*1.03
		wide, narrow := mount, mount
		wide.ReachDB, narrow.ReachDB = mount.ReachDB+0.1, mount.ReachDB-0.1
		if more, less := stroke(wide, early), stroke(narrow, late); more.Triggers == less.Triggers {
			t.Errorf("%+v, frame by frame %v at %.1f°\n%+v %+v %+v", got, ok, deg, mount, m, wing)
		}
	}
	if exact < leaves*9/10 || triggered < leaves/3 || triggered == leaves {
		t.Errorf("of %d leaves %d trigger, and %d agree to 3°", leaves, triggered, exact)
	}
}
