package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type recomputationRow struct {
	RecomputationID uuid.UUID
	Why             string
	Detail          string
	AskedAt         time.Time
	AskedBy         uuid.UUID
	AfterDoor       uuid.UUID
	Done            int
	Changed         int
	Opened          int
	Cleared         int
	FinishedAt      *time.Time
}

func (r recomputationRow) recomputation() fleet.Recomputation { return fleet.Recomputation(r) }

const sqlInsertRecomputation = `-- insert_recomputation
insert into recomputation (recomputation_id, why, detail, asked_at, asked_by)
values (@recomputation_id, @why, @detail, @asked_at, @asked_by) on conflict do nothing`

// InsertRecomputation asks for a recomputation, or answers false when the id is taken, or there is one of that program already.
func (t *Tx) InsertRecomputation(ctx context.Context, r fleet.Recomputation) (bool, error) {
	return insertOne(ctx, t, "insert_recomputation", sqlInsertRecomputation, pgx.StrictNamedArgs{
		"recomputation_id": r.RecomputationID, "why": r.Why, "detail": r.Detail, "asked_at": r.AskedAt, "asked_by": r.AskedBy})
}

const sqlRecomputationByID = `-- recomputation_by_id
select recomputation_id, why, detail, asked_at, asked_by, after_door, done, changed, opened, cleared, finished_at
from recomputation where recomputation_id = @recomputation_id`

// RecomputationByID gives one recomputation.
func (t *Tx) RecomputationByID(ctx context.Context, id uuid.UUID) (fleet.Recomputation, error) {
	r, err := queryOne[recomputationRow](ctx, t, "recomputation_by_id", sqlRecomputationByID, pgx.StrictNamedArgs{"recomputation_id": id}, "recomputation_not_found")
	return r.recomputation(), err
}

const sqlRecomputations = `-- recomputations
select recomputation_id, why, detail, asked_at, asked_by, after_door, done, changed, opened, cleared, finished_at
from recomputation where finished_at is null or not @open::boolean
order by asked_at desc, recomputation_id desc limit @limit`

// Recomputations lists recomputations, the newest first.
func (t *Tx) Recomputations(ctx context.Context, open bool, limit int) ([]fleet.Recomputation, error) {
	rows, err := query[recomputationRow](ctx, t, "recomputations", sqlRecomputations, pgx.StrictNamedArgs{"open": open, "limit": limit})
	return each(rows, recomputationRow.recomputation), err
}

const sqlNewestRecomputation = `-- newest_recomputation
select coalesce((select detail from recomputation where why = @why order by asked_at desc, recomputation_id desc limit 1), '') as detail`

// NewestRecomputation gives the detail of the one that was asked for last for a reason.
func (t *Tx) NewestRecomputation(ctx context.Context, why string) (string, error) {
	rows, err := query[struct{ Detail string }](ctx, t, "newest_recomputation", sqlNewestRecomputation, pgx.StrictNamedArgs{"why": why})
	if err != nil || len(rows) == 0 {
		return "", err
	}
	return rows[0].Detail, nil
}

const sqlInspectedAmong = `-- inspected_among
select d.door_id from door d where d.door_id = any (@door_ids)
  and exists (select from visit_entry e where e.door_id = d.door_id and e.kind = 'conclusion') order by d.door_id`

// InspectedAmong gives those of the doors that an inspection was concluded of.
func (t *Tx) InspectedAmong(ctx context.Context, doors []uuid.UUID) ([]uuid.UUID, error) {
	rows, err := query[struct{ DoorID uuid.UUID }](ctx, t, "inspected_among", sqlInspectedAmong, pgx.StrictNamedArgs{"door_ids": doors})
	return each(rows, func(r struct{ DoorID uuid.UUID }) uuid.UUID { return r.DoorID }), err
}

const sqlSiteZones = `-- site_zones
select distinct time_zone from site order by time_zone`

// SiteZones gives every zone in which a site is.
func (t *Tx) SiteZones(ctx context.Context) ([]string, error) {
	rows, err := query[struct{ TimeZone string }](ctx, t, "site_zones", sqlSiteZones, nil)
	return each(rows, func(r struct{ TimeZone string }) string { return r.TimeZone }), err
}

const sqlCountRecomputed = `-- count_recomputed
update recomputation set changed = changed + @changed, opened = opened + @opened, cleared = cleared + @cleared where recomputation_id = @recomputation_id`

