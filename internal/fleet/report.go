package fleet

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/words"
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
	Name, Scheme, Number string
	ValidUntil           duedate.Day
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
		doc, err := f.compliance(ctx, tx, by, doorID, reportID, forCustomer)
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
		doc, err = f.compliance(ctx, tx, by, doorID, f.NewID(), audience)
		return err
	})
	return doc, err
}

// compliance gathers everything that a report says of a door.
func (f *Fleet) compliance(ctx context.Context, tx Tx, by identity.Actor, doorID, reportID uuid.UUID, audience string) (ComplianceReport, error) {
	p, err := pictureOf(ctx, tx, doorID, AsOf{})
	if err != nil {
		return ComplianceReport{}, err
	}
	site, err := tx.SiteByID(ctx, p.door.SiteID)
	if err != nil {
		return ComplianceReport{}, err
	}
	customer, err := tx.CustomerByID(ctx, site.CustomerID)
	if err != nil {
		return ComplianceReport{}, err
	}
	now := f.Now().UTC().Truncate(time.Second)
	w := writer{fleet: f, texts: f.Words.Printer(cmp.Or(by.Language, "en"), words.Metric), zone: site.Location(), today: duedate.DayIn(now, site.Location()), audience: audience}
	doc := ComplianceReport{
		Format: ComplianceReportFormat, ID: reportID.String(), MadeAt: now.Format(time.RFC3339), AsOf: w.today.String(), Audience: audience,
		Language: w.texts.Language(), Company: f.Company,
		Customer: ReportCustomer{ID: customer.CustomerID.String(), Name: customer.Name},
		Site:     ReportSite{ID: site.SiteID.String(), Name: site.Name, Address: site.inOneLine(), Jurisdiction: site.Jurisdiction, Zone: site.TimeZone},
		Parties:  []ReportParty{}, Sides: []ReportSide{}, Devices: []ReportDevice{}, Verdicts: []ReportVerdict{}, Findings: []ReportFinding{},
		OutOfService: []ReportOutOfService{}, Due: []ReportDue{}, WorkOrders: []ReportWorkOrder{}, Cautions: []string{},
	}
	standings, err := tx.StandingPage(ctx, StandingQuery{SiteID: site.SiteID, OnDay: w.today, Limit: 100})
	if err != nil {
		return doc, err
	}
	for _, s := range standings {
		doc.Parties = append(doc.Parties, ReportParty{Role: s.Role, Name: s.PartyName, Since: s.FromDay.String()})
	}
	w.door(&doc, p)
	entries, err := tx.EntriesOfDoor(ctx, doorID)
	if err != nil {
		return doc, err
	}
	if err := w.work(ctx, tx, &doc, p, entries); err != nil {
		return doc, err
	}
	w.cautions(&doc)
	return doc, nil
}

// inOneLine is the address as one line.
func (s Site) inOneLine() string {
	line := ""
	for _, part := range []string{s.Address, s.PostalCode, s.City, s.Region, s.Country} {
		if part != "" && line != "" {
			line += ", "
		}
		line += part
	}
	return line
}

// writer writes the parts of a compliance document.
type writer struct {
	fleet    *Fleet
	texts    words.Printer
	zone     *time.Location
	today    duedate.Day
	audience string
}

func (w writer) day(at time.Time) string     { return duedate.DayIn(at, w.zone).String() }
func (w writer) instant(at time.Time) string { return at.UTC().Format(time.RFC3339) }

func reportQuantity(q Quantity) ReportQuantity {
	return ReportQuantity{Value: q.Value, Basis: string(q.Basis)}
}

