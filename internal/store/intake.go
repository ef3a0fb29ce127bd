package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
)

const (
	sqlBeginPoint = `-- begin_point
savepoint point`
	sqlTakeBackToPoint = `-- take_back_to_point
rollback to savepoint point`
	sqlEndPoint = `-- end_point
release savepoint point`
)

// Savepoint runs f and takes back what it wrote when it fails; the transaction goes on. What PostgreSQL wants to be run
// again from the beginning stays as it is, and so does a failure of what was kept before. Savepoints are not nested.
func (t *Tx) Savepoint(ctx context.Context, f func(context.Context) error) error {
	if len(t.kept.list) >= mostKept {
		if err := t.SendKept(ctx); err != nil {
			return err
		}
	}
	p := &savepoint{from: len(t.kept.list)}
	t.kept.point = p
	defer func() { t.kept.point = nil }()
	err := f(ctx)
	switch {
	case err != nil && (again(err) || errors.Is(err, fleet.ErrKept)):
		return err
	case err != nil && !p.begun:
		t.kept.list = t.kept.list[:p.from]
	case err != nil:
		t.kept.list = nil
		if _, failed := t.tx.Exec(ctx, sqlTakeBackToPoint); failed != nil {
			return fmt.Errorf("take_back_to_point: %w", failed)
		}
	}
	if p.begun {
		if _, failed := t.tx.Exec(ctx, sqlEndPoint); failed != nil {
			return fmt.Errorf("end_point: %w", failed)
		}
	}
	return told(err)
}

// An import begins on tables that may be empty, and plans are kept: a plan that reads a whole table because it is small would
// read it ten thousand times while it grows.
const sqlLockImports = `-- lock_imports
select pg_advisory_xact_lock(hashtextextended('import', 0)), set_config('enable_seqscan', 'off', true)`

// LockImports lets one import at a time go on: two at once would make one customer twice.
func (t *Tx) LockImports(ctx context.Context) error {
	_, err := exec(ctx, t, "lock_imports", sqlLockImports, pgx.StrictNamedArgs{})
	return err
}

const sqlAllCustomers = `-- all_customers
select customer_id, name, account, note, version, created_at, created_by from customer order by lower(name), customer_id`

// AllCustomers gives every customer by name.
func (t *Tx) AllCustomers(ctx context.Context) ([]fleet.Customer, error) {
	rows, err := query[customerRow](ctx, t, "all_customers", sqlAllCustomers, pgx.StrictNamedArgs{})
	return each(rows, customerRow.customer), err
}

const sqlSitesOfCustomer = `-- sites_of_customer
select customer_id, site_id, name, address, city, region, postal_code, country, jurisdiction, time_zone, latitude_deg, longitude_deg,
  opening_hours, access_notes, version, created_at, created_by
from site where customer_id = @customer_id order by lower(name), site_id`

// SitesOfCustomer gives every site of a customer by name.
func (t *Tx) SitesOfCustomer(ctx context.Context, customerID uuid.UUID) ([]fleet.Site, error) {
	rows, err := query[siteRow](ctx, t, "sites_of_customer", sqlSitesOfCustomer, pgx.StrictNamedArgs{"customer_id": customerID})
	return each(rows, siteRow.site), err
}

const sqlDoorsOfSite = `-- doors_of_site
select door_id, name from door where site_id = @site_id order by tag`

type namedDoorRow struct {
	DoorID uuid.UUID
	Name   string
}

// DoorsOfSite gives every door of a site by tag.
func (t *Tx) DoorsOfSite(ctx context.Context, siteID uuid.UUID) ([]fleet.NamedDoor, error) {
	rows, err := query[namedDoorRow](ctx, t, "doors_of_site", sqlDoorsOfSite, pgx.StrictNamedArgs{"site_id": siteID})
	return each(rows, func(r namedDoorRow) fleet.NamedDoor { return fleet.NamedDoor(r) }), err
}

const sqlNextDoorNumbers = `-- next_door_numbers
select nextval('door_number') as number from generate_series(1, @count)`

