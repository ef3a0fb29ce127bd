package store

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type visitRow struct {
	CustomerID   uuid.UUID
	SiteID       uuid.UUID
	VisitID      uuid.UUID
	Canonical    []byte
	SHA256       []byte `db:"sha256"`
	ReceivedAt   time.Time
	RecordedBy   uuid.UUID
	SignedAt     *time.Time
	SignedBy     *uuid.UUID
	RecordSHA256 []byte `db:"record_sha256"`
}

func (r visitRow) visit() (fleet.Visit, error) {
	v := fleet.Visit{CustomerID: r.CustomerID, SiteID: r.SiteID, VisitID: r.VisitID, Canonical: r.Canonical, ReceivedAt: r.ReceivedAt, RecordedBy: r.RecordedBy,
		SignedAt: r.SignedAt, SignedBy: r.SignedBy}
	copy(v.SHA256[:], r.SHA256)
	copy(v.RecordSHA256[:], r.RecordSHA256)
	if r.Canonical != nil {
		v.Attendance = &fleet.Attendance{}
		if err := json.Unmarshal(r.Canonical, v.Attendance); err != nil {
			return v, fmt.Errorf("attendance of visit %s: %w", r.VisitID, err)
		}
	}
	return v, nil
}

const sqlVisitByID = `-- visit_by_id
select v.customer_id, v.site_id, v.visit_id, v.canonical, v.sha256, v.received_at, v.recorded_by, s.signed_at, s.signed_by, s.record_sha256
from visit v left join visit_sign_off s on s.visit_id = v.visit_id
where v.visit_id = @visit_id`

// VisitByID gives a visit as far as it has arrived.
func (t *Tx) VisitByID(ctx context.Context, id uuid.UUID) (fleet.Visit, error) {
	r, err := queryOne[visitRow](ctx, t, "visit_by_id", sqlVisitByID, pgx.StrictNamedArgs{"visit_id": id}, "visit_not_found")
	if err != nil {
		return fleet.Visit{}, err
	}
	return r.visit()
}

const sqlVisitPage = `-- visit_page
select v.customer_id, v.site_id, v.visit_id, v.canonical, v.sha256, v.received_at, v.recorded_by, s.signed_at, s.signed_by, s.record_sha256
from visit v left join visit_sign_off s on s.visit_id = v.visit_id
where v.arrived_at is not null and (v.arrived_at, v.visit_id) < (@before_at, @before_id)
  and (@site_id::uuid is null or v.site_id = @site_id)
  and (@door_id::uuid is null or exists (select from visit_entry e where e.visit_id = v.visit_id and e.door_id = @door_id))
  and (@search::text = '' or exists (select from site i where i.site_id = v.site_id and lower(i.name) like @search)
    or exists (select from person p where p.person_id = v.recorded_by and lower(p.name) like @search)
    or exists (select from visit_entry e join door d on d.door_id = e.door_id where e.visit_id = v.visit_id and (lower(d.name) like @search or d.tag like @tag_prefix)))
  and case when @work_order_id::uuid is null then true else v.site_id = (select o.site_id from work_order o where o.work_order_id = @work_order_id)
    and exists (select from jsonb_array_elements(convert_from(v.canonical, 'UTF8')::jsonb -> 'doors') d where d -> 'work_orders' @> to_jsonb(@work_order_id::text)) end
order by v.arrived_at desc, v.visit_id desc limit @limit`

// VisitPage lists visits whose attendance has arrived, the newest first.
func (t *Tx) VisitPage(ctx context.Context, q fleet.VisitQuery) ([]fleet.Visit, error) {
	rows, err := query[visitRow](ctx, t, "visit_page", sqlVisitPage, pgx.StrictNamedArgs{"before_at": bound(q.BeforeAt), "before_id": q.BeforeID,
		"site_id": optional(q.SiteID), "door_id": optional(q.DoorID), "work_order_id": optional(q.WorkOrderID),
		"search": containing(q.Search), "tag_prefix": digits(q.Search) + "%", "limit": q.Limit})
	if err != nil {
		return nil, err
	}
	list := make([]fleet.Visit, len(rows))
	for i, r := range rows {
		if list[i], err = r.visit(); err != nil {
			return nil, err
		}
	}
	return list, nil
}

