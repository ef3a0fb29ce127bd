package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
)

type reportItem struct {
	ReportID  uuid.UUID `json:"report_id" format:"uuid"`
	DoorID    uuid.UUID `json:"door_id" format:"uuid"`
	MadeAt    time.Time `json:"made_at"`
	MadeBy    uuid.UUID `json:"made_by" format:"uuid"`
	SHA256    seal.Hash `json:"sha256" doc:"Of the document, canonical JSON (RFC 8785)."`
	PDFSHA256 seal.Hash `json:"pdf_sha256"`
}

func newReportItem(r fleet.Report) reportItem {
	return reportItem{ReportID: r.ReportID, DoorID: r.DoorID, MadeAt: r.MadeAt, MadeBy: r.MadeBy, SHA256: r.SHA256, PDFSHA256: r.PDFSHA256}
}

type reportPutIn struct {
	DoorID   uuid.UUID `path:"door_id" format:"uuid"`
	ReportID uuid.UUID `path:"report_id" format:"uuid"`
}

type reportOut struct {
	Status int
	Body   reportItem
}

type reportPath struct {
	ReportID uuid.UUID `path:"report_id" format:"uuid"`
}

// bytesOut is a kept file as it was made.
type bytesOut struct {
	ContentType        string `header:"Content-Type"`
	ContentDisposition string `header:"Content-Disposition"`
	ETag               string `header:"ETag"`
	Body               []byte
}

type reportListIn struct {
	DoorPath
	PageIn
}

type reportListOut struct {
	Body struct {
		Reports []reportItem `json:"reports"`
		PageOut
	}
}

func (a *API) reports() {
	add(a, operation("report-put", http.MethodPut, "/v1/doors/{door_id}/reports/{report_id}", identity.ActMakeReport, "Take the snapshot of a door's compliance"), a.reportPut)
	add(a, operation("report-list", http.MethodGet, "/v1/doors/{door_id}/reports", identity.ActReadReport, "Reports of a door, the newest first"), a.reportList)
	add(a, answering("application/json", operation("report-get", http.MethodGet, "/v1/reports/{report_id}", identity.ActReadReport, "The document of a report, the same bytes for ever")), a.reportGet)
	add(a, answering("application/pdf", operation("report-pdf", http.MethodGet, "/v1/reports/{report_id}/report.pdf", identity.ActReadReport, "A report as PDF, the same bytes for ever")), a.reportPDF)
}

// answering says what an operation answers when it is not an object of ours.
func answering(mediaType string, op huma.Operation) huma.Operation {
	schema := &huma.Schema{Type: "string", Format: "binary"}
	if mediaType == "application/json" {
		schema = &huma.Schema{Type: "object", AdditionalProperties: true}
	}
	op.Responses = map[string]*huma.Response{"200": {Description: "OK", Content: map[string]*huma.MediaType{mediaType: {Schema: schema}}}}
	return op
}

func (a *API) reportPut(ctx context.Context, by identity.Actor, in *reportPutIn) (*reportOut, error) {
	r, isNew, err := a.Fleet.MakeReport(ctx, by, in.DoorID, in.ReportID)
	if err != nil {
		return nil, err
	}
	return &reportOut{Status: created(isNew), Body: newReportItem(r)}, nil
}

func (a *API) reportList(ctx context.Context, by identity.Actor, in *reportListIn) (*reportListOut, error) {
	var key instantKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, err := a.Fleet.Reports(ctx, by, fleet.ReportQuery{DoorID: in.DoorID, BeforeAt: key.At, BeforeID: key.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &reportListOut{}
	out.Body.Reports = make([]reportItem, len(list))
	for i, r := range list {
		out.Body.Reports[i] = newReportItem(r)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.MadeAt, last.ReportID})
	}
	return out, nil
}

func (a *API) reportGet(ctx context.Context, by identity.Actor, in *reportPath) (*bytesOut, error) {
	r, err := a.Fleet.Report(ctx, by, in.ReportID)
	if err != nil {
		return nil, err
	}
	return &bytesOut{ContentType: "application/json", ETag: `"` + seal.Hash(r.SHA256).String() + `"`, Body: r.Canonical}, nil
}

func (a *API) reportPDF(ctx context.Context, by identity.Actor, in *reportPath) (*bytesOut, error) {
	r, err := a.Fleet.Report(ctx, by, in.ReportID)
	if err != nil {
		return nil, err
	}
	return &bytesOut{ContentType: "application/pdf", ETag: `"` + seal.Hash(r.PDFSHA256).String() + `"`, Body: r.PDF,
		ContentDisposition: `inline; filename="compliance-` + r.ReportID.String() + `.pdf"`}, nil
}
