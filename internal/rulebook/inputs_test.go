package rulebook

import (
	"slices"
	"testing"
)

func TestARuleSaysWhatItsVerdictRestsOn(t *testing.T) {
	p := embeddedPack(t, slidePack)
	for rule, want := range map[string]struct{ facts, readings []string }{
		"presence-detection": {[]string{"presence_by"}, nil}, // of the register alone
		"closing-speed":      {[]string{"leaves[].mass_kg"}, []string{"closing_speed_mps"}},
		"breakout-force":     {nil, []string{"breakout_force_n"}},
		"walk-test":          {nil, []string{"walk_test_passed"}},
		"no such rule":       {},
	} {
		in := p.Inputs(rule)
		var readings []string
		for _, k := range in.Readings {
			readings = append(readings, k.Name)
		}
		if !slices.Equal(in.Facts, want.facts) || !slices.Equal(readings, want.readings) {
			t.Errorf("%s: %v and %v, want %v and %v", rule, in.Facts, readings, want.facts, want.readings)
		}
	}
}
