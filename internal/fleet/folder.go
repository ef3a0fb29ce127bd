package fleet

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// Folder is everything that is kept of one door, as it was at one time and was known at another. It is read in a number
// of statements that does not depend on what is in it.
type Folder struct {
	Door      Door
	Site      Site
	Customer  Customer
	Standings []Standing // that hold on the day
	// Document holds what the door is, what is fitted and what is watched, in the form from which drawings are made.
	Document   ComplianceReport
	Components []Component // fitted, in the order of their kinds
	Revisions  []Revision  // the recorded one of each device
	Findings   []Finding   // the newest first
	Cases      []OutOfServiceCase
	// Plans, Orders and Reports are not kept by version: they are as they stand now.
	Plans   []Plan
	Orders  []WorkOrder // the newest first
	Reports []Report    // the newest first
	Visits  []Visit     // the newest first
	History []HistoryLine
	Names   Names // of everybody and everything that is named above
}

// HistoryLine is one thing that was said of a door or of something in it.
type HistoryLine struct {
	Of          string // door, component, settings
	SubjectID   uuid.UUID
	Kind        string // component: its state; settings: intended, found, left
	EffectiveAt time.Time
	RecordedAt  time.Time
	RecordedBy  uuid.UUID
	Reason      string
}

// folderPart is how many of each list a folder holds.
const folderPart = 100

type folderRows interface {
	// HistoryOfDoor lists what was said of a door, its components and their settings as of both times, the newest first.
	HistoryOfDoor(ctx context.Context, doorID uuid.UUID, asOf AsOf, limit int) ([]HistoryLine, error)
}

// FolderQuery asks for the folder of a door as it was at the end of a day at its site.
type FolderQuery struct {
	DoorID uuid.UUID
	On     duedate.Day // zero: now
	Then   bool        // only what was known by then, too
}

// Folder opens the folder of a door.
func (f *Fleet) Folder(ctx context.Context, by identity.Actor, q FolderQuery) (out Folder, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		names, err := tx.NamesOf(ctx, Named{Doors: []uuid.UUID{q.DoorID}})
		if err != nil {
			return err
		}
		out, err = f.folder(ctx, tx, by, q.DoorID, q.asOf(Site{TimeZone: names[q.DoorID].TimeZone}.Location()))
		if fault.Is(err, "door_not_found") && !q.On.IsZero() { // or not there yet
			d, missing := tx.DoorByID(ctx, q.DoorID, AsOf{})
			if missing != nil {
				return missing
			}
			if q.Then {
				return fault.At("/as_of", "door_not_known_then", "day", duedate.DayIn(d.RecordedAt, time.UTC).String())
			}
			return fault.At("/as_of", "before_the_door", "day", d.KnownSince.String())
		}
		return err
	})
	for i := range out.Orders {
		out.Orders[i] = out.Orders[i].shownTo(by)
	}
	return out, err
}

// asOf is the last instant of the day in a zone.
func (q FolderQuery) asOf(zone *time.Location) (a AsOf) {
	if q.On.IsZero() {
		return a
	}
	y, m, d := q.On.Date()
	a.Effective = time.Date(y, m, d+1, 0, 0, 0, 0, zone).Add(-time.Microsecond)
	if q.Then {
		a.Recorded = a.Effective
	}
	return a
}

func (f *Fleet) folder(ctx context.Context, tx Tx, by identity.Actor, doorID uuid.UUID, asOf AsOf) (out Folder, err error) {
	p, err := pictureOf(ctx, tx, doorID, asOf)
	if err != nil {
		return out, err
	}
	out.Door = p.door
	if out.Site, err = tx.SiteByID(ctx, p.door.SiteID); err != nil {
		return out, err
	}
	if out.Customer, err = tx.CustomerByID(ctx, out.Site.CustomerID); err != nil {
		return out, err
	}
	at := f.Now()
	if !asOf.Effective.IsZero() {
		at = asOf.Effective
	}
	day := duedate.DayIn(at, out.Site.Location())
	if out.Standings, err = tx.StandingPage(ctx, StandingQuery{SiteID: out.Site.SiteID, OnDay: day, Limit: folderPart}); err != nil {
		return out, err
	}
	out.Document = f.drawn(by, p, out.Site)
	out.fittings(p)
	if err := out.work(ctx, tx, doorID, asOf, at); err != nil {
		return out, err
	}
	if out.History, err = tx.HistoryOfDoor(ctx, doorID, asOf, folderPart); err != nil {
		return out, err
	}
	out.Names, err = tx.NamesOf(ctx, out.named())
	return out, err
}

// drawn is the part of a compliance document from which drawings are made.
func (f *Fleet) drawn(by identity.Actor, p picture, site Site) ComplianceReport {
	audience := forCustomer
	if by.Role.Staff() {
		audience = forStaff
	}
	w := writer{fleet: f, texts: f.Words.Printer(cmp.Or(by.Language, "en"), words.Metric), zone: site.Location(), audience: audience}
	doc := ComplianceReport{ReportHead: ReportHead{Audience: audience}}
	w.door(&doc.DoorContent, p)
	return doc
}

