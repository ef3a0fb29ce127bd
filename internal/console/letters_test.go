package console_test

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// ownLetters has the company write a text of a letter of risk that is approved, and one of refusal that nobody has approved yet.
func (w *world) ownLetters(t testing.TB) {
	t.Helper()
	w.letter = w.id()
	must[fleet.LetterTemplate](t)(w.PutLetterTemplate(t.Context(), w.admin.actor, fleet.LetterTemplate{TemplateID: w.letter, Kind: "risk", Text: "{company} to {customer}\n\nAt {door} this is open:\n{findings}\n\n{decision}"}))
	must[fleet.LetterTemplate](t)(w.ApproveLetterTemplate(t.Context(), w.admin.actor, w.letter, "Rosa Imhof, lawyer"))
	w.unapproved = w.id()
	must[fleet.LetterTemplate](t)(w.PutLetterTemplate(t.Context(), w.admin.actor, fleet.LetterTemplate{TemplateID: w.unapproved, Kind: "refusal", Text: "We wait.\n{findings}"}))
	w.issued = w.id()
	must[fleet.Report](t)(w.MakeReport(t.Context(), w.dispatcher.actor, w.issued, fleet.ReportAsk{Kind: fleet.KindLetter, DoorID: w.unsafe.DoorID, TemplateID: w.letter, Findings: []uuid.UUID{w.unsafeCase}}))
	w.mailed = w.id()
	if _, err := w.db.Admin.Exec(t.Context(), `insert into letter (letter_id, kind, day, address, recipient_name, language, subject, body, html, state, attempts, next_try_at, made_at, sent_at, report_id)
		values ($1, 'urgent', '2026-03-03', 'estates@harbour.example', 'Harbour Estates', 'en', 'A letter', 'See the PDF.', '', 'sent', 1, $2, $2, $2, $3)`, w.mailed, w.now, w.issued); err != nil {
		t.Fatal(err)
	}
}

// delivered is that the letter was refused at the door, and sent by mail, of which no answer came.
func (w *world) delivered(t testing.TB) {
	t.Helper()
	must[fleet.Delivery](t)(w.PutDelivery(t.Context(), w.dispatcher.actor, fleet.Delivery{ReportID: w.issued, DeliveryID: w.id(), Way: "refused", ToName: "Gil Marsh", On: day("2026-03-03"), ByName: "Cato Wren", Note: "He wants to ask his landlord first."}))
	must[fleet.Delivery](t)(w.PutDelivery(t.Context(), w.dispatcher.actor, fleet.Delivery{ReportID: w.issued, DeliveryID: w.id(), Way: "mail", PartyID: w.party.PartyID}))
	if _, err := w.WriteLetters(t.Context()); err != nil {
		t.Fatal(err)
	}
	for _, statement := range []string{
		`insert into letter_attempt select letter_id, 1, made_at, 'unknown', 'content', 0, 'the line broke' from letter where report_id = $1 and state = 'queued'`,
		`update letter set state = 'perhaps_sent', because = 'no_answer', attempts = 1 where report_id = $1 and state = 'queued'`,
		`update notice n set state = 'perhaps_sent', because = 'no_answer' from report_delivery v where v.report_id = $1 and v.way = 'mail' and n.reason = 'delivery:' || v.delivery_id`,
	} {
		if _, err := w.db.Admin.Exec(t.Context(), statement, w.issued); err != nil {
			t.Fatal(err)
		}
	}
}

