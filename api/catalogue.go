package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/steps"
)

type ModelPath struct {
	ModelID uuid.UUID `path:"model_id" format:"uuid"`
}

type AccessoryPath struct {
	AccessoryID uuid.UUID `path:"accessory_id" format:"uuid"`
}

// ModelBody is what a client says of a device model.
type ModelBody struct {
	Maker         string        `json:"maker" minLength:"1" maxLength:"100"`
	Name          string        `json:"name" minLength:"1" maxLength:"100"`
	Kind          string        `json:"kind" enum:"operator,control,power_supply,battery,mode_selector,lock,sensor,activation,safety_device,leaf_hardware"`
	Sensing       string        `json:"sensing" enum:"none,radar,infrared_presence,laser_curtain,beam,mat,knowing_act"`
	FrequencyHz   *float64      `json:"frequency_hz,omitempty" minimum:"1e9" maximum:"300e9" doc:"Radar only; absent when unknown."`
	LeastSpeedMPS *float64      `json:"least_speed_mps,omitempty" minimum:"0.001" maximum:"10" doc:"Radar only: the slowest radial movement that it notices; absent when unknown."`
	Note          string        `json:"note,omitempty" maxLength:"2000"`
	Antennas      []antennaBody `json:"antennas,omitempty" maxItems:"20" doc:"Radar only."`
	Steps         *steps.Chart  `json:"steps,omitempty" doc:"In which steps it is set at the device; absent when not known."`
	Senses        *sensesBody   `json:"senses,omitempty" doc:"How it senses, of what is no radar; absent when unknown, and then nothing is computed of its field. infrared_presence has rows, columns, row_step_deg, column_step_deg, divergence_deg, range_m, detection_share and perhaps on_leaf; laser_curtain leans_deg (from where the mount's tilt looks), from_deg, to_deg, step_deg, range_m, spot_m, divergence_deg and perhaps whole_spot and on_leaf; beam range_m and diameter_m (its other end stands at the mirror place, as far on the other side of the opening's middle); mat width_m and depth_m (mounted where the middle of its edge next to the door is); knowing_act reach_m."`
}

// sensesBody has fleet.Senses' members.
type sensesBody struct {
	Purpose        string    `json:"purpose" enum:"activation,presence,both,knowing_act" doc:"What its output is good for; knowing_act goes with sensing knowing_act and only with it."`
	StillS         *float64  `json:"still_s,omitempty" minimum:"0.1" maximum:"86400" doc:"presence and both: for how long at least somebody who stands still is told."`
	Endless        bool      `json:"endless,omitempty" doc:"presence and both, instead of still_s: as long as somebody stands there."`
	HoldS          float64   `json:"hold_s" minimum:"0" maximum:"3600" doc:"How long the output stays after the last."`
	Rows           *float64  `json:"rows,omitempty" minimum:"1" maximum:"64" multipleOf:"1"`
	Columns        *float64  `json:"columns,omitempty" minimum:"1" maximum:"64" multipleOf:"1"`
	RowStepDeg     *float64  `json:"row_step_deg,omitempty" minimum:"0" maximum:"45" doc:"Between neighbouring spots, outwards."`
	ColumnStepDeg  *float64  `json:"column_step_deg,omitempty" minimum:"0" maximum:"45" doc:"Between neighbouring spots, aside."`
	DetectionShare *float64  `json:"detection_share,omitempty" minimum:"0.02" maximum:"0.45" doc:"Of a spot that a body covers when it is seen."`
	LeansDeg       []float64 `json:"leans_deg,omitempty" maxItems:"16" doc:"Of each sheet of rays."`
	FromDeg        *float64  `json:"from_deg,omitempty" minimum:"-85" maximum:"85" doc:"First ray within a sheet, from its steepest line."`
	ToDeg          *float64  `json:"to_deg,omitempty" minimum:"-85" maximum:"85" doc:"Last ray."`
	StepDeg        *float64  `json:"step_deg,omitempty" minimum:"0.01" maximum:"10" doc:"Between rays."`
	SpotM          *float64  `json:"spot_m,omitempty" minimum:"0.001" maximum:"0.1" doc:"Diameter of a ray at the sensor."`
	WholeSpot      *bool     `json:"whole_spot,omitempty" doc:"A ray tells only when all of it is covered."`
	OnLeaf         *bool     `json:"on_leaf,omitempty" doc:"infrared_presence and laser_curtain: it is made to be fixed to a leaf, and moves with it; its mount is told with the leaf closed."`
	DivergenceDeg  *float64  `json:"divergence_deg,omitempty" minimum:"0" maximum:"20" doc:"Full angle of a spot's cone, 0.1 to 20, or of a ray, 0 to 5."`
	RangeM         *float64  `json:"range_m,omitempty" minimum:"0.1" maximum:"50"`
	DiameterM      *float64  `json:"diameter_m,omitempty" minimum:"0.001" maximum:"0.2"`
	WidthM         *float64  `json:"width_m,omitempty" minimum:"0.05" maximum:"20" doc:"Along the opening."`
	DepthM         *float64  `json:"depth_m,omitempty" minimum:"0.05" maximum:"20" doc:"Away from the door."`
	ReachM         *float64  `json:"reach_m,omitempty" minimum:"0.05" maximum:"2" doc:"From where on the floor it is within reach."`
}