// CountRecomputed adds what one part came to.
func (t *Tx) CountRecomputed(ctx context.Context, id uuid.UUID, changed, opened, cleared int) error {
	_, err := exec(ctx, t, "count_recomputed", sqlCountRecomputed, pgx.StrictNamedArgs{"recomputation_id": id, "changed": changed, "opened": opened, "cleared": cleared})
	return err
}

const sqlAdvanceRecomputation = `-- advance_recomputation
update recomputation set after_door = greatest(after_door, @after_door), done = greatest(done, @done), finished_at = coalesce(finished_at, @finished_at)
where recomputation_id = @recomputation_id`

// AdvanceRecomputation says how far a recomputation is; it never goes back.
func (t *Tx) AdvanceRecomputation(ctx context.Context, id, after uuid.UUID, done int, finished *time.Time) error {
	_, err := exec(ctx, t, "advance_recomputation", sqlAdvanceRecomputation, pgx.StrictNamedArgs{"recomputation_id": id, "after_door": after, "done": done, "finished_at": finished})
	return err
}

const sqlLockDoors = `-- lock_doors
select pg_advisory_xact_lock(hashtextextended(d.door_id::text, 0)) from (select unnest(@door_ids::uuid[]) as door_id order by 1) d`

// LockDoors is LockDoor for many, in the order of their ids.
func (t *Tx) LockDoors(ctx context.Context, ids []uuid.UUID) error {
	_, err := exec(ctx, t, "lock_doors", sqlLockDoors, pgx.StrictNamedArgs{"door_ids": ids})
	return err
}

const sqlPresentDoors = `-- present_doors
select d.customer_id, d.site_id, d.door_id, d.tag, d.name, d.known_since, d.recorded_at as door_recorded_at, d.recorded_by as door_recorded_by,
  v.version_id, v.effective_at, v.recorded_at, v.recorded_by, v.reason, v.sha256, v.kind, v.energy, v.traffic, v.presence_by,
  v.activation_a, v.activation_b, v.label_a, v.label_b, v.clear_width_m, v.clear_width_basis, v.header_depth_m, v.header_depth_basis,
  v.opening_time_s, v.opening_time_basis, v.closing_time_s, v.closing_time_basis, v.modes, v.guide_rails, v.interlock_group,
  v.egress, v.fire_rated, v.interior, v.vulnerable_users, v.rule_pack, v.rule_since, v.rule_why,
  coalesce((select jsonb_agg(l order by l.leaf_no) from door_leaf l where l.version_id = v.version_id), '[]') as leaves,
  coalesce((select jsonb_agg(z order by z.side, z.zone_no) from kept_clear_zone z where z.version_id = v.version_id), '[]') as zones
from unnest(@door_ids::uuid[]) as p (door_id)
join door d on d.door_id = p.door_id
cross join lateral (
  select w.* from door_version w where w.door_id = d.door_id
  order by w.effective_at desc, w.recorded_at desc, w.version_id desc limit 1) v
order by d.door_id`

// PresentDoors gives doors as they are now, by id.
func (t *Tx) PresentDoors(ctx context.Context, ids []uuid.UUID) ([]fleet.Door, error) {
	rows, err := query[doorRow](ctx, t, "present_doors", sqlPresentDoors, pgx.StrictNamedArgs{"door_ids": ids})
	return each(rows, doorRow.door), err
}

const sqlPresentComponents = `-- present_components
select c.customer_id, c.site_id, c.door_id, c.component_id, c.kind, c.model_id, c.model_text, c.serial, c.warranty_until,
  c.recorded_at as component_recorded_at, c.recorded_by as component_recorded_by,
  v.version_id, v.effective_at, v.recorded_at, v.recorded_by, v.reason, v.sha256, v.state, v.side, v.wired_to, v.input, v.contact,
  v.tested_by_control, v.inhibited_while_moving
from component c cross join lateral (
  select w.* from component_version w
  where w.component_id = c.component_id
    and coalesce((select false from visit_entry e join visit_entry x on x.entry_id = e.corrects and x.door_id = e.door_id
      where e.corrects = w.version_id and (e.observed_at, e.entry_id) > (x.observed_at, x.entry_id) limit 1), true)
  order by w.effective_at desc, w.recorded_at desc, w.version_id desc limit 1) v
where c.door_id = any (@door_ids)
order by c.door_id, c.component_id`

