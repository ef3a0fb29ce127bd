package fleet

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/sheet"
)

// StateOf is for the property test of what becomes of an order.
var StateOf = stateOf

// SpansOf is for the property test of suspensions.
func SpansOf(said []SuspensionEvent) []duedate.Span { return spansOf(suspensionsOf(said)) }

// SettleCalendar settles a door as a signature does.
func (f *Fleet) SettleCalendar(ctx context.Context, by identity.Actor, doorID uuid.UUID) error {
	return f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if err := tx.LockDoor(ctx, doorID); err != nil {
			return err
		}
		return f.settleCalendarOf(ctx, tx, doorID)
	})
}

// ImportOneByOne is Import as it goes on when somebody came between.
func (f *Fleet) ImportOneByOne(ctx context.Context, by identity.Actor, o ImportOrder) (ImportRun, error) {
	list, err := sheet.Read(o.Data, o.Mapping)
	if err != nil {
		return ImportRun{}, err
	}
	return f.bring(ctx, by, o, list, true)
}

// PreviewPackWithin is PreviewPack with the context for its time limit, too.
func (f *Fleet) PreviewPackWithin(ctx, limited context.Context, by identity.Actor, packID string, last int) (ReplayPreview, error) {
	return f.previewPack(ctx, limited, by, packID, last)
}

// ReplayReads gives what a replay reads of a signed record at a door: the readings until an instant, and the outcome of each rule.
func ReplayReads(canonical []byte, door uuid.UUID, until time.Time) (readings []rulebook.Used, outcomes []string, err error) {
	r, err := readRecord(canonical, door)
	for _, j := range r.judged[door] {
		for _, v := range j.Verdicts {
			outcomes = append(outcomes, fmt.Sprint(j.Pack, j.Beside, v.RuleID, v.Outcome, v.Weight, v.Severity))
		}
	}
	return readingsOf(door, Entry{ObservedAt: until}, r.entries[door]), outcomes, err
}

// RecordHolds gives the same of the whole record, as encoding/json reads it.
func RecordHolds(canonical []byte, door uuid.UUID, until time.Time) (readings []rulebook.Used, outcomes []string, err error) {
	var record visitRecord
	if err := json.Unmarshal(canonical, &record); err != nil {
		return nil, nil, err
	}
	var entries []Entry
	for _, e := range record.Entries {
		one := Entry{EntryID: e.EntryID}
		if err := json.Unmarshal(e.Entry, &one.Body); err != nil {
			return nil, nil, err
		}
		one.DoorID, one.ObservedAt = one.Body.DoorID, one.Body.ObservedAt
		entries = append(entries, one)
	}
	for _, j := range record.Judged {
		for _, v := range j.Verdicts {
			if j.DoorID == door {
				outcomes = append(outcomes, fmt.Sprint(j.Pack, j.Beside, v.RuleID, v.Outcome, v.Weight, v.Severity))
			}
		}
	}
	return readingsOf(door, Entry{ObservedAt: until}, entries), outcomes, nil
}

// Taken says whether the catalogue takes it, and what the physics says of it at an ordinary mount.
func (s *Senses) Taken(sensing string) (taken bool, err error) {
	var faults fault.List
	if s.check(&faults, sensing); faults.Err() != nil {
		return false, nil
	}
	_, err = s.volume(sensing, field.Mount{HeightM: 1.1, OffsetXM: 0.8, OffsetYM: 0.1})
	return true, err
}