type antennaBody struct {
	AntennaID             uuid.UUID `json:"antenna_id" format:"uuid"`
	Name                  string    `json:"name" minLength:"1" maxLength:"100"`
	AzimuthBeamwidthDeg   float64   `json:"azimuth_beamwidth_deg" minimum:"1" maximum:"180" doc:"Full, at half power."`
	ElevationBeamwidthDeg float64   `json:"elevation_beamwidth_deg" minimum:"1" maximum:"180" doc:"Full, at half power."`
	AttenuationLimitDB    *float64  `json:"attenuation_limit_db,omitempty" minimum:"3" maximum:"60" default:"25" doc:"One-way attenuation that no direction exceeds."`
	BoresightRangeM       float64   `json:"boresight_range_m" minimum:"0.1" maximum:"50" doc:"On the axis at full reach."`
	Source                string    `json:"source" minLength:"1" maxLength:"300" doc:"Where the figures come from."`
	RangeToleranceShare   *float64  `json:"range_tolerance_share,omitempty" minimum:"0.01" maximum:"1" default:"0.2" doc:"How far the range of one device may be from boresight_range_m, as a share of it: a walk test that says more is refused."`
	TiltToleranceDeg      *float64  `json:"tilt_tolerance_deg,omitempty" minimum:"0.5" maximum:"45" default:"5" doc:"How far one device may look from the tilt that it is mounted with: likewise."`
	FittedAtOneHeight     bool      `json:"fitted_at_one_height,omitempty" doc:"Worked out from extents at one height: at another its field is a guess."`
}

type modelItem struct {
	ModelID uuid.UUID `json:"model_id" format:"uuid"`
	ModelBody
	CreatedAt   time.Time        `json:"created_at"`
	Corrections []correctionItem `json:"corrections" doc:"Of figures that were wrong when the entry was made; the figures above are what holds now."`
}

type correctionItem struct {
	CorrectionID uuid.UUID   `json:"correction_id" format:"uuid"`
	Why          string      `json:"why"`
	Figures      figuresBody `json:"figures"`
	Instead      figuresBody `json:"instead" doc:"What held until then."`
	RecordedAt   time.Time   `json:"recorded_at"`
	RecordedBy   uuid.UUID   `json:"recorded_by" format:"uuid"`
}

func newCorrectionItems(list []fleet.Correction) []correctionItem {
	items := make([]correctionItem, len(list))
	for i, c := range list {
		items[i] = correctionItem{CorrectionID: c.CorrectionID, Why: c.Why, Figures: newFiguresBody(c.Figures), Instead: newFiguresBody(c.Instead), RecordedAt: c.RecordedAt, RecordedBy: c.RecordedBy}
	}
	return items
}

