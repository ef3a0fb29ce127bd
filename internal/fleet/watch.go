package fleet

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// Watch is that somebody works alone and has said by when they will be back. It replaces no emergency service and none of the
// local rules on working alone: it makes the office ask.
type Watch struct {
	WatchID   uuid.UUID
	PersonID  uuid.UUID // who works alone
	VisitID   uuid.UUID // zero: of no visit
	Place     string    // where
	Note      string    // such as whom to telephone
	BackBy    time.Time // as it was said last
	FirstBy   time.Time // as it was said at first
	StartedAt time.Time
	StartedBy uuid.UUID
	EndedAt   *time.Time
	TakenAt   *time.Time // somebody sees to the alarm
	TakenBy   uuid.UUID
	TakenNote string
}

// Late is for how long somebody should have been back; zero or less: they are not late, or back.
func (w Watch) Late(now time.Time) time.Duration {
	if w.EndedAt != nil {
		return 0
	}
	return now.Sub(w.BackBy)
}

// reason is the key of the alarms about one time at which somebody should have been back.
func (w Watch) reason() string { return fmt.Sprintf("watch:%s:%d", w.WatchID, w.BackBy.Unix()) }

// WatchEvent is what came of a watch.
type WatchEvent struct {
	WatchID, EventID uuid.UUID
	Kind             string     // extended, ended, taken
	BackBy           *time.Time // of extended
	Note             string
	RecordedAt       time.Time
	RecordedBy       uuid.UUID
}

const (
	// watchAgain is how long an alarm waits before the next person is told. Common practice, no source.
	watchAgain = 10 * time.Minute
	// longestWatch is how far ahead somebody may say that they will be back: beyond that it watches nobody.
	longestWatch = 24 * time.Hour
	// watchTold is for how long an alarm that nobody takes is repeated.
	watchTold = 24 * time.Hour
)

type watchRows interface {
	// InsertWatch answers false when the id is taken.
	InsertWatch(ctx context.Context, w Watch) (bool, error)
	WatchByID(ctx context.Context, id uuid.UUID) (Watch, error)
	// HoldWatch keeps a watch from being changed by others until the transaction ends.
	HoldWatch(ctx context.Context, id uuid.UUID) error
	// WatchesOpen gives those of people who are not back, the latest first.
	WatchesOpen(ctx context.Context) ([]Watch, error)
	// WatchEvents gives what came of a watch, oldest first.
	WatchEvents(ctx context.Context, id uuid.UUID) ([]WatchEvent, error)
	// InsertWatchEvent answers false when the id is taken.
	InsertWatchEvent(ctx context.Context, e WatchEvent) (bool, error)
	EndWatch(ctx context.Context, id uuid.UUID, at time.Time) error
}

// PutWatch begins a watch: of oneself, or, by a dispatcher or administrator, of anybody. The same again changes nothing.
func (f *Fleet) PutWatch(ctx context.Context, by identity.Actor, w Watch) (saved Watch, created bool, err error) {
	tidy(&w.Place)
	tidy(&w.Note)
	w.BackBy = w.BackBy.UTC().Truncate(time.Microsecond)
	if w.PersonID == uuid.Nil {
		w.PersonID = by.PersonID
	}
	var faults fault.List
	checkLine(&faults, "/place", w.Place, 1, 200)
	checkText(&faults, "/note", w.Note, 0, 2000)
	if w.BackBy.IsZero() {
		faults.Add("/back_by", "watch_back_by_missing")
	}
	if w.PersonID != by.PersonID && !ofOffice(string(by.Role)) {
		faults = append(faults, fault.New(fault.Forbidden, "not_allowed", "action", string(identity.ActWatch)))
	}
	if err := faults.Err(); err != nil {
		return Watch{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		created = false
		present, err := tx.WatchByID(ctx, w.WatchID)
		switch {
		case err == nil:
			saved = present
			return w.same(present)
		case !fault.Is(err, "watch_not_found"):
			return err
		}
		if err := w.checkBackBy(w.BackBy, f.Now()); err != nil {
			return err
		}
		if _, err := tx.PersonCard(ctx, w.PersonID); err != nil {
			return pointTo(err, "/person_id")
		}
		if w.VisitID != uuid.Nil {
			if _, err := tx.VisitByID(ctx, w.VisitID); err != nil {
				return pointTo(err, "/visit_id")
			}
		}
		w.StartedAt, w.StartedBy = f.Now(), by.PersonID
		if created, err = tx.InsertWatch(ctx, w); err != nil {
			return err
		}
		if saved, err = tx.WatchByID(ctx, w.WatchID); err != nil || created {
			return err
		}
		return w.same(saved) // by somebody else, a moment ago
	})
	return saved, created, err
}

