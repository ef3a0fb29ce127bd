package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/seal"
)

type revisionRow struct {
	CustomerID         uuid.UUID
	SiteID             uuid.UUID
	DoorID             uuid.UUID
	ComponentID        uuid.UUID
	RevisionID         uuid.UUID
	Standing           string
	EffectiveAt        time.Time
	RecordedAt         time.Time
	RecordedBy         uuid.UUID
	Reason             string
	VisitID            *uuid.UUID
	SHA256             []byte `db:"sha256"`
	AntennaID          *uuid.UUID
	HeightM            *float64
	HeightBasis        string
	OffsetXM           *float64 `db:"offset_x_m"`
	OffsetXBasis       string   `db:"offset_x_basis"`
	OffsetYM           *float64 `db:"offset_y_m"`
	OffsetYBasis       string   `db:"offset_y_basis"`
	TiltDeg            *float64
	TiltBasis          string
	YawDeg             *float64
	YawBasis           string
	ReachDB            *float64 `db:"reach_db"`
	ReachBasis         string
	MotionDirection    string
	HoldWhileMoving    *bool
	ConfirmTravelMM    *float64 `db:"confirm_travel_mm"`
	ConfirmTravelBasis string
	OutputHoldS        *float64
	OutputHoldBasis    string
	OutputContact      string
	Accessories        []uuid.UUID
	Fitted             *fleet.Fitted
	Steps              map[string]string
}

func (r revisionRow) revision() fleet.Revision {
	v := fleet.Revision{
		CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, ComponentID: r.ComponentID, RevisionID: r.RevisionID,
		Standing: r.Standing, EffectiveAt: r.EffectiveAt, RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy, Reason: r.Reason,
		VisitID: r.VisitID, Device: fleet.DeviceFacts{AntennaID: r.AntennaID, Accessories: r.Accessories, Fitted: r.Fitted, Steps: r.Steps,
			Mount: fleet.MountFacts{HeightM: quantity(r.HeightM, r.HeightBasis), OffsetXM: quantity(r.OffsetXM, r.OffsetXBasis),
				OffsetYM: quantity(r.OffsetYM, r.OffsetYBasis), TiltDeg: quantity(r.TiltDeg, r.TiltBasis), YawDeg: quantity(r.YawDeg, r.YawBasis)},
			Settings: fleet.Settings{ReachDB: quantity(r.ReachDB, r.ReachBasis), MotionDirection: r.MotionDirection, HoldWhileMoving: r.HoldWhileMoving,
				ConfirmTravelMM: quantity(r.ConfirmTravelMM, r.ConfirmTravelBasis), OutputHoldS: quantity(r.OutputHoldS, r.OutputHoldBasis),
				OutputContact: r.OutputContact}}}
	copy(v.SHA256[:], r.SHA256)
	return v
}

const sqlRevisionByID = `-- revision_by_id
select customer_id, site_id, door_id, component_id, revision_id, standing, effective_at, recorded_at, recorded_by, reason, visit_id, sha256, antenna_id,
  height_m, height_basis, offset_x_m, offset_x_basis, offset_y_m, offset_y_basis, tilt_deg, tilt_basis, yaw_deg, yaw_basis, reach_db, reach_basis,
  motion_direction, hold_while_moving, confirm_travel_mm, confirm_travel_basis, output_hold_s, output_hold_basis, output_contact,
  coalesce((select array_agg(a.accessory_id order by a.place) from revision_accessory a where a.revision_id = r.revision_id), '{}') as accessories, r.fitted, r.steps
from revision r where revision_id = @revision_id`

// RevisionByID gives one revision.
func (t *Tx) RevisionByID(ctx context.Context, id uuid.UUID) (fleet.Revision, error) {
	r, err := queryOne[revisionRow](ctx, t, "revision_by_id", sqlRevisionByID, pgx.StrictNamedArgs{"revision_id": id}, "revision_not_found")
	return r.revision(), err
}

