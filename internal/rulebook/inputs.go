package rulebook

import "slices"

// Inputs is what the verdict of a rule rests on once the rule applies.
type Inputs struct {
	Facts    []string      // of the register, as expressions name them: presence_by, leaves[].mass_kg
	Readings []ReadingKind // taken at the door, in the catalogue's order
}

// Inputs gives what the rule of that id looks at; nothing for a rule that the pack does not have. A rule without readings
// judges what the register says, and no more.
func (p *Pack) Inputs(ruleID string) (in Inputs) {
	for _, r := range p.Rules {
		if r.ID != ruleID {
			continue
		}
		in.Readings = r.looks
		seen := map[string]bool{}
		for _, program := range r.inputs() {
			for _, name := range program.factNames() {
				if !seen[name] {
					in.Facts, seen[name] = append(in.Facts, name), true
				}
			}
		}
	}
	return in
}

// factNames gives what the program asks of the register, and then what the computed readings that it names ask.
func (p *program) factNames() (names []string) {
	own := func(p *program) {
		for _, k := range p.facts {
			names = append(names, k.name)
		}
		for _, k := range p.leaf {
			names = append(names, "leaves[]."+k.name)
		}
	}
	own(p)
	for _, c := range p.behind() {
		own(c.value)
	}
	return names
}

// Asked is what one rule asks of a door before anything is read.
type Asked struct {
	Rule     *Rule
	Readings []ReadingKind // to be taken, in the catalogue's order; none: the rule judges what the register says, and no more
	Better   []ReadingKind // that may be taken instead of what is worked out otherwise, and are preferred
	Facts    []string      // of the register, on which the verdict rests, as expressions name them
	Limit    *BoundsUsed   // worked out for the door; nil for a question, and while a fact is wanting that it takes
	Applies  bool          // false: nobody can say
	Wanted   []Gap         // facts for want of which nobody can say whether the rule applies, or what its limit is
}

// Asks gives what the pack asks of a door, in its order: every rule that applies, and every rule of which nobody can say whether it
// does, so that it is rather measured than forgotten. A pack that is for other doors asks nothing.
func (p *Pack) Asks(facts Facts) (asked []Asked) {
	s := newSituation(facts, nil)
	for _, r := range p.Rules {
		applies, _, reason, gaps := s.applies(p, r.when)
		if reason == RuleDoesNotApply || reason == PackIsForOthers {
			continue
		}
		a := Asked{Rule: r, Readings: s.restsOn(r.looks, r.programs...), Facts: p.Inputs(r.ID).Facts, Limit: r.limitFor(facts), Applies: applies}
		for _, k := range r.looks {
			if !slices.ContainsFunc(a.Readings, func(of ReadingKind) bool { return of.Name == k.Name }) {
				a.Better = append(a.Better, k)
			}
		}
		for _, g := range slices.Concat(gaps, s.allGaps(r.inputs()...)) {
			if !slices.Contains(a.Wanted, g) && !IsReading(g.Name) {
				a.Wanted = append(a.Wanted, g)
			}
		}
		asked = append(asked, a)
	}
	return asked
}
