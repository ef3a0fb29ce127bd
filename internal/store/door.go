package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// doorRow is a door with one version of its facts. Leaves and kept-clear zones come as JSON in the same
// statement, so that a door costs one round trip.
type doorRow struct {
	CustomerID       uuid.UUID
	SiteID           uuid.UUID
	DoorID           uuid.UUID
	Tag              string
	Name             string
	KnownSince       time.Time
	DoorRecordedAt   time.Time
	DoorRecordedBy   uuid.UUID
	VersionID        uuid.UUID
	EffectiveAt      time.Time
	RecordedAt       time.Time
	RecordedBy       uuid.UUID
	Reason           string
	SHA256           []byte `db:"sha256"`
	Kind             string
	Energy           string
	Traffic          string
	PresenceBy       string
	ActivationA      string
	ActivationB      string
	LabelA           string
	LabelB           string
	ClearWidthM      *float64
	ClearWidthBasis  string
	HeaderDepthM     *float64
	HeaderDepthBasis string
	OpeningTimeS     *float64
	OpeningTimeBasis string
	ClosingTimeS     *float64
	ClosingTimeBasis string
	Modes            []string
	GuideRails       string
	InterlockGroup   string
	Egress           *bool
	FireRated        *bool
	Interior         *bool
	VulnerableUsers  *bool
	RulePack         string
	RuleSince        *time.Time
	RuleWhy          string
	Leaves           []leafRow
	Zones            []zoneRow
}

type leafRow struct {
	Motion       string   `json:"motion"`
	Hinge        string   `json:"hinge"`
	OpensTowards string   `json:"opens_towards"`
	WidthM       *float64 `json:"width_m"`
	WidthBasis   string   `json:"width_basis"`
	HeightM      *float64 `json:"height_m"`
	HeightBasis  string   `json:"height_basis"`
	MassKg       *float64 `json:"mass_kg"`
	MassBasis    string   `json:"mass_basis"`
}

type zoneRow struct {
	Side string  `json:"side"`
	What string  `json:"what"`
	X0M  float64 `json:"x0_m"`
	X1M  float64 `json:"x1_m"`
	Y0M  float64 `json:"y0_m"`
	Y1M  float64 `json:"y1_m"`
}

func quantity(value *float64, basis string) fleet.Quantity {
	return fleet.Quantity{Value: value, Basis: fleet.Basis(basis)}
}

func (r doorRow) door() fleet.Door {
	d := fleet.Door{
		CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, Tag: fleet.Tag(r.Tag), Name: r.Name,
		KnownSince: day(&r.KnownSince), RecordedAt: r.DoorRecordedAt, RecordedBy: r.DoorRecordedBy,
		Version: fleet.Version{VersionID: r.VersionID, EffectiveAt: r.EffectiveAt, RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy, Reason: r.Reason},
		Facts: fleet.DoorFacts{
			Kind: r.Kind, Energy: r.Energy, Traffic: r.Traffic, PresenceBy: r.PresenceBy,
			A:           fleet.SideFacts{Label: r.LabelA, Activation: r.ActivationA},
			B:           fleet.SideFacts{Label: r.LabelB, Activation: r.ActivationB},
			ClearWidthM: quantity(r.ClearWidthM, r.ClearWidthBasis), HeaderDepthM: quantity(r.HeaderDepthM, r.HeaderDepthBasis),
			OpeningTimeS: quantity(r.OpeningTimeS, r.OpeningTimeBasis), ClosingTimeS: quantity(r.ClosingTimeS, r.ClosingTimeBasis),
			Modes: r.Modes, GuideRails: r.GuideRails, InterlockGroup: r.InterlockGroup,
			Egress: r.Egress, FireRated: r.FireRated, Interior: r.Interior, VulnerableUsers: r.VulnerableUsers,
			RuleBasis: fleet.RuleBasis{PackID: r.RulePack, Since: day(r.RuleSince), Why: r.RuleWhy},
		},
	}
	copy(d.Version.SHA256[:], r.SHA256)
	for _, l := range r.Leaves {
		d.Facts.Leaves = append(d.Facts.Leaves, fleet.Leaf{Motion: l.Motion, Hinge: l.Hinge, OpensTowards: l.OpensTowards,
			WidthM: quantity(l.WidthM, l.WidthBasis), HeightM: quantity(l.HeightM, l.HeightBasis), MassKg: quantity(l.MassKg, l.MassBasis)})
	}
	for _, z := range r.Zones {
		zone := fleet.KeptClearZone{What: z.What, X0M: z.X0M, X1M: z.X1M, Y0M: z.Y0M, Y1M: z.Y1M}
		if z.Side == "a" {
			d.Facts.A.KeptClear = append(d.Facts.A.KeptClear, zone)
		} else {
			d.Facts.B.KeptClear = append(d.Facts.B.KeptClear, zone)
		}
	}
	return d
}

