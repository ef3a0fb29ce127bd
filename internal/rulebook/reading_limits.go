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
		if r.Limit == nil || len(r.readings()) != 1 || string(r.Measured) != "reading."+r.readings()[0].Name {
			continue
		}
		if applies, _, _ := s.applies(p, r.when); !applies {
			continue
		}
		if bounds := r.limitFor(facts); bounds != nil {
			list = append(list, ReadingLimit{Reading: r.readings()[0], Pack: p.ID, RuleID: r.ID, Title: r.Title, Limit: *bounds, Standing: r.Standing, Severity: r.Severity})
		}
	}
	return list
}

// Counts tells whether the limit bears on passing: its rule binds, and its failure is more than an advisory.
func (l ReadingLimit) Counts() bool { return l.Standing.Weight() == Binding && l.Severity != Advisory }
