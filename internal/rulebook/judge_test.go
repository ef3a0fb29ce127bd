package rulebook

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

const (
	swingPack = "a156.19@2013"
	slidePack = "a156.10@2005"
)

func embeddedPack(t testing.TB, id string) *Pack {
	t.Helper()
	book, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	p, ok := book.Pack(id)
	if !ok {
		t.Fatalf("no pack %s", id)
	}
	return p
}

func pointer[T any](v T) *T { return &v }

func inches(in float64) *float64 { return pointer(in * metresPerInch) }
func pounds(lb float64) *float64 { return pointer(lb * kilogramsPerLb) }

// swingDoor and slideDoor are doors of which everything is known, with readings that pass every rule.
func swingDoor() (Facts, map[string]Reading) {
	f := Facts{
		DoorKind: Swinging, Energy: LowEnergy, Traffic: TwoWay, ActivationA: ByKnowingAct, ActivationB: ByKnowingAct,
		ClearWidthM: inches(34), InspectorCertified: pointer(true), Leaves: []LeafFacts{{WidthM: inches(36), HeightM: inches(84), MassKg: pounds(125)}},
	}
	return f, map[string]Reading{
		"opening_time_s":            Measured(3.5, "s"),
		"opening_time_full_s":       Measured(5, "s"),
		"backcheck_angle_deg":       Measured(70, "deg"),
		"opening_force_n":           Measured(60, "N"),
		"months_since_inspection":   Measured(3, "months"),
		"closing_time_s":            Measured(3.5, "s"),
		"latch_time_s":              Measured(1.5, "s"),
		"hold_open_s":               Measured(5, "s"),
		"closing_force_n":           Measured(60, "N"),
		"manual_release_force_n":    Measured(60, "N"),
		"manual_start_force_n":      Measured(100, "N"),
		"manual_full_force_n":       Measured(60, "N"),
		"signs_present":             Answered(true),
		"walk_test_passed":          Answered(true),
		"daily_check_label_present": Answered(true),
	}
}

// taken is one reading of each name, of the door as a whole.
func taken(readings map[string]Reading) (list []Used) {
	for name, r := range readings {
		list = append(list, Used{name, r})
	}
	return list
}

func slideDoor() (Facts, map[string]Reading) {
	leaf := LeafFacts{WidthM: pointer(0.9), HeightM: pointer(2.2), MassKg: pounds(160)}
	f := Facts{
		DoorKind: Sliding, Energy: FullEnergy, Traffic: TwoWay, ActivationA: BySensor, ActivationB: ByKnowingAct,
		PresenceBy: OverheadSensor, ClearWidthM: pointer(1.8), Egress: pointer(true), EgressBreakout: pointer(true), FireRated: pointer(false), Interior: pointer(false),
		InspectorCertified: pointer(true), Leaves: []LeafFacts{leaf, leaf},
	}
	return f, map[string]Reading{
		"closing_speed_mps":         Measured(0.3, "m/s"),
		"activation_zone_width_m":   Measured(1.8, "m"),
		"activation_zone_depth_m":   Measured(1.1, "m"),
		"months_since_inspection":   Measured(3, "months"),
		"latch_check_distance_m":    Measured(0.06, "m"),
		"closing_force_n":           Measured(120, "N"),
		"breakout_force_n":          Measured(200, "N"),
		"hold_open_s":               Measured(3, "s"),
		"hold_open_knowing_act_s":   Measured(5, "s"),
		"stationary_person_held":    Answered(true),
		"walk_test_passed":          Answered(true),
		"signs_present":             Answered(true),
		"breakout_sign_present":     Answered(true),
		"daily_check_label_present": Answered(true),
	}
}

func verdictOf(t testing.TB, verdicts []Verdict, rule string) Verdict {
	t.Helper()
	for _, v := range verdicts {
		if v.RuleID == rule {
			return v
		}
	}
	t.Fatalf("no verdict of rule %s", rule)
	return Verdict{}
}

