package console_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
)

// The owner decides on the telephone, and the office writes it down, by a real browser that runs no script of ours.
func TestADecisionOfTheOwnerInTheBrowser(t *testing.T) {
	w := newWorld(t)
	b := browse(t, w.desk)
	b.size(1280, "light")
	b.signIn(w.dispatcher)
	b.open("/doors/" + w.unsafe.DoorID.String())
	b.press("Decision of the owner")
	b.press("Write out what they mean")
	b.says("There are 1 to 100 of these")
	b.forget() // that the form was refused
	b.look("decision-refused")
	b.do(chromedp.Click(`input[name="/findings"]`))
	b.press("Write out what they mean")
	b.says("What is shown", "Closes on a standing person.", "People can be hurt", "no legal advice")
	b.fill("/decision/decision", "declined")
	b.fill("/decision/outcome", "by_telephone")
	b.fill("/decision/name", "Gil Marsh")
	b.fill("/decision/role", "caretaker")
	b.press("Record the decision")
	b.says("This text is missing")
	b.forget()
	b.look("decision-unwitnessed")
	b.fill("/decision/witness", "Bo Tanager took the call.")
	b.press("Record the decision")
	b.says("Ambulance bay", "declined, by telephone: GIL MARSH", "unsafe, not yet secured")
	b.look("door-declined")
	b.press("Sign out")

	b.signIn(w.support)
	b.open("/doors/" + w.door.DoorID.String())
	b.says("put off until 1 April 2026, by telephone: GIL MARSH", "Safe until 1 May 2026, then a danger")
	b.press("Dismiss: Weather seal torn at the floor.")
	b.fill("/dismissal/reason", "It is the old seal, which hangs beside the new one.")
	b.press("Dismiss it")
	b.open("/findings?state=dismissed")
	b.says("Weather seal torn at the floor.", "Main entrance", "dismissed")
	b.look("findings-dismissed")
}

func TestADecisionAtAVisitIsTheTechniciansAlone(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	unsafe, err := w.Findings(t.Context(), w.dispatcher.actor, fleet.FindingQuery{DoorID: w.unsafe.DoorID, State: "open", Limit: 1})
	if err != nil || len(unsafe) != 1 {
		t.Fatal(unsafe, err)
	}
	shown, err := w.MakeShownText(t.Context(), w.technician.actor, w.unsafe.DoorID, []uuid.UUID{unsafe[0].FindingID})
	if err != nil {
		t.Fatal(err)
	}
	form := url.Values{"visit": {w.open.String()}, "entry_id": {w.id().String()}, "shown": {shown.SHA256.String()}, "/decision/decision": {"declined"}, "/decision/outcome": {"signed"},
		"/decision/name": {"Gil Marsh"}, "/decision/role": {"caretaker"}, "/decision/signature": {"M0 0L9 9"}, "/observed_at": {"2026-03-03T08:00:00"}}
	path := "/doors/" + w.unsafe.DoorID.String() + "/decisions"
	if got := w.dispatcher.send(t, http.MethodPost, path, form); got.status != http.StatusForbidden {
		t.Errorf("a dispatcher: %d", got.status)
	}
	if got := w.technician.send(t, http.MethodPost, path, form); got.status != http.StatusSeeOther || !strings.HasPrefix(got.header.Get("Location"), "/visits/"+w.open.String()) {
		t.Errorf("the technician: %d %s", got.status, got.body)
	}
	w.technician.get(t, "/visits/"+w.open.String()).want(t, 200, "declined, signed: GIL MARSH, caretaker")
}
