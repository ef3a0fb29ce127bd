package api

import (
	"context"
	"net/http"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type caseItem struct {
	CaseID        uuid.UUID  `json:"case_id" format:"uuid"`
	DoorID        uuid.UUID  `json:"door_id" format:"uuid"`
	SiteID        uuid.UUID  `json:"site_id" format:"uuid"`
	CustomerID    uuid.UUID  `json:"customer_id" format:"uuid"`
	FindingID     uuid.UUID  `json:"finding_id" format:"uuid"`
	What          string     `json:"what" doc:"The unsafe finding in the inspector's words."`
	State         string     `json:"state" enum:"unsecured,secured,ended" doc:"Unsecured until a person records how the door was secured; ended only by a passed re-inspection."`
	OpenedAt      time.Time  `json:"opened_at"`
	SecuredAt     *time.Time `json:"secured_at,omitempty"`
	SecuredHow    string     `json:"secured_how,omitempty"`
	EgressKept    *bool      `json:"egress_kept,omitempty"`
	ToldName      string     `json:"told_name,omitempty"`
	Refused       bool       `json:"refused" doc:"Who was told last refused."`
	EndedAt       *time.Time `json:"ended_at,omitempty"`
	SecuringEntry *uuid.UUID `json:"securing_entry,omitempty" format:"uuid" doc:"The entry that says how it was secured."`
	EndedByEntry  *uuid.UUID `json:"ended_by_entry,omitempty" format:"uuid" doc:"The conclusion of the re-inspection that it passed."`
}

func newCaseItem(c fleet.OutOfServiceCase) caseItem {
	return caseItem{CaseID: c.CaseID, DoorID: c.DoorID, SiteID: c.SiteID, CustomerID: c.CustomerID, FindingID: c.FindingID, What: c.What, State: c.State,
		OpenedAt: c.OpenedAt, SecuredAt: c.SecuredAt, SecuredHow: c.SecuredHow, EgressKept: c.EgressKept, ToldName: c.ToldName, Refused: c.Refused,
		EndedAt: c.EndedAt, SecuringEntry: c.SecuringEntry, EndedByEntry: c.EndedByEntry}
}

type CasePath struct {
	CaseID uuid.UUID `path:"case_id" format:"uuid"`
}

type caseOut struct {
	Body caseItem
}

type caseListIn struct {
	PageIn
	DoorID string `query:"door_id" format:"uuid"`
	Open   bool   `query:"open" doc:"Only those that are not ended."`
}

type caseListOut struct {
	Body struct {
		Cases []caseItem `json:"cases"`
		PageOut
	}
}

type acknowledgementIn struct {
	CasePath
	Body struct {
		Note string `json:"note,omitempty" maxLength:"2000"`
	}
}

type acknowledgementItem struct {
	CaseID   uuid.UUID `json:"case_id" format:"uuid"`
	PersonID uuid.UUID `json:"person_id" format:"uuid"`
	At       time.Time `json:"at"`
	Note     string    `json:"note,omitempty"`
}

type acknowledgementOut struct {
	Status int
	Body   acknowledgementItem
}

func (a *API) cases() {
	add(a, operation("case-list", http.MethodGet, "/v1/out-of-service-cases", identity.ActReadWork, "Out-of-service cases, the oldest first"), a.caseList)
	add(a, operation("case-get", http.MethodGet, "/v1/out-of-service-cases/{case_id}", identity.ActReadWork, "One out-of-service case"), a.caseGet)
	add(a, answering("application/pdf", operation("case-tag", http.MethodGet, "/v1/out-of-service-cases/{case_id}/tag.pdf", identity.ActReadWork, "The tag to hang at a door that is out of service, as PDF")), a.caseTag("pdf"))
	add(a, answering("text/html", operation("case-tag-html", http.MethodGet, "/v1/out-of-service-cases/{case_id}/tag.html", identity.ActReadWork, "The same as one HTML page, to be shown or printed")), a.caseTag("html"))
	add(a, operation("case-acknowledge", http.MethodPut, "/v1/out-of-service-cases/{case_id}/acknowledgement", identity.ActAcknowledge,
		"Say that one has taken note of an unsafe door: its notices are not repeated any more. It secures nothing"), a.caseAcknowledge)
}

func (a *API) caseGet(ctx context.Context, by identity.Actor, in *CasePath) (*caseOut, error) {
	c, err := a.Fleet.Case(ctx, by, in.CaseID)
	if err != nil {
		return nil, err
	}
	return &caseOut{Body: newCaseItem(c)}, nil
}

// caseTag gives the tag in a form. It is written when it is asked for, so nobody keeps it.
func (a *API) caseTag(name string) func(context.Context, identity.Actor, *CasePath) (*bytesOut, error) {
	form := reportForms()[slices.IndexFunc(reportForms(), func(f reportForm) bool { return f.name == name })]
	return func(ctx context.Context, by identity.Actor, in *CasePath) (*bytesOut, error) {
		print, err := a.Fleet.CaseTag(ctx, by, in.CaseID, name)
		if err != nil {
			return nil, err
		}
		return &bytesOut{ContentType: form.mediaType + form.parameters, ContentDisposition: `inline; filename="tag-` + in.CaseID.String() + `.` + name + `"`, ContentSecurityPolicy: form.policy, Body: print}, nil
	}
}

func (a *API) caseList(ctx context.Context, by identity.Actor, in *caseListIn) (*caseListOut, error) {
	var key instantKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, err := a.Fleet.Cases(ctx, by, fleet.CaseQuery{DoorID: optionalID(in.DoorID), Open: in.Open, AfterAt: key.At, AfterID: key.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &caseListOut{}
	out.Body.Cases = make([]caseItem, len(list))
	for i, c := range list {
		out.Body.Cases[i] = newCaseItem(c)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.OpenedAt, last.CaseID})
	}
	return out, nil
}

func (a *API) caseAcknowledge(ctx context.Context, by identity.Actor, in *acknowledgementIn) (*acknowledgementOut, error) {
	k, isNew, err := a.Fleet.AcknowledgeCase(ctx, by, in.CaseID, in.Body.Note)
	if err != nil {
		return nil, err
	}
	return &acknowledgementOut{Status: created(isNew), Body: acknowledgementItem{CaseID: k.CaseID, PersonID: k.PersonID, At: k.At, Note: k.Note}}, nil
}