// door writes what the door is, what is fitted, and what is watched.
func (w writer) door(doc *ComplianceReport, p picture) {
	d, facts := p.door, p.door.Facts
	doc.Door = ReportDoor{ID: d.DoorID.String(), Tag: d.Tag.String(), Name: d.Name, Kind: facts.Kind, Energy: facts.Energy, Traffic: facts.Traffic,
		PresenceBy: facts.PresenceBy, GuideRails: facts.GuideRails, KnownSince: d.KnownSince.String(), Modes: append([]string{}, facts.Modes...),
		Egress: facts.Egress, FireRated: facts.FireRated, Vulnerable: facts.VulnerableUsers,
		ClearWidthM: reportQuantity(facts.ClearWidthM), HeaderDepthM: reportQuantity(facts.HeaderDepthM),
		OpeningTimeS: reportQuantity(facts.OpeningTimeS), ClosingTimeS: reportQuantity(facts.ClosingTimeS), Leaves: []ReportLeaf{}, Components: []ReportHardware{}}
	for _, l := range facts.Leaves {
		doc.Door.Leaves = append(doc.Door.Leaves, ReportLeaf{Motion: l.Motion, Hinge: l.Hinge, OpensTowards: l.OpensTowards,
			WidthM: reportQuantity(l.WidthM), HeightM: reportQuantity(l.HeightM), MassKg: reportQuantity(l.MassKg)})
	}
	for _, c := range p.components {
		switch {
		case c.Fitting.State != "fitted":
		case c.senses():
			doc.Devices = append(doc.Devices, w.device(p, c))
		default:
			maker, model := p.nameOf(c)
			doc.Door.Components = append(doc.Door.Components, ReportHardware{Kind: c.Kind, Maker: maker, Model: model, Serial: c.Serial, FittedSince: w.day(c.Version.EffectiveAt)})
		}
	}
	pack, ok := w.fleet.Book.Pack(facts.RuleBasis.PackID)
	if !ok {
		return
	}
	doc.RuleBasis = &ReportRuleBasis{PackID: pack.ID, Standard: pack.Standard, Edition: pack.Edition, Since: facts.RuleBasis.Since.String(),
		Reason: facts.RuleBasis.Why, Caution: w.texts.T(pack.CautionKey())}
	covers := p.covers(pack)
	for _, side := range []string{"a", "b"} {
		doc.Sides = append(doc.Sides, w.side(facts.Side(side), side, covers))
	}
}

// nameOf is how a component is called.
func (p picture) nameOf(c Component) (maker, model string) {
	if c.ModelID == nil {
		return "", c.ModelText
	}
	m := p.models[*c.ModelID]
	return m.Maker, m.Name
}

func (w writer) device(p picture, c Component) ReportDevice {
	maker, model := p.nameOf(c)
	out := ReportDevice{ID: c.ComponentID.String(), Side: c.Fitting.Side, Maker: maker, Model: model, Serial: c.Serial,
		Purpose: deviceInPlace{component: c}.purpose(), Accessories: []string{}, FittedSince: w.day(c.Version.EffectiveAt), Missing: []string{},
		Mount: reportMount(MountFacts{UnknownQuantity(), UnknownQuantity(), UnknownQuantity(), UnknownQuantity(), UnknownQuantity()})}
	i := slices.IndexFunc(p.devices, func(d deviceInPlace) bool { return d.component.ComponentID == c.ComponentID })
	if i < 0 {
		out.Missing = []string{"settings"}
		return out
	}
	d := p.devices[i]
	facts := d.revision.Device
	out.Mount = reportMount(facts.Mount)
	out.Settings = &ReportSettings{Standing: d.revision.Standing, EffectiveAt: w.instant(d.revision.EffectiveAt), ReachDB: reportQuantity(facts.Settings.ReachDB),
		ConfirmTravelMM: reportQuantity(facts.Settings.ConfirmTravelMM), OutputHoldS: reportQuantity(facts.Settings.OutputHoldS),
		MotionDirection: facts.Settings.MotionDirection, HoldWhileMoving: facts.Settings.HoldWhileMoving, OutputContact: facts.Settings.OutputContact}
	if facts.AntennaID != nil {
		out.Antenna = p.antennas[*facts.AntennaID].Name
	}
	for _, id := range facts.Accessories {
		out.Accessories = append(out.Accessories, p.accessories[id].Name)
	}
	if d.sensing != "radar" {
		out.Missing = []string{"sensing"}
		return out
	}
	e, polygons := p.extent(d.revision, w.fleet.Now())
	out.Missing = e.Missing
	if len(e.Missing) == 0 {
		out.Field = &ReportField{WidthM: *e.WidthM, DepthM: *e.DepthM, NearM: *e.NearM, FarM: *e.FarM, AreaM2: *e.AreaM2, ModelVersion: e.ModelVersion, Polygons: rings(polygons)}
	}
	return out
}

func reportMount(m MountFacts) ReportMount {
	return ReportMount{HeightM: reportQuantity(m.HeightM), OffsetXM: reportQuantity(m.OffsetXM), OffsetYM: reportQuantity(m.OffsetYM),
		TiltDeg: reportQuantity(m.TiltDeg), YawDeg: reportQuantity(m.YawDeg)}
}

// side writes the zones of a side. Coverage is computed, and internal until a person confirms it.
func (w writer) side(s SideFacts, name string, covers []zoneCover) ReportSide {
	out := ReportSide{Side: name, Label: s.Label, Activation: s.Activation, Required: []ReportZone{}, KeptClear: []ReportZone{}, Coverage: []ReportCoverage{}}
	for _, z := range s.KeptClear {
		out.KeptClear = append(out.KeptClear, ReportZone{Purpose: z.What, Title: z.What, Polygons: rectangle(z.X0M, z.X1M, z.Y0M, z.Y1M)})
	}
	for _, c := range covers {
		if c.side != name {
			continue
		}
		zone := ReportZone{Purpose: string(c.zone.Kind), Title: w.texts.T(c.zone.TitleKey), Source: sourceLine(c.zone.Source), Polygons: ReportPolygons{}}
		if r := c.zone.Rect; r != nil {
			zone.Polygons = rectangle(r.X0M, r.X1M, r.Y0M, r.Y1M)
		}
		out.Required = append(out.Required, zone)
		if w.audience == forStaff {
			out.Coverage = append(out.Coverage, reportCoverage(c))
		}
	}
	return out
}

