package fleet

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
)

// The kinds of reports.
const (
	KindDoor        = "door"
	KindCertificate = "certificate" // of the last inspection of a door
	KindLetter      = "letter"      // about open findings of a door, from an approved template
	KindSite        = "site"
	KindPortfolio   = "portfolio" // of a customer, of a set of sites, or of everything in sight
)

// ReportKinds lists the kinds of reports.
func ReportKinds() []string {
	return []string{KindDoor, KindCertificate, KindLetter, KindSite, KindPortfolio}
}

// Report is a report as it was given out. Its id always gives the same bytes.
type Report struct {
	ReportID uuid.UUID
	Kind     string
	// CustomerID and SiteID are zero for a portfolio, DoorID also for a site.
	CustomerID, SiteID, DoorID uuid.UUID
	// PortfolioCustomerID is zero unless it is a portfolio of one customer; Sites are those that a portfolio speaks of.
	PortfolioCustomerID uuid.UUID
	Sites               []ReportedSite
	AsOf                duedate.Day // zero in reports from before one could choose it
	Canonical           []byte      // the document, canonical JSON; not in lists
	SHA256              [32]byte
	Prints              []ReportPrint // without their bytes, but in the moment in which they are made
	MadeAt              time.Time
	MadeBy              uuid.UUID
}

// ReportedSite is a site that a portfolio speaks of.
type ReportedSite struct{ CustomerID, SiteID uuid.UUID }

// ReportPrint is a report in a form that people read.
type ReportPrint struct {
	Form   string // pdf, html, csv
	Bytes  []byte
	SHA256 [32]byte
}

// Print gives the print of a form; ok is false where there is none.
func (r Report) Print(form string) (p ReportPrint, ok bool) {
	i := slices.IndexFunc(r.Prints, func(p ReportPrint) bool { return p.Form == form })
	if i < 0 {
		return p, false
	}
	return r.Prints[i], true
}

// ReportAsk is what a report is asked of.
type ReportAsk struct {
	Kind                       string
	DoorID, SiteID, CustomerID uuid.UUID   // as the kind needs
	TemplateID                 uuid.UUID   // of a letter
	Findings                   []uuid.UUID // of a letter: those that it is about, in its order
	Sites                      []uuid.UUID // of a portfolio; with neither these nor a customer, all sites in sight
	AsOf                       duedate.Day // zero: the present day at the place
	Paper                      string      // a4, letter; "" leaves it to the jurisdiction
}

// ReportQuery asks for reports, the newest first.
type ReportQuery struct {
	Kind                       string    // "" for all
	DoorID, SiteID, CustomerID uuid.UUID // zero for all
	BeforeAt                   time.Time
	BeforeID                   uuid.UUID
	Limit                      int
}

type reportRows interface {
	// ReportByID gives a report without its prints' bytes.
	ReportByID(ctx context.Context, id uuid.UUID) (Report, error)
	// ReportPrint gives the bytes of one print.
	ReportPrint(ctx context.Context, id uuid.UUID, form string) (ReportPrint, error)
	// ReportPage lists reports without any bytes.
	ReportPage(ctx context.Context, q ReportQuery) ([]Report, error)
	// InsertReport answers false when the id is taken.
	InsertReport(ctx context.Context, r Report) (bool, error)
	// SitesInSight gives sites with their customers, in the order of customer and name: those named, or of one customer, or
	// all; at most so many.
	SitesInSight(ctx context.Context, customer uuid.UUID, sites []uuid.UUID, most int) ([]SiteLine, error)
	// PortfolioDoors gives the doors of sites as they were at an instant, with their plans, in the order of their ids.
	PortfolioDoors(ctx context.Context, sites []uuid.UUID, at time.Time) ([]PortfolioDoor, error)
	// EachStandingEntry gives the entries of the doors of sites that say how a door stands (no readings, photos, settings),
	// observed before an instant, door by door in the order of their ids, without holding them all.
	EachStandingEntry(ctx context.Context, sites []uuid.UUID, before time.Time, visit func(Entry) error) error
}

// Audiences of a document.
const (
	forCustomer = "customer"
	forStaff    = "internal"
)

// Document is what one report says, frozen.
type Document interface {
	Head() ReportHead
	Check() error
}