const sqlLockVisit = `-- lock_visit
select pg_advisory_xact_lock(hashtextextended(@visit_id::text, 1))`

// LockVisit makes other transactions that write to the visit wait until this one has ended.
func (t *Tx) LockVisit(ctx context.Context, id uuid.UUID) error {
	_, err := exec(ctx, t, "lock_visit", sqlLockVisit, pgx.StrictNamedArgs{"visit_id": id.String()})
	return err
}

const sqlInsertVisit = `-- insert_visit
insert into visit (customer_id, site_id, visit_id, canonical, sha256, arrived_at, received_at, recorded_by)
values (@customer_id, @site_id, @visit_id, @canonical, @sha256, @arrived_at, @received_at, @recorded_by)
on conflict (visit_id) do nothing`

// InsertVisit adds a visit, or answers false when it is there already.
func (t *Tx) InsertVisit(ctx context.Context, v fleet.Visit) (bool, error) {
	n, err := exec(ctx, t, "insert_visit", sqlInsertVisit, attendanceArgs(v, pgx.StrictNamedArgs{
		"customer_id": v.CustomerID, "site_id": v.SiteID, "received_at": v.ReceivedAt, "recorded_by": v.RecordedBy}))
	return n == 1, err
}

func attendanceArgs(v fleet.Visit, args pgx.StrictNamedArgs) pgx.StrictNamedArgs {
	args["visit_id"], args["canonical"], args["sha256"], args["arrived_at"] = v.VisitID, nil, nil, nil
	if v.Attendance != nil {
		args["canonical"], args["sha256"], args["arrived_at"] = v.Canonical, v.SHA256[:], v.Attendance.ArrivedAt
	}
	return args
}

const sqlPeopleAmong = `-- people_among
select person_id from person where person_id = any (@ids::uuid[])`

// PeopleAmong gives those of the ids that are people's.
func (t *Tx) PeopleAmong(ctx context.Context, ids []uuid.UUID) ([]uuid.UUID, error) {
	rows, err := query[struct{ PersonID uuid.UUID }](ctx, t, "people_among", sqlPeopleAmong, pgx.StrictNamedArgs{"ids": ids})
	return each(rows, func(r struct{ PersonID uuid.UUID }) uuid.UUID { return r.PersonID }), err
}

const sqlSetAttendance = `-- set_attendance
update visit set canonical = @canonical, sha256 = @sha256, arrived_at = @arrived_at where visit_id = @visit_id and canonical is null`

// SetAttendance writes the attendance of a visit of which only pieces had arrived.
func (t *Tx) SetAttendance(ctx context.Context, v fleet.Visit) error {
	return expectOne(exec(ctx, t, "set_attendance", sqlSetAttendance, attendanceArgs(v, pgx.StrictNamedArgs{})))
}

type entryRow struct {
	CustomerID uuid.UUID
	SiteID     uuid.UUID
	DoorID     uuid.UUID
	VisitID    uuid.UUID
	EntryID    uuid.UUID
	ObservedAt time.Time
	ReceivedAt time.Time
	RecordedBy uuid.UUID
	Canonical  []byte
	SHA256     []byte `db:"sha256"`
	Signed     bool
}

func (r entryRow) entry() (fleet.Entry, error) {
	e := fleet.Entry{CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, VisitID: r.VisitID, EntryID: r.EntryID, ObservedAt: r.ObservedAt,
		ReceivedAt: r.ReceivedAt, RecordedBy: r.RecordedBy, Canonical: r.Canonical, Signed: r.Signed}
	copy(e.SHA256[:], r.SHA256)
	if err := json.Unmarshal(r.Canonical, &e.Body); err != nil {
		return e, fmt.Errorf("entry %s: %w", r.EntryID, err)
	}
	return e, nil
}