// NextDoorNumbers gives the payloads of the next tags.
func (t *Tx) NextDoorNumbers(ctx context.Context, count int) ([]int64, error) {
	rows, err := query[struct{ Number int64 }](ctx, t, "next_door_numbers", sqlNextDoorNumbers, pgx.StrictNamedArgs{"count": count})
	return each(rows, func(r struct{ Number int64 }) int64 { return r.Number }), err
}

const sqlTagsInUse = `-- tags_in_use
select tag from door where tag = any (@tags)`

// TagsInUse gives those of the tags that doors carry.
func (t *Tx) TagsInUse(ctx context.Context, tags []fleet.Tag) ([]fleet.Tag, error) {
	texts := each(tags, func(tag fleet.Tag) string { return string(tag) })
	rows, err := query[struct{ Tag string }](ctx, t, "tags_in_use", sqlTagsInUse, pgx.StrictNamedArgs{"tags": texts})
	return each(rows, func(r struct{ Tag string }) fleet.Tag { return fleet.Tag(r.Tag) }), err
}

const sqlPartiesNamed = `-- parties_named
select p.party_id, p.name, p.email, p.telephone, p.note, p.further_addresses, p.language, p.time_zone, p.version, p.created_at, p.created_by from party p
where lower(p.name) = lower(@name)
  and (exists (select from site_party s where s.party_id = p.party_id and s.customer_id = @customer_id) or @email <> '' and lower(p.email) = lower(@email))
order by lower(p.email) = lower(@email) desc, p.party_id`

// PartiesNamed gives the parties of a name that stand to a site of the customer or have the address, the latter first.
func (t *Tx) PartiesNamed(ctx context.Context, name string, customerID uuid.UUID, email string) ([]fleet.Party, error) {
	rows, err := query[partyRow](ctx, t, "parties_named", sqlPartiesNamed, pgx.StrictNamedArgs{"name": name, "customer_id": customerID, "email": email})
	return each(rows, partyRow.party), err
}

type importRow struct {
	RunID      uuid.UUID
	FileName   string
	FileSHA256 []byte `db:"file_sha256"`
	At         time.Time
	PersonID   uuid.UUID
	Summary    fleet.ImportSummary
	UndoneAt   *time.Time
	UndoneBy   *uuid.UUID
}

func (r importRow) run() fleet.ImportRun {
	run := fleet.ImportRun{RunID: r.RunID, FileName: r.FileName, At: r.At, PersonID: r.PersonID, Applied: true, Summary: r.Summary, UndoneAt: r.UndoneAt, UndoneBy: r.UndoneBy}
	copy(run.FileSHA256[:], r.FileSHA256)
	return run
}

const sqlInsertImport = `-- insert_import
insert into import_run (run_id, file_name, file_sha256, at, person_id, summary)
values (@run_id, @file_name, @file_sha256, @at, @person_id, @summary)`

const sqlInsertImportItems = `-- insert_import_items
insert into import_item (run_id, item_no, row_no, subject_kind, subject_id, made, versions, before)
select @run_id, i.item_no, i.row_no, i.subject_kind, i.subject_id, i.made, array(select jsonb_array_elements_text(i.versions)), i.before
from jsonb_to_recordset(@items) as i (item_no integer, row_no integer, subject_kind text, subject_id uuid, made boolean, versions jsonb, before jsonb)`

// mostItems is how many items go to the database in one statement.
const mostItems = 5000