func TestACompleteGoodDoorPasses(t *testing.T) {
	for id, door := range map[string]func() (Facts, map[string]Reading){swingPack: swingDoor, slidePack: slideDoor} {
		facts, readings := door()
		verdicts := embeddedPack(t, id).Judge(facts, taken(readings))
		for _, v := range verdicts {
			if v.Outcome != Passed && v.Outcome != NotApplicable {
				t.Errorf("%s %s: %s %s %v", id, v.RuleID, v.Outcome, v.Reason, v.Gaps)
			}
		}
		if got := Conclude(verdicts); got != InspectionPassed {
			t.Errorf("%s: %s", id, got)
		}
	}
}

func TestLimitsAreJudgedInThePrimaryUnit(t *testing.T) {
	n := func(lbf float64) float64 { return lbf * 4.4482216152605 }
	lessThan := func(v float64) float64 { return v * (1 - 1e-6) }
	moreThan := func(v float64) float64 { return v * (1 + 1e-6) }
	for _, c := range []struct {
		pack, rule, reading, unit string
		value                     float64
		want                      Outcome
	}{
		{swingPack, "stop-force", "closing_force_n", "N", n(15), Passed},
		{swingPack, "stop-force", "closing_force_n", "N", 66.7, Passed},
		{swingPack, "stop-force", "closing_force_n", "N", 66.9, Failed}, // within the printed 67 N, above 15 lbf
		{swingPack, "stop-force", "closing_force_n", "N", moreThan(n(15)), Failed},
		{swingPack, "opening-time-least", "opening_time_s", "s", 3, Passed},
		{swingPack, "opening-time-least", "opening_time_s", "s", lessThan(3), Failed},
		{swingPack, "opening-time-table", "opening_time_s", "s", 3.5, Passed}, // 36 in × 125 lb
		{swingPack, "opening-time-table", "opening_time_s", "s", 3.4, Failed},
		{swingPack, "backcheck-angle", "backcheck_angle_deg", "deg", 60, Passed},
		{swingPack, "backcheck-angle", "backcheck_angle_deg", "deg", 59, Failed},
		{swingPack, "closing-time", "closing_time_s", "s", 3.5, Passed},
		{swingPack, "closing-time", "closing_time_s", "s", 3.4, Failed},
		{swingPack, "latch-time", "latch_time_s", "s", 1.5, Passed},
		{swingPack, "latch-time", "latch_time_s", "s", lessThan(1.5), Failed},
		{swingPack, "hold-open", "hold_open_s", "s", 5, Passed},
		{swingPack, "hold-open", "hold_open_s", "s", lessThan(5), Failed},
		{swingPack, "manual-release", "manual_release_force_n", "N", n(15), Passed},
		{swingPack, "manual-release", "manual_release_force_n", "N", 67, Failed},
		{swingPack, "manual-set-in-motion", "manual_start_force_n", "N", n(30), Passed},
		{swingPack, "manual-set-in-motion", "manual_start_force_n", "N", 133.5, Failed},
		{swingPack, "manual-open", "manual_full_force_n", "N", n(15), Passed},
		{swingPack, "manual-open", "manual_full_force_n", "N", 67, Failed},
		// 36 in × 125 lb at T = D·√W/133 = 3.026 s carries 1.2406 lbf·ft; 1.25 lbf·ft is reached at 3.015 s.
		{swingPack, "closing-energy", "closing_time_s", "s", 3.026, Passed},
		{swingPack, "closing-energy", "closing_time_s", "s", 3.016, Passed},
		{swingPack, "closing-energy", "closing_time_s", "s", 3.014, Failed},
		{slidePack, "closing-speed", "closing_speed_mps", "m/s", 0.3048, Passed}, // 160 lb
		{slidePack, "closing-speed", "closing_speed_mps", "m/s", moreThan(0.3048), Failed},
		{slidePack, "latch-check", "latch_check_distance_m", "m", 0.0508, Passed},
		{slidePack, "latch-check", "latch_check_distance_m", "m", 0.0507, Failed},
		{slidePack, "stopped-leaf-force", "closing_force_n", "N", n(30), Passed},
		{slidePack, "stopped-leaf-force", "closing_force_n", "N", 133.5, Failed},
		{slidePack, "breakout-force", "breakout_force_n", "N", n(50), Passed},
		{slidePack, "breakout-force", "breakout_force_n", "N", 222.5, Failed},
		{slidePack, "hold-open-sensors", "hold_open_s", "s", 1.5, Passed},
		{slidePack, "hold-open-sensors", "hold_open_s", "s", lessThan(1.5), Failed},
		{slidePack, "hold-open-knowing-act", "hold_open_knowing_act_s", "s", 5, Passed},
		{slidePack, "hold-open-knowing-act", "hold_open_knowing_act_s", "s", lessThan(5), Failed},
	} {
		facts, readings := slideDoor()
		if c.pack == swingPack {
			facts, readings = swingDoor()
		}
		readings[c.reading] = Measured(c.value, c.unit)
		v := verdictOf(t, embeddedPack(t, c.pack).Judge(facts, taken(readings)), c.rule)
		if v.Outcome != c.want {
			t.Errorf("%s with %s = %v: %s, want %s (measured %+v, limit %+v, gaps %v)", c.rule, c.reading, c.value, v.Outcome, c.want, v.Measured, v.Limit, v.Gaps)
		}
	}
}

