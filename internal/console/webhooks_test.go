package console_test

import (
	"html"
	"net/url"
	"regexp"
	"testing"
	"time"

	"lintel.example/lintel/internal/fleet"
)

func TestAWebhookIsMadeChangedRotatedAndItsMessagesAreSentAgainOnPages(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.admin
	page := a.get(t, "/webhooks")
	page.want(t, 200, "Webhooks", "http://127.0.0.1:1/told", "the accounts", "is told")
	form := url.Values{"webhook_id": {page.hidden(t, "webhook_id")}, "/address": {"ftp://files.example/"}, "/types": {"door.unsafe"}}
	a.post(t, "/webhooks", form).want(t, 422, "Nobody is told at this address")
	form.Set("/address", "http://127.0.0.1:1/alarms")
	secret := regexp.MustCompile(`whsec_[A-Za-z0-9+/=]+`)
	made := a.post(t, "/webhooks", form)
	made.want(t, 200, "This secret is shown once.")
	at := "/webhooks/" + form.Get("webhook_id")
	first := secret.FindString(html.UnescapeString(made.body)) // a + is written &#43; on a page
	if first == "" || secret.MatchString(a.get(t, at).body) {
		t.Error("the secret is shown never, or again")
	}
	change := url.Values{"version": {a.get(t, at).hidden(t, "version")}, "/address": {"http://127.0.0.1:1/alarms"}, "/note": {"the night desk"}, "/types": {"door.unsafe", "door.secured"}}
	a.post(t, at, change).leads(t, at) // without its tick it is switched off
	a.get(t, at).want(t, 200, "switched off").holds(t, "/note", "the night desk")
	change.Set("/enabled", "yes")
	a.post(t, at, change).want(t, 412)
	sure := url.Values{"version": {a.get(t, at+"/rotation").want(t, 200, "For a day messages are signed with the former one, too.").hidden(t, "version")}}
	rotated := a.post(t, at+"/rotation", sure)
	rotated.want(t, 200, "This secret is shown once.", "The former secret signs besides until")
	if again := secret.FindString(html.UnescapeString(rotated.body)); again == "" || again == first {
		t.Errorf("after the rotation %q", again)
	}
	if twice := a.post(t, at+"/rotation", sure).want(t, 412); secret.MatchString(html.UnescapeString(twice.body)) { // a page that is loaded again is sent again
		t.Error("the same page made a second secret")
	}
	a.get(t, "/webhooks/"+w.id().String()+"/rotation").want(t, 404)

	told := "/webhooks/" + w.hook.String()
	must[fleet.WorkOrder](t)(w.PutWorkOrder(t.Context(), w.dispatcher.actor, fleet.WorkOrder{WorkOrderID: w.id(), DoorID: w.door.DoorID, Kind: "service", DueOn: day("2026-03-20")}, 0))
	w.now = time.Now().Add(time.Minute) // events are written by the database's clock
	if n, err := w.SendHooks(t.Context()); err != nil || n == 0 {
		t.Fatal(n, err)
	}
	a = w.settle(t, w.admin.email) // nobody stays signed in for so long
	log := a.get(t, told)
	log.want(t, 200, "An order is opened", "no answer", "next try").lacks(t, "Send again") // it is tried again by itself
	if _, err := w.db.Admin.Exec(t.Context(), `update webhook_delivery set state = 'given_up' where webhook_id = $1`, w.hook); err != nil {
		t.Fatal(err)
	}
	a.post(t, told+"/replay", url.Values{"event_id": {a.get(t, told).want(t, 200, "given up", "Send again").hidden(t, "event_id")}}).leads(t, told)
	a.get(t, told+"?state=waiting").want(t, 200, "An order is opened")
	a.get(t, told+"?state=delivered").want(t, 200, "There are no such messages.")
	w.settle(t, w.dispatcher.email).get(t, "/webhooks").want(t, 403)
}