// InsertImport keeps an import with everything that it made and changed.
func (t *Tx) InsertImport(ctx context.Context, r fleet.ImportRun, items []fleet.ImportItem) error {
	if _, err := exec(ctx, t, "insert_import", sqlInsertImport, pgx.StrictNamedArgs{"run_id": r.RunID, "file_name": r.FileName, "file_sha256": r.FileSHA256[:],
		"at": r.At, "person_id": r.PersonID, "summary": r.Summary}); err != nil {
		return err
	}
	for from := 0; from < len(items); from += mostItems {
		part := []map[string]any{}
		for i, item := range items[from:min(from+mostItems, len(items))] {
			m := map[string]any{"item_no": from + i + 1, "row_no": item.Row, "subject_kind": item.Kind, "subject_id": item.SubjectID, "made": item.Made, "versions": item.Versions}
			if item.Before != nil {
				m["before"] = item.Before
			}
			part = append(part, m)
		}
		if _, err := exec(ctx, t, "insert_import_items", sqlInsertImportItems, pgx.StrictNamedArgs{"run_id": r.RunID, "items": part}); err != nil {
			return err
		}
	}
	return nil
}

const sqlImportByID = `-- import_by_id
select run_id, file_name, file_sha256, at, person_id, summary, undone_at, undone_by from import_run where run_id = @run_id`

// ImportByID gives one import.
func (t *Tx) ImportByID(ctx context.Context, id uuid.UUID) (fleet.ImportRun, error) {
	r, err := queryOne[importRow](ctx, t, "import_by_id", sqlImportByID, pgx.StrictNamedArgs{"run_id": id}, "import_not_found")
	return r.run(), err
}

const sqlImportPage = `-- import_page
select run_id, file_name, file_sha256, at, person_id, summary, undone_at, undone_by from import_run
where (at, run_id) < (@before_at, @before_id) order by at desc, run_id desc limit @limit`

// ImportPage lists imports, the newest first.
func (t *Tx) ImportPage(ctx context.Context, q fleet.ImportQuery) ([]fleet.ImportRun, error) {
	rows, err := query[importRow](ctx, t, "import_page", sqlImportPage, pgx.StrictNamedArgs{"before_at": bound(q.BeforeAt), "before_id": q.BeforeID, "limit": q.Limit})
	return each(rows, importRow.run), err
}

const sqlImportItems = `-- import_items
select row_no, subject_kind, subject_id, made, versions, before from import_item where run_id = @run_id order by item_no`

type importItemRow struct {
	RowNo       int
	SubjectKind string
	SubjectID   uuid.UUID
	Made        bool
	Versions    []string
	Before      json.RawMessage
}

// ImportItems gives what an import made and changed, in its order.
func (t *Tx) ImportItems(ctx context.Context, id uuid.UUID) ([]fleet.ImportItem, error) {
	rows, err := query[importItemRow](ctx, t, "import_items", sqlImportItems, pgx.StrictNamedArgs{"run_id": id})
	return each(rows, func(r importItemRow) fleet.ImportItem {
		return fleet.ImportItem{Row: r.RowNo, Kind: r.SubjectKind, SubjectID: r.SubjectID, Made: r.Made, Versions: r.Versions, Before: r.Before}
	}), err
}

