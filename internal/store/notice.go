package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

type orderDueRow struct {
	CustomerID   uuid.UUID
	SiteID       uuid.UUID
	DoorID       uuid.UUID
	WorkOrderID  uuid.UUID
	DueOn        time.Time
	Country      string
	Jurisdiction string
	TimeZone     string
	MovedAt      *time.Time
	OutOfService bool
}

func (r orderDueRow) order() fleet.OrderDue {
	return fleet.OrderDue{CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, WorkOrderID: r.WorkOrderID, DueOn: day(&r.DueOn),
		Country: r.Country, Jurisdiction: r.Jurisdiction, TimeZone: r.TimeZone, MovedAt: r.MovedAt, OutOfService: r.OutOfService}
}

// An order was moved when notices were made for another due day: of itself, or of an order of the same plan that was
// superseded without being done. Its own change log says since when it has its day.
const sqlOrdersDue = `-- orders_due
select o.customer_id, o.site_id, o.door_id, o.work_order_id, o.due_on, s.country, s.jurisdiction, s.time_zone,
  case when exists (select from notice n where n.reason = 'work_order:' || o.work_order_id and n.due_on <> o.due_on and n.state not in ('superseded', 'withdrawn'))
    or exists (select from work_order b join notice n on n.reason = 'work_order:' || b.work_order_id
      where b.door_id = o.door_id and b.plan_id = o.plan_id and b.state = 'superseded' and b.due_on <> o.due_on and n.state not in ('superseded', 'withdrawn'))
  then coalesce((select min(c.at) from change_log c where c.subject_kind = 'work_order' and c.subject_id = o.work_order_id
    and c.at > coalesce((select max(b.at) from change_log b where b.subject_kind = 'work_order' and b.subject_id = o.work_order_id
      and (b.body->>'DueOn')::date <> o.due_on), '-infinity')), o.recorded_at)
  end as moved_at,
  exists (select from out_of_service_case c where c.door_id = o.door_id and c.state <> 'ended') as out_of_service
from work_order o join site s on s.site_id = o.site_id
where o.work_order_id = any (@ids) and o.state = 'open' and (o.kind = 'inspection' or exists (select from inspection_plan p where p.plan_id = o.plan_id and p.purpose = 'fire_door'))
order by o.due_on, o.work_order_id
for share of o`

// OrdersDue gives those of the orders that are open inspections, of a fire door's items or not. They are held, so that none is closed between this
// reading and the notices that it leads to.
func (t *Tx) OrdersDue(ctx context.Context, ids []uuid.UUID) ([]fleet.OrderDue, error) {
	rows, err := query[orderDueRow](ctx, t, "orders_due", sqlOrdersDue, pgx.StrictNamedArgs{"ids": ids})
	return each(rows, orderDueRow.order), err
}

type lookRow struct {
	WorkOrderID uuid.UUID
	Saw         int64
}

func (r lookRow) look() fleet.Look { return fleet.Look{WorkOrderID: r.WorkOrderID, Saw: r.Saw} }

// It reads every open order and every standing, each table once: an index on the day would not know what has changed. The hash is cut to what
// JSON numbers hold exactly (2^53 - 1): rows are exported.
const sqlOrdersToLook = `-- orders_to_look
with standing as (
  select p.site_id, sum(hashtext(p.party_id || p.role)) as saw from site_party p
  where p.from_day <= @as_of and (p.to_day is null or p.to_day >= @as_of) group by p.site_id),
present as (
  select o.work_order_id, o.due_on, hashtextextended(concat_ws(' ', @basis::text, o.due_on - date '2000-01-01', c.door_id, s.country, s.jurisdiction, s.time_zone, t.saw), 0) & 9007199254740991 as saw
  from work_order o join site s on s.site_id = o.site_id
  left join standing t on t.site_id = o.site_id
  left join (select distinct door_id from out_of_service_case where state <> 'ended') c on c.door_id = o.door_id
  where o.state = 'open' and (o.kind = 'inspection' or exists (select from inspection_plan i where i.plan_id = o.plan_id and i.purpose = 'fire_door')) and o.due_on <= @until)
select p.work_order_id, p.saw from present p left join ladder_look l on l.work_order_id = p.work_order_id
where l.work_order_id is null or l.through < @as_of or l.saw <> p.saw
order by p.due_on, p.work_order_id`

