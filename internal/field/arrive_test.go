package field

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// By hand: a mat from 0.5 m to 1.2 m before the door is felt by somebody who comes straight as soon as the circle of 0.1 m within their footprint touches it, 1.3 m from the door;
// at 1.5 m/s they are there 0.867 s later.
func TestSomebodyWhoComesIsToldOfWhereTheyFirstTouchWhatIsWatched(t *testing.T) {
	mat := Mat{Sensing{Both, math.Inf(1), 2}, -0.6, 0.6, 0.5, 1.2}
	walker, _ := BodyNamed("walker")
	opening := Opening{ClearWidthM: 1, OpeningTimeS: 0.5}
	w := WorstArrival(mat, Motion{}, walker, opening, Fan(opening)[:1])
	if want := 1.3 / walker.SpeedMps; !w.Walk.Triggers || math.Abs(w.Walk.LeftM-1.3) > 0.002 || math.Abs(w.AvailableS-want) > 0.002 {
		t.Errorf("%+v", w)
	}
	if held := (1.3-0.4)/walker.SpeedMps + 2; math.Abs(w.Walk.HeldS-held) > 0.02 {
		t.Errorf("held %g s, want %g", w.Walk.HeldS, held)
	}
	button := Plate{Sensing{KnowingAct, 0, 5}, 0, 1, 1, 0.6}
	if w := Arrive(button, Motion{}, walker, Path{{0, 4}, {0, 0}}); w.Triggers {
		t.Errorf("nobody has pressed the button: %v", w)
	}
	if w := Arrive(mat, Motion{}, walker, Path{{2, 4}, {2, 0}}); w.Triggers || w.Why != NeverInside {
		t.Errorf("beside the mat: %v", w)
	}
}

// Paths against a mat, by another way: along each path, a centimetre at a time.
func TestWhoPassesAMatIsCountedAsWalkingSays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string, low, top float64) float64 { return rapid.Float64Range(low, top).Draw(t, name) }
		x, y := draw("x", -1, 1), draw("y", 0, 1)
		mat := Mat{Sensing{Both, math.Inf(1), 0}, x, x + draw("w", 0.1, 1.5), y, y + draw("d", 0.1, 1)}
		z := Zone{X0M: -2, X1M: 2, Y0M: draw("from", 0.2, 1.5), BodyHeightM: 1.7}
		z.Y1M = z.Y0M + draw("wide", 0.2, 1)
		walker, _ := BodyNamed("walker")
		const grid = 6
		sure, perhaps := 0, 0
		for path := range z.paths(grid) {
			least := math.Inf(1)
			for i := range 401 {
				at := path.At(path.LengthM() * float64(i) / 400)
				least = min(least, math.Hypot(at[0]-max(mat.X0M, min(mat.X1M, at[0])), at[1]-max(mat.Y0M, min(mat.Y1M, at[1]))))
			}
			if least <= bodyHalfM-0.001 {
				sure++
			}
			if least <= bodyHalfM+0.006 {
				perhaps++
			}
		}
		if got := PassBy(mat, Motion{}, walker, z, grid); got.Paths != grid*grid || got.Trigger < sure || got.Trigger > perhaps {
			t.Fatalf("%d of %d trigger, want %d to %d", got.Trigger, got.Paths, sure, perhaps)
		}
	})
}
