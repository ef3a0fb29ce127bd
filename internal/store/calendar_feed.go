package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

type calendarFeedRow struct {
	FeedID     uuid.UUID
	PersonID   *uuid.UUID
	CustomerID *uuid.UUID
	SiteID     *uuid.UUID
	Note       string
	Language   string
	MadeAt     time.Time
	MadeBy     uuid.UUID
	ReadAt     *time.Time
	RevokedAt  *time.Time
	RevokedBy  *uuid.UUID
}

func (r calendarFeedRow) feed() fleet.CalendarFeed {
	c := fleet.CalendarFeed{FeedID: r.FeedID, Note: r.Note, Language: r.Language, MadeAt: r.MadeAt, MadeBy: r.MadeBy, ReadAt: r.ReadAt, RevokedAt: r.RevokedAt, RevokedBy: r.RevokedBy}
	if r.PersonID != nil {
		c.PersonID = *r.PersonID
	}
	if r.SiteID != nil {
		c.CustomerID, c.SiteID = *r.CustomerID, *r.SiteID
	}
	return c
}

const sqlCalendarFeedByID = `-- calendar_feed_by_id
select feed_id, person_id, customer_id, site_id, note, language, made_at, made_by, read_at, revoked_at, revoked_by from calendar_feed left join calendar_feed_end using (feed_id) where feed_id = @feed_id`

// CalendarFeedByID gives one feed.
func (t *Tx) CalendarFeedByID(ctx context.Context, id uuid.UUID) (fleet.CalendarFeed, error) {
	r, err := queryOne[calendarFeedRow](ctx, t, "calendar_feed_by_id", sqlCalendarFeedByID, pgx.StrictNamedArgs{"feed_id": id}, "feed_not_found")
	return r.feed(), err
}

const sqlInsertCalendarFeed = `-- insert_calendar_feed
insert into calendar_feed (feed_id, secret_sha256, person_id, customer_id, site_id, note, language, made_at, made_by)
values (@feed_id, @secret_sha256, @person_id, @customer_id, @site_id, @note, @language, @made_at, @made_by) on conflict (feed_id) do nothing`

// InsertCalendarFeed adds a feed under the hash of its secret, or answers false when the id is taken.
func (t *Tx) InsertCalendarFeed(ctx context.Context, hash [32]byte, c fleet.CalendarFeed) (bool, error) {
	return insertOne(ctx, t, "insert_calendar_feed", sqlInsertCalendarFeed, pgx.StrictNamedArgs{"feed_id": c.FeedID, "secret_sha256": hash[:], "person_id": optional(c.PersonID),
		"customer_id": optional(c.CustomerID), "site_id": optional(c.SiteID), "note": c.Note, "language": c.Language, "made_at": c.MadeAt, "made_by": c.MadeBy})
}

const sqlCalendarFeedPage = `-- calendar_feed_page
select feed_id, person_id, customer_id, site_id, note, language, made_at, made_by, read_at, revoked_at, revoked_by from calendar_feed left join calendar_feed_end using (feed_id)
where (made_at, feed_id) < (@before_at, @before_id) and (@person_id::uuid is null or person_id = @person_id) and (@site_id::uuid is null or site_id = @site_id)
order by made_at desc, feed_id desc limit @limit`

// CalendarFeedPage lists feeds, the newest first.
func (t *Tx) CalendarFeedPage(ctx context.Context, q fleet.CalendarFeedQuery) ([]fleet.CalendarFeed, error) {
	rows, err := query[calendarFeedRow](ctx, t, "calendar_feed_page", sqlCalendarFeedPage, pgx.StrictNamedArgs{"before_at": bound(q.BeforeAt), "before_id": q.BeforeID,
		"person_id": optional(q.PersonID), "site_id": optional(q.SiteID), "limit": q.Limit})
	return each(rows, calendarFeedRow.feed), err
}

const sqlRevokeCalendarFeed = `-- revoke_calendar_feed
insert into calendar_feed_end (feed_id, revoked_at, revoked_by) values (@feed_id, @at, @by) on conflict do nothing`

