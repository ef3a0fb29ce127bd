package fleet

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
)

// Instrument is something that readings are taken with, in one of its versions: a new calibration is a new version.
type Instrument struct {
	InstrumentID    uuid.UUID
	Version         int
	Kind            string // of InstrumentKinds
	Name            string // what it is, in the company's own words
	Serial          string
	CalibratedOn    duedate.Day // zero: never, as far as anybody knows
	CalibratedUntil duedate.Day // the last day; zero: no end is stated
	Certificate     string      // its number
	// Uncertainty is its expanded uncertainty (coverage factor k = 2) by the unit of readings, as the certificate states it.
	Uncertainty map[string]float64
	Retired     bool
	RecordedAt  time.Time
	RecordedBy  uuid.UUID
}

// InstrumentKinds are what instruments are.
func InstrumentKinds() []string {
	return []string{"force_gauge", "stopwatch", "tape", "energy_gauge", "light_meter", "angle_gauge", "speed_meter", "other"}
}

// InstrumentQuery asks for instruments by id.
type InstrumentQuery struct {
	AfterID uuid.UUID
	Limit   int
}

type instrumentRows interface {
	// InsertInstrument adds a version of an instrument, or answers false when there is one of that number.
	InsertInstrument(ctx context.Context, i Instrument) (bool, error)
	// InstrumentVersions gives every version of an instrument, the newest first; none when there is no such instrument.
	InstrumentVersions(ctx context.Context, id uuid.UUID) ([]Instrument, error)
	// InstrumentPage lists the newest versions.
	InstrumentPage(ctx context.Context, q InstrumentQuery) ([]Instrument, error)
}

// PutInstrument registers an instrument, or its next version: calibrated again, put right, retired. Earlier versions stay.
func (f *Fleet) PutInstrument(ctx context.Context, by identity.Actor, i Instrument, ifMatch int) (saved Instrument, created bool, err error) {
	for _, text := range []*string{&i.Name, &i.Serial, &i.Certificate} {
		tidy(text)
	}
	if err := f.checkInstrument(i); err != nil {
		return Instrument{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		versions, err := tx.InstrumentVersions(ctx, i.InstrumentID)
		if err != nil {
			return err
		}
		i.Version, i.RecordedAt, i.RecordedBy = 1, f.Now(), by.PersonID
		saved, created = i, len(versions) == 0
		if !created {
			present := versions[0]
			if i.same(present) {
				saved = present
				return nil
			}
			if err := checkVersion(ifMatch, present.Version); err != nil {
				return err
			}
			saved.Version = present.Version + 1
		}
		inserted, err := tx.InsertInstrument(ctx, saved)
		if err == nil && !inserted { // somebody else was quicker
			return fault.New(fault.PreconditionFailed, "version_differs")
		}
		return err
	})
	return saved, created, err
}

// same tells whether two versions say the same.
func (i Instrument) same(o Instrument) bool {
	return i.Kind == o.Kind && i.Name == o.Name && i.Serial == o.Serial && i.CalibratedOn == o.CalibratedOn && i.CalibratedUntil == o.CalibratedUntil &&
		i.Certificate == o.Certificate && i.Retired == o.Retired && maps.Equal(i.Uncertainty, o.Uncertainty)
}

