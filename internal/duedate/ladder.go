package duedate

import "fmt"

// Rung is one step of a ladder of notices.
type Rung struct {
	Code       string   `json:"code"`                  // stable name, part of the key of a notice: (work order, due date, code, recipient)
	OffsetDays int      `json:"offset_days"`           // days after the due date on which it has its turn; negative: before it
	To         []string `json:"to"`                    // roles that are told
	RepeatDays int      `json:"repeat_days,omitempty"` // again every so many days,
	Repeats    int      `json:"repeats,omitempty"`     // so many times; then a person decides
	Final      bool     `json:"final,omitempty"`       // the parties' last notice: it states the risk
}

// Ladder is a list of rungs, from the first to be sent to the last.
type Ladder []Rung

// DefaultLadder is a ladder to begin with. Its days are common practice, no source.
func DefaultLadder() Ladder {
	care := []string{"owner", "managing_agent"}
	all := []string{"owner", "managing_agent", "occupier", "dispatcher"}
	grave := []string{"owner", "managing_agent", "occupier", "dispatcher", "administrator"}
	named := []string{"named_person", "owner", "managing_agent", "occupier", "dispatcher", "administrator"}
	return Ladder{
		{Code: "order_made", OffsetDays: -60, To: []string{"dispatcher"}},
		{Code: "due_in_30", OffsetDays: -30, To: care},
		{Code: "due_in_7", OffsetDays: -7, To: care},
		{Code: "due_today", OffsetDays: 0, To: care},
		{Code: "overdue", OffsetDays: 1, To: all},
		{Code: "overdue_14", OffsetDays: 14, To: grave},
		{Code: "overdue_30", OffsetDays: 30, To: named, RepeatDays: 30, Repeats: 4},
		{Code: "final_notice", OffsetDays: 180, To: named, Final: true},
		{Code: "to_be_decided", OffsetDays: 210, To: []string{"dispatcher", "administrator"}}, // no more mail to the parties: a person decides
	}
}

// OutOfServiceLadder is a ladder to begin with for the inspections of doors that are out of service as unsafe: whoever the owner has named
// hears of it on the first day past due, and it ends sooner. Its days are common practice, no source.
func OutOfServiceLadder() Ladder {
	care := []string{"owner", "managing_agent"}
	named := []string{"named_person", "owner", "managing_agent", "occupier", "dispatcher", "administrator"}
	return Ladder{
		{Code: "order_made", OffsetDays: -60, To: []string{"dispatcher"}},
		{Code: "due_in_30", OffsetDays: -30, To: care},
		{Code: "due_in_14", OffsetDays: -14, To: care},
		{Code: "due_in_7", OffsetDays: -7, To: []string{"owner", "managing_agent", "dispatcher"}},
		{Code: "due_today", OffsetDays: 0, To: []string{"owner", "managing_agent", "occupier", "dispatcher"}},
		{Code: "overdue", OffsetDays: 1, To: named},
		{Code: "overdue_7", OffsetDays: 7, To: named, RepeatDays: 7, Repeats: 2},
		{Code: "final_notice", OffsetDays: 30, To: named, Final: true},
		{Code: "to_be_decided", OffsetDays: 37, To: []string{"dispatcher", "administrator"}},
	}
}

// ExpiryLadder is when the holder of a certificate and the dispatchers are told that it runs out: days before and on its last day. Common
// practice, no source.
func ExpiryLadder() Ladder {
	to := []string{"holder", "dispatcher"}
	return Ladder{
		{Code: "runs_out_in_60", OffsetDays: -60, To: to},
		{Code: "runs_out_in_30", OffsetDays: -30, To: to},
		{Code: "runs_out_in_7", OffsetDays: -7, To: to},
		{Code: "runs_out", OffsetDays: 0, To: to},
	}
}

// mostRepeats keeps a ladder from being longer than anybody reads.
const mostRepeats = 60