func pointTo(err error, pointer string) error {
	if faults := fault.Of(err); len(faults) == 1 && faults[0].Kind == fault.NotFound {
		return fault.At(pointer, faults[0].Code)
	}
	return err
}

func (w Watch) same(present Watch) error {
	if w.PersonID != present.PersonID || w.VisitID != present.VisitID || w.Place != present.Place || w.Note != present.Note || !w.BackBy.Equal(present.FirstBy) {
		return fault.New(fault.Conflict, "watch_differs")
	}
	return nil
}

func (w Watch) checkBackBy(at, now time.Time) error {
	if !at.After(now) || at.After(now.Add(longestWatch)) {
		return fault.At("/back_by", "watch_back_by_impossible", "hours", int(longestWatch/time.Hour))
	}
	return nil
}

// PutWatchEvent records what came of a watch. Whoever works alone extends and ends their own; a dispatcher or administrator any.
// Anybody of the company but the one who works alone takes an alarm. The same again changes nothing.
func (f *Fleet) PutWatchEvent(ctx context.Context, by identity.Actor, e WatchEvent) (w Watch, created bool, err error) {
	tidy(&e.Note)
	var faults fault.List
	checkText(&faults, "/note", e.Note, 0, 2000)
	checkOneOf(&faults, "/kind", e.Kind, "extended", "ended", "taken")
	switch {
	case e.Kind == "extended" && e.BackBy == nil:
		faults.Add("/back_by", "watch_back_by_missing")
	case e.Kind != "extended" && e.BackBy != nil:
		faults.Add("/back_by", "watch_back_by_superfluous")
	case e.BackBy != nil:
		at := e.BackBy.UTC().Truncate(time.Microsecond)
		e.BackBy = &at
	}
	if err := faults.Err(); err != nil {
		return w, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		created = false
		if err := tx.HoldWatch(ctx, e.WatchID); err != nil {
			return err
		}
		if w, err = tx.WatchByID(ctx, e.WatchID); err != nil {
			return err
		}
		events, err := tx.WatchEvents(ctx, e.WatchID)
		if err != nil {
			return err
		}
		if i := slices.IndexFunc(events, func(p WatchEvent) bool { return p.EventID == e.EventID }); i >= 0 {
			return e.same(events[i])
		}
		if err := f.mayChange(by, w, e); err != nil {
			return err
		}
		if err := w.takeBack(ctx, tx); err != nil {
			return err
		}
		e.RecordedAt, e.RecordedBy = f.Now(), by.PersonID
		if created, err = tx.InsertWatchEvent(ctx, e); err != nil {
			return err
		}
		if !created { // of another watch
			return fault.New(fault.Conflict, "watch_event_differs")
		}
		if e.Kind == "ended" {
			if err := tx.EndWatch(ctx, e.WatchID, e.RecordedAt); err != nil {
				return err
			}
		}
		w, err = tx.WatchByID(ctx, e.WatchID)
		return err
	})
	return w, created, err
}

// takeBack takes the letters of the alarm that still wait out of the post: whether they are still true is asked anew.
func (w Watch) takeBack(ctx context.Context, tx Tx) error {
	told, err := tx.NoticesOf(ctx, []string{w.reason()})
	if err != nil {
		return err
	}
	seen := map[string]bool{}
	for _, n := range told {
		if n.State == "sending" && !seen[n.RecipientEmail] {
			seen[n.RecipientEmail] = true
			if err := tx.TakeBack(ctx, n.RecipientEmail, duedate.Day{}, []string{w.reason()}); err != nil {
				return err
			}
		}
	}
	return nil
}

func (e WatchEvent) same(present WatchEvent) error {
	times := e.BackBy == nil && present.BackBy == nil || e.BackBy != nil && present.BackBy != nil && e.BackBy.Equal(*present.BackBy)
	if e.Kind != present.Kind || e.Note != present.Note || !times {
		return fault.New(fault.Conflict, "watch_event_differs")
	}
	return nil
}

