package fleet

import (
	"context"
	"encoding/json"
	"fmt"
	"hash/fnv"
	"slices"
	"sync"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
)

// Webhook is another program that is told of events, at least once each and in no promised order. What happens while it is
// disabled it is not told, also later.
type Webhook struct {
	WebhookID    uuid.UUID
	Address      string
	Types        []string // of events
	Note         string
	State        string     // enabled, disabled
	Because      string     // why it is disabled: person, gone (it answered 410), failing; else ""
	FailingSince *time.Time // nil: the last attempt succeeded, or there was none
	FormerUntil  *time.Time // until then messages are signed with the former secret besides
	Version      int
	RecordedAt   time.Time
	RecordedBy   uuid.UUID

	Secret, Former identity.Sealed `json:"-"`
}

// WebhookTypes lists the events that there are; triggers of the database write them.
func WebhookTypes() []string {
	return []string{"work_order.opened", "work_order.closed", "visit.signed", "door.unsafe", "door.secured", "door.reinspected", "report.delivered"}
}

// HookDelivery is that a webhook is told of an event, and how far that is.
type HookDelivery struct {
	WebhookID, EventID uuid.UUID
	Type               string
	SubjectID          uuid.UUID
	Data               json.RawMessage
	HappenedAt         time.Time
	State              string // waiting, delivered, given_up
	Attempts           int    // since it was last asked for
	NextTryAt          *time.Time
	Tried              []HookAttempt // every one, the newest first
}

// HookAttempt is one attempt and what it came to.
type HookAttempt struct {
	AttemptID uuid.UUID `json:"attempt_id"`
	At        time.Time `json:"at"`
	Status    int       `json:"status"` // of HTTP; 0: no answer came
	Answer    string    `json:"answer"`
	TookMs    int       `json:"took_ms"`
}

// HookQuery asks for deliveries of a webhook, the newest first.
type HookQuery struct {
	WebhookID uuid.UUID
	State     string // "" for all
	BeforeAt  time.Time
	BeforeID  uuid.UUID
	Limit     int
}

// HookReplay asks for events to be told again: one, or all from an instant until before another.
type HookReplay struct {
	EventID     uuid.UUID
	From, Until time.Time
}

// Hook is one message as it goes out.
type Hook struct {
	Address, ID string
	At          time.Time
	Body        []byte
	Secrets     []string
}

// HookAnswer is what a message came to.
type HookAnswer struct {
	Status     int
	Text       string
	RetryAfter time.Duration
}

// Hooks is the way to other programs.
type Hooks interface {
	NewSecret() string
	// Check says what is wrong with an address.
	Check(address string) error
	Deliver(ctx context.Context, h Hook) HookAnswer
}

type webhookRows interface {
	Webhooks(ctx context.Context) ([]Webhook, error)
	// WebhookByID gives one webhook and holds it until the end of the transaction.
	WebhookByID(ctx context.Context, id uuid.UUID) (Webhook, error)
	// InsertWebhook answers false when the id is taken.
	InsertWebhook(ctx context.Context, w Webhook) (bool, error)
	UpdateWebhook(ctx context.Context, w Webhook) error
	HookDeliveryPage(ctx context.Context, q HookQuery) ([]HookDelivery, error)
	// ClaimHookDeliveries takes deliveries of enabled webhooks whose time has come, the oldest first and at most so many of each webhook.
	ClaimHookDeliveries(ctx context.Context, now, until time.Time, ofEach int) ([]HookDelivery, error)
	// FinishHookDelivery writes down an attempt and how the delivery stands after it.
	FinishHookDelivery(ctx context.Context, d HookDelivery, a HookAttempt) error
	// ReplayHooks has events told again, or first, and tells how many.
	ReplayHooks(ctx context.Context, w Webhook, r HookReplay, limit int) (int64, error)
	// ForgetHookEvents deletes what happened before an instant, with every attempt to tell it, and tells how much.
	ForgetHookEvents(ctx context.Context, before time.Time) (int64, error)
}

// The patience with a receiver. The waits are those that the scheme's specification gives as an example: the last attempt is about
// three days after the first.
var hookWaits = []time.Duration{5 * time.Second, 5 * time.Minute, 30 * time.Minute, 2 * time.Hour, 5 * time.Hour, 10 * time.Hour, 14 * time.Hour, 20 * time.Hour, 24 * time.Hour}

