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
	CustomerID  uuid.UUID
	SiteID      uuid.UUID
	DoorID      uuid.UUID
	WorkOrderID uuid.UUID
	DueOn       time.Time
	Tag         string
	DoorName    string
	SiteName    string
	TimeZone    string
}

func (r orderDueRow) order() fleet.OrderDue {
	return fleet.OrderDue{CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, WorkOrderID: r.WorkOrderID, DueOn: day(&r.DueOn),
		Tag: fleet.Tag(r.Tag), DoorName: r.DoorName, SiteName: r.SiteName, TimeZone: r.TimeZone}
}

const sqlOrdersDue = `-- orders_due
select o.customer_id, o.site_id, o.door_id, o.work_order_id, o.due_on, d.tag, d.name as door_name, s.name as site_name, s.time_zone
from work_order o join door d on d.door_id = o.door_id join site s on s.site_id = o.site_id
where o.state = 'open' and o.kind = 'inspection' and o.due_on <= @until and (o.due_on, o.work_order_id) > (@after_day, @after_id)
order by o.due_on, o.work_order_id limit @limit
for share of o`

// OrdersDue gives open inspection orders due until a day. They are held, so that none is closed between this
// reading and the notices that it leads to.
func (t *Tx) OrdersDue(ctx context.Context, until, afterDay duedate.Day, afterID uuid.UUID, limit int) ([]fleet.OrderDue, error) {
	after := date(afterDay)
	if after == nil {
		after = &time.Time{}
	}
	rows, err := query[orderDueRow](ctx, t, "orders_due", sqlOrdersDue,
		pgx.StrictNamedArgs{"until": date(until), "after_day": after, "after_id": afterID, "limit": limit})
	return each(rows, orderDueRow.order), err
}

type recipientRow struct {
	Role  string
	Name  string
	Email string
}

func (r recipientRow) recipient() fleet.Recipient { return fleet.Recipient(r) }

const sqlRecipientsOf = `-- recipients_of
select p.role, q.name, q.email from site_party p join party q on q.party_id = p.party_id
where p.site_id = @site_id and p.from_day <= @day and (p.to_day is null or p.to_day >= @day) and q.email <> ''
union
select 'dispatcher', name, email from person where role = 'dispatcher' and disabled_at is null
order by 1, 3`

// RecipientsOf gives the parties that stand to a site on a day and have an address, and the dispatchers.
func (t *Tx) RecipientsOf(ctx context.Context, siteID uuid.UUID, day duedate.Day) ([]fleet.Recipient, error) {
	rows, err := query[recipientRow](ctx, t, "recipients_of", sqlRecipientsOf, pgx.StrictNamedArgs{"site_id": siteID, "day": date(day)})
	return each(rows, recipientRow.recipient), err
}

const sqlInsertNotices = `-- insert_notices
insert into notice (customer_id, site_id, notice_id, door_id, work_order_id, case_id, rung, reason, recipient_name, recipient_email, language, subject, body, state, next_try_at, made_at)
select n.customer_id, n.site_id, n.notice_id, n.door_id, n.work_order_id, n.case_id, n.rung, n.reason, n.recipient_name, n.recipient_email, n.language, n.subject, n.body, n.state, n.next_try_at, n.made_at
from jsonb_to_recordset(@notices) as n (customer_id uuid, site_id uuid, notice_id uuid, door_id uuid, work_order_id uuid, case_id uuid, rung text, reason text,
  recipient_name text, recipient_email text, language text, subject text, body text, state text, next_try_at timestamptz, made_at timestamptz)
on conflict (reason, rung, recipient_email) do nothing`

// InsertNotices adds the notices whose reason, rung and recipient are new together.
func (t *Tx) InsertNotices(ctx context.Context, list []fleet.Notice) (int64, error) {
	if len(list) == 0 {
		return 0, nil
	}
	return exec(ctx, t, "insert_notices", sqlInsertNotices, pgx.StrictNamedArgs{"notices": list})
}