func TestAHeavySlidingLeafMustCloseSlower(t *testing.T) {
	p := embeddedPack(t, slidePack)
	for _, c := range []struct{ leafLb, otherLb, limitFps float64 }{{100, 100, 1}, {160, 160, 1}, {250, 250, 0.8}, {320, 320, math.Sqrt(0.5)}, {100, 250, 0.8}} {
		facts, readings := slideDoor()
		facts.Leaves[0].MassKg, facts.Leaves[1].MassKg = pounds(c.leafLb), pounds(c.otherLb)
		v := verdictOf(t, p.Judge(facts, taken(readings)), "closing-speed")
		if got := v.Limit.AtMost; math.Abs(got.Value-c.limitFps) > 1e-9 || got.Unit != "ft/s" || math.Abs(got.SI-c.limitFps*0.3048) > 1e-9 {
			t.Errorf("%v lb and %v lb: limit %+v, want %v ft/s", c.leafLb, c.otherLb, got, c.limitFps)
		}
	}
}

func TestBeamsAloneNeedTheLongerHoldOpenTime(t *testing.T) {
	p := embeddedPack(t, slidePack)
	for _, c := range []struct {
		by             Presence
		holdS          float64
		sensors, beams Outcome
	}{
		{OverheadSensor, 1.5, Passed, NotApplicable},
		{OverheadSensorAndBeams, 1.5, Passed, NotApplicable},
		{Beams, 1.5, NotApplicable, Failed},
		{Beams, 2.4, NotApplicable, Failed},
		{Beams, 2.5, NotApplicable, Passed},
		{"", 9, NotJudged, NotJudged}, // nobody knows which: no guess
		{NoPresence, 9, NotApplicable, NotApplicable},
	} {
		facts, readings := slideDoor()
		facts.PresenceBy = c.by
		readings["hold_open_s"] = Measured(c.holdS, "s")
		verdicts := p.Judge(facts, taken(readings))
		sensors, beams := verdictOf(t, verdicts, "hold-open-sensors"), verdictOf(t, verdicts, "hold-open-beams")
		if sensors.Outcome != c.sensors || beams.Outcome != c.beams {
			t.Errorf("presence by %q, %v s: sensors %s, beams %s; want %s, %s", c.by, c.holdS, sensors.Outcome, beams.Outcome, c.sensors, c.beams)
		}
	}
}