func (f *Fleet) mayChange(by identity.Actor, w Watch, e WatchEvent) error {
	own := w.PersonID == by.PersonID
	switch {
	case w.EndedAt != nil:
		return fault.New(fault.Conflict, "watch_ended")
	case e.Kind == "taken" && own:
		return fault.New(fault.Conflict, "watch_taken_by_self")
	case e.Kind == "taken" && w.Late(f.Now()) <= 0:
		return fault.New(fault.Conflict, "watch_not_late")
	case e.Kind != "taken" && !own && !ofOffice(string(by.Role)):
		return fault.New(fault.Forbidden, "not_allowed", "action", string(identity.ActWatch))
	case e.Kind == "extended":
		return w.checkBackBy(*e.BackBy, f.Now())
	}
	return nil
}

// WatchTold is a watch with what came of it.
type WatchTold struct {
	Watch
	Events []WatchEvent
}

// Watch gives one watch.
func (f *Fleet) Watch(ctx context.Context, by identity.Actor, id uuid.UUID) (w WatchTold, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if w.Watch, err = tx.WatchByID(ctx, id); err != nil {
			return err
		}
		w.Events, err = tx.WatchEvents(ctx, id)
		return err
	})
	return w, err
}

// WatchesOpen gives who works alone and is not back, those who are late the longest first.
func (f *Fleet) WatchesOpen(ctx context.Context, by identity.Actor) (list []Watch, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.WatchesOpen(ctx)
		return err
	})
	return list, err
}

// AlarmWatches tells the office of everybody who works alone and is late: the dispatchers at once, then, every ten minutes, the next
// administrator and the dispatchers again, until somebody takes it or it ends. Its letters do not wait for a digest, for an hour, or for
// the round of the other mail: they are written and handed over here. It gives how many people were told.
func (f *Fleet) AlarmWatches(ctx context.Context) (told int64, err error) {
	addresses := map[string]bool{}
	err = f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		told = 0
		clear(addresses)
		open, err := tx.WatchesOpen(ctx)
		if err != nil {
			return err
		}
		for _, w := range open {
			if late := w.Late(f.Now()); late <= 0 || late > watchTold || w.TakenAt != nil {
				continue
			}
			n, err := f.alarmWatch(ctx, tx, w, addresses)
			if err != nil {
				return err
			}
			told += n
		}
		return nil
	})
	if err != nil {
		return 0, err
	}
	for address := range addresses {
		if err := f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
			_, err := f.writeTo(ctx, tx, address)
			return err
		}); err != nil {
			return told, err
		}
	}
	if len(addresses) == 0 {
		return told, nil
	}
	var ids []uuid.UUID
	if err := f.Store.InTxReadOnly(ctx, identity.Program(), func(ctx context.Context, tx Tx) (err error) {
		ids, err = tx.LettersWaiting(ctx, f.Now(), 50) // the urgent ones are the first
		return err
	}); err != nil {
		return told, err
	}
	_, _, err = f.sendAll(ctx, ids)
	return told, err
}

// alarmWatch makes the notices of the step that has its turn. After a standstill only the latest step is told.
func (f *Fleet) alarmWatch(ctx context.Context, tx Tx, w Watch, addresses map[string]bool) (int64, error) {
	r, err := f.newRound(ctx, tx, duedate.DayIn(f.Now(), time.UTC), []uuid.UUID{})
	if err != nil {
		return 0, err
	}
	if err := r.read(ctx, nil, []string{w.reason()}); err != nil {
		return 0, err
	}
	step := int(w.Late(f.Now()) / watchAgain)
	n := Notice{Reason: w.reason(), Urgent: true, Rung: "alone_late", Why: Why{AsOf: r.asOf}}
	if step > 0 {
		n.Rung = fmt.Sprintf("alone_late_again_%d", step)
	}
	to := r.dispatchers()
	if chiefs := r.recipients(uuid.Nil, []string{"administrator"}); len(chiefs) > 0 && step > 0 {
		to = append(to, chiefs[:min(step, len(chiefs))]...)
	}
	for _, one := range to {
		r.tell(n, one)
	}
	for _, made := range r.fresh {
		if made.State == "queued" {
			addresses[made.RecipientEmail] = true
		}
	}
	return r.write(ctx)
}
