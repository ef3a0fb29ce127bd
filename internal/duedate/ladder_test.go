package duedate

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Common practice, no source.
func overdueLadder() Ladder {
	return Ladder{
		{"due_in_60", -60, []string{"dispatcher"}},
		{"due_in_30", -30, []string{"owner"}},
		{"due_in_7", -7, []string{"owner"}},
		{"due_today", 0, []string{"owner"}},
		{"overdue_1", 1, []string{"owner", "dispatcher"}},
		{"overdue_14", 14, []string{"owner", "dispatcher"}},
		{"overdue_30", 30, []string{"owner", "dispatcher"}},
	}
}

func TestTheHighestRungIsDueAndTheLowerOnesAreSuperseded(t *testing.T) {
	for _, c := range []struct{ today, want, superseded string }{
		{"2026-01-13", "", ""},
		{"2026-01-14", "due_in_60", ""},
		{"2026-02-12", "due_in_60", ""},
		{"2026-02-13", "due_in_30", "due_in_60"},
		{"2026-03-15", "due_today", "due_in_60 due_in_30 due_in_7"},
		{"2026-03-16", "overdue_1", "due_in_60 due_in_30 due_in_7 due_today"},
		{"2026-03-28", "overdue_1", "due_in_60 due_in_30 due_in_7 due_today"},
		{"2027-03-28", "overdue_30", "due_in_60 due_in_30 due_in_7 due_today overdue_1 overdue_14"},
	} {
		rung, superseded, ok := RungDue(overdueLadder(), day(t, "2026-03-15"), day(t, c.today))
		if rung.Code != c.want || ok != (c.want != "") || codes(superseded) != c.superseded {
			t.Errorf("on %s: %q superseding %q (%v), want %q superseding %q", c.today, rung.Code, codes(superseded), ok, c.want, c.superseded)
		}
	}
	if _, _, ok := RungDue(nil, day(t, "2026-03-15"), day(t, "2027-03-15")); ok {
		t.Error("a ladder without rungs has one due")
	}
}

// A week of standstill ends on the same rung as a run on every day, and every rung is either sent or superseded.
func TestSkippedDaysEndOnTheSameRung(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ladder, due := overdueLadder(), drawDay(t, "due")
		start := due.AddDays(-70)
		seen := map[string]bool{}
		run := func(today Day) string {
			rung, superseded, ok := RungDue(ladder, due, today)
			if ok {
				seen[rung.Code] = true
			}
			for _, s := range superseded {
				seen[s.Code] = true
			}
			return rung.Code
		}
		length := rapid.IntRange(0, 120).Draw(t, "days")
		last := ""
		for i := 0; i <= length; i++ {
			last = run(start.AddDays(i))
		}
		daily := len(seen)
		clear(seen)
		if once := run(start.AddDays(length)); once != last || len(seen) != daily {
			t.Fatalf("one run: %q and %d rungs settled; daily: %q and %d", once, len(seen), last, daily)
		}
	})
}

func TestLadderNamesTheRungThatMakesNoSense(t *testing.T) {
	if err := overdueLadder().Validate(); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		ladder Ladder
		want   string
	}{
		{Ladder{{"", 0, []string{"owner"}}}, "rungs[0].code is empty"},
		{Ladder{{"a", 0, []string{"owner"}}, {"a", 1, []string{"owner"}}}, `rungs[1].code: "a" is there twice`},
		{Ladder{{"a", 0, nil}}, "rungs[0].to"},
		{Ladder{{"a", 0, []string{"owner"}}, {"b", 0, []string{"owner"}}}, "rungs[1].offset_days: 0 does not come after 0"},
	} {
		if err := c.ladder.Validate(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v, want an error with %q", c.ladder, err, c.want)
		}
	}
}

func codes(rungs []Rung) string {
	return strings.Join(slices.Collect(func(yield func(string) bool) {
		for _, r := range rungs {
			if !yield(r.Code) {
				return
			}
		}
	}), " ")
}