// What stands in the way of taking an import back: things of others that hang on what it made, and later versions of what it
// made or changed.
const sqlImportObstacles = `-- import_obstacles
with item as (select * from import_item where run_id = @run_id),
made as (select subject_id from item where made),
found as (
  select 'customer' as kind, i.subject_id, 'site' as what from item i where i.subject_kind = 'customer' and i.made
    and exists (select from site s where s.customer_id = i.subject_id and s.site_id not in (select subject_id from made))
  union all select 'customer', i.subject_id, 'person' from item i where i.subject_kind = 'customer' and i.made and exists (select from person_customer p where p.customer_id = i.subject_id)
  union all select 'customer', i.subject_id, 'changed' from item i join customer c on c.customer_id = i.subject_id where i.versions[cardinality(i.versions)] <> c.version::text
  union all select 'site', i.subject_id, 'door' from item i where i.subject_kind = 'site' and i.made
    and exists (select from door d where d.site_id = i.subject_id and d.door_id not in (select subject_id from made))
  union all select 'site', i.subject_id, 'standing' from item i where i.subject_kind = 'site' and i.made
    and exists (select from site_party p where p.site_id = i.subject_id and p.standing_id not in (select subject_id from made))
  union all select 'site', i.subject_id, 'visit' from item i where i.subject_kind = 'site' and i.made and exists (select from visit v where v.site_id = i.subject_id)
  union all select 'site', i.subject_id, 'notice' from item i where i.subject_kind = 'site' and i.made and exists (select from notice n where n.site_id = i.subject_id)
  union all select 'site', i.subject_id, 'code' from item i where i.subject_kind = 'site' and i.made and exists (select from sealed_code k where k.site_id = i.subject_id)
  union all select 'site', i.subject_id, 'person' from item i where i.subject_kind = 'site' and i.made and exists (select from person_site p where p.site_id = i.subject_id)
  union all select 'site', i.subject_id, 'changed' from item i join site s on s.site_id = i.subject_id where i.versions[cardinality(i.versions)] <> s.version::text
  union all select 'party', i.subject_id, 'standing' from item i where i.subject_kind = 'party' and i.made
    and exists (select from site_party p where p.party_id = i.subject_id and p.standing_id not in (select subject_id from made))
  union all select 'party', i.subject_id, 'changed' from item i join party p on p.party_id = i.subject_id where i.versions[cardinality(i.versions)] <> p.version::text
  union all select 'standing', i.subject_id, 'changed' from item i join site_party p on p.standing_id = i.subject_id where i.versions[cardinality(i.versions)] <> p.version::text
  union all select 'door', i.subject_id, 'visit' from item i where i.subject_kind = 'door' and i.made and exists (select from visit_entry e where e.door_id = i.subject_id)
  union all select 'door', i.subject_id, 'work_order' from item i where i.subject_kind = 'door' and i.made and exists (select from work_order w where w.door_id = i.subject_id)
  union all select 'door', i.subject_id, 'report' from item i where i.subject_kind = 'door' and i.made and exists (select from report r where r.door_id = i.subject_id)
  union all select 'door', i.subject_id, 'component' from item i where i.subject_kind = 'door' and i.made
    and exists (select from component c where c.door_id = i.subject_id and c.component_id not in (select subject_id from made))
  union all select 'door', i.subject_id, 'plan' from item i where i.subject_kind = 'door' and i.made
    and exists (select from inspection_plan p where p.door_id = i.subject_id and p.plan_id not in (select subject_id from made))
  union all select 'door', i.subject_id, 'changed' from item i where i.subject_kind = 'door' and i.made
    and exists (select from door_version v where v.door_id = i.subject_id and v.version_id::text <> all (i.versions))
  union all select 'door', i.subject_id, 'changed' from item i where i.subject_kind = 'door' and not i.made
    and i.versions[cardinality(i.versions)] <> (select v.version_id::text from door_version v where v.door_id = i.subject_id
      order by v.effective_at desc, v.recorded_at desc, v.version_id desc limit 1)
  union all select 'component', i.subject_id, 'settings' from item i where i.subject_kind = 'component' and i.made
    and exists (select from revision r where r.component_id = i.subject_id and r.revision_id not in (select subject_id from made))
  union all select 'component', i.subject_id, 'code' from item i where i.subject_kind = 'component' and i.made and exists (select from sealed_code k where k.subject_id = i.subject_id)
  union all select 'component', i.subject_id, 'changed' from item i where i.subject_kind = 'component' and i.made
    and exists (select from component_version v where v.component_id = i.subject_id and v.version_id::text <> all (i.versions))
  union all select 'component', i.subject_id, 'component' from item i where i.subject_kind = 'component' and i.made
    and exists (select from component_version v where v.wired_to = i.subject_id and v.component_id not in (select subject_id from made))
  union all select 'plan', i.subject_id, 'work_order' from item i where i.subject_kind = 'plan' and i.made and exists (select from work_order w where w.plan_id = i.subject_id)
  union all select 'plan', i.subject_id, 'suspension' from item i where i.subject_kind = 'plan' and i.made and exists (select from plan_suspension_event e where e.plan_id = i.subject_id)
  union all select 'plan', i.subject_id, 'changed' from item i join inspection_plan p on p.plan_id = i.subject_id where i.versions[cardinality(i.versions)] <> p.version::text)
select f.kind, f.what, coalesce(c.name, s.name, p.name, d.name, nullif(concat_ws(' ', co.kind, co.model_text, co.serial), ''), plan_door.name, standing_site.name, '') as name
from found f
left join customer c on c.customer_id = f.subject_id
left join site s on s.site_id = f.subject_id
left join party p on p.party_id = f.subject_id
left join door d on d.door_id = f.subject_id
left join component co on co.component_id = f.subject_id
left join inspection_plan ip on ip.plan_id = f.subject_id
left join door plan_door on plan_door.door_id = ip.door_id
left join site_party sp on sp.standing_id = f.subject_id
left join site standing_site on standing_site.site_id = sp.site_id
order by f.kind, name, f.what`