// Validate names the first rung that is out of order, repeats a code, or tells nobody.
func (l Ladder) Validate() error {
	for i, rung := range l {
		switch {
		case rung.Code == "":
			return fmt.Errorf("rungs[%d].code is empty", i)
		case len(rung.To) == 0:
			return fmt.Errorf("rungs[%d].to: nobody is told", i)
		case rung.RepeatDays < 0 || rung.Repeats < 0 || (rung.RepeatDays == 0) != (rung.Repeats == 0):
			return fmt.Errorf("rungs[%d].repeats: repeat_days and repeats come together, and neither is negative", i)
		case rung.Final && (rung.OffsetDays <= 0 || rung.Repeats > 0):
			return fmt.Errorf("rungs[%d].final: a final notice comes once, and after the due day", i)
		case rung.Repeats > mostRepeats:
			return fmt.Errorf("rungs[%d].repeats: %d is more than %d", i, rung.Repeats, mostRepeats)
		}
	}
	seen := map[string]bool{}
	steps := l.steps()
	for i, s := range steps {
		switch {
		case seen[s.Code]:
			return fmt.Errorf("rungs[%d].code: %s is there twice", s.of, quoted(s.Code))
		case i > 0 && s.OffsetDays <= steps[i-1].OffsetDays:
			return fmt.Errorf("rungs[%d].offset_days: %d does not come after %d", s.of, s.OffsetDays, steps[i-1].OffsetDays)
		}
		seen[s.Code] = true
	}
	return nil
}

// step is a rung that is not repeated, and the index of the one that it comes from.
type step struct {
	Rung
	of int
}

func (l Ladder) steps() (list []step) {
	for i, r := range l {
		for n := range r.Repeats + 1 {
			s := step{Rung{Code: r.Code, OffsetDays: r.OffsetDays + n*r.RepeatDays, To: r.To, Final: r.Final}, i}
			if n > 0 {
				s.Code = fmt.Sprintf("%s_again_%d", r.Code, n)
			}
			list = append(list, s)
		}
	}
	return list
}

// Steps writes the repetitions of a valid ladder out, each as a rung of its own: late, late_again_1, late_again_2.
func (l Ladder) Steps() Ladder {
	var list Ladder
	for _, s := range l.steps() {
		list = append(list, s.Rung)
	}
	return list
}

// Turn is the day on which a rung has its turn at a place with that calendar: its own day, or the last working day
// before it, never a later one. What is past due is not said before it is: such a rung keeps its own day, at rest or not,
// where no working day lies between.
func (r Rung) Turn(due Day, calendar Calendar) Day {
	own := due.AddDays(r.OffsetDays)
	if turn := calendar.PreviousWorking(own); r.OffsetDays <= 0 || turn.After(due) {
		return turn
	}
	return own
}

// RungDue gives the highest rung of a valid ladder whose turn has come for the due date, and the lower ones, which it
// supersedes: whatever of those was not sent by now is written down as superseded and not sent, so that after a
// standstill one notice goes out and not four. ok is false, and nothing is due, before the first rung's turn.
func RungDue(ladder Ladder, due, today Day, calendar Calendar) (rung Rung, superseded []Rung, ok bool) {
	steps := ladder.Steps()
	reached := reachedOn(steps, due, today, calendar)
	if reached == 0 {
		return Rung{}, nil, false
	}
	return steps[reached-1], steps[: reached-1 : reached-1], true
}

// NextTurn is the first day after today on which another rung of a valid ladder has its turn; false after the last one.
func NextTurn(ladder Ladder, due, today Day, calendar Calendar) (Day, bool) {
	steps := ladder.Steps()
	reached := reachedOn(steps, due, today, calendar)
	if reached == len(steps) {
		return Day{}, false
	}
	return steps[reached].Turn(due, calendar), true
}

// reachedOn is how many steps have had their turn.
func reachedOn(steps Ladder, due, today Day, calendar Calendar) (reached int) {
	for reached < len(steps) && !today.Before(steps[reached].Turn(due, calendar)) {
		reached++
	}
	return reached
}