// PresentComponents gives the components of doors with their fittings as they are now.
func (t *Tx) PresentComponents(ctx context.Context, doors []uuid.UUID) ([]fleet.Component, error) {
	rows, err := query[componentRow](ctx, t, "present_components", sqlPresentComponents, pgx.StrictNamedArgs{"door_ids": doors})
	return each(rows, componentRow.component), err
}

const sqlPresentRevisionsOf = `-- present_revisions_of
select r.customer_id, r.site_id, r.door_id, r.component_id, r.revision_id, r.standing, r.effective_at, r.recorded_at, r.recorded_by, r.reason, r.visit_id, r.sha256, r.antenna_id,
  r.height_m, r.height_basis, r.offset_x_m, r.offset_x_basis, r.offset_y_m, r.offset_y_basis, r.tilt_deg, r.tilt_basis, r.yaw_deg, r.yaw_basis, r.reach_db, r.reach_basis,
  r.motion_direction, r.hold_while_moving, r.confirm_travel_mm, r.confirm_travel_basis, r.output_hold_s, r.output_hold_basis, r.output_contact,
  coalesce((select array_agg(a.accessory_id order by a.place) from revision_accessory a where a.revision_id = r.revision_id), '{}') as accessories, r.fitted, r.steps,
  (select jsonb_build_object('revision_id', f.revision_id, 'effective_at', f.effective_at, 'recorded_at', f.recorded_at, 'recorded_by', f.recorded_by,
    'visit_id', f.visit_id, 'sha256', encode(f.sha256, 'hex'), 'fitted', f.fitted)
   from revision f join revision b on b.revision_id = (f.fitted ->> 'revision_id')::uuid and b.component_id = f.component_id
   where f.component_id = r.component_id and f.fitted is not null
     and not exists (select from visit_entry e where e.corrects = f.revision_id and e.door_id = f.door_id and (e.observed_at, e.entry_id) > (f.effective_at, f.revision_id))
     and not exists (select from visit_entry e where e.corrects = b.revision_id and e.door_id = b.door_id and (e.observed_at, e.entry_id) > (b.effective_at, b.revision_id))
     and not exists (select from revision n where n.component_id = f.component_id and n.standing <> 'intended' and n.fitted is null
       and (n.effective_at, n.revision_id) > (b.effective_at, b.revision_id)
       and not exists (select from visit_entry e where e.corrects = n.revision_id and e.door_id = n.door_id and (e.observed_at, e.entry_id) > (n.effective_at, n.revision_id))
       and ((n.effective_at, n.revision_id) < (f.effective_at, f.revision_id)
         or (n.antenna_id, n.height_m, n.offset_x_m, n.offset_y_m, n.tilt_deg, n.yaw_deg) is distinct from (b.antenna_id, b.height_m, b.offset_x_m, b.offset_y_m, b.tilt_deg, b.yaw_deg)
         or (select array_agg(a.accessory_id order by a.place) from revision_accessory a where a.revision_id = n.revision_id)
           is distinct from (select array_agg(a.accessory_id order by a.place) from revision_accessory a where a.revision_id = b.revision_id)))
   order by f.effective_at desc, f.revision_id desc limit 1) as fit
from component c cross join lateral (
  select w.* from revision w
  where w.component_id = c.component_id and w.standing <> 'intended' and w.fitted is null
    and coalesce((select false from visit_entry e where e.corrects = w.revision_id and e.door_id = w.door_id
      and (e.observed_at, e.entry_id) > (w.effective_at, w.revision_id) limit 1), true)
  order by w.effective_at desc, w.revision_id desc limit 1) r
where c.door_id = any (@door_ids)
order by r.door_id, r.component_id`

// PresentRevisionsOf is PresentRevisions as things stand now, for many doors.
func (t *Tx) PresentRevisionsOf(ctx context.Context, doors []uuid.UUID) ([]fleet.Revision, error) {
	rows, err := query[presentRow](ctx, t, "present_revisions_of", sqlPresentRevisionsOf, pgx.StrictNamedArgs{"door_ids": doors})
	return each(rows, presentRow.revision), err
}

const sqlCoverageInputs = `-- coverage_inputs
select door_id, array_agg(distinct encode(inputs_sha256, 'hex')) as inputs from coverage where door_id = any (@door_ids) group by door_id`

