package duedate

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestAPlanOnFixedDatesKeepsItsAnniversary(t *testing.T) {
	yearly := planOf(Anniversary, 12, 30, 30)
	monthly := planOf(Anniversary, 1, 0, 0)
	for _, c := range []struct {
		why    string
		plan   Plan
		anchor string
		done   []string
		want   string
	}{
		{"none: the anchor", yearly, "2026-03-01", nil, "2026-03-01"},
		{"handover inspected on the anchor", yearly, "2026-03-01", []string{"2026-03-01"}, "2027-03-01"},
		{"on time", yearly, "2026-03-01", []string{"2026-03-01", "2027-03-01"}, "2028-03-01"},
		{"early, first day of the window", yearly, "2026-03-01", []string{"2027-01-30"}, "2028-03-01"},
		{"early, a day before the window", yearly, "2026-03-01", []string{"2027-01-29"}, "2027-03-01"},
		{"late by a day", yearly, "2026-03-01", []string{"2027-03-02"}, "2028-03-01"},
		{"late by nearly a year", yearly, "2026-03-01", []string{"2027-01-29"}, "2027-03-01"},
		{"late by three periods", yearly, "2026-03-01", []string{"2029-07-15"}, "2030-03-01"},
		{"twice for one period", yearly, "2026-03-01", []string{"2027-02-20", "2027-03-20"}, "2028-03-01"},
		{"an older one that arrives late", yearly, "2026-03-01", []string{"2028-03-01", "2026-03-05"}, "2029-03-01"},
		{"before the anchor's window", yearly, "2026-03-01", []string{"2026-01-29"}, "2026-03-01"},
		{"in the anchor's window", yearly, "2026-03-01", []string{"2026-01-30"}, "2027-03-01"},
		{"29 February comes back in leap years", yearly, "2024-02-29", []string{"2027-02-28"}, "2028-02-29"},
		{"29 February in between", yearly, "2024-02-29", []string{"2024-02-29"}, "2025-02-28"},
		{"31 January, short month", monthly, "2026-01-31", []string{"2026-01-31"}, "2026-02-28"},
		{"31 January, no drift", monthly, "2026-01-31", []string{"2026-02-28"}, "2026-03-31"},
		{"31 January, April", monthly, "2026-01-31", []string{"2026-03-31"}, "2026-04-30"},
		{"31 January, May", monthly, "2026-01-31", []string{"2026-04-30"}, "2026-05-31"},
	} {
		if got := nextDue(c.plan, day(t, c.anchor), days(t, c.done)).String(); got != c.want {
			t.Errorf("%s: next due %s, want %s", c.why, got, c.want)
		}
	}
}

func TestAPlanFromTheLastInspectionRestartsItsClock(t *testing.T) {
	halfYearly := planOf(FromLast, 6, 0, 30)
	for _, c := range []struct {
		why    string
		anchor string
		done   []string
		want   string
	}{
		{"none: the anchor", "2026-03-05", nil, "2026-03-05"},
		{"on time", "2026-03-05", []string{"2026-03-05"}, "2026-09-05"},
		{"early restarts the clock", "2026-03-05", []string{"2026-03-05", "2026-08-10"}, "2027-02-10"},
		{"late restarts the clock", "2026-03-05", []string{"2026-04-20"}, "2026-10-20"},
		{"an older one that arrives late", "2026-03-05", []string{"2026-08-10", "2026-03-05"}, "2027-02-10"},
		{"month's end", "2025-08-31", []string{"2025-08-31"}, "2026-02-28"},
		{"leap day", "2027-08-30", []string{"2027-08-30"}, "2028-02-29"},
		{"before the plan began, still running", "2026-03-05", []string{"2025-12-01"}, "2026-06-01"},
		{"before the plan began, run out", "2026-03-05", []string{"2020-12-01"}, "2026-03-05"},
	} {
		if got := nextDue(halfYearly, day(t, c.anchor), days(t, c.done)).String(); got != c.want {
			t.Errorf("%s: next due %s, want %s", c.why, got, c.want)
		}
	}
}

