package duedate

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Common practice, no source.
func overdueLadder() Ladder {
	return Ladder{
		{Code: "due_in_60", OffsetDays: -60, To: []string{"dispatcher"}},
		{Code: "due_in_30", OffsetDays: -30, To: []string{"owner"}},
		{Code: "due_in_7", OffsetDays: -7, To: []string{"owner"}},
		{Code: "due_today", OffsetDays: 0, To: []string{"owner"}},
		{Code: "overdue_1", OffsetDays: 1, To: []string{"owner", "dispatcher"}},
		{Code: "overdue_14", OffsetDays: 14, To: []string{"owner", "dispatcher"}},
		{Code: "overdue_30", OffsetDays: 30, To: []string{"owner", "dispatcher"}},
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
		rung, superseded, ok := RungDue(overdueLadder(), day(t, "2026-03-15"), day(t, c.today), Calendar{})
		if rung.Code != c.want || ok != (c.want != "") || codes(superseded) != c.superseded {
			t.Errorf("on %s: %q superseding %q (%v), want %q superseding %q", c.today, rung.Code, codes(superseded), ok, c.want, c.superseded)
		}
	}
	if _, _, ok := RungDue(nil, day(t, "2026-03-15"), day(t, "2027-03-15"), Calendar{}); ok {
		t.Error("a ladder without rungs has one due")
	}
}

// A week of standstill ends on the same rung as a run on every day, and every rung is either sent or superseded.
func TestSkippedDaysEndOnTheSameRung(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ladder, due, calendar := overdueLadder(), drawDay(t, "due"), weekendRest()
		ladder[len(ladder)-1].RepeatDays, ladder[len(ladder)-1].Repeats = rapid.IntRange(1, 40).Draw(t, "repeat_days"), rapid.IntRange(1, 5).Draw(t, "repeats")
		for _, n := range rapid.SliceOfN(rapid.IntRange(-70, 60), 0, 20).Draw(t, "holidays") {
			calendar.Holidays[due.AddDays(n)] = struct{}{}
		}
		start := due.AddDays(-70)
		seen := map[string]bool{}
		run := func(today Day) string {
			rung, superseded, ok := RungDue(ladder, due, today, calendar)
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
	for _, good := range []Ladder{overdueLadder(), DefaultLadder(), ExpiryLadder()} {
		if err := good.Validate(); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		ladder Ladder
		want   string
	}{
		{Ladder{{Code: "", OffsetDays: 0, To: []string{"owner"}}}, "rungs[0].code is empty"},
		{Ladder{{Code: "a", OffsetDays: 0, To: []string{"owner"}}, {Code: "a", OffsetDays: 1, To: []string{"owner"}}}, `rungs[1].code: "a" is there twice`},
		{Ladder{{Code: "a", OffsetDays: 0, To: nil}}, "rungs[0].to"},
		{Ladder{{Code: "a", OffsetDays: 0, To: []string{"owner"}}, {Code: "b", OffsetDays: 0, To: []string{"owner"}}}, "rungs[1].offset_days: 0 does not come after 0"},
		{Ladder{{Code: "a", OffsetDays: 0, To: []string{"owner"}, RepeatDays: 7}}, "rungs[0].repeats"},
		{Ladder{{Code: "a", OffsetDays: 0, To: []string{"owner"}, RepeatDays: 7, Repeats: 61}}, "rungs[0].repeats: 61"},
		{Ladder{{Code: "a", OffsetDays: 0, To: []string{"owner"}, RepeatDays: 7, Repeats: 2}, {Code: "b", OffsetDays: 14, To: []string{"owner"}}}, "rungs[1].offset_days: 14"},
		{Ladder{{Code: "a", OffsetDays: 0, To: []string{"owner"}, RepeatDays: 7, Repeats: 1}, {Code: "a_again_1", OffsetDays: 14, To: []string{"owner"}}}, "rungs[1].code"},
	} {
		if err := c.ladder.Validate(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v, want an error with %q", c.ladder, err, c.want)
		}
	}
}

func TestARungThatRepeatsIsWrittenOut(t *testing.T) {
	l := Ladder{{Code: "late", OffsetDays: 1, To: []string{"owner"}}, {Code: "late_30", OffsetDays: 30, To: []string{"owner"}, RepeatDays: 30, Repeats: 2}, {Code: "decide", OffsetDays: 120, To: []string{"dispatcher"}}}
	if got := codes(l.Steps()); got != "late late_30 late_30_again_1 late_30_again_2 decide" {
		t.Error(got)
	}
	if rung, _, _ := RungDue(l, day(t, "2026-03-15"), day(t, "2026-06-12"), Calendar{}); rung.Code != "late_30_again_1" || rung.OffsetDays != 60 {
		t.Errorf("%+v", rung)
	}
}

// Good Friday 2026 is 3 April, Easter Monday 6 April.
func TestANoticeGoesEarlierBeforeAHolidayAndNeverLater(t *testing.T) {
	easter := weekendRest(day(t, "2026-04-03"), day(t, "2026-04-06"))
	for _, c := range []struct {
		due    string
		offset int
		want   string
	}{
		{"2026-04-06", 0, "2026-04-02"},  // a due date on a holiday
		{"2026-04-12", -7, "2026-04-02"}, // its Sunday is Easter
		{"2026-04-07", 0, "2026-04-07"},  // a working day stays
		{"2026-03-22", 14, "2026-04-02"}, // past due, on a Sunday
		{"2026-04-02", 1, "2026-04-03"},  // overdue is not said on the due day
		{"2026-04-02", 4, "2026-04-06"},  // nor later than its own day
		{"2026-04-02", 5, "2026-04-07"},
	} {
		if got := (Rung{OffsetDays: c.offset}).Turn(day(t, c.due), easter).String(); got != c.want {
			t.Errorf("due %s, %+d days: %s, want %s", c.due, c.offset, got, c.want)
		}
	}
}

func TestTurnsAreNeverLateAndKeepTheirOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		due, calendar := drawDay(t, "due"), weekendRest()
		for _, n := range rapid.SliceOfN(rapid.IntRange(-70, 60), 0, 60).Draw(t, "holidays") {
			calendar.Holidays[due.AddDays(n)] = struct{}{}
		}
		last := Day{}
		for _, r := range overdueLadder() {
			turn := r.Turn(due, calendar)
			if turn.After(due.AddDays(r.OffsetDays)) || turn.Before(last) || r.OffsetDays > 0 && !turn.After(due) {
				t.Fatalf("%s of %s has its turn on %s, the rung before it on %s", r.Code, due, turn, last)
			}
			last = turn
		}
	})
}

