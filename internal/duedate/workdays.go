package duedate

import "fmt"

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

// PreviousWorking is d where that is a working day, else the last one before it. The calendar must be valid.
func (c Calendar) PreviousWorking(d Day) Day {
	// Each holiday can hide one working day of a week, so this many steps are enough.
	for range 7 * (len(c.Holidays) + 1) {
		if c.Working(d) {
			break
		}
		d = d.AddDays(-1)
	}
	return d
}

// LastWorking is the last working day from one day to another, both included, and the zero Day where none is. The zero Day as from: however early. The
// calendar must be valid.
func (c Calendar) LastWorking(from, until Day) Day {
	d := c.PreviousWorking(until)
	if d.Before(from) || !c.Working(d) {
		return Day{}
	}
	return d
}