func TestBeamHeightsAreBoundedFromBothSides(t *testing.T) {
	p := embeddedPack(t, slidePack)
	for _, c := range []struct {
		lowestIn, topIn float64
		lowest, top     Outcome
	}{{6, 45, Passed, Passed}, {28, 55, Passed, Passed}, {5.9, 44.9, Failed, Failed}, {28.1, 55.1, Failed, Failed}} {
		facts, readings := slideDoor()
		facts.PresenceBy = Beams
		readings["lowest_beam_height_m"] = Measured(*inches(c.lowestIn), "m")
		readings["top_beam_height_m"] = Measured(*inches(c.topIn), "m")
		verdicts := p.Judge(facts, taken(readings))
		if got := verdictOf(t, verdicts, "lowest-beam").Outcome; got != c.lowest {
			t.Errorf("lowest beam at %v in: %s", c.lowestIn, got)
		}
		if got := verdictOf(t, verdicts, "top-beam").Outcome; got != c.top {
			t.Errorf("top beam at %v in: %s", c.topIn, got)
		}
	}
}

func TestAnUnusableReadingIsNamedAndNeverJudged(t *testing.T) {
	p := embeddedPack(t, swingPack)
	for name, c := range map[string]struct {
		reading Reading
		want    Problem
	}{
		"not a number":  {Measured(math.NaN(), "N"), NotFinite},
		"infinite":      {Measured(math.Inf(-1), "N"), NotFinite},
		"pounds":        {Measured(10, "lbf"), WrongUnit},
		"no unit":       {Measured(10, ""), WrongUnit},
		"negative":      {Measured(-1, "N"), OutOfRange},
		"slipped point": {Measured(15000, "N"), OutOfRange},
		"yes":           {Answered(true), WrongKind},
		"both":          {Reading{Number: pointer(10.0), Unit: "N", Yes: pointer(true)}, WrongKind},
		"empty":         {Reading{}, Missing},
	} {
		facts, readings := swingDoor()
		readings["closing_force_n"] = c.reading
		v := verdictOf(t, p.Judge(facts, taken(readings)), "stop-force")
		want := []Gap{{Name: "closing_force_n", Problem: c.want}}
		if v.Outcome != NotJudged || v.Reason != InputsUnusable || !slices.Equal(v.Gaps, want) {
			t.Errorf("%s: %s %s %v, want not judged because of %v", name, v.Outcome, v.Reason, v.Gaps, want)
		}
		if err := CheckReading("closing_force_n", c.reading); err != want[0] {
			t.Errorf("%s: CheckReading says %v, want %v", name, err, want[0])
		}
	}
	if err := CheckReading("stop_force_lbf", Measured(10, "lbf")); err != (Gap{Name: "stop_force_lbf", Problem: Unknown}) {
		t.Errorf("unknown reading: %v", err)
	}
	if err := CheckReading("closing_force_n", Measured(66, "N")); err != nil {
		t.Errorf("good reading: %v", err)
	}
}

func TestAnUnusableFactIsNamedAndNeverJudged(t *testing.T) {
	p := embeddedPack(t, swingPack)
	for name, c := range map[string]struct {
		change func(*Facts)
		rule   string
		want   []Gap
	}{
		"no leaves":      {func(f *Facts) { f.Leaves = nil }, "closing-time", []Gap{{Name: "leaves", Problem: Missing}}},
		"no mass":        {func(f *Facts) { f.Leaves[0].MassKg = nil }, "closing-time", []Gap{{Name: "leaves[0].mass_kg", Problem: Missing}}},
		"no second mass": {func(f *Facts) { f.Leaves = append(f.Leaves, LeafFacts{WidthM: pointer(1.0)}) }, "closing-energy", []Gap{{Name: "leaves[1].mass_kg", Problem: Missing}}},
		"mass is NaN":    {func(f *Facts) { f.Leaves[0].MassKg = pointer(math.NaN()) }, "closing-time", []Gap{{Name: "leaves[0].mass_kg", Problem: NotFinite}}},
		"width in mm":    {func(f *Facts) { f.Leaves[0].WidthM = pointer(914.0) }, "closing-time", []Gap{{Name: "leaves[0].width_m", Problem: OutOfRange}}},
		"no activation":  {func(f *Facts) { f.ActivationA, f.ActivationB = "", "" }, "knowing-act-only", []Gap{{Name: "activation_a", Problem: Missing}, {Name: "activation_b", Problem: Missing}}},
		"odd activation": {func(f *Facts) { f.ActivationA = "wand" }, "knowing-act-only", []Gap{{Name: "activation_a", Problem: Unknown}}},
		"no energy":      {func(f *Facts) { f.Energy = "" }, "walk-test", []Gap{{Name: "energy", Problem: Missing}}},
		"odd kind":       {func(f *Facts) { f.DoorKind = "trap" }, "walk-test", []Gap{{Name: "door_kind", Problem: Unknown}}},
	} {
		facts, readings := swingDoor()
		c.change(&facts)
		v := verdictOf(t, p.Judge(facts, taken(readings)), c.rule)
		if v.Outcome != NotJudged || v.Reason != InputsUnusable || !slices.Equal(v.Gaps, c.want) {
			t.Errorf("%s: %s %s %v, want not judged because of %v", name, v.Outcome, v.Reason, v.Gaps, c.want)
		}
	}
}