func TestATextOfALetterIsWrittenCheckedAndApprovedOnPages(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.admin
	a.get(t, "/letter-templates").want(t, 200, "letter of risk, version 1", "✓ approved", "letter of refusal, version 1 ◆ not approved", "Ada Lindqvist", "Write the next text of: letter of declination")
	a.get(t, "/letter-templates/"+w.letter.String()).want(t, 200, "{findings} the findings that were chosen", "Approved 3 March 2026", "Read before that by Rosa Imhof, lawyer.").lacks(t, "/approval")

	a.get(t, "/letter-templates/new?kind=threat").want(t, 404)
	page := a.get(t, "/letter-templates/new?kind=declination").want(t, 200, "DRAFT: have this checked by your lawyer", "Facts and risk in plain words")
	form := url.Values{"template_id": {page.hidden(t, "template_id")}, "/kind": {"declination"}, "/text": {"We offered it. {price}"}}
	a.post(t, "/letter-templates", form).want(t, 422, "There is no place price", "A letter says what it is about", "We offered it.")
	form.Set("/text", "DRAFT: have this checked by your lawyer\r\n{findings}")
	draft := "/letter-templates/" + form.Get("template_id")
	a.post(t, "/letter-templates", form).leads(t, draft)
	a.post(t, "/letter-templates", form).leads(t, draft) // pressed twice
	a.get(t, draft).want(t, 200, "letter of declination, version 1", "– draft", "This text still says that it is a draft.").lacks(t, "<button>Approve")
	a.post(t, draft+"/approval", url.Values{}).want(t, 409, "This text still says that it is a draft.")

	w.now = w.now.Add(time.Minute)
	page = a.get(t, "/letter-templates/new?kind=declination").want(t, 200)
	form = url.Values{"template_id": {page.hidden(t, "template_id")}, "/kind": {"declination"}, "/text": {"We offered to mend:\n{findings}"}}
	next := "/letter-templates/" + form.Get("template_id")
	a.post(t, "/letter-templates", form).leads(t, next)
	a.get(t, next).want(t, 200, "letter of declination, version 2", "not approved", "Approve this text", "You wrote this text, and no other administrator can sign in.")
	a.post(t, next+"/approval", url.Values{}).want(t, 422, "Name who else has read the text")
	second := w.hire(t, a, identity.Person{Email: "iris@lintel.example", Name: "Iris Wald", Role: identity.Administrator})
	a.get(t, next).want(t, 200, "You wrote this text. Another administrator approves it.").lacks(t, "<button>Approve", "no other administrator")
	a.post(t, next+"/approval", url.Values{"/read_by": {"Rosa Imhof, lawyer"}}).want(t, 409, "You wrote this text. Another administrator approves it.")
	second.get(t, next).want(t, 200, "Approve this text").lacks(t, "You wrote this text")
	second.post(t, next+"/approval", url.Values{}).leads(t, next)
	second.post(t, next+"/approval", url.Values{}).leads(t, next)
	a.get(t, next).want(t, 200, "✓ approved", "by Iris Wald.").lacks(t, "<button>Approve")
	if n := w.count(t, "select count(*) from letter_template_approval"); n != 2 {
		t.Errorf("%d approvals", n)
	}
	w.dispatcher.get(t, next).want(t, 200, "We offered to mend:").lacks(t, "/letter-templates/new")
	w.dispatcher.post(t, next+"/approval", url.Values{}).want(t, 403)
	a.get(t, "/letter-templates/"+uuid.Nil.String()).want(t, 404)
	a.get(t, "/letter-templates/"+w.id().String()).want(t, 404)
}

func TestALetterAboutFindingsIsPreviewedIssuedAndListed(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/doors/" + w.door.DoorID.String() + "/letters"
	if body := w.dispatcher.get(t, "/doors/"+w.door.DoorID.String()).want(t, 200, "Letters about findings").body; !strings.Contains(body, path) {
		t.Error("the door leads not to its letters")
	}
	page := w.dispatcher.get(t, path).want(t, 200, "No letter about this door was issued yet.", "deficient: Weather seal torn at the floor.", "letter of risk, version 1").lacks(t, "letter of refusal", "Preview it")
	form := url.Values{"report_id": {page.hidden(t, "report_id")}}
	w.dispatcher.post(t, path, form).want(t, 422, "Choose")
	form.Set("/template_id", w.letter.String())
	w.dispatcher.post(t, path, form).want(t, 422)
	form.Set("/findings", w.unsafeCase.String())
	w.dispatcher.post(t, path, form).want(t, 422, "No such open finding of this door")
	form.Set("/findings", w.seal.String())

	w.admin.get(t, path).want(t, 200, "letter of refusal, version 1 (not approved: preview only)", "letter of refusal, draft of the program (preview only)", "Preview it as a draft")
	preview := "/doors/" + w.door.DoorID.String() + "/letter-preview"
	for _, text := range []string{w.letter.String(), w.unapproved.String(), "declination"} {
		asked := url.Values{"/template_id": {text}, "/findings": form["/findings"]}
		if got := w.admin.post(t, preview, asked).want(t, 200); got.header.Get("Content-Type") != "application/pdf" || !strings.HasPrefix(got.body, "%PDF") {
			t.Errorf("%s: %s", text, got.header.Get("Content-Type"))
		}
	}
	w.dispatcher.post(t, preview, form).want(t, 403)
	w.admin.post(t, path, url.Values{"report_id": form["report_id"], "/template_id": {"declination"}, "/findings": form["/findings"]}).want(t, 422, "Nobody has approved this text")
	w.dispatcher.post(t, path, url.Values{"report_id": form["report_id"], "/template_id": {w.unapproved.String()}, "/findings": form["/findings"]}).want(t, 422, "Nobody has approved this text")
	before := w.count(t, "select count(*) from report")

	to := "/reports/" + form.Get("report_id")
	w.dispatcher.post(t, path, form).leads(t, to)
	w.dispatcher.post(t, path, form).leads(t, to)
	if n := w.count(t, "select count(*) from report") - before; n != 1 {
		t.Errorf("%d letters were issued", n)
	}
	w.dispatcher.get(t, to).want(t, 200, "Letter", "Bo Tanager")
	w.dispatcher.get(t, to+"/report.html").want(t, 200, "At 1000 0012 Main entrance this is open:", "deficient: Weather seal torn at the floor.", "said by GIL MARSH")
	w.dispatcher.get(t, path).want(t, 200, "Letters that were issued").lacks(t, "No letter about this door")
	w.agent.get(t, path).want(t, 200, "Letters that were issued", "No text is approved").lacks(t, "<button>Issue")
	form.Set("report_id", w.id().String())
	w.agent.post(t, path, form).want(t, 422, "No such text of a letter")
	away := "/doors/" + w.away.DoorID.String() + "/letters"
	w.agent.get(t, away).want(t, 404)
	w.agent.post(t, away, form).want(t, 404)
	w.support.get(t, path).want(t, 403)
}

