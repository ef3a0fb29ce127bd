package fleet

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/steps"
)

// Model is a catalogue entry of anything that can be fitted. Entries never change once made.
type Model struct {
	ModelID       uuid.UUID
	Maker, Name   string
	Kind          string   // as a component's
	Sensing       string   // none, radar, infrared_presence, laser_curtain, beam, mat, knowing_act
	FrequencyHz   *float64 // radar only; nil: not known
	LeastSpeedMPS *float64 // radar only: the slowest radial movement that it notices; nil: not known
	Note          string
	Antennas      []Antenna    // radar only
	Senses        *Senses      // of what is no radar; nil: not known, and nothing is computed of its field
	Steps         *steps.Chart // nil: not known in which steps it is set
	SHA256        [32]byte     // of the canonical JSON of what was sent
	CreatedAt     time.Time
	CreatedBy     uuid.UUID
	Corrections   []Correction // in the order in which they were recorded
}

// Antenna is an antenna of a radar model. Limits and meaning are those of internal/field.
type Antenna struct {
	AntennaID             uuid.UUID
	ModelID               uuid.UUID
	Name                  string
	AzimuthBeamwidthDeg   float64 // full, at half power
	ElevationBeamwidthDeg float64
	AttenuationLimitDB    float64
	BoresightRangeM       float64 // on the axis at full reach
	Source                string  // where the figures come from
	RangeToleranceShare   float64 // how far one device's range may be from BoresightRangeM, as a share of it; 0: RangeToleranceShare
	TiltToleranceDeg      float64 // how far one device's aim may be from the tilt that it is mounted with; 0: TiltToleranceDeg
	FittedAtOneHeight     bool    // worked out from extents at one height: at another its field is a guess
}

// AttenuationLimitDB is what an antenna is taken to have when nobody knows better: our own choice, as in the line
// protocol of internal/field; a walk test corrects it.
const AttenuationLimitDB = 25.0

// What a walk test may come to where a catalogue entry says nothing else: our own choice.
const (
	RangeToleranceShare = 0.2
	TiltToleranceDeg    = 5.0
)

// Accessory is a catalogue entry of something between a sensor and the door that acts on the field.
type Accessory struct {
	AccessoryID uuid.UUID
	Kind        string // spacer, rain_hood, weather_cover, ceiling_recess, extension_arm, mask, reflector
	Name        string
	Effect      Effect
	SHA256      [32]byte
	CreatedAt   time.Time
	CreatedBy   uuid.UUID
	Corrections []Correction // in the order in which they were recorded
}

// Effect is what an accessory does to a sensor, with meaning and limits of internal/field's Accessory. Which members
// a kind has is said by effects; the others are nil. The JSON names are the recorded form.
type Effect struct {
	OutM         *float64 `json:"out_m,omitempty"`          // moves the sensor away from the door by this
	CutOffDeg    *float64 `json:"cut_off_deg,omitempty"`    // hides in the plane of the aim what is more than this from straight down
	EdgeAngleDeg *float64 `json:"edge_angle_deg,omitempty"` // a square opening hides on all sides what is more than this from straight down
	LossDB       *float64 `json:"loss_db,omitempty"`        // insertion loss, one way
	ShakeShare   *float64 `json:"shake_share,omitempty"`    // what of the header's shaking reaches the sensor behind it; more than 1 when it swings along

	AzimuthBeamwidthDeg   *float64 `json:"azimuth_beamwidth_deg,omitempty"` // replaces the antenna's, full, at half power
	ElevationBeamwidthDeg *float64 `json:"elevation_beamwidth_deg,omitempty"`
}

// ModelQuery asks for device models in the order of maker and name.
type ModelQuery struct {
	Search                string // part of maker or name
	Kind                  string // "" for all
	AfterMaker, AfterName string
	Limit                 int
}

// AccessoryQuery asks for accessories in the order of their names.
type AccessoryQuery struct {
	Search    string // part of the name
	Kind      string // "" for all
	AfterName string
	Limit     int
}

