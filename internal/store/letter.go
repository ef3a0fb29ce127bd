package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

type letterRow struct {
	LetterID      uuid.UUID
	Kind          string
	Day           time.Time
	Address       string
	RecipientName string
	Language      string
	Subject       string
	Body          string
	HTML          string `db:"html"`
	State         string
	Because       string
	Attempts      int
	NextTryAt     time.Time
	MadeAt        time.Time
	SentAt        *time.Time
	Answer        string
	ReportID      *uuid.UUID
	Calendar      string
	DeclineLink   string
}

func (r letterRow) letter() fleet.Letter {
	return fleet.Letter{LetterID: r.LetterID, Kind: r.Kind, Day: day(&r.Day), Address: r.Address, Name: r.RecipientName, Language: r.Language, Subject: r.Subject,
		Text: r.Body, HTML: r.HTML, State: r.State, Because: r.Because, Attempts: r.Attempts, NextTryAt: r.NextTryAt, MadeAt: r.MadeAt, SentAt: r.SentAt, Answer: r.Answer, ReportID: orNil(r.ReportID), Calendar: r.Calendar, DeclineLink: r.DeclineLink}
}

// A letter that has perhaps arrived keeps its Message-ID when a person has it sent again, so it is never written anew.
const sqlTakeBackOld = `-- take_back_old
with back as (
  update letter l set state = 'superseded', because = 'said_anew' where l.state = 'queued' and l.made_at < @before and l.next_try_at <= @now
    and not exists (select from letter_attempt a where a.letter_id = l.letter_id and a.outcome = 'unknown')
  returning l.letter_id)
update notice n set state = 'queued', next_try_at = @now from letter_notice c join back b on b.letter_id = c.letter_id
where n.notice_id = c.notice_id and n.state = 'sending'`

// TakeBackOld supersedes letters that have waited for long.
func (t *Tx) TakeBackOld(ctx context.Context, before, now time.Time) error {
	_, err := exec(ctx, t, "take_back_old", sqlTakeBackOld, pgx.StrictNamedArgs{"before": before, "now": now})
	return err
}

const sqlTakeBack = `-- take_back
with back as (
  update letter l set state = 'superseded', because = 'later_letter' where l.address = @address and l.state = 'queued'
    and not exists (select from letter_attempt a where a.letter_id = l.letter_id and a.outcome = 'unknown')
    and (l.kind = 'digest' and l.day < @before or l.kind = 'urgent' and exists (
      select from letter_notice c join notice n on n.notice_id = c.notice_id where c.letter_id = l.letter_id and n.reason = any (@reasons)))
  returning l.letter_id)
update notice n set state = 'queued' from letter_notice c join back b on b.letter_id = c.letter_id
where n.notice_id = c.notice_id and n.state = 'sending'`

// TakeBack supersedes what waits for an address and is said again.
func (t *Tx) TakeBack(ctx context.Context, address string, before duedate.Day, reasons []string) error {
	_, err := exec(ctx, t, "take_back", sqlTakeBack, pgx.StrictNamedArgs{"address": address, "before": date(before), "reasons": reasons})
	return err
}

const sqlAddressesWaiting = `-- addresses_waiting
select recipient_email as address from notice where state = 'queued' and next_try_at <= @now
group by recipient_email order by bool_or(urgent) desc, min(next_try_at), recipient_email limit @limit`

// AddressesWaiting gives addresses that have notices whose time has come.
func (t *Tx) AddressesWaiting(ctx context.Context, now time.Time, limit int) ([]string, error) {
	rows, err := query[struct{ Address string }](ctx, t, "addresses_waiting", sqlAddressesWaiting, pgx.StrictNamedArgs{"now": now, "limit": limit})
	return each(rows, func(r struct{ Address string }) string { return r.Address }), err
}

