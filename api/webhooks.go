package api

import (
	"context"
	"encoding/json"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// WebhookBody is what a client says of a webhook.
type WebhookBody struct {
	Address string   `json:"address" minLength:"1" maxLength:"2000" doc:"https, and public unless the operator allows others."`
	Types   []string `json:"types" minItems:"1" maxItems:"20" doc:"Events: work_order.opened, work_order.closed, visit.signed, door.unsafe, door.secured, door.reinspected, report.delivered."`
	Note    string   `json:"note,omitempty" maxLength:"200" doc:"Whose it is."`
	Enabled bool     `json:"enabled" doc:"What happens while it is not, it is not told, also later."`
}

type webhookItem struct {
	WebhookID uuid.UUID `json:"webhook_id" format:"uuid"`
	WebhookBody
	Because      string     `json:"because,omitempty" enum:"person,gone,failing" doc:"Why it is disabled: by a person, it answered 410, or it failed for three days."`
	FailingSince *time.Time `json:"failing_since,omitempty" doc:"Absent: the last attempt succeeded."`
	FormerUntil  *time.Time `json:"former_until,omitempty" doc:"Until then messages are signed with the former secret besides."`
	Secret       string     `json:"secret,omitempty" doc:"Given once: when it is made or rotated."`
	RecordedAt   time.Time  `json:"recorded_at"`
	RecordedBy   uuid.UUID  `json:"recorded_by" format:"uuid"`
}

func newWebhookItem(w fleet.Webhook) webhookItem {
	return webhookItem{WebhookID: w.WebhookID, WebhookBody: WebhookBody{Address: w.Address, Types: w.Types, Note: w.Note, Enabled: w.State == "enabled"}, Because: w.Because,
		FailingSince: w.FailingSince, FormerUntil: w.FormerUntil, RecordedAt: w.RecordedAt, RecordedBy: w.RecordedBy}
}

type WebhookPath struct {
	WebhookID uuid.UUID `path:"webhook_id" format:"uuid"`
}

type webhookPutIn struct {
	WebhookPath
	IfMatch
	Body WebhookBody
}

type webhookOut struct {
	Status int
	ETag   string `header:"ETag"`
	Body   webhookItem
}

type webhookListOut struct {
	Body struct {
		Webhooks []webhookItem `json:"webhooks"`
	}
}

type hookDeliveryItem struct {
	EventID    uuid.UUID         `json:"event_id" format:"uuid" doc:"The webhook-id of its messages."`
	Type       string            `json:"type"`
	SubjectID  uuid.UUID         `json:"subject_id" format:"uuid"`
	Data       json.RawMessage   `json:"data"`
	HappenedAt time.Time         `json:"happened_at"`
	State      string            `json:"state" enum:"waiting,delivered,given_up"`
	NextTryAt  *time.Time        `json:"next_try_at,omitempty"`
	Attempts   []hookAttemptItem `json:"attempts" doc:"The newest first."`
}

type hookAttemptItem struct {
	At     time.Time `json:"at"`
	Status int       `json:"status" doc:"Of HTTP; 0: no answer came."`
	Answer string    `json:"answer" doc:"Its beginning, or why there is none."`
	TookMs int       `json:"took_ms"`
}

type hookDeliveryListIn struct {
	WebhookPath
	PageIn
	State string `query:"state" enum:"waiting,delivered,given_up"`
}

type hookDeliveryListOut struct {
	Body struct {
		Deliveries []hookDeliveryItem `json:"deliveries"`
		PageOut
	}
}

type hookReplayIn struct {
	WebhookPath
	Body struct {
		EventID *uuid.UUID `json:"event_id,omitempty" format:"uuid" doc:"One event; without it all"`
		From    time.Time  `json:"from,omitempty" doc:"from this instant on"`
		Until   time.Time  `json:"until,omitempty" doc:"until before that one."`
	}
}

type hookReplayOut struct {
	Body struct {
		Events int64 `json:"events" doc:"How many will be told, under their former ids; at most 10000 at a time, the oldest first."`
	}
}

func (a *API) webhooks() {
	add(a, operation("webhook-list", http.MethodGet, "/v1/webhooks", identity.ActSetWebhooks, "Other programs that are told of events"), a.webhookList)
	add(a, operation("webhook-put", http.MethodPut, "/v1/webhooks/{webhook_id}", identity.ActSetWebhooks, "Have another program told of events, signed by the Standard Webhooks scheme, at least once each and in no promised order"), a.webhookPut)
	add(a, operation("webhook-rotate", http.MethodPost, "/v1/webhooks/{webhook_id}/rotation", identity.ActSetWebhooks, "A new secret; the former one signs besides for a day"), a.webhookRotate)
	add(a, operation("webhook-delivery-list", http.MethodGet, "/v1/webhooks/{webhook_id}/deliveries", identity.ActSetWebhooks, "What a webhook was told, with every attempt, the newest first"), a.hookDeliveryList)
	add(a, operation("webhook-replay", http.MethodPost, "/v1/webhooks/{webhook_id}/replay", identity.ActSetWebhooks, "Have one event, or those of a time, told again"), a.hookReplay)
}

func (a *API) webhookList(ctx context.Context, by identity.Actor, _ *struct{}) (*webhookListOut, error) {
	list, err := a.Fleet.Webhooks(ctx, by)
	if err != nil {
		return nil, err
	}
	out := &webhookListOut{}
	out.Body.Webhooks = make([]webhookItem, len(list))
	for i, w := range list {
		out.Body.Webhooks[i] = newWebhookItem(w)
	}
	return out, nil
}

func (a *API) webhookPut(ctx context.Context, by identity.Actor, in *webhookPutIn) (*webhookOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	saved, secret, isNew, err := a.Fleet.PutWebhook(ctx, by, fleet.Webhook{WebhookID: in.WebhookID, Address: in.Body.Address, Types: in.Body.Types, Note: in.Body.Note}, in.Body.Enabled, version)
	if err != nil {
		return nil, err
	}
	out := &webhookOut{Status: created(isNew), ETag: etag(saved.Version), Body: newWebhookItem(saved)}
	out.Body.Secret = secret
	return out, nil
}

func (a *API) webhookRotate(ctx context.Context, by identity.Actor, in *WebhookPath) (*webhookOut, error) {
	saved, secret, err := a.Fleet.RotateWebhook(ctx, by, in.WebhookID, 0)
	if err != nil {
		return nil, err
	}
	out := &webhookOut{Status: http.StatusOK, ETag: etag(saved.Version), Body: newWebhookItem(saved)}
	out.Body.Secret = secret
	return out, nil
}

func (a *API) hookDeliveryList(ctx context.Context, by identity.Actor, in *hookDeliveryListIn) (*hookDeliveryListOut, error) {
	var key instantKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, err := a.Fleet.HookDeliveries(ctx, by, fleet.HookQuery{WebhookID: in.WebhookID, State: in.State, BeforeAt: key.At, BeforeID: key.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &hookDeliveryListOut{}
	out.Body.Deliveries = make([]hookDeliveryItem, len(list))
	for i, d := range list {
		item := hookDeliveryItem{EventID: d.EventID, Type: d.Type, SubjectID: d.SubjectID, Data: d.Data, HappenedAt: d.HappenedAt, State: d.State, NextTryAt: d.NextTryAt, Attempts: []hookAttemptItem{}}
		for _, t := range d.Tried {
			item.Attempts = append(item.Attempts, hookAttemptItem{At: t.At, Status: t.Status, Answer: t.Answer, TookMs: t.TookMs})
		}
		out.Body.Deliveries[i] = item
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.HappenedAt, last.EventID})
	}
	return out, nil
}

func (a *API) hookReplay(ctx context.Context, by identity.Actor, in *hookReplayIn) (*hookReplayOut, error) {
	r := fleet.HookReplay{From: in.Body.From, Until: in.Body.Until}
	if in.Body.EventID != nil {
		r.EventID = *in.Body.EventID
	}
	n, err := a.Fleet.ReplayHooks(ctx, by, in.WebhookID, r)
	if err != nil {
		return nil, err
	}
	out := &hookReplayOut{}
	out.Body.Events = n
	return out, nil
}
