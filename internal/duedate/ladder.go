package duedate

import "fmt"

// Rung is one step of a ladder of notices.
type Rung struct {
	Code       string   // stable name, part of the key of a notice: (work order, code, recipient)
	OffsetDays int      // days after the due date on which it has its turn; negative: before it
	To         []string // roles that are told
}

// Ladder is a list of rungs, from the first to be sent to the last.
type Ladder []Rung

// Validate names the first rung that is out of order, repeats a code, or tells nobody.
func (l Ladder) Validate() error {
	seen := make(map[string]bool, len(l))
	for i, rung := range l {
		switch {
		case rung.Code == "":
			return fmt.Errorf("rungs[%d].code is empty", i)
		case seen[rung.Code]:
			return fmt.Errorf("rungs[%d].code: %s is there twice", i, quoted(rung.Code))
		case len(rung.To) == 0:
			return fmt.Errorf("rungs[%d].to: nobody is told", i)
		case i > 0 && rung.OffsetDays <= l[i-1].OffsetDays:
			return fmt.Errorf("rungs[%d].offset_days: %d does not come after %d", i, rung.OffsetDays, l[i-1].OffsetDays)
		}
		seen[rung.Code] = true
	}
	return nil
}

// RungDue gives the highest rung of a valid ladder whose day has come for the due date, and the lower ones, which it
// supersedes: whatever of those was not sent by now is written down as superseded and not sent, so that after a
// standstill one notice goes out and not four. ok is false, and nothing is due, before the first rung's day.
func RungDue(ladder Ladder, due, today Day) (rung Rung, superseded []Rung, ok bool) {
	reached := 0
	for reached < len(ladder) && !today.Before(due.AddDays(ladder[reached].OffsetDays)) {
		reached++
	}
	if reached == 0 {
		return Rung{}, nil, false
	}
	return ladder[reached-1], ladder[: reached-1 : reached-1], true
}
