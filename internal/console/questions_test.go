package console_test

import (
	"net/url"
	"regexp"
	"testing"
	"time"

	"lintel.example/lintel/internal/fleet"
)

// askingPack asks one question of each kind. Invented.
const askingPack = `id: asks@1
title: "Our questions"
caution: "Invented for tests."
standard: "Our questions"
edition: "1"
role: company
jurisdiction: any
applies_to: {kinds: [sliding], energies: [full]}
questions:
  - {id: mat-tight, title: "Mat lies tight", asks: "The mat lies tight.", answer: yes_no, station: doorway, required: true, wanted: ["yes"], severity: deficient, standing: common_practice, source: {note: our custom}}
  - {id: mat-gap, title: "Gap beside the mat", asks: "The gap is 12 mm or less.", answer: number, unit: m, least: 0, most: 1, station: doorway, limit: {at_most: 12, unit: mm}, severity: unsafe, standing: common_practice, source: {note: our custom}}
  - {id: glass, title: "State of the glass", asks: "How the glass is.", answer: choice, choices: [whole, scratched, cracked], station: doorway, wanted: [whole, scratched], severity: advisory, standing: common_practice, source: {note: our custom}}
  - {id: told, title: "What was told", asks: "What people tell of the door.", answer: text, station: doorway, severity: none, standing: common_practice, source: {note: our custom}}
`

func (w *world) asks(t testing.TB) {
	t.Helper()
	w.now = w.now.Add(time.Minute)
	must[fleet.CompanyPack](t)(w.PutCompanyPack(t.Context(), w.admin.actor, fleet.CompanyPack{PackID: "asks@1", Text: askingPack}))
	must[fleet.PackActivation](t)(w.PutPackActivation(t.Context(), w.admin.actor, fleet.PackActivation{ActivationID: w.id(), PackName: "asks", PackID: "asks@1", From: day(w.now.Format("2006-01-02")), Why: "Agreed."}))
}

func TestACompanysQuestionsAreAnsweredOnTheWalkAndCorrected(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.asks(t)
	w.admin.get(t, "/rule-packs/asks@1").want(t, 200, "Mat lies tight yes or no", "Gap beside the mat a number, m", "≤ 12.0 mm", "State of the glass one of these: whole, scratched, cracked", "What was told a text In the doorway no answer is wrong")
	visit := w.attend(t, w.now, w.site, w.door)
	path := "/visits/" + visit.String() + "/doors/" + w.door.DoorID.String() + "/inspect"
	page := w.technician.get(t, path).want(t, 200, "Mat lies tight needed", "Gap beside the mat", "at most", "State of the glass", "What was told", "our custom")
	values := page.walk(t, "doorway")
	values.Set("/reading/own.glass", "broken")
	w.technician.post(t, path, values).want(t, 422, "This cannot have been read")
	values.Set("/reading/own.glass", "cracked")
	values.Set("/reading/own.mat_tight", "yes")
	values.Set("/reading/own.mat_gap_m", "1/2 in")
	values.Set("/left_out/own.told/reason", "refused")
	values.Set("/left_out/own.told/why", "Nobody was there to tell.")
	w.technician.post(t, path, values).leads(t, path+"#s-doorway")
	page = w.technician.get(t, path).want(t, 200, "cracked recorded", "yes recorded", "passes Mat lies tight", "fails: unsafe Gap beside the mat", "Nobody was there to tell.")
	w.technician.get(t, "/visits/"+visit.String()).want(t, 200, "State of the glass: cracked", "Mat lies tight: yes", "What was told: ")

	correct := regexp.MustCompile(`kind=reading&amp;corrects=([0-9a-f-]+)">[^<]*<span class="unseen"> State of the glass`).FindStringSubmatch(page.body)
	if correct == nil {
		t.Fatal("no way to correct an answer")
	}
	w.now = w.now.Add(time.Minute)
	form := w.technician.get(t, "/visits/"+visit.String()+"/entries/new?door="+w.door.DoorID.String()+"&kind=reading&corrects="+correct[1]+"&then=inspect").want(t, 200, "This corrects an entry", "State of the glass").
		holds(t, "/reading/question", "State of the glass")
	w.technician.post(t, "/visits/"+visit.String()+"/entries", url.Values{"entry_id": {form.hidden(t, "entry_id")}, "/door_id": {w.door.DoorID.String()}, "/kind": {"reading"}, "/corrects": {correct[1]}, "/because": {"misread"}, "then": {"inspect"},
		"/observed_at": {form.hidden(t, "/observed_at")}, "/reading/own.glass": {"scratched"}, "/reading/question": {"State of the glass"}, "id/own.glass": {form.hidden(t, "id/own.glass")}}).leads(t, path+"#k-function_test")
	w.technician.get(t, path).want(t, 200, "scratched recorded").lacks(t, "cracked recorded")
	left := regexp.MustCompile(`kind=left_out&amp;corrects=([0-9a-f-]+)`).FindStringSubmatch(page.body)
	w.technician.get(t, "/visits/"+visit.String()+"/entries/new?door="+w.door.DoorID.String()+"&kind=left_out&corrects="+left[1]).want(t, 200, "What was told").holds(t, "/left_out/question", "What was told")
}

func TestAWalkWithACompanysQuestionsCanBeUsedByEverybody(t *testing.T) {
	w := newWorld(t)
	w.asks(t)
	visit := w.attend(t, w.now, w.site, w.door)
	w.enter(t, visit, w.door, w.now, fleet.EntryBody{Kind: "reading", Reading: &fleet.EntryReading{Name: "own.told", Question: "What was told", Text: "It squeaks when it rains."}})
	b := browse(t, w.desk)
	b.signIn(w.technician)
	b.open("/visits/" + visit.String() + "/doors/" + w.door.DoorID.String() + "/inspect")
	b.look("inspection-questions")
	b.open("/visits/" + visit.String())
	b.look("visit-questions")
	b.press("Sign out")
	b.signIn(w.admin)
	b.open("/rule-packs/asks@1")
	b.look("pack-questions")
}
