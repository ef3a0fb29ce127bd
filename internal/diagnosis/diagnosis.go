// Package diagnosis says why a door may misbehave, from what its record and its computed fields show, and from nothing else.
//
// It is pure: a symptom and evidence in, ranked causes out. The rules are data (rules.yaml): each names a cause, the symptoms that it explains, the
// evidence that carries it and the evidence that only supports it. A cause appears when evidence that carries it holds; one for which
// nothing speaks does not appear, and one of which nobody knows is something to find out. The score is the sum of the weights of what holds. Weights and thresholds
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

// Evidence is something known of the door, as a number: a share 0 to 1, metres, seconds, millimetres, days, a count, or 0 and 1 for no and yes.
type Evidence struct {
	Name    string  `json:"name"`
	Value   float64 `json:"value"`
	Subject string  `json:"subject,omitempty"` // the leaf, zone or change that it is of
	Device  string  `json:"device,omitempty"`  // id of the device that it is seen in
}

// Rule is one cause and what speaks for it.
type Rule struct {
	Cause    string    `yaml:"cause"`
	Symptoms []Symptom `yaml:"symptoms"`
	Carries  []Test    `yaml:"carries"`  // one of them must hold
	Supports []Test    `yaml:"supports"` // adds weight to a cause that is carried
	Remedy   Remedy    `yaml:"remedy"`
	Source   string    `yaml:"source"`
}

// Test is a threshold on evidence of a name. Exactly one of the four bounds is there.
type Test struct {
	Name    string   `yaml:"name" json:"name"`
	Above   *float64 `yaml:"above" json:"above,omitempty"`
	AtLeast *float64 `yaml:"at_least" json:"at_least,omitempty"`
	Below   *float64 `yaml:"below" json:"below,omitempty"`
	AtMost  *float64 `yaml:"at_most" json:"at_most,omitempty"`
	Weight  float64  `yaml:"weight" json:"weight"`
}

// Remedy is what to do: a text by its name, and the changes of the device by which its effect is foretold. A change's value may be a
// number, or the name of evidence that holds it.
type Remedy struct {
	Name    string   `yaml:"name"`
	Changes []Change `yaml:"changes"`
}

// Change is a setting by name and its value, as the what-if takes it.
type Change struct {
	Name  string `yaml:"name" json:"name"`
	Value string `yaml:"value" json:"value"`
}

// Holds says whether the value passes the threshold.
func (t Test) Holds(v float64) bool {
	switch {
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
	Name    string   `json:"cause"`
	Score   float64  `json:"score"`
	Because []Reason `json:"because"` // what carries it first
	Remedy  Remedy   `json:"-"`
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
		c := Cause{Name: r.Cause, Because: reasons(r.Carries, evidence), Remedy: r.Remedy}
		for _, t := range append(slices.Clone(r.Carries), r.Supports...) {
			if !known(t.Name, evidence) && !slices.Contains(a.FindOut, t.Name) {
				a.FindOut = append(a.FindOut, t.Name)
			}
		}
		if len(c.Because) == 0 {
			continue
		}
		c.Because = append(c.Because, reasons(r.Supports, evidence)...)
		for _, reason := range c.Because {
			c.Score += reason.Weight
		}
		a.Causes = append(a.Causes, c)
	}
	slices.SortStableFunc(a.Causes, func(x, y Cause) int { return cmp.Compare(y.Score, x.Score) })
	return a, nil
}

// reasons are the tests that hold, each by the evidence that is furthest beyond it.
func reasons(tests []Test, evidence []Evidence) (list []Reason) {
	for _, t := range tests {
		var best *Evidence
		for i, e := range evidence {
			if e.Name == t.Name && t.Holds(e.Value) && (best == nil || t.beyond(e.Value, best.Value)) {
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
	return n
}

// Names are the evidence that a record can hold.
func Names() []string {
	return []string{
		"leaf_seen_share", "leaf_masked_share", "leaf_clear_db", // of the movement of a leaf; the reach at which it is not seen any more
		"let_pass_share",           // of straight paths through a kept-clear zone
		"in_time_s",                // in hand, of the worst way
		"activation_gap_m",         // widest gap of a required zone for those who come
		"presence_gap_m",           // and for those who stand
		"field_m2",                 // of a device for those who come, on the floor
		"travel_of_drops_m",        // longest coherent travel of a drop that is seen
		"travel_of_litter_m",       // of litter
		"drops_trigger",            // 0, 1
		"litter_triggers",          // 0, 1
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
		"looks_like_lamps",         // 1: lamps on the mains are fast enough to be noticed
		"changed_days_before",      // days from the last change of settings or parts to when it began
		"hood",                     // 0, 1
		"lock_code_on_record",      // 0, 1
	}
}
