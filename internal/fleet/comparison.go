package fleet

import (
	"context"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
)

// Comparison is what another pack would have said of the last signed inspection of a door. It changes nothing: the door is judged by its
// rule basis, and whatever fails here is advice.
type Comparison struct {
	Door      Door
	Inspected duedate.Day // zero: never
	VisitID   uuid.UUID
	Basis     string // the pack that judged
	With      *rulebook.Pack
	Rules     []ComparedRule
}

// ComparedRule is one rule of the other pack beside what the rule of the same id said in the door's basis.
type ComparedRule struct {
	rulebook.Verdict                  // of the other pack; its severity is advisory whatever the pack says
	Basis            rulebook.Outcome // "" where the basis has no rule of that id
	Lacking          []string         // in words: the readings and facts for want of which it was not judged
}

// Compare judges the last signed inspection of a door by another pack or edition.
func (f *Fleet) Compare(ctx context.Context, by identity.Actor, doorID uuid.UUID, packID string) (c Comparison, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		pack, ok, err := f.packNamed(ctx, tx, packID)
		if err != nil {
			return err
		}
		if !ok {
			return fault.New(fault.NotFound, "pack_not_found", "pack", packID)
		}
		c = Comparison{With: pack}
		if c.Door, err = tx.DoorByID(ctx, doorID, AsOf{}); err != nil {
			return err
		}
		if !pack.IsFor(rulebook.DoorKind(c.Door.Facts.Kind), rulebook.Energy(c.Door.Facts.Energy)) {
			return fault.New(fault.Conflict, "pack_for_other_doors", "pack", packID)
		}
		site, err := tx.SiteByID(ctx, c.Door.SiteID)
		if err != nil {
			return err
		}
		entries, err := tx.EntriesOfDoor(ctx, doorID)
		if err != nil {
			return err
		}
		last := lastConclusion(entries)
		if last == nil {
			return nil
		}
		c.Inspected, c.VisitID = duedate.DayIn(last.ObservedAt, site.Location()), last.VisitID
		w := writer{fleet: f, texts: f.printer(by), zone: site.Location()}
		then, now, err := w.judgements(ctx, tx, *last, entries)
		if err != nil {
			return err
		}
		if then == nil {
			then = &now
		}
		c.Basis = then.pack
		said := map[string]rulebook.Outcome{}
		for _, v := range then.verdicts {
			said[v.RuleID] = v.Outcome
		}
		for _, v := range pack.Judge(inspectedFacts(then.door), then.readings) {
			v.Severity = rulebook.Advisory
			one := ComparedRule{Verdict: v, Basis: said[v.RuleID]}
			for _, g := range v.Gaps {
				one.Lacking = append(one.Lacking, w.gap(g))
			}
			c.Rules = append(c.Rules, one)
		}
		return nil
	})
	return c, err
}
