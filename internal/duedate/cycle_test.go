package duedate

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func daysOf(t testing.TB, list string) (out []Day) {
	t.Helper()
	for _, text := range strings.Fields(list) {
		d, err := ParseDay(text)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, d)
	}
	return out
}

// RFC 5545, 3.3.10, skips invalid days ("every month on the 31st"); here a day that a month lacks becomes its last, as the calendar months of
// 14 CFR 91.409 and 61.57 do. The rest is common practice, no source, but for the rows that name one.
func TestDatesOfEachRegimeAreTheCalendars(t *testing.T) {
	for _, c := range []struct{ what, regime, months, month, anchor, tolerance, done, until, want string }{
		{"the 31st comes back", "anniversary", "1", "", "2024-01-31", "0", "", "2024-06-30", "2024-02-29 2024-03-31 2024-04-30 2024-05-31 2024-06-30"},
		{"29 February comes back after four years", "anniversary", "12", "", "2020-02-29", "0", "", "2024-12-31", "2021-02-28 2022-02-28 2023-02-28 2024-02-29"},
		{"the anchor is no date", "anniversary", "12", "", "2024-03-01", "0", "", "2025-02-28", ""},
		{"until is a date", "anniversary", "12", "", "2024-03-01", "0", "", "2025-03-01", "2025-03-01"},
		{"late moves nothing", "anniversary", "12", "", "2024-03-01", "0", "2025-05-20", "2027-01-01", "2026-03-01"},
		{"early within the tolerance counts", "anniversary", "12", "", "2024-03-01", "30", "2025-01-30", "2026-12-31", "2026-03-01"},
		{"early before the tolerance does not", "anniversary", "12", "", "2024-03-01", "30", "2025-01-29", "2026-12-31", "2025-03-01 2026-03-01"},
		{"missed ones are not stacked", "anniversary", "6", "", "2020-01-15", "0", "2023-01-15", "2024-01-31", "2023-07-15 2024-01-15"},
		{"an extra one moves nothing", "anniversary", "12", "", "2024-03-01", "0", "2025-03-01 2025-09-01", "2026-12-31", "2026-03-01"},
		{"one before the anchor does not count", "anniversary", "12", "", "2024-03-01", "40", "2024-02-20", "2025-12-31", "2025-03-01"},
		{"from the last, unsorted", "from_last", "12", "", "2020-01-01", "0", "2024-05-05 2023-04-04 2024-05-05", "2026-12-31", "2025-05-05 2026-05-05"},
		{"from the last before the anchor", "from_last", "12", "", "2024-03-01", "0", "2024-02-20", "2025-12-31", "2025-02-20"},
		{"a clamped date stays where it is", "from_last", "1", "", "2023-01-31", "0", "", "2023-04-30", "2023-02-28 2023-03-28 2023-04-28"},
		{"to the end of the month", "month_end", "12", "", "2024-01-15", "0", "2025-01-03", "2027-05-31", "2026-01-31 2027-01-31"},
		{"to the end of February", "month_end", "12", "", "2023-02-10", "0", "", "2025-12-31", "2024-02-29 2025-02-28"},
		{"14 CFR 61.57(c): 6 calendar months from 10 January end with July", "month_end", "6", "", "2026-01-10", "0", "2026-01-10", "2026-12-31", "2026-07-31"},
		{"a fixed month after the anchor", "fixed_month", "12", "5", "2024-05-31", "0", "", "2026-12-31", "2025-05-31 2026-05-31"},
		{"a fixed month on the day before", "fixed_month", "24", "5", "2024-05-30", "0", "", "2027-12-31", "2024-05-31 2026-05-31"},
		{"the calendar's last day is the last date", "anniversary", "1", "", "9999-10-31", "0", "", "9999-12-31", "9999-11-30 9999-12-31"},
		{"a date beyond the calendar is none", "anniversary", "1200", "", "9850-06-01", "0", "", "9999-12-31", "9950-06-01"},
		{"nor is the calendar's last day one in its place", "from_last", "1200", "", "9850-06-01", "0", "", "9999-12-31", "9950-06-01"},
		{"nor at the end of a month", "month_end", "24", "", "9998-06-01", "0", "", "9999-12-31", ""},
		{"nor in a fixed month", "fixed_month", "24", "6", "9996-07-01", "0", "", "9999-12-31", "9997-06-30 9999-06-30"},
		{"a fixed December ends with the calendar", "fixed_month", "12", "12", "9998-12-31", "0", "", "9999-12-31", "9999-12-31"},
		{"done on the calendar's last day", "anniversary", "12", "", "9990-12-31", "0", "9999-12-31", "9999-12-31", ""},
		{"a fixed February", "fixed_month", "12", "2", "2023-03-01", "20", "2024-02-10", "2026-12-31", "2025-02-28 2026-02-28"},
	} {
		var q Question
		line := `{"regime":"` + c.regime + `","every_months":` + c.months + `,"anchor":"` + c.anchor + `","tolerance_before_days":` + c.tolerance + `,"until":"` + c.until + `","done":["` + strings.Join(strings.Fields(c.done), `","`) + `"]`
		line = strings.ReplaceAll(line, `[""]`, "[]")
		if c.month != "" {
			line += `,"fixed_month":` + c.month
		}
		q, err := ParseQuestion([]byte(line + "}"))
		if err != nil {
			t.Fatalf("%s: %v", c.what, err)
		}
		var got []string
		for _, d := range q.Cycle.Dues(q.Done, q.Until) {
			got = append(got, d.On.String())
		}
		if text := strings.Join(got, " "); text != c.want {
			t.Errorf("%s: %s, want %s", c.what, text, c.want)
		}
	}
}

