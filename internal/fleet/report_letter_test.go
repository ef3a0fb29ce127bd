package fleet_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
)

// author writes texts of letters; another administrator approves them.
var author = identity.Actor{PersonID: uuid.MustParse("01950000-0000-7000-8000-0000000000a7"), Name: "Ines Falk", Role: identity.Administrator, ScopeKind: identity.ScopeAll, Units: "metric", Language: "en"}

func (a attended) text(t testing.TB, text string) fleet.LetterTemplate {
	t.Helper()
	l, created, err := a.PutLetterTemplate(t.Context(), author, fleet.LetterTemplate{TemplateID: a.id(), Kind: "risk", Text: text})
	if err != nil || !created {
		t.Fatal(created, err)
	}
	return l
}

func TestALetterIsIssuedInTheWordsThatSomebodyApprovedAndLaterVersionsDoNotTouchIt(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	visit := a.open(t)
	unsafe := a.append(t, visit, a.at(1, found("unsafe", "closes on people"))).entry
	label := a.append(t, visit, a.at(2, found("deficient", "label gone"))).entry
	a.hired(t, administrator)

	first := a.text(t, "To {customer} about {door}, {site}, {date}:\n{findings}\n{decision}\nYours, {company}")
	ask := fleet.ReportAsk{Kind: fleet.KindLetter, DoorID: a.door.DoorID, TemplateID: first.TemplateID, Findings: []uuid.UUID{unsafe}}
	_, _, err := a.MakeReport(t.Context(), dispatcher, a.id(), ask)
	wantFault(t, err, "letter_not_approved")
	preview, err := a.PreviewLetter(t.Context(), administrator, ask, "")
	if err != nil || !bytes.HasPrefix(preview, []byte("%PDF-")) {
		t.Fatalf("no preview: %v", err)
	}
	if n := a.count(t, "select count(*) from report"); n != 0 {
		t.Fatalf("a preview was kept")
	}
	if _, created, err := a.ApproveLetterTemplate(t.Context(), administrator, first.TemplateID, ""); err != nil || !created {
		t.Fatal(created, err)
	}
	issued := a.make(t, dispatcher, ask)
	doc := said[fleet.LetterDocument](t, issued)
	for _, want := range []string{"closes on people", "Calder Moss Doors", "Main", "Mill", "No decision of the owner"} {
		if !strings.Contains(doc.Letter.Text, want) {
			t.Errorf("it does not say %q: %s", want, doc.Letter.Text)
		}
	}
	if strings.Contains(doc.Letter.Text, "label gone") || doc.Letter.Version != 1 || doc.Letter.ApprovedBy != "Ada Lindqvist" || doc.Letter.Draft {
		t.Errorf("%+v", doc.Letter)
	}
	kept, err := a.ReportIn(t.Context(), dispatcher, issued.ReportID, "pdf")
	if made, _ := issued.Print("pdf"); err != nil || !bytes.Equal(kept.Bytes, made.Bytes) || kept.SHA256 != seal.HashOf(kept.Bytes) || kept.SHA256 != made.SHA256 {
		t.Errorf("the stored PDF is not the one whose hash is on record: %v", err)
	}
	second := a.text(t, "Other words: {findings}")
	if second.Version != 2 || second.ApprovedAt != nil {
		t.Errorf("%+v", second)
	}
	again, created, err := a.MakeReport(t.Context(), dispatcher, issued.ReportID, ask)
	if err != nil || created || !bytes.Equal(again.Canonical, issued.Canonical) {
		t.Errorf("created %v, %v", created, err)
	}
	ask.Findings = []uuid.UUID{label}
	_, _, err = a.MakeReport(t.Context(), dispatcher, issued.ReportID, ask)
	wantFault(t, err, "report_differs at /findings")
	ask.Findings = []uuid.UUID{a.id()}
	_, _, err = a.MakeReport(t.Context(), dispatcher, a.id(), ask)
	wantFault(t, err, "letter_finding_not_open at /findings/0")

	// The owner sees the letter among the reports of the door, and not the texts; another customer sees neither.
	owner, other := agentOf(a.site.CustomerID), agentOf(a.customer(t, "Other").CustomerID)
	if list, err := a.Reports(t.Context(), owner, fleet.ReportQuery{DoorID: a.door.DoorID, Limit: 10}); err != nil || len(list) != 1 || list[0].Kind != fleet.KindLetter {
		t.Errorf("the owner: %+v, %v", list, err)
	}
	_, err = a.Report(t.Context(), other, issued.ReportID)
	wantFault(t, err, "report_not_found")
	for _, by := range []identity.Actor{owner, other} {
		_, _, err = a.MakeReport(t.Context(), by, a.id(), ask)
		wantFault(t, err, "letter_template_not_found")
		for _, l := range must(a.LetterTemplates(t.Context(), by))(t) {
			if l.TemplateID != uuid.Nil {
				t.Errorf("%s sees a text of the company's", by.Name)
			}
		}
	}
}

