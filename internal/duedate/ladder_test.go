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

func TestWorkingDays(t *testing.T) {
	// England and Wales, Christmas 2027: the 25th and 26th fall on a weekend, the 27th and 28th stand in for them.
	england := WeekendRest(days(t, []string{"2027-12-27", "2027-12-28"})...)
	if got := england.NextWorking(day(t, "2027-12-25")).String(); got != "2027-12-29" {
		t.Errorf("next working day %s, want 2027-12-29", got)
	}
	if got := england.PreviousWorking(day(t, "2027-12-28")).String(); got != "2027-12-24" {
		t.Errorf("previous working day %s, want 2027-12-24", got)
	}
	if got := england.NextWorking(day(t, "2027-12-24")).String(); got != "2027-12-24" {
		t.Errorf("a working day moved to %s", got)
	}
	sixDays := Calendar{Rest: [7]bool{true}} // Saturday is a working day there
	if got := sixDays.NextWorking(day(t, "2026-03-07")).String(); got != "2026-03-07" {
		t.Errorf("Saturday moved to %s", got)
	}
	if got := sixDays.NextWorking(day(t, "2026-03-08")).String(); got != "2026-03-09" {
		t.Errorf("Sunday moved to %s, want 2026-03-09", got)
	}
	if err := (Calendar{Rest: [7]bool{true, true, true, true, true, true, true}}).Validate(); err == nil {
		t.Error("a week without a working day was accepted")
	}
}

func TestAWorkingDayIsTheNearestOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawDay(t, "day")
		c := Calendar{Holidays: map[Day]struct{}{}}
		for _, weekday := range rapid.SliceOfN(rapid.IntRange(0, 6), 0, 6).Draw(t, "rest") {
			c.Rest[weekday] = true
		}
		if err := c.Validate(); err != nil {
			t.Fatal(err)
		}
		for _, n := range rapid.SliceOfN(rapid.IntRange(-30, 30), 0, 40).Draw(t, "holidays") {
			c.Holidays[d.AddDays(n)] = struct{}{}
		}
		next, previous := c.NextWorking(d), c.PreviousWorking(d)
		if !c.Working(next) || !c.Working(previous) || next.Before(d) || previous.After(d) {
			t.Fatalf("around %v: %v and %v", d, previous, next)
		}
		for between := previous.AddDays(1); between.Before(next); between = between.AddDays(1) {
			if c.Working(between) {
				t.Fatalf("%v lies between %v and %v and is a working day", between, previous, next)
			}
		}
	})
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
