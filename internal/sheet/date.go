package sheet

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// String gives YYYY-MM-DD, "" for none.
func (d Date) String() string {
	if d.IsZero() {
		return ""
	}
	return fmt.Sprintf("%04d-%02d-%02d", d.Year, d.Month, d.Day)
}

// The years in which a date of a list may lie.
const (
	firstYear = 1900
	lastYear  = 2100
)

var (
	inFigures   = regexp.MustCompile(`^([0-9]{1,4})[-/. ]+([0-9]{1,2})[-/. ]+([0-9]{1,4})\.?$`)
	dayMonth    = regexp.MustCompile(`^([0-9]{1,2})(?:st|nd|rd|th|\.)?[-/ ]*([\p{L}]{3,})\.?[-/, ]*([0-9]{2,4})$`)
	monthDay    = regexp.MustCompile(`^([\p{L}]{3,})\.?[-/ ]*([0-9]{1,2})(?:st|nd|rd|th)?[-/, ]+([0-9]{2,4})$`)
	monthYear   = regexp.MustCompile(`^(?:[\p{L}]{3,}\.?|[0-9]{1,2})[-/., ]+[0-9]{4}$`)
	bareNumber  = regexp.MustCompile(`^[0-9]{5}([.,][0-9]+)?$`)
	yearAlone   = regexp.MustCompile(`^[0-9]{4}$`)
	timeOfDay   = regexp.MustCompile(`[T ]+[0-9]{1,2}:[0-9]{2}(:[0-9]{2}([.,][0-9]+)?)?( *[AaPp][Mm]|Z)?$`)
	weekdayName = regexp.MustCompile(`^(?i)(mon|tue|wed|thu|fri|sat|sun)[a-z]*\.?,? +`)
)

// parseDate reads a date. Figures need an order unless only one is possible; two figures are no year.
func parseDate(text string, order DateOrder) (Date, *refusal) {
	text = timeOfDay.ReplaceAllString(weekdayName.ReplaceAllString(text, ""), "")
	if m := inFigures.FindStringSubmatch(text); m != nil {
		return figures(m[1], m[2], m[3], order)
	}
	if m := dayMonth.FindStringSubmatch(text); m != nil {
		return named(m[3], m[2], m[1])
	}
	if m := monthDay.FindStringSubmatch(text); m != nil {
		return named(m[3], m[1], m[2])
	}
	switch {
	case monthYear.MatchString(text), yearAlone.MatchString(text):
		return Date{}, refuse("date_without_day")
	case bareNumber.MatchString(text):
		return Date{}, refuse("date_is_number")
	}
	return Date{}, refuse("not_a_date")
}

func figures(first, second, third string, order DateOrder) (Date, *refusal) {
	a, _ := strconv.Atoi(first)
	b, _ := strconv.Atoi(second)
	c, _ := strconv.Atoi(third)
	switch {
	case len(first) == 4 && len(third) <= 2:
		return inCalendar(a, b, c)
	case len(third) == 3 || len(first) > 2:
		return Date{}, refuse("not_a_date")
	case len(third) != 4:
		return Date{}, refuse("two_digit_year")
	}
	switch order {
	case DayFirst:
		return inOrder(c, b, a)
	case MonthFirst:
		return inOrder(c, a, b)
	}
	switch {
	case a > 12 || a == b:
		return inCalendar(c, b, a)
	case b > 12:
		return inCalendar(c, a, b)
	}
	return Date{}, refuse("date_ambiguous", "one", Date{c, b, a}.String(), "other", Date{c, a, b}.String())
}

// inOrder is inCalendar with a word for what fits only in another order.
func inOrder(year, month, day int) (Date, *refusal) {
	if month > 12 && day <= 12 {
		return Date{}, refuse("date_in_other_order")
	}
	return inCalendar(year, month, day)
}

func named(year, month, day string) (Date, *refusal) {
	y, _ := strconv.Atoi(year)
	d, _ := strconv.Atoi(day)
	n := monthNamed(month)
	switch {
	case n == 0:
		return Date{}, refuse("not_a_date")
	case len(year) == 2:
		return Date{}, refuse("two_digit_year")
	}
	return inCalendar(y, n, d)
}

func inCalendar(year, month, day int) (Date, *refusal) {
	at := time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC)
	switch {
	case month < 1 || month > 12 || at.Day() != day || day < 1:
		return Date{}, refuse("not_in_the_calendar")
	case year < firstYear || year > lastYear:
		return Date{}, refuse("year_out_of_range", "first", strconv.Itoa(firstYear), "last", strconv.Itoa(lastYear))
	}
	return Date{year, month, day}, nil
}

// monthNamed knows the months of English and German by their beginnings.
func monthNamed(text string) int {
	name := plain(text)
	for i, spellings := range []string{"january januar", "february februar", "march marz maerz", "april", "may mai", "june juni", "july juli", "august",
		"september sept", "october oktober", "november", "december dezember"} {
		for spelling := range strings.FieldsSeq(spellings) {
			if len(name) >= 3 && strings.HasPrefix(spelling, name) {
				return i + 1
			}
		}
	}
	return 0
}
