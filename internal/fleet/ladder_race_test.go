package fleet_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// lingering holds each transaction that changes something open, after all of its statements and before its commit, until it is let go.
type lingering struct {
	fleet.Transactor
	all, goOn chan struct{} // all of a transaction's statements are done; it may commit
}

func (l lingering) InTx(ctx context.Context, by identity.Actor, f func(context.Context, fleet.Tx) error) error {
	return l.Transactor.InTx(ctx, by, func(ctx context.Context, tx fleet.Tx) error {
		err := f(ctx, tx)
		l.all <- struct{}{}
		<-l.goOn
		return err
	})
}

// slowly is the same fleet, over connections of its own, whose transactions linger.
func (r *rig) slowly() (*fleet.Fleet, lingering) {
	parts := r.Parts
	l := lingering{parts.Store, make(chan struct{}), make(chan struct{})}
	parts.Store = l
	return fleet.New(parts), l
}

// lockWaited waits until a transaction waits for the lock of another one.
func (r *rig) lockWaited(t testing.TB, ended <-chan error) {
	t.Helper()
	for began := time.Now(); r.count(t, `select count(*) from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock'`) == 0; time.Sleep(5 * time.Millisecond) {
		select {
		case err := <-ended:
			t.Fatal("one ended, and did not wait for the other: ", err)
		default:
		}
		if time.Since(began) > 30*time.Second {
			t.Fatal("nothing waits for the other transaction")
		}
	}
}

// passedInspection is a door with an open inspection of which an owner is told, and a visit that is signed by sign and passes it.
func passedInspection(t *testing.T) (a attended, post *letters, owner fleet.Party, sign func(*fleet.Fleet) error) {
	t.Helper()
	a = newAttended(t)
	post = a.withPost(t)
	owner = a.partyAt(t, fleet.Party{Name: "Holm", Email: "holm@owner.example"})
	a.standing(t, a.site, owner, "owner", "2020-01-01", "")
	visit := a.id()
	if _, _, err := a.PutVisit(t.Context(), technician, visit, a.attendance()); err != nil {
		t.Fatal(err)
	}
	var pieces []piece
	for i, body := range append([]fleet.EntryBody{madeSafe()}, passing()...) {
		p := piece{visit, a.id(), a.at(i, body)}
		if _, _, err := a.PutEntry(t.Context(), technician, visit, p.entry, p.body); err != nil {
			t.Fatal(err)
		}
		pieces = append(pieces, p)
	}
	s := a.signOff(t, visit, pieces)
	a.now = fiveUTC(day("2026-03-03"))
	return a, post, owner, func(f *fleet.Fleet) error {
		_, _, err := f.PutSignOff(t.Context(), technician, visit, s)
		return err
	}
}

// Whatever becomes first, an inspection that was recorded as done before the sending was queued is told of to nobody. Each order of the
// two transactions is brought about by holding one of them open until the other waits for it.
func TestNothingIsQueuedOfAnInspectionThatWasDoneBefore(t *testing.T) {
	t.Parallel()
	notices := func(f *fleet.Fleet, t *testing.T) error {
		_, err := f.QueueNotices(t.Context(), day("2026-03-03"))
		return err
	}
	mail := func(f *fleet.Fleet, t *testing.T) error { _, err := f.WriteLetters(t.Context()); return err }
	for name, c := range map[string]struct {
		queue     func(*fleet.Fleet, *testing.T) error // what races with the signature
		noticed   bool                                 // the notice was there before
		doneFirst bool
		record    []string // what the record says of the owner's notices in the end
		letters   int
	}{
		"done while notices are made":    {notices, false, true, nil, 0},
		"done while letters are written": {mail, true, true, []string{"due_in_7 withdrawn order_done"}, 0},
		"done after the notices":         {notices, false, false, []string{"due_in_30 superseded higher_rung", "due_in_7 withdrawn order_done"}, 0},
		"done after the letters":         {mail, true, false, []string{"due_in_7 sent"}, 1}, // it was true when it was queued
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			a, post, owner, sign := passedInspection(t)
			if c.noticed {
				a.queue(t, "2026-03-03")
			}
			slow, l := a.slowly()
			first, second := func(f *fleet.Fleet) error { return c.queue(f, t) }, sign
			if c.doneFirst {
				first, second = second, first
			}
			ended := make(chan error, 2)
			go func() { ended <- first(slow) }()
			held := false
			for !held { // transactions that hold nothing of the order come and go
				select {
				case <-l.all:
					if held = a.count(t, `select count(*) from pg_locks where relation = 'work_order'::regclass and granted and database = (select oid from pg_database where datname = current_database())`) > 0; !held {
						l.goOn <- struct{}{}
					}
				case err := <-ended:
					t.Fatal("nothing touched the order: ", err)
				}
			}
			go func() { ended <- second(a.Fleet) }()
			a.lockWaited(t, ended)
			go func() {
				for range l.all {
					l.goOn <- struct{}{}
				}
			}()
			l.goOn <- struct{}{}
			for range 2 {
				if err := <-ended; err != nil {
					t.Fatal(err)
				}
			}
			a.send(t)
			got := slices.DeleteFunc(a.told(t, owner.PartyID), func(line string) bool { return c.noticed && line == "due_in_30 superseded higher_rung" })
			wantTold(t, got, c.record...)
			if n := len(post.collect()); n != c.letters {
				t.Errorf("%d letters went out, want %d", n, c.letters)
			}
			if n := a.count(t, `select count(*) from work_order where state = 'done'`); n != 1 {
				t.Errorf("%d orders are done", n)
			}
		})
	}
}