const (
	hookFailsAtMost = 72 * time.Hour  // without one success between: then it is disabled
	hookFormerHolds = 24 * time.Hour  // the former secret, after a rotation
	hookClaim       = 6 * time.Minute // longer than a webhook's share of a round may take
	hooksOfEach     = 20              // in a round
	hooksAtOnce     = 16              // webhooks: a dead one delays no other
	mostReplayed    = 10000
	hookEventsKept  = 100 // days; the database keeps to 90
)

// hookWait is how long to wait after so many attempts; up to a fifth longer, by the event, so that not all come back at once.
func hookWait(attempts int, event uuid.UUID) time.Duration {
	wait := hookWaits[min(attempts, len(hookWaits))-1]
	h := fnv.New32a()
	_, _ = h.Write(event[:])
	return wait + wait/5*time.Duration(h.Sum32()%1000)/1000
}

func (w Webhook) associated() []byte { return []byte("webhook:" + w.WebhookID.String()) }

func (f *Fleet) checkWebhook(w Webhook) error {
	var faults fault.List
	checkLine(&faults, "/note", w.Note, 0, 200)
	checkLine(&faults, "/address", w.Address, 1, 2000)
	if len(faults) == 0 {
		if err := f.Hooks.Check(w.Address); err != nil {
			faults.Add("/address", "webhook_address", "reason", err.Error())
		}
	}
	if len(w.Types) == 0 {
		faults.Add("/types", "text_missing")
	}
	for i, t := range w.Types {
		checkOneOf(&faults, fmt.Sprintf("/types/%d", i), t, WebhookTypes()...)
	}
	return faults.Err()
}

func (f *Fleet) mayHook() error {
	switch {
	case f.Keys == nil:
		return fault.New(fault.Conflict, "keys_missing")
	case f.Hooks == nil:
		return fault.New(fault.Unavailable, "webhooks_missing")
	}
	return nil
}

// PutWebhook makes a webhook, or changes what it is told; the secret of a new one is given once and never again. enabled turns it on or off.
func (f *Fleet) PutWebhook(ctx context.Context, by identity.Actor, w Webhook, enabled bool, ifMatch int) (saved Webhook, secret string, created bool, err error) {
	if err := f.mayHook(); err != nil {
		return Webhook{}, "", false, err
	}
	tidy(&w.Note)
	slices.Sort(w.Types)
	w.Types = slices.Compact(w.Types)
	if err := f.checkWebhook(w); err != nil {
		return Webhook{}, "", false, err
	}
	w.State, w.Because, w.Version, w.RecordedAt, w.RecordedBy = "enabled", "", 1, f.Now(), by.PersonID
	if !enabled {
		w.State, w.Because = "disabled", "person"
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		secret, created = "", false
		present, err := tx.WebhookByID(ctx, w.WebhookID)
		switch {
		case fault.Is(err, "webhook_not_found"):
			fresh := f.Hooks.NewSecret()
			w.Secret = f.Keys.Seal([]byte(fresh), w.associated())
			if created, err = tx.InsertWebhook(ctx, w); err == nil && !created {
				return fault.New(fault.PreconditionFailed, "version_differs")
			}
			saved, secret = w, fresh
		case err != nil:
			return err
		default:
			saved = present
			saved.Address, saved.Types, saved.Note = w.Address, w.Types, w.Note
			if saved.State != w.State {
				saved.State, saved.Because, saved.FailingSince = w.State, w.Because, nil
			}
			if present.Address == saved.Address && slices.Equal(present.Types, saved.Types) && present.Note == saved.Note && present.State == saved.State {
				return nil
			}
			if err := checkVersion(ifMatch, present.Version); err != nil {
				return err
			}
			saved.Version, saved.RecordedAt, saved.RecordedBy = present.Version+1, w.RecordedAt, w.RecordedBy
			err = tx.UpdateWebhook(ctx, saved)
		}
		if err != nil {
			return err
		}
		return f.record(ctx, tx, by, "webhook", saved.WebhookID, saved)
	})
	return saved, secret, created, err
}

// RotateWebhook gives a webhook a new secret, which is shown once. For a day messages are signed with both. A version says of which webhook it was
// asked; 0: whichever holds.
func (f *Fleet) RotateWebhook(ctx context.Context, by identity.Actor, id uuid.UUID, ifMatch int) (saved Webhook, secret string, err error) {
	if err := f.mayHook(); err != nil {
		return Webhook{}, "", err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if saved, err = tx.WebhookByID(ctx, id); err != nil {
			return err
		}
		if ifMatch != 0 {
			if err := checkVersion(ifMatch, saved.Version); err != nil {
				return err
			}
		}
		until := f.Now().Add(hookFormerHolds)
		secret = f.Hooks.NewSecret()
		saved.Former, saved.FormerUntil, saved.Secret = saved.Secret, &until, f.Keys.Seal([]byte(secret), saved.associated())
		saved.Version, saved.RecordedAt, saved.RecordedBy = saved.Version+1, f.Now(), by.PersonID
		if err := tx.UpdateWebhook(ctx, saved); err != nil {
			return err
		}
		return f.record(ctx, tx, by, "webhook", id, saved)
	})
	return saved, secret, err
}