func TestUntilTheNextTurnTheRungIsTheSameAndOnItAnother(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		due, calendar := drawDay(t, "due"), weekendRest()
		for _, n := range rapid.SliceOfN(rapid.IntRange(-70, 60), 0, 60).Draw(t, "holidays") {
			calendar.Holidays[due.AddDays(n)] = struct{}{}
		}
		today := due.AddDays(rapid.IntRange(-120, 400).Draw(t, "today"))
		rung := func(d Day) string {
			r, _, _ := RungDue(overdueLadder(), due, d, calendar)
			return r.Code
		}
		next, ok := NextTurn(overdueLadder(), due, today, calendar)
		if !ok {
			next = today.AddDays(2000)
		}
		if !next.After(today) || rung(next.AddDays(-1)) != rung(today) || (rung(next) == rung(today)) == ok {
			t.Fatalf("due %s, on %s %q, next turn %s %v: %q", due, today, rung(today), next, ok, rung(next))
		}
	})
}

// weekendRest is a calendar that rests on Saturday and Sunday and on the given holidays.
func weekendRest(holidays ...Day) Calendar {
	c := Calendar{Holidays: map[Day]struct{}{}}
	c.Rest[time.Saturday], c.Rest[time.Sunday] = true, true
	for _, d := range holidays {
		c.Holidays[d] = struct{}{}
	}
	return c
}

func TestWorkingDays(t *testing.T) {
	// England and Wales, Christmas 2027: the 25th and 26th fall on a weekend, the 27th and 28th stand in for them.
	england := weekendRest(day(t, "2027-12-27"), day(t, "2027-12-28"))
	if got := england.PreviousWorking(day(t, "2027-12-28")).String(); got != "2027-12-24" {
		t.Errorf("previous working day %s, want 2027-12-24", got)
	}
	sixDays := Calendar{Rest: [7]bool{true}} // Saturday is a working day there
	if got := sixDays.PreviousWorking(day(t, "2026-03-08")).String(); got != "2026-03-07" {
		t.Errorf("Sunday moved to %s, want 2026-03-07", got)
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
		previous := c.PreviousWorking(d)
		if !c.Working(previous) || previous.After(d) {
			t.Fatalf("before %v: %v", d, previous)
		}
		for between := previous.AddDays(1); !between.After(d); between = between.AddDays(1) {
			if c.Working(between) {
				t.Fatalf("%v lies between %v and %v and is a working day", between, previous, d)
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