// The version of a door as of two times: the greatest effective_at not after @effective among what was recorded
// by @recorded; infinity means no bound.
const sqlDoorByID = `-- door_by_id
select d.customer_id, d.site_id, d.door_id, d.tag, d.name, d.known_since, d.recorded_at as door_recorded_at, d.recorded_by as door_recorded_by,
  v.version_id, v.effective_at, v.recorded_at, v.recorded_by, v.reason, v.sha256, v.kind, v.energy, v.traffic, v.presence_by,
  v.activation_a, v.activation_b, v.label_a, v.label_b, v.clear_width_m, v.clear_width_basis, v.header_depth_m, v.header_depth_basis,
  v.opening_time_s, v.opening_time_basis, v.closing_time_s, v.closing_time_basis, v.modes, v.guide_rails, v.interlock_group,
  v.egress, v.fire_rated, v.interior, v.vulnerable_users, v.rule_pack, v.rule_since, v.rule_why,
  coalesce((select jsonb_agg(l order by l.leaf_no) from door_leaf l where l.version_id = v.version_id), '[]') as leaves,
  coalesce((select jsonb_agg(z order by z.side, z.zone_no) from kept_clear_zone z where z.version_id = v.version_id), '[]') as zones
from door d cross join lateral (
  select w.* from door_version w
  where w.door_id = d.door_id and w.effective_at <= @effective and w.recorded_at <= @recorded
  order by w.effective_at desc, w.recorded_at desc, w.version_id desc limit 1) v
where d.door_id = @door_id`

// DoorByID gives a door with the version of its facts as of both times.
func (t *Tx) DoorByID(ctx context.Context, id uuid.UUID, asOf fleet.AsOf) (fleet.Door, error) {
	r, err := queryOne[doorRow](ctx, t, "door_by_id", sqlDoorByID,
		pgx.StrictNamedArgs{"door_id": id, "effective": bound(asOf.Effective), "recorded": bound(asOf.Recorded)}, "door_not_found")
	return r.door(), err
}

const sqlDoorIDByTag = `-- door_id_by_tag
select door_id from door where tag = @tag`

// DoorByTag gives the door that carries a tag.
func (t *Tx) DoorByTag(ctx context.Context, tag fleet.Tag, asOf fleet.AsOf) (fleet.Door, error) {
	r, err := queryOne[struct{ DoorID uuid.UUID }](ctx, t, "door_id_by_tag", sqlDoorIDByTag, pgx.StrictNamedArgs{"tag": string(tag)}, "door_not_found")
	if err != nil {
		return fleet.Door{}, err
	}
	return t.DoorByID(ctx, r.DoorID, asOf)
}