func TestWhatWasMissedIsNamedOnce(t *testing.T) {
	c := Cycle{Regime: Anniversary, EveryMonths: 12, Anchor: daysOf(t, "2020-02-29")[0], ToleranceBeforeDays: 30}
	got := c.Dues(daysOf(t, "2023-02-10 2021-03-05"), daysOf(t, "2025-03-01")[0])
	if len(got) != 2 || !slices.Equal(got[0].Missed, daysOf(t, "2022-02-28")) || got[1].Missed != nil || got[0].Early != 18 {
		t.Errorf("%+v", got)
	}
}

func drawnCycle(t *rapid.T) (c Cycle, done []Day, until Day) {
	day := func(name string) Day {
		return Day{1999, 12, 31}.AddDays(rapid.IntRange(0, 9000).Draw(t, name))
	}
	c = Cycle{Regime: rapid.SampledFrom(CycleRegimes()).Draw(t, "regime"), EveryMonths: rapid.IntRange(1, 36).Draw(t, "every"), Anchor: day("anchor")}
	if c.Regime == FixedMonth {
		c.EveryMonths, c.FixedMonth = 12*rapid.IntRange(1, 3).Draw(t, "years"), time.Month(rapid.IntRange(1, 12).Draw(t, "month"))
	}
	c.ToleranceBeforeDays = rapid.IntRange(0, shortest(c.EveryMonths)-1).Draw(t, "tolerance")
	for range rapid.IntRange(0, 6).Draw(t, "done") {
		done = append(done, day("one"))
	}
	return c, done, day("until")
}

// asked counts day by day and month by month, as somebody with a paper calendar would.
func asked(c Cycle, done []Day, until Day) (want []Day) {
	last, counted := Day{}, Day{}
	for _, d := range done {
		if d.After(last) {
			last = d
		}
	}
	end := func(d Day) Day {
		for d.AddDays(1).month == d.month {
			d = d.AddDays(1)
		}
		return d
	}
	if c.Regime == FromLast || c.Regime == MonthEnd {
		from := c.Anchor
		if len(done) > 0 {
			from = last
		}
		for range 1000 {
			from = from.AddMonths(c.EveryMonths)
			if c.Regime == MonthEnd {
				from = end(from)
			}
			if !from.After(until) {
				want = append(want, from)
			}
		}
		return want
	}
	var dates []Day
	if c.Regime == Anniversary {
		for k := range 400 {
			dates = append(dates, c.Anchor.AddMonths((k+1)*c.EveryMonths))
		}
	} else {
		from := c.Anchor.AddDays(1)
		for from.month != uint8(c.FixedMonth) || from != end(from) {
			from = from.AddDays(1)
		}
		for k := range 400 {
			d, _ := NewDay(int(from.year)+k*c.EveryMonths/12, c.FixedMonth, 1)
			dates = append(dates, end(d))
		}
	}
	for _, on := range dates {
		for _, d := range done {
			if !d.Before(c.Anchor) && !on.AddDays(-c.ToleranceBeforeDays).After(d) && on.After(counted) {
				counted = on
			}
		}
	}
	for _, on := range dates {
		if on.After(counted) && !on.After(until) {
			want = append(want, on)
		}
	}
	return want
}

func TestDatesAreThoseOfAPaperCalendar(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, done, until := drawnCycle(t)
		if err := c.Validate(); err != nil {
			t.Fatal(err)
		}
		var got []Day
		for _, d := range c.Dues(done, until) {
			got = append(got, d.On)
		}
		if want := asked(c, done, until); !slices.Equal(got, want) {
			t.Fatalf("%v, want %v", got, want)
		}
		slices.Reverse(done)
		var again []Day
		for _, d := range c.Dues(append(done, done...), until) {
			again = append(again, d.On)
		}
		if !slices.Equal(got, again) {
			t.Errorf("in another order and twice: %v, want %v", again, got)
		}
	})
}

func TestEveryDateLiesAfterTheLastInspectionThatCounts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, done, until := drawnCycle(t)
		done = slices.DeleteFunc(done, func(d Day) bool { return d.Before(c.Anchor) })
		before := Day{}
		for _, d := range done {
			before = later(before, d)
		}
		for _, d := range c.Dues(done, until) {
			if !d.On.After(before) {
				t.Fatalf("%v is not after %v", d.On, before)
			}
			before = d.On
		}
	})
}

