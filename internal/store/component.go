package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

// componentRow is a component with one version of its fitting.
type componentRow struct {
	CustomerID           uuid.UUID
	SiteID               uuid.UUID
	DoorID               uuid.UUID
	ComponentID          uuid.UUID
	Kind                 string
	ModelID              *uuid.UUID
	ModelText            string
	Serial               string
	WarrantyUntil        *time.Time
	ComponentRecordedAt  time.Time
	ComponentRecordedBy  uuid.UUID
	VersionID            uuid.UUID
	EffectiveAt          time.Time
	RecordedAt           time.Time
	RecordedBy           uuid.UUID
	Reason               string
	SHA256               []byte `db:"sha256"`
	State                string
	Side                 string
	WiredTo              *uuid.UUID
	Input                string
	Contact              string
	TestedByControl      *bool
	InhibitedWhileMoving *bool
}

func (r componentRow) component() fleet.Component {
	c := fleet.Component{CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, ComponentID: r.ComponentID, Kind: r.Kind,
		ModelID: r.ModelID, ModelText: r.ModelText, Serial: r.Serial, RecordedAt: r.ComponentRecordedAt, RecordedBy: r.ComponentRecordedBy,
		Fitting: fleet.Fitting{State: r.State, Side: r.Side, WiredTo: r.WiredTo, Input: r.Input, Contact: r.Contact,
			TestedByControl: r.TestedByControl, InhibitedWhileMoving: r.InhibitedWhileMoving},
		Version: versionRow{r.VersionID, r.EffectiveAt, r.RecordedAt, r.RecordedBy, r.Reason, r.SHA256}.version()}
	if r.WarrantyUntil != nil {
		until := day(r.WarrantyUntil)
		c.WarrantyUntil = &until
	}
	return c
}

const sqlComponentByID = `-- component_by_id
select c.customer_id, c.site_id, c.door_id, c.component_id, c.kind, c.model_id, c.model_text, c.serial, c.warranty_until,
  c.recorded_at as component_recorded_at, c.recorded_by as component_recorded_by,
  v.version_id, v.effective_at, v.recorded_at, v.recorded_by, v.reason, v.sha256, v.state, v.side, v.wired_to, v.input, v.contact,
  v.tested_by_control, v.inhibited_while_moving
from component c cross join lateral (
  select w.* from component_version w
  where w.component_id = c.component_id and w.effective_at <= @effective and w.recorded_at <= @recorded
    and coalesce((select false from visit_entry e join visit_entry x on x.entry_id = e.corrects and x.door_id = e.door_id
      where e.corrects = w.version_id and e.received_at <= @recorded and (e.observed_at, e.entry_id) > (x.observed_at, x.entry_id) limit 1), true)
  order by w.effective_at desc, w.recorded_at desc, w.version_id desc limit 1) v
where c.component_id = @component_id`

// ComponentByID gives a component with its fitting as of both times. What a visit's entry said and another took back does not count.
func (t *Tx) ComponentByID(ctx context.Context, id uuid.UUID, asOf fleet.AsOf) (fleet.Component, error) {
	r, err := queryOne[componentRow](ctx, t, "component_by_id", sqlComponentByID,
		pgx.StrictNamedArgs{"component_id": id, "effective": bound(asOf.Effective), "recorded": bound(asOf.Recorded)}, "component_not_found")
	return r.component(), err
}

const sqlComponentsOfDoor = `-- components_of_door
select c.customer_id, c.site_id, c.door_id, c.component_id, c.kind, c.model_id, c.model_text, c.serial, c.warranty_until,
  c.recorded_at as component_recorded_at, c.recorded_by as component_recorded_by,
  v.version_id, v.effective_at, v.recorded_at, v.recorded_by, v.reason, v.sha256, v.state, v.side, v.wired_to, v.input, v.contact,
  v.tested_by_control, v.inhibited_while_moving
from component c cross join lateral (
  select w.* from component_version w
  where w.component_id = c.component_id and w.effective_at <= @effective and w.recorded_at <= @recorded
    and coalesce((select false from visit_entry e join visit_entry x on x.entry_id = e.corrects and x.door_id = e.door_id
      where e.corrects = w.version_id and e.received_at <= @recorded and (e.observed_at, e.entry_id) > (x.observed_at, x.entry_id) limit 1), true)
  order by w.effective_at desc, w.recorded_at desc, w.version_id desc limit 1) v
where c.door_id = @door_id
order by c.component_id`

// ComponentsOfDoor gives the components of a door with their fittings as of both times.
func (t *Tx) ComponentsOfDoor(ctx context.Context, doorID uuid.UUID, asOf fleet.AsOf) ([]fleet.Component, error) {
	rows, err := query[componentRow](ctx, t, "components_of_door", sqlComponentsOfDoor,
		pgx.StrictNamedArgs{"door_id": doorID, "effective": bound(asOf.Effective), "recorded": bound(asOf.Recorded)})
	return each(rows, componentRow.component), err
}

const sqlInsertComponent = `-- insert_component
insert into component (customer_id, site_id, door_id, component_id, kind, model_id, model_text, serial, warranty_until, recorded_at, recorded_by)
select customer_id, site_id, door_id, @component_id, @kind, @model_id, @model_text, @serial, @warranty_until, @recorded_at, @recorded_by
from door where door_id = @door_id
on conflict do nothing`

