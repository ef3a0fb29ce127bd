package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

const sqlCountDoors = `-- count_doors
select count(*) as doors from door`

// CountDoors counts the doors in sight.
func (t *Tx) CountDoors(ctx context.Context) (int, error) {
	r, err := queryOne[struct{ Doors int }](ctx, t, "count_doors", sqlCountDoors, pgx.StrictNamedArgs{}, "internal")
	return r.Doors, err
}

const sqlCountInspections = `-- count_inspections
select count(*) as inspections
from visit_entry e join visit_sign_off s on s.visit_id = e.visit_id
where e.kind = 'conclusion' and s.received_at <= @until
  and not exists (select from visit_entry k where k.corrects = e.entry_id and k.door_id = e.door_id and (k.observed_at, k.entry_id) > (e.observed_at, e.entry_id))`

// CountInspections counts the inspections in sight whose signature had arrived by an instant.
func (t *Tx) CountInspections(ctx context.Context, until time.Time) (int, error) {
	r, err := queryOne[struct{ Inspections int }](ctx, t, "count_inspections", sqlCountInspections, pgx.StrictNamedArgs{"until": until}, "internal")
	return r.Inspections, err
}

const sqlDoorIDs = `-- door_ids
select door_id from door where door_id > @after order by door_id limit @limit`

// DoorIDs lists doors by id.
func (t *Tx) DoorIDs(ctx context.Context, after uuid.UUID, limit int) ([]uuid.UUID, error) {
	rows, err := query[struct{ DoorID uuid.UUID }](ctx, t, "door_ids", sqlDoorIDs, pgx.StrictNamedArgs{"after": after, "limit": limit})
	return each(rows, func(r struct{ DoorID uuid.UUID }) uuid.UUID { return r.DoorID }), err
}

// inspectedRow is a door as it was known when a visit was signed; before its first recorded facts, as it was first known.
type inspectedRow struct {
	doorRow
	SiteName     string
	Jurisdiction string
	VisitID      uuid.UUID
	EntryID      uuid.UUID
	ConcludedAt  time.Time
}

func (r inspectedRow) inspected() fleet.InspectedDoor {
	return fleet.InspectedDoor{Door: r.door(), SiteName: r.SiteName, Jurisdiction: r.Jurisdiction, VisitID: r.VisitID, EntryID: r.EntryID, ConcludedAt: r.ConcludedAt}
}

const sqlLastInspections = `-- last_inspections
select d.customer_id, d.site_id, d.door_id, d.tag, d.name, d.known_since, d.recorded_at as door_recorded_at, d.recorded_by as door_recorded_by,
  v.version_id, v.effective_at, v.recorded_at, v.recorded_by, v.reason, v.sha256, v.kind, v.energy, v.traffic, v.presence_by,
  v.activation_a, v.activation_b, v.label_a, v.label_b, v.clear_width_m, v.clear_width_basis, v.header_depth_m, v.header_depth_basis,
  v.opening_time_s, v.opening_time_basis, v.closing_time_s, v.closing_time_basis, v.modes, v.guide_rails, v.interlock_group,
  v.egress, v.fire_rated, v.interior, v.vulnerable_users, v.rule_pack, v.rule_since, v.rule_why,
  coalesce((select jsonb_agg(l order by l.leaf_no) from door_leaf l where l.version_id = v.version_id), '[]') as leaves, '[]'::jsonb as zones,
  i.name as site_name, i.jurisdiction, c.visit_id, c.entry_id, c.observed_at as concluded_at
from unnest(@doors::uuid[]) as p (door_id)
join door d on d.door_id = p.door_id
join site i on i.site_id = d.site_id
cross join lateral (
  select e.visit_id, e.entry_id, e.observed_at, s.received_at
  from visit_entry e join visit_sign_off s on s.visit_id = e.visit_id
  where e.door_id = d.door_id and e.kind = 'conclusion' and s.received_at <= @until
    and not exists (select from visit_entry k where k.corrects = e.entry_id and k.door_id = e.door_id and (k.observed_at, k.entry_id) > (e.observed_at, e.entry_id))
  order by e.observed_at desc, e.entry_id desc limit 1) c
cross join lateral (
  select w.* from door_version w where w.door_id = d.door_id and w.recorded_at <= c.received_at
  order by w.effective_at <= c.observed_at desc, case when w.effective_at <= c.observed_at then w.effective_at end desc, w.effective_at, w.recorded_at desc, w.version_id desc limit 1) v
order by d.door_id`

