package fleet

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/steps"
)

// Limits of a chart of steps: our own choice, more than any device that people set by hand has.
const (
	mostScales   = 12
	mostSteps    = 200
	mostSwitches = 8
)

// settingWords are the settings that are words, with what each may be at a device.
func settingWords() map[string][]string {
	return map[string][]string{"motion_direction": {"approach", "departure", "either"}, "hold_while_moving": {"yes", "no"}, "output_contact": {"normally_open", "normally_closed"}}
}

// steppedNumbers are the numbers of a device that a model may have steps for: what is set at the device itself, and not where it hangs.
func steppedNumbers() []deviceLimit {
	return slices.DeleteFunc(deviceLimits(), func(l deviceLimit) bool {
		return slices.Contains([]string{"mount.height_m", "mount.offset_x_m", "mount.offset_y_m"}, l.name)
	})
}

// steppedSettings names all settings that a model may have steps for, in the order of a device's members.
func steppedSettings() (names []string) {
	for _, l := range steppedNumbers() {
		names = append(names, l.name)
	}
	return append(names, "motion_direction", "hold_while_moving", "output_contact")
}

// tidyChart is a chart with its texts in one form; the caller's stays as it is.
func tidyChart(c steps.Chart) *steps.Chart {
	c.Scales = slices.Clone(c.Scales)
	for i := range c.Scales {
		s := &c.Scales[i]
		tidy(&s.Control)
		tidy(&s.Factory)
		s.Switches, s.Steps = slices.Clone(s.Switches), slices.Clone(s.Steps)
		for k := range s.Switches {
			tidy(&s.Switches[k])
		}
		for k := range s.Steps {
			tidy(&s.Steps[k].Label)
			tidy(&s.Steps[k].Keys)
		}
	}
	if c.Reset != nil {
		reset := *c.Reset
		tidy(&reset.How)
		c.Reset = &reset
	}
	if c.Address != nil {
		address := *c.Address
		tidy(&address.How)
		c.Address = &address
	}
	return &c
}

// checkChart adds what is wrong with a model's steps, at /steps.
func checkChart(faults *fault.List, c steps.Chart, sensing string) {
	if sensing == "none" {
		faults.Add("/steps", "steps_of_nothing")
		return
	}
	if len(c.Scales) == 0 || len(c.Scales) > mostScales {
		faults.Add("/steps/scales", "count_out_of_range", "least", 1, "greatest", mostScales)
	}
	seen := map[string]bool{}
	for i, s := range c.Scales {
		at := fmt.Sprintf("/steps/scales/%d", i)
		if !slices.Contains(steppedSettings(), s.Setting) {
			nearest := slices.MinFunc(steppedSettings(), func(a, b string) int {
				return levenshtein.ComputeDistance(s.Setting, a) - levenshtein.ComputeDistance(s.Setting, b)
			})
			faults.Add(at+"/setting", "step_setting_unknown", "setting", s.Setting, "nearest", nearest)
			continue
		}
		if seen[s.Setting] {
			faults.Add(at+"/setting", "step_setting_twice", "setting", s.Setting)
		}
		seen[s.Setting] = true
		checkScale(faults, at, s)
	}
	if r := c.Reset; r != nil {
		checkText(faults, "/steps/reset/how", r.How, 1, 500)
		for i, cleared := range r.Clears {
			at := fmt.Sprintf("/steps/reset/clears/%d", i)
			s, known := c.Of(cleared)
			switch {
			case slices.Contains(r.Clears[:i], cleared):
				faults.Add(at, "step_setting_twice", "setting", cleared)
			case cleared == steps.LockCode:
			case !known:
				faults.Add(at, "step_clears_unknown", "setting", cleared)
			case s.Factory == "":
				faults.Add(at, "step_clears_to_nothing", "setting", cleared)
			}
		}
	}
	if a := c.Address; a != nil {
		checkOneOf(faults, "/steps/address/by", a.By, steps.Addressings()...)
		checkText(faults, "/steps/address/how", a.How, 1, 500)
	}
}

