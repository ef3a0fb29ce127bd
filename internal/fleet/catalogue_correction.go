package fleet

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// Correction says which figures of a catalogue entry were wrong and what holds instead, from the moment it was recorded. The entry itself stays
// as it was entered, so that what was computed before can be computed again.
type Correction struct {
	CorrectionID         uuid.UUID
	ModelID, AccessoryID *uuid.UUID // one of the two
	Figures              Figures
	Instead              Figures // what held until then of the same; given by Corrected, not recorded
	Why                  string
	RecordedAt           time.Time
	RecordedBy           uuid.UUID
}

// Figures are what of an entry a correction changes, with the meaning and the limits of the entry's members; nil stays as it was. The JSON names
// are the recorded form.
type Figures struct {
	FrequencyHz   *float64         `json:"frequency_hz,omitempty"`
	LeastSpeedMPS *float64         `json:"least_speed_mps,omitempty"`
	Antennas      []AntennaFigures `json:"antennas,omitempty"`
	Senses        *Senses          `json:"senses,omitempty"` // as a whole
	Effect        *Effect          `json:"effect,omitempty"` // of an accessory, as a whole
}

// AntennaFigures are those of one antenna of the model.
type AntennaFigures struct {
	AntennaID             uuid.UUID `json:"antenna_id"`
	AzimuthBeamwidthDeg   *float64  `json:"azimuth_beamwidth_deg,omitempty"`
	ElevationBeamwidthDeg *float64  `json:"elevation_beamwidth_deg,omitempty"`
	AttenuationLimitDB    *float64  `json:"attenuation_limit_db,omitempty"`
	BoresightRangeM       *float64  `json:"boresight_range_m,omitempty"`
	Source                *string   `json:"source,omitempty"`
	RangeToleranceShare   *float64  `json:"range_tolerance_share,omitempty"`
	TiltToleranceDeg      *float64  `json:"tilt_tolerance_deg,omitempty"`
	FittedAtOneHeight     *bool     `json:"fitted_at_one_height,omitempty"`
}

// Corrected is the model with the figures that were recorded up to a moment; a zero time means all of them.
func (m Model) Corrected(upTo time.Time) Model {
	m.Corrections = recordedBy(m.Corrections, upTo)
	for i, c := range m.Corrections {
		m.Corrections[i].Instead = m.figures(c.Figures)
		m = m.with(c.Figures)
	}
	return m
}

// Corrected is the accessory with the figures that were recorded up to a moment; a zero time means all of them.
func (a Accessory) Corrected(upTo time.Time) Accessory {
	a.Corrections = recordedBy(a.Corrections, upTo)
	for i, c := range a.Corrections {
		effect := a.Effect
		a.Corrections[i].Instead = Figures{Effect: &effect}
		a = a.with(c.Figures)
	}
	return a
}

func recordedBy(list []Correction, upTo time.Time) (in []Correction) {
	for _, c := range list {
		if upTo.IsZero() || !c.RecordedAt.After(upTo) {
			in = append(in, c)
		}
	}
	return in
}

func correctedModels(list []Model) []Model {
	for i := range list {
		list[i] = list[i].Corrected(time.Time{})
	}
	return list
}

func correctedAccessories(list []Accessory) []Accessory {
	for i := range list {
		list[i] = list[i].Corrected(time.Time{})
	}
	return list
}

func (m Model) with(f Figures) Model {
	m.FrequencyHz = cmp.Or(f.FrequencyHz, m.FrequencyHz)
	m.LeastSpeedMPS = cmp.Or(f.LeastSpeedMPS, m.LeastSpeedMPS)
	m.Senses = cmp.Or(f.Senses, m.Senses)
	antennas := make([]Antenna, len(m.Antennas)) // the caller's stay as they are
	for i, a := range m.Antennas {
		for _, figures := range f.Antennas {
			if figures.AntennaID == a.AntennaID {
				a = a.with(figures)
			}
		}
		antennas[i] = a
	}
	m.Antennas = antennas
	return m
}

// figures gives what the model has of those members that others name.
func (m Model) figures(named Figures) Figures {
	f := Figures{FrequencyHz: m.FrequencyHz, LeastSpeedMPS: m.LeastSpeedMPS, Senses: m.Senses}
	if named.FrequencyHz == nil {
		f.FrequencyHz = nil
	}
	if named.LeastSpeedMPS == nil {
		f.LeastSpeedMPS = nil
	}
	if named.Senses == nil {
		f.Senses = nil
	}
	for _, one := range named.Antennas {
		for _, a := range m.Antennas {
			if a.AntennaID == one.AntennaID {
				f.Antennas = append(f.Antennas, a.figures(one))
			}
		}
	}
	return f
}

func (a Antenna) with(f AntennaFigures) Antenna {
	set(&a.AzimuthBeamwidthDeg, f.AzimuthBeamwidthDeg)
	set(&a.ElevationBeamwidthDeg, f.ElevationBeamwidthDeg)
	set(&a.AttenuationLimitDB, f.AttenuationLimitDB)
	set(&a.BoresightRangeM, f.BoresightRangeM)
	set(&a.Source, f.Source)
	set(&a.RangeToleranceShare, f.RangeToleranceShare)
	set(&a.TiltToleranceDeg, f.TiltToleranceDeg)
	set(&a.FittedAtOneHeight, f.FittedAtOneHeight)
	return a
}

