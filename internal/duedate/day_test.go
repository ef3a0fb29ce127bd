package duedate

import (
	"encoding/json"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // zones without the machine's own data

	"pgregory.net/rapid"
)

func TestParseDayReadsOnlyWhatItWrites(t *testing.T) {
	for _, text := range []string{"0001-01-01", "2026-03-01", "2024-02-29", "2000-02-29", "9999-12-31"} {
		if got := day(t, text).String(); got != text {
			t.Errorf("ParseDay(%q).String() = %q", text, got)
		}
	}
}

func TestParseDaySaysWhatIsWrong(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", "form YYYY-MM-DD"},
		{"2026-3-1", "form YYYY-MM-DD"},
		{" 2026-03-01", "form YYYY-MM-DD"},
		{"2026-03-01 ", "form YYYY-MM-DD"},
		{"2026-03-01T00:00:00Z", "form YYYY-MM-DD"},
		{"20260301", "form YYYY-MM-DD"},
		{"2026/03/01", "form YYYY-MM-DD"},
		{"2026-+3-01", "form YYYY-MM-DD"},
		{"-026-03-01", "form YYYY-MM-DD"},
		{"٢٠٢٦-03-1", "form YYYY-MM-DD"}, // digits of another script
		{"2026-03-0\x00", "form YYYY-MM-DD"},
		{"0000-01-01", "year 0 is not within"},
		{"2026-00-01", "month 0 is not within"},
		{"2026-13-01", "month 13 is not within"},
		{"2026-01-00", "day 0 is not in January 2026"},
		{"2026-02-29", "February 2026, which has 28 days"},
		{"1900-02-29", "February 1900, which has 28 days"},
		{"2024-02-30", "February 2024, which has 29 days"},
		{"2026-04-31", "April 2026, which has 30 days"},
		{strings.Repeat("9", 1_000_000), "cut from 1000000 bytes"},
	} {
		got, err := ParseDay(c.text)
		if err == nil || !strings.Contains(err.Error(), c.want) || len(err.Error()) > 300 {
			t.Errorf("ParseDay(%.40q) = %v, %v; want an error with %q", c.text, got, err, c.want)
		}
	}
}

func TestMonthsAreClampedToTheMonthsEnd(t *testing.T) {
	for _, c := range []struct {
		from   string
		months int
		want   string
	}{
		{"2024-02-29", 12, "2025-02-28"},
		{"2024-02-29", 48, "2028-02-29"},
		{"2026-01-31", 1, "2026-02-28"},
		{"2026-01-31", 2, "2026-03-31"},
		{"2025-08-31", 6, "2026-02-28"},
		{"2025-11-30", 6, "2026-05-30"},
		{"2027-08-30", 6, "2028-02-29"},
		{"2026-08-31", 6, "2027-02-28"},
		{"1999-12-31", 2, "2000-02-29"},
		{"2026-03-31", -1, "2026-02-28"},
		{"2026-01-15", -1, "2025-12-15"},
		{"2026-03-05", 0, "2026-03-05"},
		{"9999-12-01", 1, "9999-12-31"}, // the ends of the calendar hold
		{"0001-01-20", -1, "0001-01-01"},
		{"2026-01-01", 1 << 62, "9999-12-31"},
		{"2026-01-01", -1 << 62, "0001-01-01"},
	} {
		if got := day(t, c.from).AddMonths(c.months).String(); got != c.want {
			t.Errorf("%s + %d months = %s, want %s", c.from, c.months, got, c.want)
		}
	}
	if got := day(t, "2024-02-29").AddYears(1).String(); got != "2025-02-28" {
		t.Errorf("29 February + 1 year = %s, want 28 February", got)
	}
}

func TestDaysAreCountedOverLeapDays(t *testing.T) {
	for _, c := range []struct {
		from string
		days int
		want string
	}{
		{"2027-08-29", 365, "2028-08-28"}, // 365 days are not a year
		{"2024-02-29", 365, "2025-02-28"},
		{"2026-03-05", 364, "2027-03-04"}, // nor are 52 weeks
		{"2026-03-01", -1, "2026-02-28"},
		{"2024-03-01", -1, "2024-02-29"},
		{"9999-12-31", 1, "9999-12-31"},
		{"0001-01-01", -1, "0001-01-01"},
		{"2026-01-01", 1 << 62, "9999-12-31"},
		{"0001-01-01", 1 << 62, "9999-12-31"},
		{"9999-12-31", -1 << 62, "0001-01-01"},
	} {
		if got := day(t, c.from).AddDays(c.days).String(); got != c.want {
			t.Errorf("%s + %d days = %s, want %s", c.from, c.days, got, c.want)
		}
	}
}