// fittings takes what is fitted out of the picture.
func (out *Folder) fittings(p picture) {
	for _, c := range p.components {
		if c.Fitting.State == "fitted" {
			out.Components = append(out.Components, c)
		}
	}
	slices.SortStableFunc(out.Components, func(a, b Component) int { return cmp.Compare(a.Kind, b.Kind) })
	for _, d := range p.devices {
		out.Revisions = append(out.Revisions, d.revision)
	}
}

// work adds up what the visits until then say, and lists what is planned.
func (out *Folder) work(ctx context.Context, tx Tx, doorID uuid.UUID, asOf AsOf, at time.Time) (err error) {
	entries, err := tx.EntriesOfDoor(ctx, doorID)
	if err != nil {
		return err
	}
	visits, err := tx.VisitPage(ctx, VisitQuery{DoorID: doorID, Limit: folderPart})
	if err != nil {
		return err
	}
	out.Visits = slices.DeleteFunc(visits, func(v Visit) bool { return v.Attendance.ArrivedAt.After(at) || asOf.knewLater(v.ReceivedAt) })
	c := consequencesOf(asOf.until(entries, out.Visits, at), out.Site.Location())
	for _, v := range c.findings {
		visit, entry := v.VisitID, v.FindingID
		out.Findings = append(out.Findings, Finding{CustomerID: out.Door.CustomerID, SiteID: out.Door.SiteID, DoorID: doorID, FindingID: v.FindingID, Origin: "visit",
			Severity: v.Severity, Cause: v.Cause, What: v.What, State: v.State, OpenedAt: v.OpenedAt, ClosedAt: v.ClosedAt, VisitID: &visit, EntryID: &entry,
			ClosedByEntry: v.ClosedByEntry, RecordedAt: v.RecordedAt, TimeZone: out.Site.TimeZone, SafeUntil: v.SafeUntil, Decided: v.Decided,
			Times: v.Times, FirstAt: v.FirstAt, RecursOf: v.RecursOf})
	}
	out.Cases = c.cases
	computed, err := tx.FindingPage(ctx, FindingQuery{DoorID: doorID, Origin: "computed", Limit: folderPart})
	if err != nil {
		return err
	}
	for _, f := range computed {
		if f.OpenedAt.After(at) || asOf.knewLater(f.RecordedAt) {
			continue
		}
		if f.ClosedAt != nil && f.ClosedAt.After(at) {
			f.State, f.ClosedAt = "open", nil
		}
		out.Findings = append(out.Findings, f)
	}
	slices.SortStableFunc(out.Findings, func(a, b Finding) int { return b.OpenedAt.Compare(a.OpenedAt) })
	slices.SortStableFunc(out.Cases, func(a, b OutOfServiceCase) int { return b.OpenedAt.Compare(a.OpenedAt) })
	if out.Plans, err = tx.PlansOfDoor(ctx, doorID); err != nil {
		return err
	}
	if out.Orders, err = tx.WorkOrderPage(ctx, WorkOrderQuery{DoorID: doorID, Limit: 10 * folderPart}); err != nil {
		return err
	}
	slices.Reverse(out.Orders)
	out.Reports, err = tx.ReportPage(ctx, ReportQuery{DoorID: doorID, Limit: folderPart})
	return err
}

// knewLater tells whether something was recorded only after the time whose knowledge is asked for.
func (a AsOf) knewLater(recorded time.Time) bool {
	return !a.Recorded.IsZero() && recorded.After(a.Recorded)
}

// until keeps the entries that had been observed, and were known, by then. A signature counts from its own time on.
func (a AsOf) until(entries []Entry, visits []Visit, at time.Time) []Entry {
	signed := map[uuid.UUID]time.Time{}
	for _, v := range visits {
		if v.SignedAt != nil {
			signed[v.VisitID] = *v.SignedAt
		}
	}
	var kept []Entry
	for _, e := range entries {
		if e.ObservedAt.After(at) || a.knewLater(e.ReceivedAt) {
			continue
		}
		if when, known := signed[e.VisitID]; known && !a.Effective.IsZero() {
			e.Signed = e.Signed && !when.After(at)
		}
		kept = append(kept, e)
	}
	return kept
}

// named gathers the ids whose names a reader of the folder needs.
func (out *Folder) named() Named {
	n := Named{People: []uuid.UUID{out.Door.Version.RecordedBy}}
	for _, c := range out.Components {
		if c.ModelID != nil {
			n.Models = append(n.Models, *c.ModelID)
		}
	}
	for _, r := range out.Revisions {
		n.People = append(n.People, r.RecordedBy)
	}
	for _, h := range out.History {
		n.People = append(n.People, h.RecordedBy)
		if h.Of == "component" || h.Of == "settings" {
			n.Components = append(n.Components, h.SubjectID)
		}
	}
	for _, v := range out.Visits {
		n.People = append(n.People, v.RecordedBy)
	}
	for _, o := range out.Orders {
		if o.AssignedTo != nil {
			n.People = append(n.People, *o.AssignedTo)
		}
	}
	for _, r := range out.Reports {
		n.People = append(n.People, r.MadeBy)
	}
	return n
}
