package console

import (
	"context"
	"net/http"
	"slices"
	"strconv"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
)

type webhooksData struct {
	Lines []fleet.Webhook
	Types []string // of events
	Form  form
}

// webhooks lists the programs that are told of events, with the form that adds one.
func (c *Console) webhooks(ctx context.Context, q *request) (answer, error) {
	f := newForm(map[string]string{"webhook_id": c.NewID().String()})
	f.values["/types"] = fleet.WebhookTypes()
	return c.webhooksPage(ctx, q, f, http.StatusOK)
}

func (c *Console) webhooksPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	list, err := c.Fleet.Webhooks(ctx, q.by)
	if err != nil {
		return nil, err
	}
	return page{name: "webhooks", status: status, data: webhooksData{Lines: list, Types: fleet.WebhookTypes(), Form: f}}, nil
}

// webhookOf reads what a form says of a webhook.
func (r *reader) webhookOf(id uuid.UUID) fleet.Webhook {
	return fleet.Webhook{WebhookID: id, Address: r.form.Value("/address"), Types: r.form.Values("/types"), Note: r.form.Value("/note")}
}

func (c *Console) webhookMake(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	w, secret := r.webhookOf(r.id("webhook_id")), ""
	if err = r.faults.Err(); err == nil {
		w, secret, _, err = c.Fleet.PutWebhook(ctx, q.by, w, true, 0)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.webhooksPage(ctx, q, f, status) })
	}
	return c.webhookPage(ctx, q, w.WebhookID, nil, secret, http.StatusOK)
}

type webhookData struct {
	Webhook    fleet.Webhook
	Types      []string
	Form       form
	Secret     string // that was just made: shown this once
	Filter     filter
	Deliveries []fleet.HookDelivery
	More       More
}

// webhook shows what one program is told and how that went.
func (c *Console) webhook(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("webhook_id")
	if err != nil {
		return nil, err
	}
	return c.webhookPage(ctx, q, id, nil, "", http.StatusOK)
}

func (c *Console) webhookByID(ctx context.Context, q *request, id uuid.UUID) (fleet.Webhook, error) {
	list, err := c.Fleet.Webhooks(ctx, q.by)
	if i := slices.IndexFunc(list, func(w fleet.Webhook) bool { return w.WebhookID == id }); i >= 0 {
		return list[i], nil
	}
	if err == nil {
		err = fault.New(fault.NotFound, "webhook_not_found")
	}
	return fleet.Webhook{}, err
}

func (c *Console) webhookPage(ctx context.Context, q *request, id uuid.UUID, sent *form, secret string, status int) (answer, error) {
	w, err := c.webhookByID(ctx, q, id)
	if err != nil {
		return nil, err
	}
	data := webhookData{Webhook: w, Types: fleet.WebhookTypes(), Secret: secret, Filter: q.filter()}
	if sent == nil {
		f := newForm(map[string]string{"/address": w.Address, "/note": w.Note, "version": strconv.Itoa(w.Version)})
		f.values["/types"] = w.Types
		if w.State == "enabled" {
			f.values.Set("/enabled", "yes")
		}
		sent = &f
	}
	data.Form = *sent
	var key instantKey
	data.Filter.key(&key)
	state := data.Filter.Value("state")
	if state != "" && !slices.Contains([]string{"waiting", "delivered", "given_up"}, state) {
		state = ""
	}
	if err := data.Filter.faults.Err(); err != nil {
		return nil, err
	}
	if data.Deliveries, err = c.Fleet.HookDeliveries(ctx, q.by, fleet.HookQuery{WebhookID: id, State: state, BeforeAt: key.At, BeforeID: key.ID, Limit: perPage + 1}); err != nil {
		return nil, err
	}
	var last any
	if len(data.Deliveries) > perPage {
		data.Deliveries = data.Deliveries[:perPage]
		last = instantKey{data.Deliveries[perPage-1].HappenedAt, data.Deliveries[perPage-1].EventID}
	}
	data.More = q.more(last)
	return page{name: "webhook", status: status, data: data}, nil
}

func (c *Console) webhookChange(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("webhook_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	w, version := r.webhookOf(id), r.seenVersion()
	if version == 0 { // a form without a version is none of ours: it would make another webhook
		r.faults.Add("/version", "number_unreadable")
	}
	if err = r.faults.Err(); err == nil {
		_, _, _, err = c.Fleet.PutWebhook(ctx, q.by, w, f.Value("/enabled") != "", version)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.webhookPage(ctx, q, id, &f, "", status) })
	}
	return seeOther("/webhooks/" + id.String()), nil
}

func (c *Console) webhookRotateAsk(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("webhook_id")
	if err != nil {
		return nil, err
	}
	w, err := c.webhookByID(ctx, q, id)
	if err != nil {
		return nil, err
	}
	at := "/webhooks/" + id.String()
	return page{name: "sure", data: sureData{Question: q.texts.T("console.hook.rotate.sure"), Do: q.texts.T("console.hook.rotate"), Action: at + "/rotation", Back: at, Version: w.Version}}, nil
}

// webhookRotate makes a new secret, once for each time that it was asked: sent again, as by reading the page with the secret anew, it would
// make another, and the one that the receiver knows would hold no more.
func (c *Console) webhookRotate(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("webhook_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	version, secret := r.number("version"), ""
	if err = r.faults.Err(); err == nil {
		_, secret, err = c.Fleet.RotateWebhook(ctx, q.by, id, version)
	}
	if err != nil {
		return nil, err
	}
	return c.webhookPage(ctx, q, id, nil, secret, http.StatusOK)
}

// webhookReplay has one event told again.
func (c *Console) webhookReplay(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("webhook_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	event := r.id("event_id")
	if err = r.faults.Err(); err == nil {
		_, err = c.Fleet.ReplayHooks(ctx, q.by, id, fleet.HookReplay{EventID: event})
	}
	if err != nil {
		return nil, err
	}
	return seeOther("/webhooks/" + id.String()), nil
}
