package rulebook

import "slices"

// Interval is the most that may lie between two inspections of a door, and the rule that says so.
type Interval struct {
	Months int
	Rule   *Rule
	Pack   *Pack
}

// LongestInterval gives the shortest of the intervals that the packs allow between two inspections of a door: the limits of their rules about
// months_since_inspection. Where two allow the same, the earlier pack says so. It answers false when no rule that applies to the door names one.
// A rule that is only recalled counts, too: whoever comes earlier than the law asks breaks none.
func LongestInterval(facts Facts, packs ...*Pack) (longest Interval, named bool) {
	door := newSituation(facts, nil)
	for _, p := range packs {
		for _, r := range p.Rules {
			if r.Limit == nil || r.Limit.Unit != "months" || !slices.ContainsFunc(r.looks, func(k ReadingKind) bool { return k.Name == "months_since_inspection" }) {
				continue
			}
			if applies, _, _, _ := door.applies(p, r.when); !applies {
				continue
			}
			limit := r.limitFor(facts)
			if limit == nil || limit.AtMost == nil || limit.AtMost.Value < 1 {
				continue
			}
			if months := int(limit.AtMost.Value); !named || months < longest.Months {
				longest, named = Interval{months, r, p}, true
			}
		}
	}
	return longest, named
}
