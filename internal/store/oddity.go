package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/seal"
)

type oddityRow struct {
	CustomerID  uuid.UUID
	SiteID      uuid.UUID
	VisitID     uuid.UUID
	OddityID    uuid.UUID
	Kind        string
	PersonID    uuid.UUID
	Day         time.Time
	Doors       []uuid.UUID
	Entries     []uuid.UUID
	LookedAt    int
	DoorsOfDay  int
	Seconds     int64
	OtherVisits []uuid.UUID
	NoticedAt   time.Time
	State       string
	ExplainedAt *time.Time
	ExplainedBy *uuid.UUID
	Explanation string
}

func (r oddityRow) oddity() fleet.Oddity {
	o := fleet.Oddity{CustomerID: r.CustomerID, SiteID: r.SiteID, VisitID: r.VisitID, OddityID: r.OddityID, Kind: r.Kind, PersonID: r.PersonID, Day: day(&r.Day),
		Doors: r.Doors, Entries: r.Entries, LookedAt: r.LookedAt, DoorsOfDay: r.DoorsOfDay, Took: time.Duration(r.Seconds) * time.Second, OtherVisits: r.OtherVisits,
		NoticedAt: r.NoticedAt, State: r.State}
	if r.ExplainedAt != nil {
		o.Explained = &fleet.Explanation{At: *r.ExplainedAt, By: *r.ExplainedBy, Why: r.Explanation}
	}
	return o
}

const sqlOddityPage = `-- oddity_page
select customer_id, site_id, visit_id, oddity_id, kind, person_id, day, doors, entries, looked_at, doors_of_day, seconds, other_visits, noticed_at, state, explained_at, explained_by, explanation
from oddity
where (@after_at::timestamptz is null or (noticed_at, oddity_id) < (@after_at, @after_id))
  and (@state::text = '' or state = @state)
  and (@kind::text = '' or kind = @kind)
  and (@visit_id::uuid is null or visit_id = @visit_id)
  and (@site_id::uuid is null or site_id = @site_id)
  and (@person_id::uuid is null or person_id = @person_id)
  and (@door_id::uuid is null or doors @> array[@door_id::uuid])
order by noticed_at desc, oddity_id desc limit @limit`

const sqlOldestOddities = `-- oldest_oddities
select customer_id, site_id, visit_id, oddity_id, kind, person_id, day, doors, entries, looked_at, doors_of_day, seconds, other_visits, noticed_at, state, explained_at, explained_by, explanation
from oddity
where (@after_at::timestamptz is null or (noticed_at, oddity_id) > (@after_at, @after_id))
  and (@state::text = '' or state = @state)
  and (@kind::text = '' or kind = @kind)
  and (@visit_id::uuid is null or visit_id = @visit_id)
  and (@site_id::uuid is null or site_id = @site_id)
  and (@person_id::uuid is null or person_id = @person_id)
  and (@door_id::uuid is null or doors @> array[@door_id::uuid])
order by noticed_at, oddity_id limit @limit`

// OddityPage lists oddities by when they were noticed.
func (t *Tx) OddityPage(ctx context.Context, q fleet.OddityQuery) ([]fleet.Oddity, error) {
	name, sql := "oddity_page", sqlOddityPage
	if q.Oldest {
		name, sql = "oldest_oddities", sqlOldestOddities
	}
	rows, err := query[oddityRow](ctx, t, name, sql, pgx.StrictNamedArgs{"after_at": optionalInstant(q.AfterAt), "after_id": q.AfterID, "state": q.State, "kind": q.Kind,
		"visit_id": optional(q.VisitID), "site_id": optional(q.SiteID), "person_id": optional(q.PersonID), "door_id": optional(q.DoorID), "limit": q.Limit})
	return each(rows, oddityRow.oddity), err
}

const sqlOddityByID = `-- oddity_by_id
select customer_id, site_id, visit_id, oddity_id, kind, person_id, day, doors, entries, looked_at, doors_of_day, seconds, other_visits, noticed_at, state, explained_at, explained_by, explanation
from oddity where oddity_id = @oddity_id`

