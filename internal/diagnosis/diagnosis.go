// Package diagnosis says why a door may misbehave, from what its record and its computed fields show, and from nothing else.
//
// It is pure: a symptom and evidence in, ranked causes out. The rules are data (rules.yaml): each names a cause, the symptoms that it explains, the
// evidence that carries it and the evidence that only supports it. A cause appears when evidence that carries it holds; one for which
// nothing speaks does not appear, and one of which nobody knows is something to find out. The score is the sum of the weights of what holds, of that
// device for which it is greatest: what is known of one device never speaks for a cause in another. Weights and thresholds
// are our own choice, except where a rule names another source.
package diagnosis

import (
	"bytes"
	"cmp"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"slices"
	"sync"

	"go.yaml.in/yaml/v3"
)

// Symptom is what people say of a door.
type Symptom string

// Symptoms lists all of them.
func Symptoms() []Symptom {
	return []Symptom{"reopens_by_itself", "stays_open", "opens_late", "opens_for_passers", "opens_for_nobody", "misses_who_stands", "opens_in_weather", "answers_for_the_other", "lock_code_unknown"}
}

// Evidence is something known of the door, as a number: a share 0 to 1, metres, seconds, millimetres, days, degrees, a count, or 0 and 1 for no and yes.
type Evidence struct {
	Name    string   `json:"name"`
	Value   float64  `json:"value"`
	Limit   *float64 `json:"limit,omitempty"`   // what it is held against at this device, in the same unit
	Subject string   `json:"subject,omitempty"` // the leaf, zone, way or change that it is of
	Device  string   `json:"device,omitempty"`  // id of the device that it is seen in
}

// Rule is one cause and what speaks for it.
type Rule struct {
	Cause    string    `yaml:"cause"`
	Symptoms []Symptom `yaml:"symptoms"`
	Carries  []Test    `yaml:"carries"`  // one of them must hold
	Supports []Test    `yaml:"supports"` // adds weight to a cause that is carried
	Tells    []string  `yaml:"tells"`    // names of evidence that is told beside it, where it is not 0, and weighs nothing
	Remedy   Remedy    `yaml:"remedy"`
	Source   string    `yaml:"source"`
}

// Test is a threshold on evidence of a name. Exactly one of the five bounds is there.
type Test struct {
	Name    string   `yaml:"name" json:"name"`
	Above   *float64 `yaml:"above" json:"above,omitempty"`
	AtLeast *float64 `yaml:"at_least" json:"at_least,omitempty"`
	Below   *float64 `yaml:"below" json:"below,omitempty"`
	AtMost  *float64 `yaml:"at_most" json:"at_most,omitempty"`
	ToLimit bool     `yaml:"to_limit" json:"to_limit,omitempty"` // more than nothing, and at least the evidence's own limit
	Weight  float64  `yaml:"weight" json:"weight"`
}

// Remedy is what to do: a text by its name, and what may be tried, each by changes of the device from which its effect is foretold.
type Remedy struct {
	Name  string     `yaml:"name"`
	Tries [][]Change `yaml:"tries"`
}

// Change is a setting by name and its value, as the what-if takes it. The value may be the name of evidence that holds it.
type Change struct {
	Name  string `yaml:"name" json:"name"`
	Value string `yaml:"value" json:"value"`
	Only  Only   `yaml:"only" json:"only,omitempty"`
}

// Only says which way a change may go; one that would go the other way is none. "": either.
type Only string

// The ways.
const (
	Raise Only = "raise"
	Lower Only = "lower"
)

// Holds says whether the evidence passes the threshold.
func (t Test) Holds(e Evidence) bool {
	v := e.Value
	switch {
	case t.ToLimit:
		return e.Limit != nil && v > 0 && v >= *e.Limit
	case t.Above != nil:
		return v > *t.Above
	case t.AtLeast != nil:
		return v >= *t.AtLeast
	case t.Below != nil:
		return v < *t.Below
	case t.AtMost != nil:
		return v <= *t.AtMost
	}
	return false
}

// Cause is one explanation with what speaks for it.
type Cause struct {
	Name    string     `json:"cause"`
	Score   float64    `json:"score"`
	Because []Reason   `json:"because"`          // what carries it first
	Tells   []Evidence `json:"tells,omitempty"`  // numbers beside it
	Device  string     `json:"device,omitempty"` // id of the device that it is a cause in; "" for one of the whole door
	Remedy  Remedy     `json:"-"`
}