// LastInspections gives the last inspection of each of the doors that had one signed by an instant, by door.
func (t *Tx) LastInspections(ctx context.Context, doors []uuid.UUID, until time.Time) ([]fleet.InspectedDoor, error) {
	rows, err := query[inspectedRow](ctx, t, "last_inspections", sqlLastInspections, pgx.StrictNamedArgs{"doors": doors, "until": until})
	return each(rows, inspectedRow.inspected), err
}

const sqlNewestInspections = `-- newest_inspections
select d.customer_id, d.site_id, d.door_id, d.tag, d.name, d.known_since, d.recorded_at as door_recorded_at, d.recorded_by as door_recorded_by,
  v.version_id, v.effective_at, v.recorded_at, v.recorded_by, v.reason, v.sha256, v.kind, v.energy, v.traffic, v.presence_by,
  v.activation_a, v.activation_b, v.label_a, v.label_b, v.clear_width_m, v.clear_width_basis, v.header_depth_m, v.header_depth_basis,
  v.opening_time_s, v.opening_time_basis, v.closing_time_s, v.closing_time_basis, v.modes, v.guide_rails, v.interlock_group,
  v.egress, v.fire_rated, v.interior, v.vulnerable_users, v.rule_pack, v.rule_since, v.rule_why,
  coalesce((select jsonb_agg(l order by l.leaf_no) from door_leaf l where l.version_id = v.version_id), '[]') as leaves, '[]'::jsonb as zones,
  i.name as site_name, i.jurisdiction, c.visit_id, c.entry_id, c.observed_at as concluded_at
from (
  select e.door_id, e.visit_id, e.entry_id, e.observed_at, s.received_at
  from visit_entry e join visit_sign_off s on s.visit_id = e.visit_id
  where e.kind = 'conclusion' and s.received_at <= @until and (e.observed_at, e.entry_id) < (@before_at, @before_id)
    and not exists (select from visit_entry k where k.corrects = e.entry_id and k.door_id = e.door_id and (k.observed_at, k.entry_id) > (e.observed_at, e.entry_id))
  order by e.observed_at desc, e.entry_id desc limit @limit) c
join door d on d.door_id = c.door_id
join site i on i.site_id = d.site_id
cross join lateral (
  select w.* from door_version w where w.door_id = d.door_id and w.recorded_at <= c.received_at
  order by w.effective_at <= c.observed_at desc, case when w.effective_at <= c.observed_at then w.effective_at end desc, w.effective_at, w.recorded_at desc, w.version_id desc limit 1) v
order by c.observed_at desc, c.entry_id desc`

// NewestInspections lists signed inspections before one, the newest first.
func (t *Tx) NewestInspections(ctx context.Context, beforeAt time.Time, before uuid.UUID, until time.Time, limit int) ([]fleet.InspectedDoor, error) {
	rows, err := query[inspectedRow](ctx, t, "newest_inspections", sqlNewestInspections, pgx.StrictNamedArgs{"before_at": bound(beforeAt), "before_id": before, "until": until, "limit": limit})
	return each(rows, inspectedRow.inspected), err
}

const sqlVisitRecords = `-- visit_records
select subject_id, canonical from record_log where kind = 'visit' and subject_id = any(@visits::uuid[])`

// VisitRecords gives the signed records of visits.
func (t *Tx) VisitRecords(ctx context.Context, visits []uuid.UUID) (map[uuid.UUID][]byte, error) {
	type row struct {
		SubjectID uuid.UUID
		Canonical []byte
	}
	rows, err := query[row](ctx, t, "visit_records", sqlVisitRecords, pgx.StrictNamedArgs{"visits": visits})
	records := make(map[uuid.UUID][]byte, len(rows))
	for _, r := range rows {
		records[r.SubjectID] = r.Canonical
	}
	return records, err
}