// MakeReport takes a snapshot under an id that the caller chose. The same again gives the same snapshot, however the
// register has moved on.
func (f *Fleet) MakeReport(ctx context.Context, by identity.Actor, reportID uuid.UUID, ask ReportAsk) (r Report, created bool, err error) {
	if err := ask.check(); err != nil {
		return Report{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		r, err = tx.ReportByID(ctx, reportID)
		switch {
		case err == nil:
			created = false
			return ask.same(r)
		case !fault.Is(err, "report_not_found"):
			return err
		}
		if f.Company.Name == "" {
			return fault.New(fault.Conflict, "company_not_set")
		}
		doc, about, err := f.document(ctx, tx, by, reportID, ask)
		if err != nil {
			return err
		}
		if r, err = f.snapshot(doc, about, by, reportID); err != nil {
			return err
		}
		if created, err = tx.InsertReport(ctx, r); err != nil {
			return err
		}
		if !created { // somebody else's, not in sight
			return fault.New(fault.NotFound, "report_not_found")
		}
		return tx.InsertRecord(ctx, Record{Kind: "report", CustomerID: r.CustomerID, SiteID: r.SiteID, SubjectID: r.ReportID,
			Canonical: r.Canonical, SHA256: r.SHA256, RecordedAt: r.MadeAt, RecordedBy: r.MadeBy})
	})
	return r, created, err
}

// document gathers what a report of that kind says, and what it is about.
func (f *Fleet) document(ctx context.Context, tx Tx, by identity.Actor, id uuid.UUID, ask ReportAsk) (doc Document, about Report, err error) {
	switch ask.Kind {
	case KindDoor, KindCertificate:
		d, err := f.compliance(ctx, tx, by, id, ask, forCustomer)
		if err != nil {
			return nil, about, err
		}
		about = Report{Kind: ask.Kind, CustomerID: uuid.MustParse(d.Customer.ID), SiteID: uuid.MustParse(d.Site.ID), DoorID: ask.DoorID}
		if ask.Kind == KindDoor {
			return d, about, nil
		}
		c, err := d.certificate()
		return c, about, err
	case KindLetter:
		template, err := tx.LetterTemplateByID(ctx, ask.TemplateID)
		if err != nil {
			return nil, about, err
		}
		d, err := f.letter(ctx, tx, by, id, ask, template, false)
		if err != nil {
			return nil, about, err
		}
		return d, Report{Kind: ask.Kind, CustomerID: uuid.MustParse(d.Customer.ID), SiteID: uuid.MustParse(d.Site.ID), DoorID: ask.DoorID}, nil
	case KindSite:
		return f.siteReport(ctx, tx, by, id, ask)
	default:
		return f.portfolio(ctx, tx, by, id, ask)
	}
}

// check refuses what is asked of no kind of report, or of another.
func (a ReportAsk) check() error {
	var faults fault.List
	checkOneOf(&faults, "/kind", a.Kind, ReportKinds()...)
	if a.Paper != "" {
		checkOneOf(&faults, "/paper", a.Paper, "a4", "letter")
	}
	needs := map[string]string{KindDoor: "/door_id", KindCertificate: "/door_id", KindLetter: "/door_id", KindSite: "/site_id"}[a.Kind]
	for pointer, given := range map[string]bool{"/door_id": a.DoorID != uuid.Nil, "/site_id": a.SiteID != uuid.Nil} {
		switch {
		case pointer == needs && !given:
			faults.Add(pointer, "report_subject_missing")
		case pointer != needs && given:
			faults.Add(pointer, "report_subject_of_other_kind", "kind", a.Kind)
		}
	}
	for pointer, given := range map[string]bool{"/customer_id": a.CustomerID != uuid.Nil, "/sites": len(a.Sites) > 0} {
		if given && a.Kind != KindPortfolio {
			faults.Add(pointer, "report_subject_of_other_kind", "kind", a.Kind)
		}
	}
	switch {
	case a.Kind == KindLetter && a.TemplateID == uuid.Nil:
		faults.Add("/template_id", "report_subject_missing")
	case a.Kind == KindLetter:
		if err := a.checkLetter(); err != nil {
			return err
		}
	case a.TemplateID != uuid.Nil:
		faults.Add("/template_id", "report_subject_of_other_kind", "kind", a.Kind)
	case len(a.Findings) > 0:
		faults.Add("/findings", "report_subject_of_other_kind", "kind", a.Kind)
	}
	if a.CustomerID != uuid.Nil && len(a.Sites) > 0 {
		faults.Add("/sites", "report_of_customer_and_sites")
	}
	if len(a.Sites) > mostSites {
		faults.Add("/sites", "too_many", "most", mostSites)
	}
	return faults.Err()
}

