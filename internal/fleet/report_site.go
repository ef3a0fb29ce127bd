package fleet

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
)

// The shapes of the documents of more than one door.
const (
	SiteReportFormat      = "lintel-site-report/1"
	PortfolioReportFormat = "lintel-portfolio-report/1"
)

// Bounds of what one report may speak of: ours, so that making one ends within the time of a request.
const (
	mostSites          = 5000
	mostDoorsOfSite    = 500
	mostPortfolioDoors = 20000
)

// SiteDocument is a site: an overview of its doors, the gravest first, and each of them in the same order.
type SiteDocument struct {
	ReportHead
	ReportPlace
	Overview []OverviewLine `json:"overview"`
	Doors    []DoorContent  `json:"doors"`
}

// PortfolioDocument is the doors of many sites in one line each, the gravest first.
type PortfolioDocument struct {
	ReportHead
	// Customer is nil where the sites are not those of one customer.
	Customer *ReportCustomer `json:"customer"`
	Sites    []PortfolioSite `json:"sites"`
	Overview []OverviewLine  `json:"overview"`
}

// PortfolioSite is a site that a portfolio speaks of.
type PortfolioSite struct {
	ReportSite
	Customer ReportCustomer `json:"customer"`
	Doors    int            `json:"doors"`
}

// OverviewLine is how one door stands.
type OverviewLine struct {
	DoorID string `json:"door_id"`
	Tag    string `json:"tag"`
	Name   string `json:"name"`
	Kind   string `json:"kind"`
	SiteID string `json:"site_id"`
	Site   string `json:"site"`
	// States are those of a report of the door, gravest first.
	States    []string `json:"states"`
	Unsafe    int      `json:"unsafe"`
	Deficient int      `json:"deficient"`
	Advisory  int      `json:"advisory"`
	// LastOn and LastResult are of the last signed inspection.
	LastOn      string `json:"last_on"`
	LastResult  string `json:"last_result"`
	NextDueOn   string `json:"next_due_on"`
	OverdueDays int    `json:"overdue_days"`
}

// SiteLine is a site with its customer's name.
type SiteLine struct {
	Site
	CustomerName string
}

// PortfolioDoor is what a portfolio needs to know of a door besides what was found there.
type PortfolioDoor struct {
	DoorID, SiteID       uuid.UUID
	Tag                  Tag
	Name, Kind, RulePack string
	Plan                 *Plan       // the active one; nil: none
	HandedOver           duedate.Day // the last day until the report's on which it was; zero: it was not
}

// Check reports every fault that would make the document unfit to be sealed.
func (r SiteDocument) Check() error {
	faults := []error{r.ReportHead.check(SiteReportFormat)}
	for i, d := range r.Doors {
		faults = append(faults, d.check(fmt.Sprintf("doors[%d].", i), r.Audience))
	}
	return errors.Join(faults...)
}

// Check reports every fault that would make the document unfit to be sealed.
func (r PortfolioDocument) Check() error { return r.ReportHead.check(PortfolioReportFormat) }

// byGravity sorts an overview: by the gravest state, the longest overdue first, then by site and tag.
func byGravity(a, b OverviewLine) int {
	return cmp.Or(cmp.Compare(gravity(a), gravity(b)), cmp.Compare(b.OverdueDays, a.OverdueDays), cmp.Compare(len(b.States), len(a.States)),
		cmp.Compare(a.Site, b.Site), cmp.Compare(a.SiteID, b.SiteID), cmp.Compare(a.Tag, b.Tag))
}

// gravity is the place of a line's gravest state among all.
func gravity(l OverviewLine) int {
	if len(l.States) == 0 {
		return len(StateOrder())
	}
	return slices.Index(StateOrder(), l.States[0])
}

