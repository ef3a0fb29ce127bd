package fleet

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/rulebook"
)

func safeWork(stopped string) EntryBody {
	return EntryBody{Kind: "safe_work", SafeWork: &EntrySafeWork{Traffic: "barriered", Power: "isolated", Ladder: "not_used", SecondPerson: "there", Stopped: stopped}}
}

func functionTest(answer string) EntryBody {
	return EntryBody{Kind: "function_test", FunctionTest: &EntryFunctionTest{Activation: answer, Presence: "yes", Contact: "yes", ByHand: "yes", Modes: "yes", Latching: "does_not_apply", FreeOfNoise: "yes"}}
}

func adjustment(touched ...rulebook.Group) EntryBody {
	return EntryBody{Kind: "adjustment", Adjustment: &EntryAdjustment{What: "set slower", Touched: touched}}
}

func part(kind string) EntryBody {
	return EntryBody{Kind: "part", Part: &EntryPart{Did: "fitted", Kind: kind}}
}

func settingsOf(standing string) EntryBody {
	return EntryBody{Kind: "settings", Settings: &EntrySettings{ComponentID: named('c', 1), Standing: standing}}
}

// answeredYes is a check that a person answers; walk_test_passed depends on sensing and motion, signs_present on fabric and signs,
// log_book_kept on nothing.
func answeredYes(name string) EntryBody {
	yes := true
	return EntryBody{Kind: "reading", Reading: &EntryReading{Name: name, Yes: &yes}}
}

func atPlace(leaf int, side string, b EntryBody) EntryBody {
	r := *b.Reading
	r.Leaf, r.Side = leaf, side
	b.Reading = &r
	return b
}

// asked is a basis whose rules rest on these readings, or lack them.
func asked(outcome rulebook.Outcome, names ...string) judgedDoor {
	j := judgedDoor{DoorID: named('d', 1), Pack: "p@1"}
	for _, n := range names {
		v := rulebook.Verdict{RuleID: n, Outcome: outcome, Weight: rulebook.Binding, Severity: rulebook.Unsafe}
		if outcome == rulebook.NotJudged {
			v.Gaps = []rulebook.Gap{{Name: n, Problem: rulebook.Missing}}
		} else {
			v.Readings = []rulebook.Used{{Name: n}}
		}
		j.Verdicts = append(j.Verdicts, v)
	}
	return j
}

// wants tells in a line a fault what a conclusion wants after these bodies, minute by minute.
func wants(t interface{ Fatal(...any) }, result string, judged judgedDoor, entries ...Entry) (codes []string) {
	entries = append(entries, entry(200, 1, 55, conclusion(result)))
	err := checkInspected([]uuid.UUID{named('d', 1)}, entries, []judgedDoor{judged}, nil)
	for _, f := range fault.Of(err) {
		line := f.Code
		if len(f.Args) > 1 {
			line += " " + fmt.Sprint(f.Args[1])
		}
		codes = append(codes, line)
	}
	if err != nil && codes == nil {
		t.Fatal(err)
	}
	return codes
}