// RevokeCalendarFeed ends a feed; one that has ended stays as it is.
func (t *Tx) RevokeCalendarFeed(ctx context.Context, id uuid.UUID, at time.Time, by uuid.UUID) error {
	_, err := exec(ctx, t, "revoke_calendar_feed", sqlRevokeCalendarFeed, pgx.StrictNamedArgs{"feed_id": id, "at": at, "by": by})
	return err
}

const sqlRevokeCalendarFeedsOfSite = `-- revoke_calendar_feeds_of_site
insert into calendar_feed_end (feed_id, revoked_at, revoked_by) select feed_id, @at, @by from calendar_feed where site_id = @site_id on conflict do nothing`

// RevokeCalendarFeedsOfSite ends all feeds of a site.
func (t *Tx) RevokeCalendarFeedsOfSite(ctx context.Context, siteID uuid.UUID, at time.Time, by uuid.UUID) error {
	_, err := exec(ctx, t, "revoke_calendar_feeds_of_site", sqlRevokeCalendarFeedsOfSite, pgx.StrictNamedArgs{"site_id": siteID, "at": at, "by": by})
	return err
}

const sqlOpenCalendarFeed = `-- open_calendar_feed
with open as (
  select f.feed_id from calendar_feed f
  where f.secret_sha256 = @secret_sha256 and not exists (select from calendar_feed_end e where e.feed_id = f.feed_id)
    and (f.person_id is null or exists (select from person p where p.person_id = f.person_id and p.role = 'technician' and p.disabled_at is null and (p.expires_at is null or p.expires_at > @at)))
    and (f.site_id is null or not exists (select from person m where m.person_id = f.made_by and m.role in ('owner_agent', 'auditor')
      and (m.disabled_at is not null or m.expires_at <= @at
        or not exists (select from person_customer c where m.scope_kind = 'customers' and c.person_id = m.person_id and c.customer_id = f.customer_id)
          and not exists (select from person_site s where m.scope_kind = 'sites' and s.person_id = m.person_id and s.site_id = f.site_id))))),
noted as (
  update calendar_feed f set read_at = @at from open where f.feed_id = open.feed_id and (f.read_at is null or f.read_at < @at - interval '1 hour'))
select f.feed_id, f.person_id, f.customer_id, f.site_id, f.note, f.language, f.made_at, f.made_by, f.read_at, null::timestamptz as revoked_at, null::uuid as revoked_by
from calendar_feed f join open using (feed_id)`

// OpenCalendarFeed gives the feed of a secret that may be read now, and notes that it was.
func (t *Tx) OpenCalendarFeed(ctx context.Context, hash [32]byte, at time.Time) (fleet.CalendarFeed, error) {
	r, err := queryOne[calendarFeedRow](ctx, t, "open_calendar_feed", sqlOpenCalendarFeed, pgx.StrictNamedArgs{"secret_sha256": hash[:], "at": at}, "feed_not_found")
	return r.feed(), err
}

type feedOrderRow struct {
	WorkOrderID uuid.UUID
	Kind        string
	State       string
	DueOn       time.Time
	PlannedOn   *time.Time
	DoneOn      *time.Time
	ChangedAt   time.Time
	Tag         string
	Door        string
	Site        string
	Address     string
	City        string
	TimeZone    string
	FromMinute  *int
	ToMinute    *int
}

func (r feedOrderRow) order() fleet.FeedOrder {
	o := fleet.FeedOrder{WorkOrderID: r.WorkOrderID, Kind: r.Kind, State: r.State, DueOn: day(&r.DueOn), PlannedOn: day(r.PlannedOn), DoneOn: day(r.DoneOn), ChangedAt: r.ChangedAt.UTC(),
		Tag: fleet.Tag(r.Tag), Door: r.Door, Site: r.Site, Address: r.Address, City: r.City, TimeZone: r.TimeZone}
	if r.FromMinute != nil && r.ToMinute != nil {
		o.Agreed = &fleet.DayHours{FromMinute: *r.FromMinute, ToMinute: *r.ToMinute}
	}
	return o
}