type obstacleRow struct{ Kind, What, Name string }

// ImportObstacles gives what stands in the way of taking an import back.
func (t *Tx) ImportObstacles(ctx context.Context, id uuid.UUID) ([]fleet.ImportObstacle, error) {
	rows, err := query[obstacleRow](ctx, t, "import_obstacles", sqlImportObstacles, pgx.StrictNamedArgs{"run_id": id})
	return each(rows, func(r obstacleRow) fleet.ImportObstacle {
		return fleet.ImportObstacle{Kind: r.Kind, What: r.What, Name: r.Name}
	}), err
}

const sqlMarkImportUndone = `-- mark_import_undone
update import_run set undone_at = @at, undone_by = @by where run_id = @run_id and undone_at is null`

// MarkImportUndone says that an import is being taken back: from then on, in this transaction, what it made may be deleted.
func (t *Tx) MarkImportUndone(ctx context.Context, id uuid.UUID, at time.Time, by uuid.UUID) error {
	return expectOne(exec(ctx, t, "mark_import_undone", sqlMarkImportUndone, pgx.StrictNamedArgs{"run_id": id, "at": at, "by": by}))
}

// One statement, because foreign keys look at its end: whatever hangs on what is deleted and is not deleted with it stops all.
const sqlDeleteMadeBy = `-- delete_made_by
with made as (select subject_kind, subject_id from import_item where run_id = @run_id and made),
d01 as (delete from extent where revision_id in (select subject_id from made where subject_kind = 'revision')),
d02 as (delete from revision where revision_id in (select subject_id from made where subject_kind = 'revision')),
d03 as (delete from component_version where component_id in (select subject_id from made where subject_kind = 'component')),
d04 as (delete from component where component_id in (select subject_id from made where subject_kind = 'component')),
d05 as (delete from inspection_plan where plan_id in (select subject_id from made where subject_kind = 'plan')),
d06 as (delete from coverage where door_id in (select subject_id from made where subject_kind = 'door')),
d07 as (delete from finding where door_id in (select subject_id from made where subject_kind = 'door')),
d08 as (delete from door_leaf where door_id in (select subject_id from made where subject_kind = 'door')),
d09 as (delete from door_version where door_id in (select subject_id from made where subject_kind = 'door')),
d10 as (delete from door where door_id in (select subject_id from made where subject_kind = 'door')),
d11 as (delete from site_party where standing_id in (select subject_id from made where subject_kind = 'standing')),
d12 as (delete from site where site_id in (select subject_id from made where subject_kind = 'site')),
d13 as (delete from party where party_id in (select subject_id from made where subject_kind = 'party'))
delete from customer where customer_id in (select subject_id from made where subject_kind = 'customer')`

// DeleteMadeBy removes what an import made. Something that hangs on it and was not seen before is a conflict.
func (t *Tx) DeleteMadeBy(ctx context.Context, id uuid.UUID) error {
	_, err := exec(ctx, t, "delete_made_by", sqlDeleteMadeBy, pgx.StrictNamedArgs{"run_id": id})
	var e *pgconn.PgError
	if errors.As(err, &e) && e.Code == "23503" {
		return fault.New(fault.Conflict, "import_in_use", "table", e.TableName).Because(err)
	}
	return err
}