// OddityByID gives one oddity.
func (t *Tx) OddityByID(ctx context.Context, id uuid.UUID) (fleet.Oddity, error) {
	r, err := queryOne[oddityRow](ctx, t, "oddity_by_id", sqlOddityByID, pgx.StrictNamedArgs{"oddity_id": id}, "oddity_not_found")
	return r.oddity(), err
}

const sqlCountOpenOddities = `-- count_open_oddities
select count(*)::int as n from (select from oddity where state = 'open' limit @most) o`

// CountOpenOddities counts the open ones up to a limit.
func (t *Tx) CountOpenOddities(ctx context.Context, most int) (int, error) {
	rows, err := query[struct{ N int }](ctx, t, "count_open_oddities", sqlCountOpenOddities, pgx.StrictNamedArgs{"most": most})
	if err != nil {
		return 0, err
	}
	return rows[0].N, nil
}

const sqlExplainOddity = `-- explain_oddity
update oddity set state = 'explained', explained_at = @at, explained_by = @by, explanation = @why where oddity_id = @oddity_id and state = 'open'`

// ExplainOddity keeps what somebody found out, or answers false when the oddity is not open.
func (t *Tx) ExplainOddity(ctx context.Context, id uuid.UUID, e fleet.Explanation) (bool, error) {
	n, err := exec(ctx, t, "explain_oddity", sqlExplainOddity, pgx.StrictNamedArgs{"oddity_id": id, "at": e.At, "by": e.By, "why": e.Why})
	return n == 1, err
}

const sqlSetOffice = `-- set_office
select set_config('lintel.office', @office, true)`

const sqlOfficeNow = `-- office_now
select coalesce(current_setting('lintel.office', true), '') as office`

// It leaves what was explained alone.
const sqlPutOddities = `-- put_oddities
with given as (
  select * from jsonb_to_recordset(@oddities) as g (customer_id uuid, site_id uuid, oddity_id uuid, kind text, person_id uuid, day date, doors uuid[], entries uuid[],
    looked_at integer, doors_of_day integer, seconds bigint, other_visits uuid[], noticed_at timestamptz)),
gone as (
  update oddity set state = 'withdrawn' where visit_id = @visit_id and state = 'open' and oddity_id not in (select oddity_id from given))
insert into oddity as present (customer_id, site_id, visit_id, oddity_id, kind, person_id, day, doors, entries, looked_at, doors_of_day, seconds, other_visits, noticed_at)
select v.customer_id, v.site_id, v.visit_id, g.oddity_id, g.kind, g.person_id, g.day, g.doors, g.entries, g.looked_at, g.doors_of_day, g.seconds, g.other_visits, g.noticed_at
from given g join visit v on v.visit_id = @visit_id
on conflict (oddity_id) do update set doors = excluded.doors, entries = excluded.entries, looked_at = excluded.looked_at, doors_of_day = excluded.doors_of_day,
  seconds = excluded.seconds, other_visits = excluded.other_visits, state = 'open'
where present.state <> 'explained'
  and (present.doors, present.entries, present.looked_at, present.doors_of_day, present.seconds, present.other_visits, present.state)
    is distinct from (excluded.doors, excluded.entries, excluded.looked_at, excluded.doors_of_day, excluded.seconds, excluded.other_visits, 'open')`

