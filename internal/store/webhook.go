package store

import (
	"context"
	"encoding/json"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type webhookRow struct {
	WebhookID    uuid.UUID
	Address      string
	Types        []string
	Note         string
	State        string
	Because      string
	FailingSince *time.Time
	KeyID        string
	Sealed       []byte
	FormerKeyID  *string
	FormerSealed []byte
	FormerUntil  *time.Time
	Version      int
	RecordedAt   time.Time
	RecordedBy   uuid.UUID
}

func (r webhookRow) webhook() fleet.Webhook {
	w := fleet.Webhook{WebhookID: r.WebhookID, Address: r.Address, Types: r.Types, Note: r.Note, State: r.State, Because: r.Because, FailingSince: r.FailingSince,
		Secret: identity.Sealed{KeyID: r.KeyID, Bytes: r.Sealed}, FormerUntil: r.FormerUntil, Version: r.Version, RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy}
	if r.FormerKeyID != nil {
		w.Former = identity.Sealed{KeyID: *r.FormerKeyID, Bytes: r.FormerSealed}
	}
	return w
}

func webhookArgs(w fleet.Webhook) pgx.StrictNamedArgs {
	var formerKey *string
	var former []byte
	if w.FormerUntil != nil {
		formerKey, former = &w.Former.KeyID, w.Former.Bytes
	}
	return pgx.StrictNamedArgs{"webhook_id": w.WebhookID, "address": w.Address, "types": w.Types, "note": w.Note, "state": w.State, "because": w.Because, "failing_since": w.FailingSince,
		"key_id": w.Secret.KeyID, "sealed": w.Secret.Bytes, "former_key_id": formerKey, "former_sealed": former, "former_until": w.FormerUntil,
		"version": w.Version, "recorded_at": w.RecordedAt, "recorded_by": w.RecordedBy}
}

const sqlWebhooks = `-- webhooks
select webhook_id, address, types, note, state, because, failing_since, key_id, sealed, former_key_id, former_sealed, former_until, version, recorded_at, recorded_by
from webhook order by webhook_id limit 1000`

// Webhooks gives all, the oldest first.
func (t *Tx) Webhooks(ctx context.Context) ([]fleet.Webhook, error) {
	rows, err := query[webhookRow](ctx, t, "webhooks", sqlWebhooks, nil)
	return each(rows, webhookRow.webhook), err
}

const sqlWebhookByID = `-- webhook_by_id
select webhook_id, address, types, note, state, because, failing_since, key_id, sealed, former_key_id, former_sealed, former_until, version, recorded_at, recorded_by
from webhook where webhook_id = @webhook_id for no key update`

// WebhookByID gives one webhook and holds it.
func (t *Tx) WebhookByID(ctx context.Context, id uuid.UUID) (fleet.Webhook, error) {
	r, err := queryOne[webhookRow](ctx, t, "webhook_by_id", sqlWebhookByID, pgx.StrictNamedArgs{"webhook_id": id}, "webhook_not_found")
	return r.webhook(), err
}

const sqlInsertWebhook = `-- insert_webhook
insert into webhook (webhook_id, address, types, note, state, because, failing_since, key_id, sealed, former_key_id, former_sealed, former_until, version, recorded_at, recorded_by)
values (@webhook_id, @address, @types, @note, @state, @because, @failing_since, @key_id, @sealed, @former_key_id, @former_sealed, @former_until, @version, @recorded_at, @recorded_by)
on conflict do nothing`

// InsertWebhook adds a webhook, or answers false when the id is taken.
func (t *Tx) InsertWebhook(ctx context.Context, w fleet.Webhook) (bool, error) {
	n, err := exec(ctx, t, "insert_webhook", sqlInsertWebhook, webhookArgs(w))
	return n == 1, err
}

const sqlUpdateWebhook = `-- update_webhook
update webhook set address = @address, types = @types, note = @note, state = @state, because = @because, failing_since = @failing_since, key_id = @key_id, sealed = @sealed,
  former_key_id = @former_key_id, former_sealed = @former_sealed, former_until = @former_until, version = @version, recorded_at = @recorded_at, recorded_by = @recorded_by
where webhook_id = @webhook_id`

// UpdateWebhook writes a webhook that is held.
func (t *Tx) UpdateWebhook(ctx context.Context, w fleet.Webhook) error {
	return expectOne(exec(ctx, t, "update_webhook", sqlUpdateWebhook, webhookArgs(w)))
}

type hookDeliveryRow struct {
	WebhookID  uuid.UUID
	EventID    uuid.UUID
	Type       string
	SubjectID  uuid.UUID
	Data       json.RawMessage
	HappenedAt time.Time
	State      string
	Attempts   int
	NextTryAt  *time.Time
	Tried      []fleet.HookAttempt // jsonb
}

func (r hookDeliveryRow) delivery() fleet.HookDelivery { return fleet.HookDelivery(r) }

const sqlHookDeliveryPage = `-- hook_delivery_page
select d.webhook_id, d.event_id, e.type, e.subject_id, e.data, d.happened_at, d.state, d.attempts, d.next_try_at,
  coalesce((select jsonb_agg(jsonb_build_object('attempt_id', a.attempt_id, 'at', a.at, 'status', a.status, 'answer', a.answer, 'took_ms', a.took_ms) order by a.at desc, a.attempt_id desc)
    from webhook_attempt a where a.webhook_id = d.webhook_id and a.event_id = d.event_id), '[]') as tried
from webhook_delivery d join webhook_event e using (event_id)
where d.webhook_id = @webhook_id and (d.happened_at, d.event_id) < (@before_at, @before_id) and (@state::text = '' or d.state = @state)
order by d.happened_at desc, d.event_id desc limit @limit`

// HookDeliveryPage lists what a webhook is told, the newest first.
func (t *Tx) HookDeliveryPage(ctx context.Context, q fleet.HookQuery) ([]fleet.HookDelivery, error) {
	rows, err := query[hookDeliveryRow](ctx, t, "hook_delivery_page", sqlHookDeliveryPage, pgx.StrictNamedArgs{"webhook_id": q.WebhookID, "before_at": bound(q.BeforeAt), "before_id": q.BeforeID, "state": q.State, "limit": q.Limit})
	return each(rows, hookDeliveryRow.delivery), err
}

const sqlClaimHookDeliveries = `-- claim_hook_deliveries
with due as (
  select x.webhook_id, x.event_id from webhook w cross join lateral (
    select d.webhook_id, d.event_id from webhook_delivery d where d.webhook_id = w.webhook_id and d.state = 'waiting'
      and (d.next_try_at is null or d.next_try_at <= @now) and (d.claimed_until is null or d.claimed_until <= @now)
    order by d.happened_at, d.event_id limit @of_each for update skip locked) x
  where w.state = 'enabled'), claimed as (
  update webhook_delivery d set claimed_until = @until from due where d.webhook_id = due.webhook_id and d.event_id = due.event_id
  returning d.webhook_id, d.event_id, d.happened_at, d.state, d.attempts, d.next_try_at)
select c.webhook_id, c.event_id, e.type, e.subject_id, e.data, c.happened_at, c.state, c.attempts, c.next_try_at, '[]'::jsonb as tried
from claimed c join webhook_event e using (event_id) order by c.happened_at, c.event_id`

// ClaimHookDeliveries takes what is to be told now.
func (t *Tx) ClaimHookDeliveries(ctx context.Context, now, until time.Time, ofEach int) ([]fleet.HookDelivery, error) {
	rows, err := query[hookDeliveryRow](ctx, t, "claim_hook_deliveries", sqlClaimHookDeliveries, pgx.StrictNamedArgs{"now": now, "until": until, "of_each": ofEach})
	return each(rows, hookDeliveryRow.delivery), err
}

const sqlFinishHookDelivery = `-- finish_hook_delivery
with tried as (
  insert into webhook_attempt (attempt_id, webhook_id, event_id, at, status, answer, took_ms) values (@attempt_id, @webhook_id, @event_id, @at, @status, @answer, @took_ms))
update webhook_delivery set state = @state, attempts = @attempts, next_try_at = @next_try_at, claimed_until = null where webhook_id = @webhook_id and event_id = @event_id`

// FinishHookDelivery writes down an attempt and how the delivery stands after it.
func (t *Tx) FinishHookDelivery(ctx context.Context, d fleet.HookDelivery, a fleet.HookAttempt) error {
	return expectOne(exec(ctx, t, "finish_hook_delivery", sqlFinishHookDelivery, pgx.StrictNamedArgs{"attempt_id": a.AttemptID, "webhook_id": d.WebhookID, "event_id": d.EventID, "at": a.At,
		"status": a.Status, "answer": a.Answer, "took_ms": a.TookMs, "state": d.State, "attempts": d.Attempts, "next_try_at": d.NextTryAt}))
}

const sqlReplayHooks = `-- replay_hooks
insert into webhook_delivery (webhook_id, event_id, happened_at, state)
select @webhook_id, event_id, happened_at, 'waiting' from webhook_event
where type = any (@types::text[]) and (case when @event_id = '00000000-0000-0000-0000-000000000000'::uuid then happened_at >= @from and happened_at < @until else event_id = @event_id end)
order by happened_at, event_id limit @limit
on conflict (webhook_id, event_id) do update set state = 'waiting', attempts = 0, next_try_at = null`

// ReplayHooks has events of a webhook's types told again.
func (t *Tx) ReplayHooks(ctx context.Context, w fleet.Webhook, r fleet.HookReplay, limit int) (int64, error) {
	return exec(ctx, t, "replay_hooks", sqlReplayHooks, pgx.StrictNamedArgs{"webhook_id": w.WebhookID, "types": w.Types, "event_id": r.EventID, "from": r.From, "until": r.Until, "limit": limit})
}

const sqlForgetHookAttempts = `-- forget_hook_attempts
delete from webhook_attempt a using webhook_event e where e.event_id = a.event_id and e.happened_at < @before`

const sqlForgetHookDeliveries = `-- forget_hook_deliveries
delete from webhook_delivery where happened_at < @before`

const sqlForgetHookEvents = `-- forget_hook_events
delete from webhook_event where happened_at < @before`

// ForgetHookEvents deletes what happened before an instant, with every attempt to tell it. The database lets nobody forget what is younger than 90 days.
func (t *Tx) ForgetHookEvents(ctx context.Context, before time.Time) (int64, error) {
	args := pgx.StrictNamedArgs{"before": before}
	if _, err := exec(ctx, t, "forget_hook_attempts", sqlForgetHookAttempts, args); err != nil {
		return 0, err
	}
	if _, err := exec(ctx, t, "forget_hook_deliveries", sqlForgetHookDeliveries, args); err != nil {
		return 0, err
	}
	return exec(ctx, t, "forget_hook_events", sqlForgetHookEvents, args)
}
