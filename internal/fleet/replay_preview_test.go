package fleet_test

import (
	"context"
	"strings"
	"testing"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// stricter asks for 72 N.
const stricter = "house@2"

func TestAPreviewSaysHowManyOfHowManyItLookedAtAndWhatTheyWouldComeTo(t *testing.T) {
	t.Parallel()
	a := fleetOfSix(t)
	a.addPack(t, stricter, edition("2", "72"))
	before := a.rows(t)
	for _, c := range []struct {
		last, looked, judged int
		changed              string
	}{
		{fleet.MostPreviewed, 7, 6, "East passed>failed, North passed>failed"}, // West's first had 60 N
		{3, 3, 2, "East passed>failed"},                                        // those of the second day: East, West, and Turn that the pack is not for
	} {
		p, err := a.PreviewPack(t.Context(), administrator, stricter, c.last)
		if err != nil {
			t.Fatal(err)
		}
		if p.Looked != c.looked || p.Of != 7 || p.TimeUp || p.Sum.Judged != c.judged || p.Sum.Others != 1 {
			t.Errorf("the last %d: looked at %d of %d (time up: %v), %+v", c.last, p.Looked, p.Of, p.TimeUp, p.Sum)
		}
		var changed []string
		for _, one := range p.Changed {
			changed = append(changed, one.Name+" "+string(one.Then)+">"+string(one.Now))
		}
		if got := strings.Join(changed, ", "); got != c.changed {
			t.Errorf("the last %d: %s, want %s", c.last, got, c.changed)
		}
		if rules := p.Rules(); len(rules) != 1 || rules[0] != (fleet.PreviewedRule{ID: "soft-closing", Title: "Closes softly", Inspections: len(changed)}) {
			t.Errorf("the last %d: rules %+v", c.last, rules)
		}
	}
	if after := a.rows(t); after != before {
		t.Errorf("%d rows in the log of changes and of records before, %d after", before, after)
	}
}

// rows counts what any change would add to.
func (r *rig) rows(t testing.TB) (n int) {
	t.Helper()
	if err := r.db.Admin.QueryRow(t.Context(), "select (select count(*) from change_log) + (select count(*) from record_log) + (select count(*) from visit_entry) + (select count(*) from finding)").Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// Time runs out while the pack is looked for, while inspections are counted, and while they are judged: what was looked at until then is told.
func TestAPreviewEndsWhenItsTimeIsUpAndSaysSo(t *testing.T) {
	t.Parallel()
	a := fleetOfSix(t)
	a.addPack(t, stricter, edition("2", "72"))
	for after, want := range map[int]struct {
		of, looked int
		timeUp     bool
	}{2: {0, 0, true}, 3: {7, 0, true}} {
		limited, cancel := context.WithCancel(t.Context())
		parts := a.Parts
		parts.Store = &tiring{Transactor: a.Store, left: after, tired: cancel}
		p, err := fleet.New(parts).PreviewPackWithin(t.Context(), limited, administrator, stricter, fleet.MostPreviewed)
		if err != nil || p.Of != want.of || p.Looked != want.looked || p.TimeUp != want.timeUp || p.Sum.Judged != 0 {
			t.Errorf("after %d transactions: looked at %d of %d, time up %v, %+v: %v", after, p.Looked, p.Of, p.TimeUp, p.Sum, err)
		}
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := a.PreviewPackWithin(gone, gone, administrator, stricter, 1); err == nil {
		t.Error("nobody waits for it any more, and it was told")
	}
}

// tiring cancels a context when so many transactions have begun.
type tiring struct {
	fleet.Transactor
	left  int
	tired context.CancelFunc
}

func (s *tiring) InTxReadOnly(ctx context.Context, by identity.Actor, f func(context.Context, fleet.Tx) error) error {
	if s.left--; s.left == 0 {
		s.tired()
	}
	return s.Transactor.InTxReadOnly(ctx, by, f)
}

func TestAPreviewIsRefusedForWhatCannotBePreviewed(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.addPack(t, stricter, edition("2", "72"))
	for _, c := range []struct {
		pack string
		last int
		want string
	}{{"house@9", 5, "pack_not_found"}, {stricter, 0, "count_out_of_range"}, {stricter, fleet.MostPreviewed + 1, "count_out_of_range"}, {"daily-check@2026", 5, "pack_judges_no_inspection"}} {
		if _, err := a.PreviewPack(t.Context(), administrator, c.pack, c.last); !fault.Is(err, c.want) {
			t.Errorf("%s, the last %d: %v, want %s", c.pack, c.last, err, c.want)
		}
	}
	// One at a time: another is refused while one goes on, not after it.
	busy := &asking{Transactor: a.Store}
	parts := a.Parts
	parts.Store = busy
	f := fleet.New(parts)
	busy.also = func() { _, busy.err = f.PreviewPack(t.Context(), administrator, stricter, 5) }
	if _, err := f.PreviewPack(t.Context(), administrator, stricter, 5); err != nil || !fault.Is(busy.err, "replay_busy") {
		t.Errorf("the first: %v; the second beside it: %v", err, busy.err)
	}
	if _, err := f.PreviewPack(t.Context(), administrator, stricter, 5); err != nil {
		t.Errorf("the next: %v", err)
	}
}

// asking does something else once, within the second transaction.
type asking struct {
	fleet.Transactor
	n    int
	also func()
	err  error
}

func (s *asking) InTxReadOnly(ctx context.Context, by identity.Actor, f func(context.Context, fleet.Tx) error) error {
	if s.n++; s.n == 2 {
		s.also()
	}
	return s.Transactor.InTxReadOnly(ctx, by, f)
}