// The rule of the British vehicle test: done up to one month, minus a day, before it runs out, the new certificate
// runs from the old date ("up to a month": FOUND; "minus a day": from memory).
func TestAnEarlyInspectionKeepsTheAnniversary(t *testing.T) {
	for _, c := range []struct{ due, firstDayThatKeeps string }{
		{"2026-09-15", "2026-08-16"},
		{"2026-03-15", "2026-02-16"},
		{"2024-03-15", "2024-02-16"},
		{"2026-01-01", "2025-12-02"},
	} {
		due, first := day(t, c.due), day(t, c.firstDayThatKeeps)
		if got := due.AddMonths(-1).AddDays(1); got != first {
			t.Fatalf("a month minus a day before %v is %v, want %v", due, got, first)
		}
		plan := planOf(Anniversary, 12, first.DaysUntil(due), 0)
		if got, want := nextDue(plan, due, []Day{first}), due.AddYears(1); got != want {
			t.Errorf("done on %v for %v: next due %v, want %v", first, due, got, want)
		}
		if got := nextDue(plan, due, []Day{first.AddDays(-1)}); got != due {
			t.Errorf("done a day before the window of %v: next due %v, want it unchanged", due, got)
		}
	}
}

func TestPlanNamesWhatMakesNoSense(t *testing.T) {
	fixed := func(months int, month time.Month) Plan {
		p := planOf(FixedMonth, months, 0, 0)
		p.FixedMonth = month
		return p
	}
	late := func(days int) Plan {
		p := planOf(MonthEnd, 1, 0, 0)
		p.GraceDays = days
		return p
	}
	elsewhere := planOf(Anniversary, 12, 0, 0)
	elsewhere.FixedMonth = time.May
	for _, c := range []struct {
		plan Plan
		want string
	}{
		{planOf(Anniversary, 0, 0, 0), "interval_months: out_of_range (1 to 120)"},
		{planOf(Anniversary, 121, 0, 0), "interval_months: out_of_range (1 to 120)"},
		{planOf("", 12, 0, 0), "regime: regime_unknown"},
		{planOf("anchored", 12, 0, 0), "regime: regime_unknown"},
		{planOf(Anniversary, 12, -1, 0), "tolerance_days: out_of_range (0 to 168)"},
		{planOf(Anniversary, 1, 15, 0), "tolerance_days: out_of_range (0 to 14)"},
		{planOf(FromLast, 12, 1, 0), "tolerance_days: tolerance_without_anchor"},
		{planOf(MonthEnd, 12, 1, 0), "tolerance_days: tolerance_without_anchor"},
		{planOf(FromLast, 12, 0, -1), "lead_days: out_of_range (0 to 168)"},
		{planOf(FromLast, 1, 0, 15), "lead_days: out_of_range (0 to 14)"},
		{planOf(Anniversary, 12, 30, 31), "lead_days: lead_over_tolerance (0 to 30)"},
		{late(-1), "grace_days: out_of_range (0 to 14)"},
		{late(15), "grace_days: out_of_range (0 to 14)"},
		{fixed(18, time.May), "interval_months: interval_in_years"},
		{fixed(12, 0), "fixed_month: fixed_month_missing (1 to 12)"},
		{fixed(12, 13), "fixed_month: fixed_month_missing (1 to 12)"},
		{elsewhere, "fixed_month: fixed_month_elsewhere"},
	} {
		if err := c.plan.Validate(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want an error with %q", c.plan, err, c.want)
		}
	}
	for _, plan := range []Plan{planOf(Anniversary, 12, 60, 60), planOf(FromLast, 6, 0, 84), planOf(MonthEnd, 12, 0, 60), fixed(24, time.February), late(14)} {
		if err := plan.Validate(); err != nil {
			t.Errorf("%+v: %v", plan, err)
		}
	}
}

func planOf(regime Regime, months, tolerance, lead int) Plan {
	return Plan{Cycle: Cycle{Regime: regime, EveryMonths: months, ToleranceBeforeDays: tolerance, AnchorDue: true}, LeadDays: lead}
}

func nextDue(p Plan, anchor Day, done []Day) Day {
	p.Anchor = anchor
	return p.Next(done).On
}

func TestTheOrderIsMadeTheLeadBeforeTheDueDate(t *testing.T) {
	due := day(t, "2026-03-15")
	if got := planOf(Anniversary, 12, 30, 30).OrderOn(due).String(); got != "2026-02-13" {
		t.Errorf("order on %s, want 2026-02-13", got)
	}
}

func TestNextDueDependsOnTheSetAlone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plan, anchor, done := drawPlan(t), drawDay(t, "anchor"), drawCompletions(t)
		want := nextDue(plan, anchor, done)
		shuffled := rapid.Permutation(append(done, done...)).Draw(t, "shuffled")
		if got := nextDue(plan, anchor, shuffled); got != want {
			t.Fatalf("%v in another order and doubled: %v, want %v", shuffled, got, want)
		}
	})
}

