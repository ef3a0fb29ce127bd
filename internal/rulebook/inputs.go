package rulebook

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
		in.Readings = r.readings()
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

func (p *program) factNames() (names []string) {
	for _, k := range p.facts {
		names = append(names, k.name)
	}
	for _, k := range p.leaf {
		names = append(names, "leaves[]."+k.name)
	}
	return names
}
