package duedate

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Holidays as the laws named give them; the days of 2026 and 2027 were worked out from the rules and agree with the snapshots of
// github.com/vacanza/holidays (US, GB, DE, FR).
func publishedHolidays(t *testing.T, where string) Calendar {
	t.Helper()
	days := map[string]string{
		// 5 U.S.C. 6103(a), and (b) for Saturdays (the Friday before) and Executive Order 11582 for Sundays (the Monday after).
		"US": "2026-01-01 2026-01-19 2026-02-16 2026-05-25 2026-06-19 2026-07-03 2026-09-07 2026-10-12 2026-11-11 2026-11-26 2026-12-25 2027-01-01 2027-01-18 2027-02-15 2027-05-31 2027-06-18 2027-07-05 " +
			"2027-09-06 2027-10-11 2027-11-11 2027-11-25 2027-12-24 2027-12-31",
		// Banking and Financial Dealings Act 1971, Schedule 1, paragraph 1: substitutes are the next working day.
		"GB-ENG": "2026-01-01 2026-04-03 2026-04-06 2026-05-04 2026-05-25 2026-08-31 2026-12-25 2026-12-28 2027-01-01 2027-03-26 2027-03-29 2027-05-03 2027-05-31 2027-08-30 2027-12-27 2027-12-28",
		// The laws on Sundays and holidays of the German states: those that all have, without substitutes.
		"DE": "2026-01-01 2026-04-03 2026-04-06 2026-05-01 2026-05-14 2026-05-25 2026-10-03 2026-12-25 2026-12-26 2027-01-01 2027-03-26 2027-03-29 2027-05-01 2027-05-06 2027-05-17 2027-10-03 2027-12-25 2027-12-26",
		// Code du travail, article L3133-1.
		"FR": "2026-01-01 2026-04-06 2026-05-01 2026-05-08 2026-05-14 2026-05-25 2026-07-14 2026-08-15 2026-11-01 2026-11-11 2026-12-25 2027-01-01 2027-03-29 2027-05-01 2027-05-06 2027-05-08 2027-05-17",
	}[where]
	c := weekendRest()
	for _, text := range strings.Fields(days) {
		c.Holidays[day(t, text)] = struct{}{}
	}
	return c
}

func TestWhatIsDueOnAPublishedHolidayIsDoneOnTheWorkingDayBefore(t *testing.T) {
	for _, c := range []struct{ where, due, want string }{
		{"US", "2026-07-04", "2026-07-02"}, // a Saturday, observed on Friday
		{"US", "2027-07-05", "2027-07-02"}, // a Sunday, observed on Monday
		{"US", "2028-01-01", "2027-12-30"}, // observed on 31 December of the year before
		{"US", "2026-11-26", "2026-11-25"},
		{"US", "2026-07-06", "2026-07-06"},
		{"GB-ENG", "2026-12-28", "2026-12-24"}, // stands in for Saturday the 26th
		{"GB-ENG", "2027-12-28", "2027-12-24"}, // the 27th and 28th stand in for both days of the weekend
		{"GB-ENG", "2026-04-06", "2026-04-02"}, // Easter Monday, after Good Friday
		{"DE", "2026-10-03", "2026-10-02"},     // a Saturday: no substitute
		{"DE", "2026-05-14", "2026-05-13"},     // Ascension Day
		{"FR", "2027-05-08", "2027-05-07"},     // the Friday between Ascension Day, the 6th, and Saturday the 8th is a working day
		{"FR", "2027-05-06", "2027-05-05"},
		{"FR", "2026-04-03", "2026-04-03"}, // Good Friday is none there
	} {
		if got := publishedHolidays(t, c.where).LastWorking(Day{}, day(t, c.due)).String(); got != c.want {
			t.Errorf("%s, due %s: by %s, want %s", c.where, c.due, got, c.want)
		}
	}
	if got := (Calendar{Rest: [7]bool{true}}).LastWorking(Day{}, day(t, "2026-03-07")).String(); got != "2026-03-07" {
		t.Errorf("where Saturday is a working day, %s", got)
	}
}

// The answer is held against a walk over all days, in the years of the calendar's ends as well.
func TestTheLastWorkingDayIsTheLastOfThemAll(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		until := drawDay(t, "until")
		from := until.AddDays(-rapid.IntRange(-3, 60).Draw(t, "days"))
		c := Calendar{Holidays: map[Day]struct{}{}}
		for _, weekday := range rapid.SliceOfN(rapid.IntRange(0, 6), 0, 6).Draw(t, "rest") {
			c.Rest[weekday] = true
		}
		for _, n := range rapid.SliceOfN(rapid.IntRange(-70, 3), 0, 60).Draw(t, "holidays") {
			c.Holidays[until.AddDays(n)] = struct{}{}
		}
		want := Day{}
		for d := from; !d.After(until); d = d.AddDays(1) {
			if c.Working(d) {
				want = d
			}
			if d == until { // the last day of the calendar has none after it
				break
			}
		}
		if got := c.LastWorking(from, until); got != want {
			t.Fatalf("from %v until %v: %v, want %v", from, until, got, want)
		}
	})
}

// An inspection on the first day that counts moves the next date on, and one on the day before does not.
func TestAnInspectionCountsFromTheDayThatIsNamed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := Plan{Cycle: Cycle{Regime: Anniversary, EveryMonths: rapid.SampledFrom([]int{1, 3, 6, 12, 24}).Draw(t, "months"), Anchor: day(t, "2026-03-31"), AnchorDue: true}}
		if rapid.Bool().Draw(t, "fixed") {
			p.Regime, p.EveryMonths, p.FixedMonth = FixedMonth, 12*rapid.IntRange(1, 3).Draw(t, "years"), time.Month(rapid.IntRange(1, 12).Draw(t, "month"))
		}
		p.ToleranceBeforeDays = rapid.IntRange(0, 14*min(p.EveryMonths, 12)).Draw(t, "tolerance")
		for _, d := range p.Dues(nil, day(t, "2034-01-01")) {
			from := p.CountsFrom(d)
			before := []Day{from.AddDays(-1)}
			if from != d.On.AddDays(-p.ToleranceBeforeDays) || !p.Next([]Day{from}).On.After(d.On) || p.Next(before).On.After(d.On) {
				t.Fatalf("%v: from %v, then %v; a day before, then %v", d.On, from, p.Next([]Day{from}).On, p.Next(before).On)
			}
		}
	})
	walk := Plan{Cycle: Cycle{Regime: FromLast, EveryMonths: 6, Anchor: day(t, "2026-03-31")}}
	if from := walk.CountsFrom(walk.Next(nil)); !from.IsZero() {
		t.Errorf("an inspection that starts the count counts from %v", from)
	}
	put := Plan{Cycle: Cycle{Regime: Anniversary, EveryMonths: 12, Anchor: day(t, "2026-03-31"), AnchorDue: true, ToleranceBeforeDays: 30, Suspended: []Span{{day(t, "2026-03-01"), day(t, "2026-04-30")}}}}
	if d := put.Next(nil); put.CountsFrom(d) != day(t, "2026-05-01") {
		t.Errorf("%v, put off by a suspension, counts from %v", d.On, put.CountsFrom(d))
	}
}