const sqlPresentRevisions = `-- present_revisions
select r.customer_id, r.site_id, r.door_id, r.component_id, r.revision_id, r.standing, r.effective_at, r.recorded_at, r.recorded_by, r.reason, r.visit_id, r.sha256, r.antenna_id,
  r.height_m, r.height_basis, r.offset_x_m, r.offset_x_basis, r.offset_y_m, r.offset_y_basis, r.tilt_deg, r.tilt_basis, r.yaw_deg, r.yaw_basis, r.reach_db, r.reach_basis,
  r.motion_direction, r.hold_while_moving, r.confirm_travel_mm, r.confirm_travel_basis, r.output_hold_s, r.output_hold_basis, r.output_contact,
  coalesce((select array_agg(a.accessory_id order by a.place) from revision_accessory a where a.revision_id = r.revision_id), '{}') as accessories, r.fitted, r.steps,
  (select jsonb_build_object('revision_id', f.revision_id, 'effective_at', f.effective_at, 'recorded_at', f.recorded_at, 'recorded_by', f.recorded_by,
    'visit_id', f.visit_id, 'sha256', encode(f.sha256, 'hex'), 'fitted', f.fitted)
   from revision f join revision b on b.revision_id = (f.fitted ->> 'revision_id')::uuid and b.component_id = f.component_id
   where f.component_id = r.component_id and f.fitted is not null and f.effective_at <= @effective and f.recorded_at <= @recorded
     and not exists (select from visit_entry e where e.corrects = f.revision_id and e.door_id = f.door_id and (e.observed_at, e.entry_id) > (f.effective_at, f.revision_id) and e.received_at <= @recorded)
     and not exists (select from visit_entry e where e.corrects = b.revision_id and e.door_id = b.door_id and (e.observed_at, e.entry_id) > (b.effective_at, b.revision_id) and e.received_at <= @recorded)
     and not exists (select from revision n where n.component_id = f.component_id and n.standing <> 'intended' and n.fitted is null and n.effective_at <= @effective and n.recorded_at <= @recorded
       and (n.effective_at, n.revision_id) > (b.effective_at, b.revision_id)
       and not exists (select from visit_entry e where e.corrects = n.revision_id and e.door_id = n.door_id and (e.observed_at, e.entry_id) > (n.effective_at, n.revision_id) and e.received_at <= @recorded)
       and ((n.effective_at, n.revision_id) < (f.effective_at, f.revision_id)
         or (n.antenna_id, n.height_m, n.offset_x_m, n.offset_y_m, n.tilt_deg, n.yaw_deg) is distinct from (b.antenna_id, b.height_m, b.offset_x_m, b.offset_y_m, b.tilt_deg, b.yaw_deg)
         or (select array_agg(a.accessory_id order by a.place) from revision_accessory a where a.revision_id = n.revision_id)
           is distinct from (select array_agg(a.accessory_id order by a.place) from revision_accessory a where a.revision_id = b.revision_id)))
   order by f.effective_at desc, f.revision_id desc limit 1) as fit
from component c cross join lateral (
  select w.* from revision w
  where w.component_id = c.component_id and w.standing <> 'intended' and w.fitted is null and w.effective_at <= @effective and w.recorded_at <= @recorded
    and coalesce((select false from visit_entry e where e.corrects = w.revision_id and e.door_id = w.door_id and e.received_at <= @recorded
      and (e.observed_at, e.entry_id) > (w.effective_at, w.revision_id) limit 1), true)
  order by w.effective_at desc, w.revision_id desc limit 1) r
where c.door_id = @door_id
order by r.component_id`