// figuresBody are those members of an entry that a correction changes.
type figuresBody struct {
	FrequencyHz   *float64           `json:"frequency_hz,omitempty"`
	LeastSpeedMPS *float64           `json:"least_speed_mps,omitempty"`
	Antennas      []correctedAntenna `json:"antennas,omitempty"`
	Senses        *sensesBody        `json:"senses,omitempty"`
	Effect        *accessoryEffect   `json:"effect,omitempty"`
}

func newFiguresBody(f fleet.Figures) figuresBody {
	b := figuresBody{FrequencyHz: f.FrequencyHz, LeastSpeedMPS: f.LeastSpeedMPS, Senses: (*sensesBody)(f.Senses), Effect: (*accessoryEffect)(f.Effect)}
	for _, a := range f.Antennas {
		b.Antennas = append(b.Antennas, correctedAntenna(a))
	}
	return b
}

type CorrectionPath struct {
	CorrectionID uuid.UUID `path:"correction_id" format:"uuid"`
}

type modelCorrectionIn struct {
	ModelPath
	CorrectionPath
	Body struct {
		Why           string             `json:"why" minLength:"1" maxLength:"300" doc:"What was wrong, and where the right figures come from."`
		FrequencyHz   *float64           `json:"frequency_hz,omitempty" minimum:"1e9" maximum:"300e9"`
		LeastSpeedMPS *float64           `json:"least_speed_mps,omitempty" minimum:"0.001" maximum:"10"`
		Antennas      []correctedAntenna `json:"antennas,omitempty" maxItems:"20"`
		Senses        *sensesBody        `json:"senses,omitempty" doc:"As a whole."`
	}
}

// correctedAntenna has fleet.AntennaFigures' members.
type correctedAntenna struct {
	AntennaID             uuid.UUID `json:"antenna_id" format:"uuid"`
	AzimuthBeamwidthDeg   *float64  `json:"azimuth_beamwidth_deg,omitempty" minimum:"1" maximum:"180"`
	ElevationBeamwidthDeg *float64  `json:"elevation_beamwidth_deg,omitempty" minimum:"1" maximum:"180"`
	AttenuationLimitDB    *float64  `json:"attenuation_limit_db,omitempty" minimum:"3" maximum:"60"`
	BoresightRangeM       *float64  `json:"boresight_range_m,omitempty" minimum:"0.1" maximum:"50"`
	Source                *string   `json:"source,omitempty" minLength:"1" maxLength:"300"`
	RangeToleranceShare   *float64  `json:"range_tolerance_share,omitempty" minimum:"0.01" maximum:"1"`
	TiltToleranceDeg      *float64  `json:"tilt_tolerance_deg,omitempty" minimum:"0.5" maximum:"45"`
	FittedAtOneHeight     *bool     `json:"fitted_at_one_height,omitempty"`
}

type accessoryCorrectionIn struct {
	AccessoryPath
	CorrectionPath
	Body struct {
		Why    string          `json:"why" minLength:"1" maxLength:"300" doc:"What was wrong, and where the right figures come from."`
		Effect accessoryEffect `json:"effect" doc:"As a whole."`
	}
}

