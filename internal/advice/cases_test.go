package advice

import (
	"math"
	"os"
	"path/filepath"
	"testing"
)

// answered asks a written question.
func answered(t *testing.T, name string) Answer {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", "cases", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	q, err := Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	return Advise(q)
}

// Five openings with their twins, written by somebody who had not written the search, and who wrote down what to expect before asking. Three came out as
// expected at the first try (vestibule, ignored leaf, high header). Two did not, and the expectation was at fault: a door that takes 5 s to open is wide
// enough for one person after 1.6 s, and a sensor that answers to those who come does not answer to rain, which falls away from it. Common practice, no source; all figures invented.
func TestFiveOpeningsOfAnotherAuthor(t *testing.T) {
	t.Run("people at another door 2.2 m away cost reach or width, and nothing else", func(t *testing.T) {
		there, alone := answered(t, "vestibule"), answered(t, "vestibule_alone")
		if len(there.Ranked) == 0 || len(alone.Ranked) == 0 || there.Ranked[0].Disturbance > PassersAtMost {
			t.Fatalf("%s\n%s", there, alone)
		}
		if a, b := there.first(), alone.first(); a.Antenna != "narrow" || b.Antenna != "wide" {
			t.Errorf("with people there %s, without %s", a.Antenna, b.Antenna)
		}
	})
	t.Run("a leaf that the control ignores may be seen, one that it does not may not", func(t *testing.T) {
		ignored, not := answered(t, "leaf_ignored"), answered(t, "leaf_not_ignored")
		if len(ignored.Ranked) == 0 || len(ignored.first().Accessories) > 0 || len(not.Ranked) > 0 {
			t.Errorf("%s\n%s", ignored, not)
		}
		if len(not.GiveUp) != 1 || not.GiveUp[0].Asked.Of != LeafUnseen {
			t.Errorf("to give up: %+v", not.GiveUp)
		}
	})
	t.Run("a door may open slowly as long as it is wide enough in time", func(t *testing.T) {
		enough, slow := answered(t, "slow_enough"), answered(t, "too_slow")
		if len(enough.Ranked) == 0 || len(slow.Ranked) > 0 {
			t.Errorf("%s\n%s", enough, slow)
		}
		for _, g := range slow.GiveUp {
			if g.Asked.Of == InTime {
				return
			}
		}
		t.Errorf("the time is not named: %+v", slow.GiveUp)
	})
	t.Run("rain falls away from a sensor above: one that answers to both directions sees it", func(t *testing.T) {
		one, both := answered(t, "rain_one_way"), answered(t, "rain_both_ways")
		if len(one.Ranked) == 0 || len(both.Ranked) > 0 {
			t.Errorf("%s\n%s", one, both)
		}
		if len(both.GiveUp) == 0 || both.GiveUp[0].Asked.Of != Ignored {
			t.Errorf("to give up: %+v", both.GiveUp)
		}
	})
	t.Run("a high header looks down more steeply", func(t *testing.T) {
		high, low := answered(t, "high"), answered(t, "low")
		if len(high.Ranked) == 0 || len(low.Ranked) == 0 || high.first().TiltDeg >= low.first().TiltDeg {
			t.Errorf("%s\n%s", high, low)
		}
	})
}

// Five more with their twins, by a second author who had not written the search either and wrote down what to expect before asking. Three came out as expected at
// the first try (shaking, off the middle, fast and frail). Two did not, and the expectation was at fault: a tilt is counted from straight down, so that to look further out is
// more of it, not less; and a leaf 2.5 m to the side stays outside the wide field too (1 m to the side it does not). Looking at the mirrored pair showed a fault of the answer: what it said was wanting at the
// nearest aim was that of the first aim. Common practice, no source; all figures invented.
func TestFiveOpeningsOfASecondAuthor(t *testing.T) {
	t.Run("people who run need a sensor that reaches further, and it looks far out", func(t *testing.T) {
		near, far := answered(t, "running"), answered(t, "running_far")
		if len(near.Ranked) > 0 || len(far.Ranked) == 0 || far.first().TiltDeg < 36 {
			t.Fatalf("%s\n%s", near, far)
		}
		for _, g := range near.GiveUp {
			if g.Asked.Of == InTime {
				return
			}
		}
		t.Errorf("the time is not named: %+v", near.GiveUp)
	})
	t.Run("a header that shakes fast needs the spacer, one that sways slowly does not", func(t *testing.T) {
		thud, sway := answered(t, "thud"), answered(t, "sway")
		if len(thud.Ranked) == 0 || len(thud.first().Accessories) != 1 || thud.first().Accessories[0] != "spacer" {
			t.Errorf("%s", thud)
		}
		if len(sway.Ranked) == 0 || len(sway.first().Accessories) > 0 {
			t.Errorf("%s", sway)
		}
	})
	t.Run("another door's leaf beside costs the wide antenna only where it swings close by", func(t *testing.T) {
		near, far := answered(t, "neighbour_near"), answered(t, "neighbour_far")
		if len(near.Ranked) == 0 || near.first().Antenna != "narrow" || len(far.Ranked) == 0 || far.first().Antenna != "wide" {
			t.Errorf("%s\n%s", near, far)
		}
	})
	t.Run("off the middle it turns to the middle, and the mirrored opening gets the mirrored answer", func(t *testing.T) {
		left, right := answered(t, "left_of_middle"), answered(t, "right_of_middle")
		if len(left.Ranked) == 0 || len(right.Ranked) == 0 {
			t.Fatalf("%s\n%s", left, right)
		}
		l, r := left.first(), right.first()
		if l.YawDeg <= 0 || r.YawDeg != -l.YawDeg || l.TiltDeg != r.TiltDeg || l.Antenna != r.Antenna || l.ReachDB != r.ReachDB {
			t.Errorf("left %+v, right %+v", l, r)
		}
		if len(left.Rejected) == 0 || len(left.Rejected) != len(right.Rejected) {
			t.Fatalf("rejected: %d and %d", len(left.Rejected), len(right.Rejected))
		}
		for i, rejected := range left.Rejected {
			a, b := rejected.Failed[0].ZoneDB, right.Rejected[i].Failed[0].ZoneDB
			if a == nil || b == nil || math.Abs(*a-*b) > 1e-6 {
				t.Errorf("%v: wanting %v and %v", rejected.Accessories, a, b)
			}
		}
	})
	t.Run("a door that is too slow for somebody fast is in time for somebody frail", func(t *testing.T) {
		fast, frail := answered(t, "fast"), answered(t, "frail")
		if len(fast.Ranked) > 0 || len(frail.Ranked) == 0 || frail.Ranked[0].InHandS < 0 {
			t.Fatalf("%s\n%s", fast, frail)
		}
		for _, g := range fast.GiveUp {
			if g.Asked.Of == InTime {
				return
			}
		}
		t.Errorf("the time is not named: %+v", fast.GiveUp)
	})
}