func TestAQuestionThatMakesNoSenseIsRefusedByItsMember(t *testing.T) {
	for line, want := range map[string]string{
		``:   "is empty; want a JSON object",
		`[]`: "must be a JSON object",
		`{`:  "is not JSON",
		`{"regime":"yearly","every_months":12,"anchor":"2024-01-01","until":"2025-01-01"}`:                                        "regime: must be one of",
		`{"regime":"anniversary","every_months":0,"anchor":"2024-01-01","until":"2025-01-01"}`:                                    "every_months: must be a whole number from 1",
		`{"regime":"anniversary","every_months":1e400,"anchor":"2024-01-01","until":"2025-01-01"}`:                                "every_months: must be a whole number from 1 to 1200",
		`{"regime":"anniversary","every_months":2,"tolerance_before_days":1000000000,"anchor":"2024-01-01","until":"2025-01-01"}`: "tolerance_before_days: must be shorter than the interval: at most 58 days",
		`{"regime":"anniversary","every_months":1.5,"anchor":"2024-01-01","until":"2025-01-01"}`:                                  "every_months: must be a whole number, not 1.5",
		`{"regime":"anniversary","every_months":12,"anchor":null,"until":"2025-01-01"}`:                                           "anchor: must be a text",
		`{"regime":"anniversary","every_months":12,"anchor":"2024-02-30","until":"2025-01-01"}`:                                   `anchor: date "2024-02-30" is not in the calendar`,
		`{"regime":"anniversary","every_months":12,"anchor":"2024-02-01"}`:                                                        "until: is missing",
		`{"regime":"anniversary","every_month":12,"anchor":"2024-02-01","until":"2025-01-01"}`:                                    `"every_month": is not known; did you mean every_months?`,
		`{"regime":"anniversary","regime":"from_last","every_months":12,"anchor":"2024-02-01","until":"2025-01-01"}`:              `"regime": is given twice`,
		`{"regime":"anniversary","every_months":12,"fixed_month":2,"anchor":"2024-02-01","until":"2025-01-01"}`:                   "fixed_month: goes with the regime fixed_month only",
		`{"regime":"fixed_month","every_months":12,"fixed_month":0,"anchor":"2024-02-01","until":"2025-01-01"}`:                   "fixed_month: must be a whole number from 1 to 12",
		`{"regime":"fixed_month","every_months":12,"anchor":"2024-02-01","until":"2025-01-01"}`:                                   "fixed_month: must be a whole number from 1 to 12",
		`{"regime":"fixed_month","every_months":18,"fixed_month":2,"anchor":"2024-02-01","until":"2025-01-01"}`:                   "every_months: must be divisible by 12",
		`{"regime":"anniversary","every_months":1,"tolerance_before_days":28,"anchor":"2024-02-01","until":"2025-01-01"}`:         "tolerance_before_days: must be shorter than the interval: at most 27 days",
		`{"regime":"anniversary","every_months":1,"tolerance_before_days":-1,"anchor":"2024-02-01","until":"2025-01-01"}`:         "tolerance_before_days: must not be negative",
		`{"regime":"anniversary","every_months":1,"done":["2024-01-01","01.02.2024"],"anchor":"2024-02-01","until":"2025-01-01"}`: "done: at 1: date",
		`{"regime":"anniversary","every_months":1,"done":"2024-01-01","anchor":"2024-02-01","until":"2025-01-01"}`:                "done: must be a list of dates",
	} {
		_, err := ParseQuestion([]byte(line))
		var wrong *CycleFault
		if !errors.As(err, &wrong) || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%s: %v, want %s", line, err, want)
		}
	}
}

func FuzzParseQuestion(f *testing.F) {
	f.Add([]byte(`{"regime":"fixed_month","every_months":12,"fixed_month":2,"tolerance_before_days":20,"anchor":"2024-02-01","done":["2024-05-05"],"until":"2031-01-01"}`))
	f.Add([]byte(`{"regime":"anniversary","every_months":1200,"anchor":"2024-01-31","until":"9999-12-31"}`))
	f.Add([]byte(`{"regime":"from_last","every_months":1200,"anchor":"9999-12-01","until":"9999-12-31"}`))
	f.Fuzz(func(t *testing.T, line []byte) {
		q, err := ParseQuestion(line)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Fatalf("%q", err)
			}
			return
		}
		before := Day{}
		for i, d := range q.Cycle.Dues(q.Done, q.Until) {
			if d.On.After(q.Until) || d.On.Compare(before) <= 0 {
				t.Fatalf("%d: %v", i, d)
			}
			before = d.On
		}
	})
}

func BenchmarkDuesOfOneDoor(b *testing.B) {
	c := Cycle{Regime: Anniversary, EveryMonths: 12, Anchor: daysOf(b, "2015-03-31")[0], ToleranceBeforeDays: 30}
	done := daysOf(b, "2016-03-20 2017-04-02 2018-03-31 2019-03-01 2020-05-01 2021-03-31 2022-03-30 2023-03-31 2024-03-15 2025-03-31")
	until := daysOf(b, "2027-03-31")[0]
	for b.Loop() {
		c.Dues(done, until)
	}
}
