package duedate

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestNextDueAnchored(t *testing.T) {
	yearly := Plan{IntervalMonths: 12, Regime: Anchored, ToleranceBeforeDays: 30, LeadDays: 30}
	monthly := Plan{IntervalMonths: 1, Regime: Anchored}
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
		if got := NextDue(c.plan, day(t, c.anchor), days(t, c.done)).String(); got != c.want {
			t.Errorf("%s: next due %s, want %s", c.why, got, c.want)
		}
	}
}

func TestNextDueFromCompletion(t *testing.T) {
	halfYearly := Plan{IntervalMonths: 6, Regime: FromCompletion, LeadDays: 30}
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
		if got := NextDue(halfYearly, day(t, c.anchor), days(t, c.done)).String(); got != c.want {
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
		plan := Plan{IntervalMonths: 12, Regime: Anchored, ToleranceBeforeDays: first.DaysUntil(due)}
		if got, want := NextDue(plan, due, []Day{first}), due.AddYears(1); got != want {
			t.Errorf("done on %v for %v: next due %v, want %v", first, due, got, want)
		}
		if got := NextDue(plan, due, []Day{first.AddDays(-1)}); got != due {
			t.Errorf("done a day before the window of %v: next due %v, want it unchanged", due, got)
		}
	}
}

func TestPlanNamesWhatMakesNoSense(t *testing.T) {
	for _, c := range []struct {
		plan Plan
		want string
	}{
		{Plan{IntervalMonths: 0, Regime: Anchored}, "interval_months: out_of_range (1 to 120)"},
		{Plan{IntervalMonths: 121, Regime: Anchored}, "interval_months: out_of_range (1 to 120)"},
		{Plan{IntervalMonths: 12}, "regime: regime_unknown"},
		{Plan{IntervalMonths: 12, Regime: "yearly"}, "regime: regime_unknown"},
		{Plan{IntervalMonths: 12, Regime: Anchored, ToleranceBeforeDays: -1}, "tolerance_days: out_of_range (0 to 168)"},
		{Plan{IntervalMonths: 1, Regime: Anchored, ToleranceBeforeDays: 15}, "tolerance_days: out_of_range (0 to 14)"},
		{Plan{IntervalMonths: 12, Regime: FromCompletion, ToleranceBeforeDays: 1}, "tolerance_days: tolerance_without_anchor"},
		{Plan{IntervalMonths: 12, Regime: FromCompletion, LeadDays: -1}, "lead_days: out_of_range (0 to 168)"},
		{Plan{IntervalMonths: 1, Regime: FromCompletion, LeadDays: 15}, "lead_days: out_of_range (0 to 14)"},
		{Plan{IntervalMonths: 12, Regime: Anchored, ToleranceBeforeDays: 30, LeadDays: 31}, "lead_days: lead_over_tolerance (0 to 30)"},
	} {
		if err := c.plan.Validate(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want an error with %q", c.plan, err, c.want)
		}
	}
	for _, plan := range []Plan{
		{IntervalMonths: 12, Regime: Anchored, ToleranceBeforeDays: 60, LeadDays: 60},
		{IntervalMonths: 6, Regime: FromCompletion, LeadDays: 84},
	} {
		if err := plan.Validate(); err != nil {
			t.Errorf("%+v: %v", plan, err)
		}
	}
}

func TestTheOrderIsMadeTheLeadBeforeTheDueDate(t *testing.T) {
	due := day(t, "2026-03-15")
	if got := (Plan{LeadDays: 30}).OrderOn(due).String(); got != "2026-02-13" {
		t.Errorf("order on %s, want 2026-02-13", got)
	}
}

func TestNextDueDependsOnTheSetAlone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plan, anchor, done := drawPlan(t), drawDay(t, "anchor"), drawCompletions(t)
		want := NextDue(plan, anchor, done)
		shuffled := rapid.Permutation(append(done, done...)).Draw(t, "shuffled")
		if got := NextDue(plan, anchor, shuffled); got != want {
			t.Fatalf("%v in another order and doubled: %v, want %v", shuffled, got, want)
		}
	})
}

func TestOneMoreInspectionNeverBringsTheDueDateForward(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plan, anchor, done := drawPlan(t), drawDay(t, "anchor"), drawCompletions(t)
		more := append(done, drawDay(t, "one more"))
		before, after := NextDue(plan, anchor, done), NextDue(plan, anchor, more)
		if after.Before(before) {
			t.Fatalf("next due fell from %v to %v", before, after)
		}
	})
}

func TestAnchoredIsTheFirstDateOfTheGridWhoseWindowWasNotReached(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plan, anchor := drawPlan(t), drawDay(t, "anchor")
		plan.Regime = Anchored
		inspection := anchor.AddDays(rapid.IntRange(-500, 20_000).Draw(t, "days after the anchor"))
		got := NextDue(plan, anchor, []Day{inspection})
		// The definition, walked date by date.
		want := anchor
		for k := 0; !inspection.Before(want.AddDays(-plan.ToleranceBeforeDays)); k++ {
			want = anchor.AddMonths(k * plan.IntervalMonths)
		}
		if got != want {
			t.Fatalf("%+v, anchor %v, done %v: next due %v, want %v", plan, anchor, inspection, got, want)
		}
	})
}

// A work order that is open, from its lead to any later day, is closed by the inspection that it asks for: the next
// due date is another one. Without this a period could neither be closed nor get a second order.
func TestAnInspectionDoneForAnOpenOrderMovesTheDueDate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plan, anchor, done := drawPlan(t), drawDay(t, "anchor"), drawCompletions(t)
		due := NextDue(plan, anchor, done)
		on := plan.OrderOn(due).AddDays(rapid.IntRange(0, 5000).Draw(t, "days after the order was made"))
		after := NextDue(plan, anchor, append(done, on))
		if !after.After(due) {
			t.Fatalf("%+v: due %v, done %v, next due %v", plan, due, on, after)
		}
		if !after.After(on) {
			t.Fatalf("%+v: done %v, and the next is due %v already", plan, on, after)
		}
		if most := on.AddMonths(plan.IntervalMonths).AddDays(plan.ToleranceBeforeDays + 3); after.After(most) {
			t.Fatalf("%+v: done %v, next due only %v", plan, on, after)
		}
	})
}

func drawPlan(t *rapid.T) Plan {
	plan := Plan{
		IntervalMonths: rapid.SampledFrom([]int{1, 2, 3, 6, 12, 18, 24, 36}).Draw(t, "interval"),
		Regime:         rapid.SampledFrom([]Regime{Anchored, FromCompletion}).Draw(t, "regime"),
	}
	plan.LeadDays = rapid.IntRange(0, 14*plan.IntervalMonths).Draw(t, "lead")
	if plan.Regime == Anchored {
		plan.ToleranceBeforeDays = rapid.IntRange(plan.LeadDays, 14*plan.IntervalMonths).Draw(t, "tolerance")
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