// Webhooks lists all, the oldest first.
func (f *Fleet) Webhooks(ctx context.Context, by identity.Actor) (list []Webhook, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.Webhooks(ctx)
		return err
	})
	return list, err
}

// HookDeliveries lists what a webhook was or is to be told, with every attempt.
func (f *Fleet) HookDeliveries(ctx context.Context, by identity.Actor, q HookQuery) (list []HookDelivery, err error) {
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if _, err := tx.WebhookByID(ctx, q.WebhookID); err != nil {
			return err
		}
		list, err = tx.HookDeliveryPage(ctx, q)
		return err
	})
	return list, err
}

// ReplayHooks has events that were kept told to a webhook again and gives their number: under the same ids, so that a receiver that has
// them already can tell.
func (f *Fleet) ReplayHooks(ctx context.Context, by identity.Actor, id uuid.UUID, r HookReplay) (n int64, err error) {
	var faults fault.List
	switch {
	case r.EventID == uuid.Nil && r.From.IsZero():
		faults.Add("/from", "text_missing")
	case r.EventID == uuid.Nil && !r.Until.After(r.From):
		faults.Add("/until", "webhook_range")
	}
	if err := faults.Err(); err != nil {
		return 0, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		w, err := tx.WebhookByID(ctx, id)
		if err != nil {
			return err
		}
		if w.State != "enabled" {
			return fault.New(fault.Conflict, "webhook_disabled")
		}
		if n, err = tx.ReplayHooks(ctx, w, r, mostReplayed); err != nil {
			return err
		}
		if n == 0 && r.EventID != uuid.Nil {
			return fault.At("/event_id", "webhook_event_not_found")
		}
		return f.record(ctx, tx, by, "webhook_replay", id, r)
	})
	return n, err
}

// SendHooks tells enabled webhooks what waits for them, and gives the number of attempts. A process that is killed on the way leaves
// what it held to be told again: at least once.
func (f *Fleet) SendHooks(ctx context.Context) (tried int, err error) {
	if f.mayHook() != nil {
		return 0, nil
	}
	for {
		var claimed []HookDelivery
		err := f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
			claimed, err = tx.ClaimHookDeliveries(ctx, f.Now(), f.Now().Add(hookClaim), hooksOfEach)
			return err
		})
		if err != nil || len(claimed) == 0 {
			return tried, err
		}
		byHook := map[uuid.UUID][]HookDelivery{}
		for _, d := range claimed {
			byHook[d.WebhookID] = append(byHook[d.WebhookID], d)
		}
		var all sync.WaitGroup
		var mu sync.Mutex
		place := make(chan struct{}, hooksAtOnce)
		for id, list := range byHook {
			all.Add(1)
			place <- struct{}{}
			go func() {
				defer func() { <-place; all.Done() }()
				n, failed := f.sendHooksOf(ctx, id, list)
				mu.Lock()
				defer mu.Unlock()
				if tried += n; failed != nil {
					err = failed
				}
			}()
		}
		if all.Wait(); err != nil {
			return tried, err
		}
	}
}

// sendHooksOf tells one webhook, until one attempt fails: what was not tried is free again after a while.
func (f *Fleet) sendHooksOf(ctx context.Context, id uuid.UUID, list []HookDelivery) (tried int, err error) {
	for _, d := range list {
		var w Webhook
		err := f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
			w, err = tx.WebhookByID(ctx, id)
			return err
		})
		if err != nil || w.State != "enabled" {
			return tried, err
		}
		began := f.Now()
		answer := f.deliverHook(ctx, w, d)
		if ctx.Err() != nil {
			return tried, ctx.Err()
		}
		tried++
		attempt := HookAttempt{AttemptID: f.NewID(), At: began, Status: answer.Status, Answer: answer.Text, TookMs: int(f.Now().Sub(began).Milliseconds())}
		if err := f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error { return f.settleHook(ctx, tx, d, attempt, answer.RetryAfter) }); err != nil {
			return tried, err
		}
		if !attempt.good() {
			return tried, nil
		}
	}
	return tried, nil
}