func TestAConclusionWantsSafeWorkAndADoorThatWasTriedAndReadAsItIsLeft(t *testing.T) {
	force, walk, signs, log := reading(90), answeredYes("walk_test_passed"), answeredYes("signs_present"), answeredYes("log_book_kept")
	basis := asked(rulebook.Passed, "closing_force_n", "walk_test_passed", "signs_present", "log_book_kept")
	all := func(bodies ...EntryBody) []EntryBody {
		return append([]EntryBody{safeWork(""), force, walk, signs, log}, bodies...)
	}
	mendedSigns := mending(90)
	mendedSigns.Mending.Touched = []rulebook.Group{rulebook.Signs}
	for name, c := range map[string]struct {
		result string
		bodies []EntryBody // a minute apart
		judged judgedDoor
		want   string
	}{
		"nothing changed":                       {"passed", all(), basis, ""},
		"nothing said of safe work":             {"passed", []EntryBody{force}, basis, "safe_work_missing"},
		"failed, nothing said of safe work":     {"failed", []EntryBody{force}, basis, "safe_work_missing"},
		"failed at a glance":                    {"failed", []EntryBody{safeWork("")}, basis, ""},
		"safe only after a reading":             {"failed", []EntryBody{force, safeWork("")}, basis, "safe_work_late"},
		"safe only after settings were seen":    {"failed", []EntryBody{settingsOf("found"), safeWork("")}, basis, "safe_work_late"},
		"safe only after a mending":             {"failed", []EntryBody{mending(90), safeWork("")}, basis, "safe_work_late"},
		"a note and a finding touch nothing":    {"failed", []EntryBody{finding("deficient", "worn"), safeWork("")}, basis, ""},
		"stopped, and failed":                   {"failed", []EntryBody{safeWork("the hall is full")}, basis, ""},
		"stopped, and passed":                   {"passed", all(safeWork("the hall is full")), basis, "passed_though_stopped"},
		"stopped, and made safe":                {"passed", []EntryBody{safeWork("the hall is full"), safeWork(""), force}, basis, ""},
		"a setting left":                        {"passed", all(settingsOf("left")), basis, "as_left_missing walk_test_passed; function_test_missing"},
		"a setting left, walked and tried":      {"passed", all(settingsOf("left"), walk, functionTest("yes")), basis, ""},
		"settings only found":                   {"passed", all(settingsOf("found")), basis, ""},
		"adjusted, nobody said what":            {"passed", all(adjustment()), basis, "as_left_missing closing_force_n, signs_present, walk_test_passed; function_test_missing"},
		"motion adjusted":                       {"passed", all(adjustment(rulebook.Motion), functionTest("yes")), basis, "as_left_missing closing_force_n, walk_test_passed"},
		"motion adjusted, half read":            {"passed", all(adjustment(rulebook.Motion), force, functionTest("yes")), basis, "as_left_missing walk_test_passed"},
		"tried before the last change":          {"passed", all(adjustment(rulebook.Latch), functionTest("yes"), adjustment(rulebook.Latch)), basis, "function_test_missing"},
		"read before the last change":           {"passed", all(adjustment(rulebook.Motion), force, walk, settingsOf("left"), functionTest("yes")), basis, "as_left_missing walk_test_passed"},
		"a sensor fitted":                       {"passed", all(part("sensor"), functionTest("yes")), basis, "as_left_missing walk_test_passed"},
		"an operator fitted":                    {"passed", all(part("operator"), functionTest("yes")), basis, "as_left_missing closing_force_n, walk_test_passed"},
		"a control fitted":                      {"passed", all(part("control"), functionTest("yes")), basis, "as_left_missing closing_force_n, signs_present, walk_test_passed"},
		"a mended sign":                         {"passed", all(mendedSigns, functionTest("yes")), basis, "as_left_missing signs_present"},
		"tried and not right":                   {"passed", all(functionTest("no")), basis, "function_test_failed activation"},
		"not right, then tried again":           {"passed", all(functionTest("no"), functionTest("yes")), basis, "function_test_failed activation"},
		"not right, then set right":             {"passed", all(functionTest("no"), adjustment(rulebook.Latch), functionTest("yes")), basis, ""},
		"tried and not right, failed":           {"failed", all(functionTest("no"), adjustment()), basis, ""},
		"changed where no rule asks":            {"passed", all(adjustment(), functionTest("yes")), asked(rulebook.Passed, "log_book_kept"), ""},
		"changed without any basis":             {"passed", all(adjustment()), judgedDoor{DoorID: named('d', 1)}, "function_test_missing"},
		"read again at the other leaf":          {"passed", all(adjustment(rulebook.Motion), walk, atPlace(2, "", force), functionTest("yes")), basis, "as_left_missing closing_force_n"},
		"one leaf read, then the whole door":    {"passed", []EntryBody{safeWork(""), atPlace(2, "", force), adjustment(rulebook.Motion), force, functionTest("yes")}, basis, ""},
		"one leaf of two read again":            {"passed", []EntryBody{safeWork(""), atPlace(1, "", force), atPlace(2, "a", force), adjustment(rulebook.Motion), atPlace(1, "", force), functionTest("yes")}, basis, "as_left_missing closing_force_n[leaf=2 side=a]"},
		"left out, and asked for":               {"passed", []EntryBody{safeWork(""), {Kind: "left_out", LeftOut: &EntryLeftOut{Name: "breakout_force_n", Reason: "not_applicable", Why: "no such leaf"}}}, asked(rulebook.NotJudged, "breakout_force_n", "hold_open_s"), "left_out_needed breakout_force_n"},
		"left out under its old name":           {"passed", []EntryBody{safeWork(""), {Kind: "left_out", LeftOut: &EntryLeftOut{Name: "stop_force_n", Reason: "refused", Why: "they said no"}}}, asked(rulebook.NotJudged, "closing_force_n"), "left_out_needed closing_force_n"},
		"left out, and nobody asks":             {"passed", []EntryBody{safeWork(""), {Kind: "left_out", LeftOut: &EntryLeftOut{Name: "breakout_force_n", Reason: "refused", Why: "they said no"}}}, basis, ""},
		"left out, and failed":                  {"failed", []EntryBody{safeWork(""), {Kind: "left_out", LeftOut: &EntryLeftOut{Name: "breakout_force_n", Reason: "refused", Why: "they said no"}}}, asked(rulebook.NotJudged, "breakout_force_n"), ""},
		"left out, and law would have liked to": {"passed", []EntryBody{safeWork(""), {Kind: "left_out", LeftOut: &EntryLeftOut{Name: "opens_on_alarm", Reason: "refused", Why: "no drill today"}}}, func() judgedDoor { j := asked(rulebook.NotJudged, "opens_on_alarm"); j.Beside = rulebook.Law; return j }(), ""},
		"a rule that only advises rests on it": {"passed", all(adjustment(rulebook.Motion), functionTest("yes")), func() judgedDoor {
			j := asked(rulebook.Passed, "closing_force_n")
			j.Verdicts[0].Severity = rulebook.Advisory
			return j
		}(), ""},
		"a reading that no change touches stands": {"passed", all(adjustment(rulebook.Signs), signs, functionTest("yes")), basis, ""},
	} {
		t.Run(name, func(t *testing.T) {
			var entries []Entry
			for i, b := range c.bodies {
				entries = append(entries, entry(i+1, 1, i+1, b))
			}
			if got := strings.Join(wants(t, c.result, c.judged, entries...), "; "); got != c.want {
				t.Errorf("wants %q, want %q", got, c.want)
			}
		})
	}
}