func checkScale(faults *fault.List, at string, s steps.Scale) {
	checkOneOf(faults, at+"/way", s.Way, steps.Ways()...)
	checkLine(faults, at+"/control", s.Control, 1, 60)
	if len(s.Steps) < 2 || len(s.Steps) > mostSteps {
		faults.Add(at+"/steps", "count_out_of_range", "least", 2, "greatest", mostSteps)
		return
	}
	switch named := len(s.Switches); {
	case s.Way == steps.Switches && (named == 0 || named > mostSwitches):
		faults.Add(at+"/switches", "count_out_of_range", "least", 1, "greatest", mostSwitches)
	case s.Way != steps.Switches && named > 0:
		faults.Add(at+"/switches", "step_of_other_way", "way", s.Way)
	}
	for k, name := range s.Switches {
		checkLine(faults, fmt.Sprintf("%s/switches/%d", at, k), name, 1, 20)
	}
	if _, ok := s.At(s.Factory); s.Factory != "" && !ok {
		faults.Add(at+"/factory", "step_label_unknown", "label", s.Factory, "labels", labelsOf(s))
	}
	labels, ways := map[string]bool{}, map[string]bool{}
	for k, x := range s.Steps {
		here := fmt.Sprintf("%s/steps/%d", at, k)
		checkLine(faults, here+"/label", x.Label, 1, 20)
		if labels[x.Label] {
			faults.Add(here+"/label", "step_label_twice", "label", x.Label)
		}
		labels[x.Label] = true
		checkWay(faults, here, s, x)
		if x.Presses != nil || len(x.On) > 0 || x.Keys != "" || x.Turns != nil {
			said := fmt.Sprint(valueOf(x.Presses), x.On, x.Keys, valueOf(x.Turns))
			if ways[said] {
				faults.Add(here, "step_set_twice")
			}
			ways[said] = true
		}
	}
	checkMeanings(faults, at, s)
}

func valueOf[T any](p *T) any {
	if p == nil {
		return nil
	}
	return *p
}

// checkWay holds what a step says of how it is set against the way of its scale.
func checkWay(faults *fault.List, at string, s steps.Scale, x steps.Step) {
	for _, m := range []struct {
		way, name string
		there     bool
	}{{steps.Presses, "presses", x.Presses != nil}, {steps.Switches, "on", len(x.On) > 0}, {steps.Remote, "keys", x.Keys != ""}, {steps.Screw, "turns", x.Turns != nil}} {
		switch {
		case m.way == s.Way && !m.there:
			faults.Add(at+"/"+m.name, "step_way_missing", "way", s.Way)
		case m.way != s.Way && m.there:
			faults.Add(at+"/"+m.name, "step_of_other_way", "way", s.Way)
		}
	}
	if x.Presses != nil && (*x.Presses < 0 || *x.Presses > 99) {
		faults.Add(at+"/presses", "out_of_range", "least", 0, "greatest", 99)
	}
	checkNumber(faults, at+"/turns", x.Turns, 0, 100)
	checkLine(faults, at+"/keys", x.Keys, 0, 40)
	if s.Way == steps.Switches && len(x.On) > 0 && len(x.On) != len(s.Switches) {
		faults.Add(at+"/on", "step_on_of_each", "switches", len(s.Switches))
	}
}