func TestAFactThatNoRuleNeedsMayStayUnknown(t *testing.T) {
	facts, readings := swingDoor()
	facts.Leaves[0].HeightM, facts.ClearWidthM, facts.Traffic = nil, nil, ""
	if got := Conclude(embeddedPack(t, swingPack).Judge(facts, taken(readings))); got != InspectionPassed {
		t.Errorf("%s", got)
	}
}

func TestAPackForOtherDoorsJudgesNothing(t *testing.T) {
	facts, readings := slideDoor()
	verdicts := embeddedPack(t, swingPack).Judge(facts, taken(readings))
	for _, v := range verdicts {
		if v.Outcome != NotJudged || v.Reason != PackIsForOthers {
			t.Errorf("%s: %s %s", v.RuleID, v.Outcome, v.Reason)
		}
	}
	if got := Conclude(verdicts); got != InspectionIncomplete {
		t.Errorf("%s", got)
	}
}

func TestPowerAssistHasNoHoldOpenTime(t *testing.T) {
	facts, readings := swingDoor()
	facts.Energy = PowerAssist
	if v := verdictOf(t, embeddedPack(t, swingPack).Judge(facts, taken(readings)), "hold-open"); v.Outcome != NotApplicable || v.Reason != RuleDoesNotApply {
		t.Errorf("%s %s", v.Outcome, v.Reason)
	}
}

func TestASensorMayNotOpenALowEnergyDoor(t *testing.T) {
	for _, by := range []Activation{BySensor, BySensorOrKnowingAct} {
		facts, readings := swingDoor()
		facts.ActivationB = by
		verdicts := embeddedPack(t, swingPack).Judge(facts, taken(readings))
		if v := verdictOf(t, verdicts, "knowing-act-only"); v.Outcome != Failed || v.Severity != Deficient {
			t.Errorf("%s: %s %s", by, v.Outcome, v.Severity)
		}
	}
}

func TestUnverifiedRulesNeverFailAnInspectionAlone(t *testing.T) {
	p := embeddedPack(t, swingPack)
	facts, readings := swingDoor()
	readings["closing_time_s"] = Measured(1, "s") // fails time and energy, both recalled
	readings["latch_time_s"] = Measured(0, "s")
	readings["signs_present"] = Answered(false)
	delete(readings, "backcheck_angle_deg")
	verdicts := p.Judge(facts, taken(readings))
	for _, rule := range []string{"closing-time", "closing-energy", "latch-time", "signs"} {
		if v := verdictOf(t, verdicts, rule); v.Outcome != Failed || v.Weight != Unverified || v.Severity != Advisory {
			t.Errorf("%s: %s %s %s, want a failure that is only advice", rule, v.Outcome, v.Weight, v.Severity)
		}
	}
	if got := Conclude(verdicts); got != InspectionPassed {
		t.Errorf("with unverified failures: %s", got)
	}
	readings["closing_force_n"] = Measured(100, "N")
	if got := Conclude(p.Judge(facts, taken(readings))); got != InspectionFailed {
		t.Errorf("with one binding failure: %s", got)
	}
}