func rectangle(x0, x1, y0, y1 float64) ReportPolygons {
	return ReportPolygons{{{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}, {x0, y0}}}}
}

func sourceLine(s rulebook.Source) string {
	line := s.Standard
	if s.Edition != "" {
		line += "-" + s.Edition
	}
	if s.Clause != "" {
		line += " " + s.Clause
	}
	return line
}

func reportCoverage(c zoneCover) ReportCoverage {
	out := ReportCoverage{Purpose: string(c.zone.Kind), Gaps: []ReportGap{}, Shortfalls: []string{}, Missing: c.missing, ModelVersion: field.ModelVersion}
	if c.cover == nil {
		return out
	}
	out.Share = &c.cover.CoveredShare
	for _, g := range c.cover.Gaps {
		at := g.Polygon[0][0]
		out.Gaps = append(out.Gaps, ReportGap{XM: at[0], YM: at[1], DiameterM: g.CircleM, Shortfall: g.Shortfall, Polygons: rings([]field.Polygon{g.Polygon})})
	}
	return out
}

// work writes what was inspected, found, secured, and is due.
func (w writer) work(ctx context.Context, tx Tx, doc *ComplianceReport, p picture, entries []Entry) error {
	if err := w.lastInspection(ctx, tx, doc, p, entries); err != nil {
		return err
	}
	c := consequencesOf(entries, w.zone)
	for _, f := range c.findings {
		if f.State == "open" {
			doc.Findings = append(doc.Findings, ReportFinding{ID: f.FindingID.String(), Severity: f.Severity, Title: f.What, OpenedOn: w.day(f.OpenedAt),
				RuleID: f.Cause, Origin: "visit"})
		}
	}
	for _, k := range c.cases {
		if k.State == "ended" {
			continue
		}
		one, err := w.outOfService(ctx, tx, k, entries)
		if err != nil {
			return err
		}
		doc.OutOfService = append(doc.OutOfService, one)
	}
	return w.calendar(ctx, tx, doc, p.door.DoorID, c.completions)
}

func (w writer) lastInspection(ctx context.Context, tx Tx, doc *ComplianceReport, p picture, entries []Entry) error {
	var last *Entry
	for _, e := range live(entries) {
		if e.Body.Kind == "conclusion" && e.Signed {
			last = &e
		}
	}
	if last == nil {
		return nil
	}
	v, err := tx.VisitByID(ctx, last.VisitID)
	if err != nil {
		return err
	}
	inspector := v.RecordedBy
	if v.SignedBy != nil {
		inspector = *v.SignedBy
	}
	card, err := tx.PersonCard(ctx, inspector, duedate.DayIn(last.ObservedAt, w.zone))
	if err != nil {
		return err
	}
	doc.LastInspection = &ReportInspection{VisitID: v.VisitID.String(), Date: w.day(last.ObservedAt), Kind: "inspection", Result: last.Body.Conclusion.Result,
		Inspector: ReportInspector{Name: card.Name, Employer: w.fleet.Company.Name, Qualification: card.Scheme, CertificateNo: card.Number, ValidUntil: card.ValidUntil.String()}}
	if v.SignedAt != nil {
		doc.LastInspection.SignedAt = w.instant(*v.SignedAt)
		doc.LastInspection.RecordSHA256 = seal.Hash(v.RecordSHA256).String()
	}
	pack, ok := w.fleet.Book.Pack(p.door.Facts.RuleBasis.PackID)
	if !ok {
		return nil
	}
	var ofVisit []Entry
	for _, e := range entries {
		if e.VisitID == last.VisitID {
			ofVisit = append(ofVisit, e)
		}
	}
	for _, v := range pack.Judge(rulebookFacts(p.door.Facts), readingsOf(p.door.DoorID, *last, ofVisit)) {
		doc.Verdicts = append(doc.Verdicts, w.verdict(v))
	}
	return nil
}

