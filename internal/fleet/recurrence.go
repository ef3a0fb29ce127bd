package fleet

import "time"

// recursWithinYears is how long after a finding was closed the same one counts as coming back: common practice, no source.
const recursWithinYears = 5

// linkRecurring writes into findings which of them came back: of the same rule, after an earlier one had been mended or had
// passed a re-inspection. Ties are broken by the order of the findings, which is total.
func linkRecurring(findings []VisitFinding) {
	for i := range findings {
		f := &findings[i]
		f.Times = 1
		if f.Cause == "" || f.unfounded() {
			continue
		}
		var last time.Time
		for _, g := range findings {
			if g.Cause != f.Cause || g.State == "open" || g.unfounded() || !g.ClosedAt.Before(f.OpenedAt) || !f.OpenedAt.Before(g.ClosedAt.AddDate(recursWithinYears, 0, 0)) {
				continue
			}
			f.Times++
			if f.FirstAt == nil || g.OpenedAt.Before(*f.FirstAt) {
				at := g.OpenedAt
				f.FirstAt = &at
			}
			if f.RecursOf == nil || g.ClosedAt.After(last) {
				id := g.FindingID
				f.RecursOf, last = &id, *g.ClosedAt
			}
		}
	}
}

// unfounded tells whether a finding was taken back: corrected, or dismissed for a reason.
func (f VisitFinding) unfounded() bool { return f.State == "withdrawn" || f.State == "dismissed" }
