package fleet

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/seal"
)

// EntryForceCourse is a force over time that a gauge recorded at a leaf. The series is kept under its hash; what it came to when it was
// accepted is part of the entry.
type EntryForceCourse struct {
	CSV          string     `json:"-"`               // as the gauge wrote it, see rulebook.ParseForceSeries
	Leaf         int        `json:"leaf,omitempty"`  // 1 is the first leaf of the door's facts; 0: of the door as a whole
	GapM         *float64   `json:"gap_m,omitempty"` // width of the gap at which it was measured; no limit is chosen by it
	UncertaintyN *float64   `json:"uncertainty_n,omitempty"`
	InstrumentID *uuid.UUID `json:"instrument_id,omitempty"`

	SeriesSHA256 seal.Hash      `json:"series_sha256"` // of CSV
	Samples      int            `json:"samples"`
	LastsS       float64        `json:"lasts_s"` // from the contact to the end of the record
	ImpulseNs    float64        `json:"impulse_ns"`
	Readings     []EntryReading `json:"readings"` // peak_force_n, and static_force_n when the record reaches 0.75 s after the contact
}

// EntryPositions are the places on one side where a test body stood, or somebody walked up to, and whether the door noticed.
type EntryPositions struct {
	Zone     rulebook.ZoneKind   `json:"zone"` // activation, presence
	Side     string              `json:"side"` // a, b
	Body     string              `json:"body"` // what stood there
	SpacingM float64             `json:"spacing_m"`
	Tried    []rulebook.Position `json:"tried"`

	Open     bool           `json:"open"` // nothing was tried beyond on some side: the zone may be larger
	Readings []EntryReading `json:"readings"`
}

// ForceSeries is the raw series of a force course. It is kept under its hash.
type ForceSeries struct {
	CustomerID, SiteID, DoorID uuid.UUID
	SHA256                     seal.Hash
	CSV                        string
	ReceivedAt                 time.Time
	RecordedBy                 uuid.UUID
}

type forceSeriesRows interface {
	// InsertForceSeries keeps a series; the same one again changes nothing.
	InsertForceSeries(ctx context.Context, s ForceSeries) error
	ForceSeriesByHash(ctx context.Context, doorID uuid.UUID, hash seal.Hash) (ForceSeries, error)
}

// Readings are what an entry says was read at the door: one thing that was typed, or what was worked out of a record.
func (b EntryBody) Readings() []EntryReading {
	switch {
	case b.Reading != nil:
		return []EntryReading{*b.Reading}
	case b.ForceCourse != nil:
		return b.ForceCourse.Readings
	case b.Positions != nil:
		return b.Positions.Readings
	}
	return nil
}

// withReadings is the entry with other readings in the same order.
func (b EntryBody) withReadings(readings []EntryReading) EntryBody {
	switch {
	case b.Reading != nil:
		b.Reading = &readings[0]
	case b.ForceCourse != nil:
		b.ForceCourse = copied(b.ForceCourse)
		b.ForceCourse.Readings = readings
	case b.Positions != nil:
		b.Positions = copied(b.Positions)
		b.Positions.Readings = readings
	}
	return b
}

// instrument is what the readings of an entry were taken with; nil when nobody says.
func (b EntryBody) instrument() *uuid.UUID {
	for _, r := range b.Readings() {
		return r.InstrumentID
	}
	return nil
}

// RecordedBy is the kind of entry that a gauge's record of a reading is; "" where there is none.
func RecordedBy(reading string) string {
	switch reading {
	case "peak_force_n", "static_force_n":
		return "force_course"
	case "activation_zone_width_m", "activation_zone_depth_m", "presence_zone_width_m", "presence_zone_depth_m":
		return "positions"
	}
	return ""
}

// Samples is of how many samples or positions the readings of an entry were worked out; 0 when they were typed.
func (b EntryBody) Samples() int {
	switch {
	case b.ForceCourse != nil:
		return b.ForceCourse.Samples
	case b.Positions != nil:
		return len(b.Positions.Tried)
	}
	return 0
}

