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

func (a attended) text(t testing.TB, text string) fleet.LetterTemplate {
	t.Helper()
	l, created, err := a.PutLetterTemplate(t.Context(), administrator, fleet.LetterTemplate{TemplateID: a.id(), Kind: "risk", Text: text})
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
	if _, err := a.db.Admin.Exec(t.Context(), "insert into person (person_id, email, name, role, scope_kind, created_at) values ($1, 'ada@door.example', 'Ada Lindqvist', 'administrator', 'all', now()) on conflict do nothing", administrator.PersonID); err != nil {
		t.Fatal(err)
	}

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
	if _, created, err := a.ApproveLetterTemplate(t.Context(), administrator, first.TemplateID); err != nil || !created {
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
		_, _, err := a.ApproveLetterTemplate(t.Context(), administrator, copied.TemplateID)
		wantFault(t, err, "letter_still_draft")
	}
	for text, want := range map[string]string{"{findings} {lawyer}": "letter_place_unknown at /text", "nothing": "letter_without_findings at /text", "{findings}" + strings.Repeat("x", 20000): "text_length at /text"} {
		_, _, err := a.PutLetterTemplate(t.Context(), administrator, fleet.LetterTemplate{TemplateID: a.id(), Kind: "risk", Text: text})
		wantFault(t, err, want)
	}
}