// Reason is evidence that holds.
type Reason struct {
	Evidence
	Weight float64 `json:"weight"`
}

// Answer is what may be the cause, most likely first, and what to find out because nobody knows it.
type Answer struct {
	Symptom Symptom  `json:"symptom"`
	Causes  []Cause  `json:"causes"`
	FindOut []string `json:"find_out"` // names of evidence
}

// Diagnose ranks the causes of a symptom. Evidence that is not there is not known.
func Diagnose(symptom Symptom, evidence []Evidence) (a Answer, err error) {
	if !slices.Contains(Symptoms(), symptom) {
		return a, fmt.Errorf("no symptom %q", symptom)
	}
	a = Answer{Symptom: symptom, Causes: []Cause{}, FindOut: []string{}}
	for _, r := range Rules() {
		if !slices.Contains(r.Symptoms, symptom) {
			continue
		}
		for _, t := range append(slices.Clone(r.Carries), r.Supports...) {
			if !known(t.Name, evidence) && !slices.Contains(a.FindOut, t.Name) {
				a.FindOut = append(a.FindOut, t.Name)
			}
		}
		var likeliest Cause
		for _, device := range devices(evidence) {
			if c := r.cause(device, evidence); c.Score > likeliest.Score {
				likeliest = c
			}
		}
		if likeliest.Score > 0 {
			a.Causes = append(a.Causes, likeliest)
		}
	}
	slices.SortStableFunc(a.Causes, func(x, y Cause) int { return cmp.Compare(y.Score, x.Score) })
	return a, nil
}

// devices are those that evidence is of, and "" for the door without any.
func devices(evidence []Evidence) []string {
	list := []string{""}
	for _, e := range evidence {
		if !slices.Contains(list, e.Device) {
			list = append(list, e.Device)
		}
	}
	return list
}

// cause is what speaks for the rule by the evidence of one device and of the whole door; of score 0 when nothing carries it.
func (r Rule) cause(device string, evidence []Evidence) Cause {
	c := Cause{Name: r.Cause, Device: device, Remedy: r.Remedy, Because: reasons(r.Carries, device, evidence)}
	if len(c.Because) == 0 {
		return c
	}
	c.Because = append(c.Because, reasons(r.Supports, device, evidence)...)
	for _, reason := range c.Because {
		c.Score += reason.Weight
	}
	for _, name := range r.Tells {
		for _, e := range evidence {
			if e.Name == name && e.Device == device && e.Value != 0 {
				c.Tells = append(c.Tells, e)
			}
		}
	}
	return c
}

// reasons are the tests that hold, each by the evidence that is furthest beyond it.
func reasons(tests []Test, device string, evidence []Evidence) (list []Reason) {
	for _, t := range tests {
		var best *Evidence
		for i, e := range evidence {
			if e.Name == t.Name && (e.Device == "" || e.Device == device) && t.Holds(e) && (best == nil || t.beyond(e.Value, best.Value)) {
				best = &evidence[i]
			}
		}
		if best != nil {
			list = append(list, Reason{*best, t.Weight})
		}
	}
	return list
}

func (t Test) beyond(a, b float64) bool {
	if t.Below != nil || t.AtMost != nil {
		return a < b
	}
	return a > b
}

func known(name string, evidence []Evidence) bool {
	return slices.ContainsFunc(evidence, func(e Evidence) bool { return e.Name == name })
}

//go:embed rules.yaml
var rulesText []byte

// Rules are the shipped rules.
var Rules = sync.OnceValue(func() []Rule {
	rules, err := ParseRules(rulesText)
	if err != nil {
		panic(err) // they are part of the program, and a test reads them
	}
	return rules
})