// OrdersToLook gives the open inspection orders, also of a fire door's items, due until a day at which the ladder must look.
func (t *Tx) OrdersToLook(ctx context.Context, until, asOf duedate.Day, basis string) ([]fleet.Look, error) {
	rows, err := query[lookRow](ctx, t, "orders_to_look", sqlOrdersToLook, pgx.StrictNamedArgs{"until": date(until), "as_of": date(asOf), "basis": basis})
	return each(rows, lookRow.look), err
}

const sqlPutLooks = `-- put_looks
insert into ladder_look (work_order_id, through, saw)
select l.work_order_id, l.through, l.saw from jsonb_to_recordset(@looks) as l (work_order_id uuid, through date, saw bigint)
on conflict (work_order_id) do update set through = excluded.through, saw = excluded.saw`

// PutLooks keeps until when orders need not be looked at.
func (t *Tx) PutLooks(ctx context.Context, looks []fleet.Look) error {
	if len(looks) == 0 {
		return nil
	}
	_, err := exec(ctx, t, "put_looks", sqlPutLooks, pgx.StrictNamedArgs{"looks": looks})
	return err
}

type recipientRow struct {
	SiteID           uuid.UUID
	Role             string
	RecipientID      uuid.UUID
	Name             string
	Email            string
	FurtherAddresses string
	Language         string
	TimeZone         string
}

func (r recipientRow) recipient() fleet.Recipient {
	return fleet.Recipient{SiteID: r.SiteID, Role: r.Role, ID: r.RecipientID, Name: r.Name, Addresses: fleet.AddressesOf(r.Email, r.FurtherAddresses),
		Language: r.Language, TimeZone: r.TimeZone}
}

// A party without a zone of its own has that of most of its sites.
const sqlPartiesOf = `-- parties_of
with standing as (
  select p.site_id, p.role, p.party_id from site_party p
  where p.site_id = any (@sites) and p.from_day <= @day and (p.to_day is null or p.to_day >= @day)),
home as materialized ( -- once for a party, at however many sites it stands
  select q.party_id, coalesce(nullif(q.time_zone, ''), (
    select s.time_zone from site_party a join site s on s.site_id = a.site_id
    where a.party_id = q.party_id and a.from_day <= @day and (a.to_day is null or a.to_day >= @day)
    group by s.time_zone order by count(*) desc, s.time_zone limit 1)) as time_zone
  from party q where q.party_id in (select party_id from standing))
select t.site_id, t.role, t.party_id as recipient_id, q.name, q.email, q.further_addresses, coalesce(nullif(q.language, ''), 'en') as language, h.time_zone
from standing t join party q on q.party_id = t.party_id join home h on h.party_id = t.party_id
order by t.site_id, t.role, q.name, t.party_id`

// PartiesOf gives the parties that stand to sites on a day.
func (t *Tx) PartiesOf(ctx context.Context, sites []uuid.UUID, on duedate.Day) ([]fleet.Recipient, error) {
	rows, err := query[recipientRow](ctx, t, "parties_of", sqlPartiesOf, pgx.StrictNamedArgs{"sites": sites, "day": date(on)})
	return each(rows, recipientRow.recipient), err
}

const sqlOfficePeople = `-- office_people
select '00000000-0000-0000-0000-000000000000'::uuid as site_id, role, person_id as recipient_id, name, email, '' as further_addresses, language, '' as time_zone
from person where role in ('dispatcher', 'administrator') and disabled_at is null order by role desc, person_id`

// OfficePeople gives dispatchers and administrators.
func (t *Tx) OfficePeople(ctx context.Context) ([]fleet.Recipient, error) {
	rows, err := query[recipientRow](ctx, t, "office_people", sqlOfficePeople, nil)
	return each(rows, recipientRow.recipient), err
}

const sqlRefusedAmong = `-- refused_among
select address from refused_address where address = any (@addresses) and cleared_at is null`

// RefusedAmong gives those of the addresses that have refused mail for good.
func (t *Tx) RefusedAmong(ctx context.Context, addresses []string) ([]string, error) {
	rows, err := query[struct{ Address string }](ctx, t, "refused_among", sqlRefusedAmong, pgx.StrictNamedArgs{"addresses": addresses})
	return each(rows, func(r struct{ Address string }) string { return r.Address }), err
}

