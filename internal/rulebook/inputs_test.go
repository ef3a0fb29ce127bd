package rulebook

import (
	"maps"
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

func TestADoorIsAskedWhatAppliesToIt(t *testing.T) {
	p := embeddedPack(t, slidePack)
	facts, readings := slideDoor()
	names := func() (names []string) {
		for _, a := range p.Asks(facts) {
			for _, k := range a.Readings {
				if !slices.Contains(names, k.Name) {
					names = append(names, k.Name)
				}
			}
		}
		return names
	}
	if got := slices.Sorted(slices.Values(names())); !slices.Equal(got, slices.Sorted(maps.Keys(readings))) {
		t.Errorf("known door: %v", got)
	}
	facts.EgressBreakout, facts.PresenceBy = pointer(false), Beams
	if got := names(); slices.Contains(got, "breakout_force_n") || !slices.Contains(got, "top_beam_height_m") {
		t.Errorf("beam door without breakout: %v", got)
	}
	facts.EgressBreakout = nil // unknown: better measured than forgotten
	if got := names(); !slices.Contains(got, "breakout_force_n") {
		t.Errorf("breakout unknown: %v", got)
	}
	facts.Energy = LowEnergy
	if got := p.Asks(facts); got != nil {
		t.Errorf("door of another pack: %v", got)
	}
}

// The limit beside a reading is the one that it is judged by afterwards.
func TestWhatIsAskedIsWhatIsJudged(t *testing.T) {
	p := embeddedPack(t, slidePack)
	facts, readings := slideDoor()
	asked := p.Asks(facts)
	for _, v := range p.Judge(facts, taken(readings)) {
		i := slices.IndexFunc(asked, func(a Asked) bool { return a.Rule.ID == v.RuleID })
		if (i < 0) != (v.Outcome == NotApplicable) {
			t.Errorf("%s is %s, and asked: %v", v.RuleID, v.Outcome, i >= 0)
		}
		if i < 0 || v.Limit == nil {
			continue
		}
		a := asked[i].Limit
		if len(asked[i].Wanted) > 0 || a == nil || !sameAmount(a.AtLeast, v.Limit.AtLeast) || !sameAmount(a.AtMost, v.Limit.AtMost) {
			t.Errorf("%s asks %+v for want of %v, and is judged by %+v", v.RuleID, a, asked[i].Wanted, v.Limit)
		}
	}
	facts.Leaves[1].MassKg = nil
	for _, a := range p.Asks(facts) {
		want := []Gap(nil)
		if a.Rule.ID == "closing-speed" {
			want = []Gap{{Name: "leaves[1].mass_kg", Problem: Missing}}
		}
		if !slices.Equal(a.Wanted, want) && len(a.Wanted)+len(want) > 0 || a.Rule.ID == "closing-speed" && a.Limit != nil {
			t.Errorf("%s wants %v, has the limit %v", a.Rule.ID, a.Wanted, a.Limit)
		}
	}
}

func sameAmount(a, b *Amount) bool { return a == b || a != nil && b != nil && *a == *b }

// Forms show readings as somebody comes to them who walks round the door: the order of the catalogue is the walk.
func TestEveryReadingHasItsStationOnTheWalk(t *testing.T) {
	walk, now := Stations(), 0
	for _, k := range Readings() {
		at := slices.Index(walk, k.Station)
		if at < now {
			t.Errorf("%s is read at %q, behind %q", k.Name, k.Station, walk[now])
		}
		now = max(now, at)
		if k.Station == Approach && k.Each != EachSide || !slices.Contains([]Each{EachDoor, EachSide, EachLeaf, EachSwing}, k.Each) {
			t.Errorf("%s is read at %q of %q: an approach is of a side", k.Name, k.Each, k.Station)
		}
	}
}

// What nobody knows of a door that swings does not make the rules of a sliding door apply to it.
func TestARuleOfOtherDoorsStaysOneWhateverIsUnknown(t *testing.T) {
	p := embeddedPack(t, slidePack)
	facts, readings := slideDoor()
	facts.DoorKind, facts.EgressBreakout, facts.PresenceBy = Swinging, nil, ""
	for _, v := range p.Judge(facts, taken(readings)) {
		if v.RuleID == "breakout-force" && (v.Outcome != NotApplicable || v.Reason != RuleDoesNotApply) {
			t.Errorf("the breakout force of a swinging door is %s: %s, %v", v.Outcome, v.Reason, v.Gaps)
		}
	}
	if slices.ContainsFunc(p.Asks(facts), func(a Asked) bool {
		return slices.ContainsFunc(a.Wanted, func(g Gap) bool { return g.Name == "egress_breakout" })
	}) {
		t.Error("a swinging door is asked whether its leaves break out")
	}
	facts.DoorKind = Sliding
	for _, v := range p.Judge(facts, taken(readings)) {
		if v.RuleID == "breakout-force" && (v.Outcome != NotJudged || !slices.Contains(v.Gaps, Gap{Name: "egress_breakout", Problem: Missing})) {
			t.Errorf("the breakout force of a sliding door is %s: %s, %v", v.Outcome, v.Reason, v.Gaps)
		}
	}
}
