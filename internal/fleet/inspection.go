package fleet

import (
	"fmt"
	"slices"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/rulebook"
)

// EntrySafeWork is how the work place was made safe before anything was touched, or why the work was stopped. Local law and the company's
// own safe-work instructions prevail; this only records.
type EntrySafeWork struct {
	Traffic         string `json:"traffic"`                     // how people were kept away: barriered, watched, door_closed, building_closed, not_kept_away
	Power           string `json:"power"`                       // isolated before the leaf is touched, stayed_on
	PowerWhy        string `json:"power_why,omitempty"`         // why it stayed on; must be said then
	Ladder          string `json:"ladder"`                      // not_used, stands_safe, not_safe
	SecondPerson    string `json:"second_person"`               // there, not_needed, missing
	SecondPersonWhy string `json:"second_person_why,omitempty"` // why none was needed; must be said then
	Stopped         string `json:"stopped,omitempty"`           // why the work was stopped; empty: it went on
	Note            string `json:"note,omitempty"`
}

// EntryLeftOut is a reading that was not taken. It makes no rule pass: what applies to a door the rulebook says, and where the inspector
// sees it otherwise, the facts of the door are to be corrected.
type EntryLeftOut struct {
	Name     string `json:"name"`               // of the reading in the rulebook
	Question string `json:"question,omitempty"` // title of a company's question, as it was asked
	Leaf     int    `json:"leaf,omitempty"`     // 1 is the first leaf of the door's facts; 0: of the door as a whole
	Side     string `json:"side,omitempty"`     // a, b; empty: of both
	Reason   string `json:"reason"`             // not_applicable, not_possible, refused, unsafe_to_try
	Why      string `json:"why"`
}

// EntryAdjustment is something that was set or put right at the door without being the mending of a finding.
type EntryAdjustment struct {
	What    string           `json:"what"`
	Touched []rulebook.Group `json:"touched,omitempty"` // what was touched by it; none: whatever can be read at a door
}

// EntryFunctionTest is what was tried before the door was left. Each member is answered yes, no or does_not_apply.
type EntryFunctionTest struct {
	Activation  string `json:"activation"`    // it opens and closes by each activation
	Presence    string `json:"presence"`      // it holds while somebody stands in the doorway
	Contact     string `json:"contact"`       // it stops or reverses on contact
	ByHand      string `json:"by_hand"`       // it breaks out or opens by hand without power
	Modes       string `json:"modes"`         // the mode selector does in each position what it says
	Latching    string `json:"latching"`      // it closes fully and latches
	FreeOfNoise string `json:"free_of_noise"` // it runs without noise and rubbing
	Note        string `json:"note,omitempty"`
}

func (s *EntrySafeWork) tidy() {
	for _, text := range []*string{&s.PowerWhy, &s.SecondPersonWhy, &s.Stopped, &s.Note} {
		tidy(text)
	}
}

func (s EntrySafeWork) check(faults *fault.List) {
	checkOneOf(faults, "/safe_work/traffic", s.Traffic, "barriered", "watched", "door_closed", "building_closed", "not_kept_away")
	checkOneOf(faults, "/safe_work/power", s.Power, "isolated", "stayed_on")
	checkOneOf(faults, "/safe_work/ladder", s.Ladder, "not_used", "stands_safe", "not_safe")
	checkOneOf(faults, "/safe_work/second_person", s.SecondPerson, "there", "not_needed", "missing")
	checkText(faults, "/safe_work/power_why", s.PowerWhy, 0, 500)
	checkText(faults, "/safe_work/second_person_why", s.SecondPersonWhy, 0, 500)
	checkText(faults, "/safe_work/stopped", s.Stopped, 0, 2000)
	checkText(faults, "/safe_work/note", s.Note, 0, 2000)
	if s.Power == "stayed_on" && s.PowerWhy == "" {
		faults.Add("/safe_work/power_why", "text_missing")
	}
	if s.SecondPerson == "not_needed" && s.SecondPersonWhy == "" {
		faults.Add("/safe_work/second_person_why", "text_missing")
	}
	if s.Stopped != "" {
		return
	}
	for _, one := range []struct {
		at    string
		wrong bool
	}{{"traffic", s.Traffic == "not_kept_away"}, {"ladder", s.Ladder == "not_safe"}, {"second_person", s.SecondPerson == "missing"}} {
		if one.wrong {
			faults.Add("/safe_work/"+one.at, "unsafe_not_stopped")
		}
	}
}

func (l EntryLeftOut) check(faults *fault.List) {
	if !rulebook.IsReading(l.Name) {
		faults.Add("/left_out/name", "reading_unknown")
	}
	checkQuestionNamed(faults, "/left_out/question", l.Name, l.Question)
	checkPlace(faults, "/left_out", l.Leaf, l.Side)
	checkOneOf(faults, "/left_out/reason", l.Reason, "not_applicable", "not_possible", "refused", "unsafe_to_try")
	checkText(faults, "/left_out/why", l.Why, 1, 1000)
}

// tried is one question of a function test with its answer.
type tried struct{ name, answer string }

func (t EntryFunctionTest) tried() []tried {
	return []tried{{"activation", t.Activation}, {"presence", t.Presence}, {"contact", t.Contact}, {"by_hand", t.ByHand}, {"modes", t.Modes},
		{"latching", t.Latching}, {"free_of_noise", t.FreeOfNoise}}
}

func (t EntryFunctionTest) check(faults *fault.List) {
	for _, one := range t.tried() {
		checkOneOf(faults, "/function_test/"+one.name, one.answer, "yes", "no", "does_not_apply")
	}
	if !slices.ContainsFunc(t.tried(), func(one tried) bool { return one.answer != "does_not_apply" }) {
		faults.Add("/function_test", "nothing_tried")
	}
	checkText(faults, "/function_test/note", t.Note, 0, 2000)
}

func checkTouched(faults *fault.List, pointer string, touched []rulebook.Group) {
	for i, g := range touched {
		at := fmt.Sprintf("%s/%d", pointer, i)
		if slices.Contains(touched[:i], g) {
			faults.Add(at, "named_twice")
		}
		checkOneOf(faults, at, g, rulebook.Groups()...)
	}
}