func (f *Fleet) checkInstrument(i Instrument) error {
	var faults fault.List
	checkOneOf(&faults, "/kind", i.Kind, InstrumentKinds()...)
	checkLine(&faults, "/name", i.Name, 1, 200)
	checkLine(&faults, "/serial", i.Serial, 0, 100)
	checkLine(&faults, "/certificate", i.Certificate, 0, 100)
	f.checkDay(&faults, "/calibrated_on", i.CalibratedOn)
	f.checkDay(&faults, "/calibrated_until", i.CalibratedUntil)
	switch {
	case i.CalibratedOn.IsZero() && !i.CalibratedUntil.IsZero():
		faults.Add("/calibrated_on", "date_missing")
	case !i.CalibratedUntil.IsZero() && i.CalibratedUntil.Before(i.CalibratedOn):
		faults.Add("/calibrated_until", "calibration_ends_early")
	}
	units := map[string]float64{} // the greatest reading by unit
	for _, k := range rulebook.Readings() {
		if k.Kind == rulebook.Number {
			units[k.Unit] = max(units[k.Unit], k.Max)
		}
	}
	for _, unit := range slices.Sorted(maps.Keys(i.Uncertainty)) {
		at := "/uncertainty/" + strings.ReplaceAll(unit, "/", "~1") // m/s: RFC 6901
		most, known := units[unit]
		switch u := i.Uncertainty[unit]; {
		case !known:
			faults.Add(at, "word_unknown", "word", unit, "allowed", strings.Join(slices.Sorted(maps.Keys(units)), ", "))
		case !(u > 0 && u <= most):
			faults.Add(at, "uncertainty_impossible")
		}
	}
	return faults.Err()
}

// calibrated tells whether the instrument was in calibration on a day.
func (i Instrument) calibrated(on duedate.Day) bool {
	return !i.CalibratedOn.IsZero() && !on.Before(i.CalibratedOn) && (i.CalibratedUntil.IsZero() || !on.After(i.CalibratedUntil))
}

// instrumentOn gives of all versions of an instrument, the newest first, the one that tells of a day: of those that were in calibration then
// the newest calibration, else the newest version. A certificate that is entered late counts for the days that it covers.
func instrumentOn(versions []Instrument, on duedate.Day) Instrument {
	best := versions[0]
	for _, v := range versions {
		if v.calibrated(on) && (!best.calibrated(on) || v.CalibratedOn.After(best.CalibratedOn)) {
			best = v
		}
	}
	return best
}

// usedInstrument is an instrument of a signed record as it was on the day of a reading.
type usedInstrument struct {
	InstrumentID    uuid.UUID          `json:"instrument_id"`
	Day             duedate.Day        `json:"day"` // of the readings, at the site
	Version         int                `json:"version"`
	Kind            string             `json:"kind"`
	Name            string             `json:"name"`
	Serial          string             `json:"serial,omitempty"`
	CalibratedOn    duedate.Day        `json:"calibrated_on,omitzero"`
	CalibratedUntil duedate.Day        `json:"calibrated_until,omitzero"`
	Certificate     string             `json:"certificate,omitempty"`
	InDate          bool               `json:"in_date"`
	Uncertainty     map[string]float64 `json:"uncertainty,omitempty"`
}

// instruments are those of some entries, by the entry's id.
type instruments map[uuid.UUID]usedInstrument

// instrumentsOf looks up what the readings of entries were taken with.
func instrumentsOf(ctx context.Context, tx Tx, zone *time.Location, entries []Entry) (instruments, error) {
	used, known := instruments{}, map[uuid.UUID][]Instrument{}
	for _, e := range entries {
		named := e.Body.instrument()
		if named == nil {
			continue
		}
		id := *named
		if _, seen := known[id]; !seen {
			versions, err := tx.InstrumentVersions(ctx, id)
			if err != nil {
				return nil, err
			}
			known[id] = versions
		}
		if len(known[id]) == 0 {
			return nil, fmt.Errorf("instrument %s of entry %s is not there", id, e.EntryID)
		}
		day := duedate.DayIn(e.ObservedAt, zone)
		i := instrumentOn(known[id], day)
		used[e.EntryID] = usedInstrument{InstrumentID: id, Day: day, Version: i.Version, Kind: i.Kind, Name: i.Name, Serial: i.Serial, CalibratedOn: i.CalibratedOn,
			CalibratedUntil: i.CalibratedUntil, Certificate: i.Certificate, InDate: i.calibrated(day), Uncertainty: i.Uncertainty}
	}
	return used, nil
}

