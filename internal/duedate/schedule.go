package duedate

import (
	"fmt"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
)

// Schedule is a line of the cron table: the instants at which a job is due, always in UTC, at whole minutes. It is read
// by robfig/cron; nothing here runs a job.
type Schedule struct {
	line string
	spec *cron.SpecSchedule
}

// ParseSchedule reads "minute hour day-of-month month day-of-week" or one of @hourly, @daily, @midnight, @weekly,
// @monthly, @yearly, @annually. Where both days are restricted, either one is enough (the rule of POSIX).
//
// It refuses any zone but UTC ("CRON_TZ=UTC " may stand before the line): local hours are missed or doubled when
// clocks change, so what is due locally is decided by the site's civil date. It refuses @every, which has no instants
// of its own to catch up with, and lines that never fire, such as 30 February.
func ParseSchedule(line string) (Schedule, error) {
	const longest = 512 // bytes; every minute of an hour by name takes 170
	if len(line) > longest {
		return Schedule{}, fmt.Errorf("schedule %s is longer than %d bytes", quoted(line), longest)
	}
	fields := strings.TrimPrefix(line, "CRON_TZ=UTC ")
	if strings.Contains(fields, "TZ=") { // also keeps cron from looking up zone files
		return Schedule{}, fmt.Errorf("schedule %s names a zone; schedules are in UTC", quoted(line))
	}
	parser := cron.NewParser(cron.Minute | cron.Hour | cron.Dom | cron.Month | cron.Dow | cron.Descriptor)
	parsed, err := parser.Parse(fields)
	if err != nil {
		return Schedule{}, fmt.Errorf("schedule %s: %w", quoted(line), err)
	}
	spec, fixed := parsed.(*cron.SpecSchedule)
	if !fixed {
		return Schedule{}, fmt.Errorf("schedule %s counts from when it was started; name the minutes and hours instead", quoted(line))
	}
	spec.Location = time.UTC
	leapYear := time.Date(2023, time.December, 31, 0, 0, 0, 0, time.UTC) // 29 February lies within the search
	if spec.Next(leapYear).IsZero() {
		return Schedule{}, fmt.Errorf("schedule %s never fires: no month has that day", quoted(line))
	}
	return Schedule{line: line, spec: spec}, nil
}

// String gives the line as it was read.
func (s Schedule) String() string { return s.line }

// Next is the first instant after the given one at which the schedule is due.
func (s Schedule) Next(after time.Time) time.Time {
	after = after.UTC()
	for {
		if next := s.spec.Next(after); !next.IsZero() {
			return next
		}
		// cron looks five years ahead, and 29 February can be eight years away.
		after = time.Date(after.Year()+5, time.December, 31, 23, 59, 0, 0, time.UTC)
	}
}

// Previous is the last instant, not after the given one, at which the schedule was due.
func (s Schedule) Previous(notAfter time.Time) time.Time {
	notAfter = notAfter.UTC()
	dueBy := func(after time.Time) bool { return !s.Next(after).After(notAfter) }

	// Next never falls when its argument rises. So step back in doubling steps until some instant lies in between,
	// then halve the step towards the last minute after which one still does.
	back := time.Minute
	for !dueBy(notAfter.Add(-back)) {
		back *= 2
	}
	for early, late := notAfter.Add(-back), notAfter; ; {
		middle := early.Add(late.Sub(early) / 2).Truncate(time.Minute)
		if !middle.After(early) {
			return s.Next(early)
		}
		if dueBy(middle) {
			early = middle
		} else {
			late = middle
		}
	}
}

// DueInstants gives the instants after `after` and not after `until` at which the schedule was due, in ascending
// order. Where there are more than most, it gives the latest ones, and more is true. A job that is a function of a
// civil date needs only the latest of them.
func (s Schedule) DueInstants(after, until time.Time, most int) (instants []time.Time, more bool) {
	instants = make([]time.Time, 0, min(max(most, 0), 64))
	for due := s.Previous(until); due.After(after); due = s.Previous(due.Add(-time.Minute)) {
		if len(instants) >= most {
			more = true
			break
		}
		instants = append(instants, due)
	}
	for i, j := 0, len(instants)-1; i < j; i, j = i+1, j-1 {
		instants[i], instants[j] = instants[j], instants[i]
	}
	return instants, more
}

// Latest is the last instant after `after` and not after `until` at which the schedule was due.
func (s Schedule) Latest(after, until time.Time) (due time.Time, ok bool) {
	due = s.Previous(until)
	return due, due.After(after)
}
