package console

import (
	"cmp"
	"context"
	"net/http"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
)

type reportsData struct {
	Filter filter
	Lines  []reportLine
	More   More
	// Of is the door, site or customer that the list is narrowed down to, and of which a report can be made.
	Of     fleet.Name
	OfPath string
	Asks   []reportAsk
	Form   form
}

// reportAsk is a report that can be made here.
type reportAsk struct{ Kind, ID string }

// reportLine is a report as lists show it.
type reportLine struct {
	fleet.Report
	Subject string
	Zone    string
	By      string
}

// reports lists reports, of everything or of one door, site or customer, and offers another.
func (c *Console) reports(ctx context.Context, q *request) (answer, error) {
	return c.reportsPage(ctx, q, newForm(nil), http.StatusOK)
}

func (c *Console) reportsPage(ctx context.Context, q *request, refused form, status int) (answer, error) {
	f := q.filter()
	var key instantKey
	f.key(&key)
	query := fleet.ReportQuery{Kind: f.Value("kind"), DoorID: f.ID("door"), SiteID: f.ID("site"), CustomerID: f.ID("customer"), BeforeAt: key.At, BeforeID: key.ID, Limit: perPage + 1}
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	list, err := c.Fleet.Reports(ctx, q.by, query)
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = instantKey{list[perPage-1].MadeAt, list[perPage-1].ReportID}
	}
	ids := fleet.Named{Doors: []uuid.UUID{query.DoorID}, Sites: []uuid.UUID{query.SiteID}, Customers: []uuid.UUID{query.CustomerID}}
	for _, r := range list {
		ids.Doors, ids.Sites, ids.Customers, ids.People = append(ids.Doors, r.DoorID), append(ids.Sites, r.SiteID), append(ids.Customers, r.PortfolioCustomerID), append(ids.People, r.MadeBy)
	}
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return nil, err
	}
	data := reportsData{Filter: f, More: q.more(last), Form: refused}
	for _, r := range list {
		data.Lines = append(data.Lines, reportLineOf(q, r, names))
	}
	switch {
	case query.DoorID != uuid.Nil:
		data.Of, data.OfPath, data.Asks = names[query.DoorID], "/doors/"+query.DoorID.String(), []reportAsk{{fleet.KindDoor, c.NewID().String()}, {fleet.KindCertificate, c.NewID().String()}}
	case query.SiteID != uuid.Nil:
		data.Of, data.OfPath, data.Asks = names[query.SiteID], "/sites/"+query.SiteID.String(), []reportAsk{{fleet.KindSite, c.NewID().String()}}
	case query.CustomerID != uuid.Nil:
		data.Of, data.OfPath, data.Asks = names[query.CustomerID], "/customers/"+query.CustomerID.String(), []reportAsk{{fleet.KindPortfolio, c.NewID().String()}}
	default:
		data.Asks = []reportAsk{{fleet.KindPortfolio, c.NewID().String()}}
	}
	return page{name: "reports", status: status, data: data}, nil
}

func reportLineOf(q *request, r fleet.Report, names fleet.Names) reportLine {
	return reportLine{Report: r, By: writer{q.texts}.person(names, r.MadeBy), Zone: cmp.Or(names[r.SiteID].TimeZone, "UTC"),
		Subject: cmp.Or(names[r.DoorID].Text, names[r.SiteID].Text, names[r.PortfolioCustomerID].Text, q.texts.T("console.report.everything"))}
}

// reportMake takes a snapshot under the id that the form was given.
func (c *Console) reportMake(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	id, ask := r.id("report_id"), fleet.ReportAsk{Kind: f.Value("/kind"), AsOf: r.day("/as_of")}
	if ask.Kind != fleet.KindPortfolio || q.URL.Query().Has("customer") {
		narrow := q.filter()
		ask.DoorID, ask.SiteID, ask.CustomerID = narrow.ID("door"), narrow.ID("site"), narrow.ID("customer")
		r.faults = append(r.faults, narrow.faults...)
	}
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.MakeReport(ctx, q.by, id, ask)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.reportsPage(ctx, q, f, status) })
	}
	return seeOther("/reports/" + id.String()), nil
}

// prints are the forms of a report, with the policy under which each is shown: it runs nothing and loads nothing.
func prints() map[string]struct{ mediaType, policy string } {
	return map[string]struct{ mediaType, policy string }{
		"report.pdf":  {"application/pdf", policy},
		"report.html": {"text/html; charset=utf-8", "default-src 'none'; style-src 'unsafe-inline'; sandbox"},
		"report.csv":  {"text/csv; charset=utf-8; header=present", policy},
	}
}

// caseTag is the tag to hang at a door that is out of service, as PDF or as a page.
func (c *Console) caseTag(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("case_id")
	if err != nil {
		return nil, err
	}
	form, isTag := strings.CutPrefix(q.PathValue("print"), "tag.")
	p, known := prints()["report."+form]
	if !isTag || !known {
		return nil, fault.New(fault.NotFound, "route_not_found")
	}
	print, err := c.Fleet.CaseTag(ctx, q.by, id, form)
	if err != nil {
		return nil, err
	}
	q.writer.Header().Set("Content-Security-Policy", p.policy)
	return file{p.mediaType, "tag-" + id.String() + "." + form, print}, nil
}

func (c *Console) reportPrint(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("report_id")
	if err != nil {
		return nil, err
	}
	name := q.PathValue("print")
	p, known := prints()[name]
	if !known {
		return nil, fault.New(fault.NotFound, "route_not_found")
	}
	print, err := c.Fleet.ReportIn(ctx, q.by, id, name[len("report."):])
	if err != nil {
		return nil, err
	}
	q.writer.Header().Set("Content-Security-Policy", p.policy)
	return file{p.mediaType, id.String() + "-" + name, print.Bytes}, nil
}