type catalogueRows interface {
	ModelByID(ctx context.Context, id uuid.UUID) (Model, error)
	// ModelsByIDs gives those that are there, in no promised order.
	ModelsByIDs(ctx context.Context, ids []uuid.UUID) ([]Model, error)
	ModelPage(ctx context.Context, q ModelQuery) ([]Model, error)
	// InsertModel adds a model with its antennas, or answers false when the id or the name is taken.
	InsertModel(ctx context.Context, m Model) (bool, error)
	// AntennasByIDs gives those that are there, in no promised order.
	AntennasByIDs(ctx context.Context, ids []uuid.UUID) ([]Antenna, error)
	AccessoryByID(ctx context.Context, id uuid.UUID) (Accessory, error)
	AccessoryPage(ctx context.Context, q AccessoryQuery) ([]Accessory, error)
	// InsertAccessory answers false when the id or the name is taken.
	InsertAccessory(ctx context.Context, a Accessory) (bool, error)
	// AccessoriesByIDs gives those that are there, each once, in no promised order.
	AccessoriesByIDs(ctx context.Context, ids []uuid.UUID) ([]Accessory, error)
	// InsertCorrection answers false when the id is taken.
	InsertCorrection(ctx context.Context, c Correction) (bool, error)
}

// PutModel adds a device model to the catalogue. The same again is success, anything else under its id a conflict.
func (f *Fleet) PutModel(ctx context.Context, by identity.Actor, m Model) (saved Model, created bool, err error) {
	m.tidy()
	if err := m.check(); err != nil {
		return Model{}, false, err
	}
	if m.SHA256, err = hashOf(m.inOrderOfIDs().said()); err != nil {
		return Model{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		m.CreatedAt, m.CreatedBy = f.Now(), by.PersonID
		saved = m
		created, err = tx.InsertModel(ctx, m)
		if err != nil || created {
			return err
		}
		if saved, err = tx.ModelByID(ctx, m.ModelID); err != nil {
			return nameTaken(err, "model_name_taken")
		}
		return checkSame("model_differs", saved.inOrderOf(m).said(), m.said())
	})
	return saved.Corrected(time.Time{}), created, err
}

// nameTaken tells what was in the way of an entry whose id is free.
func nameTaken(err error, code string) error {
	for _, e := range fault.Of(err) {
		if e.Kind == fault.NotFound {
			return &fault.Error{Kind: fault.Conflict, Code: code, Pointer: "/name"}
		}
	}
	return err
}

func (m *Model) tidy() {
	tidy(&m.Maker)
	tidy(&m.Name)
	tidy(&m.Note)
	if m.Steps != nil {
		m.Steps = tidyChart(*m.Steps)
	}
	m.Antennas = slices.Clone(m.Antennas) // the caller's stay as they are
	for i := range m.Antennas {
		m.Antennas[i].ModelID = m.ModelID
		tidy(&m.Antennas[i].Name)
		tidy(&m.Antennas[i].Source)
		m.Antennas[i].RangeToleranceShare = cmp.Or(m.Antennas[i].RangeToleranceShare, RangeToleranceShare)
		m.Antennas[i].TiltToleranceDeg = cmp.Or(m.Antennas[i].TiltToleranceDeg, TiltToleranceDeg)
	}
}

// said is what of a model is compared when it is sent again. The JSON names are the recorded form.
func (m Model) said() any {
	antennas := make([]map[string]any, len(m.Antennas))
	for i, a := range m.Antennas {
		antennas[i] = map[string]any{"antenna_id": a.AntennaID, "name": a.Name, "azimuth_beamwidth_deg": a.AzimuthBeamwidthDeg,
			"elevation_beamwidth_deg": a.ElevationBeamwidthDeg, "attenuation_limit_db": a.AttenuationLimitDB,
			"boresight_range_m": a.BoresightRangeM, "source": a.Source}
		if a.RangeToleranceShare != RangeToleranceShare { // entries from before there were tolerances keep their hash
			antennas[i]["range_tolerance_share"] = a.RangeToleranceShare
		}
		if a.TiltToleranceDeg != TiltToleranceDeg {
			antennas[i]["tilt_tolerance_deg"] = a.TiltToleranceDeg
		}
		if a.FittedAtOneHeight {
			antennas[i]["fitted_at_one_height"] = true
		}
	}
	said := map[string]any{"maker": m.Maker, "name": m.Name, "kind": m.Kind, "sensing": m.Sensing, "frequency_hz": m.FrequencyHz,
		"least_speed_mps": m.LeastSpeedMPS, "note": m.Note, "antennas": antennas}
	if m.Senses != nil { // entries from before keep their hash
		said["senses"] = m.Senses
	}
	if m.Steps != nil {
		said["steps"] = m.Steps
	}
	return said
}

// inOrderOfIDs brings the antennas into the order in which they are stored and answered.
func (m Model) inOrderOfIDs() Model {
	m.Antennas = slices.Clone(m.Antennas)
	slices.SortFunc(m.Antennas, func(a, b Antenna) int { return bytes.Compare(a.AntennaID[:], b.AntennaID[:]) })
	return m
}