// same refuses to ask for something else under the id of a report that is there. What was left to the program when it
// was made may be said again or left again.
func (a ReportAsk) same(r Report) error {
	differs := func(pointer string) error {
		return &fault.Error{Kind: fault.Conflict, Code: "report_differs", Pointer: pointer}
	}
	switch {
	case a.Kind != r.Kind:
		return differs("/kind")
	case a.DoorID != r.DoorID && slices.Contains([]string{KindDoor, KindCertificate, KindLetter}, a.Kind):
		return differs("/door_id")
	case a.SiteID != r.SiteID && a.Kind == KindSite:
		return differs("/site_id")
	case a.CustomerID != r.PortfolioCustomerID:
		return differs("/customer_id")
	case !a.AsOf.IsZero() && a.AsOf != r.AsOf:
		return differs("/as_of")
	}
	if a.Kind == KindLetter {
		var d LetterDocument
		if err := json.Unmarshal(r.Canonical, &d); err != nil {
			return err
		}
		return d.same(a)
	}
	if len(a.Sites) == 0 {
		return nil
	}
	asked, spoken := slices.Clone(a.Sites), make([]uuid.UUID, len(r.Sites))
	for i, s := range r.Sites {
		spoken[i] = s.SiteID
	}
	byText := func(a, b uuid.UUID) int { return strings.Compare(a.String(), b.String()) }
	slices.SortFunc(asked, byText)
	slices.SortFunc(spoken, byText)
	if !slices.Equal(slices.Compact(asked), spoken) {
		return differs("/sites")
	}
	return nil
}

// snapshot seals a document and prints it in every form.
func (f *Fleet) snapshot(doc Document, about Report, by identity.Actor, id uuid.UUID) (Report, error) {
	if err := doc.Check(); err != nil {
		return Report{}, err
	}
	canonical, hash, err := sealed(doc)
	if err != nil {
		return Report{}, err
	}
	prints, err := f.PrintReport(doc, seal.Hash(hash).String())
	if err != nil {
		return Report{}, fmt.Errorf("print report: %w", err)
	}
	for i, p := range prints {
		prints[i].SHA256 = seal.HashOf(p.Bytes)
	}
	head := doc.Head()
	made, err := time.Parse(time.RFC3339, head.MadeAt)
	if err != nil {
		return Report{}, err
	}
	asOf, err := duedate.ParseDay(head.AsOf)
	if err != nil {
		return Report{}, err
	}
	about.ReportID, about.AsOf, about.Canonical, about.SHA256, about.Prints, about.MadeAt, about.MadeBy = id, asOf, canonical, hash, prints, made, by.PersonID
	return about, nil
}

// Report gives a report that was made, without its prints' bytes.
func (f *Fleet) Report(ctx context.Context, by identity.Actor, id uuid.UUID) (r Report, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		r, err = tx.ReportByID(ctx, id)
		return err
	})
	return r, err
}

// ReportIn gives a print of a report: the same bytes for ever. A report from before there was the form is not printed
// anew: nobody was given that print.
func (f *Fleet) ReportIn(ctx context.Context, by identity.Actor, id uuid.UUID, form string) (p ReportPrint, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		r, err := tx.ReportByID(ctx, id)
		if err != nil {
			return err
		}
		if _, ok := r.Print(form); !ok {
			return fault.New(fault.NotFound, "report_not_kept_so", "form", form)
		}
		p, err = tx.ReportPrint(ctx, id, form)
		return err
	})
	return p, err
}

// Reports lists reports, the newest first, without any bytes.
func (f *Fleet) Reports(ctx context.Context, by identity.Actor, q ReportQuery) (list []Report, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if q.DoorID != uuid.Nil {
			if _, err := tx.DoorByID(ctx, q.DoorID, AsOf{}); err != nil {
				return err
			}
		}
		list, err = tx.ReportPage(ctx, q)
		return err
	})
	return list, err
}

// Compliance gives the document of a door as it stands now, without keeping it. Staff see what computation says,
// others what people have confirmed.
func (f *Fleet) Compliance(ctx context.Context, by identity.Actor, doorID uuid.UUID) (doc ComplianceReport, err error) {
	audience := forCustomer
	if by.Role.Staff() {
		audience = forStaff
	}
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		doc, err = f.compliance(ctx, tx, by, f.NewID(), ReportAsk{Kind: KindDoor, DoorID: doorID}, audience)
		return err
	})
	return doc, err
}
