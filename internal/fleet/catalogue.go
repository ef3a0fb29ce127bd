package fleet

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
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
	Antennas      []Antenna // radar only
	SHA256        [32]byte  // of the canonical JSON of what was sent
	CreatedAt     time.Time
	CreatedBy     uuid.UUID
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
}

// Accessory is a catalogue entry of something between a sensor and the door that acts on the field.
type Accessory struct {
	AccessoryID uuid.UUID
	Kind        string // spacer, rain_hood, weather_cover, ceiling_recess, extension_arm
	Name        string
	Effect      map[string]float64
	SHA256      [32]byte
	CreatedAt   time.Time
	CreatedBy   uuid.UUID
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
	ModelPage(ctx context.Context, q ModelQuery) ([]Model, error)
	// InsertModel adds a model with its antennas, or answers false when the id is taken.
	InsertModel(ctx context.Context, m Model) (bool, error)
	// AntennasByIDs gives those that are there, in no promised order.
	AntennasByIDs(ctx context.Context, ids []uuid.UUID) ([]Antenna, error)
	AccessoryByID(ctx context.Context, id uuid.UUID) (Accessory, error)
	AccessoryPage(ctx context.Context, q AccessoryQuery) ([]Accessory, error)
	InsertAccessory(ctx context.Context, a Accessory) (bool, error)
	// AccessoriesByIDs gives those that are there, each once, in no promised order.
	AccessoriesByIDs(ctx context.Context, ids []uuid.UUID) ([]Accessory, error)
}

var _ = fmt.Sprint
var _ = json.Marshal
var _ fault.Kind
var _ identity.Actor
var _ seal.Hash