// ParseRules reads rules and says what is wrong with one.
func ParseRules(text []byte) (rules []Rule, err error) {
	d := yaml.NewDecoder(bytes.NewReader(text))
	d.KnownFields(true)
	if err := d.Decode(&rules); err != nil {
		return nil, err
	}
	if err := d.Decode(new(any)); !errors.Is(err, io.EOF) {
		return nil, errors.New("there is more than one document")
	}
	seen := map[string]bool{}
	for _, r := range rules {
		switch {
		case r.Cause == "" || seen[r.Cause]:
			return nil, fmt.Errorf("cause %q has no name, or one that is taken", r.Cause)
		case len(r.Symptoms) == 0 || len(r.Carries) == 0:
			return nil, fmt.Errorf("cause %q has no symptom, or nothing that carries it", r.Cause)
		case r.Source == "" || r.Remedy.Name == "":
			return nil, fmt.Errorf("cause %q has no source, or no remedy", r.Cause)
		}
		seen[r.Cause] = true
		for _, name := range r.Tells {
			if !slices.Contains(Names(), name) {
				return nil, fmt.Errorf("cause %q tells %q, which nobody can know", r.Cause, name)
			}
		}
		for _, try := range r.Remedy.Tries {
			for _, c := range try {
				if c.Name == "" || c.Value == "" || !slices.Contains([]Only{"", Raise, Lower}, c.Only) {
					return nil, fmt.Errorf("cause %q: a change has no name or value, or goes %q", r.Cause, c.Only)
				}
			}
		}
		for _, s := range r.Symptoms {
			if !slices.Contains(Symptoms(), s) {
				return nil, fmt.Errorf("cause %q explains %q, which is no symptom", r.Cause, s)
			}
		}
		for _, t := range append(slices.Clone(r.Carries), r.Supports...) {
			if t.bounds() != 1 || t.Weight <= 0 || t.Name == "" {
				return nil, fmt.Errorf("cause %q: a test of %q has not one bound and a weight", r.Cause, t.Name)
			}
			if !slices.Contains(Names(), t.Name) {
				return nil, fmt.Errorf("cause %q tests %q, which nobody can know", r.Cause, t.Name)
			}
		}
	}
	return rules, nil
}

func (t Test) bounds() (n int) {
	for _, b := range []*float64{t.Above, t.AtLeast, t.Below, t.AtMost} {
		if b != nil {
			n++
		}
	}
	if t.ToLimit {
		n++
	}
	return n
}

// Names are the evidence that a record can hold.
func Names() []string {
	return []string{
		"leaf_seen_share", "leaf_masked_share", // of the movement of a leaf
		"leaf_from_deg", "leaf_to_deg", // the angles at which a part of it is seen, of a leaf that turns
		"leaf_clear_db", "leaf_clear_at_m", // the reach, and the distance from the closed leaf, at which nothing of any leaf is seen any more
		"let_pass_share",           // of straight paths through a kept-clear zone
		"in_time_s",                // in hand, on the worst of the ways
		"way_outside_m",            // of that way: outside the field,
		"way_slow_m",               // inside and too slow along the line of sight,
		"way_other_direction_m",    // in a direction that is not asked,
		"way_unconfirmed_m",        // and not yet as far as has to be confirmed
		"activation_devices",       // count on a side
		"activation_gap_m",         // widest gap of a required zone for those who come
		"presence_gap_m",           // and for those who stand
		"field_m2",                 // of a device for those who come, on the floor
		"beyond_m2",                // floor of the other side on which somebody is seen through the open doorway
		"beyond_held_s",            // how long somebody over there holds the output
		"slow_walker_s",            // how long the output is still held when a slow walker has reached the door
		"shared_m2",                // floor on which two devices of a side both see somebody
		"drops_travel_mm",          // longest coherent travel of a drop that is seen; its limit is what has to be confirmed
		"litter_travel_mm",         // of litter
		"lamp_mps",                 // the speed that a lamp on the mains looks like; its limit is the least that is noticed
		"confirm_travel_mm",        // as set
		"output_hold_s",            // as set
		"hold_while_moving",        // 0, 1
		"answers_to_departure",     // 1: only; 0: not only
		"answers_to_both",          // 0, 1
		"presence_devices",         // count
		"radar_for_presence",       // count of radars wired to protect: they see movement, not who stands
		"devices_of_one_frequency", // pairs that may answer to each other
		"contact_unlike",           // 1: two devices at the same input have contacts of different sense
		"not_wired",                // devices whose wiring is not recorded, or goes nowhere
		"changed_days_before",      // days from the last change of settings or parts to when it began
		"hood",                     // 0, 1
		"lock_code_on_record",      // 0, 1
	}
}
