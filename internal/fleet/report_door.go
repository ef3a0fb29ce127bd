package fleet

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
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

// moment is when a report speaks of: how things stood at the end of a day, as far as they are known now.
type moment struct {
	asOf AsOf
	day  duedate.Day
	end  time.Time // exclusive
}

// moment is the end of a day at a place, or now from the present day there on.
func (f *Fleet) moment(day duedate.Day, zone *time.Location) moment {
	now := f.Now()
	if today := duedate.DayIn(now, zone); day.IsZero() || !day.Before(today) {
		return moment{day: today, end: now.Add(farthestClock)}
	}
	y, month, d := day.Date()
	end := time.Date(y, month, d+1, 0, 0, 0, 0, zone)
	return moment{asOf: AsOf{Effective: end.Add(-time.Microsecond)}, day: day, end: end}
}

// checkAsOf refuses a day that has not begun at the place.
func (f *Fleet) checkAsOf(day duedate.Day, zone *time.Location) error {
	if day.After(duedate.DayIn(f.Now(), zone)) {
		return fault.At("/as_of", "report_of_the_future")
	}
	return nil
}

// head begins a document.
func (f *Fleet) head(format string, by identity.Actor, id uuid.UUID, audience string, day duedate.Day, paper string) ReportHead {
	return ReportHead{Format: format, ID: id.String(), MadeAt: f.Now().UTC().Truncate(time.Second).Format(time.RFC3339), AsOf: day.String(), Audience: audience,
		Language: f.printer(by).Language(), Units: cmp.Or(by.Units, "metric"), Paper: paper, Company: f.Company}
}

// printer writes the texts that a document freezes.
func (f *Fleet) printer(by identity.Actor) words.Printer {
	return f.Words.Printer(cmp.Or(by.Language, "en"), words.Metric)
}

// paperOf is the paper that people at a place print on, unless another is asked for: Letter in the jurisdictions of North
// America, A4 elsewhere (common practice, no source).
func paperOf(asked, jurisdiction string) string {
	country, _, _ := strings.Cut(jurisdiction, "-")
	if asked == "" && slices.Contains([]string{"US", "CA", "MX"}, country) {
		return "letter"
	}
	return cmp.Or(asked, "a4")
}

// place writes where a door stands and who stands for it on the day.
func (f *Fleet) place(ctx context.Context, tx Tx, site Site, day duedate.Day) (ReportPlace, error) {
	customer, err := tx.CustomerByID(ctx, site.CustomerID)
	if err != nil {
		return ReportPlace{}, err
	}
	p := ReportPlace{Customer: ReportCustomer{ID: customer.CustomerID.String(), Name: customer.Name},
		Site:    ReportSite{ID: site.SiteID.String(), Name: site.Name, Address: site.inOneLine(), Jurisdiction: site.Jurisdiction, Zone: site.TimeZone},
		Parties: []ReportParty{}}
	standings, err := tx.StandingPage(ctx, StandingQuery{SiteID: site.SiteID, OnDay: day, Limit: 100})
	for _, s := range standings {
		p.Parties = append(p.Parties, ReportParty{Role: s.Role, Name: s.PartyName, Since: s.FromDay.String()})
	}
	return p, err
}

// compliance gathers everything that a report says of a door.
func (f *Fleet) compliance(ctx context.Context, tx Tx, by identity.Actor, id uuid.UUID, ask ReportAsk, audience string) (doc ComplianceReport, err error) {
	door, err := tx.DoorByID(ctx, ask.DoorID, AsOf{})
	if err != nil {
		return doc, err
	}
	site, err := tx.SiteByID(ctx, door.SiteID)
	if err != nil {
		return doc, err
	}
	if err := f.checkAsOf(ask.AsOf, site.Location()); err != nil {
		return doc, err
	}
	m := f.moment(ask.AsOf, site.Location())
	if doc.ReportPlace, err = f.place(ctx, tx, site, m.day); err != nil {
		return doc, err
	}
	doc.ReportHead = f.head(ComplianceReportFormat, by, id, audience, m.day, paperOf(ask.Paper, site.Jurisdiction))
	doc.DoorContent, err = f.doorContent(ctx, tx, by, ask.DoorID, site, m, audience)
	return doc, err
}