func entries(rows []entryRow, err error) ([]fleet.Entry, error) {
	list := make([]fleet.Entry, len(rows))
	for i := 0; err == nil && i < len(rows); i++ {
		list[i], err = rows[i].entry()
	}
	return list, err
}

const sqlEntryByID = `-- entry_by_id
select e.customer_id, e.site_id, e.door_id, e.visit_id, e.entry_id, e.observed_at, e.received_at, e.recorded_by, e.canonical, e.sha256,
  exists (select from visit_sign_off s where s.visit_id = e.visit_id) as signed
from visit_entry e where e.entry_id = @entry_id`

// EntryByID gives one entry.
func (t *Tx) EntryByID(ctx context.Context, id uuid.UUID) (fleet.Entry, error) {
	r, err := queryOne[entryRow](ctx, t, "entry_by_id", sqlEntryByID, pgx.StrictNamedArgs{"entry_id": id}, "entry_not_found")
	if err != nil {
		return fleet.Entry{}, err
	}
	return r.entry()
}

const sqlEntriesOfVisit = `-- entries_of_visit
select e.customer_id, e.site_id, e.door_id, e.visit_id, e.entry_id, e.observed_at, e.received_at, e.recorded_by, e.canonical, e.sha256, s.visit_id is not null as signed
from visit_entry e left join visit_sign_off s on s.visit_id = e.visit_id
where e.visit_id = @visit_id order by e.observed_at, e.entry_id`

// EntriesOfVisit gives the entries of a visit in the order of their observation.
func (t *Tx) EntriesOfVisit(ctx context.Context, visitID uuid.UUID) ([]fleet.Entry, error) {
	return entries(query[entryRow](ctx, t, "entries_of_visit", sqlEntriesOfVisit, pgx.StrictNamedArgs{"visit_id": visitID}))
}

const sqlEntriesOfDoor = `-- entries_of_door
select e.customer_id, e.site_id, e.door_id, e.visit_id, e.entry_id, e.observed_at, e.received_at, e.recorded_by, e.canonical, e.sha256, s.visit_id is not null as signed
from visit_entry e left join visit_sign_off s on s.visit_id = e.visit_id
where e.door_id = @door_id order by e.observed_at, e.entry_id`

// EntriesOfDoor gives every entry of a door in the order of their observation.
func (t *Tx) EntriesOfDoor(ctx context.Context, doorID uuid.UUID) ([]fleet.Entry, error) {
	return entries(query[entryRow](ctx, t, "entries_of_door", sqlEntriesOfDoor, pgx.StrictNamedArgs{"door_id": doorID}))
}

// A visit served the order alone at the door when its attendance lists no other one there.
const sqlPartsOfOrder = `-- parts_of_order
select e.customer_id, e.site_id, e.door_id, e.visit_id, e.entry_id, e.observed_at, e.received_at, e.recorded_by, e.canonical, e.sha256,
  exists (select from visit_sign_off s where s.visit_id = e.visit_id) as signed,
  coalesce(nullif(p.part ->> 'model_text', ''), m.name, nullif(c.model_text, ''), n.name, '') as model, coalesce(nullif(p.part ->> 'serial', ''), c.serial, '') as serial
from work_order o
join visit_entry e on e.door_id = o.door_id and e.kind = 'part'
join visit v on v.visit_id = e.visit_id
cross join lateral (select convert_from(e.canonical, 'UTF8')::jsonb -> 'part' as part) p
left join component c on c.component_id = (p.part ->> 'component_id')::uuid and c.door_id = e.door_id
left join device_model m on m.model_id = (p.part ->> 'model_id')::uuid
left join device_model n on n.model_id = c.model_id
where o.work_order_id = @work_order_id
  and case when p.part ? 'work_order_id' then (p.part ->> 'work_order_id')::uuid = o.work_order_id
    else exists (select from jsonb_array_elements(convert_from(v.canonical, 'UTF8')::jsonb -> 'doors') d
      where d ->> 'door_id' = o.door_id::text and d -> 'work_orders' = jsonb_build_array(o.work_order_id::text)) end
  and coalesce((select false from visit_entry k where k.corrects = e.entry_id and k.door_id = e.door_id
    and (k.observed_at, k.entry_id) > (e.observed_at, e.entry_id) limit 1), true)
order by e.observed_at, e.entry_id`