// InsertComponent adds a component under its door, or answers false when the id is taken.
func (t *Tx) InsertComponent(ctx context.Context, c fleet.Component) (bool, error) {
	args := pgx.StrictNamedArgs{"door_id": c.DoorID, "component_id": c.ComponentID, "kind": c.Kind, "model_id": c.ModelID, "model_text": c.ModelText,
		"serial": c.Serial, "warranty_until": nil, "recorded_at": c.RecordedAt, "recorded_by": c.RecordedBy}
	if c.WarrantyUntil != nil {
		args["warranty_until"] = date(*c.WarrantyUntil)
	}
	return insertOne(ctx, t, "insert_component", sqlInsertComponent, args)
}

const sqlInsertComponentVersion = `-- insert_component_version
insert into component_version (customer_id, site_id, door_id, component_id, version_id, effective_at, recorded_at, recorded_by, reason, sha256,
  state, side, wired_to, input, contact, tested_by_control, inhibited_while_moving)
select customer_id, site_id, door_id, component_id, @version_id, @effective_at, @recorded_at, @recorded_by, @reason, @sha256,
  @state, @side, @wired_to, @input, @contact, @tested_by_control, @inhibited_while_moving
from component where component_id = @component_id`

// InsertComponentVersion adds a fitting.
func (t *Tx) InsertComponentVersion(ctx context.Context, c fleet.Component) error {
	v, f := c.Version, c.Fitting
	_, err := exec(ctx, t, "insert_component_version", sqlInsertComponentVersion, pgx.StrictNamedArgs{"component_id": c.ComponentID,
		"version_id": v.VersionID, "effective_at": v.EffectiveAt, "recorded_at": v.RecordedAt, "recorded_by": v.RecordedBy, "reason": v.Reason,
		"sha256": v.SHA256[:], "state": f.State, "side": f.Side, "wired_to": f.WiredTo, "input": f.Input, "contact": f.Contact,
		"tested_by_control": f.TestedByControl, "inhibited_while_moving": f.InhibitedWhileMoving})
	return err
}

const sqlComponentVersions = `-- component_versions
select version_id, effective_at, recorded_at, recorded_by, reason, sha256 from component_version
where component_id = @component_id order by effective_at desc, recorded_at desc, version_id desc`

// ComponentVersions lists the fittings of a component, the newest first.
func (t *Tx) ComponentVersions(ctx context.Context, id uuid.UUID) ([]fleet.Version, error) {
	rows, err := query[versionRow](ctx, t, "component_versions", sqlComponentVersions, pgx.StrictNamedArgs{"component_id": id})
	return each(rows, versionRow.version), err
}

const sqlComponentEver = `-- component_ever
select customer_id, site_id, door_id, component_id, kind, model_id, model_text, serial, warranty_until, recorded_at as component_recorded_at, recorded_by as component_recorded_by
from component where component_id = @component_id`

// ComponentEver gives what a component is, whether or not a fitting of it counts.
func (t *Tx) ComponentEver(ctx context.Context, id uuid.UUID) (fleet.Component, error) {
	type row struct {
		CustomerID, SiteID, DoorID, ComponentID uuid.UUID
		Kind                                    string
		ModelID                                 *uuid.UUID
		ModelText                               string
		Serial                                  string
		WarrantyUntil                           *time.Time
		ComponentRecordedAt                     time.Time
		ComponentRecordedBy                     uuid.UUID
	}
	r, err := queryOne[row](ctx, t, "component_ever", sqlComponentEver, pgx.StrictNamedArgs{"component_id": id}, "component_not_found")
	return componentRow{CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, ComponentID: r.ComponentID, Kind: r.Kind, ModelID: r.ModelID, ModelText: r.ModelText,
		Serial: r.Serial, WarrantyUntil: r.WarrantyUntil, ComponentRecordedAt: r.ComponentRecordedAt, ComponentRecordedBy: r.ComponentRecordedBy}.component(), err
}

const sqlInsertPartVersion = `-- insert_part_version
insert into component_version (customer_id, site_id, door_id, component_id, version_id, effective_at, recorded_at, recorded_by, reason, sha256,
  state, side, wired_to, input, contact, tested_by_control, inhibited_while_moving)
select customer_id, site_id, door_id, component_id, @version_id, @effective_at, @recorded_at, @recorded_by, @reason, @sha256,
  @state, @side, null, @input, @contact, null, null
from component where component_id = @component_id and door_id = @door_id
on conflict (version_id) do nothing`

// InsertPartVersion adds the fitting that a visit's part is, unless it is there or its component is not known at the door yet.
func (t *Tx) InsertPartVersion(ctx context.Context, c fleet.Component) error {
	v, f := c.Version, c.Fitting
	_, err := exec(ctx, t, "insert_part_version", sqlInsertPartVersion, pgx.StrictNamedArgs{"component_id": c.ComponentID, "door_id": c.DoorID,
		"version_id": v.VersionID, "effective_at": v.EffectiveAt, "recorded_at": v.RecordedAt, "recorded_by": v.RecordedBy, "reason": v.Reason,
		"sha256": v.SHA256[:], "state": f.State, "side": f.Side, "input": f.Input, "contact": f.Contact})
	return err
}
