package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type letterNoteRow struct {
	LetterID uuid.UUID
	At       time.Time
	Name     string
	PersonID *uuid.UUID
}

func (r letterNoteRow) note() fleet.LetterNote { return fleet.LetterNote(r) }

const sqlLetterNote = `-- letter_note
select letter_id, at, name, person_id from letter_acknowledgement where letter_id = @letter_id`

// LetterNote gives who has taken note of a letter.
func (t *Tx) LetterNote(ctx context.Context, letterID uuid.UUID) (fleet.LetterNote, bool, error) {
	rows, err := query[letterNoteRow](ctx, t, "letter_note", sqlLetterNote, pgx.StrictNamedArgs{"letter_id": letterID})
	if err != nil || len(rows) == 0 {
		return fleet.LetterNote{}, false, err
	}
	return rows[0].note(), true, nil
}

const sqlInsertLetterNote = `-- insert_letter_note
insert into letter_acknowledgement (letter_id, at, name, person_id) values (@letter_id, @at, @name, @person_id) on conflict do nothing`

// InsertLetterNote adds that somebody has taken note of a letter, once.
func (t *Tx) InsertLetterNote(ctx context.Context, n fleet.LetterNote) (bool, error) {
	did, err := exec(ctx, t, "insert_letter_note", sqlInsertLetterNote, pgx.StrictNamedArgs{"letter_id": n.LetterID, "at": n.At, "name": n.Name, "person_id": n.PersonID})
	return did == 1, err
}

const sqlDeclineReminders = `-- decline_reminders
insert into declined_address (address, since, letter_id) values (@address, @since, @letter_id)
on conflict (address) do update set since = @since, letter_id = @letter_id, ended_at = null, ended_by = null
where declined_address.ended_at is not null`

// DeclineReminders marks an address that wants no reminders.
func (t *Tx) DeclineReminders(ctx context.Context, d fleet.DeclinedAddress) error {
	_, err := exec(ctx, t, "decline_reminders", sqlDeclineReminders, pgx.StrictNamedArgs{"address": d.Address, "since": d.Since, "letter_id": d.LetterID})
	return err
}

type declinedRow struct {
	Address  string
	Since    time.Time
	LetterID uuid.UUID
}

func (r declinedRow) declined() fleet.DeclinedAddress { return fleet.DeclinedAddress(r) }

const sqlDeclinedAddresses = `-- declined_addresses
select address, since, letter_id from declined_address where ended_at is null and address > @after order by address limit @limit`

// DeclinedAddresses lists addresses that want no reminders.
func (t *Tx) DeclinedAddresses(ctx context.Context, after string, limit int) ([]fleet.DeclinedAddress, error) {
	rows, err := query[declinedRow](ctx, t, "declined_addresses", sqlDeclinedAddresses, pgx.StrictNamedArgs{"after": after, "limit": limit})
	return each(rows, declinedRow.declined), err
}

const sqlEndDecline = `-- end_decline
update declined_address set ended_at = coalesce(ended_at, @at), ended_by = coalesce(ended_by, @by) where address = @address`

// EndDecline takes the mark away.
func (t *Tx) EndDecline(ctx context.Context, address string, by uuid.UUID, at time.Time) (bool, error) {
	n, err := exec(ctx, t, "end_decline", sqlEndDecline, pgx.StrictNamedArgs{"address": address, "by": by, "at": at})
	return n == 1, err
}

// The first condition is that of notice_unanswered_idx, to the letter.
const sqlUnansweredNotices = `-- unanswered_notices
select coalesce(n.customer_id, '00000000-0000-0000-0000-000000000000'::uuid) as customer_id, coalesce(n.site_id, '00000000-0000-0000-0000-000000000000'::uuid) as site_id, n.notice_id, n.door_id, n.work_order_id, n.case_id,
  n.holder_id, n.qualification_id, n.reason, n.due_on, n.turn_on, n.rung, n.role, n.recipient_id, n.recipient_name,
  n.recipient_email, n.language, n.time_zone, n.urgent, n.why, n.state, n.because, n.next_try_at, n.made_at, n.sent_at,
  l.letter_id, coalesce(l.subject, '') as subject, coalesce(l.body, '') as body, coalesce(l.attempts, 0) as attempts, coalesce(l.answer, '') as answer
from notice n
left join letter l on l.letter_id = (select c.letter_id from letter_notice c where c.notice_id = n.notice_id order by c.letter_id desc limit 1)
where (n.state in ('failed', 'bounced', 'perhaps_sent')
  or n.state = 'sent' and n.role not in ('dispatcher', 'administrator', 'holder') and (n.case_id is not null or n.turn_on > n.due_on))
  and (n.made_at, n.notice_id) > (@after_at, @after_id)
  and (@what::text = '' or (n.state = 'sent') = (@what = 'no_word')) and (@site_id::uuid is null or n.site_id = @site_id)
  and (n.state <> 'sent' or n.sent_at < @sent_before
    and not exists (select from letter_notice c join letter_acknowledgement a on a.letter_id = c.letter_id where c.notice_id = n.notice_id))
  and (n.work_order_id is null or exists (select from work_order o where o.work_order_id = n.work_order_id and o.state = 'open' and o.due_on is not distinct from coalesce(n.due_on, o.due_on)))
  and (n.case_id is null or exists (select from out_of_service_case k where k.case_id = n.case_id and k.state <> 'ended')
    and not exists (select from case_acknowledgement a where a.case_id = n.case_id))
  and not exists (select from notice m where m.reason = n.reason and m.recipient_id = n.recipient_id and m.state in ('sent', 'failed', 'bounced', 'perhaps_sent')
    and (m.made_at, m.notice_id) > (n.made_at, n.notice_id))
order by n.made_at, n.notice_id limit @limit`

// UnansweredNotices gives notices about what is still open that did not arrive, or of which nobody has taken note.
func (t *Tx) UnansweredNotices(ctx context.Context, q fleet.UnansweredQuery, sentBefore time.Time) ([]fleet.Notice, error) {
	rows, err := query[noticeRow](ctx, t, "unanswered_notices", sqlUnansweredNotices, pgx.StrictNamedArgs{"what": q.What, "site_id": optional(q.SiteID), "after_at": q.AfterAt, "after_id": q.AfterID,
		"sent_before": sentBefore, "limit": q.Limit})
	return each(rows, noticeRow.notice), err
}
