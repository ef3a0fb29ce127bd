package api

import (
	"context"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
)

type reportItem struct {
	ReportID   uuid.UUID         `json:"report_id" format:"uuid"`
	Kind       string            `json:"kind" enum:"door,certificate,letter,site,portfolio"`
	CustomerID *uuid.UUID        `json:"customer_id,omitempty" format:"uuid" doc:"Absent of a portfolio that is not one customer's."`
	SiteID     *uuid.UUID        `json:"site_id,omitempty" format:"uuid"`
	DoorID     *uuid.UUID        `json:"door_id,omitempty" format:"uuid"`
	AsOf       string            `json:"as_of,omitempty" format:"date" doc:"The day that it speaks of; absent where it was made before one could choose."`
	MadeAt     time.Time         `json:"made_at"`
	MadeBy     uuid.UUID         `json:"made_by" format:"uuid"`
	SHA256     seal.Hash         `json:"sha256" doc:"Of the document, canonical JSON (RFC 8785)."`
	Prints     []reportPrintItem `json:"prints"`
}

type reportPrintItem struct {
	Form   string    `json:"form" enum:"pdf,html,csv"`
	SHA256 seal.Hash `json:"sha256"`
}

func newReportItem(r fleet.Report) reportItem {
	item := reportItem{ReportID: r.ReportID, Kind: r.Kind, CustomerID: someID(r.CustomerID), SiteID: someID(r.SiteID), DoorID: someID(r.DoorID), AsOf: r.AsOf.String(),
		MadeAt: r.MadeAt, MadeBy: r.MadeBy, SHA256: r.SHA256, Prints: []reportPrintItem{}}
	if r.Kind == fleet.KindPortfolio {
		item.CustomerID = someID(r.PortfolioCustomerID)
	}
	for _, p := range r.Prints {
		item.Prints = append(item.Prints, reportPrintItem{Form: p.Form, SHA256: p.SHA256})
	}
	return item
}

// someID leaves out the id of nothing.
func someID(id uuid.UUID) *uuid.UUID {
	if id == uuid.Nil {
		return nil
	}
	return &id
}

type doorReportPutIn struct {
	DoorID   uuid.UUID `path:"door_id" format:"uuid"`
	ReportID uuid.UUID `path:"report_id" format:"uuid"`
}

type reportPutIn struct {
	ReportID uuid.UUID `path:"report_id" format:"uuid"`
	Body     struct {
		Kind       string      `json:"kind" enum:"door,certificate,letter,site,portfolio"`
		DoorID     *uuid.UUID  `json:"door_id,omitempty" format:"uuid" doc:"Of the kinds door, certificate and letter."`
		TemplateID *uuid.UUID  `json:"template_id,omitempty" format:"uuid" doc:"Of a letter: an approved template."`
		Findings   []uuid.UUID `json:"findings,omitempty" maxItems:"100" doc:"Of a letter: the open findings of the door that it is about."`
		SiteID     *uuid.UUID  `json:"site_id,omitempty" format:"uuid" doc:"Of the kind site."`
		CustomerID *uuid.UUID  `json:"customer_id,omitempty" format:"uuid" doc:"Of a portfolio of one customer."`
		Sites      []uuid.UUID `json:"sites,omitempty" maxItems:"5000" doc:"Of a portfolio of these sites. A portfolio of neither is of everything that you may see."`
		AsOf       string      `json:"as_of,omitempty" format:"date" doc:"The day at whose end things stood as the report says, as they are known now; the present day if absent."`
		Paper      string      `json:"paper,omitempty" enum:"a4,letter" doc:"If absent, what people at the place print on."`
	}
}

type reportOut struct {
	Status int
	Body   reportItem
}

type reportPath struct {
	ReportID uuid.UUID `path:"report_id" format:"uuid"`
}

type reportGetIn struct {
	ReportID uuid.UUID `path:"report_id" format:"uuid"`
	Accept   string    `header:"Accept" maxLength:"1000" doc:"application/json is the sealed document itself; text/html, application/pdf and text/csv are its prints."`
}

