package fleet

import (
	"cmp"
	"context"
	"slices"
	"time"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
)

// MostPreviewed is how many inspections a preview looks at; `lintel pack replay` looks at all.
const MostPreviewed = 2000

// What a preview may take of a server: this long, one processor, and one preview at a time.
const (
	previewWithin = 10 * time.Second
	previewPart   = 200 // looked at between two looks at the clock
)

// ReplayPreview says what the newest inspections would have come to by a pack.
type ReplayPreview struct {
	Pack    *rulebook.Pack
	Until   time.Time // inspections whose signature had arrived by then
	Looked  int       // inspections looked at
	Of      int       // inspections that are there; 0 when the time was up before they were counted
	TimeUp  bool      // fewer were looked at than were asked for
	Sum     ReplaySum
	Changed []ReplayedInspection // the newest first
}

// PreviewedRule is a rule that says otherwise.
type PreviewedRule struct {
	ID, Title   string // no title: the pack does not have it any more
	Inspections int    // in which it bears on the result
}

// Rules are those that say otherwise, the one with the most inspections first.
func (p ReplayPreview) Rules() (list []PreviewedRule) {
	for id, n := range p.Sum.Rules {
		one := PreviewedRule{ID: id, Inspections: n}
		if i := slices.IndexFunc(p.Pack.Rules, func(r *rulebook.Rule) bool { return r.ID == id }); i >= 0 {
			one.Title = p.Pack.Rules[i].Title
		}
		list = append(list, one)
	}
	slices.SortFunc(list, func(a, b PreviewedRule) int {
		return cmp.Or(cmp.Compare(b.Inspections, a.Inspections), cmp.Compare(a.ID, b.ID))
	})
	return list
}

// PreviewPack replays the newest inspections in sight by a pack: as many as asked, MostPreviewed at most, and no more than a server can look
// at beside its work. Nothing is written. While another preview goes on, it is refused with replay_busy.
func (f *Fleet) PreviewPack(ctx context.Context, by identity.Actor, packID string, last int) (ReplayPreview, error) {
	limited, cancel := context.WithTimeout(ctx, previewWithin)
	defer cancel()
	return f.previewPack(ctx, limited, by, packID, last)
}

// previewPack takes no longer than the limited context holds.
func (f *Fleet) previewPack(ctx, limited context.Context, by identity.Actor, packID string, last int) (p ReplayPreview, err error) {
	if last < 1 || last > MostPreviewed {
		return p, fault.At("/last", "count_out_of_range", "least", 1, "greatest", MostPreviewed)
	}
	pack, err := f.RulePack(ctx, by, packID)
	if err != nil {
		return p, err
	}
	if !f.previewing.TryLock() {
		return p, fault.New(fault.TooMany, "replay_busy")
	}
	defer f.previewing.Unlock()
	p = ReplayPreview{Pack: pack.Pack, Until: f.Now()}
	p.Sum.Add(ReplaySum{})
	err = f.Store.InTxReadOnly(limited, by, func(ctx context.Context, tx Tx) error {
		p.Of, err = tx.CountInspections(ctx, p.Until)
		return err
	})
	if err == nil {
		ask := ReplayAsk{Pack: p.Pack, Until: p.Until, Last: last, Part: previewPart, Alone: true}
		err = f.Replay(limited, by, ask, ReplayCursor{}, func(part ReplayPage) error {
			p.Looked = part.Next.Done
			p.Sum.Add(part.Sum)
			p.Changed = append(p.Changed, part.Changed...)
			return limited.Err()
		})
	}
	if err != nil && limited.Err() != nil && ctx.Err() == nil {
		p.TimeUp, err = p.Looked < min(last, p.Of) || p.Of == 0, nil
	}
	return p, err
}
