package duedate

import (
	"fmt"
	"time"
)

// Calendar says on which days people work at a place. Holidays and rest days are data: Saturday is a working day in
// some laws, holidays move, and days are added once only.
type Calendar struct {
	Rest     [7]bool          // by time.Weekday: nobody works on that day of the week
	Holidays map[Day]struct{} // further days on which nobody works
}

// Validate refuses a week without a working day.
func (c Calendar) Validate() error {
	if c.Rest == [7]bool{true, true, true, true, true, true, true} {
		return fmt.Errorf("rest: all seven days of the week are rest days")
	}
	return nil
}

// Working tells whether people work on that day.
func (c Calendar) Working(d Day) bool {
	_, holiday := c.Holidays[d]
	return !holiday && !c.Rest[d.Weekday()]
}

// NextWorking is d where that is a working day, else the first one after it. The calendar must be valid.
func (c Calendar) NextWorking(d Day) Day { return c.walk(d, +1) }

// PreviousWorking is d where that is a working day, else the last one before it: a visit for a due date that falls on a
// Sunday is planned so, because a holiday never moves a legal last date later. The calendar must be valid.
func (c Calendar) PreviousWorking(d Day) Day { return c.walk(d, -1) }

func (c Calendar) walk(d Day, step int) Day {
	// Each holiday can hide one working day of a week, so this many steps are enough.
	for range 7 * (len(c.Holidays) + 1) {
		if c.Working(d) {
			break
		}
		d = d.AddDays(step)
	}
	return d
}

// WeekendRest is a calendar that rests on Saturday and Sunday and on the given holidays.
func WeekendRest(holidays ...Day) Calendar {
	c := Calendar{Holidays: make(map[Day]struct{}, len(holidays))}
	c.Rest[time.Saturday], c.Rest[time.Sunday] = true, true
	for _, d := range holidays {
		c.Holidays[d] = struct{}{}
	}
	return c
}