// PartsOfOrder gives the parts that belong to a work order; what was corrected is left out.
func (t *Tx) PartsOfOrder(ctx context.Context, orderID uuid.UUID) ([]fleet.PartOfOrder, error) {
	type row struct {
		entryRow
		Model  string
		Serial string
	}
	rows, err := query[row](ctx, t, "parts_of_order", sqlPartsOfOrder, pgx.StrictNamedArgs{"work_order_id": orderID})
	if err != nil {
		return nil, err
	}
	list := make([]fleet.PartOfOrder, len(rows))
	for i, r := range rows {
		e, err := r.entry()
		if err != nil {
			return nil, err
		}
		list[i] = fleet.PartOfOrder{Entry: e, Model: r.Model, Serial: r.Serial}
	}
	return list, nil
}

const sqlNewestWalkTests = `-- newest_walk_tests
select distinct on (w.component) e.customer_id, e.site_id, e.door_id, e.visit_id, e.entry_id, e.observed_at, e.received_at, e.recorded_by, e.canonical, e.sha256,
  exists (select from visit_sign_off s where s.visit_id = e.visit_id) as signed
from visit_entry e cross join lateral (select convert_from(e.canonical, 'UTF8')::jsonb #>> '{walk_test,component_id}' as component) w
where e.door_id = any (@door_ids) and e.kind = 'walk_test' and e.observed_at <= @effective and e.received_at <= @recorded
  and not exists (select from visit_entry k where k.corrects = e.entry_id and k.door_id = e.door_id and k.received_at <= @recorded
    and (k.observed_at, k.entry_id) > (e.observed_at, e.entry_id))
order by w.component, e.observed_at desc, e.entry_id desc`

// NewestWalkTests gives of each component of doors the newest walk test that nothing corrects, as of both times.
func (t *Tx) NewestWalkTests(ctx context.Context, doors []uuid.UUID, asOf fleet.AsOf) ([]fleet.Entry, error) {
	return entries(query[entryRow](ctx, t, "newest_walk_tests", sqlNewestWalkTests, pgx.StrictNamedArgs{"door_ids": doors,
		"effective": bound(asOf.Effective), "recorded": bound(asOf.Recorded)}))
}

const sqlInsertEntry = `-- insert_entry
with accepted as (
  insert into visit_entry (customer_id, site_id, door_id, visit_id, entry_id, kind, observed_at, received_at, recorded_by, corrects, canonical, sha256)
  values (@customer_id, @site_id, @door_id, @visit_id, @entry_id, @kind, @observed_at, @received_at, @recorded_by, @corrects, @canonical, @sha256)
  on conflict (entry_id) do nothing
  returning customer_id, site_id, door_id, visit_id, entry_id),
named as (
  insert into entry_photo (customer_id, site_id, door_id, visit_id, entry_id, sha256)
  select distinct a.customer_id, a.site_id, a.door_id, a.visit_id, a.entry_id, p.sha256 from accepted a cross join unnest(@photos::bytea[]) as p (sha256))
select entry_id from accepted`

// InsertEntry adds an entry with the photos that it names, or answers false when its id is taken.
func (t *Tx) InsertEntry(ctx context.Context, e fleet.Entry) (bool, error) {
	rows, err := query[struct{ EntryID uuid.UUID }](ctx, t, "insert_entry", sqlInsertEntry, pgx.StrictNamedArgs{"customer_id": e.CustomerID, "site_id": e.SiteID,
		"door_id": e.DoorID, "visit_id": e.VisitID, "entry_id": e.EntryID, "kind": e.Body.Kind, "observed_at": e.ObservedAt, "received_at": e.ReceivedAt,
		"recorded_by": e.RecordedBy, "corrects": e.Body.Corrects, "canonical": e.Canonical, "sha256": e.SHA256[:], "photos": hashBytes(e.Body.Photos())})
	return len(rows) == 1, err
}

