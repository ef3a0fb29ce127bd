package rulebook

// ReadingLimit is a limit that a rule of a pack sets to a reading as it is read, worked out for a door.
type ReadingLimit struct {
	Reading  ReadingKind
	Pack     string
	RuleID   string
	Title    string
	Limit    BoundsUsed
	Standing Standing
	Severity Severity
}

// ReadingLimits gives the limits of the rules that apply to the door and hold a reading itself against a limit, in the pack's
// order. Rules that compute something of several readings, and limits for which a fact is missing, are not among them.
func (p *Pack) ReadingLimits(facts Facts) (list []ReadingLimit) {
	s := newSituation(facts, nil)
	for _, r := range p.Rules {
		reading := r.itself()
		if reading == nil {
			continue
		}
		if applies, _, _, _ := s.applies(p, r.when); !applies {
			continue
		}
		if bounds := r.limitFor(facts); bounds != nil {
			standing := r.Standing
			if s.shaky(r.Limit.atLeast, r.Limit.atMost) {
				standing = FromMemory
			}
			list = append(list, ReadingLimit{Reading: *reading, Pack: p.ID, RuleID: r.ID, Title: r.Title, Limit: *bounds, Standing: standing, Severity: r.Severity})
		}
	}
	return list
}

// itself gives the reading that the rule holds against its limit as it was read, or as it is preferred to a computed one.
func (r *Rule) itself() *ReadingKind {
	switch m := r.measured; {
	case m == nil:
	case len(m.readings) == 1 && m.name == readingPrefix+m.readings[0].Name:
		return &m.readings[0]
	case len(m.computed) == 1 && m.name == computedPrefix+m.computed[0].ID:
		return m.computed[0].prefers
	}
	return nil
}

// Holds tells whether the rule's limit is held against a reading of that kind as it was read, and not against what is worked out with it.
func (r *Rule) Holds(k ReadingKind) bool {
	own := r.itself()
	return own != nil && own.Name == k.Name
}

// Counts tells whether the limit bears on passing: its rule binds, and its failure is more than an advisory.
func (l ReadingLimit) Counts() bool { return l.Standing.Weight() == Binding && l.Severity != Advisory }