// PutOddities makes these the open oddities of a visit. Whoever signs a visit does not see what is asked about it: the office's sight
// is opened for this one statement, and what it reads stays in the database.
func (t *Tx) PutOddities(ctx context.Context, visitID uuid.UUID, list []fleet.Oddity) error {
	before, err := query[struct{ Office string }](ctx, t, "office_now", sqlOfficeNow, pgx.StrictNamedArgs{})
	if err != nil {
		return err
	}
	if err := t.setOffice(ctx, officeOpen); err != nil {
		return err
	}
	type given struct {
		CustomerID  uuid.UUID   `json:"customer_id"`
		SiteID      uuid.UUID   `json:"site_id"`
		OddityID    uuid.UUID   `json:"oddity_id"`
		Kind        string      `json:"kind"`
		PersonID    uuid.UUID   `json:"person_id"`
		Day         string      `json:"day"`
		Doors       []uuid.UUID `json:"doors"`
		Entries     []uuid.UUID `json:"entries"`
		LookedAt    int         `json:"looked_at"`
		DoorsOfDay  int         `json:"doors_of_day"`
		Seconds     int64       `json:"seconds"`
		OtherVisits []uuid.UUID `json:"other_visits"`
		NoticedAt   time.Time   `json:"noticed_at"`
	}
	rows := each(list, func(o fleet.Oddity) given {
		return given{CustomerID: o.CustomerID, SiteID: o.SiteID, OddityID: o.OddityID, Kind: o.Kind, PersonID: o.PersonID, Day: o.Day.String(), Doors: o.Doors, Entries: o.Entries,
			LookedAt: o.LookedAt, DoorsOfDay: o.DoorsOfDay, Seconds: int64(o.Took / time.Second), OtherVisits: o.OtherVisits, NoticedAt: o.NoticedAt}
	})
	if _, err := exec(ctx, t, "put_oddities", sqlPutOddities, pgx.StrictNamedArgs{"visit_id": visitID, "oddities": rows}); err != nil {
		return err
	}
	return t.setOffice(ctx, before[0].Office)
}

// officeOpen lets a transaction see what is asked about entries.
const officeOpen = "on"

func (t *Tx) setOffice(ctx context.Context, office string) error {
	_, err := exec(ctx, t, "set_office", sqlSetOffice, pgx.StrictNamedArgs{"office": office})
	return err
}

const sqlLockOddities = `-- lock_oddities
select pg_advisory_xact_lock(hashtextextended(p.person_id::text, 2)) from (select unnest(@people::uuid[]) as person_id order by 1) p`

// LockOddities makes other transactions that ask about entries of these people wait until this one has ended.
func (t *Tx) LockOddities(ctx context.Context, people []uuid.UUID) error {
	_, err := exec(ctx, t, "lock_oddities", sqlLockOddities, pgx.StrictNamedArgs{"people": people})
	return err
}

// About a year: 270 to 460 days, the nearest to 365 if there are several. What was read belongs to the week that ends with the conclusion.
const sqlReadingsOfLastYear = `-- readings_of_last_year
select e.customer_id, e.site_id, e.door_id, e.visit_id, e.entry_id, e.observed_at, e.received_at, e.recorded_by, e.canonical, e.sha256, true as signed
from (select c.door_id, max(c.observed_at) as at from visit_entry c where c.visit_id = @visit_id and c.kind = 'conclusion' group by c.door_id) n
cross join lateral (
  select b.visit_id, b.observed_at from visit_entry b
  where b.door_id = n.door_id and b.kind = 'conclusion' and b.visit_id <> @visit_id
    and b.observed_at between n.at - interval '460 days' and n.at - interval '270 days'
    and exists (select from visit_sign_off s where s.visit_id = b.visit_id)
  order by abs(extract(epoch from n.at - b.observed_at) - 365 * 86400), b.entry_id limit 1) b
cross join lateral (
  select r.* from visit_entry r
  where r.door_id = n.door_id and r.visit_id = b.visit_id and r.kind = 'reading' and r.observed_at between b.observed_at - interval '7 days' and b.observed_at
    and not exists (select from visit_entry k where k.corrects = r.entry_id and k.door_id = r.door_id and (k.observed_at, k.entry_id) > (r.observed_at, r.entry_id))) e
order by e.observed_at, e.entry_id`

// ReadingsOfLastYear gives what was read at the doors that a visit concludes by their inspections about a year before.
func (t *Tx) ReadingsOfLastYear(ctx context.Context, visitID uuid.UUID) ([]fleet.Entry, error) {
	return entries(query[entryRow](ctx, t, "readings_of_last_year", sqlReadingsOfLastYear, pgx.StrictNamedArgs{"visit_id": visitID}))
}