func (a Antenna) figures(named AntennaFigures) AntennaFigures {
	return AntennaFigures{AntennaID: a.AntennaID, AzimuthBeamwidthDeg: of(a.AzimuthBeamwidthDeg, named.AzimuthBeamwidthDeg),
		ElevationBeamwidthDeg: of(a.ElevationBeamwidthDeg, named.ElevationBeamwidthDeg), AttenuationLimitDB: of(a.AttenuationLimitDB, named.AttenuationLimitDB),
		BoresightRangeM: of(a.BoresightRangeM, named.BoresightRangeM), Source: of(a.Source, named.Source),
		RangeToleranceShare: of(a.RangeToleranceShare, named.RangeToleranceShare), TiltToleranceDeg: of(a.TiltToleranceDeg, named.TiltToleranceDeg),
		FittedAtOneHeight: of(a.FittedAtOneHeight, named.FittedAtOneHeight)}
}

// set gives a figure the value that is said, if one is.
func set[T any](figure *T, said *T) {
	if said != nil {
		*figure = *said
	}
}

// of gives a figure where it is named.
func of[T any](figure T, named *T) *T {
	if named == nil {
		return nil
	}
	return &figure
}

func (a Accessory) with(f Figures) Accessory {
	if f.Effect != nil {
		a.Effect = *f.Effect
	}
	return a
}

// CorrectModel records that figures of a device model were wrong, and asks for every door to be computed anew: where the model is fitted, what
// is watched changes. The same again is success, anything else under its id a conflict.
func (f *Fleet) CorrectModel(ctx context.Context, by identity.Actor, modelID uuid.UUID, c Correction) (m Model, created bool, err error) {
	c.ModelID = &modelID
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if m, err = tx.ModelByID(ctx, modelID); err != nil {
			return err
		}
		if known, err := c.recordedIn(m.Corrections); known || err != nil {
			return err
		}
		if err := c.checkModel(m.Corrected(time.Time{})); err != nil {
			return err
		}
		m.Corrections, err = f.correct(ctx, tx, by, m.Corrections, c, m.Maker+" "+m.Name)
		created = err == nil
		return err
	})
	return m.Corrected(time.Time{}), created, err
}

// CorrectAccessory is CorrectModel for the effect of an accessory.
func (f *Fleet) CorrectAccessory(ctx context.Context, by identity.Actor, accessoryID uuid.UUID, c Correction) (a Accessory, created bool, err error) {
	c.AccessoryID = &accessoryID
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if a, err = tx.AccessoryByID(ctx, accessoryID); err != nil {
			return err
		}
		if known, err := c.recordedIn(a.Corrections); known || err != nil {
			return err
		}
		if err := c.checkAccessory(a.Corrected(time.Time{})); err != nil {
			return err
		}
		a.Corrections, err = f.correct(ctx, tx, by, a.Corrections, c, a.Name)
		created = err == nil
		return err
	})
	return a.Corrected(time.Time{}), created, err
}

// correct keeps a correction, and asks for what rests on the entry to be computed anew.
func (f *Fleet) correct(ctx context.Context, tx Tx, by identity.Actor, before []Correction, c Correction, entry string) ([]Correction, error) {
	c.RecordedAt, c.RecordedBy = f.Now(), by.PersonID
	inserted, err := tx.InsertCorrection(ctx, c)
	if err != nil {
		return nil, err
	}
	if !inserted { // of another entry
		return nil, fault.New(fault.Conflict, "correction_differs")
	}
	_, err = tx.InsertRecomputation(ctx, Recomputation{RecomputationID: c.CorrectionID, Why: RecomputeCatalogue, Detail: entry, AskedAt: c.RecordedAt, AskedBy: c.RecordedBy})
	return append(before, c), err
}

// recordedIn tells whether the correction is recorded already; another one under its id is a conflict.
func (c Correction) recordedIn(list []Correction) (bool, error) {
	for _, one := range list {
		if one.CorrectionID == c.CorrectionID {
			return true, checkSame("correction_differs", one.said(), c.said())
		}
	}
	return false, nil
}

func (c Correction) said() any { return map[string]any{"why": c.Why, "figures": c.Figures} }

// checkModel holds the correction against the model as it would be, faults with their places in the correction.
func (c Correction) checkModel(m Model) error {
	var faults fault.List
	checkLine(&faults, "/why", c.Why, 1, 300)
	if c.Figures.Effect != nil {
		faults.Add("/effect", "accessory_only")
	}
	sent := Model{}
	for i, a := range c.Figures.Antennas {
		at := fmt.Sprintf("/antennas/%d/antenna_id", i)
		same := func(other Antenna) bool { return other.AntennaID == a.AntennaID }
		switch {
		case !slices.ContainsFunc(m.Antennas, same):
			faults.Add(at, "antenna_not_found")
		case slices.ContainsFunc(sent.Antennas, same):
			faults.Add(at, "antenna_twice")
		}
		sent.Antennas = append(sent.Antennas, Antenna{AntennaID: a.AntennaID})
	}
	if faults != nil {
		return faults
	}
	corrected := m.with(c.Figures).inOrderOf(sent)
	if err := corrected.check(); err != nil {
		return err
	}
	return c.checkChanges(m.inOrderOf(sent).said(), corrected.said())
}

// checkAccessory is checkModel for an accessory.
func (c Correction) checkAccessory(a Accessory) error {
	var faults fault.List
	checkLine(&faults, "/why", c.Why, 1, 300)
	if c.Figures.Effect == nil {
		faults.Add("/effect", "effect_missing")
	}
	if faults != nil {
		return faults
	}
	corrected := a.with(c.Figures)
	if err := corrected.check(); err != nil {
		return err
	}
	return c.checkChanges(a.said(), corrected.said())
}

func (c Correction) checkChanges(before, after any) error {
	if checkSame("", before, after) == nil {
		return fault.New(fault.Invalid, "correction_of_nothing")
	}
	return nil
}