func must[T any](v T, err error) func(testing.TB) T {
	return func(t testing.TB) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func TestAShippedDraftIsShownButNeverApprovedAsItStands(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	unsafe := a.append(t, a.open(t), a.at(1, found("unsafe", "closes on people"))).entry
	list, err := a.LetterTemplates(t.Context(), administrator)
	if err != nil || len(list) != 3 {
		t.Fatal(len(list), err)
	}
	for _, l := range list {
		if !strings.HasPrefix(l.Text, "DRAFT: have this checked by your lawyer before use\n") || strings.Contains(l.Text, "⟦") {
			t.Errorf("%s begins otherwise: %s", l.Kind, l.Text)
		}
		if _, err := a.PreviewLetter(t.Context(), administrator, fleet.ReportAsk{DoorID: a.door.DoorID, Findings: []uuid.UUID{unsafe}}, l.Kind); err != nil {
			t.Errorf("%s: %v", l.Kind, err)
		}
		copied := a.text(t, l.Text)
		_, _, err := a.ApproveLetterTemplate(t.Context(), administrator, copied.TemplateID, "")
		wantFault(t, err, "letter_still_draft")
	}
	for text, want := range map[string]string{"{findings} {lawyer}": "letter_place_unknown at /text", "nothing": "letter_without_findings at /text", "{findings}" + strings.Repeat("x", 20000): "text_length at /text"} {
		_, _, err := a.PutLetterTemplate(t.Context(), administrator, fleet.LetterTemplate{TemplateID: a.id(), Kind: "risk", Text: text})
		wantFault(t, err, want)
	}
}

// hired makes somebody of the office who may sign in.
func (r *rig) hired(t testing.TB, who identity.Actor) {
	t.Helper()
	if _, err := r.db.Admin.Exec(t.Context(), `insert into person (person_id, email, name, role, scope_kind, created_at) values ($1::uuid, $1::text || '@door.example', $2, $3, 'all', now())`,
		who.PersonID, who.Name, string(who.Role)); err != nil {
		t.Fatal(err)
	}
}

func TestNobodyApprovesTheTextTheyWroteWhileSomebodyElseMay(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	a.hired(t, author)
	a.hired(t, administrator)
	_, _, err := a.ApproveLetterTemplate(t.Context(), author, a.text(t, "About {findings}").TemplateID, "Rosa Imhof, lawyer")
	wantFault(t, err, "letter_own_text")

	// The other one may not sign in any more: the author is alone, and says who else has read it.
	if _, err := a.db.Admin.Exec(t.Context(), "update person set disabled_at = now() where person_id = $1", administrator.PersonID); err != nil {
		t.Fatal(err)
	}
	own := a.text(t, "About these: {findings}")
	if may, read, err := a.MayApproveLetter(t.Context(), author, own); !may || !read || err != nil {
		t.Errorf("%v %v %v", may, read, err)
	}
	_, _, err = a.ApproveLetterTemplate(t.Context(), author, own.TemplateID, " ")
	wantFault(t, err, "letter_reader_missing at /read_by")
	_, _, err = a.ApproveLetterTemplate(t.Context(), author, own.TemplateID, strings.Repeat("x", 201))
	wantFault(t, err, "text_length at /read_by")
	approved, created, err := a.ApproveLetterTemplate(t.Context(), author, own.TemplateID, "Rosa Imhof, lawyer")
	if err != nil || !created || approved.ReadBy != "Rosa Imhof, lawyer" || approved.ApprovedBy != author.PersonID {
		t.Errorf("%+v %v %v", approved, created, err)
	}
	if again, created, err := a.ApproveLetterTemplate(t.Context(), author, own.TemplateID, ""); err != nil || created || again.ReadBy != "Rosa Imhof, lawyer" {
		t.Errorf("%+v %v %v", again, created, err)
	}

	// Whoever gets the letter sees both names.
	unsafe := a.append(t, a.open(t), a.at(1, found("unsafe", "closes on people"))).entry
	issued := a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindLetter, DoorID: a.door.DoorID, TemplateID: own.TemplateID, Findings: []uuid.UUID{unsafe}})
	if doc := said[fleet.LetterDocument](t, issued); doc.Letter.ReadBy != "Rosa Imhof, lawyer" || doc.Letter.ApprovedBy != "Ines Falk" {
		t.Errorf("%+v", doc.Letter)
	}
	if html, _ := issued.Print("html"); !strings.Contains(string(html.Bytes), "Read before that by Rosa Imhof, lawyer.") {
		t.Error("the print does not name the reader")
	}
}