// bytesOut is a kept file as it was made.
type bytesOut struct {
	ContentType           string `header:"Content-Type"`
	ContentDisposition    string `header:"Content-Disposition"`
	ContentSecurityPolicy string `header:"Content-Security-Policy"`
	ETag                  string `header:"ETag"`
	Vary                  string `header:"Vary"`
	Body                  []byte
}

type reportListIn struct {
	PageIn
	Kind       string `query:"kind" enum:"door,certificate,letter,site,portfolio"`
	DoorID     string `query:"door_id" format:"uuid"`
	SiteID     string `query:"site_id" format:"uuid"`
	CustomerID string `query:"customer_id" format:"uuid"`
}

type doorReportListIn struct {
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
	add(a, operation("door-report-put", http.MethodPut, "/v1/doors/{door_id}/reports/{report_id}", identity.ActMakeReport, "Make a report of a door as it stands now"), a.doorReportPut)
	add(a, operation("door-report-list", http.MethodGet, "/v1/doors/{door_id}/reports", identity.ActReadReport, "Reports of a door, the newest first"), a.doorReportList)
	add(a, operation("report-put", http.MethodPut, "/v1/reports/{report_id}", identity.ActMakeReport, "Make a report of a door, a site or a portfolio, the certificate of a door's last inspection, or a letter about its findings"), a.reportPut)
	add(a, operation("report-list", http.MethodGet, "/v1/reports", identity.ActReadReport, "Reports, the newest first"), a.reportList)
	get := answering("application/json", operation("report-get", http.MethodGet, "/v1/reports/{report_id}", identity.ActReadReport, "A report, the same bytes for ever: the sealed document, or by Accept one of its prints"))
	for _, f := range reportForms() {
		get.Responses["200"].Content[f.mediaType] = &huma.MediaType{Schema: &huma.Schema{Type: "string", Format: "binary"}}
	}
	add(a, get, a.reportGet)
	for _, f := range reportForms() {
		op := operation("report-"+f.name, http.MethodGet, "/v1/reports/{report_id}/report."+f.name, identity.ActReadReport, "A report as "+strings.ToUpper(f.name)+", the same bytes for ever")
		add(a, answering(f.mediaType, op), func(ctx context.Context, by identity.Actor, in *reportPath) (*bytesOut, error) {
			return a.reportIn(ctx, by, in.ReportID, f)
		})
	}
}

// reportForm is a print of a report. The document itself is JSON.
type reportForm struct{ name, mediaType, parameters, policy string }

func reportForms() []reportForm {
	return []reportForm{
		{name: "pdf", mediaType: "application/pdf"},
		// It runs nothing and loads nothing, wherever it is opened.
		{name: "html", mediaType: "text/html", parameters: "; charset=utf-8", policy: "default-src 'none'; style-src 'unsafe-inline'; sandbox"},
		{name: "csv", mediaType: "text/csv", parameters: "; charset=utf-8; header=present"},
	}
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

func (a *API) doorReportPut(ctx context.Context, by identity.Actor, in *doorReportPutIn) (*reportOut, error) {
	r, isNew, err := a.Fleet.MakeReport(ctx, by, in.ReportID, fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: in.DoorID})
	if err != nil {
		return nil, err
	}
	return &reportOut{Status: created(isNew), Body: newReportItem(r)}, nil
}

func (a *API) reportPut(ctx context.Context, by identity.Actor, in *reportPutIn) (*reportOut, error) {
	b := in.Body
	var read reader
	ask := fleet.ReportAsk{Kind: b.Kind, DoorID: idOf(b.DoorID), SiteID: idOf(b.SiteID), CustomerID: idOf(b.CustomerID), Sites: b.Sites, TemplateID: idOf(b.TemplateID), Findings: b.Findings, AsOf: read.day("/as_of", b.AsOf), Paper: b.Paper}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	r, isNew, err := a.Fleet.MakeReport(ctx, by, in.ReportID, ask)
	if err != nil {
		return nil, err
	}
	return &reportOut{Status: created(isNew), Body: newReportItem(r)}, nil
}

