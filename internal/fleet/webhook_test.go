package fleet_test

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/notify"
)

// hookWay tells other programs for real; those of the tests are on this machine.
type hookWay struct{ *notify.Hooks }

func (h hookWay) Deliver(ctx context.Context, m fleet.Hook) fleet.HookAnswer {
	return fleet.HookAnswer(h.Hooks.Deliver(ctx, notify.HookMessage(m)))
}

// receiver is another program. It keeps what it was told and verifies it with the scheme's own library, but for the
// time: the clock of these tests stands.
type receiver struct {
	*httptest.Server
	mu     sync.Mutex
	answer int
	told   []string // id and body
	wrong  []string
	secret string
}

func newReceiver(t *testing.T) *receiver {
	t.Helper()
	r := &receiver{answer: http.StatusOK}
	r.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) {
		r.mu.Lock()
		defer r.mu.Unlock()
		body, _ := io.ReadAll(q.Body)
		verifier, err := standardwebhooks.NewWebhook(r.secret)
		if err == nil {
			err = verifier.VerifyIgnoringTimestamp(body, q.Header)
		}
		if err != nil {
			r.wrong = append(r.wrong, err.Error())
		}
		r.told = append(r.told, q.Header.Get("webhook-id")+" "+string(body))
		w.WriteHeader(r.answer)
	}))
	t.Cleanup(r.Close)
	return r
}

func (r *receiver) types() (list []string) {
	for _, line := range r.told {
		_, rest, _ := strings.Cut(line, `"type":"`)
		kind, _, _ := strings.Cut(rest, `"`)
		list = append(list, kind)
	}
	slices.Sort(list)
	return list
}

// hooked is a house with one webhook of all events.
func hooked(t *testing.T) (*rig, *receiver, fleet.Webhook) {
	t.Helper()
	r, other := newFleet(t), newReceiver(t)
	r.Hooks = hookWay{notify.NewHooks(true)}
	w, secret, created, err := r.PutWebhook(t.Context(), administrator, fleet.Webhook{WebhookID: r.id(), Address: other.URL, Types: fleet.WebhookTypes(), Note: "the office's own"}, true, 0)
	if err != nil || !created {
		t.Fatal(created, err)
	}
	other.secret = secret
	return r, other, w
}

