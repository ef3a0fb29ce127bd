package fleet

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/rulebook"
)

// pressedFor is the record of a gauge at 100 Hz that is pressed with so many newtons, one sample each.
func pressedFor(newtons ...float64) string {
	var csv strings.Builder
	csv.WriteString("s;N\n")
	for i, n := range newtons {
		fmt.Fprintf(&csv, "%.2f;%g\n", float64(i)/100, n)
	}
	return csv.String()
}

func forceCourse(t interface{ Fatal(...any) }, leaf int, uncertainty *float64, csv string) EntryBody {
	c := &EntryForceCourse{CSV: csv, Leaf: leaf, UncertaintyN: uncertainty}
	var faults fault.List
	if c.workOut(&faults); faults != nil {
		t.Fatal(faults)
	}
	return EntryBody{Kind: "force_course", ForceCourse: c}
}

// typed are the readings of an entry as somebody would type them.
func typed(b EntryBody) (list []EntryBody) {
	for _, r := range b.Readings() {
		list = append(list, EntryBody{Kind: "reading", Reading: &r})
	}
	return list
}

func TestAForceCourseIsJudgedAsItsTwoReadingsTypedByHand(t *testing.T) {
	t.Parallel()
	book, err := rulebook.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	pack, _ := book.Pack("en16005@2023")
	facts := rulebook.Facts{DoorKind: "swinging", Energy: "full", Leaves: []rulebook.LeafFacts{{}, {}}}
	outcomes := map[rulebook.Outcome]bool{}
	rapid.Check(t, func(t *rapid.T) {
		var recorded, byHand []Entry
		n := 0
		for range rapid.IntRange(1, 3).Draw(t, "courses") {
			rest, reached := rapid.SampledFrom([]float64{20, 149, 150, 151, 300}).Draw(t, "rest"), rapid.IntRange(3, 120).Draw(t, "samples")
			series := slices.Concat([]float64{0, rapid.SampledFrom([]float64{60, 398, 400, 402, 900}).Draw(t, "peak")}, slices.Repeat([]float64{rest}, reached))
			uncertainty := rapid.SampledFrom([]*float64{nil, new(4.0)}).Draw(t, "uncertainty")
			course := forceCourse(t, rapid.IntRange(0, 2).Draw(t, "leaf"), uncertainty, pressedFor(series...))
			n++
			at := rapid.IntRange(1, 40).Draw(t, "at")
			recorded = append(recorded, entry(n, 1, at, course))
			for i, one := range typed(course) {
				byHand = append(byHand, entry(10*n+i, 1, at, one))
			}
			if rapid.Bool().Draw(t, "adjusted") {
				n++
				at := rapid.IntRange(1, 40).Draw(t, "adjusted at")
				recorded, byHand = append(recorded, entry(n, 1, at, adjustment("motion"))), append(byHand, entry(10*n, 1, at, adjustment("motion")))
			}
		}
		verdicts := func(entries []Entry) []rulebook.Verdict {
			end := entry(99, 1, 50, conclusion("failed"))
			return pack.Judge(facts, readingsOf(named('d', 1), end, entries))
		}
		got, want := verdicts(recorded), verdicts(byHand)
		if d := cmp.Diff(want, got); d != "" {
			t.Fatalf("-typed +recorded:\n%s", d)
		}
		for _, v := range got {
			if v.RuleID == "contact-peak" || v.RuleID == "contact-static" {
				outcomes[v.Outcome] = true
			}
		}
	})
	for _, o := range []rulebook.Outcome{rulebook.Passed, rulebook.Failed, rulebook.Undecided, rulebook.NotJudged} {
		if !outcomes[o] {
			t.Errorf("no course came to %s: the test compares too little", o)
		}
	}
}