func TestACorrectionHoldsSinceWhatItCorrectsWasSaid(t *testing.T) {
	basis := asked(rulebook.Passed, "closing_force_n")
	first := []Entry{entry(1, 1, 1, safeWork("")), entry(2, 1, 2, reading(900)), entry(3, 1, 3, adjustment(rulebook.Motion)), entry(4, 1, 4, functionTest("yes"))}
	slip := append(slices.Clone(first), entry(5, 1, 10, reading(90)).correcting(2))
	if got := wants(t, "passed", basis, slip...); !slices.Equal(got, []string{"as_left_missing closing_force_n"}) {
		t.Errorf("a slip of the pen put right is no as-left reading: %q", got)
	}
	late := append(slices.Clone(first[:2]), entry(5, 1, 10, safeWork("")).correcting(1))
	if got := wants(t, "passed", basis, late...); got != nil {
		t.Errorf("how the place was made safe, said better later: %q", got)
	}
	again := append(slices.Clone(first), entry(5, 1, 5, reading(90)), entry(6, 1, 10, reading(95)).correcting(5))
	if got := wants(t, "passed", basis, again...); got != nil {
		t.Errorf("an as-left reading put right: %q", got)
	}
}

func TestOnlyTheSameDoorAndWhatWasUntilTheConclusionCounts(t *testing.T) {
	basis := asked(rulebook.Passed, "closing_force_n")
	other := entry(1, 1, 1, safeWork(""))
	other.DoorID = named('d', 2)
	if got := wants(t, "passed", basis, other, entry(2, 1, 2, reading(90))); !slices.Equal(got, []string{"safe_work_missing"}) {
		t.Errorf("another door was made safe: %q", got)
	}
	if got := wants(t, "passed", basis, entry(1, 1, 1, safeWork("")), entry(2, 1, 2, reading(90)), entry(3, 1, 56, adjustment())); got != nil {
		t.Errorf("adjusted after the conclusion: %q", got)
	}
}

