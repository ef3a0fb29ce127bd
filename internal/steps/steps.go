// Package steps maps the physical settings of a device to the steps in which they are set at the device itself, and back: a dial with numbers, a
// key pressed so many times, a set of switches, the code of a remote control, turns of a screw. What steps there are is data (a Chart, of a device
// model); nothing here knows a model.
//
// Everything is a pure function of its arguments. Numbers are physical, in the unit that ends the setting's name (reach_db, mount.tilt_deg);
// labels are the model's own. A chart is taken as checked by whoever keeps it.
//
// To add a way in which something is set: a constant in Ways, what of a Step says it, its check where charts are checked (internal/fleet)
// and its sentence where sheets are printed (internal/report). To add a setting, name it where charts are checked.
package steps

import (
	"math"
	"slices"
)

// The ways in which a setting is set at a device.
const (
	Dial     = "dial"     // turned to a label
	Presses  = "presses"  // of one key, so many times
	Switches = "switches" // several, each on or off
	Remote   = "remote"   // keys of a remote control
	Screw    = "screw"    // turns from its stop
)

// Ways lists the ways in which a setting is set.
func Ways() []string { return []string{Dial, Presses, Switches, Remote, Screw} }

// How one of several devices side by side is addressed alone.
const (
	Cover         = "cover"          // what covers the others keeps them from listening
	PowerOff      = "power_off"      // the others are without power meanwhile
	AddressSwitch = "address_switch" // each has an address of its own
	AtTheDevice   = "at_the_device"  // it is set by hand, so nothing else can take it
)

// Addressings lists how one of several devices is addressed alone.
func Addressings() []string { return []string{Cover, PowerOff, AddressSwitch, AtTheDevice} }

// Chart is how a model is set. The JSON names are the recorded form.
type Chart struct {
	Scales  []Scale  `json:"scales" maxItems:"12" doc:"One of each setting that is set in steps."`
	Reset   *Reset   `json:"reset,omitempty"`                                                                                            // nil: not known
	Address *Address `json:"address,omitempty" doc:"How one of several devices side by side is addressed alone; absent when not known."` // nil: not known
}

// Scale is the steps of one setting. Numbers rise or fall from step to step, never both.
type Scale struct {
	Setting  string   `json:"setting" doc:"reach_db, confirm_travel_mm, output_hold_s, mount.tilt_deg, mount.yaw_deg, motion_direction, hold_while_moving, output_contact."` // its physical name, the unit at its end
	Way      string   `json:"way" enum:"dial,presses,switches,remote,screw"`
	Control  string   `json:"control" minLength:"1" maxLength:"60" doc:"What the device has for it, as it can be found there."`
	Switches []string `json:"switches,omitempty" maxItems:"8" doc:"Of a set of switches, the name of each."`
	Factory  string   `json:"factory,omitempty" maxLength:"20" doc:"The label that it is delivered with; absent when not known."` // "": not known
	Steps    []Step   `json:"steps" maxItems:"200" doc:"Numbers rise or fall from step to step."`
}

// Step is one step: its label, what it is physically, and how it is set where the label alone does not say it.
type Step struct {
	Label   string   `json:"label" minLength:"1" maxLength:"20" doc:"In the model's own numbering."`
	Value   *float64 `json:"value,omitempty" doc:"Of a setting with a number, in the unit that ends its name."`
	Word    string   `json:"word,omitempty" maxLength:"20" doc:"Of a setting without a number: as the setting of a device has it, and yes or no."`
	Presses *int     `json:"presses,omitempty" minimum:"0" maximum:"99" doc:"presses: of the key."`
	On      []bool   `json:"on,omitempty" maxItems:"8" doc:"switches: of each."`
	Keys    string   `json:"keys,omitempty" maxLength:"40" doc:"remote: in their order."`
	Turns   *float64 `json:"turns,omitempty" minimum:"0" maximum:"100" doc:"screw: from its stop."`
}

// Reset is how a device is brought back to how it was delivered, and what that clears.
type Reset struct {
	How    string   `json:"how" minLength:"1" maxLength:"500"`
	Clears []string `json:"clears" maxItems:"13" doc:"Settings by name that go back to their factory step, and lock_code."`
}

// Address is how one of several devices side by side is addressed alone.
type Address struct {
	By  string `json:"by" enum:"cover,power_off,address_switch,at_the_device"`
	How string `json:"how" minLength:"1" maxLength:"500"`
}

// LockCode is what a reset may clear that is no setting.
const LockCode = "lock_code"

// Of gives the scale of a setting.
func (c Chart) Of(setting string) (Scale, bool) {
	i := slices.IndexFunc(c.Scales, func(s Scale) bool { return s.Setting == setting })
	if i < 0 {
		return Scale{}, false
	}
	return c.Scales[i], true
}

// Clears tells whether a reset brings a setting back to its factory step.
func (c Chart) Clears(setting string) bool {
	return c.Reset != nil && slices.Contains(c.Reset.Clears, setting)
}

// At gives the step with a label.
func (s Scale) At(label string) (Step, bool) {
	return s.first(func(x Step) bool { return x.Label == label })
}

// Saying gives the step of a word.
func (s Scale) Saying(word string) (Step, bool) {
	return s.first(func(x Step) bool { return x.Value == nil && x.Word == word })
}

func (s Scale) first(is func(Step) bool) (Step, bool) {
	i := slices.IndexFunc(s.Steps, is)
	if i < 0 {
		return Step{}, false
	}
	return s.Steps[i], true
}

// Reached is what of a number can be reached.
type Reached struct {
	Nearest Step
	Other   *Step // on the other side of the number; nil where Nearest is it exactly, or where there is none
	Exact   bool
	Beyond  bool // the number is beyond the last step on its side
}

// sameShare is how far two numbers may be apart, as a share, that were written as one: what is lost in writing decimals down, and nothing else.
const sameShare = 1e-9

// Same tells whether two physical values are one, as people write them.
func Same(a, b float64) bool {
	return math.Abs(a-b) <= sameShare*max(1, math.Abs(a), math.Abs(b))
}

// Nearest gives the step nearest to a number, and its neighbour on the other side of the number. Of two that are equally near it is the one that
// comes first in the chart. The scale has numbers, at least one.
func (s Scale) Nearest(v float64) Reached {
	i := 0
	for k, x := range s.Steps {
		if math.Abs(*x.Value-v) < math.Abs(*s.Steps[i].Value-v) {
			i = k
		}
	}
	r := Reached{Nearest: s.Steps[i], Exact: Same(*s.Steps[i].Value, v)}
	if r.Exact {
		return r
	}
	for _, k := range []int{i - 1, i + 1} {
		if k >= 0 && k < len(s.Steps) && (*s.Steps[k].Value < v) != (*s.Steps[i].Value < v) {
			r.Other = &s.Steps[k]
			return r
		}
	}
	r.Beyond = true
	return r
}

// Turn says in which direction the numbers of a scale go: 1 rising, −1 falling, 0 where they do neither throughout. Steps without a number, and
// fewer than two, go nowhere.
func (s Scale) Turn() int {
	turn := 0
	for i := 1; i < len(s.Steps); i++ {
		a, b := s.Steps[i-1].Value, s.Steps[i].Value
		if a == nil || b == nil {
			return 0
		}
		now := 0
		switch {
		case *b > *a:
			now = 1
		case *b < *a:
			now = -1
		}
		if now == 0 || turn != 0 && now != turn {
			return 0
		}
		turn = now
	}
	return turn
}
