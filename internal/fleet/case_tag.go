package fleet

import (
	"context"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// OutOfServiceTag is what hangs at a door that is out of service. It is written when it is asked for and not kept: what counts is the case.
type OutOfServiceTag struct {
	ReportHead
	Tag       string // of the door
	Door      string
	Site      string
	Address   string // of the site, in one line
	What      string // the unsafe finding in the inspector's words
	Since     string // day and time at the site, with its zone
	How       string // the door was secured; "" while nobody has recorded it
	OtherExit string // to be used instead, where one was named
}

// Check is that of a document; a tag is not kept, so there is nothing to hold it to.
func (OutOfServiceTag) Check() error { return nil }

// CaseTag prints the tag of an open out-of-service case, as pdf or html. A case that has ended has none.
func (f *Fleet) CaseTag(ctx context.Context, by identity.Actor, id uuid.UUID, form string) (print []byte, err error) {
	var doc OutOfServiceTag
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		c, err := tx.CaseByID(ctx, id)
		if err != nil {
			return err
		}
		if c.State == "ended" {
			return fault.New(fault.Conflict, "case_ended")
		}
		door, err := tx.DoorByID(ctx, c.DoorID, AsOf{})
		if err != nil {
			return err
		}
		site, err := tx.SiteByID(ctx, c.SiteID)
		if err != nil {
			return err
		}
		doc = OutOfServiceTag{ReportHead: f.head("", by, id, forCustomer, duedate.DayIn(f.Now(), site.Location()), paperOf("", site.Jurisdiction)),
			Tag: door.Tag.String(), Door: door.Name, Site: site.Name, Address: site.inOneLine(), What: c.What, Since: c.OpenedAt.In(site.Location()).Format("2006-01-02 15:04 MST"), How: c.SecuredHow}
		if c.SecuringEntry == nil {
			return nil
		}
		securing, err := tx.EntryByID(ctx, *c.SecuringEntry)
		if err == nil && securing.Body.Securing != nil {
			doc.OtherExit = securing.Body.Securing.OtherExit
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	prints, err := f.PrintReport(doc, "")
	if err != nil {
		return nil, err
	}
	p, ok := Report{Prints: prints}.Print(form)
	if !ok || p.Bytes == nil { // a tag has no table
		return nil, fault.New(fault.NotFound, "route_not_found")
	}
	return p.Bytes, nil
}
