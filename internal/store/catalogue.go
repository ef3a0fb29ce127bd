package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/steps"
)

// modelRow is a device model; its antennas come as JSON in the same statement.
type modelRow struct {
	ModelID       uuid.UUID
	Maker         string
	Name          string
	Kind          string
	Sensing       string
	FrequencyHz   *float64
	LeastSpeedMPS *float64 `db:"least_speed_mps"`
	Note          string
	SHA256        []byte `db:"sha256"`
	CreatedAt     time.Time
	CreatedBy     uuid.UUID
	Antennas      []antennaRow
	Senses        *fleet.Senses
	Steps         *steps.Chart
	Corrections   []correctionRow
}

// correctionRow is a correction as its entry's statement gives it.
type correctionRow struct {
	CorrectionID uuid.UUID     `json:"correction_id"`
	ModelID      *uuid.UUID    `json:"model_id"`
	AccessoryID  *uuid.UUID    `json:"accessory_id"`
	Figures      fleet.Figures `json:"figures"`
	Why          string        `json:"why"`
	RecordedAt   time.Time     `json:"recorded_at"`
	RecordedBy   uuid.UUID     `json:"recorded_by"`
}

func (r correctionRow) correction() fleet.Correction {
	return fleet.Correction{CorrectionID: r.CorrectionID, ModelID: r.ModelID, AccessoryID: r.AccessoryID, Figures: r.Figures, Why: r.Why, RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy}
}

type antennaRow struct {
	AntennaID             uuid.UUID `json:"antenna_id"`
	ModelID               uuid.UUID `json:"model_id"`
	Name                  string    `json:"name"`
	AzimuthBeamwidthDeg   float64   `json:"azimuth_beamwidth_deg"`
	ElevationBeamwidthDeg float64   `json:"elevation_beamwidth_deg"`
	AttenuationLimitDB    float64   `json:"attenuation_limit_db" db:"attenuation_limit_db"`
	BoresightRangeM       float64   `json:"boresight_range_m"`
	Source                string    `json:"source"`
	RangeToleranceShare   float64   `json:"range_tolerance_share"`
	TiltToleranceDeg      float64   `json:"tilt_tolerance_deg"`
	FittedAtOneHeight     bool      `json:"fitted_at_one_height"`
}

func (r antennaRow) antenna() fleet.Antenna { return fleet.Antenna(r) }

func (r modelRow) model() fleet.Model {
	m := fleet.Model{ModelID: r.ModelID, Maker: r.Maker, Name: r.Name, Kind: r.Kind, Sensing: r.Sensing, FrequencyHz: r.FrequencyHz,
		LeastSpeedMPS: r.LeastSpeedMPS, Note: r.Note, CreatedAt: r.CreatedAt, CreatedBy: r.CreatedBy, Antennas: each(r.Antennas, antennaRow.antenna), Senses: r.Senses, Steps: r.Steps,
		Corrections: each(r.Corrections, correctionRow.correction)}
	copy(m.SHA256[:], r.SHA256)
	return m
}

const sqlModelByID = `-- model_by_id
select m.model_id, m.maker, m.name, m.kind, m.sensing, m.frequency_hz, m.least_speed_mps, m.note, m.sha256, m.created_at, m.created_by, m.senses, m.steps,
  coalesce((select jsonb_agg(a order by a.antenna_id) from antenna a where a.model_id = m.model_id), '[]') as antennas,
  coalesce((select jsonb_agg(c order by c.recorded_at, c.correction_id) from catalogue_correction c where c.model_id = m.model_id), '[]') as corrections
from device_model m where m.model_id = @model_id`

// ModelByID gives a device model with its antennas.
func (t *Tx) ModelByID(ctx context.Context, id uuid.UUID) (fleet.Model, error) {
	r, err := queryOne[modelRow](ctx, t, "model_by_id", sqlModelByID, pgx.StrictNamedArgs{"model_id": id}, "model_not_found")
	return r.model(), err
}

const sqlModelPage = `-- model_page
select m.model_id, m.maker, m.name, m.kind, m.sensing, m.frequency_hz, m.least_speed_mps, m.note, m.sha256, m.created_at, m.created_by, m.senses, m.steps,
  coalesce((select jsonb_agg(a order by a.antenna_id) from antenna a where a.model_id = m.model_id), '[]') as antennas,
  coalesce((select jsonb_agg(c order by c.recorded_at, c.correction_id) from catalogue_correction c where c.model_id = m.model_id), '[]') as corrections
from device_model m
where (m.maker, m.name) > (@after_maker, @after_name)
  and (@kind::text = '' or m.kind = @kind)
  and (@search::text = '' or lower(m.maker || ' ' || m.name) like @search)
order by m.maker, m.name limit @limit`

