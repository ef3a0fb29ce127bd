package duedate

import (
	"cmp"
	"fmt"
	"time"
)

// Day is a civil date of the Gregorian calendar, 0001-01-01 to 9999-12-31, without a time of day and without a zone.
// Days are comparable with == and usable as map keys. The zero Day is no date at all: IsZero says so, it prints as
// the empty text, sorts before every date and refuses to be written out.
type Day struct {
	year  int16
	month uint8
	day   uint8
}

var (
	firstDay = Day{1, 1, 1}
	lastDay  = Day{9999, 12, 31}
)

// NewDay makes a Day and refuses what is not in the calendar, such as 30 February.
func NewDay(year int, month time.Month, day int) (Day, error) {
	switch {
	case year < 1 || year > 9999:
		return Day{}, fmt.Errorf("year %d is not within 1 to 9999", year)
	case month < time.January || month > time.December:
		return Day{}, fmt.Errorf("month %d is not within 1 to 12", int(month))
	case day < 1 || day > daysIn(year, month):
		return Day{}, fmt.Errorf("day %d is not in %s %d, which has %d days", day, month, year, daysIn(year, month))
	}
	return Day{int16(year), uint8(month), uint8(day)}, nil
}

// ParseDay reads "YYYY-MM-DD" and nothing else: ten ASCII characters, no blanks, no sign, no time.
func ParseDay(text string) (Day, error) {
	if len(text) != len("2006-01-02") || text[4] != '-' || text[7] != '-' {
		return Day{}, fmt.Errorf("date %s is not in the form YYYY-MM-DD", quoted(text))
	}
	year, okYear := digits(text[0:4])
	month, okMonth := digits(text[5:7])
	day, okDay := digits(text[8:10])
	if !okYear || !okMonth || !okDay {
		return Day{}, fmt.Errorf("date %s is not in the form YYYY-MM-DD", quoted(text))
	}
	d, err := NewDay(year, time.Month(month), day)
	if err != nil {
		return Day{}, fmt.Errorf("date %s is not in the calendar: %w", quoted(text), err)
	}
	return d, nil
}

// DayIn is the civil date that a calendar on the wall at loc shows at the instant.
func DayIn(instant time.Time, loc *time.Location) Day {
	return dayOf(instant.In(loc).Date())
}

// Date gives the parts of the date.
func (d Day) Date() (year int, month time.Month, day int) {
	return int(d.year), time.Month(d.month), int(d.day)
}

// IsZero tells whether d is the zero Day, which is no date.
func (d Day) IsZero() bool { return d == Day{} }

// String gives "YYYY-MM-DD", and the empty text for the zero Day.
func (d Day) String() string {
	if d.IsZero() {
		return ""
	}
	return fmt.Sprintf("%04d-%02d-%02d", d.year, d.month, d.day)
}

// Compare is -1 where d is earlier than other, 0 where they are the same date, +1 where d is later.
func (d Day) Compare(other Day) int {
	return cmp.Or(cmp.Compare(d.year, other.year), cmp.Compare(d.month, other.month), cmp.Compare(d.day, other.day))
}

// Before tells whether d is earlier than other.
func (d Day) Before(other Day) bool { return d.Compare(other) < 0 }

// After tells whether d is later than other.
func (d Day) After(other Day) bool { return d.Compare(other) > 0 }

// PlausibleDays are the first and the last date that anybody can mean: from before every automatic door to fifty years after
// today. What lies outside is a slip of the keyboard or of a clock. Common practice, no source.
func PlausibleDays(today Day) (first, last Day) { return Day{1900, 1, 1}, today.AddYears(50) }

// AddDays gives the date n days later, or earlier where n is negative. It stops at the ends of the calendar.
func (d Day) AddDays(n int) Day {
	const moreThanAll = 4_000_000 // days; the calendar of ten thousand years has 3,652,059
	n = min(max(n, -moreThanAll), moreThanAll)
	return dayOf(d.utc().AddDate(0, 0, n).Date())
}