func TestOneMoreInspectionNeverBringsTheDueDateForward(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plan, anchor, done := drawPlan(t), drawDay(t, "anchor"), drawCompletions(t)
		more := append(done, drawDay(t, "one more"))
		if plan.Regime == FixedMonth && len(done) == 0 {
			plan.LongestMonths = 0 // which counts from the first inspection on, and the first date may lie a year after the anchor
		}
		before, after := nextDue(plan, anchor, done), nextDue(plan, anchor, more)
		if after.Before(before) {
			t.Fatalf("next due fell from %v to %v", before, after)
		}
	})
}

func TestAPlanOnFixedDatesGivesTheFirstDateWhoseWindowWasNotReached(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plan, anchor := drawPlan(t), drawDay(t, "anchor")
		plan.Regime, plan.FixedMonth, plan.LongestMonths, plan.Suspended = Anniversary, 0, 0, nil
		inspection := anchor.AddDays(rapid.IntRange(-500, 20_000).Draw(t, "days after the anchor"))
		got := nextDue(plan, anchor, []Day{inspection})
		// The definition, walked date by date.
		want := anchor
		for k := 0; !inspection.Before(want.AddDays(-plan.ToleranceBeforeDays)); k++ {
			want = anchor.AddMonths(k * plan.EveryMonths)
		}
		if got != want {
			t.Fatalf("%+v, anchor %v, done %v: next due %v, want %v", plan, anchor, inspection, got, want)
		}
	})
}

// A work order that is open, from the day that it is made to any later day, is closed by the inspection that it asks for: the next
// due date is another one. Without this a period could neither be closed nor get a second order.
func TestAnInspectionDoneForAnOpenOrderMovesTheDueDate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plan, anchor, done := drawPlan(t), drawDay(t, "anchor"), drawCompletions(t)
		plan.Anchor = anchor
		due := nextDue(plan, anchor, done)
		on := plan.OrderOn(due).AddDays(rapid.IntRange(0, 5000).Draw(t, "days after the order was made"))
		after := nextDue(plan, anchor, append(done, on))
		if !after.After(due) {
			t.Fatalf("%+v: due %v, done %v, next due %v", plan, due, on, after)
		}
		if !after.After(on) {
			t.Fatalf("%+v: done %v, and the next is due %v already", plan, on, after)
		}
		if most := plan.Resumed(plan.Resumed(on.AddMonths(plan.EveryMonths).AddDays(plan.ToleranceBeforeDays + 31))); after.After(most) {
			t.Fatalf("%+v: done %v, next due only %v", plan, on, after)
		}
		if by := plan.DueBy(plan.Next(done)); by.Before(due) || by.After(plan.Resumed(due.AddDays(plan.GraceDays))) {
			t.Fatalf("%+v: due %v, in time until %v", plan, due, by)
		}
	})
}

// What the law allows is kept whatever the regime says: after an inspection the next date is no later than the longest interval, or the first day
// on which the door is in use again after that.
func TestNoDateLiesMoreThanTheLongestIntervalAfterAnInspection(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plan, anchor := drawPlan(t), drawDay(t, "anchor")
		plan.Anchor, plan.LongestMonths = anchor, rapid.SampledFrom([]int{1, 6, 12}).Draw(t, "longest")
		before := anchor.AddDays(rapid.IntRange(0, 9000).Draw(t, "done"))
		for _, d := range plan.Dues([]Day{before}, before.AddYears(8)) {
			if most := plan.Resumed(before.AddMonths(plan.LongestMonths)); d.On.After(most) || plan.DueBy(d).After(most) {
				t.Fatalf("%+v: done %v, due %v, in time until %v", plan, before, d.On, plan.DueBy(d))
			}
			if !d.Capped.IsZero() && !d.Capped.After(d.Latest) && d.Deferred.IsZero() {
				t.Fatalf("capped for nothing: %+v", d)
			}
			before = d.On
		}
	})
}