// noticeDueRow is a notice with what is true now of what it is about.
type noticeDueRow struct {
	noticeRow
	SiteName         string
	SiteZone         string
	Tag              string
	DoorName         string
	Stands           bool
	OrderState       string
	Work             string
	OrderDueOn       *time.Time
	CaseState        *string
	OpenedAt         *time.Time
	SecuredHow       *string
	What             *string
	FindingState     string
	Holder           *string
	HolderGone       *bool
	Scheme           *string
	Number           *string
	ValidUntil       *time.Time
	Renewed          *bool
	Acknowledged     bool
	Declined         bool
	Email            string
	FurtherAddresses string
	Refused          []string
	ReportID         *uuid.UUID
	WatchID          *uuid.UUID
	BackBy           *time.Time
	StartedAt        *time.Time
	EndedAt          *time.Time
	TakenAt          *time.Time
	Place            *string
	WatchNote        *string
	Alone            *string
}

func (r noticeDueRow) due() fleet.NoticeDue {
	known := fleet.AddressesOf(r.Email, r.FurtherAddresses)
	n := fleet.NoticeDue{Notice: r.notice(), SiteName: r.SiteName, SiteZone: r.SiteZone, Tag: r.Tag, DoorName: r.DoorName, Stands: r.Stands, OrderState: r.OrderState, Work: r.Work,
		OrderDueOn: day(r.OrderDueOn), Acknowledged: r.Acknowledged, Declined: r.Declined, FindingState: r.FindingState, ReportID: orNil(r.ReportID), KnownAddresses: known, Addresses: fleet.Usable(known, r.Refused)}
	if r.CaseState != nil {
		n.Case = &fleet.OutOfServiceCase{CaseID: *r.CaseID, State: *r.CaseState, OpenedAt: *r.OpenedAt, SecuredHow: *r.SecuredHow, What: *r.What}
	}
	if r.WatchID != nil {
		n.Watch, n.Alone = &fleet.Watch{WatchID: *r.WatchID, BackBy: *r.BackBy, StartedAt: *r.StartedAt, EndedAt: r.EndedAt, TakenAt: r.TakenAt, Place: *r.Place, Note: *r.WatchNote}, *r.Alone
	}
	if r.Number != nil {
		n.Certificate = &fleet.CertificateDue{HolderID: *r.HolderID, QualificationID: *r.QualificationID, Name: *r.Holder, Scheme: *r.Scheme, Number: *r.Number, ValidUntil: day(r.ValidUntil),
			Renewed: *r.Renewed, HolderGone: *r.HolderGone}
	}
	return n
}

// What a notice is about is held for share: nothing of it is done between this reading and the letter. Certificates are held by the
// lock of their holder that whoever records one takes.
const sqlHoldDue = `-- hold_due
with due as (select notice_id, work_order_id, case_id, holder_id, case when reason like 'watch:%' then substr(reason, 7, 36)::uuid end as watch_id, case when reason like 'finding:%' then substr(reason, 9)::uuid end as finding_id from notice where recipient_email = @address and state = 'queued' and next_try_at <= @now order by notice_id for update),
orders as (select from work_order o where o.work_order_id in (select work_order_id from due) order by o.work_order_id for share),
cases as (select from out_of_service_case c where c.case_id in (select case_id from due) order by c.case_id for share),
findings as (select from finding f where f.finding_id in (select finding_id from due) order by f.finding_id for share),
watches as (select from watch w where w.watch_id in (select watch_id from due) order by w.watch_id for share),
holders as (select pg_advisory_xact_lock_shared(hashtextextended('person ' || h.holder_id, 0)) from (select distinct holder_id from due where holder_id is not null order by holder_id) h)
select (select count(*) from holders) + (select count(*) from due) + (select count(*) from orders) + (select count(*) from cases) + (select count(*) from findings) + (select count(*) from watches) as held`