// Others are found by what they conclude, within a day of this visit's entries. Each of the few that there are is looked at by itself: of
// how many there are PostgreSQL thinks too highly, and would read every entry instead.
const sqlSpellsBeside = `-- spells_beside
select o.visit_id, e.site_id, o.recorded_by as person_id, e.first, e.last
from (
  select distinct c.visit_id, c.recorded_by from visit_entry c
  where c.kind = 'conclusion' and c.visit_id <> @visit_id
    and c.recorded_by = any (array(select distinct m.recorded_by from visit_entry m where m.visit_id = @visit_id and m.kind <> 'note'))
    and c.observed_at between (select min(m.observed_at) - interval '1 day' from visit_entry m where m.visit_id = @visit_id and m.kind <> 'note')
      and (select max(m.observed_at) + interval '1 day' from visit_entry m where m.visit_id = @visit_id and m.kind <> 'note')
    and exists (select from visit_sign_off s where s.visit_id = c.visit_id)) o
cross join lateral (
  select e.site_id, min(e.observed_at) as first, max(e.observed_at) as last from visit_entry e
  where e.visit_id = o.visit_id and e.recorded_by = o.recorded_by and e.kind in ('safe_work', 'reading', 'force_course', 'positions', 'function_test', 'conclusion')
  group by e.site_id) e
order by o.visit_id, o.recorded_by`

// SpellsBeside gives how long the people of a visit were at the doors of other signed visits about that time.
func (t *Tx) SpellsBeside(ctx context.Context, visitID uuid.UUID) ([]fleet.Spell, error) {
	type row struct {
		VisitID, SiteID, PersonID uuid.UUID
		First, Last               time.Time
	}
	rows, err := query[row](ctx, t, "spells_beside", sqlSpellsBeside, pgx.StrictNamedArgs{"visit_id": visitID})
	return each(rows, func(r row) fleet.Spell { return fleet.Spell(r) }), err
}

const sqlPhotosBefore = `-- photos_before
select distinct p.sha256, e.visit_id, e.observed_at
from entry_photo own
join visit_entry mine on mine.entry_id = own.entry_id
join entry_photo p on p.sha256 = own.sha256 and p.visit_id <> own.visit_id
join visit_entry e on e.entry_id = p.entry_id and e.observed_at < mine.observed_at
where mine.visit_id = @visit_id and exists (select from visit_sign_off s where s.visit_id = e.visit_id)
order by e.observed_at, e.visit_id, p.sha256`

// PhotosBefore gives earlier uses of the photos of a visit by other signed visits.
func (t *Tx) PhotosBefore(ctx context.Context, visitID uuid.UUID) ([]fleet.PhotoUse, error) {
	type row struct {
		SHA256     []byte `db:"sha256"`
		VisitID    uuid.UUID
		ObservedAt time.Time
	}
	rows, err := query[row](ctx, t, "photos_before", sqlPhotosBefore, pgx.StrictNamedArgs{"visit_id": visitID})
	return each(rows, func(r row) fleet.PhotoUse {
		return fleet.PhotoUse{SHA256: seal.Hash(r.SHA256), VisitID: r.VisitID, ObservedAt: r.ObservedAt}
	}), err
}

const sqlVisitsHeldAgainst = `-- visits_held_against
select l.visit_id
from (select c.door_id, max(c.observed_at) as at from visit_entry c where c.visit_id = @visit_id and c.kind = 'conclusion' group by c.door_id) n
join visit_entry l on l.door_id = n.door_id and l.kind = 'conclusion' and l.observed_at between n.at + interval '270 days' and n.at + interval '460 days'
where l.visit_id <> @visit_id and exists (select from visit_sign_off s where s.visit_id = l.visit_id)
union
select e.visit_id
from entry_photo own
join visit_entry mine on mine.entry_id = own.entry_id
join entry_photo p on p.sha256 = own.sha256 and p.visit_id <> own.visit_id
join visit_entry e on e.entry_id = p.entry_id and e.observed_at > mine.observed_at
where mine.visit_id = @visit_id and exists (select from visit_sign_off s where s.visit_id = e.visit_id)`

// VisitsHeldAgainst gives the signed visits whose entries are held against those of a visit that is signed later.
func (t *Tx) VisitsHeldAgainst(ctx context.Context, visitID uuid.UUID) ([]uuid.UUID, error) {
	type row struct{ VisitID uuid.UUID }
	rows, err := query[row](ctx, t, "visits_held_against", sqlVisitsHeldAgainst, pgx.StrictNamedArgs{"visit_id": visitID})
	return each(rows, func(r row) uuid.UUID { return r.VisitID }), err
}
