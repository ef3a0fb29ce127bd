package duedate

import (
	"slices"
	"strings"
	"testing"
	"time"

	_ "time/tzdata"
)

// Dates that others published, each with where they did. COMPUTED rows apply the rule named to a case that the source does not work out.
func TestDatesOfPublishedRulesComeOutAsPublished(t *testing.T) {
	monthly, yearly := planOf(Anniversary, 1, 0, 0), planOf(Anniversary, 12, 0, 0)
	calendarMonths := planOf(MonthEnd, 12, 0, 0)
	halfYear := planOf(MonthEnd, 6, 0, 0)
	atMost := planOf(FromLast, 6, 0, 0)
	atMost.LongestMonths = 6
	for _, c := range []struct {
		source string
		plan   Plan
		anchor string // the first date
		done   string
		until  string
		want   string
	}{
		// 14 CFR 91.409(a), "within the preceding 12 calendar months": the last day of the month, as an explanation of the FAA's reading says
		// (calendarso.netlify.app/calendar-month-definition-faa); dates computed.
		{"14 CFR 91.409(a), inside the month", calendarMonths, "2020-01-31", "2026-03-05", "2027-04-01", "2027-03-31"},
		{"14 CFR 91.409(a), on the last day", calendarMonths, "2020-01-31", "2026-03-31", "2027-04-01", "2027-03-31"},
		{"14 CFR 91.409(a), from a leap day", calendarMonths, "2020-01-31", "2024-02-29", "2025-03-01", "2025-02-28"},
		{"14 CFR 91.409(a), into a leap year", calendarMonths, "2020-01-31", "2027-02-10", "2028-03-01", "2028-02-29"},
		{"six calendar months into a leap year", halfYear, "2020-01-31", "2027-08-29", "2028-03-01", "2028-02-29"},
		{"a month's end stays one: 30 April, then 31 May", planOf(MonthEnd, 1, 0, 0), "2026-04-30", "", "2026-06-30", "2026-04-30 2026-05-31 2026-06-30"},

		// LOLER 1998, regulation 9(3): 6 months at most. Intervals as Schedule 1 names them; that earlier work restarts the clock is from memory.
		{"LOLER 9(3), on time", atMost, "2026-01-01", "2026-03-05", "2026-09-30", "2026-09-05"},
		{"LOLER 9(3), early restarts the clock", atMost, "2026-01-01", "2026-03-05 2026-08-10", "2027-02-28", "2027-02-10"},
		{"six months from 31 August", atMost, "2025-01-01", "2025-08-31", "2026-03-01", "2026-02-28"},
		{"six months from 30 November", atMost, "2025-01-01", "2025-11-30", "2026-06-01", "2026-05-30"},
		{"six months from 30 August into a leap year", atMost, "2025-01-01", "2027-08-30", "2028-03-01", "2028-02-29"},

		// RFC 7529, SKIP=BACKWARD, which is what is done here: monthly from 2014-12-31, github.com/dateutil/dateutil/pull/522; with plain RFC 5545
		// (3.3.10) February and November would have none.
		{"RFC 7529 SKIP=BACKWARD, monthly from the 31st", monthly, "2014-12-31", "", "2015-03-31", "2014-12-31 2015-01-31 2015-02-28 2015-03-31"},
		{"all twelve months from the 31st, where RFC 5545 BYMONTHDAY=31 has seven", monthly, "2026-01-31", "", "2026-12-31",
			"2026-01-31 2026-02-28 2026-03-31 2026-04-30 2026-05-31 2026-06-30 2026-07-31 2026-08-31 2026-09-30 2026-10-31 2026-11-30 2026-12-31"},
		// RFC 7529 with FREQ=YEARLY from 29 February, SKIP=BACKWARD from memory; plain RFC 5545 gives 2024, 2028, 2032.
		{"yearly from a leap day", yearly, "2024-02-29", "", "2028-12-31", "2024-02-29 2025-02-28 2026-02-28 2027-02-28 2028-02-29"},
		// RFC 5545, page 132 (Monthly on the 2nd and 15th, and BYMONTHDAY=15,30): the days that exist are the same, 2007-01-15 and 01-30, 03-15 and 03-30.
		{"RFC 5545 BYMONTHDAY=15", monthly, "2007-01-15", "", "2007-03-31", "2007-01-15 2007-02-15 2007-03-15"},
		{"RFC 5545 BYMONTHDAY=30, but for February, which it skips", monthly, "2007-01-30", "", "2007-03-31", "2007-01-30 2007-02-28 2007-03-30"},
		// RFC 5545 BYMONTHDAY=-1, the last day of the month (mail-archive.com/datetime@perl.org/msg03241.html).
		{"RFC 5545 BYMONTHDAY=-1", planOf(MonthEnd, 1, 0, 0), "2027-12-31", "", "2028-03-31", "2027-12-31 2028-01-31 2028-02-29 2028-03-31"},

		// Regulation (EEC) 1182/71, Article 3(2)(c), from memory; worked in case 152/85 (judgment of 15 January 1987): told on 18 February, three months end
		// with the day of the same number.
		{"case 152/85: three months from 18 February", planOf(FromLast, 3, 0, 0), "1985-01-01", "1985-02-18", "1985-05-31", "1985-05-18"},
		{"Article 3(2)(c): no such day in the last month", planOf(FromLast, 1, 0, 0), "2026-01-01", "2026-01-31", "2026-03-01", "2026-02-28"},
	} {
		plan := c.plan
		plan.Anchor = day(t, c.anchor)
		var got []string
		for _, d := range plan.Dues(days(t, strings.Fields(c.done)), day(t, c.until)) {
			got = append(got, d.On.String())
		}
		if !slices.Equal(got, strings.Fields(c.want)) {
			t.Errorf("%s: %v, want %s", c.source, got, c.want)
		}
	}
}