// idOf is the zero id where there is none.
func idOf(id *uuid.UUID) uuid.UUID {
	if id == nil {
		return uuid.Nil
	}
	return *id
}

func (a *API) doorReportList(ctx context.Context, by identity.Actor, in *doorReportListIn) (*reportListOut, error) {
	return a.reportPage(ctx, by, in.PageIn, fleet.ReportQuery{DoorID: in.DoorID})
}

func (a *API) reportList(ctx context.Context, by identity.Actor, in *reportListIn) (*reportListOut, error) {
	return a.reportPage(ctx, by, in.PageIn, fleet.ReportQuery{Kind: in.Kind, DoorID: optionalID(in.DoorID), SiteID: optionalID(in.SiteID), CustomerID: optionalID(in.CustomerID)})
}

func (a *API) reportPage(ctx context.Context, by identity.Actor, page PageIn, q fleet.ReportQuery) (*reportListOut, error) {
	var key instantKey
	if err := readCursor(page.After, &key); err != nil {
		return nil, err
	}
	q.BeforeAt, q.BeforeID, q.Limit = key.At, key.ID, page.Limit
	list, err := a.Fleet.Reports(ctx, by, q)
	if err != nil {
		return nil, err
	}
	out := &reportListOut{}
	out.Body.Reports = make([]reportItem, len(list))
	for i, r := range list {
		out.Body.Reports[i] = newReportItem(r)
	}
	if len(list) == page.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.MadeAt, last.ReportID})
	}
	return out, nil
}

// reportGet answers what the client likes best of what there is: the document where it says nothing, or likes nothing of it.
func (a *API) reportGet(ctx context.Context, by identity.Actor, in *reportGetIn) (*bytesOut, error) {
	offers := []string{"application/json"}
	for _, f := range reportForms() {
		offers = append(offers, f.mediaType)
	}
	if i := preferred(in.Accept, offers); i > 0 {
		out, err := a.reportIn(ctx, by, in.ReportID, reportForms()[i-1])
		if err != nil {
			return nil, err
		}
		out.Vary = "Accept"
		return out, nil
	}
	r, err := a.Fleet.Report(ctx, by, in.ReportID)
	if err != nil {
		return nil, err
	}
	return &bytesOut{ContentType: "application/json", ETag: `"` + seal.Hash(r.SHA256).String() + `"`, Vary: "Accept", Body: r.Canonical}, nil
}

// reportIn answers one print of a report.
func (a *API) reportIn(ctx context.Context, by identity.Actor, id uuid.UUID, form reportForm) (*bytesOut, error) {
	p, err := a.Fleet.ReportIn(ctx, by, id, form.name)
	if err != nil {
		return nil, err
	}
	return &bytesOut{ContentType: form.mediaType + form.parameters, ContentSecurityPolicy: form.policy, ETag: `"` + seal.Hash(p.SHA256).String() + `"`, Body: p.Bytes,
		ContentDisposition: `inline; filename="report-` + id.String() + "." + form.name + `"`}, nil
}

// preferred chooses the offer that an Accept header (RFC 9110) likes best, the first of equals and of none.
func preferred(accept string, offers []string) int {
	best, liked := 0, 0.0
	for i, offer := range offers {
		if q := weight(accept, offer); q > liked {
			best, liked = i, q
		}
	}
	return best
}

// weight is how much a header likes a media type: what names it most closely decides.
func weight(accept, offer string) (q float64) {
	closest := -1
	group, _, _ := strings.Cut(offer, "/")
	for part := range strings.SplitSeq(accept, ",") {
		fields := strings.Split(part, ";")
		closeness := slices.Index([]string{"*/*", group + "/*", offer}, strings.ToLower(strings.TrimSpace(fields[0])))
		if closeness <= closest {
			continue
		}
		closest, q = closeness, 1
		for _, f := range fields[1:] {
			if text, is := strings.CutPrefix(strings.ToLower(strings.TrimSpace(f)), "q="); is {
				if v, err := strconv.ParseFloat(text, 64); err == nil && v >= 0 && v <= 1 {
					q = v
				} else {
					q = 0
				}
			}
		}
	}
	return q
}