// sealedInstruments are those that a signed record carries, by the entry's id: whoever reads it need not see the register of instruments.
func sealedInstruments(record visitRecord, zone *time.Location, entries []Entry) instruments {
	used := instruments{}
	for _, e := range entries {
		named := e.Body.instrument()
		if e.VisitID != record.VisitID || named == nil {
			continue
		}
		for _, u := range record.Instruments {
			if u.InstrumentID == *named && u.Day == duedate.DayIn(e.ObservedAt, zone) {
				used[e.EntryID] = u
			}
		}
	}
	return used
}

// list gives each instrument once a day, in a fixed order.
func (used instruments) list() []usedInstrument {
	list := slices.SortedFunc(maps.Values(used), func(a, b usedInstrument) int {
		return cmp.Or(cmp.Compare(a.InstrumentID.String(), b.InstrumentID.String()), a.Day.Compare(b.Day))
	})
	return slices.CompactFunc(list, func(a, b usedInstrument) bool { return a.InstrumentID == b.InstrumentID && a.Day == b.Day })
}

// stated gives the entries with the uncertainty of the instrument where a reading states none.
func (used instruments) stated(entries []Entry) []Entry {
	stated := slices.Clone(entries)
	for n, e := range stated {
		u := used[e.EntryID]
		if u.Uncertainty == nil {
			continue
		}
		readings := slices.Clone(e.Body.Readings())
		for i, r := range readings {
			if own, has := u.Uncertainty[unitOf(r.Name)]; has && r.Value != nil && r.Uncertainty == nil {
				readings[i].Uncertainty = &own
			}
		}
		stated[n].Body = e.Body.withReadings(readings)
	}
	return stated
}

// unitOf is the unit of a recorded reading.
func unitOf(recorded string) string {
	name := rulebook.NameNow(recorded)
	if rulebook.IsOwn(name) {
		return rulebook.UnitOf(name)
	}
	return unitOfReading()[name]
}

// calibrationWanting names what a limit that counts was held against and was read with an instrument that was not in calibration.
func calibrationWanting(done []doneEntry, judged []judgedDoor, used instruments) fault.List {
	var names []string
	for _, j := range judged {
		for _, v := range j.Verdicts {
			if !v.Counts() || v.Limit == nil {
				continue
			}
			for _, r := range v.Readings {
				for _, d := range done {
					u, named := used[d.id]
					if !named || u.InDate {
						continue
					}
					if i := slices.IndexFunc(d.Readings(), func(taken EntryReading) bool { return taken.isJudged(r) }); i >= 0 {
						names = append(names, fmt.Sprintf("%s%s (%s)", r.Name, d.Readings()[i].spot(), u.Name))
					}
				}
			}
		}
	}
	if names == nil {
		return nil
	}
	slices.Sort(names)
	return fault.List{fault.New(fault.Conflict, "instrument_out_of_calibration", "readings", strings.Join(slices.Compact(names), ", "))}
}

// isJudged tells whether a reading is the one that a verdict rests on.
func (r EntryReading) isJudged(used rulebook.Used) bool {
	return rulebook.NameNow(r.Name) == used.Name && r.Place() == used.Place && r.Value != nil && used.Number != nil && *r.Value == *used.Number
}

// Instrument gives an instrument with all its versions, the newest first.
func (f *Fleet) Instrument(ctx context.Context, by identity.Actor, id uuid.UUID) (versions []Instrument, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if versions, err = tx.InstrumentVersions(ctx, id); err == nil && len(versions) == 0 {
			err = fault.New(fault.NotFound, "instrument_not_found")
		}
		return err
	})
	return versions, err
}

// Instruments lists instruments in their newest versions.
func (f *Fleet) Instruments(ctx context.Context, by identity.Actor, q InstrumentQuery) (list []Instrument, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.InstrumentPage(ctx, q)
		return err
	})
	return list, err
}