func newModelItem(m fleet.Model) modelItem {
	item := modelItem{ModelID: m.ModelID, CreatedAt: m.CreatedAt, Corrections: newCorrectionItems(m.Corrections), ModelBody: ModelBody{Maker: m.Maker, Name: m.Name, Kind: m.Kind, Sensing: m.Sensing,
		FrequencyHz: m.FrequencyHz, LeastSpeedMPS: m.LeastSpeedMPS, Note: m.Note, Antennas: make([]antennaBody, len(m.Antennas)), Senses: (*sensesBody)(m.Senses), Steps: m.Steps}}
	for i, an := range m.Antennas {
		item.Antennas[i] = antennaBody{AntennaID: an.AntennaID, Name: an.Name, AzimuthBeamwidthDeg: an.AzimuthBeamwidthDeg,
			ElevationBeamwidthDeg: an.ElevationBeamwidthDeg, AttenuationLimitDB: &an.AttenuationLimitDB, BoresightRangeM: an.BoresightRangeM, Source: an.Source,
			RangeToleranceShare: &an.RangeToleranceShare, TiltToleranceDeg: &an.TiltToleranceDeg, FittedAtOneHeight: an.FittedAtOneHeight}
	}
	return item
}

type modelPutIn struct {
	ModelPath
	Body ModelBody
}

type modelOut struct {
	Status int
	Body   modelItem
}

type modelListIn struct {
	PageIn
	Search string `query:"search" maxLength:"100" doc:"Part of maker or name."`
	Kind   string `query:"kind" enum:"operator,control,power_supply,battery,mode_selector,lock,sensor,activation,safety_device,leaf_hardware"`
}

type modelListOut struct {
	Body struct {
		Models []modelItem `json:"models"`
		PageOut
	}
}

// modelKey is the cursor of the list of models.
type modelKey struct {
	Maker string `json:"m"`
	Name  string `json:"n"`
}

// AccessoryBody is what a client says of an accessory.
type AccessoryBody struct {
	Kind   string          `json:"kind" enum:"spacer,rain_hood,weather_cover,ceiling_recess,extension_arm,mask,reflector"`
	Name   string          `json:"name" minLength:"1" maxLength:"100"`
	Effect accessoryEffect `json:"effect" doc:"What it does physically, by kind: spacer and extension_arm have out_m and perhaps shake_share; ceiling_recess edge_angle_deg; rain_hood cut_off_deg and perhaps loss_db; weather_cover loss_db and perhaps cut_off_deg; mask azimuth_beamwidth_deg and perhaps elevation_beamwidth_deg and loss_db; reflector both beamwidths and perhaps loss_db."`
}

type accessoryEffect struct {
	OutM         *float64 `json:"out_m,omitempty" minimum:"0" maximum:"2" doc:"Moves the sensor away from the door."`
	CutOffDeg    *float64 `json:"cut_off_deg,omitempty" minimum:"0" maximum:"90" doc:"Hides in the vertical plane of the aim what is more than this from straight down."`
	EdgeAngleDeg *float64 `json:"edge_angle_deg,omitempty" minimum:"0" maximum:"90" doc:"A square opening hides on all sides what is more than this from straight down."`
	LossDB       *float64 `json:"loss_db,omitempty" minimum:"0" maximum:"30" doc:"Insertion loss, one way."`
	ShakeShare   *float64 `json:"shake_share,omitempty" minimum:"0.01" maximum:"10" doc:"What of the header's shaking reaches the sensor behind it; more than 1 when it swings along. Absent: all of it; of a spacer, advice takes 0.3 and says so."`

	AzimuthBeamwidthDeg   *float64 `json:"azimuth_beamwidth_deg,omitempty" minimum:"1" maximum:"180" doc:"Replaces the antenna's: full, at half power."`
	ElevationBeamwidthDeg *float64 `json:"elevation_beamwidth_deg,omitempty" minimum:"1" maximum:"180" doc:"Likewise."`
}

type accessoryItem struct {
	AccessoryID uuid.UUID `json:"accessory_id" format:"uuid"`
	AccessoryBody
	CreatedAt   time.Time        `json:"created_at"`
	Corrections []correctionItem `json:"corrections" doc:"Of an effect that was wrong when the entry was made; the effect above is what holds now."`
}

func newAccessoryItem(x fleet.Accessory) accessoryItem {
	return accessoryItem{AccessoryID: x.AccessoryID, CreatedAt: x.CreatedAt, Corrections: newCorrectionItems(x.Corrections),
		AccessoryBody: AccessoryBody{Kind: x.Kind, Name: x.Name, Effect: accessoryEffect(x.Effect)}}
}