// anyWork draws what may be done at a door, in any order.
func anyWork() *rapid.Generator[[]Entry] {
	return rapid.Custom(func(t *rapid.T) []Entry {
		bodies := []func() EntryBody{
			func() EntryBody { return safeWork("") }, func() EntryBody { return safeWork("people") }, func() EntryBody { return reading(90) },
			func() EntryBody { return atPlace(rapid.IntRange(1, 2).Draw(t, "leaf"), "", reading(90)) },
			func() EntryBody { return answeredYes("walk_test_passed") }, func() EntryBody { return answeredYes("signs_present") },
			func() EntryBody { return settingsOf(rapid.SampledFrom([]string{"found", "left"}).Draw(t, "standing")) },
			func() EntryBody {
				return adjustment(rapid.SliceOfDistinct(rapid.SampledFrom(rulebook.Groups()), rapid.ID).Draw(t, "touched")...)
			},
			func() EntryBody { return mending(90) }, func() EntryBody { return part(rapid.SampledFrom(ComponentKinds()).Draw(t, "part")) },
			func() EntryBody { return functionTest(rapid.SampledFrom([]string{"yes", "no"}).Draw(t, "works")) },
			func() EntryBody { return finding("deficient", "worn") },
		}
		entries := make([]Entry, rapid.IntRange(0, 12).Draw(t, "count"))
		for i := range entries {
			entries[i] = entry(i+1, 1, rapid.IntRange(1, 12).Draw(t, "minute"), rapid.SampledFrom(bodies).Draw(t, "body")())
			if rapid.IntRange(0, 4).Draw(t, "is a correction") == 0 {
				entries[i] = entries[i].correcting(rapid.IntRange(1, len(entries)).Draw(t, "corrects"))
			}
		}
		return entries
	})
}

func TestWhateverWasDoneReadingAgainAndTryingAtLastIsEnoughAndAChangeAtLastNeverIs(t *testing.T) {
	basis := asked(rulebook.Passed, "closing_force_n", "walk_test_passed", "signs_present")
	rapid.Check(t, func(t *rapid.T) {
		entries := anyWork().Draw(t, "entries")
		first := wants(t, "passed", basis, entries...)
		if again := wants(t, "passed", basis, shuffled(t, entries)...); !slices.Equal(first, again) {
			t.Fatalf("%q in one order of arrival, %q in another", first, again)
		}
		changed := append(slices.Clone(entries), entry(100, 1, 20, adjustment()))
		if got := strings.Join(wants(t, "passed", basis, changed...), "; "); !strings.Contains(got, "function_test_missing") {
			t.Fatalf("changed at last: %q", got)
		}
		atLast := []EntryBody{safeWork(""), reading(90), answeredYes("walk_test_passed"), answeredYes("signs_present"), functionTest("yes")}
		for i, b := range atLast {
			changed = append(changed, entry(101+i, 1, 21+i, b))
		}
		for _, line := range wants(t, "passed", basis, changed...) {
			if line != "safe_work_late" && line != "safe_work_missing" {
				t.Fatalf("read again and tried at last: %q", line)
			}
		}
		for _, line := range wants(t, "failed", basis, entries...) {
			if line != "safe_work_late" && line != "safe_work_missing" {
				t.Fatalf("nobody is kept from saying that a door failed, but: %q", line)
			}
		}
	})
}

func TestEveryPartOfADoorTouchesSomethingThatIsRead(t *testing.T) {
	for _, kind := range append(ComponentKinds(), "consumable") {
		b := part(kind)
		if !slices.ContainsFunc(rulebook.Readings(), b.outdates) {
			t.Errorf("%s outdates nothing", kind)
		}
	}
}