// workOut checks a force course and gives it what its series says.
func (c *EntryForceCourse) workOut(faults *fault.List) {
	checkPlace(faults, "/force_course", c.Leaf, "")
	if g := c.GapM; g != nil && !(*g >= 0 && *g <= 10) {
		faults.Add("/force_course/gap_m", "number_out_of_range", "least", 0, "greatest", 10)
	}
	if u := c.UncertaintyN; u != nil && !(*u > 0 && *u <= 1000) {
		faults.Add("/force_course/uncertainty_n", "uncertainty_impossible")
	}
	series, err := rulebook.ParseForceSeries([]byte(c.CSV))
	var course rulebook.ForceCourse
	if err == nil {
		course, err = series.Course(nil, c.UncertaintyN)
	}
	if err != nil {
		faults.Add("/force_course/csv", "force_series_wrong", "reason", err.Error())
		return
	}
	c.SeriesSHA256, c.Samples, c.LastsS, c.ImpulseNs = seal.HashOf([]byte(c.CSV)), len(series), course.LastsS, course.ImpulseNs
	c.Readings = workedOut(faults, "/force_course/csv", course.Readings(rulebook.Place{Leaf: c.Leaf}))
	for i := range c.Readings {
		c.Readings[i].InstrumentID = c.InstrumentID
	}
}

// workOut checks tried positions and gives them the zone that they bear out: none is a zone of no width and no depth.
func (p *EntryPositions) workOut(faults *fault.List) {
	checkOneOf(faults, "/positions/zone", p.Zone, rulebook.ActivationZone, rulebook.PresenceZone)
	checkOneOf(faults, "/positions/side", p.Side, "a", "b")
	checkLine(faults, "/positions/body", p.Body, 1, 200)
	if !(p.SpacingM >= 0.05 && p.SpacingM <= 1) {
		faults.Add("/positions/spacing_m", "number_out_of_range", "least", 0.05, "greatest", 1)
	}
	if len(p.Tried) > rulebook.MostPositions {
		faults.Add("/positions/tried", "too_many", "most", rulebook.MostPositions)
	}
	if slices.ContainsFunc(p.Tried, func(at rulebook.Position) bool { return !(at.XM >= -12 && at.XM <= 12 && at.YM >= 0 && at.YM <= 12) }) {
		faults.Add("/positions/tried", "position_impossible")
	}
	if len(*faults) > 0 { // nothing to work with
		return
	}
	if columns, rows := rulebook.Grid(p.Tried, p.SpacingM); columns < 2 || rows < 2 {
		faults.Add("/positions/tried", "positions_no_grid")
		return
	}
	zone, borne := rulebook.Covered(p.Tried, p.SpacingM)
	if !borne {
		zone = rulebook.CoveredZone{WidthUncertaintyM: p.SpacingM, DepthUncertaintyM: p.SpacingM}
	}
	p.Open, p.Readings = zone.Open, workedOut(faults, "/positions/tried", zone.Readings(p.Zone, rulebook.Side(p.Side)))
}

// workedOut turns readings of a record into those of an entry; what cannot be read at a door is a fault of the record.
func workedOut(faults *fault.List, pointer string, used []rulebook.Used) []EntryReading {
	list := []EntryReading{}
	for _, u := range used {
		if err := rulebook.CheckReading(u.Name, u.Reading); err != nil {
			faults.Add(pointer, "reading_impossible", "reason", err.Error())
		}
		list = append(list, EntryReading{Name: u.Name, Value: u.Number, Leaf: u.Leaf, Side: string(u.Side), Uncertainty: u.Uncertainty})
	}
	return list
}

// checkGauged holds a reading, or a record of a gauge, against the door and the register of instruments.
func checkGauged(ctx context.Context, tx Tx, door Door, e Entry) error {
	for _, r := range e.Body.Readings() {
		at := "/" + e.Body.Kind
		if r.Leaf > len(door.Facts.Leaves) {
			return fault.At(at+"/leaf", "leaf_not_of_door", "leaves", len(door.Facts.Leaves))
		}
		if r.InstrumentID == nil {
			continue
		}
		versions, err := tx.InstrumentVersions(ctx, *r.InstrumentID)
		if err != nil {
			return err
		}
		if len(versions) == 0 {
			return fault.At(at+"/instrument_id", "instrument_not_found")
		}
	}
	return nil
}