// PresentRevisions gives the recorded revision of each device of a door as of both times; what an entry has
// corrected no longer counts. Of two at one instant the one with the greater id holds, not the one that arrived
// last: ids are made in the order of time where the settings are seen, and the order of arrival must not matter. The fit of a walk test holds
// while what it rests on is not corrected, nothing was recorded between that and the walk, and nothing since of another antenna, mount or accessory.
func (t *Tx) PresentRevisions(ctx context.Context, doorID uuid.UUID, asOf fleet.AsOf) ([]fleet.Revision, error) {
	rows, err := query[presentRow](ctx, t, "present_revisions", sqlPresentRevisions,
		pgx.StrictNamedArgs{"door_id": doorID, "effective": bound(asOf.Effective), "recorded": bound(asOf.Recorded)})
	return each(rows, presentRow.revision), err
}

// presentRow is a recorded revision with the fit that holds for it.
type presentRow struct {
	revisionRow
	Fit *struct {
		RevisionID  uuid.UUID    `json:"revision_id"`
		EffectiveAt time.Time    `json:"effective_at"`
		RecordedAt  time.Time    `json:"recorded_at"`
		RecordedBy  uuid.UUID    `json:"recorded_by"`
		VisitID     *uuid.UUID   `json:"visit_id"`
		SHA256      seal.Hash    `json:"sha256"`
		Fitted      fleet.Fitted `json:"fitted"`
	}
}

func (r presentRow) revision() fleet.Revision {
	v := r.revisionRow.revision()
	if f := r.Fit; f != nil {
		v = v.WithFit(fleet.Revision{RevisionID: f.RevisionID, Standing: "found", EffectiveAt: f.EffectiveAt, RecordedAt: f.RecordedAt, RecordedBy: f.RecordedBy, Reason: "walk_test",
			VisitID: f.VisitID, SHA256: f.SHA256, Device: fleet.DeviceFacts{Fitted: &f.Fitted}})
	}
	return v
}

const sqlRevisionsOfDevice = `-- revisions_of_device
select customer_id, site_id, door_id, component_id, revision_id, standing, effective_at, recorded_at, recorded_by, reason, visit_id, sha256, antenna_id,
  height_m, height_basis, offset_x_m, offset_x_basis, offset_y_m, offset_y_basis, tilt_deg, tilt_basis, yaw_deg, yaw_basis, reach_db, reach_basis,
  motion_direction, hold_while_moving, confirm_travel_mm, confirm_travel_basis, output_hold_s, output_hold_basis, output_contact,
  coalesce((select array_agg(a.accessory_id order by a.place) from revision_accessory a where a.revision_id = r.revision_id), '{}') as accessories, r.fitted, r.steps
from revision r
where component_id = @component_id and (effective_at, revision_id) < (@before_at, @before_id)
order by effective_at desc, revision_id desc limit @limit`

// RevisionsOfDevice lists the revisions of a device, the newest first.
func (t *Tx) RevisionsOfDevice(ctx context.Context, q fleet.RevisionQuery) ([]fleet.Revision, error) {
	rows, err := query[revisionRow](ctx, t, "revisions_of_device", sqlRevisionsOfDevice, pgx.StrictNamedArgs{
		"component_id": q.ComponentID, "before_at": bound(q.BeforeAt), "before_id": q.BeforeID, "limit": q.Limit})
	return each(rows, revisionRow.revision), err
}

const sqlInsertRevision = `-- insert_revision
with revised as (
  insert into revision (customer_id, site_id, door_id, component_id, revision_id, standing, effective_at, recorded_at, recorded_by, reason, visit_id, sha256, antenna_id,
    height_m, height_basis, offset_x_m, offset_x_basis, offset_y_m, offset_y_basis, tilt_deg, tilt_basis, yaw_deg, yaw_basis, reach_db, reach_basis,
    motion_direction, hold_while_moving, confirm_travel_mm, confirm_travel_basis, output_hold_s, output_hold_basis, output_contact, fitted, steps)
  select customer_id, site_id, door_id, component_id, @revision_id, @standing, @effective_at, @recorded_at, @recorded_by, @reason, @visit_id, @sha256, @antenna_id,
    @height_m, @height_basis, @offset_x_m, @offset_x_basis, @offset_y_m, @offset_y_basis, @tilt_deg, @tilt_basis, @yaw_deg, @yaw_basis, @reach_db, @reach_basis,
    @motion_direction, @hold_while_moving, @confirm_travel_mm, @confirm_travel_basis, @output_hold_s, @output_hold_basis, @output_contact, @fitted, @steps
  from component where component_id = @component_id
  on conflict (revision_id) do nothing
  returning customer_id, site_id, door_id, component_id, revision_id),
fitted as (
  insert into revision_accessory (customer_id, site_id, door_id, component_id, revision_id, place, accessory_id)
  select r.customer_id, r.site_id, r.door_id, r.component_id, r.revision_id, a.place, a.accessory_id
  from revised r cross join unnest(@accessories::uuid[]) with ordinality as a (accessory_id, place))
select revision_id from revised`

