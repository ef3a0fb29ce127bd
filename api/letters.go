package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// LetterTemplateBody is what a client says of a text.
type LetterTemplateBody struct {
	Kind string `json:"kind" enum:"risk,refusal,declination"`
	Text string `json:"text" minLength:"1" maxLength:"20000" doc:"With places in braces: {company}, {customer}, {date}, {decision}, {door}, {findings}, {site}. Have it checked by your lawyer."`
}

type letterTemplateItem struct {
	TemplateID *uuid.UUID `json:"template_id,omitempty" format:"uuid" doc:"Absent: a shipped draft, from which no letter is issued."`
	LetterTemplateBody
	Version    int        `json:"version,omitempty"`
	WrittenAt  *time.Time `json:"written_at,omitempty"`
	WrittenBy  *uuid.UUID `json:"written_by,omitempty" format:"uuid"`
	ApprovedAt *time.Time `json:"approved_at,omitempty"`
	ApprovedBy *uuid.UUID `json:"approved_by,omitempty" format:"uuid"`
	ReadBy     string     `json:"read_by,omitempty" doc:"Who else had read it by then, say the company's lawyer."`
}

func newLetterTemplateItem(l fleet.LetterTemplate) letterTemplateItem {
	item := letterTemplateItem{TemplateID: someID(l.TemplateID), LetterTemplateBody: LetterTemplateBody{Kind: l.Kind, Text: l.Text}, Version: l.Version,
		WrittenBy: someID(l.WrittenBy), ApprovedAt: l.ApprovedAt, ApprovedBy: someID(l.ApprovedBy), ReadBy: l.ReadBy}
	if l.TemplateID != uuid.Nil {
		item.WrittenAt = &l.WrittenAt
	}
	return item
}

type LetterTemplatePath struct {
	TemplateID uuid.UUID `path:"template_id" format:"uuid"`
}

type letterTemplatePutIn struct {
	LetterTemplatePath
	Body LetterTemplateBody
}

type letterTemplateApproveIn struct {
	LetterTemplatePath
	Body *struct {
		ReadBy string `json:"read_by,omitempty" maxLength:"200" doc:"Who else has read it, say the company's lawyer. Whoever wrote the text may approve it only where no other administrator can sign in, and names somebody here."`
	}
}

type letterTemplateOut struct {
	Status int
	Body   letterTemplateItem
}

type letterTemplateListOut struct {
	Body struct {
		Templates []letterTemplateItem `json:"templates"`
	}
}

type letterPreviewIn struct {
	DoorID uuid.UUID `path:"door_id" format:"uuid"`
	Body   struct {
		TemplateID *uuid.UUID  `json:"template_id,omitempty" format:"uuid"`
		Kind       string      `json:"kind,omitempty" enum:"risk,refusal,declination" doc:"Without a template: the shipped draft of this kind."`
		Findings   []uuid.UUID `json:"findings" minItems:"1" maxItems:"100"`
	}
}

func (a *API) letters() {
	add(a, operation("letter-template-list", http.MethodGet, "/v1/letter-templates", identity.ActReadOffice, "Texts of letters: the shipped drafts, then every version of the company's own"), a.letterTemplateList)
	add(a, operation("letter-template-put", http.MethodPut, "/v1/letter-templates/{template_id}", identity.ActSetLetters, "Write the next version of a text"), a.letterTemplatePut)
	add(a, operation("letter-template-approve", http.MethodPut, "/v1/letter-templates/{template_id}/approval", identity.ActSetLetters, "Approve a text that somebody else wrote: from then on letters may be issued from it"), a.letterTemplateApprove)
	preview := operation("letter-preview", http.MethodPost, "/v1/doors/{door_id}/letter-preview", identity.ActSetLetters, "A letter as a PDF marked as a draft; it is not kept")
	preview.DefaultStatus = http.StatusOK
	add(a, answering("application/pdf", preview), a.letterPreview)
}

func (a *API) letterTemplateList(ctx context.Context, by identity.Actor, _ *struct{}) (*letterTemplateListOut, error) {
	list, err := a.Fleet.LetterTemplates(ctx, by)
	if err != nil {
		return nil, err
	}
	out := &letterTemplateListOut{}
	out.Body.Templates = make([]letterTemplateItem, len(list))
	for i, l := range list {
		out.Body.Templates[i] = newLetterTemplateItem(l)
	}
	return out, nil
}

func (a *API) letterTemplatePut(ctx context.Context, by identity.Actor, in *letterTemplatePutIn) (*letterTemplateOut, error) {
	saved, isNew, err := a.Fleet.PutLetterTemplate(ctx, by, fleet.LetterTemplate{TemplateID: in.TemplateID, Kind: in.Body.Kind, Text: in.Body.Text})
	if err != nil {
		return nil, err
	}
	return &letterTemplateOut{Status: created(isNew), Body: newLetterTemplateItem(saved)}, nil
}

func (a *API) letterTemplateApprove(ctx context.Context, by identity.Actor, in *letterTemplateApproveIn) (*letterTemplateOut, error) {
	readBy := ""
	if in.Body != nil {
		readBy = in.Body.ReadBy
	}
	saved, isNew, err := a.Fleet.ApproveLetterTemplate(ctx, by, in.TemplateID, readBy)
	if err != nil {
		return nil, err
	}
	return &letterTemplateOut{Status: created(isNew), Body: newLetterTemplateItem(saved)}, nil
}

func (a *API) letterPreview(ctx context.Context, by identity.Actor, in *letterPreviewIn) (*bytesOut, error) {
	pdf, err := a.Fleet.PreviewLetter(ctx, by, fleet.ReportAsk{DoorID: in.DoorID, TemplateID: idOf(in.Body.TemplateID), Findings: in.Body.Findings}, in.Body.Kind)
	if err != nil {
		return nil, err
	}
	return &bytesOut{ContentType: "application/pdf", ContentDisposition: `inline; filename="draft.pdf"`, Body: pdf}, nil
}