// doorContent writes what a report says of one door.
func (f *Fleet) doorContent(ctx context.Context, tx Tx, by identity.Actor, doorID uuid.UUID, site Site, m moment, audience string) (DoorContent, error) {
	doc := DoorContent{Sides: []ReportSide{}, Devices: []ReportDevice{}, Verdicts: []ReportVerdict{}, Unjudged: []ReportReading{}, Findings: []ReportFinding{},
		Closed: []ReportFinding{}, OutOfService: []ReportOutOfService{}, Due: []ReportDue{}, WorkOrders: []ReportWorkOrder{}, Cautions: []string{}}
	p, err := pictureOf(ctx, tx, doorID, m.asOf)
	if err != nil {
		if fault.Is(err, "door_not_found") && !m.asOf.Effective.IsZero() {
			return doc, fault.At("/as_of", "report_before_the_door")
		}
		return doc, err
	}
	w := writer{fleet: f, texts: f.printer(by), zone: site.Location(), today: m.day, audience: audience, cards: map[uuid.UUID]PersonCard{}}
	w.door(&doc, p)
	entries, err := tx.EntriesOfDoor(ctx, doorID)
	if err != nil {
		return doc, err
	}
	entries = slices.DeleteFunc(entries, func(e Entry) bool { return !e.ObservedAt.Before(m.end) })
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

// writer writes the parts of a document.
type writer struct {
	fleet    *Fleet
	texts    words.Printer
	zone     *time.Location
	today    duedate.Day
	audience string
	cards    map[uuid.UUID]PersonCard // that were read already
}

// card gives who somebody is.
func (w writer) card(ctx context.Context, tx Tx, id uuid.UUID) (PersonCard, error) {
	if c, ok := w.cards[id]; ok {
		return c, nil
	}
	c, err := tx.PersonCard(ctx, id)
	w.cards[id] = c
	return c, err
}

func (w writer) day(at time.Time) string     { return duedate.DayIn(at, w.zone).String() }
func (w writer) instant(at time.Time) string { return at.UTC().Format(time.RFC3339) }

func reportQuantity(q Quantity) ReportQuantity {
	return ReportQuantity{Value: q.Value, Basis: string(q.Basis)}
}

// door writes what the door is, what is fitted, and what is watched.
func (w writer) door(doc *DoorContent, p picture) {
	d, facts := p.door, p.door.Facts
	doc.Door = ReportDoor{ID: d.DoorID.String(), Tag: d.Tag.String(), Name: d.Name, Kind: facts.Kind, Energy: facts.Energy, Traffic: facts.Traffic,
		PresenceBy: facts.PresenceBy, GuideRails: facts.GuideRails, KnownSince: d.KnownSince.String(), Modes: append([]string{}, facts.Modes...),
		Egress: facts.Egress, FireRated: facts.FireRated, Interior: facts.Interior, Vulnerable: facts.VulnerableUsers,
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
		Reason: facts.RuleBasis.Why, Caution: pack.Caution}
	covers := p.zones(pack)
	if w.audience == forStaff { // what computation says of a zone is internal until a person confirms it
		covers, _ = w.fleet.coversOf(p, pack)
	}
	for _, side := range []string{"a", "b"} {
		doc.Sides = append(doc.Sides, w.side(p, side, covers))
	}
	for _, c := range covers {
		p.unfit(doc.Devices, c)
	}
}

// unfit writes with each device that does not count for a zone why it does not.
func (p picture) unfit(devices []ReportDevice, c zoneCover) {
	if c.cover == nil {
		return
	}
	for _, id := range c.cover.Unfit {
		i := slices.IndexFunc(devices, func(d ReportDevice) bool { return d.ID == id })
		j := slices.IndexFunc(p.devices, func(d deviceInPlace) bool { return d.component.ComponentID.String() == id })
		if i < 0 || j < 0 {
			continue
		}
		v, missing := p.watch(p.devices[j])
		if len(missing) > 0 {
			continue
		}
		is := v.Senses()
		one := ReportUnfit{Zone: c.zone.Title, Purpose: string(c.zone.Kind), Tells: string(is.Purpose), Reason: string(is.Unfit(c.asked()))}
		if one.Reason == string(field.LetsGo) {
			one.StillS, one.AskedS = is.StillS, *c.zone.HeldS
		}
		devices[i].Unfit = append(devices[i].Unfit, one)
	}
}

// zones are what the rule basis asks for on both sides, without how far it is covered.
func (p picture) zones(pack *rulebook.Pack) (list []zoneCover) {
	for _, side := range []string{"a", "b"} {
		for _, z := range pack.Zones(rulebookFacts(p.door.Facts), rulebook.Side(side)) {
			list = append(list, zoneCover{side: side, zone: z})
		}
	}
	return list
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
	if d.sensing != "radar" {
		out.Sensing = d.sensing
	}
	out.Mount = reportMount(facts.Mount)
	out.Settings = &ReportSettings{Standing: d.revision.Standing, EffectiveAt: w.instant(d.revision.EffectiveAt), ReachDB: reportQuantity(facts.Settings.ReachDB),
		ConfirmTravelMM: reportQuantity(facts.Settings.ConfirmTravelMM), OutputHoldS: reportQuantity(facts.Settings.OutputHoldS),
		MotionDirection: facts.Settings.MotionDirection, HoldWhileMoving: facts.Settings.HoldWhileMoving, OutputContact: facts.Settings.OutputContact}
	if facts.AntennaID != nil {
		out.Antenna, out.OneHeight = p.antennas[*facts.AntennaID].Name, p.antennas[*facts.AntennaID].FittedAtOneHeight
	}
	for _, id := range facts.Accessories {
		out.Accessories = append(out.Accessories, p.accessories[id].Name)
	}
	if facts.Fitted != nil {
		out.WalkedOn = w.day(facts.Fitted.WalkedAt)
	}
	e, polygons := p.extent(d, w.fleet.Now())
	out.Missing = e.Missing
	if len(e.Missing) == 0 {
		out.Field = &ReportField{WidthM: *e.WidthM, DepthM: *e.DepthM, NearM: *e.NearM, FarM: *e.FarM, AreaM2: *e.AreaM2, ModelVersion: e.ModelVersion, Polygons: rings(polygons)}
		v, _ := p.watch(d)
		for _, r := range field.Sketch(v) {
			out.Field.Rays = append(out.Field.Rays, [2][3]float64{{r.From.X, r.From.Y, r.From.Z}, {r.To.X, r.To.Y, r.To.Z}})
		}
		_, on := p.carrierOf(d)
		out.OnLeaf = on != nil
	}
	return out
}

func reportMount(m MountFacts) ReportMount {
	return ReportMount{HeightM: reportQuantity(m.HeightM), OffsetXM: reportQuantity(m.OffsetXM), OffsetYM: reportQuantity(m.OffsetYM),
		TiltDeg: reportQuantity(m.TiltDeg), YawDeg: reportQuantity(m.YawDeg)}
}

// side writes the zones of a side. Coverage is computed, and internal until a person confirms it.
func (w writer) side(p picture, name string, covers []zoneCover) ReportSide {
	s := p.door.Facts.Side(name)
	out := ReportSide{Side: name, Label: s.Label, Activation: s.Activation, Required: []ReportZone{}, KeptClear: []ReportZone{}, Coverage: []ReportCoverage{}}
	for _, z := range s.KeptClear {
		out.KeptClear = append(out.KeptClear, ReportZone{Purpose: z.What, Title: z.What, Polygons: rectangle(z.X0M, z.X1M, z.Y0M, z.Y1M)})
	}
	for _, c := range covers {
		if c.side != name {
			continue
		}
		zone := ReportZone{Purpose: string(c.zone.Kind), Title: c.zone.Title, Source: sourceLine(c.zone.Source), Polygons: ReportPolygons{}}
		if r := c.zone.Rect; r != nil {
			zone.Polygons = rectangle(r.X0M, r.X1M, r.Y0M, r.Y1M)
		}
		out.Required = append(out.Required, zone)
		if w.audience == forStaff {
			out.Coverage = append(out.Coverage, reportCoverage(p, c))
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

func reportCoverage(p picture, c zoneCover) ReportCoverage {
	out := ReportCoverage{Purpose: string(c.zone.Kind), Gaps: []ReportGap{}, Shortfalls: []string{}, Missing: c.missing, ModelVersion: field.ModelVersion}
	if c.cover == nil {
		return out
	}
	out.Share = &c.cover.CoveredShare
	for _, id := range c.cover.Unfit {
		i := slices.IndexFunc(p.components, func(x Component) bool { return x.ComponentID.String() == id })
		maker, model := p.nameOf(p.components[i])
		out.Unfit = append(out.Unfit, strings.TrimSpace(maker+" "+model+" "+p.components[i].Serial))
	}
	for _, g := range c.cover.Gaps {
		at := g.Polygon[0][0]
		out.Gaps = append(out.Gaps, ReportGap{XM: at[0], YM: at[1], DiameterM: g.CircleM, Shortfall: g.Shortfall, Polygons: rings([]field.Polygon{g.Polygon})})
	}
	return out
}

// work writes what was inspected, found, secured, and is due.
func (w writer) work(ctx context.Context, tx Tx, doc *DoorContent, p picture, entries []Entry) error {
	if err := w.lastInspection(ctx, tx, doc, p, entries); err != nil {
		return err
	}
	c := consequencesOf(entries, w.zone)
	w.findings(doc, c.findings)
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

// dangerOn tells whether a finding with which the door was safe until a day is a danger on another.
func (f VisitFinding) dangerOn(today duedate.Day) bool {
	return !f.SafeUntil.IsZero() && today.After(f.SafeUntil)
}

// findings writes those that are open, the gravest first, and those that ended within the year before.
func (w writer) findings(doc *DoorContent, findings []VisitFinding) {
	for _, f := range findings {
		one := ReportFinding{ID: f.FindingID.String(), Severity: f.Severity, Title: f.What, OpenedOn: w.day(f.OpenedAt), RuleID: f.Cause, Origin: "visit", State: f.State}
		if f.Times > 1 && f.FirstAt != nil {
			one.Times, one.FirstOn = f.Times, w.day(*f.FirstAt)
		}
		if !f.SafeUntil.IsZero() {
			one.MendBy, one.Danger = f.SafeUntil.String(), f.State == "open" && f.dangerOn(w.today)
		}
		switch {
		case f.State == "open":
			doc.Findings = append(doc.Findings, one)
		case f.ClosedAt != nil && duedate.DayIn(*f.ClosedAt, w.zone).After(w.today.AddYears(-1)):
			one.ClosedOn = w.day(*f.ClosedAt)
			doc.Closed = append(doc.Closed, one)
		}
	}
	weight := func(f ReportFinding) int {
		if f.Danger {
			return 1
		}
		return map[string]int{"unsafe": 0, "deficient": 2, "advisory": 3}[f.Severity]
	}
	slices.SortStableFunc(doc.Findings, func(a, b ReportFinding) int { return cmp.Compare(weight(a), weight(b)) })
	slices.SortStableFunc(doc.Closed, func(a, b ReportFinding) int { return cmp.Compare(b.ClosedOn, a.ClosedOn) })
}

// lastConclusion gives the last signed conclusion that counts, nil when there is none.
func lastConclusion(entries []Entry) (last *Entry) {
	for _, e := range live(entries) {
		if e.Body.Conclusion != nil && e.Signed {
			last = &e
		}
	}
	return last
}

func (w writer) lastInspection(ctx context.Context, tx Tx, doc *DoorContent, p picture, entries []Entry) error {
	last := lastConclusion(entries)
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
	card, err := w.card(ctx, tx, inspector)
	if err != nil {
		return err
	}
	doc.LastInspection = &ReportInspection{VisitID: v.VisitID.String(), Date: w.day(last.ObservedAt), Kind: "inspection", Result: last.Body.Conclusion.Result,
		Inspector: ReportInspector{Name: card.Name, Employer: w.fleet.Company.Name}}
	by := &doc.LastInspection.Inspector
	q, valid := card.On(duedate.DayIn(last.ObservedAt, w.zone))
	if valid {
		by.Qualification, by.Allows, by.Issuer, by.CertificateNo, by.ValidFrom, by.ValidUntil = q.Scheme, q.Kind, q.Issuer, q.Number, q.ValidFrom.String(), q.ValidUntil.String()
	}
	if v.SignedAt != nil {
		doc.LastInspection.SignedAt = w.instant(*v.SignedAt)
		doc.LastInspection.RecordSHA256 = seal.Hash(v.RecordSHA256).String()
		signed, err := tx.SignOffOf(ctx, v.VisitID)
		if err != nil {
			return err
		}
		var s SignOff
		if err := json.Unmarshal(signed.Canonical, &s); err != nil {
			return fmt.Errorf("sign-off of visit %s: %w", v.VisitID, err)
		}
		doc.LastInspection.Statement, doc.LastInspection.Signature = s.Statement, s.Signature
	}
	return w.judged(ctx, tx, doc, *last, entries, card.Certificates)
}

// judged writes what was sealed of an inspection with the signature, the readings that no rule asked for, and apart from
// it where what is known today judges otherwise. Where nothing was sealed of the door, today's judgement stands in, and a
// caution says so.
func (w writer) judged(ctx context.Context, tx Tx, doc *DoorContent, conclusion Entry, entries []Entry, certificates []identity.Qualification) error {
	then, now, err := w.judgements(ctx, tx, conclusion, entries)
	if err != nil {
		return err
	}
	if then == nil {
		then = &now
		doc.Cautions = append(doc.Cautions, "judged_by_todays_knowledge")
	}
	if u := then.under; u != nil { // as it was sealed, whatever is said of it now
		by := &doc.LastInspection.Inspector
		by.Qualification, by.Allows, by.Issuer, by.CertificateNo, by.ValidFrom, by.ValidUntil = u.Scheme, u.Kind, u.Issuer, u.Number, u.ValidFrom, u.ValidUntil
		by.Withdrawn = !slices.ContainsFunc(certificates, func(q identity.Qualification) bool {
			return q.QualificationID == u.QualificationID && q.ValidOn(duedate.DayIn(conclusion.ObservedAt, w.zone))
		})
	}
	doc.LastInspection.JudgedBy = then.pack
	done := doneAt(conclusion, slices.DeleteFunc(slices.Clone(entries), func(e Entry) bool { return e.VisitID != conclusion.VisitID }))
	taken := w.readings(then.readings, done)
	doc.AsFound, doc.LeftOut = w.asFound(taken, done), w.leftOut(done)
	asked := map[string]bool{}
	for _, v := range then.verdicts {
		in := inputsOf(then.rules, v.RuleID)
		one, err := w.verdict(v, in, then.door, taken)
		if err != nil {
			return err
		}
		doc.Verdicts = append(doc.Verdicts, one)
		for _, k := range in.Readings {
			asked[k.Name] = true
		}
	}
	for _, j := range then.beside {
		one, err := w.beside(j, then.door, taken, asked)
		if err != nil {
			return err
		}
		doc.Beside = append(doc.Beside, one)
	}
	doc.Unjudged = append(doc.Unjudged, slices.DeleteFunc(taken, func(r ReportReading) bool { return asked[r.Name] })...)
	doc.JudgedToday = differing(then.verdicts, now.verdicts)
	return nil
}

// beside writes what a pack beside the basis said, and adds the readings that it judged to those that a rule asked for.
func (w writer) beside(j judgedDoor, door DoorFacts, taken []ReportReading, asked map[string]bool) (ReportBeside, error) {
	out := ReportBeside{PackID: j.Pack, Title: j.Pack, Role: string(j.Beside), Verdicts: []ReportVerdict{}}
	if j.rules != nil {
		out.Title, out.Caution, out.Jurisdiction = j.rules.Title, j.rules.Caution, j.rules.Jurisdiction
	}
	for _, v := range j.Verdicts {
		in := inputsOf(j.rules, v.RuleID)
		if v.Outcome == rulebook.NotJudged {
			out.NotRead++
			continue
		}
		one, err := w.verdict(v, in, door, taken)
		if err != nil {
			return out, err
		}
		out.Verdicts = append(out.Verdicts, one)
		for _, k := range in.Readings {
			asked[k.Name] = true
		}
	}
	return out, nil
}

// judgement is what a pack said of readings and facts.
type judgement struct {
	pack     string         // its id; "" without a rule basis
	rules    *rulebook.Pack // nil without one, and when nothing is known of it any more
	under    *signedUnder   // the certificate; nil where none was sealed
	door     DoorFacts      // as it was
	readings []rulebook.Used
	verdicts []rulebook.Verdict
	beside   []judgedDoor // what judged beside the basis
}

// judgements are the one that was sealed with an inspection, nil if none was, and the one that today's knowledge of the
// door as it was, and of the readings, comes to.
func (w writer) judgements(ctx context.Context, tx Tx, conclusion Entry, entries []Entry) (then *judgement, now judgement, err error) {
	door, err := doorThen(ctx, tx, conclusion.DoorID, AsOf{Effective: conclusion.ObservedAt})
	if err != nil {
		return nil, now, err
	}
	canonical, err := tx.VisitRecord(ctx, conclusion.VisitID)
	if err != nil {
		return nil, now, err
	}
	var record visitRecord
	if err := json.Unmarshal(canonical, &record); err != nil {
		return nil, now, fmt.Errorf("signed record of visit %s: %w", conclusion.VisitID, err)
	}
	entries = sealedInstruments(record, w.zone, entries).stated(entries)
	others := func(e Entry) bool { return e.VisitID != conclusion.VisitID }
	now.door, now.readings = door.Facts, readingsOf(conclusion.DoorID, conclusion, slices.DeleteFunc(live(entries), others))
	if pack, ok := w.fleet.Book.Pack(door.Facts.RuleBasis.PackID); ok {
		now.pack, now.rules, now.verdicts = pack.ID, pack, pack.Judge(inspectedFacts(now.door), now.readings)
	}
	for i := range record.Judged {
		if j := &record.Judged[i]; j.DoorID == conclusion.DoorID {
			if j.rules, _, err = w.fleet.packNamed(ctx, tx, j.Pack); err != nil {
				return nil, now, err
			}
			j.nameAsToday()
		}
	}
	i := slices.IndexFunc(record.Judged, func(j judgedDoor) bool { return j.DoorID == conclusion.DoorID && j.Beside == "" })
	if i < 0 {
		return nil, now, nil
	}
	signed, err := tx.SignOffOf(ctx, conclusion.VisitID)
	if err != nil {
		return nil, now, err
	}
	if door, err = doorThen(ctx, tx, conclusion.DoorID, AsOf{Effective: conclusion.ObservedAt, Recorded: signed.ReceivedAt}); err != nil {
		return nil, now, err
	}
	then = &judgement{pack: record.Judged[i].Pack, rules: record.Judged[i].rules, under: record.under(conclusion.DoorID), door: door.Facts, verdicts: record.Judged[i].Verdicts,
		readings: readingsOf(conclusion.DoorID, conclusion, slices.DeleteFunc(slices.Clone(entries), others))}
	for _, j := range record.Judged {
		if j.DoorID == conclusion.DoorID && j.Beside != "" {
			then.beside = append(then.beside, j)
		}
	}
	return then, now, nil
}

// nameAsToday gives sealed verdicts the names that readings have today, and titles, which old records do not hold.
func (j *judgedDoor) nameAsToday() {
	titles := map[string]string{}
	if j.rules != nil {
		for _, r := range j.rules.Rules {
			titles[r.ID] = r.Title
		}
	}
	for i := range j.Verdicts {
		v := &j.Verdicts[i]
		v.Title = cmp.Or(v.Title, titles[v.RuleID], v.RuleID)
		for k := range v.Readings {
			v.Readings[k].Name = rulebook.NameNow(v.Readings[k].Name)
		}
		for k := range v.Gaps {
			v.Gaps[k].Name = rulebook.NameNow(v.Gaps[k].Name)
		}
	}
}

// inputsOf are what a rule of a pack looks at; nothing is known of a pack that is no more.
func inputsOf(pack *rulebook.Pack, ruleID string) rulebook.Inputs {
	if pack == nil {
		return rulebook.Inputs{}
	}
	return pack.Inputs(ruleID)
}

// differing are the rules of which today's verdict is not the sealed one. A rule that only one of them has is among them.
func differing(then, now []rulebook.Verdict) (list []ReportJudgedToday) {
	byRule := func(of []rulebook.Verdict, id string) (v rulebook.Verdict) {
		if i := slices.IndexFunc(of, func(v rulebook.Verdict) bool { return v.RuleID == id }); i >= 0 {
			v = of[i]
		}
		return v
	}
	add := func(of, was, is rulebook.Verdict) {
		if was.Outcome != is.Outcome {
			list = append(list, ReportJudgedToday{RuleID: of.RuleID, Title: of.Title, Then: string(was.Outcome), Now: string(is.Outcome)})
		}
	}
	for _, v := range then {
		add(v, v, byRule(now, v.RuleID))
	}
	for _, v := range now {
		if byRule(then, v.RuleID).RuleID == "" {
			add(v, rulebook.Verdict{}, v)
		}
	}
	return list
}

// readings writes everything that counts of what was read at the door until the conclusion, of how many samples where a gauge recorded it, and
// whether something that it depends on was changed afterwards.
func (w writer) readings(used []rulebook.Used, done []doneEntry) (list []ReportReading) {
	outdated := outdatedAmong(done)
	for _, u := range used {
		one := w.reading(u)
		for _, d := range done {
			for _, r := range d.Readings() {
				if r.same(u) {
					one.Samples = d.Samples()
					one.Overtaken = overtaken(outdated, takenOf(d.id, r))
				}
			}
		}
		list = append(list, one)
	}
	return list
}

func (w writer) reading(u rulebook.Used) ReportReading {
	return ReportReading{Name: u.Name, Title: ReadingTitle(w.texts, u.Name, u.Question), Leaf: u.Leaf, Side: string(u.Side), Value: u.Number, Unit: u.Unit, Yes: u.Yes, Text: u.Text}
}

// same tells whether a reading is the one that was taken in.
func (r EntryReading) same(u rulebook.Used) bool {
	o := r.used()
	return o.Name == u.Name && o.Place == u.Place && same(o.Number, u.Number) && same(o.Yes, u.Yes) && o.Text == u.Text
}

func overtaken(outdated map[takenReading]outdating, one takenReading) string {
	o, changed := outdated[one]
	switch {
	case !changed:
		return ""
	case o.again:
		return "read_again"
	}
	return "not_read_again"
}

// asFound writes the readings that another took the place of, because something was changed between.
func (w writer) asFound(taken []ReportReading, done []doneEntry) (list []ReportReading) {
	outdated := outdatedAmong(done)
	for _, d := range done {
		for _, r := range d.Readings() {
			one := w.reading(r.used())
			one.Samples = d.Samples()
			stands := slices.ContainsFunc(taken, func(t ReportReading) bool {
				return t.Name == one.Name && t.Leaf == one.Leaf && t.Side == one.Side && same(t.Value, one.Value) && same(t.Yes, one.Yes) && t.Text == one.Text
			})
			if one.Overtaken = overtaken(outdated, takenOf(d.id, r)); one.Overtaken != "" && !stands {
				list = append(list, one)
			}
		}
	}
	return list
}

// leftOut writes what nobody read, and why not.
func (w writer) leftOut(done []doneEntry) (list []ReportLeftOut) {
	for _, d := range done {
		if l := d.LeftOut; l != nil {
			list = append(list, ReportLeftOut{Name: rulebook.NameNow(l.Name), Title: ReadingTitle(w.texts, l.Name, l.Question), Leaf: l.Leaf, Side: l.Side, Reason: l.Reason, Why: l.Why})
		}
	}
	return list
}

// verdict writes what one rule says, with everything that was read for it, judged or not.
func (w writer) verdict(v rulebook.Verdict, in rulebook.Inputs, door DoorFacts, taken []ReportReading) (ReportVerdict, error) {
	out := ReportVerdict{RuleID: v.RuleID, Title: v.Title, Readings: []ReportReading{}, Facts: []ReportFact{}, Missing: []string{},
		Measured: reportAmount(v.Measured), Outcome: string(v.Outcome), Severity: string(v.Severity), Weight: string(v.Weight), Source: sourceLine(v.Source), Standing: string(v.Standing)}
	if v.Limit != nil {
		out.Low, out.High = reportAmount(v.Low), reportAmount(v.High)
		out.AtLeast, out.AtMost = reportAmount(v.Limit.AtLeast), reportAmount(v.Limit.AtMost)
	}
	if v.Reason != "" {
		out.Reason = w.texts.T("rulebook.reason." + string(v.Reason))
	}
	for _, r := range taken {
		if slices.ContainsFunc(in.Readings, func(k rulebook.ReadingKind) bool { return k.Name == r.Name }) {
			r.Decided = slices.ContainsFunc(v.Readings, func(u rulebook.Used) bool {
				return u.Name == r.Name && u.Leaf == r.Leaf && string(u.Side) == r.Side && same(u.Number, r.Value) && same(u.Yes, r.Yes) && u.Text == r.Text
			})
			out.Readings = append(out.Readings, r)
		}
	}
	for _, name := range in.Facts {
		value, err := factValue(inspectedFacts(door), name)
		if err != nil {
			return out, err
		}
		out.Facts = append(out.Facts, ReportFact{Name: name, Value: value, Basis: basisOfFact(door, name)})
	}
	switch {
	case len(out.Readings) > 0:
		out.Ground = "readings"
	case len(in.Readings) == 0:
		out.Ground = "register"
	}
	for _, g := range v.Gaps {
		out.Missing = append(out.Missing, w.gap(g))
	}
	return out, nil
}

func same[T comparable](a, b *T) bool {
	return a == nil && b == nil || a != nil && b != nil && *a == *b
}

// factValue is what the register says of a fact, as an expression names it; "" where it says nothing.
func factValue(facts rulebook.Facts, name string) (string, error) {
	b, err := json.Marshal(facts)
	if err != nil {
		return "", err
	}
	var known map[string]any
	if err := json.Unmarshal(b, &known); err != nil {
		return "", err
	}
	member, ofLeaf := strings.CutPrefix(name, "leaves[].")
	if !ofLeaf {
		return textOf(known[name]), nil
	}
	var each []string
	leaves, _ := known["leaves"].([]any)
	for _, l := range leaves {
		if leaf, ok := l.(map[string]any); ok {
			each = append(each, cmp.Or(textOf(leaf[member]), "–"))
		}
	}
	return strings.Join(each, ", "), nil
}

// basisOfFact is how a measure in the register is known, as an expression names it, of each leaf one; "" of what is no measure.
func basisOfFact(door DoorFacts, name string) string {
	of := map[string]func(Leaf) Quantity{
		"leaves[].width_m":  func(l Leaf) Quantity { return l.WidthM },
		"leaves[].height_m": func(l Leaf) Quantity { return l.HeightM },
		"leaves[].mass_kg":  func(l Leaf) Quantity { return l.MassKg },
	}[name]
	if of == nil {
		return string(map[string]Quantity{"clear_width_m": door.ClearWidthM, "opening_time_s": door.OpeningTimeS, "closing_time_s": door.ClosingTimeS}[name].Basis)
	}
	var each []string
	for _, l := range door.Leaves {
		each = append(each, string(of(l).Basis))
	}
	return strings.Join(each, ", ")
}

func textOf(v any) string {
	if v == nil {
		return ""
	}
	return fmt.Sprint(v)
}

// gap names what a rule lacked, and why it was no use where it was there.
func (w writer) gap(g rulebook.Gap) string {
	name := ""
	var leaf int
	var member string
	switch n, _ := fmt.Sscanf(g.Name, "leaves[%d].%s", &leaf, &member); {
	case n == 2:
		name = w.texts.T("report.lacks.leaf_"+member, "n", leaf+1)
	case rulebook.IsReading(g.Name):
		name = ReadingTitle(w.texts, g.Name, g.Title)
	default:
		name = w.texts.T("report.register." + g.Name)
	}
	if g.Problem == rulebook.Missing {
		return name
	}
	return w.texts.T("report.missing_because", "name", name, "problem", w.texts.T("rulebook.problem."+string(g.Problem)))
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
			card, err := w.card(ctx, tx, e.RecordedBy)
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
			card, err := w.card(ctx, tx, e.RecordedBy)
			if err != nil {
				return out, err
			}
			out.Secured = &ReportSecuring{How: s.How, At: w.instant(e.ObservedAt), By: card.Name, OtherExit: s.OtherExit, CanGetOut: s.EgressKept, Note: s.Note}
		}
	}
	return out, nil
}

// calendar writes when the door is due, as the inspections until the day give it, and its recent work orders.
func (w writer) calendar(ctx context.Context, tx Tx, doc *DoorContent, doorID uuid.UUID, completions []Completion) error {
	plans, err := tx.PlansOfDoor(ctx, doorID)
	if err != nil {
		return err
	}
	handover, err := handedOver(ctx, tx, doorID, w.today)
	if err != nil {
		return err
	}
	for _, p := range plans {
		if p.Active && p.Purpose == Inspection { // what nobody must prove is not in it
			doc.Due = append(doc.Due, dueOf(p.countedFrom(handover), completions, w.today))
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
	orders := slices.DeleteFunc(append(inspections, repairs...), func(o WorkOrder) bool { return duedate.DayIn(o.RecordedAt, w.zone).After(w.today) })
	slices.SortFunc(orders, func(a, b WorkOrder) int {
		return cmp.Or(b.DueOn.Compare(a.DueOn), cmp.Compare(a.WorkOrderID.String(), b.WorkOrderID.String()))
	})
	for _, o := range orders[:min(len(orders), 20)] {
		if o.DoneOn.After(w.today) {
			o.State, o.DoneOn = "open", duedate.Day{}
		}
		doc.WorkOrders = append(doc.WorkOrders, ReportWorkOrder{ID: o.WorkOrderID.String(), Kind: o.Kind, Note: o.Note, State: o.State, DueOn: o.DueOn.String(), DoneOn: o.DoneOn.String()})
	}
	return nil
}

// dueOf is a plan on a day.
func dueOf(p Plan, completions []Completion, today duedate.Day) ReportDue {
	var last duedate.Day
	for _, c := range completions {
		if c.Day.After(last) {
			last = c.Day
		}
	}
	dates := p.datesBy(daysOf(completions))
	return ReportDue{IntervalMonths: p.IntervalMonths, LastOn: last.String(), NextDueOn: dates.NextDue.String(), OverdueDays: max(0, dates.DueBy.DaysUntil(today))}
}

// cautions says what the reader must know about this door in particular.
func (w writer) cautions(doc *DoorContent) {
	add := func(caution string, is bool) {
		if is {
			doc.Cautions = append(doc.Cautions, caution)
		}
	}
	add("limits_from_memory", slices.ContainsFunc(doc.Verdicts, func(v ReportVerdict) bool { return v.Weight == string(rulebook.Unverified) }))
	add("register_only", slices.ContainsFunc(doc.Verdicts, func(v ReportVerdict) bool { return v.Ground == "register" && v.Outcome != "not_applicable" }))
	add("presence_device_missing", slices.Contains([]string{"overhead_sensor", "both"}, doc.Door.PresenceBy) &&
		!slices.ContainsFunc(doc.Devices, func(d ReportDevice) bool { return d.Purpose == "presence" }))
	add("settings_intended_only", slices.ContainsFunc(doc.Devices, func(d ReportDevice) bool { return d.Settings != nil && d.Settings.Standing == "intended" }))
	add("values_unknown", slices.ContainsFunc(doc.Devices, func(d ReportDevice) bool { return len(d.Missing) > 0 }) || doc.Door.ClearWidthM.Value == nil)
}
