package rulebook

import (
	"math"
	"slices"
	"testing"
)

// 30 lbf is 133.447 N (international pound and standard gravity). The time is by the formula of A156.19 (from memory), width in
// inches times the square root of the weight in pounds over 133, up to the next half second: 36 in and 200 lb give 3.83, so 4.0 s; 48 in and 200 lb give 5.10, so 5.5 s.
func TestALimitOfAReadingIsWorkedOutForTheDoor(t *testing.T) {
	book, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	leaf := func(inches, pounds float64) LeafFacts {
		w, m := inches*0.0254, pounds*0.45359237
		return LeafFacts{WidthM: &w, MassKg: &m}
	}
	sliding, low := Facts{DoorKind: Sliding, Energy: FullEnergy, Leaves: []LeafFacts{leaf(36, 200)}}, Facts{DoorKind: Swinging, Energy: LowEnergy, Leaves: []LeafFacts{leaf(36, 200), leaf(48, 200)}}
	one := low
	one.Leaves = low.Leaves[:1]
	unknown := low
	unknown.Leaves = []LeafFacts{{}}
	for _, c := range []struct {
		what, pack, reading string
		facts               Facts
		atLeast, atMost     float64 // SI; 0: none
		counts, none        bool
	}{
		{"a bound that somebody has read counts", "a156.10@2017", "closing_force_n", sliding, 0, 133.447, true, false},
		{"a formula is worked out, and what is from memory does not count", "a156.19@2013", "closing_time_s", one, 4.0, 0, false, false},
		{"the strictest leaf decides", "a156.19@2013", "closing_time_s", low, 5.5, 0, false, false},
		{"nothing without the facts", "a156.19@2013", "closing_time_s", unknown, 0, 0, false, true},
		{"nothing for other doors", "a156.10@2017", "closing_force_n", low, 0, 0, false, true},
	} {
		pack, ok := book.Pack(c.pack)
		if !ok {
			t.Fatalf("no pack %s", c.pack)
		}
		limits := pack.ReadingLimits(c.facts)
		i := slices.IndexFunc(limits, func(l ReadingLimit) bool { return l.Reading.Name == c.reading })
		if i < 0 || c.none {
			if i >= 0 || !c.none {
				t.Errorf("%s: limits %+v", c.what, limits)
			}
			continue
		}
		l := limits[i]
		for _, pair := range []struct {
			got  *Amount
			want float64
		}{{l.Limit.AtLeast, c.atLeast}, {l.Limit.AtMost, c.atMost}} {
			if (pair.got == nil) != (pair.want == 0) || pair.got != nil && math.Abs(pair.got.SI-pair.want) > 0.0005 {
				t.Errorf("%s: %+v, want %v", c.what, pair.got, pair.want)
			}
		}
		if l.Counts() != c.counts || l.Pack != c.pack || l.RuleID == "" {
			t.Errorf("%s: %+v", c.what, l)
		}
	}
}

// By the pack of A156.19-2013 the time to fully open is held against its limit less what the angle of the backcheck allows: that limit stands
// beside neither of the two readings as its own.
func TestALimitIsOfTheReadingThatIsHeldAgainstIt(t *testing.T) {
	book, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	pack, _ := book.Pack("a156.19@2013")
	for _, c := range []struct {
		rule, reading string
		holds         bool
	}{{"opening-time-full", "backcheck_angle_deg", false}, {"opening-time-full", "opening_time_full_s", false}, {"backcheck-angle", "backcheck_angle_deg", true}, {"backcheck-angle", "opening_time_full_s", false}} {
		i := slices.IndexFunc(pack.Rules, func(r *Rule) bool { return r.ID == c.rule })
		if got := pack.Rules[i].Holds(*readingNamed(c.reading)); got != c.holds {
			t.Errorf("%s holds %s itself: %v", c.rule, c.reading, got)
		}
	}
}