// checkMeanings holds what steps are physically against what their setting may be, and numbers against each other.
func checkMeanings(faults *fault.List, at string, s steps.Scale) {
	words, isWord := settingWords()[s.Setting]
	said := map[string]bool{}
	turn := 0.0
	for k, x := range s.Steps {
		here := fmt.Sprintf("%s/steps/%d", at, k)
		if isWord {
			if x.Value != nil {
				faults.Add(here+"/value", "step_is_word", "setting", s.Setting)
			}
			checkOneOf(faults, here+"/word", x.Word, words...)
			if said[x.Word] {
				faults.Add(here+"/word", "step_word_twice", "word", x.Word)
			}
			said[x.Word] = true
			continue
		}
		if x.Word != "" {
			faults.Add(here+"/word", "step_is_number", "setting", s.Setting)
		}
		if x.Value == nil {
			faults.Add(here+"/value", "step_is_number", "setting", s.Setting)
			continue
		}
		limits := steppedNumbers()
		l := limits[slices.IndexFunc(limits, func(l deviceLimit) bool { return l.name == s.Setting })]
		checkNumber(faults, here+"/value", x.Value, l.least, l.greatest)
		if k == 0 || s.Steps[k-1].Value == nil {
			continue
		}
		if now := *x.Value - *s.Steps[k-1].Value; now == 0 || turn*now < 0 || math.IsNaN(now) || steps.Same(*x.Value, *s.Steps[k-1].Value) {
			faults.Add(here+"/value", "steps_not_in_order", "setting", s.Setting)
			return // what follows would all be told against this one
		} else {
			turn = now
		}
	}
}

func labelsOf(s steps.Scale) string {
	labels := make([]string, len(s.Steps))
	for i, x := range s.Steps {
		labels[i] = x.Label
	}
	return strings.Join(labels, ", ")
}

// readSteps gives settings of which the label was read what the step is, by the model of the device. A value that was told beside its label must be
// the label's.
func readSteps(ctx context.Context, tx Tx, c Component, r *Revision) error {
	if len(r.Device.Steps) == 0 {
		return nil
	}
	at := r.pointer() + "/steps"
	var chart *steps.Chart
	if c.ModelID != nil {
		model, err := tx.ModelByID(ctx, *c.ModelID)
		if err != nil {
			return err
		}
		chart = model.Steps
	}
	if chart == nil {
		return fault.At(at, "steps_not_known")
	}
	basis := SeenOnSite
	if r.Standing == "intended" || r.Standing == "" {
		basis = Assumed
	}
	var faults fault.List
	r.Device.Steps = maps.Clone(r.Device.Steps) // the caller's stay as they were sent
	for _, setting := range slices.Sorted(maps.Keys(r.Device.Steps)) {
		s, known := chart.Of(setting)
		if !known {
			faults.Add(at+"/"+setting, "step_setting_not_stepped", "setting", setting)
			continue
		}
		x, known := s.At(strings.TrimSpace(r.Device.Steps[setting]))
		if !known {
			faults.Add(at+"/"+setting, "step_label_unknown", "label", r.Device.Steps[setting], "labels", labelsOf(s))
			continue
		}
		if !r.Device.setTo(x, setting, basis) {
			faults.Add(at+"/"+setting, "step_differs", "label", x.Label)
		}
		r.Device.Steps[setting] = x.Label
	}
	return faults.Err()
}

// setTo gives a setting what a step of it is, where nothing is known of it; false where something else is.
func (d *DeviceFacts) setTo(x steps.Step, setting string, basis Basis) bool {
	if q := d.quantityNamed(setting); q != nil {
		if !q.Known() {
			*q = Q(*x.Value, basis)
		}
		return steps.Same(*q.Value, *x.Value)
	}
	if word := d.wordOf(setting); word != "" {
		return word == x.Word
	}
	switch setting {
	case "motion_direction":
		d.Settings.MotionDirection = x.Word
	case "hold_while_moving":
		yes := x.Word == "yes"
		d.Settings.HoldWhileMoving = &yes
	case "output_contact":
		d.Settings.OutputContact = x.Word
	}
	return true
}

// wordOf is a setting that is a word; "" when it is not known.
func (d DeviceFacts) wordOf(setting string) string {
	word := ""
	switch setting {
	case "motion_direction":
		word = d.Settings.MotionDirection
	case "hold_while_moving":
		if yes := d.Settings.HoldWhileMoving; yes != nil {
			word = map[bool]string{true: "yes", false: "no"}[*yes]
		}
	case "output_contact":
		word = d.Settings.OutputContact
	}
	if word == "unknown" {
		return ""
	}
	return word
}