// bound turns "no bound" into the infinite future. Far enough: PostgreSQL's own infinity is no time.Time.
func bound(at time.Time) time.Time {
	if at.IsZero() {
		return time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	return at
}

const sqlLockDoor = `-- lock_door
select pg_advisory_xact_lock(hashtextextended(@door_id::text, 0))`

// LockDoor makes other transactions that change the door wait until this one has ended. It is an advisory lock
// because the row itself is rarely updated, and not every role that may change what hangs on a door may lock it.
func (t *Tx) LockDoor(ctx context.Context, id uuid.UUID) error {
	_, err := exec(ctx, t, "lock_door", sqlLockDoor, pgx.StrictNamedArgs{"door_id": id.String()})
	return err
}

const sqlNextDoorNumber = `-- next_door_number
select nextval('door_number') as number`

// NextDoorNumber gives the payload of the next tag.
func (t *Tx) NextDoorNumber(ctx context.Context) (int64, error) {
	r, err := queryOne[struct{ Number int64 }](ctx, t, "next_door_number", sqlNextDoorNumber, pgx.StrictNamedArgs{}, "internal")
	return r.Number, err
}

const sqlInsertDoor = `-- insert_door
insert into door (customer_id, site_id, door_id, tag, name, known_since, recorded_at, recorded_by)
select customer_id, site_id, @door_id, @tag, @name, @known_since, @recorded_at, @recorded_by from site where site_id = @site_id
on conflict (door_id) do nothing
returning customer_id`

// InsertDoor adds the opening under its site's customer, or answers false when the id is taken; a site that is
// not in sight is a fault of the member.
func (t *Tx) InsertDoor(ctx context.Context, d fleet.Door) (bool, error) {
	return insertOne(ctx, t, "insert_door", sqlInsertDoor, pgx.StrictNamedArgs{"site_id": d.SiteID, "door_id": d.DoorID, "tag": string(d.Tag),
		"name": d.Name, "known_since": date(d.KnownSince), "recorded_at": d.RecordedAt, "recorded_by": d.RecordedBy})
}

const sqlRenameDoor = `-- rename_door
update door set name = @name where door_id = @door_id`

// RenameDoor gives a door another name.
func (t *Tx) RenameDoor(ctx context.Context, id uuid.UUID, name string) error {
	_, err := exec(ctx, t, "rename_door", sqlRenameDoor, pgx.StrictNamedArgs{"door_id": id, "name": name})
	return err
}

const sqlInsertDoorVersion = `-- insert_door_version
with version as (
  insert into door_version (customer_id, site_id, door_id, version_id, effective_at, recorded_at, recorded_by, reason, sha256,
    kind, energy, traffic, presence_by, activation_a, activation_b, label_a, label_b, clear_width_m, clear_width_basis, header_depth_m, header_depth_basis,
    opening_time_s, opening_time_basis, closing_time_s, closing_time_basis, modes, guide_rails, interlock_group, egress, fire_rated, interior, vulnerable_users,
    rule_pack, rule_since, rule_why)
  select customer_id, site_id, door_id, @version_id, @effective_at, @recorded_at, @recorded_by, @reason, @sha256,
    @kind, @energy, @traffic, @presence_by, @activation_a, @activation_b, @label_a, @label_b, @clear_width_m, @clear_width_basis, @header_depth_m, @header_depth_basis,
    @opening_time_s, @opening_time_basis, @closing_time_s, @closing_time_basis, @modes, @guide_rails, @interlock_group, @egress, @fire_rated, @interior, @vulnerable_users,
    @rule_pack, @rule_since, @rule_why
  from door where door_id = @door_id
  returning customer_id, site_id, door_id, version_id),
leaves as (
  insert into door_leaf (customer_id, site_id, door_id, version_id, leaf_no, motion, hinge, opens_towards, width_m, width_basis, height_m, height_basis, mass_kg, mass_basis)
  select v.customer_id, v.site_id, v.door_id, v.version_id, l.leaf_no, l.motion, l.hinge, l.opens_towards, l.width_m, l.width_basis, l.height_m, l.height_basis, l.mass_kg, l.mass_basis
  from version v cross join jsonb_to_recordset(@leaves) as l (leaf_no integer, motion text, hinge text, opens_towards text,
    width_m double precision, width_basis text, height_m double precision, height_basis text, mass_kg double precision, mass_basis text))
insert into kept_clear_zone (customer_id, site_id, door_id, version_id, side, zone_no, what, x0_m, x1_m, y0_m, y1_m)
select v.customer_id, v.site_id, v.door_id, v.version_id, z.side, z.zone_no, z.what, z.x0_m, z.x1_m, z.y0_m, z.y1_m
from version v cross join jsonb_to_recordset(@zones) as z (side text, zone_no integer, what text,
  x0_m double precision, x1_m double precision, y0_m double precision, y1_m double precision)`

// InsertDoorVersion adds a version of a door's facts with its leaves and kept-clear zones, in one statement.
func (t *Tx) InsertDoorVersion(ctx context.Context, d fleet.Door) error {
	f := d.Facts
	leaves := make([]map[string]any, len(f.Leaves))
	for i, l := range f.Leaves {
		leaves[i] = map[string]any{"leaf_no": i + 1, "motion": l.Motion, "hinge": l.Hinge, "opens_towards": l.OpensTowards,
			"width_m": l.WidthM.Value, "width_basis": l.WidthM.Basis, "height_m": l.HeightM.Value, "height_basis": l.HeightM.Basis,
			"mass_kg": l.MassKg.Value, "mass_basis": l.MassKg.Basis}
	}
	zones := []map[string]any{}
	for _, side := range []string{"a", "b"} {
		for i, z := range f.Side(side).KeptClear {
			zones = append(zones, map[string]any{"side": side, "zone_no": i + 1, "what": z.What, "x0_m": z.X0M, "x1_m": z.X1M, "y0_m": z.Y0M, "y1_m": z.Y1M})
		}
	}
	_, err := exec(ctx, t, "insert_door_version", sqlInsertDoorVersion, pgx.StrictNamedArgs{
		"door_id": d.DoorID, "version_id": d.Version.VersionID, "effective_at": d.Version.EffectiveAt, "recorded_at": d.Version.RecordedAt,
		"recorded_by": d.Version.RecordedBy, "reason": d.Version.Reason, "sha256": d.Version.SHA256[:],
		"kind": f.Kind, "energy": f.Energy, "traffic": f.Traffic, "presence_by": f.PresenceBy,
		"activation_a": f.A.Activation, "activation_b": f.B.Activation, "label_a": f.A.Label, "label_b": f.B.Label,
		"clear_width_m": f.ClearWidthM.Value, "clear_width_basis": f.ClearWidthM.Basis, "header_depth_m": f.HeaderDepthM.Value, "header_depth_basis": f.HeaderDepthM.Basis,
		"opening_time_s": f.OpeningTimeS.Value, "opening_time_basis": f.OpeningTimeS.Basis, "closing_time_s": f.ClosingTimeS.Value, "closing_time_basis": f.ClosingTimeS.Basis,
		"modes": f.Modes, "guide_rails": f.GuideRails, "interlock_group": f.InterlockGroup, "egress": f.Egress, "fire_rated": f.FireRated, "interior": f.Interior,
		"vulnerable_users": f.VulnerableUsers, "rule_pack": f.RuleBasis.PackID, "rule_since": date(f.RuleBasis.Since), "rule_why": f.RuleBasis.Why,
		"leaves": leaves, "zones": zones})
	return err
}

// versionRow is what all versioned tables share.
type versionRow struct {
	VersionID   uuid.UUID
	EffectiveAt time.Time
	RecordedAt  time.Time
	RecordedBy  uuid.UUID
	Reason      string
	SHA256      []byte `db:"sha256"`
}

func (r versionRow) version() fleet.Version {
	v := fleet.Version{VersionID: r.VersionID, EffectiveAt: r.EffectiveAt, RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy, Reason: r.Reason}
	copy(v.SHA256[:], r.SHA256)
	return v
}

const sqlDoorVersions = `-- door_versions
select version_id, effective_at, recorded_at, recorded_by, reason, sha256 from door_version
where door_id = @door_id order by effective_at desc, recorded_at desc, version_id desc`

// DoorVersions lists the versions of a door, the newest first.
func (t *Tx) DoorVersions(ctx context.Context, id uuid.UUID) ([]fleet.Version, error) {
	rows, err := query[versionRow](ctx, t, "door_versions", sqlDoorVersions, pgx.StrictNamedArgs{"door_id": id})
	return each(rows, versionRow.version), err
}

type doorLineRow struct {
	CustomerID   uuid.UUID
	SiteID       uuid.UUID
	DoorID       uuid.UUID
	Tag          string
	Name         string
	SiteName     string
	TimeZone     string
	Kind         string
	NextDue      *time.Time
	DueBy        *time.Time
	OutOfService string
}

func (r doorLineRow) line() fleet.DoorLine {
	return fleet.DoorLine{CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, Tag: fleet.Tag(r.Tag), Name: r.Name, SiteName: r.SiteName,
		TimeZone: r.TimeZone, Kind: r.Kind, OutOfService: r.OutOfService, NextDue: day(r.NextDue), DueBy: day(r.DueBy)}
}

const sqlDoorPage = `-- door_page
select d.customer_id, d.site_id, d.door_id, d.tag, d.name, s.name as site_name, s.time_zone, v.kind, p.next_due, coalesce(p.due_by, p.next_due) as due_by,
  coalesce((select max(c.state) from out_of_service_case c where c.door_id = d.door_id and c.state <> 'ended'), '') as out_of_service
from door d
join site s on s.site_id = d.site_id
cross join lateral (select w.kind from door_version w where w.door_id = d.door_id
  order by w.effective_at desc, w.recorded_at desc, w.version_id desc limit 1) v
left join inspection_plan p on p.door_id = d.door_id and p.active and p.purpose = 'inspection'
where d.tag > @after_tag
  and (@customer_id::uuid is null or d.customer_id = @customer_id)
  and (@site_id::uuid is null or d.site_id = @site_id)
  and (@kind::text = '' or v.kind = @kind)
  and (@search::text = '' or lower(d.name) like @search or d.tag like @tag_prefix)
  and (@state::text = '' or case @state
    when 'unplanned' then p.plan_id is null
    when 'overdue' then exists (select from unnest(@zones::text[], @todays::date[]) as z (zone, today) where z.zone = s.time_zone and coalesce(p.due_by, p.next_due) < z.today)
    else (select max(c.state) from out_of_service_case c where c.door_id = d.door_id and c.state <> 'ended') = @state end)
order by d.tag limit @limit`

const sqlDoorPageByDue = `-- door_page_by_due
select d.customer_id, d.site_id, d.door_id, d.tag, d.name, s.name as site_name, s.time_zone, v.kind, p.next_due, coalesce(p.due_by, p.next_due) as due_by,
  coalesce((select max(c.state) from out_of_service_case c where c.door_id = d.door_id and c.state <> 'ended'), '') as out_of_service
from inspection_plan p
join door d on d.door_id = p.door_id
join site s on s.site_id = d.site_id
cross join lateral (select w.kind from door_version w where w.door_id = d.door_id
  order by w.effective_at desc, w.recorded_at desc, w.version_id desc limit 1) v
where p.active and p.purpose = 'inspection' and p.next_due >= @after_due and (p.next_due, d.tag) > (@after_due, @after_tag)
  and (@customer_id::uuid is null or d.customer_id = @customer_id)
  and (@site_id::uuid is null or d.site_id = @site_id)
  and (@kind::text = '' or v.kind = @kind)
  and (@search::text = '' or lower(d.name) like @search or d.tag like @tag_prefix)
  and (@state::text = '' or case @state
    when 'unplanned' then false
    when 'overdue' then exists (select from unnest(@zones::text[], @todays::date[]) as z (zone, today) where z.zone = s.time_zone and coalesce(p.due_by, p.next_due) < z.today)
    else (select max(c.state) from out_of_service_case c where c.door_id = d.door_id and c.state <> 'ended') = @state end)
order by p.next_due, d.tag limit @limit`

// DoorPage lists doors by tag, or those with an inspection plan by their next due day.
func (t *Tx) DoorPage(ctx context.Context, q fleet.DoorQuery) ([]fleet.DoorLine, error) {
	zones, todays := zonesAndDays(q.Today)
	args := pgx.StrictNamedArgs{"after_tag": string(q.AfterTag), "customer_id": optional(q.Customer), "site_id": optional(q.Site), "kind": q.Kind,
		"search": containing(q.Search), "tag_prefix": digits(q.Search) + "%", "state": q.State, "zones": zones, "todays": todays, "limit": q.Limit}
	if !q.ByDue {
		rows, err := query[doorLineRow](ctx, t, "door_page", sqlDoorPage, args)
		return each(rows, doorLineRow.line), err
	}
	args["after_due"] = fromDay(q.AfterDue)
	rows, err := query[doorLineRow](ctx, t, "door_page_by_due", sqlDoorPageByDue, args)
	return each(rows, doorLineRow.line), err
}

// zonesAndDays gives the day that it is in each time zone as two arrays.
func zonesAndDays(today map[string]duedate.Day) (zones []string, days []*time.Time) {
	zones, days = make([]string, 0, len(today)), make([]*time.Time, 0, len(today))
	for zone, day := range today {
		zones, days = append(zones, zone), append(days, date(day))
	}
	return zones, days
}

// digits keeps the digits of a text; a text without any becomes one that no tag begins with.
func digits(text string) string {
	kept := []byte{}
	for i := range len(text) {
		if text[i] >= '0' && text[i] <= '9' {
			kept = append(kept, text[i])
		}
	}
	if len(kept) == 0 {
		return "-"
	}
	return string(kept)
}

// optional turns the zero id into NULL.
func optional(id uuid.UUID) *uuid.UUID {
	if id == uuid.Nil {
		return nil
	}
	return &id
}
