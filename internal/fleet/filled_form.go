package fleet

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// FilledForm is what was written into the inspection form of one door: everything at once.
type FilledForm struct {
	At      time.Time     // when it was seen; zero: the moment in which it is saved
	Facts   []FactAnswer  // of the door, that nobody knew
	Entries []FilledEntry // in the order of the walk
}

// FilledEntry is a piece under an id of the client's own. Its time and its door are those of the form.
type FilledEntry struct {
	ID   uuid.UUID
	Body EntryBody
}

// PutFilledForm takes everything of a form or, when anything of it is at fault, nothing. Faults of an entry point into /entries/N. Sent twice, it is
// entered once: an entry whose time was left open keeps the one under which it was saved. A conclusion as passed that no sign-off would take is
// refused, since what is wanting is put right before it, or it never counts; wants is what it lacks, with everything else of the form counted.
func (f *Fleet) PutFilledForm(ctx context.Context, by identity.Actor, doorID, visitID uuid.UUID, filled FilledForm) (wants []Want, err error) {
	filled.Entries = slices.Clone(filled.Entries)
	var faults fault.List
	now := f.Now().Truncate(time.Second)
	for i := range filled.Entries {
		b := &filled.Entries[i].Body
		if b.DoorID, b.ObservedAt = doorID, filled.At; filled.At.IsZero() {
			b.ObservedAt = now
		}
		checked := *b // what is worked out of it is worked out again when it is put
		checked.tidy()
		if err := atEntry(i, f.checkEntry(filled.Entries[i].ID, checked)); err != nil {
			faults = append(faults, fault.Of(err)...)
		}
	}
	if err := faults.Err(); err != nil {
		return nil, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		in := f.within(tx)
		wants = nil
		if err := tx.LockVisit(ctx, visitID); err != nil {
			return err
		}
		if len(filled.Facts) > 0 {
			if _, err := in.AnswerFacts(ctx, by, doorID, visitID, filled.Facts); err != nil {
				return err
			}
		}
		for i, e := range filled.Entries {
			present, err := tx.EntryByID(ctx, e.ID)
			switch {
			case err == nil && filled.At.IsZero():
				e.Body.ObservedAt = present.ObservedAt
			case err != nil && !fault.Is(err, "entry_not_found"):
				return err
			}
			if _, _, err := in.PutEntry(ctx, by, visitID, e.ID, e.Body); err != nil {
				return atEntry(i, err)
			}
		}
		wants, err = in.passedTooEarly(ctx, by, doorID, visitID, filled.Entries)
		return err
	})
	return wants, err
}

// atEntry puts the faults of an entry under its place in the form. What is about no member, and what is no fault, stays what it is.
func atEntry(entry int, err error) error {
	var list fault.List
	for _, one := range fault.Of(err) {
		moved := *one
		if moved.Pointer != "" {
			moved.Pointer = fmt.Sprintf("/entries/%d%s", entry, one.Pointer)
		}
		list = append(list, &moved)
	}
	if list == nil {
		return err
	}
	return list
}

// passedTooEarly refuses a conclusion as passed among entries that are in by now, and tells what it lacks.
func (f *Fleet) passedTooEarly(ctx context.Context, by identity.Actor, doorID, visitID uuid.UUID, entries []FilledEntry) ([]Want, error) {
	i := slices.IndexFunc(entries, func(e FilledEntry) bool { return e.Body.Conclusion != nil && e.Body.Conclusion.Result == "passed" })
	if i < 0 {
		return nil, nil
	}
	wants, err := f.Wanting(ctx, by, doorID, visitID)
	if err != nil {
		return nil, err
	}
	if wants = slices.DeleteFunc(wants, Want.CanFollow); len(wants) == 0 {
		return nil, nil
	}
	var faults fault.List
	faults.Add(fmt.Sprintf("/entries/%d/conclusion/result", i), "passed_still_wanting", "count", len(wants))
	return wants, faults
}