const sqlNoticesDue = `-- notices_due
select coalesce(n.customer_id, '00000000-0000-0000-0000-000000000000'::uuid) as customer_id, coalesce(n.site_id, '00000000-0000-0000-0000-000000000000'::uuid) as site_id, n.notice_id, n.door_id, n.work_order_id, n.case_id,
  n.holder_id, n.qualification_id, n.reason, n.due_on, n.turn_on, n.rung, n.role, n.recipient_id, n.recipient_name,
  n.recipient_email, n.language, n.time_zone, n.urgent, n.why, n.state, n.because, n.next_try_at, n.made_at, n.sent_at,
  null::uuid as letter_id, '' as subject, '' as body, 0 as attempts, '' as answer,
  coalesce(s.name, '') as site_name, coalesce(s.time_zone, '') as site_zone, coalesce(d.tag, '') as tag, coalesce(d.name, '') as door_name,
  case when n.role in ('dispatcher', 'administrator', 'holder') then h.person_id is not null else exists (select from site_party p where p.site_id = n.site_id
    and p.party_id = n.recipient_id and p.from_day <= (@now at time zone s.time_zone)::date and (p.to_day is null or p.to_day >= (@now at time zone s.time_zone)::date)) end as stands,
  coalesce(o.state, '') as order_state, coalesce((select pl.purpose from inspection_plan pl where pl.plan_id = o.plan_id), 'inspection') as work, o.due_on as order_due_on, c.state as case_state, c.opened_at, c.secured_how, f.what,
  w.name as holder, w.disabled_at is not null as holder_gone, k.scheme, k.number, k.valid_until, k.renewed,
  exists (select from case_acknowledgement a where a.case_id = n.case_id) or exists (select from notice b join letter_notice e on e.notice_id = b.notice_id
    join letter_acknowledgement a on a.letter_id = e.letter_id where n.case_id is not null and b.reason = 'case:' || n.case_id) as acknowledged,
  exists (select from declined_address e where e.address = n.recipient_email and e.ended_at is null) as declined,
  coalesce(case when n.reason like 'finding:%' then (select g.state from finding g where g.finding_id = substr(n.reason, 9)::uuid) end, '') as finding_state,
  coalesce(q.email, h.email, '') as email, coalesce(q.further_addresses, '') as further_addresses,
  array(select r.address from refused_address r where r.cleared_at is null and (r.address = q.email or r.address = h.email or q.further_addresses <> '' and position(r.address in q.further_addresses) > 0)) as refused,
  v.report_id, x.watch_id, x.back_by, x.started_at, x.ended_at, x.taken_at, x.place, x.note as watch_note, y.name as alone
from notice n left join site s on s.site_id = n.site_id
left join door d on d.door_id = n.door_id
left join work_order o on o.work_order_id = n.work_order_id
left join out_of_service_case c on c.case_id = n.case_id
left join finding f on f.finding_id = c.finding_id
left join certificate k on k.person_id = n.holder_id and k.qualification_id = n.qualification_id
left join person w on w.person_id = k.person_id
left join report_delivery v on v.delivery_id = case when n.reason like 'delivery:%' then substr(n.reason, 10)::uuid end
left join watch_now x on x.watch_id = case when n.reason like 'watch:%' then substr(n.reason, 7, 36)::uuid end
left join person y on y.person_id = x.person_id
left join party q on q.party_id = n.recipient_id and n.role not in ('dispatcher', 'administrator', 'holder')
left join person h on h.person_id = n.recipient_id and h.disabled_at is null
  and (n.role = 'holder' or n.role in ('dispatcher', 'administrator') and h.role in ('dispatcher', 'administrator'))
where n.recipient_email = @address and n.state = 'queued' and n.next_try_at <= @now
order by n.made_at, n.notice_id`

// NoticesDue gives the notices of an address whose time has come, and holds them and what they are about.
func (t *Tx) NoticesDue(ctx context.Context, address string, now time.Time) ([]fleet.NoticeDue, error) {
	args := pgx.StrictNamedArgs{"address": address, "now": now}
	if _, err := query[struct{ Held int64 }](ctx, t, "hold_due", sqlHoldDue, args); err != nil {
		return nil, err
	}
	rows, err := query[noticeDueRow](ctx, t, "notices_due", sqlNoticesDue, args)
	return each(rows, noticeDueRow.due), err
}