// DaysUntil is how many days later than d the other date is; negative where it is earlier.
func (d Day) DaysUntil(other Day) int {
	const secondsADay = 86400
	return int((other.utc().Unix() - d.utc().Unix()) / secondsADay)
}

// AddMonths gives the date n months later with the same number of the day, or the last day of that month where it is
// shorter: 31 January + 1 is 28 or 29 February, 29 February + 12 is 28 February. Count from the anchor each time and
// never from a result, or a short month shortens all that follow. It stops at the ends of the calendar.
func (d Day) AddMonths(n int) Day {
	day, _ := d.plusMonths(n)
	return day
}

// plusMonths is AddMonths, and false where the calendar has ended before.
func (d Day) plusMonths(n int) (day Day, ok bool) {
	const moreThanAll = 200_000 // months
	n = min(max(n, -moreThanAll), moreThanAll)
	months := int(d.year)*12 + int(d.month) - 1 + n
	year, month := months/12, time.Month(months%12+1)
	switch {
	case months < 12: // before year 1
		return firstDay, false
	case year > 9999:
		return lastDay, false
	}
	return Day{int16(year), uint8(month), uint8(min(int(d.day), daysIn(year, month)))}, true
}

// MonthsUntil counts the whole months from d to another day, rounded down: the most that AddMonths may add without passing it; negative
// when the other is earlier.
func (d Day) MonthsUntil(other Day) int {
	y, m, _ := d.Date()
	to, month, _ := other.Date()
	n := (to-y)*12 + int(month-m)
	if d.AddMonths(n).After(other) {
		n--
	}
	return n
}

// AddYears is twelve times as many months.
func (d Day) AddYears(n int) Day {
	return d.AddMonths(12 * min(max(n, -10_000), 10_000))
}

// Weekday gives the day of the week.
func (d Day) Weekday() time.Weekday { return d.utc().Weekday() }

// ISOWeek gives the week of ISO 8601 as "2026-W53-4": week 1 holds the year's first Thursday, day 1 is Monday, and the
// year is the week's, which differs from the date's around New Year.
func (d Day) ISOWeek() string {
	year, week := d.utc().ISOWeek()
	return fmt.Sprintf("%04d-W%02d-%d", year, week, (int(d.Weekday())+6)%7+1)
}

// MarshalText writes "YYYY-MM-DD", for JSON too, and refuses the zero Day; leave it out with `omitzero` instead.
func (d Day) MarshalText() ([]byte, error) {
	if d.IsZero() {
		return nil, fmt.Errorf("the zero Day is no date and cannot be written")
	}
	return []byte(d.String()), nil
}

// UnmarshalText reads what ParseDay reads and leaves d as it was on an error.
func (d *Day) UnmarshalText(text []byte) error {
	parsed, err := ParseDay(string(text))
	if err != nil {
		return err
	}
	*d = parsed
	return nil
}

func (d Day) utc() time.Time {
	return time.Date(int(d.year), time.Month(d.month), int(d.day), 0, 0, 0, 0, time.UTC)
}

// dayOf takes parts that a time.Time gave, so the date exists; only the year can be out of the calendar.
func dayOf(year int, month time.Month, day int) Day {
	switch {
	case year < 1:
		return firstDay
	case year > 9999:
		return lastDay
	}
	return Day{int16(year), uint8(month), uint8(day)}
}

func daysIn(year int, month time.Month) int {
	switch month {
	case time.February:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	case time.April, time.June, time.September, time.November:
		return 30
	}
	return 31
}

func digits(text string) (number int, ok bool) {
	for i := range len(text) {
		if text[i] < '0' || text[i] > '9' {
			return 0, false
		}
		number = number*10 + int(text[i]-'0')
	}
	return number, true
}

// quoted keeps foreign text in a message short and on one line.
func quoted(text string) string {
	const most = 40
	if len(text) > most {
		return fmt.Sprintf("%q (cut from %d bytes)", text[:most], len(text))
	}
	return fmt.Sprintf("%q", text)
}