// inOrderOf brings the antennas into the order in which another model has them, so that a difference between the two
// is named by the place that the other's sender knows.
func (m Model) inOrderOf(other Model) Model {
	place := map[uuid.UUID]int{}
	for i, a := range other.Antennas {
		place[a.AntennaID] = i - len(other.Antennas) // those that the other lacks come last
	}
	m.Antennas = slices.Clone(m.Antennas)
	slices.SortStableFunc(m.Antennas, func(a, b Antenna) int { return cmp.Compare(place[a.AntennaID], place[b.AntennaID]) })
	return m
}

// checkSame answers a conflict that points to the first member in which what is said now is not what is recorded.
func checkSame(code string, recorded, said any) error {
	a, was, err := seal.Marshal(recorded)
	if err != nil {
		return err
	}
	b, is, err := seal.Marshal(said)
	if err != nil || was == is {
		return err
	}
	return differs(code, a, b)
}

func (m Model) check() error {
	var faults fault.List
	checkLine(&faults, "/maker", m.Maker, 1, 100)
	checkLine(&faults, "/name", m.Name, 1, 100)
	checkText(&faults, "/note", m.Note, 0, 2000)
	checkOneOf(&faults, "/kind", m.Kind, ComponentKinds()...)
	checkOneOf(&faults, "/sensing", m.Sensing, "none", "radar", "infrared_presence", "laser_curtain", "beam", "mat", "knowing_act")
	if m.Sensing != "none" && !slices.Contains([]string{"sensor", "activation", "safety_device"}, m.Kind) {
		faults.Add("/sensing", "kind_senses_nothing", "kind", m.Kind)
	}
	if m.Sensing != "radar" {
		if m.FrequencyHz != nil {
			faults.Add("/frequency_hz", "radar_only")
		}
		if m.LeastSpeedMPS != nil {
			faults.Add("/least_speed_mps", "radar_only")
		}
		if len(m.Antennas) > 0 {
			faults.Add("/antennas", "radar_only")
		}
	}
	checkNumber(&faults, "/frequency_hz", m.FrequencyHz, 1e9, 300e9)
	checkNumber(&faults, "/least_speed_mps", m.LeastSpeedMPS, 0.001, 10)
	checkAntennas(&faults, m.Antennas)
	if m.Senses != nil {
		m.Senses.check(&faults, m.Sensing)
	}
	if m.Steps != nil {
		checkChart(&faults, *m.Steps, m.Sensing)
	}
	return faults.Err()
}

func checkAntennas(faults *fault.List, antennas []Antenna) {
	if len(antennas) > 20 {
		faults.Add("/antennas", "too_many", "most", 20)
	}
	ids, names := map[uuid.UUID]bool{}, map[string]bool{}
	for i, a := range antennas {
		at := fmt.Sprintf("/antennas/%d", i)
		if a.AntennaID == uuid.Nil || ids[a.AntennaID] {
			faults.Add(at+"/antenna_id", "antenna_twice")
		}
		if names[a.Name] {
			faults.Add(at+"/name", "antenna_name_twice")
		}
		ids[a.AntennaID], names[a.Name] = true, true
		checkLine(faults, at+"/name", a.Name, 1, 100)
		checkText(faults, at+"/source", a.Source, 1, 300)
		checkNumber(faults, at+"/azimuth_beamwidth_deg", &a.AzimuthBeamwidthDeg, 1, 180)
		checkNumber(faults, at+"/elevation_beamwidth_deg", &a.ElevationBeamwidthDeg, 1, 180)
		checkNumber(faults, at+"/attenuation_limit_db", &a.AttenuationLimitDB, 3, 60)
		checkNumber(faults, at+"/boresight_range_m", &a.BoresightRangeM, 0.1, 50)
		checkNumber(faults, at+"/range_tolerance_share", &a.RangeToleranceShare, 0.01, 1)
		checkNumber(faults, at+"/tilt_tolerance_deg", &a.TiltToleranceDeg, 0.5, 45)
	}
}

// checkNumber adds a fault when a number is there and not within its limits, which are inclusive.
func checkNumber(faults *fault.List, pointer string, value *float64, least, greatest float64) {
	if value != nil && !(*value >= least && *value <= greatest) {
		faults.Add(pointer, "out_of_range", "least", least, "greatest", greatest)
	}
}