const sqlNoticesIn = `-- notices_in
select coalesce(n.customer_id, '00000000-0000-0000-0000-000000000000'::uuid) as customer_id, coalesce(n.site_id, '00000000-0000-0000-0000-000000000000'::uuid) as site_id, n.notice_id, n.door_id, n.work_order_id, n.case_id,
  n.holder_id, n.qualification_id, n.reason, n.due_on, n.turn_on, n.rung, n.role, n.recipient_id, n.recipient_name,
  n.recipient_email, n.language, n.time_zone, n.urgent, n.why, n.state, n.because, n.next_try_at, n.made_at, n.sent_at,
  null::uuid as letter_id, '' as subject, '' as body, 0 as attempts, '' as answer,
  '' as site_name, '' as site_zone, '' as tag, '' as door_name, true as stands, '' as order_state, '' as work, null::date as order_due_on,
  null::text as case_state, null::timestamptz as opened_at, null::text as secured_how, null::text as what,
  null::text as holder, null::boolean as holder_gone, null::text as scheme, null::text as number, null::date as valid_until, null::boolean as renewed, false as acknowledged, false as declined, '' as finding_state,
  coalesce(q.email, h.email, '') as email, coalesce(q.further_addresses, '') as further_addresses,
  array(select r.address from refused_address r where r.cleared_at is null and (r.address = q.email or r.address = h.email or q.further_addresses <> '' and position(r.address in q.further_addresses) > 0)) as refused,
  null::uuid as report_id, null::uuid as watch_id, null::timestamptz as back_by, null::timestamptz as started_at, null::timestamptz as ended_at, null::timestamptz as taken_at, null::text as place, null::text as watch_note, null::text as alone
from letter_notice c join notice n on n.notice_id = c.notice_id
left join party q on q.party_id = n.recipient_id and n.role not in ('dispatcher', 'administrator', 'holder')
left join person h on h.person_id = n.recipient_id and n.role in ('dispatcher', 'administrator', 'holder')
where c.letter_id = @letter_id and not exists (select from letter_notice b where b.notice_id = c.notice_id and b.letter_id > c.letter_id)
order by n.made_at, n.notice_id`

// NoticesIn gives the notices for which the letter is the newest.
func (t *Tx) NoticesIn(ctx context.Context, letterID uuid.UUID) ([]fleet.NoticeDue, error) {
	rows, err := query[noticeDueRow](ctx, t, "notices_in", sqlNoticesIn, pgx.StrictNamedArgs{"letter_id": letterID})
	return each(rows, noticeDueRow.due), err
}

const sqlInsertLetter = `-- insert_letter
with l as (
  insert into letter (letter_id, kind, day, address, recipient_name, language, subject, body, html, state, next_try_at, made_at, report_id, calendar, decline_link)
  values (@letter_id, @kind, @day, @address, @recipient_name, @language, @subject, @body, @html, @state, @next_try_at, @made_at, @report_id, @calendar, @decline_link)
  on conflict (address, day) where kind = 'digest' do nothing
  returning letter_id),
carried as (
  insert into letter_notice (letter_id, notice_id) select l.letter_id, n from l cross join unnest(@notices::uuid[]) n returning notice_id)
update notice set state = 'sending', recipient_email = @address where notice_id in (select notice_id from carried)`

// InsertLetter queues a letter with the notices that it carries, or answers false when the address has its digest of the day.
func (t *Tx) InsertLetter(ctx context.Context, l fleet.Letter, notices []uuid.UUID) (bool, error) {
	n, err := exec(ctx, t, "insert_letter", sqlInsertLetter, pgx.StrictNamedArgs{"letter_id": l.LetterID, "kind": l.Kind, "day": date(l.Day), "address": l.Address,
		"recipient_name": l.Name, "language": l.Language, "subject": l.Subject, "body": l.Text, "html": l.HTML, "state": l.State, "next_try_at": l.NextTryAt,
		"made_at": l.MadeAt, "report_id": optional(l.ReportID), "calendar": l.Calendar, "decline_link": l.DeclineLink, "notices": notices})
	return n > 0, err
}