type accessoryPutIn struct {
	AccessoryPath
	Body AccessoryBody
}

type accessoryOut struct {
	Status int
	Body   accessoryItem
}

type accessoryListIn struct {
	PageIn
	Search string `query:"search" maxLength:"100" doc:"Part of the name."`
	Kind   string `query:"kind" enum:"spacer,rain_hood,weather_cover,ceiling_recess,extension_arm,mask,reflector"`
}

type accessoryListOut struct {
	Body struct {
		Accessories []accessoryItem `json:"accessories"`
		PageOut
	}
}

func (a *API) catalogue() {
	add(a, operation("device-model-list", http.MethodGet, "/v1/device-models", identity.ActReadCatalogue, "Device models by maker and name"), a.modelList)
	add(a, operation("device-model-get", http.MethodGet, "/v1/device-models/{model_id}", identity.ActReadCatalogue, "One device model with its antennas"), a.modelGet)
	add(a, operation("device-model-put", http.MethodPut, "/v1/device-models/{model_id}", identity.ActWriteCatalogue, "Add a device model; entries never change"), a.modelPut)
	add(a, operation("device-model-correct", http.MethodPut, "/v1/device-models/{model_id}/corrections/{correction_id}", identity.ActWriteCatalogue, "Correct figures of a device model; every door is computed anew"), a.modelCorrect)
	add(a, operation("accessory-list", http.MethodGet, "/v1/accessories", identity.ActReadCatalogue, "Accessories by name"), a.accessoryList)
	add(a, operation("accessory-get", http.MethodGet, "/v1/accessories/{accessory_id}", identity.ActReadCatalogue, "One accessory"), a.accessoryGet)
	add(a, operation("accessory-put", http.MethodPut, "/v1/accessories/{accessory_id}", identity.ActWriteCatalogue, "Add an accessory; entries never change"), a.accessoryPut)
	add(a, operation("accessory-correct", http.MethodPut, "/v1/accessories/{accessory_id}/corrections/{correction_id}", identity.ActWriteCatalogue, "Correct the effect of an accessory; every door is computed anew"), a.accessoryCorrect)
}