type noticeRow struct {
	CustomerID     uuid.UUID
	SiteID         uuid.UUID
	NoticeID       uuid.UUID
	DoorID         *uuid.UUID
	WorkOrderID    *uuid.UUID
	CaseID         *uuid.UUID
	Rung           string
	Reason         string
	RecipientName  string
	RecipientEmail string
	Language       string
	Subject        string
	Body           string
	State          string
	Attempts       int
	NextTryAt      time.Time
	MadeAt         time.Time
	SentAt         *time.Time
	Answer         string
}

func (r noticeRow) notice() fleet.Notice { return fleet.Notice(r) }

const sqlNoticePage = `-- notice_page
select customer_id, site_id, notice_id, door_id, work_order_id, case_id, rung, reason, recipient_name, recipient_email, language, subject, body, state, attempts, next_try_at, made_at, sent_at, answer
from notice
where (made_at, notice_id) < (@before_at, @before_id) and (@state::text = '' or state = @state) and (@site_id::uuid is null or site_id = @site_id)
order by made_at desc, notice_id desc limit @limit`

// NoticePage lists notices, the newest first.
func (t *Tx) NoticePage(ctx context.Context, q fleet.NoticeQuery) ([]fleet.Notice, error) {
	rows, err := query[noticeRow](ctx, t, "notice_page", sqlNoticePage, pgx.StrictNamedArgs{
		"before_at": bound(q.BeforeAt), "before_id": q.BeforeID, "state": q.State, "site_id": optional(q.SiteID), "limit": q.Limit})
	return each(rows, noticeRow.notice), err
}

const sqlNoticesWaiting = `-- notices_waiting
select notice_id from notice where state in ('queued', 'sending') and next_try_at <= @now order by next_try_at, notice_id limit @limit`

// NoticesWaiting gives the notices whose next try has come.
func (t *Tx) NoticesWaiting(ctx context.Context, now time.Time, limit int) ([]uuid.UUID, error) {
	rows, err := query[struct{ NoticeID uuid.UUID }](ctx, t, "notices_waiting", sqlNoticesWaiting, pgx.StrictNamedArgs{"now": now, "limit": limit})
	return each(rows, func(r struct{ NoticeID uuid.UUID }) uuid.UUID { return r.NoticeID }), err
}

const sqlClaimNotice = `-- claim_notice
update notice set state = 'sending', attempts = attempts + 1, next_try_at = @lease_ends
where notice_id = @notice_id and state in ('queued', 'sending') and next_try_at <= @now
returning customer_id, site_id, notice_id, door_id, work_order_id, case_id, rung, reason, recipient_name, recipient_email, language, subject, body, state, attempts, next_try_at, made_at, sent_at, answer`

// ClaimNotice marks a notice as being sent until the lease ends.
func (t *Tx) ClaimNotice(ctx context.Context, id uuid.UUID, now, leaseEnds time.Time) (fleet.Notice, bool, error) {
	rows, err := query[noticeRow](ctx, t, "claim_notice", sqlClaimNotice, pgx.StrictNamedArgs{"notice_id": id, "now": now, "lease_ends": leaseEnds})
	if err != nil || len(rows) == 0 {
		return fleet.Notice{}, false, err
	}
	return rows[0].notice(), true, nil
}

const sqlSettleNotice = `-- settle_notice
with settled as (
  update notice set state = @state, next_try_at = @next_try_at, sent_at = @sent_at, answer = @answer
  where notice_id = @notice_id and state = 'sending' and attempts = @attempts
  returning customer_id, site_id, notice_id, attempts)
insert into delivery (customer_id, site_id, notice_id, attempt, at, outcome, answer)
select customer_id, site_id, notice_id, attempts, @at, @outcome, @answer from settled`

// SettleNotice writes down what became of an attempt, unless a later attempt has taken over.
func (t *Tx) SettleNotice(ctx context.Context, n fleet.Notice, outcome string, at time.Time) error {
	_, err := exec(ctx, t, "settle_notice", sqlSettleNotice, pgx.StrictNamedArgs{"notice_id": n.NoticeID, "state": n.State, "next_try_at": n.NextTryAt,
		"sent_at": n.SentAt, "answer": n.Answer, "attempts": n.Attempts, "at": at, "outcome": outcome})
	return err
}