// keepSeries keeps the raw series of a force course.
func (f *Fleet) keepSeries(ctx context.Context, tx Tx, e Entry) error {
	c := e.Body.ForceCourse
	if c == nil {
		return nil
	}
	return tx.InsertForceSeries(ctx, ForceSeries{CustomerID: e.CustomerID, SiteID: e.SiteID, DoorID: e.DoorID, SHA256: c.SeriesSHA256, CSV: c.CSV,
		ReceivedAt: e.ReceivedAt, RecordedBy: e.RecordedBy})
}

// RecordedForce is a force course with its series, and the limits that it was judged by when its visit was signed; before that, and where the
// door was not judged then, those of the door as it is known now.
type RecordedForce struct {
	Entry  Entry
	CSV    string
	Series rulebook.ForceSeries
	Course rulebook.ForceCourse
	Sealed bool        // the limits are those of the signed verdicts
	Peak   SeriesLimit // of the greatest force
	Static SeriesLimit // of the force from 0.75 s after the contact on
}

// RecordedForce gives a force course of a visit.
func (f *Fleet) RecordedForce(ctx context.Context, by identity.Actor, visitID, entryID uuid.UUID) (r RecordedForce, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if r.Entry, err = tx.EntryByID(ctx, entryID); err != nil {
			return err
		}
		c := r.Entry.Body.ForceCourse
		if r.Entry.VisitID != visitID || c == nil {
			return fault.New(fault.NotFound, "entry_not_found")
		}
		kept, err := tx.ForceSeriesByHash(ctx, r.Entry.DoorID, c.SeriesSHA256)
		if err != nil {
			return err
		}
		r.CSV = kept.CSV
		limits, err := sealedLimits(ctx, tx, r.Entry)
		if r.Sealed = limits != nil; err == nil && !r.Sealed {
			limits, err = f.limitsToday(ctx, tx, r.Entry.DoorID)
		}
		r.Peak, r.Static = limits["peak_force_n"], limits["static_force_n"]
		return err
	})
	if err != nil {
		return r, err
	}
	if r.Series, err = rulebook.ParseForceSeries([]byte(r.CSV)); err != nil {
		return r, err
	}
	r.Course, err = r.Series.Course(nil, r.Entry.Body.ForceCourse.UncertaintyN)
	return r, err
}

func (f *Fleet) limitsToday(ctx context.Context, tx Tx, doorID uuid.UUID) (map[string]SeriesLimit, error) {
	door, err := tx.DoorByID(ctx, doorID, AsOf{})
	if err != nil {
		return nil, err
	}
	site, err := tx.SiteByID(ctx, door.SiteID)
	if err != nil {
		return nil, err
	}
	return f.limitsNow(ctx, tx, door, site)
}

// sealedLimits are the limits of the verdicts that were signed with the visit of an entry, by the one reading that each rests on; nil where
// its door was not judged in it, or nobody has signed it yet.
func sealedLimits(ctx context.Context, tx Tx, e Entry) (map[string]SeriesLimit, error) {
	if !e.Signed {
		return nil, nil
	}
	canonical, err := tx.VisitRecord(ctx, e.VisitID)
	if err != nil {
		return nil, err
	}
	var record visitRecord
	if err := json.Unmarshal(canonical, &record); err != nil {
		return nil, fmt.Errorf("signed record of visit %s: %w", e.VisitID, err)
	}
	var limits []rulebook.ReadingLimit
	judged := false
	for _, j := range record.Judged {
		if j.DoorID != e.DoorID {
			continue
		}
		judged = true
		for _, v := range j.Verdicts {
			if v.Limit == nil || v.Measured == nil || len(v.Readings) == 0 || v.Measured.SIUnit != v.Readings[0].Unit || slices.ContainsFunc(v.Readings, func(u rulebook.Used) bool { return u.Name != v.Readings[0].Name }) {
				continue
			}
			limits = append(limits, rulebook.ReadingLimit{Reading: rulebook.ReadingKind{Name: rulebook.NameNow(v.Readings[0].Name)}, Pack: j.Pack, RuleID: v.RuleID, Title: v.Title,
				Limit: *v.Limit, Standing: v.Standing, Severity: v.Severity})
		}
	}
	if !judged {
		return nil, nil
	}
	return strictest(limits), nil
}