func (r *rig) tell(t *testing.T) int {
	t.Helper()
	n, err := r.SendHooks(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func TestOrdersAreToldWhenTheyOpenAndCloseOnceAndVerified(t *testing.T) {
	t.Parallel()
	r, other, w := hooked(t)
	site := r.siteIn(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade", "UTC")
	r.dueDoor(t, site.SiteID, "North", "2026-03-10")
	r.generate(t, day("2026-03-03"))
	r.generate(t, day("2026-03-03")) // makes nothing, and tells nothing
	if n := r.tell(t); n != 1 || len(other.wrong) > 0 || !slices.Equal(other.types(), []string{"work_order.opened"}) {
		t.Fatalf("%d attempts, told %v, refused %v", n, other.told, other.wrong)
	}
	if !strings.Contains(other.told[0], `"due_on":"2026-03-10"`) || !strings.Contains(other.told[0], site.SiteID.String()) {
		t.Errorf("told %s", other.told[0])
	}
	if _, err := r.db.Admin.Exec(t.Context(), `update work_order set state = 'cancelled'`); err != nil {
		t.Fatal(err)
	}
	if _, err := r.db.Admin.Exec(t.Context(), `update work_order set note = 'nobody there'`); err != nil { // no event
		t.Fatal(err)
	}
	if n := r.tell(t); n != 1 || !slices.Equal(other.types(), []string{"work_order.closed", "work_order.opened"}) {
		t.Errorf("%d attempts, told %v", n, other.types())
	}
	list, err := r.HookDeliveries(t.Context(), administrator, fleet.HookQuery{WebhookID: w.WebhookID, Limit: 10})
	if err != nil || len(list) != 2 || list[0].State != "delivered" || len(list[0].Tried) != 1 || list[0].Tried[0].Status != 200 {
		t.Errorf("%+v, %v", list, err)
	}
}

func TestAChangeThatIsTakenBackTellsNobody(t *testing.T) {
	t.Parallel()
	r, _, _ := hooked(t)
	r.dueDoor(t, r.siteIn(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade", "UTC").SiteID, "North", "2026-03-10")
	tx, err := r.db.Admin.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := tx.Exec(t.Context(), `insert into work_order (customer_id, site_id, door_id, work_order_id, kind, due_on, state, recorded_at) select customer_id, site_id, door_id, gen_random_uuid(), 'repair', '2026-03-10', 'open', now() from door`); err != nil {
		t.Fatal(err)
	}
	var inside int
	if err := tx.QueryRow(t.Context(), `select count(*) from webhook_event`).Scan(&inside); err != nil || inside != 1 {
		t.Errorf("%d events in the transaction, %v", inside, err)
	}
	if err := tx.Rollback(t.Context()); err != nil {
		t.Fatal(err)
	}
	if n := r.count(t, `select count(*) from webhook_event`); n != 0 {
		t.Errorf("%d events of nothing", n)
	}
}

func TestAReceiverThatFailsIsTriedAgainWithTheSameBytesEverMoreSeldomAndIsDisabledAfterThreeDays(t *testing.T) {
	t.Parallel()
	r, other, w := hooked(t)
	r.dueDoor(t, r.siteIn(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade", "UTC").SiteID, "North", "2026-03-10")
	r.generate(t, day("2026-03-03"))
	other.answer = http.StatusInternalServerError
	if n := r.tell(t); n != 1 {
		t.Fatalf("%d attempts", n)
	}
	if n := r.tell(t); n != 0 {
		t.Errorf("%d attempts at once again", n)
	}
	r.pass(7 * time.Second) // 5 s and a fifth at most
	other.answer = http.StatusOK
	if n := r.tell(t); n != 1 || len(other.told) != 2 || other.told[0] != other.told[1] {
		t.Fatalf("%d attempts, told %v", n, other.told)
	}
	other.answer = http.StatusServiceUnavailable
	r.person(t, identity.Administrator, "")
	if _, err := r.db.Admin.Exec(t.Context(), `update work_order set state = 'cancelled'`); err != nil {
		t.Fatal(err)
	}
	attempts := 0
	for hour := 0; hour < 24*5; hour++ {
		attempts += r.tell(t)
		r.pass(time.Hour)
	}
	if attempts < 8 || attempts > 10 {
		t.Errorf("%d attempts in five days", attempts)
	}
	list, err := r.Webhooks(t.Context(), administrator)
	if err != nil || len(list) != 1 || list[0].State != "disabled" || list[0].Because != "failing" {
		t.Fatalf("%+v, %v", list, err)
	}
	post := r.withPost(t)
	r.send(t)
	if told := post.collect(); len(told) != 1 || !strings.Contains(told[0].Text, w.Address+" has not taken a message for three days") {
		t.Errorf("the administrator was told %v", told)
	}
	if _, err := r.ReplayHooks(t.Context(), administrator, w.WebhookID, fleet.HookReplay{From: time.Unix(0, 0), Until: time.Now().Add(time.Hour)}); !fault.Is(err, "webhook_disabled") {
		t.Errorf("replay while disabled: %v", err)
	}
	other.answer = http.StatusOK
	if _, _, _, err := r.PutWebhook(t.Context(), administrator, w, true, list[0].Version); err != nil {
		t.Fatal(err)
	}
	other.told = nil
	if n, err := r.ReplayHooks(t.Context(), administrator, w.WebhookID, fleet.HookReplay{From: time.Unix(0, 0), Until: time.Now().Add(time.Hour)}); err != nil || n != 2 {
		t.Fatalf("%d replayed, %v", n, err)
	}
	if n := r.tell(t); n != 2 || !slices.Equal(other.types(), []string{"work_order.closed", "work_order.opened"}) || len(other.wrong) > 0 {
		t.Errorf("%d attempts, told %v, refused %v", n, other.types(), other.wrong)
	}
}

func TestAReceiverThatIsGoneIsDisabledAtOnce(t *testing.T) {
	t.Parallel()
	r, other, _ := hooked(t)
	r.dueDoor(t, r.siteIn(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade", "UTC").SiteID, "North", "2026-03-10")
	r.generate(t, day("2026-03-03"))
	other.answer = http.StatusGone
	r.tell(t)
	list, err := r.Webhooks(t.Context(), administrator)
	if err != nil || list[0].State != "disabled" || list[0].Because != "gone" {
		t.Errorf("%+v, %v", list, err)
	}
}

func TestForADayAfterARotationEitherSecretVerifies(t *testing.T) {
	t.Parallel()
	r, other, w := hooked(t)
	former := other.secret
	_, fresh, err := r.RotateWebhook(t.Context(), administrator, w.WebhookID, 0)
	if err != nil || fresh == former {
		t.Fatal(err)
	}
	site := r.siteIn(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade", "UTC")
	for i, c := range []struct {
		secret string
		after  time.Duration
		right  bool
	}{{former, 0, true}, {fresh, 0, true}, {former, 25 * time.Hour, false}, {fresh, 0, true}} {
		r.pass(c.after)
		other.secret, other.wrong = c.secret, nil
		r.dueDoor(t, site.SiteID, fmt.Sprint("Door ", i), "2026-03-10")
		r.generate(t, day("2026-03-03"))
		if n := r.tell(t); n != 1 || (len(other.wrong) == 0) != c.right {
			t.Errorf("%d: %d attempts, refused %v", i, n, other.wrong)
		}
	}
}

func TestADeadReceiverDelaysNoOther(t *testing.T) {
	t.Parallel()
	r, dead, _ := hooked(t)
	dead.Close()
	alive := newReceiver(t)
	var err error
	if _, alive.secret, _, err = r.PutWebhook(t.Context(), administrator, fleet.Webhook{WebhookID: r.id(), Address: alive.URL, Types: []string{"work_order.opened"}}, true, 0); err != nil {
		t.Fatal(err)
	}
	site := r.siteIn(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade", "UTC")
	for i := range 3 {
		r.dueDoor(t, site.SiteID, fmt.Sprint("Door ", i), "2026-03-10")
	}
	r.generate(t, day("2026-03-03"))
	if n := r.tell(t); n != 4 || len(alive.told) != 3 {
		t.Errorf("%d attempts, %d told", n, len(alive.told))
	}
}

func TestAWebhookThatCannotBeIsRefusedByItsMembers(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	if _, _, _, err := r.PutWebhook(t.Context(), administrator, fleet.Webhook{WebhookID: r.id()}, true, 0); !fault.Is(err, "webhooks_missing") {
		t.Errorf("without a way out: %v", err)
	}
	r.Hooks = hookWay{notify.NewHooks(false)}
	_, _, _, err := r.PutWebhook(t.Context(), administrator, fleet.Webhook{WebhookID: r.id(), Address: "https://10.0.0.1/", Types: []string{"door.opened"}}, true, 0)
	var at []string
	for _, f := range fault.Of(err) {
		at = append(at, f.Pointer+" "+f.Code)
	}
	if want := []string{"/address webhook_address", "/types/0 word_unknown"}; !slices.Equal(at, want) {
		t.Errorf("%v, want %v", at, want)
	}
	if n := r.count(t, `select count(*) from webhook`); n != 0 {
		t.Errorf("%d webhooks", n)
	}
}

func TestWhatBecomesOfAnUnsafeDoorIsToldStepByStep(t *testing.T) {
	t.Parallel()
	a, other := reporting(t), newReceiver(t)
	a.Hooks = hookWay{notify.NewHooks(true)}
	_, secret, _, err := a.PutWebhook(t.Context(), administrator, fleet.Webhook{WebhookID: a.id(), Address: other.URL, Types: fleet.WebhookTypes()}, true, 0)
	if err != nil {
		t.Fatal(err)
	}
	other.secret = secret
	visit := a.id()
	if _, _, err := a.PutVisit(t.Context(), technician, visit, a.attendance()); err != nil {
		t.Fatal(err)
	}
	var pieces []piece
	put := func(minutes int, body fleet.EntryBody) uuid.UUID {
		t.Helper()
		one := piece{visit, a.id(), a.at(minutes, body)}
		if _, _, err := a.PutEntry(t.Context(), technician, visit, one.entry, one.body); err != nil {
			t.Fatal(err)
		}
		pieces = append(pieces, one)
		return one.entry
	}
	told := func(want ...string) {
		t.Helper()
		a.tell(t)
		if got := other.types(); !slices.Equal(got, want) || len(other.wrong) > 0 {
			t.Errorf("told %v, want %v; refused %v", got, want, other.wrong)
		}
		other.told = nil
	}
	finding := put(5, found("unsafe", "closes on people"))
	told("door.unsafe", "work_order.opened")
	put(6, secured("locked_open", "acknowledged"))
	told("door.secured")
	put(50, madeSafe())
	put(60, mended(finding))
	put(61, tried("yes"))
	told("work_order.closed") // of the repair
	for _, body := range allRead() {
		put(70, body)
	}
	put(80, concluded("passed"))
	told()
	if _, _, err := a.PutSignOff(t.Context(), technician, visit, a.signOff(t, visit, pieces)); err != nil {
		t.Fatal(err)
	}
	told("door.reinspected", "visit.signed", "work_order.closed")
	r := a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: a.door.DoorID})
	if _, err := a.db.Admin.Exec(t.Context(), `insert into report_delivery (customer_id, site_id, report_id, delivery_id, way, to_name, on_day, by_name, recorded_at, recorded_by)
		values ($1, $2, $3, gen_random_uuid(), 'posted', 'Rosa Imhof', '2026-03-03', 'Ada Lindqvist', now(), $4)`, a.site.CustomerID, a.site.SiteID, r.ReportID, dispatcher.PersonID); err != nil {
		t.Fatal(err)
	}
	told("report.delivered")
}