// siteReport gathers a site with each of its doors.
func (f *Fleet) siteReport(ctx context.Context, tx Tx, by identity.Actor, id uuid.UUID, ask ReportAsk) (doc SiteDocument, about Report, err error) {
	site, err := tx.SiteByID(ctx, ask.SiteID)
	if err != nil {
		return doc, about, err
	}
	if err := f.checkAsOf(ask.AsOf, site.Location()); err != nil {
		return doc, about, err
	}
	m := f.moment(ask.AsOf, site.Location())
	if doc.ReportPlace, err = f.place(ctx, tx, site, m.day); err != nil {
		return doc, about, err
	}
	doc.ReportHead = f.head(SiteReportFormat, by, id, forCustomer, m.day, paperOf(ask.Paper, site.Jurisdiction))
	doors, err := tx.PortfolioDoors(ctx, []uuid.UUID{ask.SiteID}, m.asOf.Effective)
	if err != nil {
		return doc, about, err
	}
	switch {
	case len(doors) == 0:
		return doc, about, fault.New(fault.Conflict, "report_without_doors")
	case len(doors) > mostDoorsOfSite:
		return doc, about, fault.New(fault.Conflict, "report_too_large", "doors", len(doors), "most", mostDoorsOfSite)
	}
	content := map[string]DoorContent{}
	for _, d := range doors {
		c, err := f.doorContent(ctx, tx, by, d.DoorID, site, m, forCustomer)
		if err != nil {
			return doc, about, err
		}
		content[c.Door.ID] = c
		doc.Overview = append(doc.Overview, c.line(doc.Site))
	}
	slices.SortFunc(doc.Overview, byGravity)
	for _, l := range doc.Overview {
		doc.Doors = append(doc.Doors, content[l.DoorID])
	}
	return doc, Report{Kind: KindSite, CustomerID: site.CustomerID, SiteID: site.SiteID}, nil
}

// line is a door in one line.
func (d DoorContent) line(site ReportSite) OverviewLine {
	l := OverviewLine{DoorID: d.Door.ID, Tag: d.Door.Tag, Name: d.Door.Name, Kind: d.Door.Kind, SiteID: site.ID, Site: site.Name, States: d.States()}
	for _, f := range d.Findings {
		l.count(f.Severity)
	}
	if last := d.LastInspection; last != nil {
		l.LastOn, l.LastResult = last.Date, last.Result
	}
	for _, due := range d.Due {
		l.NextDueOn, l.OverdueDays = due.NextDueOn, due.OverdueDays
	}
	return l
}

func (l *OverviewLine) count(severity string) {
	switch severity {
	case string(rulebook.Unsafe):
		l.Unsafe++
	case string(rulebook.Deficient):
		l.Deficient++
	default:
		l.Advisory++
	}
}

// portfolio gathers the doors of many sites, in as many statements whether they are few or many.
func (f *Fleet) portfolio(ctx context.Context, tx Tx, by identity.Actor, id uuid.UUID, ask ReportAsk) (doc PortfolioDocument, about Report, err error) {
	about = Report{Kind: KindPortfolio, PortfolioCustomerID: ask.CustomerID}
	if ask.CustomerID != uuid.Nil {
		customer, err := tx.CustomerByID(ctx, ask.CustomerID)
		if err != nil {
			return doc, about, err
		}
		doc.Customer = &ReportCustomer{ID: customer.CustomerID.String(), Name: customer.Name}
	}
	sites, err := tx.SitesInSight(ctx, ask.CustomerID, ask.Sites, mostSites+1)
	if err != nil {
		return doc, about, err
	}
	if err := checkSites(ask.Sites, sites); err != nil {
		return doc, about, err
	}
	moments, day, err := f.momentsOf(ask.AsOf, sites)
	if err != nil {
		return doc, about, err
	}
	doc.ReportHead = f.head(PortfolioReportFormat, by, id, forCustomer, day, paperOf(ask.Paper, sites[0].Jurisdiction))
	lines, err := f.overview(ctx, tx, sites, moments)
	if err != nil {
		return doc, about, err
	}
	count := map[string]int{}
	for _, l := range lines {
		count[l.SiteID]++
	}
	for _, s := range sites {
		doc.Sites = append(doc.Sites, PortfolioSite{
			ReportSite: ReportSite{ID: s.SiteID.String(), Name: s.Name, Address: s.inOneLine(), Jurisdiction: s.Jurisdiction, Zone: s.TimeZone},
			Customer:   ReportCustomer{ID: s.CustomerID.String(), Name: s.CustomerName}, Doors: count[s.SiteID.String()]})
		about.Sites = append(about.Sites, ReportedSite{s.CustomerID, s.SiteID})
	}
	doc.Overview = lines
	return doc, about, nil
}

// checkSites refuses a portfolio of no site, of too many, or of one that is not in sight.
func checkSites(asked []uuid.UUID, found []SiteLine) error {
	var faults fault.List
	for i, id := range asked {
		if !slices.ContainsFunc(found, func(s SiteLine) bool { return s.SiteID == id }) {
			faults.Add(fmt.Sprintf("/sites/%d", i), "site_not_found")
		}
	}
	switch {
	case faults.Err() != nil:
		return faults.Err()
	case len(found) == 0:
		return fault.New(fault.Conflict, "report_without_doors")
	case len(found) > mostSites:
		return fault.New(fault.Conflict, "report_of_too_many_sites", "most", mostSites)
	}
	return nil
}