// CoverageInputs gives the hashes that recorded coverages were computed from, by door.
func (t *Tx) CoverageInputs(ctx context.Context, doors []uuid.UUID) (map[uuid.UUID][]string, error) {
	type row struct {
		DoorID uuid.UUID
		Inputs []string
	}
	rows, err := query[row](ctx, t, "coverage_inputs", sqlCoverageInputs, pgx.StrictNamedArgs{"door_ids": doors})
	inputs := make(map[uuid.UUID][]string, len(rows))
	for _, r := range rows {
		inputs[r.DoorID] = r.Inputs
	}
	return inputs, err
}

const sqlOpenComputedFindings = `-- open_computed_findings
select door_id, finding_id, cause from finding
where door_id = any (@door_ids) and origin = 'computed' and state = 'open' order by door_id, opened_at, finding_id`

// OpenComputedFindings gives the computed findings that stand, by door: id and cause.
func (t *Tx) OpenComputedFindings(ctx context.Context, doors []uuid.UUID) (map[uuid.UUID][]fleet.ComputedFinding, error) {
	type row struct {
		DoorID    uuid.UUID
		FindingID uuid.UUID
		Cause     string
	}
	rows, err := query[row](ctx, t, "open_computed_findings", sqlOpenComputedFindings, pgx.StrictNamedArgs{"door_ids": doors})
	open := map[uuid.UUID][]fleet.ComputedFinding{}
	for _, r := range rows {
		open[r.DoorID] = append(open[r.DoorID], fleet.ComputedFinding{FindingID: r.FindingID, Cause: r.Cause})
	}
	return open, err
}

const sqlPutCoveragesOf = `-- put_coverages_of
insert into coverage as present (customer_id, site_id, door_id, side, zone, inputs_sha256, model_version, rule_pack, computed_at, missing, required_m2, covered_share, gap_m, shortfall, unfit)
select d.customer_id, d.site_id, d.door_id, c.side, c.zone, decode(c.inputs_sha256, 'hex'), c.model_version, c.rule_pack, c.computed_at, c.missing, c.required_m2, c.covered_share, c.gap_m, c.shortfall, c.unfit
from jsonb_to_recordset(@coverages) as c (door_id uuid, side text, zone text, inputs_sha256 text, model_version text, rule_pack text, computed_at timestamptz, missing text[],
  required_m2 double precision, covered_share double precision, gap_m double precision, shortfall boolean, unfit text[])
cross join lateral (select * from door where door_id = c.door_id limit 1) d
on conflict (customer_id, site_id, door_id, side, zone) do update set
  inputs_sha256 = excluded.inputs_sha256, model_version = excluded.model_version, rule_pack = excluded.rule_pack, computed_at = excluded.computed_at,
  missing = excluded.missing, required_m2 = excluded.required_m2, covered_share = excluded.covered_share, gap_m = excluded.gap_m, shortfall = excluded.shortfall, unfit = excluded.unfit
where (present.inputs_sha256, present.missing, present.required_m2, present.covered_share, present.gap_m, present.shortfall, present.unfit)
  is distinct from (excluded.inputs_sha256, excluded.missing, excluded.required_m2, excluded.covered_share, excluded.gap_m, excluded.shortfall, excluded.unfit)`

// PutCoveragesOf is PutCoverages for many doors; what came out the same stays as it is.
func (t *Tx) PutCoveragesOf(ctx context.Context, list []fleet.CoverageOf) error {
	_, err := exec(ctx, t, "put_coverages_of", sqlPutCoveragesOf, pgx.StrictNamedArgs{"coverages": list})
	return err
}

const sqlInsertFindingsOf = `-- insert_findings_of
insert into finding (customer_id, site_id, door_id, finding_id, origin, severity, cause, what, state, opened_at, recorded_at)
select d.customer_id, d.site_id, d.door_id, f.finding_id, 'computed', 'advisory', f.cause, '', 'open', f.opened_at, f.recorded_at
from jsonb_to_recordset(@findings) as f (door_id uuid, finding_id uuid, cause text, opened_at timestamptz, recorded_at timestamptz)
cross join lateral (select * from door where door_id = f.door_id limit 1) d`

// InsertComputedFindingsOf is InsertComputedFindings for many doors.
func (t *Tx) InsertComputedFindingsOf(ctx context.Context, list []fleet.ComputedFindingOf) error {
	_, err := exec(ctx, t, "insert_findings_of", sqlInsertFindingsOf, pgx.StrictNamedArgs{"findings": list})
	return err
}
