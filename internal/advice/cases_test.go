package advice

import (
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
