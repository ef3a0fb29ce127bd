package fleet

import (
	"context"
	"encoding/json"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// Oddity is a question that the entries of a visit raise, for the office to ask; it accuses nobody. It is computed when it is
// asked for, from the set of entries alone, and stands in no record and no report.
type Oddity struct {
	Kind    string      // same_readings, short_visit, outside_the_visit, received_late: listed in this order
	Doors   []uuid.UUID // in the order of their first entry concerned
	Entries []uuid.UUID // the entries concerned, in the order of their observation
	Of      int         // how many entries were looked at
	Took    time.Duration
}

// When entries raise a question: common practice, no source, and meant to ask too seldom rather than too often.
const (
	sameAtDoors    = 10 // doors at which every number is that of the reading before
	sameOnDoor     = 2  // numbers of a door, at least: a single one comes back by chance
	readingsTimed  = 20 // readings of a visit, at least, to be held against its time
	readingTakes   = 10 * time.Second
	clocksApart    = 5 * time.Minute // attendance, entries and signature may come from several devices
	receivedWithin = 7 * 24 * time.Hour
)

// VisitOddities gives what is unusual about the entries of a visit.
func (f *Fleet) VisitOddities(ctx context.Context, by identity.Actor, visitID uuid.UUID) (list []Oddity, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		v, err := tx.VisitByID(ctx, visitID)
		if err != nil {
			return err
		}
		entries, err := tx.EntriesOfVisit(ctx, visitID)
		if err != nil {
			return err
		}
		left, err := leftAt(ctx, tx, visitID)
		if err != nil {
			return err
		}
		byDoor := map[uuid.UUID][]Entry{}
		for _, e := range entries {
			if _, known := byDoor[e.DoorID]; known {
				continue
			}
			if byDoor[e.DoorID], err = tx.EntriesOfDoor(ctx, e.DoorID); err != nil {
				return err
			}
		}
		list = odditiesOf(v.Attendance, left, entries, byDoor)
		return nil
	})
	return list, err
}

// leftAt is when the people of a signed visit left; zero before it is signed.
func leftAt(ctx context.Context, tx Tx, visitID uuid.UUID) (time.Time, error) {
	signed, err := tx.SignOffOf(ctx, visitID)
	if fault.Is(err, "visit_not_found") {
		return time.Time{}, nil
	}
	if err != nil {
		return time.Time{}, err
	}
	var s SignOff
	err = json.Unmarshal(signed.Canonical, &s)
	return s.LeftAt, err
}

// odditiesOf holds the entries of a visit against its times and against what was read at its doors before. It is a function of
// the sets: attendance may be nil and left zero while they are not known, and then raise nothing.
func odditiesOf(attendance *Attendance, left time.Time, visit []Entry, byDoor map[uuid.UUID][]Entry) []Oddity {
	counting := live(visit)
	var readings []Entry
	outside, late := Oddity{Kind: "outside_the_visit", Of: len(counting)}, Oddity{Kind: "received_late", Of: len(counting)}
	for _, e := range counting {
		if e.Body.Readings() != nil {
			readings = append(readings, e)
		}
		if attendance != nil && (e.ObservedAt.Before(attendance.ArrivedAt.Add(-clocksApart)) || !left.IsZero() && e.ObservedAt.After(left.Add(clocksApart))) {
			outside.add(e)
		}
		if e.ReceivedAt.Sub(e.ObservedAt) > receivedWithin {
			late.add(e)
		}
	}
	list := []Oddity{sameReadings(readings, byDoor)}
	if attendance != nil && !left.IsZero() && len(readings) >= readingsTimed {
		if took := left.Sub(attendance.ArrivedAt); took < time.Duration(len(readings))*readingTakes {
			short := Oddity{Kind: "short_visit", Of: len(readings), Took: took}
			for _, e := range readings {
				short.add(e)
			}
			list = append(list, short)
		}
	}
	raised := []Oddity{}
	for _, d := range append(list, outside, late) {
		if len(d.Entries) > 0 {
			raised = append(raised, d)
		}
	}
	return raised
}

// sameReadings asks about doors at which every number is, to the last digit, the one that the visit before read there.
func sameReadings(readings []Entry, byDoor map[uuid.UUID][]Entry) Oddity {
	same, compared := map[uuid.UUID]int{}, map[uuid.UUID]int{}
	d := Oddity{Kind: "same_readings"}
	for _, e := range readings {
		before, found := readBefore(e, byDoor[e.DoorID])
		if !found {
			continue
		}
		d.Of++
		compared[e.DoorID]++
		if before == *e.Body.Reading.Value {
			same[e.DoorID]++
		}
	}
	alike := func(door uuid.UUID) bool { return compared[door] >= sameOnDoor && same[door] == compared[door] }
	for _, e := range readings {
		if _, found := readBefore(e, byDoor[e.DoorID]); found && alike(e.DoorID) {
			d.add(e)
		}
	}
	if len(d.Doors) < sameAtDoors {
		return Oddity{}
	}
	return d
}

// readBefore is the number that another visit read last before an entry, at the same place of the door.
func readBefore(e Entry, ofDoor []Entry) (value float64, found bool) {
	r := e.Body.Reading
	if r == nil || r.Value == nil {
		return 0, false
	}
	for _, other := range live(ofDoor) {
		o := other.Body.Reading
		if other.VisitID != e.VisitID && after(other, e) && o != nil && o.Value != nil && o.Name == r.Name && o.Leaf == r.Leaf && o.Side == r.Side {
			value, found = *o.Value, true
		}
	}
	return value, found
}

func (d *Oddity) add(e Entry) {
	for _, door := range d.Doors {
		if door == e.DoorID {
			d.Entries = append(d.Entries, e.EntryID)
			return
		}
	}
	d.Doors, d.Entries = append(d.Doors, e.DoorID), append(d.Entries, e.EntryID)
}