// PutAccessory adds an accessory to the catalogue. The same again is success, anything else under its id a conflict.
func (f *Fleet) PutAccessory(ctx context.Context, by identity.Actor, a Accessory) (saved Accessory, created bool, err error) {
	tidy(&a.Name)
	if err := a.check(); err != nil {
		return Accessory{}, false, err
	}
	if a.SHA256, err = hashOf(a.said()); err != nil {
		return Accessory{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		a.CreatedAt, a.CreatedBy = f.Now(), by.PersonID
		saved = a
		created, err = tx.InsertAccessory(ctx, a)
		if err != nil || created {
			return err
		}
		if saved, err = tx.AccessoryByID(ctx, a.AccessoryID); err != nil {
			return nameTaken(err, "accessory_name_taken")
		}
		return checkSame("accessory_differs", saved.said(), a.said())
	})
	return saved.Corrected(time.Time{}), created, err
}

func (a Accessory) said() any {
	return map[string]any{"kind": a.Kind, "name": a.Name, "effect": a.Effect}
}

func (a Accessory) check() error {
	var faults fault.List
	checkLine(&faults, "/name", a.Name, 1, 100)
	known := effects()
	of, ok := known[a.Kind]
	if !ok {
		checkOneOf(&faults, "/kind", a.Kind, slices.Sorted(maps.Keys(known))...)
		return faults.Err()
	}
	a.Effect.check(&faults, of)
	return faults.Err()
}

// effectsOf is which members the effect of a kind of accessory must have and which others it may have.
type effectsOf struct{ must, may []string }

func effects() map[string]effectsOf {
	return map[string]effectsOf{
		"spacer":         {must: []string{"out_m"}, may: []string{"shake_share"}},
		"extension_arm":  {must: []string{"out_m"}, may: []string{"shake_share"}},
		"ceiling_recess": {must: []string{"edge_angle_deg"}},
		"rain_hood":      {must: []string{"cut_off_deg"}, may: []string{"loss_db"}},
		"weather_cover":  {must: []string{"loss_db"}, may: []string{"cut_off_deg"}},
		"mask":           {must: []string{"azimuth_beamwidth_deg"}, may: []string{"elevation_beamwidth_deg", "loss_db"}},
		"reflector":      {must: []string{"azimuth_beamwidth_deg", "elevation_beamwidth_deg"}, may: []string{"loss_db"}},
	}
}

func (e Effect) check(faults *fault.List, of effectsOf) {
	for _, m := range []struct {
		name            string
		value           *float64
		least, greatest float64
	}{{"out_m", e.OutM, 0, 2}, {"cut_off_deg", e.CutOffDeg, 0, 90}, {"edge_angle_deg", e.EdgeAngleDeg, 0, 90}, {"loss_db", e.LossDB, 0, 30}, {"shake_share", e.ShakeShare, 0.01, 10},
		{"azimuth_beamwidth_deg", e.AzimuthBeamwidthDeg, 1, 180}, {"elevation_beamwidth_deg", e.ElevationBeamwidthDeg, 1, 180}} {
		pointer := "/effect/" + m.name
		must := slices.Contains(of.must, m.name)
		switch {
		case m.value == nil && must:
			faults.Add(pointer, "effect_missing")
		case m.value != nil && !must && !slices.Contains(of.may, m.name):
			faults.Add(pointer, "effect_of_other_kind", "members", strings.Join(slices.Concat(of.must, of.may), ", "))
		default:
			checkNumber(faults, pointer, m.value, m.least, m.greatest)
		}
	}
}

// Model gives one device model with the figures that hold now.
func (f *Fleet) Model(ctx context.Context, by identity.Actor, id uuid.UUID) (m Model, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		m, err = tx.ModelByID(ctx, id)
		return err
	})
	return m.Corrected(time.Time{}), err
}

// Models lists device models by maker and name.
func (f *Fleet) Models(ctx context.Context, by identity.Actor, q ModelQuery) (list []Model, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if list, err = tx.ModelPage(ctx, q); err == nil {
			list = correctedModels(list)
		}
		return err
	})
	return list, err
}

// Accessory gives one accessory.
func (f *Fleet) Accessory(ctx context.Context, by identity.Actor, id uuid.UUID) (a Accessory, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		a, err = tx.AccessoryByID(ctx, id)
		return err
	})
	return a.Corrected(time.Time{}), err
}

// Accessories lists accessories by name.
func (f *Fleet) Accessories(ctx context.Context, by identity.Actor, q AccessoryQuery) (list []Accessory, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if list, err = tx.AccessoryPage(ctx, q); err == nil {
			list = correctedAccessories(list)
		}
		return err
	})
	return list, err
}