func TestNothingIsDueOrOrderedWhileAPlanIsSuspended(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plan, anchor, done := drawPlan(t), drawDay(t, "anchor"), drawCompletions(t)
		plan.Anchor = anchor
		free := plan
		free.Suspended = nil
		first := plan.Next(done)
		for _, s := range plan.Suspended {
			if s.Holds(first.On) || s.Holds(plan.OrderOn(first.On)) {
				t.Fatalf("%v or its order on %v lies in %v", first.On, plan.OrderOn(first.On), s)
			}
		}
		if want := plan.Resumed(free.Next(done).On); first.On != want {
			t.Fatalf("%v, want the first day after the suspensions that hold %v: %v", first.On, free.Next(done).On, want)
		}
		slices.Reverse(plan.Suspended)
		if again := plan.Next(done); again.On != first.On {
			t.Fatalf("suspensions in another order: %v and %v", first.On, again.On)
		}
	})
}

func TestSuspensionAndLongestIntervalSayWhatTheyMoved(t *testing.T) {
	plan := planOf(Anniversary, 24, 60, 30)
	plan.Anchor, plan.LongestMonths = day(t, "2026-03-01"), 12
	plan.Suspended = []Span{{day(t, "2028-02-20"), day(t, "2028-04-30")}, {day(t, "2028-05-01"), day(t, "2028-05-09")}}
	got := plan.Dues(days(t, []string{"2026-02-20"}), day(t, "2030-12-31"))
	want := []Due{
		{On: day(t, "2027-02-20"), Capped: day(t, "2028-03-01"), CapFrom: day(t, "2026-02-20"), Latest: day(t, "2027-02-20")},
		{On: day(t, "2028-05-10"), Capped: day(t, "2028-03-01"), CapFrom: day(t, "2027-02-20"), Latest: day(t, "2028-05-10"), Deferred: day(t, "2028-02-20")},
		{On: day(t, "2029-05-10"), Capped: day(t, "2030-03-01"), CapFrom: day(t, "2028-05-10"), Latest: day(t, "2029-05-10")},
		{On: day(t, "2030-03-01"), CapFrom: day(t, "2029-05-10"), Latest: day(t, "2030-05-10")},
	}
	if len(got) != len(want) {
		t.Fatalf("%+v", got)
	}
	for i, d := range got {
		if w := want[i]; d.On != w.On || d.Capped != w.Capped || d.CapFrom != w.CapFrom || d.Latest != w.Latest || d.Deferred != w.Deferred {
			t.Errorf("%d: %+v, want %+v", i, d, w)
		}
	}
	if on := plan.OrderOn(got[1].On); on != got[1].On {
		t.Errorf("the order is made on %v, while the plan is suspended", on)
	}
}

// What records of before 2027 call the regimes.
func TestFormerNamesOfRegimesAreReadAndNotAccepted(t *testing.T) {
	for former, now := range map[Regime]Regime{"anchored": Anniversary, "from_completion": FromLast, MonthEnd: MonthEnd, "whenever": "whenever"} {
		if got := former.NamedNow(); got != now {
			t.Errorf("%s is %s now, want %s", former, got, now)
		}
	}
}

func drawPlan(t *rapid.T) Plan {
	plan := planOf(rapid.SampledFrom(CycleRegimes()).Draw(t, "regime"), rapid.SampledFrom([]int{1, 2, 3, 6, 12, 18, 24, 36}).Draw(t, "interval"), 0, 0)
	if plan.Regime == FixedMonth {
		plan.EveryMonths, plan.FixedMonth = 12*rapid.IntRange(1, 3).Draw(t, "years"), time.Month(rapid.IntRange(1, 12).Draw(t, "month"))
	}
	most := min(halfMonthDays*plan.EveryMonths, mostDays)
	plan.LeadDays, plan.GraceDays = rapid.IntRange(0, most).Draw(t, "lead"), rapid.IntRange(0, most).Draw(t, "grace")
	if !plan.walks() {
		plan.ToleranceBeforeDays = rapid.IntRange(plan.LeadDays, most).Draw(t, "tolerance")
	}
	plan.LongestMonths = rapid.SampledFrom([]int{0, 0, 1, 6, 12}).Draw(t, "longest")
	for range rapid.IntRange(0, 3).Draw(t, "suspensions") {
		from := drawDay(t, "suspended from")
		plan.Suspended = append(plan.Suspended, Span{from, from.AddDays(rapid.IntRange(0, 500).Draw(t, "days"))})
	}
	if err := plan.Validate(); err != nil {
		t.Fatal(err)
	}
	return plan
}

func drawCompletions(t *rapid.T) []Day {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Day { return drawDay(t, "done") }), 0, 6).Draw(t, "completions")
}

func days(t *testing.T, texts []string) []Day {
	out := make([]Day, len(texts))
	for i, text := range texts {
		out[i] = day(t, text)
	}
	return out
}