func (a HookAttempt) good() bool { return a.Status >= 200 && a.Status < 300 }

func (f *Fleet) deliverHook(ctx context.Context, w Webhook, d HookDelivery) HookAnswer {
	body, err := d.body()
	if err != nil {
		return HookAnswer{Text: err.Error()}
	}
	h := Hook{Address: w.Address, ID: d.EventID.String(), At: f.Now(), Body: body}
	sealed := []identity.Sealed{w.Secret}
	if w.FormerUntil != nil && f.Now().Before(*w.FormerUntil) {
		sealed = append(sealed, w.Former)
	}
	for _, s := range sealed {
		secret, err := f.Keys.Open(s, w.associated())
		if err != nil {
			return HookAnswer{Text: err.Error()}
		}
		h.Secrets = append(h.Secrets, string(secret))
	}
	return f.Hooks.Deliver(ctx, h)
}

// body is the message: the same bytes at each attempt.
func (d HookDelivery) body() ([]byte, error) {
	text, err := json.Marshal(map[string]any{"type": d.Type, "timestamp": d.HappenedAt.UTC().Format(time.RFC3339Nano), "data": d.Data})
	if err != nil {
		return nil, err
	}
	return seal.Canonical(text, len(text)+1)
}

// settleHook writes down what an attempt came to: for the delivery, and for the webhook where that changes by it.
func (f *Fleet) settleHook(ctx context.Context, tx Tx, d HookDelivery, a HookAttempt, retryAfter time.Duration) error {
	w, err := tx.WebhookByID(ctx, d.WebhookID)
	if err != nil {
		return err
	}
	before := w
	d.Attempts, d.NextTryAt, d.State = d.Attempts+1, nil, "delivered"
	switch gone := a.Status == 410; {
	case a.good():
		w.FailingSince = nil
	case gone, d.Attempts > len(hookWaits):
		d.State = "given_up"
		if gone {
			w.State, w.Because = "disabled", "gone"
		}
	default:
		next := a.At.Add(max(hookWait(d.Attempts, d.EventID), retryAfter))
		d.State, d.NextTryAt = "waiting", &next
	}
	if !a.good() {
		if w.FailingSince == nil {
			w.FailingSince = &a.At
		}
		if w.State == "enabled" && a.At.Sub(*w.FailingSince) >= hookFailsAtMost {
			w.State, w.Because = "disabled", "failing"
		}
	}
	if err := tx.FinishHookDelivery(ctx, d, a); err != nil {
		return err
	}
	if w.State == before.State && (w.FailingSince == nil) == (before.FailingSince == nil) {
		return nil
	}
	if w.State != before.State {
		w.Version, w.RecordedAt, w.RecordedBy = w.Version+1, f.Now(), identity.ProgramID
		if err := f.record(ctx, tx, identity.Program(), "webhook", w.WebhookID, w); err != nil {
			return err
		}
		if err := f.tellOfDisabled(ctx, tx, w); err != nil {
			return err
		}
	}
	return tx.UpdateWebhook(ctx, w)
}

// tellOfDisabled tells the administrators that a webhook is not told any more.
func (f *Fleet) tellOfDisabled(ctx context.Context, tx Tx, w Webhook) error {
	r, err := f.newRound(ctx, tx, duedate.DayIn(f.Now(), time.UTC), []uuid.UUID{})
	if err != nil {
		return err
	}
	n := Notice{Reason: "webhook:" + w.WebhookID.String(), DueOn: r.asOf, Rung: "webhook_" + w.Because, Why: Why{AsOf: r.asOf, Address: w.Address}}
	if err := r.read(ctx, nil, []string{n.Reason}); err != nil {
		return err
	}
	for _, to := range r.recipients(uuid.Nil, []string{string(identity.Administrator)}) {
		r.tell(n, to)
	}
	_, err = r.write(ctx)
	return err
}

// ForgetHookEvents forgets what happened more than a hundred days before a day, with every attempt to tell it, and tells how many events that were.
func (f *Fleet) ForgetHookEvents(ctx context.Context, day duedate.Day) (forgotten int64, err error) {
	y, m, d := day.AddDays(-hookEventsKept).Date()
	err = f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		forgotten, err = tx.ForgetHookEvents(ctx, time.Date(y, m, d, 0, 0, 0, 0, time.UTC))
		return err
	})
	return forgotten, err
}