// ModelPage lists device models by maker and name.
func (t *Tx) ModelPage(ctx context.Context, q fleet.ModelQuery) ([]fleet.Model, error) {
	rows, err := query[modelRow](ctx, t, "model_page", sqlModelPage, pgx.StrictNamedArgs{
		"after_maker": q.AfterMaker, "after_name": q.AfterName, "kind": q.Kind, "search": containing(q.Search), "limit": q.Limit})
	return each(rows, modelRow.model), err
}

const sqlInsertModel = `-- insert_model
with made as (
  insert into device_model (model_id, maker, name, kind, sensing, frequency_hz, least_speed_mps, note, sha256, created_at, created_by, senses, steps)
  values (@model_id, @maker, @name, @kind, @sensing, @frequency_hz, @least_speed_mps, @note, @sha256, @created_at, @created_by, @senses, @steps)
  on conflict do nothing
  returning model_id),
antennas as (
  insert into antenna (antenna_id, model_id, name, azimuth_beamwidth_deg, elevation_beamwidth_deg, attenuation_limit_db, boresight_range_m, source, range_tolerance_share, tilt_tolerance_deg,
    fitted_at_one_height)
  select a.antenna_id, m.model_id, a.name, a.azimuth_beamwidth_deg, a.elevation_beamwidth_deg, a.attenuation_limit_db, a.boresight_range_m, a.source, a.range_tolerance_share, a.tilt_tolerance_deg,
    a.fitted_at_one_height
  from made m cross join jsonb_to_recordset(@antennas) as a (antenna_id uuid, name text, azimuth_beamwidth_deg double precision,
    elevation_beamwidth_deg double precision, attenuation_limit_db double precision, boresight_range_m double precision, source text,
    range_tolerance_share double precision, tilt_tolerance_deg double precision, fitted_at_one_height boolean))
select model_id from made`

// InsertModel adds a device model with its antennas, or answers false when the id or the name is taken.
func (t *Tx) InsertModel(ctx context.Context, m fleet.Model) (bool, error) {
	antennas := each(m.Antennas, func(a fleet.Antenna) antennaRow { return antennaRow(a) })
	rows, err := query[struct{ ModelID uuid.UUID }](ctx, t, "insert_model", sqlInsertModel, pgx.StrictNamedArgs{
		"model_id": m.ModelID, "maker": m.Maker, "name": m.Name, "kind": m.Kind, "sensing": m.Sensing, "frequency_hz": m.FrequencyHz,
		"least_speed_mps": m.LeastSpeedMPS, "note": m.Note, "sha256": m.SHA256[:], "created_at": m.CreatedAt, "created_by": m.CreatedBy,
		"antennas": antennas, "senses": m.Senses, "steps": m.Steps})
	return len(rows) == 1, err
}

const sqlAntennasByIDs = `-- antennas_by_ids
select antenna_id, model_id, name, azimuth_beamwidth_deg, elevation_beamwidth_deg, attenuation_limit_db, boresight_range_m, source, range_tolerance_share, tilt_tolerance_deg, fitted_at_one_height
from antenna where antenna_id = any (@antenna_ids)`

// AntennasByIDs gives those antennas that are there.
func (t *Tx) AntennasByIDs(ctx context.Context, ids []uuid.UUID) ([]fleet.Antenna, error) {
	rows, err := query[antennaRow](ctx, t, "antennas_by_ids", sqlAntennasByIDs, pgx.StrictNamedArgs{"antenna_ids": ids})
	return each(rows, antennaRow.antenna), err
}

type accessoryRow struct {
	AccessoryID uuid.UUID
	Kind        string
	Name        string
	Effect      fleet.Effect
	SHA256      []byte `db:"sha256"`
	CreatedAt   time.Time
	CreatedBy   uuid.UUID
	Corrections []correctionRow
}

func (r accessoryRow) accessory() fleet.Accessory {
	a := fleet.Accessory{AccessoryID: r.AccessoryID, Kind: r.Kind, Name: r.Name, Effect: r.Effect, CreatedAt: r.CreatedAt, CreatedBy: r.CreatedBy,
		Corrections: each(r.Corrections, correctionRow.correction)}
	copy(a.SHA256[:], r.SHA256)
	return a
}

const sqlAccessoryByID = `-- accessory_by_id
select a.accessory_id, a.kind, a.name, a.effect, a.sha256, a.created_at, a.created_by,
  coalesce((select jsonb_agg(c order by c.recorded_at, c.correction_id) from catalogue_correction c where c.accessory_id = a.accessory_id), '[]') as corrections
from accessory a where a.accessory_id = @accessory_id`