func TestConclusions(t *testing.T) {
	v := func(w Weight, o Outcome) Verdict { return Verdict{Weight: w, Outcome: o} }
	for _, c := range []struct {
		verdicts []Verdict
		want     Result
	}{
		{nil, InspectionIncomplete},
		{[]Verdict{v(Unverified, Passed)}, InspectionIncomplete}, // nothing that counts was judged
		{[]Verdict{v(Binding, NotApplicable)}, InspectionIncomplete},
		{[]Verdict{v(Binding, Passed), v(Unverified, NotJudged)}, InspectionPassed},
		{[]Verdict{v(Binding, Passed), v(Binding, NotJudged)}, InspectionIncomplete},
		{[]Verdict{v(Binding, NotJudged), v(Binding, Failed)}, InspectionFailed},
	} {
		if got := Conclude(c.verdicts); got != c.want {
			t.Errorf("%v: %s, want %s", c.verdicts, got, c.want)
		}
	}
}

// anyDoor draws a door of one of the two packs with any mixture of known and unknown facts and possible readings.
func anyDoor(t *rapid.T, swing, slide *Pack) (*Pack, Facts, map[string]Reading) {
	p := swing
	facts, _ := swingDoor()
	if rapid.Bool().Draw(t, "slides") {
		p = slide
		facts, _ = slideDoor()
	}
	maybe := func(name string) bool { return rapid.IntRange(0, 9).Draw(t, name+" unknown") == 0 }
	if maybe("mass") {
		facts.Leaves[0].MassKg = nil
	}
	if maybe("activation") {
		facts.ActivationA = ""
	}
	if maybe("breakout") {
		facts.EgressBreakout = nil
	}
	facts.PresenceBy = rapid.SampledFrom([]Presence{"", OverheadSensor, Beams, OverheadSensorAndBeams, NoPresence}).Draw(t, "presence")
	readings := map[string]Reading{}
	for _, k := range Readings() {
		switch {
		case maybe(k.Name):
		case k.Kind == YesNo:
			readings[k.Name] = Answered(rapid.Bool().Draw(t, k.Name))
		default:
			readings[k.Name] = Measured(rapid.Float64Range(k.Min, k.Max).Draw(t, k.Name), k.Unit)
		}
	}
	return p, facts, readings
}

func TestTakingAReadingAwayNeverMakesARulePass(t *testing.T) {
	swing, slide := embeddedPack(t, swingPack), embeddedPack(t, slidePack)
	rapid.Check(t, func(t *rapid.T) {
		p, facts, readings := anyDoor(t, swing, slide)
		with := p.Judge(facts, taken(readings))
		gone := rapid.SampledFrom(Readings()).Draw(t, "gone").Name
		delete(readings, gone)
		for i, without := range p.Judge(facts, taken(readings)) {
			if gone == "kinetic_energy_j" && len(without.Computed) > len(with[i].Computed) {
				continue // what the gauge would have shown is worked out now, and the verdict says so
			}
			if without.Outcome == Passed && with[i].Outcome != Passed {
				t.Fatalf("%s: %s with %s, passed without", without.RuleID, with[i].Outcome, gone)
			}
			if slices.ContainsFunc(with[i].Readings, func(u Used) bool { return u.Name == gone }) && without.Outcome != NotJudged {
				t.Fatalf("%s rests on %s and is still %s without it", without.RuleID, gone, without.Outcome)
			}
		}
	})
}