const sqlPostponeNotices = `-- postpone_notices
update notice set recipient_email = @address, next_try_at = @until where notice_id = any (@ids)`

// PostponeNotices moves notices to another time or address.
func (t *Tx) PostponeNotices(ctx context.Context, ids []uuid.UUID, address string, until time.Time) error {
	_, err := exec(ctx, t, "postpone_notices", sqlPostponeNotices, pgx.StrictNamedArgs{"ids": ids, "address": address, "until": until})
	return err
}

const sqlLettersWaiting = `-- letters_waiting
select letter_id from letter where state = 'queued' and next_try_at <= @now order by kind desc, next_try_at, letter_id limit @limit`

// LettersWaiting gives the letters whose next try has come.
func (t *Tx) LettersWaiting(ctx context.Context, now time.Time, limit int) ([]uuid.UUID, error) {
	rows, err := query[struct{ LetterID uuid.UUID }](ctx, t, "letters_waiting", sqlLettersWaiting, pgx.StrictNamedArgs{"now": now, "limit": limit})
	return each(rows, func(r struct{ LetterID uuid.UUID }) uuid.UUID { return r.LetterID }), err
}

const sqlClaimLetter = `-- claim_letter
update letter set state = 'sending', attempts = attempts + 1, next_try_at = @lease_ends
where letter_id = @letter_id and state = 'queued' and next_try_at <= @now
returning letter_id, kind, day, address, recipient_name, language, subject, body, html, state, because, attempts, next_try_at, made_at, sent_at, answer, report_id, calendar, decline_link`

// ClaimLetter marks a letter as being sent until the lease ends.
func (t *Tx) ClaimLetter(ctx context.Context, id uuid.UUID, now, leaseEnds time.Time) (fleet.Letter, bool, error) {
	rows, err := query[letterRow](ctx, t, "claim_letter", sqlClaimLetter, pgx.StrictNamedArgs{"letter_id": id, "now": now, "lease_ends": leaseEnds})
	if err != nil || len(rows) == 0 {
		return fleet.Letter{}, false, err
	}
	return rows[0].letter(), true, nil
}

const sqlAbandonedLetters = `-- abandoned_letters
select letter_id, kind, day, address, recipient_name, language, subject, body, html, state, because, attempts, next_try_at, made_at, sent_at, answer, report_id, calendar, decline_link
from letter where state = 'sending' and next_try_at <= @now order by letter_id limit @limit for update skip locked`

// AbandonedLetters gives letters whose lease has ended without a result.
func (t *Tx) AbandonedLetters(ctx context.Context, now time.Time, limit int) ([]fleet.Letter, error) {
	rows, err := query[letterRow](ctx, t, "abandoned_letters", sqlAbandonedLetters, pgx.StrictNamedArgs{"now": now, "limit": limit})
	return each(rows, letterRow.letter), err
}

const sqlLetterByID = `-- letter_by_id
select letter_id, kind, day, address, recipient_name, language, subject, body, html, state, because, attempts, next_try_at, made_at, sent_at, answer, report_id, calendar, decline_link
from letter where letter_id = @letter_id for update`

// LetterByID gives a letter and holds it.
func (t *Tx) LetterByID(ctx context.Context, id uuid.UUID) (fleet.Letter, error) {
	r, err := queryOne[letterRow](ctx, t, "letter_by_id", sqlLetterByID, pgx.StrictNamedArgs{"letter_id": id}, "letter_not_found")
	return r.letter(), err
}