// AccessoryByID gives an accessory.
func (t *Tx) AccessoryByID(ctx context.Context, id uuid.UUID) (fleet.Accessory, error) {
	r, err := queryOne[accessoryRow](ctx, t, "accessory_by_id", sqlAccessoryByID, pgx.StrictNamedArgs{"accessory_id": id}, "accessory_not_found")
	return r.accessory(), err
}

const sqlAccessoryPage = `-- accessory_page
select a.accessory_id, a.kind, a.name, a.effect, a.sha256, a.created_at, a.created_by,
  coalesce((select jsonb_agg(c order by c.recorded_at, c.correction_id) from catalogue_correction c where c.accessory_id = a.accessory_id), '[]') as corrections
from accessory a
where name > @after_name
  and (@kind::text = '' or kind = @kind)
  and (@search::text = '' or lower(name) like @search)
order by name limit @limit`

// AccessoryPage lists accessories by name.
func (t *Tx) AccessoryPage(ctx context.Context, q fleet.AccessoryQuery) ([]fleet.Accessory, error) {
	rows, err := query[accessoryRow](ctx, t, "accessory_page", sqlAccessoryPage, pgx.StrictNamedArgs{
		"after_name": q.AfterName, "kind": q.Kind, "search": containing(q.Search), "limit": q.Limit})
	return each(rows, accessoryRow.accessory), err
}

const sqlInsertAccessory = `-- insert_accessory
insert into accessory (accessory_id, kind, name, effect, sha256, created_at, created_by)
values (@accessory_id, @kind, @name, @effect, @sha256, @created_at, @created_by)
on conflict do nothing`

// InsertAccessory adds an accessory, or answers false when the id or the name is taken.
func (t *Tx) InsertAccessory(ctx context.Context, a fleet.Accessory) (bool, error) {
	n, err := exec(ctx, t, "insert_accessory", sqlInsertAccessory, pgx.StrictNamedArgs{"accessory_id": a.AccessoryID, "kind": a.Kind,
		"name": a.Name, "effect": a.Effect, "sha256": a.SHA256[:], "created_at": a.CreatedAt, "created_by": a.CreatedBy})
	return n == 1, err
}

const sqlAccessoriesByIDs = `-- accessories_by_ids
select a.accessory_id, a.kind, a.name, a.effect, a.sha256, a.created_at, a.created_by,
  coalesce((select jsonb_agg(c order by c.recorded_at, c.correction_id) from catalogue_correction c where c.accessory_id = a.accessory_id), '[]') as corrections
from accessory a where a.accessory_id = any (@accessory_ids)`

// AccessoriesByIDs gives those accessories that are there.
func (t *Tx) AccessoriesByIDs(ctx context.Context, ids []uuid.UUID) ([]fleet.Accessory, error) {
	rows, err := query[accessoryRow](ctx, t, "accessories_by_ids", sqlAccessoriesByIDs, pgx.StrictNamedArgs{"accessory_ids": ids})
	return each(rows, accessoryRow.accessory), err
}

const sqlModelsByIDs = `-- models_by_ids
select m.model_id, m.maker, m.name, m.kind, m.sensing, m.frequency_hz, m.least_speed_mps, m.note, m.sha256, m.created_at, m.created_by, m.senses, m.steps,
  coalesce((select jsonb_agg(a order by a.antenna_id) from antenna a where a.model_id = m.model_id), '[]') as antennas,
  coalesce((select jsonb_agg(c order by c.recorded_at, c.correction_id) from catalogue_correction c where c.model_id = m.model_id), '[]') as corrections
from device_model m where m.model_id = any (@model_ids)`

// ModelsByIDs gives those device models that are there, with their antennas.
func (t *Tx) ModelsByIDs(ctx context.Context, ids []uuid.UUID) ([]fleet.Model, error) {
	rows, err := query[modelRow](ctx, t, "models_by_ids", sqlModelsByIDs, pgx.StrictNamedArgs{"model_ids": ids})
	return each(rows, modelRow.model), err
}

const sqlInsertCorrection = `-- insert_correction
insert into catalogue_correction (correction_id, model_id, accessory_id, figures, why, recorded_at, recorded_by)
values (@correction_id, @model_id, @accessory_id, @figures, @why, @recorded_at, @recorded_by)
on conflict do nothing`

// InsertCorrection adds a correction of a catalogue entry, or answers false when its id is taken.
func (t *Tx) InsertCorrection(ctx context.Context, c fleet.Correction) (bool, error) {
	n, err := exec(ctx, t, "insert_correction", sqlInsertCorrection, pgx.StrictNamedArgs{"correction_id": c.CorrectionID, "model_id": c.ModelID,
		"accessory_id": c.AccessoryID, "figures": c.Figures, "why": c.Why, "recorded_at": c.RecordedAt, "recorded_by": c.RecordedBy})
	return n == 1, err
}
