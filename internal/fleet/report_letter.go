package fleet

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// LetterFormat names the shape of a letter.
const LetterFormat = "lintel-letter/1"

// LetterDocument is a letter about open findings of a door, in the words that somebody of the company approved.
type LetterDocument struct {
	ReportHead
	ReportPlace
	Door     ReportDoor      `json:"door"`
	Findings []ReportFinding `json:"findings"` // those that the letter is about
	Letter   ReportLetter    `json:"letter"`
	Cautions []string        `json:"cautions"`
}

// ReportLetter is the text as it was issued, and the template that it was made from.
type ReportLetter struct {
	Kind string `json:"kind"`
	Text string `json:"text"` // its places filled; lines end in a line feed
	// TemplateID, Version, ApprovedBy and ApprovedAt are empty in a preview only.
	TemplateID string `json:"template_id"`
	Version    int    `json:"version"`
	ApprovedBy string `json:"approved_by"`
	ApprovedAt string `json:"approved_at"`
	ReadBy     string `json:"read_by,omitempty"` // who else has read the text, where its approver said so
	Draft      bool   `json:"draft,omitempty"`   // a preview, never kept
}

// letter writes a letter about findings of a door as they stand; with draft of any template or shipped text.
func (f *Fleet) letter(ctx context.Context, tx Tx, by identity.Actor, id uuid.UUID, ask ReportAsk, template LetterTemplate, draft bool) (doc LetterDocument, err error) {
	if !draft && template.ApprovedAt == nil {
		return doc, fault.New(fault.Conflict, "letter_not_approved")
	}
	d, err := f.compliance(ctx, tx, by, id, ask, forCustomer)
	if err != nil {
		return doc, err
	}
	doc = LetterDocument{ReportHead: d.ReportHead, ReportPlace: d.ReportPlace, Door: d.Door, Findings: []ReportFinding{}, Cautions: []string{}}
	doc.Format = LetterFormat
	var lines, decisions []string
	p := f.printer(by)
	for i, wanted := range ask.Findings {
		n := slices.IndexFunc(d.Findings, func(r ReportFinding) bool { return r.ID == wanted.String() })
		if n < 0 {
			return doc, fault.At(fmt.Sprintf("/findings/%d", i), "letter_finding_not_open")
		}
		found := d.Findings[n]
		doc.Findings = append(doc.Findings, found)
		lines = append(lines, p.T("letter.finding", "n", i+1, "severity", p.Enum("severity", found.Severity), "what", found.Title, "day", found.OpenedOn))
		stands, err := tx.FindingByID(ctx, wanted)
		if err != nil {
			return doc, err
		}
		if w := stands.Decided; w != nil {
			decisions = append(decisions, p.T("letter.decision", "n", i+1, "decision", p.Enum("decision", w.Decision), "name", w.Name))
		}
	}
	if len(decisions) == 0 {
		decisions = []string{p.T("letter.no_decision")}
	}
	text := strings.NewReplacer("{company}", d.Company.Name, "{customer}", d.Customer.Name, "{site}", d.Site.Name, "{door}", strings.TrimSpace(Tag(d.Door.Tag).String()+" "+d.Door.Name),
		"{date}", d.AsOf, "{findings}", strings.Join(lines, "\n"), "{decision}", strings.Join(decisions, "\n")).Replace(template.Text)
	doc.Letter = ReportLetter{Kind: template.Kind, Text: text, Version: template.Version, Draft: draft}
	if !draft {
		approver, err := tx.PersonCard(ctx, template.ApprovedBy)
		if err != nil {
			return doc, err
		}
		doc.Letter.TemplateID, doc.Letter.ApprovedBy, doc.Letter.ApprovedAt = template.TemplateID.String(), approver.Name, template.ApprovedAt.UTC().Format(time.RFC3339)
		doc.Letter.ReadBy = template.ReadBy
	}
	return doc, nil
}

// PreviewLetter prints a letter as PDF with DRAFT across its heading, and keeps nothing: of a template, or of the shipped
// text of a kind where the template is zero.
func (f *Fleet) PreviewLetter(ctx context.Context, by identity.Actor, ask ReportAsk, kind string) (pdf []byte, err error) {
	ask.Kind = KindLetter
	if err := ask.checkLetter(); err != nil {
		return nil, err
	}
	var doc LetterDocument
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		var template LetterTemplate
		switch {
		case ask.TemplateID != uuid.Nil:
			if template, err = tx.LetterTemplateByID(ctx, ask.TemplateID); err != nil {
				return err
			}
		case slices.Contains(LetterKinds(), kind):
			template = f.shippedLetter(by, kind)
		default:
			return fault.At("/template_id", "letter_template_missing")
		}
		doc, err = f.letter(ctx, tx, by, f.NewID(), ask, template, true)
		return err
	})
	if err != nil {
		return nil, err
	}
	prints, err := f.PrintReport(doc, "")
	if err != nil {
		return nil, err
	}
	p, _ := Report{Prints: prints}.Print("pdf")
	return p.Bytes, nil
}

// checkLetter refuses a letter about nothing.
func (a ReportAsk) checkLetter() error {
	var faults fault.List
	switch {
	case len(a.Findings) == 0:
		faults.Add("/findings", "report_subject_missing")
	case len(a.Findings) > 100:
		faults.Add("/findings", "too_many", "most", 100)
	}
	for i, id := range a.Findings {
		if slices.Contains(a.Findings[:i], id) {
			faults.Add(fmt.Sprintf("/findings/%d", i), "letter_finding_twice")
		}
	}
	return faults.Err()
}

// same refuses another letter under the id of one that is there.
func (d LetterDocument) same(a ReportAsk) error {
	named := make([]string, len(d.Findings))
	for i, f := range d.Findings {
		named[i] = f.ID
	}
	asked := make([]string, len(a.Findings))
	for i, id := range a.Findings {
		asked[i] = id.String()
	}
	switch {
	case d.Letter.TemplateID != a.TemplateID.String():
		return &fault.Error{Kind: fault.Conflict, Code: "report_differs", Pointer: "/template_id"}
	case !slices.Equal(asked, named):
		return &fault.Error{Kind: fault.Conflict, Code: "report_differs", Pointer: "/findings"}
	}
	return nil
}

// Check reports every fault that would make the document unfit to be sealed.
func (d LetterDocument) Check() error {
	err := d.ReportHead.check(LetterFormat)
	if d.Letter.Draft || d.Letter.ApprovedBy == "" || d.Letter.TemplateID == "" {
		err = errors.Join(err, documentFault("letter", "is not of an approved template"))
	}
	if len(d.Findings) == 0 {
		err = errors.Join(err, documentFault("findings", "is empty"))
	}
	return err
}