// InsertRevision adds a revision with its accessories, or answers false when the id is taken.
func (t *Tx) InsertRevision(ctx context.Context, v fleet.Revision) (bool, error) {
	m, s := v.Device.Mount, v.Device.Settings
	return insertOne(ctx, t, "insert_revision", sqlInsertRevision, pgx.StrictNamedArgs{
		"component_id": v.ComponentID, "revision_id": v.RevisionID, "standing": v.Standing, "effective_at": v.EffectiveAt,
		"recorded_at": v.RecordedAt, "recorded_by": v.RecordedBy, "reason": v.Reason, "visit_id": v.VisitID, "sha256": v.SHA256[:], "antenna_id": v.Device.AntennaID,
		"height_m": m.HeightM.Value, "height_basis": m.HeightM.Basis, "offset_x_m": m.OffsetXM.Value, "offset_x_basis": m.OffsetXM.Basis,
		"offset_y_m": m.OffsetYM.Value, "offset_y_basis": m.OffsetYM.Basis, "tilt_deg": m.TiltDeg.Value, "tilt_basis": m.TiltDeg.Basis,
		"yaw_deg": m.YawDeg.Value, "yaw_basis": m.YawDeg.Basis, "reach_db": s.ReachDB.Value, "reach_basis": s.ReachDB.Basis,
		"motion_direction": s.MotionDirection, "hold_while_moving": s.HoldWhileMoving, "confirm_travel_mm": s.ConfirmTravelMM.Value,
		"confirm_travel_basis": s.ConfirmTravelMM.Basis, "output_hold_s": s.OutputHoldS.Value, "output_hold_basis": s.OutputHoldS.Basis,
		"output_contact": s.OutputContact, "fitted": v.Device.Fitted, "steps": v.Device.Steps, "accessories": v.Device.Accessories})
}

// Lateral, with its limit, because a planner that does not know how few rows the document has reads all revisions.
const sqlInsertExtents = `-- insert_extents
insert into extent (customer_id, site_id, door_id, component_id, revision_id, door_version_id, model_version, corrections, computed_at, missing, width_m, depth_m, near_m, far_m, area_m2)
select r.customer_id, r.site_id, r.door_id, r.component_id, r.revision_id, e.door_version_id, e.model_version, e.corrections, e.computed_at, e.missing, e.width_m, e.depth_m, e.near_m, e.far_m, e.area_m2
from jsonb_to_recordset(@extents) as e (revision_id uuid, door_version_id uuid, model_version text, corrections uuid[], computed_at timestamptz, missing text[],
  width_m double precision, depth_m double precision, near_m double precision, far_m double precision, area_m2 double precision)
cross join lateral (select * from revision where revision_id = e.revision_id limit 1) r
on conflict do nothing`

// InsertExtents adds what revisions watch; what is there already stays.
func (t *Tx) InsertExtents(ctx context.Context, list []fleet.Extent) error {
	_, err := exec(ctx, t, "insert_extents", sqlInsertExtents, pgx.StrictNamedArgs{"extents": list})
	return err
}