// A result that comes when somebody else has settled the letter meanwhile changes nothing: attempts are counted.
const sqlSettleLetter = `-- settle_letter
with l as (
  update letter set state = @state, because = @because, next_try_at = @next_try_at, sent_at = @sent_at, answer = @answer
  where letter_id = @letter_id and attempts = @attempts returning letter_id)
update notice n set state = case when @state = 'queued' then 'sending' else @state end, because = @because, sent_at = @sent_at
from letter_notice c join l on l.letter_id = c.letter_id
where n.notice_id = c.notice_id and not exists (select from letter_notice b where b.notice_id = c.notice_id and b.letter_id > c.letter_id)`

// SettleLetter writes a letter's state, and that of the notices for which it is the newest.
func (t *Tx) SettleLetter(ctx context.Context, l fleet.Letter) error {
	_, err := exec(ctx, t, "settle_letter", sqlSettleLetter, pgx.StrictNamedArgs{"letter_id": l.LetterID, "state": l.State, "because": l.Because,
		"next_try_at": l.NextTryAt, "sent_at": l.SentAt, "answer": l.Answer, "attempts": l.Attempts})
	return err
}

type attemptRow struct {
	LetterID uuid.UUID
	Attempt  int
	At       time.Time
	Outcome  string
	Stage    string
	Code     int
	Answer   string
}

func (r attemptRow) attempt() fleet.LetterAttempt { return fleet.LetterAttempt(r) }

const sqlInsertAttempt = `-- insert_attempt
insert into letter_attempt (letter_id, attempt, at, outcome, stage, code, answer)
values (@letter_id, @attempt, @at, @outcome, @stage, @code, @answer) on conflict do nothing`

// InsertAttempt writes an attempt down.
func (t *Tx) InsertAttempt(ctx context.Context, a fleet.LetterAttempt) error {
	_, err := exec(ctx, t, "insert_attempt", sqlInsertAttempt, pgx.StrictNamedArgs{"letter_id": a.LetterID, "attempt": a.Attempt, "at": a.At, "outcome": a.Outcome,
		"stage": a.Stage, "code": a.Code, "answer": a.Answer})
	return err
}

type bounceRow struct {
	LetterID   uuid.UUID
	SHA256     []byte `db:"sha256"`
	Action     string
	Status     string
	Answer     string
	ReceivedAt time.Time
	ReceivedBy uuid.UUID
}

func (r bounceRow) bounce() fleet.Bounce {
	b := fleet.Bounce{LetterID: r.LetterID, Action: r.Action, Status: r.Status, Answer: r.Answer, ReceivedAt: r.ReceivedAt, ReceivedBy: r.ReceivedBy}
	copy(b.SHA256[:], r.SHA256)
	return b
}

const sqlInsertBounce = `-- insert_bounce
insert into letter_bounce (letter_id, sha256, action, status, answer, received_at, received_by)
values (@letter_id, @sha256, @action, @status, @answer, @received_at, @received_by) on conflict do nothing`

// InsertBounce adds a report about a letter, once.
func (t *Tx) InsertBounce(ctx context.Context, b fleet.Bounce) (bool, error) {
	n, err := exec(ctx, t, "insert_bounce", sqlInsertBounce, pgx.StrictNamedArgs{"letter_id": b.LetterID, "sha256": b.SHA256[:], "action": b.Action, "status": b.Status,
		"answer": b.Answer, "received_at": b.ReceivedAt, "received_by": b.ReceivedBy})
	return n == 1, err
}

const sqlLettersOf = `-- letters_of
select l.letter_id, l.kind, l.day, l.address, l.recipient_name, l.language, l.subject, l.body, l.html, l.state, l.because, l.attempts, l.next_try_at, l.made_at, l.sent_at, l.answer, l.report_id, l.calendar, l.decline_link
from letter_notice c join letter l on l.letter_id = c.letter_id where c.notice_id = @notice_id order by l.letter_id desc`

const sqlAttemptsOf = `-- attempts_of
select a.letter_id, a.attempt, a.at, a.outcome, a.stage, a.code, a.answer
from letter_notice c join letter_attempt a on a.letter_id = c.letter_id where c.notice_id = @notice_id order by a.letter_id, a.attempt`