func (a *API) modelList(ctx context.Context, by identity.Actor, in *modelListIn) (*modelListOut, error) {
	var after modelKey
	if err := readCursor(in.After, &after); err != nil {
		return nil, err
	}
	list, err := a.Fleet.Models(ctx, by, fleet.ModelQuery{Search: in.Search, Kind: in.Kind, AfterMaker: after.Maker, AfterName: after.Name, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &modelListOut{}
	out.Body.Models = make([]modelItem, len(list))
	for i, m := range list {
		out.Body.Models[i] = newModelItem(m)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(modelKey{last.Maker, last.Name})
	}
	return out, nil
}

func (a *API) modelGet(ctx context.Context, by identity.Actor, in *ModelPath) (*modelOut, error) {
	m, err := a.Fleet.Model(ctx, by, in.ModelID)
	if err != nil {
		return nil, err
	}
	return &modelOut{Status: http.StatusOK, Body: newModelItem(m)}, nil
}

func (a *API) modelPut(ctx context.Context, by identity.Actor, in *modelPutIn) (*modelOut, error) {
	b := in.Body
	put := fleet.Model{ModelID: in.ModelID, Maker: b.Maker, Name: b.Name, Kind: b.Kind, Sensing: b.Sensing, FrequencyHz: b.FrequencyHz,
		LeastSpeedMPS: b.LeastSpeedMPS, Note: b.Note, Senses: (*fleet.Senses)(b.Senses), Steps: b.Steps}
	for _, an := range b.Antennas {
		antenna := fleet.Antenna{AntennaID: an.AntennaID, ModelID: in.ModelID, Name: an.Name, AzimuthBeamwidthDeg: an.AzimuthBeamwidthDeg,
			ElevationBeamwidthDeg: an.ElevationBeamwidthDeg, AttenuationLimitDB: fleet.AttenuationLimitDB, BoresightRangeM: an.BoresightRangeM, Source: an.Source,
			FittedAtOneHeight: an.FittedAtOneHeight}
		if an.AttenuationLimitDB != nil {
			antenna.AttenuationLimitDB = *an.AttenuationLimitDB
		}
		if an.RangeToleranceShare != nil {
			antenna.RangeToleranceShare = *an.RangeToleranceShare
		}
		if an.TiltToleranceDeg != nil {
			antenna.TiltToleranceDeg = *an.TiltToleranceDeg
		}
		put.Antennas = append(put.Antennas, antenna)
	}
	m, isNew, err := a.Fleet.PutModel(ctx, by, put)
	if err != nil {
		return nil, err
	}
	return &modelOut{Status: created(isNew), Body: newModelItem(m)}, nil
}

func (a *API) modelCorrect(ctx context.Context, by identity.Actor, in *modelCorrectionIn) (*modelOut, error) {
	b := in.Body
	c := fleet.Correction{CorrectionID: in.CorrectionID, Why: b.Why, Figures: fleet.Figures{FrequencyHz: b.FrequencyHz, LeastSpeedMPS: b.LeastSpeedMPS, Senses: (*fleet.Senses)(b.Senses)}}
	for _, an := range b.Antennas {
		c.Figures.Antennas = append(c.Figures.Antennas, fleet.AntennaFigures(an))
	}
	m, isNew, err := a.Fleet.CorrectModel(ctx, by, in.ModelID, c)
	if err != nil {
		return nil, err
	}
	return &modelOut{Status: created(isNew), Body: newModelItem(m)}, nil
}

func (a *API) accessoryList(ctx context.Context, by identity.Actor, in *accessoryListIn) (*accessoryListOut, error) {
	var after nameKey
	if err := readCursor(in.After, &after); err != nil {
		return nil, err
	}
	list, err := a.Fleet.Accessories(ctx, by, fleet.AccessoryQuery{Search: in.Search, Kind: in.Kind, AfterName: after.Name, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &accessoryListOut{}
	out.Body.Accessories = make([]accessoryItem, len(list))
	for i, x := range list {
		out.Body.Accessories[i] = newAccessoryItem(x)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(nameKey{last.Name, last.AccessoryID})
	}
	return out, nil
}

func (a *API) accessoryGet(ctx context.Context, by identity.Actor, in *AccessoryPath) (*accessoryOut, error) {
	x, err := a.Fleet.Accessory(ctx, by, in.AccessoryID)
	if err != nil {
		return nil, err
	}
	return &accessoryOut{Status: http.StatusOK, Body: newAccessoryItem(x)}, nil
}

func (a *API) accessoryPut(ctx context.Context, by identity.Actor, in *accessoryPutIn) (*accessoryOut, error) {
	x, isNew, err := a.Fleet.PutAccessory(ctx, by, fleet.Accessory{AccessoryID: in.AccessoryID, Kind: in.Body.Kind, Name: in.Body.Name,
		Effect: fleet.Effect(in.Body.Effect)})
	if err != nil {
		return nil, err
	}
	return &accessoryOut{Status: created(isNew), Body: newAccessoryItem(x)}, nil
}

func (a *API) accessoryCorrect(ctx context.Context, by identity.Actor, in *accessoryCorrectionIn) (*accessoryOut, error) {
	effect := fleet.Effect(in.Body.Effect)
	x, isNew, err := a.Fleet.CorrectAccessory(ctx, by, in.AccessoryID, fleet.Correction{CorrectionID: in.CorrectionID, Why: in.Body.Why, Figures: fleet.Figures{Effect: &effect}})
	if err != nil {
		return nil, err
	}
	return &accessoryOut{Status: created(isNew), Body: newAccessoryItem(x)}, nil
}