type extentRow struct {
	RevisionID    uuid.UUID
	DoorVersionID uuid.UUID
	ModelVersion  string
	Corrections   []uuid.UUID
	ComputedAt    time.Time
	Missing       []string
	WidthM        *float64
	DepthM        *float64
	NearM         *float64
	FarM          *float64
	AreaM2        *float64 `db:"area_m2"`
}

func (r extentRow) extent() fleet.Extent { return fleet.Extent(r) }

const sqlExtentsOfDoor = `-- extents_of_door
select distinct on (revision_id) revision_id, door_version_id, model_version, corrections, computed_at, missing, width_m, depth_m, near_m, far_m, area_m2
from extent where revision_id = any (@revision_ids) order by revision_id, computed_at desc`

// Extents gives the newest extent of each revision.
func (t *Tx) Extents(ctx context.Context, revisionIDs []uuid.UUID) ([]fleet.Extent, error) {
	rows, err := query[extentRow](ctx, t, "extents_of_door", sqlExtentsOfDoor, pgx.StrictNamedArgs{"revision_ids": revisionIDs})
	return each(rows, extentRow.extent), err
}

const sqlPutCoverages = `-- put_coverages
insert into coverage as present (customer_id, site_id, door_id, side, zone, inputs_sha256, model_version, rule_pack, computed_at, missing, required_m2, covered_share, gap_m, shortfall, unfit)
select d.customer_id, d.site_id, d.door_id, c.side, c.zone, decode(c.inputs_sha256, 'hex'), c.model_version, c.rule_pack, c.computed_at, c.missing, c.required_m2, c.covered_share, c.gap_m, c.shortfall, c.unfit
from door d cross join jsonb_to_recordset(@coverages) as c (side text, zone text, inputs_sha256 text, model_version text, rule_pack text, computed_at timestamptz, missing text[],
  required_m2 double precision, covered_share double precision, gap_m double precision, shortfall boolean, unfit text[])
where d.door_id = @door_id
on conflict (customer_id, site_id, door_id, side, zone) do update set
  inputs_sha256 = excluded.inputs_sha256, model_version = excluded.model_version, rule_pack = excluded.rule_pack, computed_at = excluded.computed_at,
  missing = excluded.missing, required_m2 = excluded.required_m2, covered_share = excluded.covered_share, gap_m = excluded.gap_m, shortfall = excluded.shortfall, unfit = excluded.unfit
where present.inputs_sha256 <> excluded.inputs_sha256`

// PutCoverages writes the present coverage of a door's zones; one whose inputs are the same stays as it is.
func (t *Tx) PutCoverages(ctx context.Context, doorID uuid.UUID, list []fleet.Coverage) error {
	_, err := exec(ctx, t, "put_coverages", sqlPutCoverages, pgx.StrictNamedArgs{"door_id": doorID, "coverages": list})
	return err
}

type coverageRow struct {
	Side         string
	Zone         string
	InputsSHA256 string `db:"inputs_sha256"`
	ModelVersion string
	RulePack     string
	ComputedAt   time.Time
	Missing      []string
	RequiredM2   *float64 `db:"required_m2"`
	CoveredShare *float64
	GapM         *float64
	Shortfall    *bool
	Unfit        []string
}

func (r coverageRow) coverage() fleet.Coverage { return fleet.Coverage(r) }

const sqlCoveragesOfDoor = `-- coverages_of_door
select side, zone, encode(inputs_sha256, 'hex') as inputs_sha256, model_version, rule_pack, computed_at, missing, required_m2, covered_share, gap_m, shortfall, unfit
from coverage where door_id = @door_id order by side, zone`

// CoveragesOfDoor gives the present coverage of a door's zones.
func (t *Tx) CoveragesOfDoor(ctx context.Context, doorID uuid.UUID) ([]fleet.Coverage, error) {
	rows, err := query[coverageRow](ctx, t, "coverages_of_door", sqlCoveragesOfDoor, pgx.StrictNamedArgs{"door_id": doorID})
	return each(rows, coverageRow.coverage), err
}