// Regulation (EEC, Euratom) No 1182/71, article 3, as in the judgment of 15 January 1987, case 152/85.
func TestEuropeanPeriods(t *testing.T) {
	if got := day(t, "1985-02-18").AddMonths(3); got.String() != "1985-05-18" || got.Weekday() != time.Saturday {
		t.Errorf("three months from 1985-02-18 end on %s, a %s, want Saturday 1985-05-18", got, got.Weekday())
	}
	if got := day(t, "1985-02-18").AddMonths(3).AddDays(2).String(); got != "1985-05-20" {
		t.Errorf("with two days for distance: %s, want 1985-05-20", got)
	}
}

// ISO 8601: week 1 holds the year's first Thursday.
func TestISOWeeks(t *testing.T) {
	for text, want := range map[string]string{
		"1985-04-12": "1985-W15-5", "2005-01-01": "2004-W53-6", "2006-12-31": "2006-W52-7", "2008-12-29": "2009-W01-1",
		"2010-01-03": "2009-W53-7", "2012-12-31": "2013-W01-1", "2014-12-29": "2015-W01-1", "2019-12-30": "2020-W01-1",
		"2021-01-03": "2020-W53-7", "2022-12-31": "2022-W52-6", "2025-12-28": "2025-W52-7", "2025-12-29": "2026-W01-1",
		"2026-01-01": "2026-W01-4", "2026-12-28": "2026-W53-1", "2026-12-31": "2026-W53-4", "2027-01-01": "2026-W53-5",
		"2027-01-03": "2026-W53-7", "2027-01-04": "2027-W01-1",
	} {
		if got := day(t, text).ISOWeek(); got != want {
			t.Errorf("%s is in week %s, want %s", text, got, want)
		}
	}
	long := map[int]bool{2004: true, 2009: true, 2015: true, 2020: true, 2026: true, 2032: true, 2037: true, 2043: true, 2048: true, 2054: true}
	for year := 2000; year < 2060; year++ {
		d, err := NewDay(year, time.December, 28) // always in the year's last week
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Contains(d.ISOWeek(), "-W53-"); got != long[year] {
			t.Errorf("%d has 53 weeks: %v, want %v", year, got, long[year])
		}
	}
}

func TestTodayIsTheSitesOwn(t *testing.T) {
	at := func(text string) time.Time {
		instant, err := time.Parse(time.RFC3339, text)
		if err != nil {
			t.Fatal(err)
		}
		return instant
	}
	for _, c := range []struct{ zone, instant, want string }{
		{"UTC", "2026-03-01T00:00:00Z", "2026-03-01"},
		{"America/New_York", "2026-03-08T04:59:59Z", "2026-03-07"},
		{"America/New_York", "2026-03-08T05:00:00Z", "2026-03-08"}, // 23 hours long
		{"America/New_York", "2026-03-09T03:59:59Z", "2026-03-08"},
		{"America/New_York", "2026-03-09T04:00:00Z", "2026-03-09"},
		{"America/New_York", "2026-11-01T04:00:00Z", "2026-11-01"}, // 25 hours long
		{"America/New_York", "2026-11-02T04:59:59Z", "2026-11-01"},
		{"America/New_York", "2026-11-02T05:00:00Z", "2026-11-02"},
		{"Pacific/Kiritimati", "2026-06-30T10:30:00Z", "2026-07-01"},
		{"Pacific/Pago_Pago", "2026-06-30T10:30:00Z", "2026-06-29"},
		{"Pacific/Apia", "2011-12-30T09:59:59Z", "2011-12-29"}, // 30 December 2011 did not exist there
		{"Pacific/Apia", "2011-12-30T10:00:00Z", "2011-12-31"},
	} {
		loc, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		if got := DayIn(at(c.instant), loc).String(); got != c.want {
			t.Errorf("%s in %s is %s, want %s", c.instant, c.zone, got, c.want)
		}
	}
}

func TestDayIsAStringInJSON(t *testing.T) {
	type visit struct {
		On   Day         `json:"on"`
		Next Day         `json:"next,omitzero"`
		By   map[Day]int `json:"by,omitempty"`
	}
	in := visit{On: day(t, "2026-02-28"), By: map[Day]int{day(t, "2024-02-29"): 1}}
	text, err := json.Marshal(in)
	if err != nil || string(text) != `{"on":"2026-02-28","by":{"2024-02-29":1}}` {
		t.Fatalf("Marshal = %s, %v", text, err)
	}
	var out visit
	if err := json.Unmarshal(text, &out); err != nil || out.On != in.On || out.By[day(t, "2024-02-29")] != 1 {
		t.Errorf("Unmarshal = %v, %v", out, err)
	}
	if err := json.Unmarshal([]byte(`{"on":"2026-02-29"}`), &out); err == nil || out.On != in.On {
		t.Errorf("a date that does not exist: error %v, value %v; want an error and the old value", err, out.On)
	}
	if text, err := json.Marshal(visit{}); err == nil {
		t.Errorf("the zero Day was written as %s", text)
	}
}