// A year is neither 365 days nor 52 weeks: computed, the traps that a plan must not fall into.
func TestAYearIsNoNumberOfDays(t *testing.T) {
	from := day(t, "2027-08-29")
	if lost := from.AddDays(365); lost.String() != "2028-08-28" || from.AddMonths(12).String() != "2028-08-29" {
		t.Errorf("365 days %v, 12 months %v", lost, from.AddMonths(12))
	}
	if weeks := day(t, "2026-03-05").AddDays(52 * 7); weeks.String() != "2027-03-04" {
		t.Errorf("52 weeks: %v", weeks)
	}
}

// Instants of IANA's tzdata 2025b, computed from it; the zone data are those that are built into the test.
func TestTheDayAtASiteIsTheOneOnItsWall(t *testing.T) {
	for _, c := range []struct{ why, zone, instant, want string }{
		{"an hour before the clocks go on", "America/New_York", "2026-03-08T04:59:59Z", "2026-03-07"},
		{"midnight of the day of 23 hours", "America/New_York", "2026-03-08T05:00:00Z", "2026-03-08"},
		{"its last second", "America/New_York", "2026-03-09T03:59:59Z", "2026-03-08"},
		{"the day after it", "America/New_York", "2026-03-09T04:00:00Z", "2026-03-09"},
		{"the first second of the day of 25 hours", "America/New_York", "2026-11-01T04:00:00Z", "2026-11-01"},
		{"01:30 for the second time", "America/New_York", "2026-11-01T06:30:00Z", "2026-11-01"},
		{"its last second", "America/New_York", "2026-11-02T04:59:59Z", "2026-11-01"},
		{"clocks that go on at midnight: the day begins at one", "America/Santiago", "2026-09-06T03:59:59Z", "2026-09-05"},
		{"and that is its first second", "America/Santiago", "2026-09-06T04:00:00Z", "2026-09-06"},
		{"clocks that go back at midnight: 23:30 for the first time", "America/Santiago", "2026-04-05T02:30:00Z", "2026-04-04"},
		{"and for the second", "America/Santiago", "2026-04-05T03:30:00Z", "2026-04-04"},
		{"half an hour back", "Australia/Lord_Howe", "2026-04-04T12:59:59Z", "2026-04-04"},
		{"at its midnight", "Australia/Lord_Howe", "2026-04-04T13:00:00Z", "2026-04-05"},
		{"quarters of an hour", "Asia/Kathmandu", "2026-03-03T18:14:59Z", "2026-03-03"},
		{"at their midnight", "Asia/Kathmandu", "2026-03-03T18:15:00Z", "2026-03-04"},
		{"the first day of the world", "Pacific/Kiritimati", "2026-03-03T10:00:00Z", "2026-03-04"},
		{"and the last, 25 hours behind", "Pacific/Pago_Pago", "2026-03-03T10:59:59Z", "2026-03-02"},
		{"Samoa before it skipped a day", "Pacific/Apia", "2011-12-30T09:59:59Z", "2011-12-29"},
		{"30 December 2011 was none there", "Pacific/Apia", "2011-12-30T10:00:00Z", "2011-12-31"},
	} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		at, err := time.Parse(time.RFC3339, c.instant)
		if err != nil {
			t.Fatal(err)
		}
		if got := DayIn(at, zone).String(); got != c.want {
			t.Errorf("%s (%s in %s): %s, want %s", c.why, c.instant, c.zone, got, c.want)
		}
	}
}