const sqlInsertSignOff = `-- insert_sign_off
insert into visit_sign_off (customer_id, site_id, visit_id, canonical, sha256, signed_at, received_at, signed_by, record_sha256)
select customer_id, site_id, visit_id, @canonical, @sha256, @signed_at, @received_at, @signed_by, @record_sha256 from visit where visit_id = @visit_id
on conflict (visit_id) do nothing`

// InsertSignOff closes a visit, or answers false when it is closed already.
func (t *Tx) InsertSignOff(ctx context.Context, s fleet.SignedRecord) (bool, error) {
	n, err := exec(ctx, t, "insert_sign_off", sqlInsertSignOff, pgx.StrictNamedArgs{"visit_id": s.VisitID, "canonical": s.Canonical, "sha256": s.SHA256[:],
		"signed_at": s.SignedAt, "received_at": s.ReceivedAt, "signed_by": s.SignedBy, "record_sha256": s.RecordSHA256[:]})
	return n == 1, err
}

type signOffRow struct {
	VisitID      uuid.UUID
	Canonical    []byte
	SHA256       []byte `db:"sha256"`
	SignedAt     time.Time
	ReceivedAt   time.Time
	SignedBy     uuid.UUID
	RecordSHA256 []byte `db:"record_sha256"`
}

const sqlSignOffOf = `-- sign_off_of
select visit_id, canonical, sha256, signed_at, received_at, signed_by, record_sha256 from visit_sign_off where visit_id = @visit_id`

// SignOffOf gives the sign-off of a visit.
func (t *Tx) SignOffOf(ctx context.Context, visitID uuid.UUID) (fleet.SignedRecord, error) {
	r, err := queryOne[signOffRow](ctx, t, "sign_off_of", sqlSignOffOf, pgx.StrictNamedArgs{"visit_id": visitID}, "visit_not_found")
	s := fleet.SignedRecord{VisitID: r.VisitID, Canonical: r.Canonical, SignedAt: r.SignedAt, ReceivedAt: r.ReceivedAt, SignedBy: r.SignedBy}
	copy(s.SHA256[:], r.SHA256)
	copy(s.RecordSHA256[:], r.RecordSHA256)
	return s, err
}

const sqlVisitRecord = `-- visit_record
select canonical from record_log where kind = 'visit' and subject_id = @visit_id`

type visitRecordRow struct{ Canonical []byte }

// VisitRecord gives the signed record of a visit as it was sealed.
func (t *Tx) VisitRecord(ctx context.Context, visitID uuid.UUID) ([]byte, error) {
	r, err := queryOne[visitRecordRow](ctx, t, "visit_record", sqlVisitRecord, pgx.StrictNamedArgs{"visit_id": visitID}, "visit_not_found")
	return r.Canonical, err
}

const sqlInsertRecord = `-- insert_record
insert into record_log (kind, customer_id, site_id, subject_id, canonical, sha256, recorded_at, recorded_by)
values (@kind, @customer_id, @site_id, @subject_id, @canonical, @sha256, @recorded_at, @recorded_by)`

// InsertRecord adds a signed record to the log.
func (t *Tx) InsertRecord(ctx context.Context, r fleet.Record) error {
	_, err := exec(ctx, t, "insert_record", sqlInsertRecord, pgx.StrictNamedArgs{"kind": r.Kind, "customer_id": optional(r.CustomerID), "site_id": optional(r.SiteID), "subject_id": r.SubjectID,
		"canonical": r.Canonical, "sha256": r.SHA256[:], "recorded_at": r.RecordedAt, "recorded_by": r.RecordedBy})
	return err
}