// noticeRow is a notice; what its newest letter says is left out where no letter is asked for.
type noticeRow struct {
	CustomerID      uuid.UUID
	SiteID          uuid.UUID
	NoticeID        uuid.UUID
	DoorID          *uuid.UUID
	WorkOrderID     *uuid.UUID
	CaseID          *uuid.UUID
	HolderID        *uuid.UUID
	QualificationID *uuid.UUID
	Reason          string
	DueOn           *time.Time
	TurnOn          *time.Time
	Rung            string
	Role            string
	RecipientID     uuid.UUID
	RecipientName   string
	RecipientEmail  string
	Language        string
	TimeZone        string
	Urgent          bool
	Why             fleet.Why // jsonb
	State           string
	Because         string
	NextTryAt       time.Time
	MadeAt          time.Time
	SentAt          *time.Time
	LetterID        *uuid.UUID
	Subject         string
	Body            string
	Attempts        int
	Answer          string
}

func (r noticeRow) notice() fleet.Notice {
	return fleet.Notice{CustomerID: r.CustomerID, SiteID: r.SiteID, NoticeID: r.NoticeID, DoorID: r.DoorID, WorkOrderID: r.WorkOrderID, CaseID: r.CaseID,
		HolderID: r.HolderID, QualificationID: r.QualificationID, Reason: r.Reason, DueOn: day(r.DueOn), TurnOn: day(r.TurnOn), Rung: r.Rung, Role: r.Role, RecipientID: r.RecipientID, RecipientName: r.RecipientName,
		RecipientEmail: r.RecipientEmail, Language: r.Language, TimeZone: r.TimeZone, Urgent: r.Urgent, Why: r.Why, State: r.State, Because: r.Because,
		NextTryAt: r.NextTryAt, MadeAt: r.MadeAt, SentAt: r.SentAt, LetterID: r.LetterID, Subject: r.Subject, Body: r.Body, Attempts: r.Attempts, Answer: r.Answer}
}

// toldRow is of a notice what decides whether its recipient is told again: the nightly run reads all of every open order.
type toldRow struct {
	NoticeID       uuid.UUID
	Reason         string
	DueOn          *time.Time
	TurnOn         *time.Time
	Rung           string
	RecipientID    uuid.UUID
	RecipientEmail string
	Urgent         bool
	AsOf           *time.Time
	Hours          int
	State          string
}

func (r toldRow) notice() fleet.Notice {
	return fleet.Notice{NoticeID: r.NoticeID, Reason: r.Reason, DueOn: day(r.DueOn), TurnOn: day(r.TurnOn), Rung: r.Rung, RecipientID: r.RecipientID, RecipientEmail: r.RecipientEmail, Urgent: r.Urgent,
		Why: fleet.Why{AsOf: day(r.AsOf), Hours: r.Hours}, State: r.State}
}

const sqlNoticesOf = `-- notices_of
select notice_id, reason, due_on, turn_on, rung, recipient_id, recipient_email, urgent, (why->>'as_of')::date as as_of, coalesce((why->>'hours')::integer, 0) as hours, state
from notice where reason = any (@reasons) order by made_at, notice_id`

// NoticesOf gives of the notices of reasons, oldest first, when who was told of which rung.
func (t *Tx) NoticesOf(ctx context.Context, reasons []string) ([]fleet.Notice, error) {
	rows, err := query[toldRow](ctx, t, "notices_of", sqlNoticesOf, pgx.StrictNamedArgs{"reasons": reasons})
	return each(rows, toldRow.notice), err
}

