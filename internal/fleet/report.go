package fleet

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
)

// Report is a compliance report as it was given out. Its id always gives the same bytes.
type Report struct {
	CustomerID, SiteID, DoorID, ReportID uuid.UUID
	Canonical                            []byte // the document, canonical JSON
	SHA256                               [32]byte
	PDF                                  []byte
	PDFSHA256                            [32]byte
	MadeAt                               time.Time
	MadeBy                               uuid.UUID
}

// ReportQuery asks for the reports of a door, the newest first.
type ReportQuery struct {
	DoorID   uuid.UUID
	BeforeAt time.Time
	BeforeID uuid.UUID
	Limit    int
}

// PersonCard is what a report says of a person.
type PersonCard struct {
	Name, Scheme, Number  string
	ValidFrom, ValidUntil duedate.Day
}

// ReportAsk is what a report is asked of.
type ReportAsk struct {
	DoorID uuid.UUID
	AsOf   duedate.Day // zero: the present day at the place
	Paper  string      // a4, letter; "" leaves it to the jurisdiction
}

type reportRows interface {
	ReportByID(ctx context.Context, id uuid.UUID) (Report, error)
	// ReportPage lists reports without their bytes.
	ReportPage(ctx context.Context, q ReportQuery) ([]Report, error)
	// InsertReport answers false when the id is taken.
	InsertReport(ctx context.Context, r Report) (bool, error)
	// PersonCard gives a person's name and the qualification that was valid on a day.
	PersonCard(ctx context.Context, id uuid.UUID, day duedate.Day) (PersonCard, error)
}

// Audiences of a compliance document.
const (
	forCustomer = "customer"
	forStaff    = "internal"
)

// MakeReport takes the snapshot of a door under an id that the caller chose. The same id again gives the same
// snapshot, however the register has moved on.
func (f *Fleet) MakeReport(ctx context.Context, by identity.Actor, doorID, reportID uuid.UUID) (r Report, created bool, err error) {
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		r, err = tx.ReportByID(ctx, reportID)
		switch {
		case err == nil && r.DoorID != doorID:
			return fault.New(fault.Conflict, "report_of_other_door")
		case err == nil:
			created = false
			return nil
		case !fault.Is(err, "report_not_found"):
			return err
		}
		if f.Company.Name == "" {
			return fault.New(fault.Conflict, "company_not_set")
		}
		doc, err := f.compliance(ctx, tx, by, reportID, ReportAsk{DoorID: doorID}, forCustomer)
		if err != nil {
			return err
		}
		if r, err = f.snapshot(doc, by, reportID); err != nil {
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

func (f *Fleet) snapshot(doc ComplianceReport, by identity.Actor, id uuid.UUID) (Report, error) {
	if err := doc.Check(); err != nil {
		return Report{}, err
	}
	canonical, hash, err := sealed(doc)
	if err != nil {
		return Report{}, err
	}
	pdf, err := f.Print(doc, seal.Hash(hash).String(), by.Units)
	if err != nil {
		return Report{}, fmt.Errorf("print report: %w", err)
	}
	made, err := time.Parse(time.RFC3339, doc.MadeAt)
	if err != nil {
		return Report{}, err
	}
	return Report{CustomerID: uuid.MustParse(doc.Customer.ID), SiteID: uuid.MustParse(doc.Site.ID), DoorID: uuid.MustParse(doc.Door.ID), ReportID: id,
		Canonical: canonical, SHA256: hash, PDF: pdf, PDFSHA256: seal.HashOf(pdf), MadeAt: made, MadeBy: by.PersonID}, nil
}

// Report gives a report that was made.
func (f *Fleet) Report(ctx context.Context, by identity.Actor, id uuid.UUID) (r Report, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		r, err = tx.ReportByID(ctx, id)
		return err
	})
	return r, err
}

// Reports lists the reports of a door, the newest first, without their bytes.
func (f *Fleet) Reports(ctx context.Context, by identity.Actor, q ReportQuery) (list []Report, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if _, err := tx.DoorByID(ctx, q.DoorID, AsOf{}); err != nil {
			return err
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
		doc, err = f.compliance(ctx, tx, by, f.NewID(), ReportAsk{DoorID: doorID}, audience)
		return err
	})
	return doc, err
}