func TestTheStaticForceIsOfARecordThatReachesIt(t *testing.T) {
	t.Parallel()
	names := func(b EntryBody) (list []string) {
		for _, r := range b.Readings() {
			list = append(list, fmt.Sprintf("%s=%g", r.Name, *r.Value))
		}
		return list
	}
	// 10 N is reached at 0 s; 75 samples further on 0.75 s have passed
	short, long := slices.Repeat([]float64{80}, 75), slices.Repeat([]float64{80}, 76)
	if got := names(forceCourse(t, 0, nil, pressedFor(short...))); !slices.Equal(got, []string{"peak_force_n=80"}) {
		t.Errorf("a record that ends 0.74 s after the contact has %v", got)
	}
	if got := names(forceCourse(t, 0, nil, pressedFor(long...))); !slices.Equal(got, []string{"peak_force_n=80", "static_force_n=80"}) {
		t.Errorf("a record that ends 0.75 s after the contact has %v", got)
	}
}

func TestWhatWasRecordedByAGaugeIsReadAgainAfterAChangeLikeAnythingElse(t *testing.T) {
	t.Parallel()
	judged := asked(rulebook.Passed, "peak_force_n", "static_force_n")
	long, short := slices.Repeat([]float64{80}, 90), slices.Repeat([]float64{80}, 20)
	safe, change, tested := entry(1, 1, 1, safeWork("")), entry(3, 1, 10, adjustment("motion")), entry(9, 1, 50, functionTest("yes"))
	before := entry(2, 1, 5, forceCourse(t, 1, nil, pressedFor(long...)))
	for name, c := range map[string]struct {
		after []Entry
		want  []string
	}{
		"not again":            {nil, []string{"as_left_missing peak_force_n[leaf=1], static_force_n[leaf=1]"}},
		"again":                {[]Entry{entry(4, 1, 20, forceCourse(t, 1, nil, pressedFor(long...)))}, nil},
		"again, but cut short": {[]Entry{entry(4, 1, 20, forceCourse(t, 1, nil, pressedFor(short...)))}, []string{"as_left_missing static_force_n[leaf=1]"}},
		"again, typed":         {[]Entry{entry(4, 1, 20, typed(before.Body)[0]), entry(5, 1, 21, typed(before.Body)[1])}, nil},
		"again at other leaf":  {[]Entry{entry(4, 1, 20, forceCourse(t, 2, nil, pressedFor(long...)))}, []string{"as_left_missing peak_force_n[leaf=1], static_force_n[leaf=1]"}},
	} {
		if got := wants(t, "passed", judged, append([]Entry{safe, before, change, tested}, c.after...)...); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
	if got := wants(t, "failed", judged, before, entry(1, 1, 6, safeWork(""))); !slices.Equal(got, []string{"safe_work_late"}) {
		t.Errorf("a leaf was pressed on before the work place was safe, and that comes to %v", got)
	}
}

func TestTheUncertaintyOfTheGaugeIsThatOfBothForces(t *testing.T) {
	t.Parallel()
	gauge := named('i', 1)
	series := pressedFor(slices.Repeat([]float64{80}, 90)...)
	for name, c := range map[string]struct{ own, want *float64 }{"of the register": {nil, new(2.0)}, "worked out at the door": {new(0.5), new(0.5)}} {
		body := forceCourse(t, 0, c.own, series)
		for i := range body.ForceCourse.Readings {
			body.ForceCourse.Readings[i].InstrumentID = &gauge
		}
		e := entry(1, 1, 1, body)
		used := instruments{e.EntryID: usedInstrument{InstrumentID: gauge, Uncertainty: map[string]float64{"N": 2}}}
		for _, r := range used.stated([]Entry{e})[0].Body.Readings() {
			if r.Uncertainty == nil || *r.Uncertainty != *c.want {
				t.Errorf("%s: %s is uncertain by %v", name, r.Name, r.Uncertainty)
			}
		}
		if got := e.Body.Readings()[0].Uncertainty; (got == nil) != (c.own == nil) {
			t.Errorf("%s: the entry itself was changed to %v", name, got)
		}
	}
}