const sqlInsertNotices = `-- insert_notices
insert into notice (customer_id, site_id, notice_id, door_id, work_order_id, case_id, holder_id, qualification_id, reason, due_on, turn_on, rung, role, recipient_id, recipient_name, recipient_email,
  language, time_zone, urgent, why, state, because, next_try_at, made_at)
select nullif(n.customer_id, '00000000-0000-0000-0000-000000000000'::uuid), nullif(n.site_id, '00000000-0000-0000-0000-000000000000'::uuid), n.notice_id, n.door_id, n.work_order_id, n.case_id, n.holder_id, n.qualification_id,
  n.reason, n.due_on, n.turn_on, n.rung, n.role, n.recipient_id, n.recipient_name, n.recipient_email, n.language, n.time_zone, n.urgent, n.why, n.state, n.because, n.next_try_at, n.made_at
from jsonb_to_recordset(@notices) as n (customer_id uuid, site_id uuid, notice_id uuid, door_id uuid, work_order_id uuid, case_id uuid, holder_id uuid, qualification_id uuid, reason text, due_on date, turn_on date,
  rung text, role text, recipient_id uuid, recipient_name text, recipient_email text, language text, time_zone text, urgent boolean, why jsonb, state text, because text,
  next_try_at timestamptz, made_at timestamptz)
on conflict (reason, due_on, rung, recipient_id) do nothing`

// InsertNotices adds the notices whose reason, due day, rung and recipient are new together.
func (t *Tx) InsertNotices(ctx context.Context, list []fleet.Notice) (int64, error) {
	if len(list) == 0 {
		return 0, nil
	}
	return exec(ctx, t, "insert_notices", sqlInsertNotices, pgx.StrictNamedArgs{"notices": list})
}

const sqlSettleNotices = `-- settle_notices
update notice set state = @state, because = @because where notice_id = any (@ids)`

// SettleNotices gives notices a state and says why.
func (t *Tx) SettleNotices(ctx context.Context, ids []uuid.UUID, state, because string) error {
	_, err := exec(ctx, t, "settle_notices", sqlSettleNotices, pgx.StrictNamedArgs{"ids": ids, "state": state, "because": because})
	return err
}

const sqlNoticePage = `-- notice_page
select coalesce(n.customer_id, '00000000-0000-0000-0000-000000000000'::uuid) as customer_id, coalesce(n.site_id, '00000000-0000-0000-0000-000000000000'::uuid) as site_id, n.notice_id, n.door_id, n.work_order_id, n.case_id,
  n.holder_id, n.qualification_id, n.reason, n.due_on, n.turn_on, n.rung, n.role, n.recipient_id, n.recipient_name,
  n.recipient_email, n.language, n.time_zone, n.urgent, n.why, n.state, n.because, n.next_try_at, n.made_at, n.sent_at,
  l.letter_id, coalesce(l.subject, '') as subject, coalesce(l.body, '') as body, coalesce(l.attempts, 0) as attempts, coalesce(l.answer, '') as answer
from notice n
left join letter l on l.letter_id = (select c.letter_id from letter_notice c where c.notice_id = n.notice_id order by c.letter_id desc limit 1)
where (n.made_at, n.notice_id) < (@before_at, @before_id) and (@state::text = '' or n.state = @state) and (@rung::text = '' or n.rung = @rung)
  and (@address::text = '' or n.recipient_email = @address) and (@site_id::uuid is null or n.site_id = @site_id) and (@door_id::uuid is null or n.door_id = @door_id)
  and (@work_order_id::uuid is null or n.work_order_id = @work_order_id) and (@case_id::uuid is null or n.case_id = @case_id)
order by n.made_at desc, n.notice_id desc limit @limit`

// NoticePage lists notices, the newest first.
func (t *Tx) NoticePage(ctx context.Context, q fleet.NoticeQuery) ([]fleet.Notice, error) {
	rows, err := query[noticeRow](ctx, t, "notice_page", sqlNoticePage, pgx.StrictNamedArgs{
		"before_at": bound(q.BeforeAt), "before_id": q.BeforeID, "state": q.State, "rung": q.Rung, "address": q.Address, "site_id": optional(q.SiteID),
		"door_id": optional(q.DoorID), "work_order_id": optional(q.OrderID), "case_id": optional(q.CaseID), "limit": q.Limit})
	return each(rows, noticeRow.notice), err
}