const sqlLetterNotesOf = `-- letter_notes_of
select a.letter_id, a.at, a.name, a.person_id
from letter_notice c join letter_acknowledgement a on a.letter_id = c.letter_id where c.notice_id = @notice_id order by a.letter_id`

const sqlBouncesOf = `-- bounces_of
select b.letter_id, b.sha256, b.action, b.status, b.answer, b.received_at, b.received_by
from letter_notice c join letter_bounce b on b.letter_id = c.letter_id where c.notice_id = @notice_id order by b.received_at, b.sha256`

// LettersOf gives the letters that carried a notice, the newest first, with what became of each.
func (t *Tx) LettersOf(ctx context.Context, noticeID uuid.UUID) ([]fleet.LetterTold, error) {
	args := pgx.StrictNamedArgs{"notice_id": noticeID}
	rows, err := query[letterRow](ctx, t, "letters_of", sqlLettersOf, args)
	if err != nil {
		return nil, err
	}
	tries, err := query[attemptRow](ctx, t, "attempts_of", sqlAttemptsOf, args)
	if err != nil {
		return nil, err
	}
	notes, err := query[letterNoteRow](ctx, t, "letter_notes_of", sqlLetterNotesOf, args)
	if err != nil {
		return nil, err
	}
	bounces, err := query[bounceRow](ctx, t, "bounces_of", sqlBouncesOf, args)
	list := each(rows, func(r letterRow) fleet.LetterTold { return fleet.LetterTold{Letter: r.letter()} })
	for i := range list {
		for _, a := range tries {
			if a.LetterID == list[i].LetterID {
				list[i].Tries = append(list[i].Tries, a.attempt())
			}
		}
		for _, n := range notes {
			if n.LetterID == list[i].LetterID {
				note := n.note()
				list[i].Note = &note
			}
		}
		for _, b := range bounces {
			if b.LetterID == list[i].LetterID {
				list[i].Bounces = append(list[i].Bounces, b.bounce())
			}
		}
	}
	return list, err
}

const sqlRefuseAddress = `-- refuse_address
insert into refused_address (address, since, letter_id, answer) values (@address, @since, @letter_id, @answer)
on conflict (address) do update set since = @since, letter_id = @letter_id, answer = @answer, cleared_at = null, cleared_by = null
where refused_address.cleared_at is not null`

// RefuseAddress marks an address.
func (t *Tx) RefuseAddress(ctx context.Context, r fleet.RefusedAddress) error {
	_, err := exec(ctx, t, "refuse_address", sqlRefuseAddress, pgx.StrictNamedArgs{"address": r.Address, "since": r.Since, "letter_id": r.LetterID, "answer": r.Answer})
	return err
}

type refusedRow struct {
	Address  string
	Since    time.Time
	LetterID uuid.UUID
	Answer   string
}

func (r refusedRow) refused() fleet.RefusedAddress { return fleet.RefusedAddress(r) }

const sqlRefusedAddresses = `-- refused_addresses
select address, since, letter_id, answer from refused_address where cleared_at is null and address > @after order by address limit @limit`

// RefusedAddresses lists marked addresses.
func (t *Tx) RefusedAddresses(ctx context.Context, after string, limit int) ([]fleet.RefusedAddress, error) {
	rows, err := query[refusedRow](ctx, t, "refused_addresses", sqlRefusedAddresses, pgx.StrictNamedArgs{"after": after, "limit": limit})
	return each(rows, refusedRow.refused), err
}

const sqlClearAddress = `-- clear_address
update refused_address set cleared_at = coalesce(cleared_at, @at), cleared_by = coalesce(cleared_by, @by) where address = @address`

// ClearAddress takes a mark away.
func (t *Tx) ClearAddress(ctx context.Context, address string, by uuid.UUID, at time.Time) (bool, error) {
	n, err := exec(ctx, t, "clear_address", sqlClearAddress, pgx.StrictNamedArgs{"address": address, "by": by, "at": at})
	return n == 1, err
}