func TestALetterIsSentByMailOrRecordedAsHandedOverOnItsPage(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	page, path := "/reports/"+w.issued.String(), "/reports/"+w.issued.String()+"/deliveries"
	d := w.dispatcher
	d.get(t, page).want(t, 200, "Nothing is on record: nobody was sent this letter", "Harbour Estates (owner), estates@harbour.example", "Record what was done outside of the program")
	w.technician.get(t, page).want(t, 200, "Nothing is on record").lacks(t, "Send it by mail")
	w.agent.get(t, page).want(t, 200, "letter Ambulance bay").lacks(t, "What was done with it", "Nothing is on record")
	d.get(t, "/reports/"+w.report.String()).want(t, 200).lacks(t, "What was done with it")

	d.post(t, path, url.Values{"delivery_id": {w.id().String()}, "/way": {"mail"}}).want(t, 422, "Choose")
	d.post(t, path, url.Values{"delivery_id": {w.id().String()}, "/way": {"mail"}, "/party_id": {w.partyAway.PartyID.String()}}).want(t, 422, "This is no party of the site")
	mail := url.Values{"delivery_id": {w.id().String()}, "/way": {"mail"}, "/party_id": {w.party.PartyID.String()}}
	d.post(t, path, mail).leads(t, page+"#deliveries")
	d.post(t, path, mail).leads(t, page+"#deliveries") // pressed twice
	d.get(t, page).want(t, 200, "by mail", "Harbour Estates", "waiting").lacks(t, "Nothing is on record")
	d.get(t, "/notices").want(t, 200, "A letter about findings")

	form := url.Values{"delivery_id": {w.id().String()}, "/way": {"refused"}, "/on": {"2026-03-03"}, "/by_name": {"Cato Wren"}}
	d.post(t, path, form).want(t, 422, "This text is missing.").holds(t, "/by_name", "Cato Wren")
	form.Set("/to_name", "Gil Marsh")
	form.Set("/on", "2026-03-01")
	d.post(t, path, form).want(t, 422, "The letter was issued on")
	form.Set("/on", "2026-03-03")
	d.post(t, path, form).leads(t, page+"#deliveries")
	d.get(t, page).want(t, 200, "refused, not taken", "Gil Marsh", "on 3 March 2026, by Cato Wren.")
	d.get(t, "/doors/"+w.unsafe.DoorID.String()+"/letters").want(t, 200, "refused, not taken on 3 March 2026; mail to Harbour Estates: waiting")
	w.agent.get(t, "/doors/"+w.unsafe.DoorID.String()+"/letters").want(t, 200, "Letters that were issued").lacks(t, "Gil Marsh", "mail to")
	d.post(t, "/reports/"+w.report.String()+"/deliveries", form).want(t, 409, "This report is no letter")
	d.post(t, "/reports/"+w.id().String()+"/deliveries", form).want(t, 404)
	if n := w.count(t, "select count(*) from report_delivery"); n != 2 {
		t.Errorf("%d deliveries", n)
	}

	// The mail is written, the mail server does not answer, and a person sends it again.
	w.delivered(t)
	body := d.get(t, page).want(t, 200, "perhaps sent, no answer", "Mail to estates@harbour.example", "Send this mail once more", "with this mail you get a letter of risk").body
	_, again, _ := strings.Cut(body, page+"/letters/")
	again, _, _ = strings.Cut(again, `"`)
	w.technician.get(t, page).want(t, 200, "perhaps sent, no answer").lacks(t, "Send this mail once more")
	w.support.post(t, page+"/letters/"+again, url.Values{}).want(t, 403)
	d.post(t, page+"/letters/"+again, url.Values{}).leads(t, page+"#deliveries")
	if got := d.get(t, page).want(t, 200, "being sent", "Try 1, 3 March 2026").body; strings.Count(got, "Send this mail once more") != strings.Count(body, "Send this mail once more")-1 {
		t.Error("what waits is offered to be sent again")
	}
}