const sqlNoticeByID = `-- notice_by_id
select coalesce(n.customer_id, '00000000-0000-0000-0000-000000000000'::uuid) as customer_id, coalesce(n.site_id, '00000000-0000-0000-0000-000000000000'::uuid) as site_id, n.notice_id, n.door_id, n.work_order_id, n.case_id,
  n.holder_id, n.qualification_id, n.reason, n.due_on, n.turn_on, n.rung, n.role, n.recipient_id, n.recipient_name,
  n.recipient_email, n.language, n.time_zone, n.urgent, n.why, n.state, n.because, n.next_try_at, n.made_at, n.sent_at,
  l.letter_id, coalesce(l.subject, '') as subject, coalesce(l.body, '') as body, coalesce(l.attempts, 0) as attempts, coalesce(l.answer, '') as answer
from notice n
left join letter l on l.letter_id = (select c.letter_id from letter_notice c where c.notice_id = n.notice_id order by c.letter_id desc limit 1)
where n.notice_id = @notice_id`

// NoticeByID gives one notice.
func (t *Tx) NoticeByID(ctx context.Context, id uuid.UUID) (fleet.Notice, error) {
	r, err := queryOne[noticeRow](ctx, t, "notice_by_id", sqlNoticeByID, pgx.StrictNamedArgs{"notice_id": id}, "notice_not_found")
	return r.notice(), err
}

type caseToRemindRow struct {
	CustomerID uuid.UUID
	SiteID     uuid.UUID
	DoorID     uuid.UUID
	CaseID     uuid.UUID
	TimeZone   string
	FirstAt    time.Time
	Inspector  string
}

func (r caseToRemindRow) remind() fleet.CaseToRemind { return fleet.CaseToRemind(r) }

const sqlCasesToRemind = `-- cases_to_remind
select c.customer_id, c.site_id, c.door_id, c.case_id, s.time_zone, n.first_at, n.inspector
from out_of_service_case c join site s on s.site_id = c.site_id
cross join lateral (select min(n.made_at) as first_at, coalesce(min(n.why->>'inspector'), '') as inspector from notice n
  where n.reason = 'case:' || c.case_id and n.rung = 'unsafe') n
where c.state = 'unsecured' and n.first_at <= @before
  and not exists (select from case_acknowledgement a where a.case_id = c.case_id)
  and not exists (select from notice b join letter_notice e on e.notice_id = b.notice_id join letter_acknowledgement a on a.letter_id = e.letter_id where b.reason = 'case:' || c.case_id)
order by c.case_id`

// CasesToRemind gives cases of doors that are not secured and that nobody has acknowledged.
func (t *Tx) CasesToRemind(ctx context.Context, before time.Time) ([]fleet.CaseToRemind, error) {
	rows, err := query[caseToRemindRow](ctx, t, "cases_to_remind", sqlCasesToRemind, pgx.StrictNamedArgs{"before": before})
	return each(rows, caseToRemindRow.remind), err
}

const sqlInsertAcknowledgement = `-- insert_acknowledgement
insert into case_acknowledgement (customer_id, site_id, door_id, case_id, person_id, at, note)
values (@customer_id, @site_id, @door_id, @case_id, @person_id, @at, @note) on conflict do nothing`

// InsertAcknowledgement adds a person's word, once.
func (t *Tx) InsertAcknowledgement(ctx context.Context, a fleet.Acknowledgement) (bool, error) {
	n, err := exec(ctx, t, "insert_acknowledgement", sqlInsertAcknowledgement, pgx.StrictNamedArgs{"customer_id": a.CustomerID, "site_id": a.SiteID, "door_id": a.DoorID,
		"case_id": a.CaseID, "person_id": a.PersonID, "at": a.At, "note": a.Note})
	return n == 1, err
}

type acknowledgementRow struct {
	CustomerID uuid.UUID
	SiteID     uuid.UUID
	DoorID     uuid.UUID
	CaseID     uuid.UUID
	PersonID   uuid.UUID
	At         time.Time
	Note       string
}

func (r acknowledgementRow) acknowledgement() fleet.Acknowledgement { return fleet.Acknowledgement(r) }

const sqlAcknowledgements = `-- acknowledgements
select customer_id, site_id, door_id, case_id, person_id, at, note from case_acknowledgement where case_id = @case_id order by at, person_id`

// Acknowledgements gives who has taken note of a case.
func (t *Tx) Acknowledgements(ctx context.Context, caseID uuid.UUID) ([]fleet.Acknowledgement, error) {
	rows, err := query[acknowledgementRow](ctx, t, "acknowledgements", sqlAcknowledgements, pgx.StrictNamedArgs{"case_id": caseID})
	return each(rows, acknowledgementRow.acknowledgement), err
}