func TestABetterReadingNeverMakesAOneSidedRuleFail(t *testing.T) {
	swing, slide := embeddedPack(t, swingPack), embeddedPack(t, slidePack)
	rapid.Check(t, func(t *rapid.T) {
		p, facts, readings := anyDoor(t, swing, slide)
		kind := rapid.SampledFrom(slices.DeleteFunc(Readings(), func(k ReadingKind) bool { return k.Kind != Number })).Draw(t, "reading")
		less := rapid.Float64Range(kind.Min, kind.Max).Draw(t, "less")
		more := rapid.Float64Range(less, kind.Max).Draw(t, "more")
		readings[kind.Name] = Measured(less, kind.Unit)
		low := p.Judge(facts, taken(readings))
		readings[kind.Name] = Measured(more, kind.Unit)
		for i, high := range p.Judge(facts, taken(readings)) {
			if high.Limit == nil || low[i].Measured == nil {
				continue
			}
			better, worse := high, low[i] // a limit at_least likes more of what was measured
			if low[i].Measured.Value > high.Measured.Value {
				better, worse = low[i], high
			}
			if high.Limit.AtLeast != nil && high.Limit.AtMost == nil && worse.Outcome == Passed && better.Outcome == Failed ||
				high.Limit.AtMost != nil && high.Limit.AtLeast == nil && better.Outcome == Passed && worse.Outcome == Failed {
				t.Fatalf("%s turns over between %+v and %+v", high.RuleID, *low[i].Measured, *high.Measured)
			}
		}
	})
}

func TestTheSameDoorAlwaysGetsTheSameVerdictsFromAnyGoroutine(t *testing.T) {
	p := embeddedPack(t, slidePack)
	facts, readings := slideDoor()
	delete(readings, "signs_present")
	want := p.Judge(facts, taken(readings))
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			for range 20 {
				if diff := cmp.Diff(want, p.Judge(facts, taken(readings))); diff != "" {
					t.Error(diff)
				}
			}
		})
	}
	all.Wait()
}

func ExamplePack_Judge() {
	book, err := Embedded()
	if err != nil {
		panic(err)
	}
	pack, _ := book.Pack(swingPack)
	facts := Facts{DoorKind: Swinging, Energy: LowEnergy}
	for _, v := range pack.Judge(facts, taken(map[string]Reading{"closing_force_n": Measured(66.9, "N")})) {
		if v.RuleID == "stop-force" {
			fmt.Printf("%s: %.2f %s, limit %v %s, %s %s\n", v.Outcome, v.Measured.Value, v.Measured.Unit, v.Limit.AtMost.Value, v.Limit.AtMost.Unit, v.Source.Standard, v.Source.Clause)
		}
	}
	// Output: failed: 15.04 lbf, limit 15 lbf, ADA Accessibility Guidelines 4.13.12
}

// sixtyRules is a pack of sixty rules out of all packs that apply to one sliding door and are judged, and what was read there.
func sixtyRules(t testing.TB) (*Pack, Facts, []Used) {
	facts, readings := slideDoor()
	for _, k := range Readings() {
		if _, read := readings[k.Name]; read {
			continue
		}
		readings[k.Name] = Measured((k.Min+k.Max)/2, k.Unit)
		if k.Kind == YesNo {
			readings[k.Name] = Answered(true)
		}
	}
	sixty := &Pack{ID: "sixty@1"}
	for _, p := range embeddedBook(t).Packs() {
		sixty.scope = p.scope
		for i, v := range p.Judge(facts, taken(readings)) {
			if v.Outcome == Passed || v.Outcome == Failed {
				sixty.Rules = append(sixty.Rules, p.Rules[i])
			}
		}
	}
	sixty.AppliesTo = AppliesTo{[]DoorKind{Sliding}, []Energy{FullEnergy}}
	sixty.Rules = sixty.Rules[:60]
	return sixty, facts, taken(readings)
}

func TestTheBenchJudgesSixtyRules(t *testing.T) {
	p, facts, readings := sixtyRules(t)
	for _, v := range p.Judge(facts, readings) {
		if v.Outcome != Passed && v.Outcome != Failed {
			t.Errorf("%s is %s: the bench measures less than it says", v.RuleID, v.Outcome)
		}
	}
}

func BenchmarkJudgeSixtyRules(b *testing.B) {
	p, facts, readings := sixtyRules(b)
	for b.Loop() {
		p.Judge(facts, readings)
	}
}