// Each part has an index of its own; which of person and site is asked for is known when the statement is planned.
const sqlFeedOrders = `-- feed_orders
with asked as (
  select work_order_id, state from work_order
  where (@person_id::uuid is null or assigned_to = @person_id) and (@site_id::uuid is null or site_id = @site_id)
    and (state = 'open' or state = 'done' and done_on >= @done_since or state in ('cancelled', 'superseded') and coalesce(changed_at, recorded_at) >= @withdrawn_since)
  union all
  select taken, 'taken' from unnest(@taken::uuid[]) taken)
select o.work_order_id, o.kind, a.state, o.due_on, o.planned_on, o.done_on, greatest(o.recorded_at, o.changed_at, h.recorded_at) as changed_at,
  d.tag, d.name as door, s.name as site, s.address, s.city, s.time_zone, case when h.held then h.from_minute end as from_minute, case when h.held then h.to_minute end as to_minute
from asked a join work_order o using (work_order_id)
join door d on d.customer_id = o.customer_id and d.site_id = o.site_id and d.door_id = o.door_id
join site s on s.customer_id = o.customer_id and s.site_id = o.site_id
left join work_order_hold h on h.customer_id = o.customer_id and h.site_id = o.site_id and h.door_id = o.door_id and h.work_order_id = o.work_order_id
order by a.state <> 'open', coalesce(o.planned_on, o.due_on), o.work_order_id limit @limit`

// FeedOrders gives the orders of a calendar.
func (t *Tx) FeedOrders(ctx context.Context, q fleet.FeedOrderQuery) ([]fleet.FeedOrder, error) {
	rows, err := query[feedOrderRow](ctx, t, "feed_orders", sqlFeedOrders, pgx.StrictNamedArgs{"person_id": optional(q.PersonID), "site_id": optional(q.SiteID),
		"done_since": date(q.DoneSince), "withdrawn_since": q.WithdrawnSince, "taken": q.Taken, "limit": q.Limit})
	return each(rows, feedOrderRow.order), err
}

const sqlOrdersTaken = `-- orders_taken
select g.work_order_id from work_order_taken g join work_order o on o.work_order_id = g.work_order_id
where g.person_id = @person_id and g.at >= @since and o.assigned_to is distinct from @person_id`

// OrdersTaken gives the orders that a person had until a time since then, and has no more.
func (t *Tx) OrdersTaken(ctx context.Context, personID uuid.UUID, since time.Time) ([]uuid.UUID, error) {
	rows, err := query[struct{ WorkOrderID uuid.UUID }](ctx, t, "orders_taken", sqlOrdersTaken, pgx.StrictNamedArgs{"person_id": personID, "since": since})
	return each(rows, func(r struct{ WorkOrderID uuid.UUID }) uuid.UUID { return r.WorkOrderID }), err
}

type routeTimeRow struct {
	WorkOrderID uuid.UUID
	OnDay       time.Time
	BeginsAt    time.Time
	EndsAt      time.Time
	TakenAt     time.Time
}

const sqlRouteTimes = `-- route_times
select distinct on (work_order_id) (stop ->> 'work_order_id')::uuid as work_order_id, (shift ->> 'day')::date as on_day, (stop ->> 'begin')::timestamptz as begins_at, (stop ->> 'leave')::timestamptz as ends_at, p.taken_at
from route_plan p
cross join jsonb_array_elements(p.answer -> 'shifts') shift cross join jsonb_array_elements(shift -> 'stops') stop
where p.state = 'taken_over' and p.from_day + p.days > @since and (shift ->> 'person_id')::uuid = @person_id
order by work_order_id, p.taken_at desc, p.route_plan_id`

// RouteTimes gives when a technician is to be at which order, by the plans that were taken over.
func (t *Tx) RouteTimes(ctx context.Context, personID uuid.UUID, since duedate.Day) ([]fleet.RouteTime, error) {
	rows, err := query[routeTimeRow](ctx, t, "route_times", sqlRouteTimes, pgx.StrictNamedArgs{"person_id": personID, "since": date(since)})
	return each(rows, func(r routeTimeRow) fleet.RouteTime {
		return fleet.RouteTime{WorkOrderID: r.WorkOrderID, On: day(&r.OnDay), Begin: r.BeginsAt.UTC(), End: r.EndsAt.UTC(), TakenAt: r.TakenAt.UTC()}
	}), err
}
