package steps

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// scales are rising or falling, of two to forty steps that are not evenly apart.
func scales() *rapid.Generator[Scale] {
	return rapid.Custom(func(t *rapid.T) Scale {
		n := rapid.IntRange(2, 40).Draw(t, "n")
		sign := rapid.SampledFrom([]float64{1, -1}).Draw(t, "sign")
		v := rapid.Float64Range(-60, 60).Draw(t, "first")
		s := Scale{Setting: "reach_db", Way: Dial, Control: "A"}
		for i := range n {
			at := v
			s.Steps = append(s.Steps, Step{Label: fmt.Sprint("p", i), Value: &at})
			v += sign * rapid.Float64Range(0.01, 20).Draw(t, "apart")
		}
		return s
	})
}

func TestEveryStepIsReachedByItsOwnNumberAndByItsLabel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := scales().Draw(t, "scale")
		for _, x := range s.Steps {
			if r := s.Nearest(*x.Value); r.Nearest.Label != x.Label || !r.Exact || r.Beyond || r.Other != nil {
				t.Fatalf("%g of %s gives %+v", *x.Value, x.Label, r)
			}
			if back, ok := s.At(x.Label); !ok || *back.Value != *x.Value {
				t.Fatalf("label %s gives %+v", x.Label, back)
			}
		}
		if _, ok := s.At("p"); ok {
			t.Fatal("a label that there is not was found")
		}
	})
}

// Against a search that knows nothing of order or neighbours.
func TestTheNearestStepIsTheNearestAndItsNeighbourLiesOnTheOtherSide(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := scales().Draw(t, "scale")
		v := rapid.Float64Range(-900, 900).Draw(t, "v")
		if rapid.Bool().Draw(t, "within") {
			first, last := *s.Steps[0].Value, *s.Steps[len(s.Steps)-1].Value
			v = first + (last-first)*rapid.Float64Range(0, 1).Draw(t, "share")
		}
		r := s.Nearest(v)
		below, above := math.Inf(-1), math.Inf(1)
		for _, x := range s.Steps {
			if math.Abs(*x.Value-v) < math.Abs(*r.Nearest.Value-v) {
				t.Fatalf("%g lies nearer to %s than to %s", v, x.Label, r.Nearest.Label)
			}
			if *x.Value <= v {
				below = max(below, *x.Value)
			}
			if *x.Value >= v {
				above = min(above, *x.Value)
			}
		}
		if r.Exact {
			return
		}
		beyond := math.IsInf(below, 0) || math.IsInf(above, 0)
		if r.Beyond != beyond || (r.Other == nil) != beyond {
			t.Fatalf("%g between %g and %g gives %+v", v, below, above, r)
		}
		if !beyond && (math.Min(*r.Nearest.Value, *r.Other.Value) != below || math.Max(*r.Nearest.Value, *r.Other.Value) != above) {
			t.Fatalf("%g between %g and %g gives %g and %g", v, below, above, *r.Nearest.Value, *r.Other.Value)
		}
	})
}

func TestMoreIsNeverReachedByALesserStep(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := scales().Draw(t, "scale")
		a, b := rapid.Float64Range(-900, 900).Draw(t, "a"), rapid.Float64Range(-900, 900).Draw(t, "b")
		if a > b {
			a, b = b, a
		}
		if *s.Nearest(a).Nearest.Value > *s.Nearest(b).Nearest.Value {
			t.Fatalf("%g is reached by %g, %g by %g", a, *s.Nearest(a).Nearest.Value, b, *s.Nearest(b).Nearest.Value)
		}
	})
}

func TestAScaleReadBackwardsReachesTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := scales().Draw(t, "scale")
		back := Scale{}
		for i := range s.Steps {
			back.Steps = append(back.Steps, s.Steps[len(s.Steps)-1-i])
		}
		if s.Turn() != -back.Turn() || s.Turn() == 0 {
			t.Fatalf("turns %d and %d", s.Turn(), back.Turn())
		}
		v := rapid.Float64Range(-900, 900).Draw(t, "v")
		if a, b := s.Nearest(v), back.Nearest(v); math.Abs(*a.Nearest.Value-v) != math.Abs(*b.Nearest.Value-v) || a.Beyond != b.Beyond || a.Exact != b.Exact {
			t.Fatalf("%g gives %+v and %+v", v, a, b)
		}
	})
}

func TestNumbersThatDoNotGoOneWayGoNowhere(t *testing.T) {
	for name, c := range map[string]struct {
		values []float64
		want   int
	}{
		"rising": {[]float64{-9, -6, 0}, 1}, "falling": {[]float64{3, 2, 1}, -1}, "twice": {[]float64{0, 1, 1}, 0}, "back": {[]float64{0, 2, 1}, 0},
		"alone": {[]float64{4}, 0}, "none": {nil, 0}, "no number": {[]float64{0, math.NaN(), 2}, 0},
	} {
		var s Scale
		for _, v := range c.values {
			s.Steps = append(s.Steps, Step{Value: &v})
		}
		if got := s.Turn(); got != c.want {
			t.Errorf("%s: %d, want %d", name, got, c.want)
		}
	}
	if got := (Scale{Steps: []Step{{Word: "yes"}, {Word: "no"}}}).Turn(); got != 0 {
		t.Errorf("words turn %d", got)
	}
}

func TestOfTwoEquallyNearStepsTheFirstOfTheChartIsTaken(t *testing.T) {
	values := []float64{0, -2, -4}
	var s Scale
	for i, v := range values {
		s.Steps = append(s.Steps, Step{Label: fmt.Sprint(i + 1), Value: &v})
	}
	if r := s.Nearest(-3); r.Nearest.Label != "2" || r.Other.Label != "3" || r.Exact {
		t.Errorf("%+v", r)
	}
	if r := s.Nearest(-4.2); r.Nearest.Label != "3" || !r.Beyond || r.Other != nil {
		t.Errorf("%+v", r)
	}
	if r := s.Nearest(-0.1 - 0.2 + 0.3); !r.Exact || r.Nearest.Label != "1" { // decimals as binary numbers have them
		t.Errorf("%+v", r)
	}
}

func TestAChartFindsItsScalesStepsAndWhatAResetClears(t *testing.T) {
	c := Chart{Scales: []Scale{{Setting: "motion_direction", Steps: []Step{{Label: "I", Word: "approach"}, {Label: "II", Word: "either"}}}}, Reset: &Reset{Clears: []string{"motion_direction"}}}
	s, ok := c.Of("motion_direction")
	if x, found := s.Saying("either"); !ok || !found || x.Label != "II" {
		t.Errorf("%+v %v %v", x, ok, found)
	}
	if _, found := s.Saying("departure"); found {
		t.Error("a word without a step was found")
	}
	if _, ok := c.Of("reach_db"); ok || !c.Clears("motion_direction") || c.Clears("reach_db") || (Chart{}).Clears("reach_db") {
		t.Error("a scale or a clearing that there is not")
	}
}