func TestTheWorstOfSeveralReadingsStands(t *testing.T) {
	p := embeddedPack(t, slidePack)
	at := func(leaf int, side Side, r Reading) Reading { r.Place = Place{leaf, side}; return r }
	facts, readings := slideDoor()
	others := taken(readings)
	others = slices.DeleteFunc(others, func(u Used) bool { return u.Name == "closing_force_n" })
	force := func(n float64) Reading { return Measured(n, "N") }
	for name, c := range map[string]struct {
		read    []Reading
		outcome Outcome
		worst   Place
	}{
		"a better second leaf hides no worse first": {[]Reading{at(1, "", force(400)), at(2, "", force(90))}, Failed, Place{Leaf: 1}},
		"nor a worse second":                        {[]Reading{at(1, "", force(90)), at(2, "", force(400))}, Failed, Place{Leaf: 2}},
		"the worst of two that fail":                {[]Reading{at(1, "", force(400)), at(2, "", force(500))}, Failed, Place{Leaf: 2}},
		"the nearest to the limit of two that pass": {[]Reading{at(1, "", force(120)), at(2, "", force(90))}, Passed, Place{Leaf: 1}},
		"read twice at one place":                   {[]Reading{force(400), force(90)}, Failed, Place{}},
		"each side":                                 {[]Reading{at(0, SideA, force(90)), at(0, SideB, force(400))}, Failed, Place{Side: SideB}},
	} {
		t.Run(name, func(t *testing.T) {
			all := slices.Clone(others)
			for _, r := range c.read {
				all = append(all, Used{"closing_force_n", r})
			}
			v := verdictOf(t, p.Judge(facts, all), "stopped-leaf-force")
			if v.Outcome != c.outcome || len(v.Readings) != 1 || v.Readings[0].Place != c.worst {
				t.Errorf("%s on %+v", v.Outcome, v.Readings)
			}
			slices.Reverse(all)
			if diff := cmp.Diff(p.Judge(facts, all), p.Judge(facts, append(slices.Clone(all), all...))); diff != "" {
				t.Error("order or repetition matters:", diff)
			}
		})
	}
}

// pairRule takes two readings: the time of a leaf and the force at it.
const pairRule = "reading.closing_force_n * reading.hold_open_s / opening_time_s"

func TestReadingsOfOneRuleAreTakenFromPlacesThatMeet(t *testing.T) {
	book, err := loadSample(t, strings.Replace(samplePack, "measured: reading.closing_force_n", "measured: "+pairRule, 1))
	if err != nil {
		t.Fatal(err)
	}
	p, _ := book.Pack("ex.1@2020")
	facts := Facts{DoorKind: Folding, Energy: FullEnergy, PresenceBy: NoPresence, OpeningTimeS: pointer(1.0)}
	force := func(leaf int, n float64) Used {
		return Used{"closing_force_n", Reading{Number: &n, Unit: "N", Place: Place{Leaf: leaf}}}
	}
	time := func(leaf int, s float64) Used {
		return Used{"hold_open_s", Reading{Number: &s, Unit: "s", Place: Place{Leaf: leaf}}}
	}
	for name, c := range map[string]struct {
		read []Used
		want Outcome
	}{
		"leaf by leaf": {[]Used{force(1, 1), time(1, 5), force(2, 5), time(2, 1)}, Passed},
		"one of the whole door goes with each leaf":        {[]Used{force(1, 1), force(2, 20), time(0, 5)}, Failed},
		"a leaf at which only half was read is not judged": {[]Used{force(1, 1), time(1, 5), force(2, 1)}, NotJudged},
	} {
		if v := verdictOf(t, p.Judge(facts, c.read), "force"); v.Outcome != c.want {
			t.Errorf("%s: %s %v %+v", name, v.Outcome, v.Gaps, v.Readings)
		}
	}
	var many []Used
	for i := range 100 {
		many = append(many, force(1, float64(i)/100), time(1, float64(i)/100+0.001))
	}
	if v := verdictOf(t, p.Judge(facts, many), "force"); v.Outcome != NotJudged || v.Reason != TooManyReadings {
		t.Errorf("ten thousand ways: %s %s", v.Outcome, v.Reason)
	}
}