func (w writer) verdict(v rulebook.Verdict) ReportVerdict {
	out := ReportVerdict{RuleID: v.RuleID, Title: w.texts.T(v.TitleKey), Readings: []ReportReading{}, Measured: reportAmount(v.Measured), Outcome: string(v.Outcome),
		Severity: string(v.Severity), Weight: string(v.Weight), Source: sourceLine(v.Source), Standing: string(v.Standing)}
	if v.Limit != nil {
		out.AtLeast, out.AtMost = reportAmount(v.Limit.AtLeast), reportAmount(v.Limit.AtMost)
	}
	if v.Reason != "" {
		out.Reason = w.texts.T("rulebook.reason." + string(v.Reason))
	}
	for _, u := range v.Readings {
		r := ReportReading{Title: w.texts.T("reading." + u.Name + ".title"), Value: u.Number, Unit: u.Unit, Yes: u.Yes}
		out.Readings = append(out.Readings, r)
	}
	return out
}

func reportAmount(a *rulebook.Amount) *ReportAmount {
	if a == nil {
		return nil
	}
	return &ReportAmount{Value: a.Value, Unit: a.Unit, SI: a.SI, SIUnit: a.SIUnit}
}

// outOfService writes an open case with everybody who was told.
func (w writer) outOfService(ctx context.Context, tx Tx, k OutOfServiceCase, entries []Entry) (ReportOutOfService, error) {
	out := ReportOutOfService{ID: k.CaseID.String(), FindingID: k.FindingID.String(), OpenedAt: w.instant(k.OpenedAt), Reason: k.What, Told: []ReportTold{}}
	for _, e := range live(entries) {
		if e.EntryID == k.CaseID {
			card, err := tx.PersonCard(ctx, e.RecordedBy, duedate.DayIn(e.ObservedAt, w.zone))
			if err != nil {
				return out, err
			}
			out.OpenedBy = card.Name
		}
		s := e.Body.Securing
		if s == nil || e.ObservedAt.Before(k.OpenedAt) {
			continue
		}
		if s.ToldName != "" {
			out.Told = append(out.Told, ReportTold{Name: s.ToldName, Role: s.ToldRole, At: w.instant(e.ObservedAt), Answer: s.Answer})
		}
		if k.SecuringEntry != nil && *k.SecuringEntry == e.EntryID {
			card, err := tx.PersonCard(ctx, e.RecordedBy, duedate.DayIn(e.ObservedAt, w.zone))
			if err != nil {
				return out, err
			}
			out.Secured = &ReportSecuring{How: s.How, At: w.instant(e.ObservedAt), By: card.Name, OtherExit: s.OtherExit, CanGetOut: s.EgressKept, Note: s.Note}
		}
	}
	return out, nil
}

func (w writer) calendar(ctx context.Context, tx Tx, doc *ComplianceReport, doorID uuid.UUID, completions []Completion) error {
	plans, err := tx.PlansOfDoor(ctx, doorID)
	if err != nil {
		return err
	}
	last := duedate.Day{}
	for _, c := range completions {
		if c.Day.After(last) {
			last = c.Day
		}
	}
	for _, p := range plans {
		if p.Active {
			doc.Due = append(doc.Due, ReportDue{IntervalMonths: p.IntervalMonths, LastOn: last.String(), NextDueOn: p.NextDue.String(), OverdueDays: max(0, p.NextDue.DaysUntil(w.today))})
		}
	}
	inspections, err := tx.InspectionOrders(ctx, doorID)
	if err != nil {
		return err
	}
	repairs, err := tx.RepairOrders(ctx, doorID)
	if err != nil {
		return err
	}
	orders := append(inspections, repairs...)
	slices.SortFunc(orders, func(a, b WorkOrder) int {
		return cmp.Or(b.DueOn.Compare(a.DueOn), cmp.Compare(a.WorkOrderID.String(), b.WorkOrderID.String()))
	})
	for _, o := range orders[:min(len(orders), 20)] {
		doc.WorkOrders = append(doc.WorkOrders, ReportWorkOrder{ID: o.WorkOrderID.String(), Kind: o.Kind, Note: o.Note, State: o.State, DueOn: o.DueOn.String(), DoneOn: o.DoneOn.String()})
	}
	return nil
}

// cautions says what the reader must know about this report in particular.
func (w writer) cautions(doc *ComplianceReport) {
	if slices.ContainsFunc(doc.Verdicts, func(v ReportVerdict) bool { return v.Weight == string(rulebook.Unverified) }) {
		doc.Cautions = append(doc.Cautions, "limits_from_memory")
	}
	if slices.ContainsFunc(doc.Devices, func(d ReportDevice) bool { return len(d.Missing) > 0 }) || doc.Door.ClearWidthM.Value == nil {
		doc.Cautions = append(doc.Cautions, "values_unknown")
	}
}

// ReadReport reads a kept document back.
func ReadReport(canonical []byte) (ComplianceReport, error) {
	var doc ComplianceReport
	err := json.Unmarshal(canonical, &doc)
	return doc, err
}