// momentsOf gives the moment of each site, and the day that the report as a whole speaks of: the one that was asked for,
// or the latest that has begun at any of them.
func (f *Fleet) momentsOf(asked duedate.Day, sites []SiteLine) (map[uuid.UUID]moment, duedate.Day, error) {
	moments := map[uuid.UUID]moment{}
	latest := duedate.Day{}
	var ahead *time.Location // where the day is the furthest
	for _, s := range sites {
		m := f.moment(asked, s.Location())
		moments[s.SiteID] = m
		if ahead == nil || m.day.After(latest) {
			latest, ahead = m.day, s.Location()
		}
	}
	if asked.IsZero() {
		return moments, latest, nil
	}
	return moments, asked, f.checkAsOf(asked, ahead)
}

// overview gives a line for each door of the sites, the gravest first.
func (f *Fleet) overview(ctx context.Context, tx Tx, sites []SiteLine, moments map[uuid.UUID]moment) ([]OverviewLine, error) {
	ids, siteOf, last, end := []uuid.UUID{}, map[uuid.UUID]SiteLine{}, time.Time{}, time.Time{}
	for _, s := range sites {
		ids, siteOf[s.SiteID] = append(ids, s.SiteID), s
		if m := moments[s.SiteID]; m.end.After(end) {
			last, end = m.asOf.Effective, m.end
		}
	}
	doors, err := tx.PortfolioDoors(ctx, ids, last)
	switch {
	case err != nil:
		return nil, err
	case len(doors) == 0:
		return nil, fault.New(fault.Conflict, "report_without_doors")
	case len(doors) > mostPortfolioDoors:
		return nil, fault.New(fault.Conflict, "report_too_large", "doors", len(doors), "most", mostPortfolioDoors)
	}
	lines := make([]OverviewLine, 0, len(doors))
	next := 0 // of doors, which come in the same order as the entries
	var entries []Entry
	settle := func(until uuid.UUID) {
		for next < len(doors) && (until == uuid.Nil || doors[next].DoorID.String() < until.String()) {
			d := doors[next]
			mine := entries
			if len(mine) > 0 && mine[0].DoorID != d.DoorID {
				mine = nil
			}
			lines = append(lines, f.overviewLine(d, siteOf[d.SiteID], moments[d.SiteID], mine))
			next++
		}
	}
	err = tx.EachStandingEntry(ctx, ids, end, func(e Entry) error {
		if len(entries) > 0 && entries[0].DoorID != e.DoorID {
			settle(e.DoorID)
			entries = entries[:0]
		}
		if e.ObservedAt.Before(moments[e.SiteID].end) {
			entries = append(entries, e)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	settle(uuid.Nil)
	slices.SortFunc(lines, byGravity)
	return lines, nil
}

// overviewLine is a door in one line, from the entries that say how it stands.
func (f *Fleet) overviewLine(d PortfolioDoor, site SiteLine, m moment, entries []Entry) OverviewLine {
	l := OverviewLine{DoorID: d.DoorID.String(), Tag: d.Tag.String(), Name: d.Name, Kind: d.Kind, SiteID: site.SiteID.String(), Site: site.Name}
	c := consequencesOf(entries, site.Location())
	var is Condition
	for _, f := range c.findings {
		if f.State == "open" {
			l.count(f.Severity)
			is.Danger = is.Danger || f.dangerOn(m.day)
		}
	}
	for _, k := range c.cases {
		is.Unsecured = is.Unsecured || k.State == "unsecured"
		is.Secured = is.Secured || k.State == "secured"
	}
	is.Unsafe, is.Deficient, is.Inspected = l.Unsafe > 0, l.Deficient > 0, len(c.completions) > 0
	if is.Inspected {
		last := c.completions[len(c.completions)-1]
		l.LastOn, l.LastResult = last.Day.String(), "failed"
		if last.Passed {
			l.LastResult = "passed"
		}
		is.Failed = !last.Passed
	}
	if d.Plan != nil {
		due := dueOf(d.Plan.countedFrom(d.HandedOver), c.completions, m.day)
		l.NextDueOn, l.OverdueDays = due.NextDueOn, due.OverdueDays
		is.Planned, is.Overdue = true, due.OverdueDays > 0
	}
	_, is.HasBasis = f.Book.Pack(d.RulePack)
	l.States = is.states()
	return l
}