func TestDayAgreesWithTheStandardLibrarysCalendar(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, n := drawDay(t, "day"), rapid.IntRange(-100_000, 100_000).Draw(t, "days")
		there := d.AddDays(n)
		year, month, dayOfMonth := d.Date()
		if want := time.Date(year, month, dayOfMonth+n, 12, 0, 0, 0, time.UTC).Format(time.DateOnly); there.String() != want {
			t.Fatalf("%v + %d days = %v, want %s", d, n, there, want)
		}
		if got := d.DaysUntil(there); got != n {
			t.Fatalf("%v to %v is %d days, want %d", d, there, got, n)
		}
		if got := there.AddDays(-n); got != d {
			t.Fatalf("%v there and back is %v", d, got)
		}
		order := strings.Compare(d.String(), there.String())
		if d.Compare(there) != order || d.Before(there) != (order < 0) || d.After(there) != (order > 0) {
			t.Fatalf("%v and %v are not ordered as their texts", d, there)
		}
		if back, err := ParseDay(d.String()); err != nil || back != d {
			t.Fatalf("ParseDay(%q) = %v, %v", d.String(), back, err)
		}
	})
}

func TestMonthsKeepTheDayNumberOrEndTheMonth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, n := drawDay(t, "day"), rapid.IntRange(-2000, 2000).Draw(t, "months")
		there := d.AddMonths(n)
		year, month, number := d.Date()
		thereYear, thereMonth, thereNumber := there.Date()
		if got := (thereYear-year)*12 + int(thereMonth-month); got != n {
			t.Fatalf("%v + %d months = %v, %d months away", d, n, there, got)
		}
		_, nextMonth, _ := there.AddDays(1).Date()
		if thereNumber != number && (thereNumber > number || nextMonth == thereMonth) {
			t.Fatalf("%v + %d months = %v: neither the same number nor the month's end", d, n, there)
		}
	})
}

func FuzzParseDay(f *testing.F) {
	for _, text := range []string{"2026-03-01", "2024-02-29", "2026-02-29", "0000-00-00", "9999-12-31", "2026-3-1", "", "\x00", "2026-03-01\n"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		d, err := ParseDay(text)
		want, wantErr := time.Parse(time.DateOnly, text)
		if wantErr == nil && want.Year() > 0 {
			if err != nil || d.String() != want.Format(time.DateOnly) {
				t.Fatalf("ParseDay(%q) = %v, %v; the standard library reads %v", text, d, err, want)
			}
			return
		}
		if err == nil {
			t.Fatalf("ParseDay(%q) = %v; the standard library refuses it", text, d)
		}
		if !d.IsZero() || len(err.Error()) > 400 {
			t.Fatalf("ParseDay(%.40q) left %v and an error of %d bytes", text, d, len(err.Error()))
		}
	})
}

func day(t interface {
	Helper()
	Fatal(...any)
}, text string) Day {
	t.Helper()
	d, err := ParseDay(text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// drawDay stays so far from the ends of the calendar that no test runs into them unawares.
func drawDay(t *rapid.T, name string) Day {
	return Day{1970, 1, 1}.AddDays(rapid.IntRange(-300_000, 300_000).Draw(t, name))
}

// Counted on a calendar by hand.
func TestMonthsAreWholeOnTheDayOfTheirNumber(t *testing.T) {
	for _, c := range []struct {
		from, to string
		want     int
	}{
		{"2025-03-01", "2026-03-01", 12}, {"2025-03-02", "2026-03-01", 11}, {"2025-03-01", "2025-03-01", 0}, {"2025-12-15", "2026-01-14", 0}, {"2025-12-15", "2026-01-15", 1},
		{"2024-01-31", "2024-02-28", 0}, {"2024-01-31", "2024-02-29", 1}, {"2025-01-31", "2025-02-28", 1}, {"2025-03-02", "2025-03-01", -1},
	} {
		from, err := ParseDay(c.from)
		if err != nil {
			t.Fatal(err)
		}
		to, err := ParseDay(c.to)
		if err != nil {
			t.Fatal(err)
		}
		if got := from.MonthsUntil(to); got != c.want {
			t.Errorf("from %s to %s are %d months, want %d", c.from, c.to, got, c.want)
		}
	}
}
