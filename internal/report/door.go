package report

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"rsc.io/qr"

	"lintel.example/lintel/internal/fleet"
)

// Options of a printed report.
type Options struct {
	Texts Texts
	Units Units
	Paper Paper
	// DocumentSHA256 is the hash, in hex, of the stored record that the report is
	// printed from.
	DocumentSHA256 string
	// Link is the address at which the record is kept; empty if there is none.
	Link string
}

// DoorPDF prints a compliance report with the drawings of its sides (see Plans).
// The bytes depend on the arguments only.
func DoorPDF(r fleet.ComplianceReport, plans []PlanDrawing, o Options) ([]byte, error) {
	made, err := time.Parse(time.RFC3339, r.MadeAt)
	if err != nil {
		return nil, fmt.Errorf("compliance report: made_at: %q is not an RFC 3339 instant", r.MadeAt)
	}
	if o.Texts == nil {
		return nil, errors.New("compliance report: no texts to print it with")
	}
	for i, p := range plans {
		if err := p.check(); err != nil {
			return nil, fmt.Errorf("plan %d: %w", i+1, err)
		}
	}
	// Once to count the pages, once to print "of N" on them.
	count := doorReport{r, plans, o, made}.sheet(0)
	return doorReport{r, plans, o, made}.sheet(count.pdf.PageNo()).finish()
}

type doorReport struct {
	fleet.ComplianceReport
	plans []PlanDrawing
	o     Options
	made  time.Time
}

func (d doorReport) t(key string, args ...any) string { return d.o.Texts.T("report."+key, args...) }

// sheet lays the whole report out; what matters at once comes first.
func (d doorReport) sheet(pages int) *sheet {
	language := d.Language
	if language == "" {
		language = "en"
	}
	s := newSheet(d.o.Paper, language, d.made)
	s.pdf.SetTitle(d.t("subject", "tag", fleet.Tag(d.Door.Tag).String(), "day", d.AsOf), true)
	s.pdf.SetSubject(s.clean(d.Door.Name), true)
	s.pdf.SetAuthor(s.clean(d.Company.Name), true)
	s.onFooter = func() {
		y := s.h - 11
		s.rule(y-4.2, 0.2, Ink)
		s.print(s.left(), y, d.t("footer", "id", d.ID, "hash", short(d.o.DocumentSHA256)), smallMM, false, Soft, Start)
		s.print(s.right(), y, d.t("page", "n", s.pdf.PageNo(), "total", pages), smallMM, false, Soft, End)
	}
	s.newPage()
	s.onNewPage = func() {
		y := 14.5
		s.print(s.left(), y, d.t("title")+" · "+d.t("door", "tag", fleet.Tag(d.Door.Tag).String()), smallMM, true, Ink, Start)
		s.print(s.right(), y, join(" · ", clip(s.clean(d.Site.Name), 80, smallMM), d.t("as_of", "day", d.AsOf)), smallMM, false, Soft, End)
		s.rule(y+2, 0.2, Ink)
	}
	d.masthead(s)
	d.banner(s)
	d.strip(s)
	d.outOfService(s)
	d.findings(s)
	d.verdicts(s)
	d.inspection(s)
	d.ruleBasis(s)
	d.place(s)
	d.sides(s)
	d.hardware(s)
	d.due(s)
	d.workOrders(s)
	d.cautions(s)
	d.proof(s)
	return s
}

// masthead: who reports on which door, and the code that leads back to the record.
func (d doorReport) masthead(s *sheet) {
	const qrMM = 25.0
	width := s.width() - qrMM - 8
	y := marginMM + 1
	s.print(s.left(), y, d.Company.Name, smallMM, true, Ink, Start)
	if line := join(" · ", d.Company.Address, d.Company.Phone, licence(d)); line != "" {
		for _, l := range wrap(s.clean(line), width, smallMM, false) {
			y += smallMM * leading
			s.print(s.left(), y, l, smallMM, false, Soft, Start)
		}
	}
	y += 9
	title := d.t("title")
	if d.Audience == "internal" {
		title = d.t("title_internal")
	}
	s.print(s.left(), y, title, 3.8, false, Ink, Start)
	y += 9
	s.print(s.left(), y, d.t("door", "tag", fleet.Tag(d.Door.Tag).String()), 8, true, Ink, Start)
	for _, l := range wrap(s.clean(join(", ", d.Door.Name, d.Site.Name)), width, 4, false) {
		y += 4 * leading
		s.print(s.left(), y+0.6, l, 4, false, Ink, Start)
	}
	for _, l := range wrap(s.clean(join(" · ", d.Site.Address, d.t("as_of", "day", d.AsOf))), width, bodyMM, false) {
		y += bodyMM * leading
		s.print(s.left(), y+1, l, bodyMM, false, Soft, Start)
	}
	d.qr(s, s.right()-qrMM, marginMM-2, qrMM)
	s.y = max(y+4, marginMM+qrMM+4)
}

func licence(d doorReport) string {
	if d.Company.Licence == "" {
		return ""
	}
	return d.t("fact.licence") + " " + d.Company.Licence
}

// qr draws the code of report id and hash as squares; a text too long for a code
// leaves it out, since id and hash are printed anyway.
func (d doorReport) qr(s *sheet, x, y, size float64) {
	text := d.ID + " sha256:" + d.o.DocumentSHA256
	if d.o.Link != "" {
		text = d.o.Link + "#sha256=" + d.o.DocumentSHA256
	}
	c, err := qr.Encode(text, qr.M)
	if err != nil {
		return
	}
	m := size / float64(c.Size)
	s.fill(0)
	for row := range c.Size {
		for from := 0; from < c.Size; from++ {
			to := from
			for to < c.Size && c.Black(to, row) {
				to++
			}
			if to > from {
				s.pdf.Rect(x+float64(from)*m, y+float64(row)*m, float64(to-from)*m, m, "F")
				from = to
			}
		}
	}
	s.print(x+size, y+size+3, d.t("qr"), smallMM-0.3, false, Soft, End)
}

// banner says how the door stands, gravest first. What is unsafe stands white on
// ink; the rest in one frame.
func (d doorReport) banner(s *sheet) {
	var framed []string
	for _, state := range d.States() {
		if !strings.HasPrefix(state, "unsafe") {
			framed = append(framed, state)
			continue
		}
		h := d.stateHeight(s, state, 5.2) + 5
		s.need(h)
		s.fill(Ink)
		s.pdf.Rect(s.left(), s.y, s.width(), h, "F")
		d.state(s, state, s.y+2, 5.2, White)
		s.y += h + 1.6
	}
	if len(framed) == 0 {
		return
	}
	h := 4.0
	for _, state := range framed {
		h += d.stateHeight(s, state, 3.6) + 1
	}
	s.need(h)
	s.pen(Pen{WidthMM: 0.5, Tone: Ink})
	s.pdf.Rect(s.left(), s.y, s.width(), h, "D")
	y := s.y + 1.6
	for _, state := range framed {
		y = d.state(s, state, y, 3.6, Ink) + 1
	}
	s.y += h + 1.6
}

// state prints what a state is and what it means below y, and gives where it ends.
func (d doorReport) state(s *sheet, state string, y, size float64, tone Tone) float64 {
	y += size * 1.15
	s.print(s.left()+5, y, code(d.o.Texts, "state", state), size, true, tone, Start)
	for _, l := range wrap(s.clean(d.says(state)), s.width()-10, bodyMM, false) {
		y += bodyMM * leading
		s.print(s.left()+5, y+0.5, l, bodyMM, false, tone, Start)
	}
	return y + 0.5
}

func (d doorReport) stateHeight(s *sheet, state string, size float64) float64 {
	return size*1.15 + float64(len(wrap(s.clean(d.says(state)), s.width()-10, bodyMM, false)))*bodyMM*leading + 0.5
}

func (d doorReport) says(state string) string {
	var worst fleet.ReportDue
	for _, due := range d.Due {
		if due.OverdueDays > worst.OverdueDays {
			worst = due
		}
	}
	last := ""
	if d.LastInspection != nil {
		last = d.LastInspection.Date
	}
	if state == "overdue" {
		return d.t("says.overdue", "day", worst.NextDueOn, "days", worst.OverdueDays)
	}
	if state == "last_failed" {
		return d.t("says.last_failed", "day", last)
	}
	return d.t("says." + state)
}

// strip is the four figures that most readers come for.
func (d doorReport) strip(s *sheet) {
	last := [2]string{d.t("strip.never"), ""}
	if l := d.LastInspection; l != nil {
		last = [2]string{l.Date, code(d.o.Texts, "result", l.Result)}
	}
	next := [2]string{d.t("not_recorded"), ""}
	for _, due := range d.Due {
		if due.NextDueOn != "" && (next[1] == "" && next[0] == d.t("not_recorded") || due.NextDueOn < next[0]) {
			next[0] = due.NextDueOn
		}
	}
	count := map[string]int{}
	for _, f := range d.Findings {
		count[f.Severity]++
	}
	basis := [2]string{d.t("not_recorded"), ""}
	if b := d.RuleBasis; b != nil {
		basis = [2]string{join(" ", b.Standard, b.Edition), ""}
	}
	cells := [][3]string{
		{d.t("strip.last"), last[0], last[1]},
		{d.t("strip.next"), next[0], next[1]},
		{d.t("strip.findings"), strconv.Itoa(len(d.Findings)), d.t("strip.counts", "unsafe", count["unsafe"], "deficient", count["deficient"], "advisory", count["advisory"])},
		{d.t("strip.basis"), basis[0], basis[1]},
	}
	w, deepest := s.width()/4, 0.0
	s.need(18)
	top := s.y + 1.5
	for i, c := range cells {
		x, y := s.left()+float64(i)*w, top+smallMM*leading
		s.print(x, y, c[0], smallMM, false, Soft, Start)
		for _, l := range clipLines(wrap(s.clean(c[1]), w-4, 3.6, true), 3) {
			y += 3.6 * leading
			s.print(x, y+0.3, l, 3.6, true, Ink, Start)
		}
		for _, l := range wrap(s.clean(c[2]), w-4, smallMM, false) {
			if c[2] == "" {
				break
			}
			y += smallMM * leading
			s.print(x, y+0.8, l, smallMM, false, Ink, Start)
		}
		deepest = max(deepest, y)
	}
	s.y = deepest + 1
}

func (d doorReport) outOfService(s *sheet) {
	for _, c := range d.OutOfService {
		s.heading(d.t("section.out_of_service"))
		pairs := [][2]string{
			{d.t("fact.opened"), d.t("fact.opened_value", "at", d.or(instant(c.OpenedAt)), "name", d.or(c.OpenedBy))},
			{d.t("fact.reason"), d.or(c.Reason)},
		}
		if c.Secured == nil {
			pairs = append(pairs, [2]string{d.t("fact.secured"), d.t("fact.not_secured")})
		} else {
			how := code(d.o.Texts, "secured", c.Secured.How)
			pairs = append(pairs,
				[2]string{d.t("fact.secured"), d.t("fact.secured_value", "how", join("; ", how, c.Secured.Note), "at", d.or(instant(c.Secured.At)), "name", d.or(c.Secured.By))},
				[2]string{d.t("fact.can_get_out"), d.yesNo(c.Secured.CanGetOut)},
				[2]string{d.t("fact.other_exit"), d.or(c.Secured.OtherExit)})
		}
		if len(c.Told) == 0 {
			pairs = append(pairs, [2]string{d.t("fact.told"), d.t("fact.told_nobody")})
		}
		for _, who := range c.Told {
			pairs = append(pairs, [2]string{d.t("fact.told"), d.t("fact.told_value", "name", d.or(who.Name), "role", d.or(who.Role), "at", d.or(instant(who.At)),
				"how", d.or(who.How), "answer", code(d.o.Texts, "answer", who.Answer))})
		}
		s.facts(pairs)
	}
}

func (d doorReport) findings(s *sheet) {
	s.heading(d.t("section.findings"))
	if len(d.Findings) == 0 {
		s.paragraph(d.t("none"), bodyMM, false, Ink)
		return
	}
	var rows [][]cell
	for _, f := range d.Findings {
		note := f.Detail
		if f.Origin == "computed" {
			note = join("\n", note, d.t("computed"))
		}
		weight := cell{Text: code(d.o.Texts, "severity", f.Severity), Bold: f.Severity == "unsafe"}
		if f.Severity == "unsafe" {
			weight.Mark = cross
		}
		by := ""
		if f.MendBy != "" {
			by = d.t("mend_by", "day", f.MendBy)
		}
		rows = append(rows, []cell{weight, {Text: d.or(f.Title), Note: note}, {Text: d.or(f.Repair), Note: by}, {Text: d.or(f.OpenedOn)}})
	}
	s.table([]column{{d.t("col.severity"), 2.2}, {d.t("col.finding"), 5.4}, {d.t("col.repair"), 4.4}, {d.t("col.opened"), 1.9}}, rows)
}

func (d doorReport) verdicts(s *sheet) {
	s.heading(d.t("section.verdicts"))
	if len(d.Verdicts) == 0 {
		s.paragraph(d.t("none"), bodyMM, false, Ink)
		return
	}
	var rows [][]cell
	for _, v := range d.Verdicts {
		outcome := cell{Text: code(d.o.Texts, "outcome", v.Outcome), Mark: dash}
		var notes []string
		switch v.Outcome {
		case "passed":
			outcome.Mark = tick
		case "failed":
			outcome.Mark, outcome.Bold = cross, true
			notes = append(notes, code(d.o.Texts, "severity", v.Severity))
		}
		if v.Weight == "unverified" {
			notes = append(notes, d.t("unverified"))
		}
		outcome.Note = join("\n", append(notes, v.Reason)...)
		rows = append(rows, []cell{
			{Text: d.or(v.Title)},
			d.found(v),
			d.limit(v),
			outcome,
			{Text: d.or(v.Source), Note: code(d.o.Texts, "standing", v.Standing)},
		})
	}
	s.table([]column{{d.t("col.rule"), 4}, {d.t("col.reading"), 2.9}, {d.t("col.limit"), 2.9}, {d.t("col.outcome"), 2.7}, {d.t("col.source"), 3.2}}, rows)
}

// found is what was held against the limit, else what was read.
func (d doorReport) found(v fleet.ReportVerdict) cell {
	if v.Measured != nil {
		own, readers := d.o.Units.amount(d.o.Texts, *v.Measured)
		return cell{Text: own, Note: readers}
	}
	var out []string
	for _, r := range v.Readings {
		value := d.t("not_read")
		switch {
		case r.Value != nil:
			value = d.o.Units.reading(d.o.Texts, *r.Value, r.Unit)
		case r.Yes != nil:
			value = d.yesNo(r.Yes)
		}
		if r.Title != "" {
			value = d.t("reading_named", "name", r.Title, "value", value)
		}
		out = append(out, value)
	}
	if len(out) == 0 {
		return cell{Text: d.t("not_read")}
	}
	return cell{Text: strings.Join(out, "\n")}
}

func (d doorReport) limit(v fleet.ReportVerdict) cell {
	bound := func(key string, a *fleet.ReportAmount) (own, readers string) {
		if a == nil {
			return "", ""
		}
		if own, readers = d.o.Units.amount(d.o.Texts, *a); readers != "" {
			readers = d.t(key, "value", readers)
		}
		return d.t(key, "value", own), readers
	}
	least, leastReaders := bound("limit.at_least", v.AtLeast)
	most, mostReaders := bound("limit.at_most", v.AtMost)
	return cell{Text: d.dash(join("\n", least, most)), Note: join("\n", leastReaders, mostReaders)}
}

func (d doorReport) inspection(s *sheet) {
	s.heading(d.t("section.inspection"))
	l := d.LastInspection
	if l == nil {
		s.paragraph(d.t("says.never_inspected"), bodyMM, false, Ink)
		return
	}
	certificate := d.or(l.Inspector.CertificateNo)
	if l.Inspector.CertificateNo != "" && l.Inspector.ValidUntil != "" {
		certificate = d.t("fact.certificate_value", "number", certificate, "day", l.Inspector.ValidUntil)
	}
	s.facts([][2]string{
		{d.t("fact.date"), d.or(l.Date)},
		{d.t("fact.result"), code(d.o.Texts, "result", l.Result)},
		{d.t("fact.inspector"), d.or(l.Inspector.Name)},
		{d.t("fact.employer"), d.or(l.Inspector.Employer)},
		{d.t("fact.qualification"), d.or(l.Inspector.Qualification)},
		{d.t("fact.certificate"), certificate},
		{d.t("fact.work_kind"), code(d.o.Texts, "work", l.Kind)},
		{d.t("fact.signed_at"), instant(d.or(l.SignedAt))},
		{d.t("fact.visit"), d.or(l.VisitID)},
		{d.t("fact.record"), d.or(l.RecordSHA256)},
	})
}

func (d doorReport) ruleBasis(s *sheet) {
	s.heading(d.t("section.basis"))
	b := d.RuleBasis
	if b == nil {
		s.paragraph(d.t("says.no_rule_basis"), bodyMM, false, Ink)
		return
	}
	pairs := [][2]string{
		{d.t("fact.standard"), d.or(b.Standard)},
		{d.t("fact.edition"), d.or(b.Edition) + sinceText(d, b.Since)},
		{d.t("fact.pack"), d.or(b.PackID)},
		{d.t("fact.reason"), d.or(b.Reason)},
	}
	if b.Caution != "" {
		pairs = append(pairs, [2]string{d.t("fact.caution"), b.Caution})
	}
	s.facts(pairs)
}

func sinceText(d doorReport, day string) string {
	if day == "" {
		return ""
	}
	return ", " + d.t("fact.since", "day", day)
}

func (d doorReport) place(s *sheet) {
	s.heading(d.t("section.place"))
	pairs := [][2]string{
		{d.t("fact.customer"), d.or(d.Customer.Name)},
		{d.t("fact.site"), d.or(d.Site.Name)},
		{d.t("fact.address"), d.or(d.Site.Address)},
		{d.t("fact.jurisdiction"), d.or(d.Site.Jurisdiction)},
		{d.t("fact.zone"), d.or(d.Site.Zone)},
		{d.t("fact.known_since"), d.or(d.Door.KnownSince)},
	}
	for _, p := range d.Parties {
		pairs = append(pairs, [2]string{code(d.o.Texts, "party", p.Role), d.or(p.Name) + sinceText(d, p.Since)})
	}
	x := d.Door
	pairs = append(pairs, [][2]string{
		{d.t("fact.kind"), code(d.o.Texts, "kind", x.Kind)},
		{d.t("fact.energy"), code(d.o.Texts, "energy", x.Energy)},
		{d.t("fact.traffic"), code(d.o.Texts, "traffic", x.Traffic)},
		{d.t("fact.presence_by"), code(d.o.Texts, "presence_by", x.PresenceBy)},
		{d.t("fact.guide_rails"), code(d.o.Texts, "guide_rails", x.GuideRails)},
		{d.t("fact.modes"), d.or(codeList(d.o.Texts, "mode", x.Modes))},
		{d.t("fact.clear_width"), d.length(x.ClearWidthM)},
		{d.t("fact.header_depth"), d.length(x.HeaderDepthM)},
		{d.t("fact.opening_time"), d.quantity(x.OpeningTimeS, "s")},
		{d.t("fact.closing_time"), d.quantity(x.ClosingTimeS, "s")},
		{d.t("fact.egress"), d.yesNo(x.Egress)},
		{d.t("fact.fire_rated"), d.yesNo(x.FireRated)},
		{d.t("fact.vulnerable"), d.yesNo(x.Vulnerable)},
	}...)
	for _, side := range d.Sides {
		pairs = append(pairs, [2]string{d.t("fact.activation", "side", sideName(d.o.Texts, side.Side, "")), code(d.o.Texts, "activation", side.Activation)})
	}
	for i, l := range x.Leaves {
		parts := []string{code(d.o.Texts, "motion", l.Motion)}
		if l.Hinge != "" && l.Hinge != "none" {
			parts = append(parts, d.t("fact.hinge", "hinge", code(d.o.Texts, "hinge", l.Hinge)))
		}
		if l.OpensTowards != "" && l.OpensTowards != "none" {
			parts = append(parts, d.t("fact.opens", "towards", code(d.o.Texts, "opens_towards", l.OpensTowards)))
		}
		parts = append(parts, d.t("fact.size", "width", d.length(l.WidthM), "height", d.length(l.HeightM), "mass", d.quantity(l.MassKg, "kg")))
		pairs = append(pairs, [2]string{d.t("fact.leaf", "n", i+1), strings.Join(parts, "; ")})
	}
	s.facts(pairs)
}

// sides: for each side its drawing, how much of each required zone is covered,
// and its sensors.
func (d doorReport) sides(s *sheet) {
	s.heading(d.t("section.sides"))
	var scenes []*Scene
	for _, p := range d.plans {
		if sc, err := planScene(d.o.Texts, p, s.width(), 105); err == nil { // else refused before the first page
			scenes = append(scenes, sc)
		}
	}
	height := func(sc *Scene) float64 { return sc.mm(sc.Bounds().Height()) }
	if len(scenes) > 0 {
		s.need(height(scenes[0]) + 12)
	}
	s.paragraph(d.t("caution.general.4"), smallMM, false, Soft)
	for _, sc := range scenes {
		s.y += 5
		s.need(height(sc))
		s.y += s.draw(sc, s.left(), s.y) + 2
	}
	var rows [][]cell
	for _, side := range d.Sides {
		for _, c := range side.Coverage {
			rows = append(rows, d.coverage(side, c))
		}
	}
	if len(rows) > 0 {
		s.y += 4
		s.table([]column{{d.t("col.zone"), 4}, {d.t("col.share"), 2.2}, {d.t("col.gap"), 3.4}, {d.t("col.remarks"), 5}}, rows)
	}
	d.devices(s)
}

func (d doorReport) coverage(side fleet.ReportSide, c fleet.ReportCoverage) []cell {
	share := cell{Text: d.t("not_computable", "missing", missingNames(d.o.Texts, c.Missing))}
	gap := cell{Text: "–"}
	if c.Share != nil {
		// Rounded down: a zone that is not wholly covered never reads 100.
		share = cell{Text: d.o.Units.reading(d.o.Texts, math.Floor(*c.Share*1000)/10, "pct"), Note: d.t("model", "version", c.ModelVersion)}
		gap.Text = d.t("covered_none")
		widest := 0.0
		for _, g := range c.Gaps {
			if g.DiameterM > widest {
				widest = g.DiameterM
				gap.Text = d.t("gap_at", "value", d.o.Units.length(d.o.Texts, g.DiameterM), "x", d.o.Units.length(d.o.Texts, g.XM), "y", d.o.Units.length(d.o.Texts, g.YM))
			}
		}
	}
	remarks := cell{Text: strings.Join(c.Shortfalls, "\n"), Note: d.t("computed")}
	if len(c.Shortfalls) > 0 {
		remarks.Mark = cross
	}
	return []cell{{Text: sideName(d.o.Texts, side.Side, side.Label), Note: code(d.o.Texts, "purpose", c.Purpose)}, share, gap, remarks}
}

func (d doorReport) devices(s *sheet) {
	s.heading(d.t("section.devices"))
	if len(d.Devices) == 0 {
		s.paragraph(d.t("none"), bodyMM, false, Ink)
		return
	}
	var rows [][]cell
	for _, x := range d.Devices {
		name := join(" ", x.Maker, x.Model)
		if name == "" {
			name = d.t("unknown_model")
		}
		note := []string{sideName(d.o.Texts, x.Side, ""), code(d.o.Texts, "purpose", x.Purpose), d.t("serial", "serial", d.or(x.Serial))}
		if x.Antenna != "" {
			note = append(note, d.t("antenna", "antenna", x.Antenna))
		}
		note = append(note, x.Accessories...)
		note = append(note, d.t("fitted_since", "day", d.or(x.FittedSince)))

		m := x.Mount
		mount := strings.Join([]string{
			d.t("mount.height", "value", d.length(m.HeightM)),
			d.t("mount.offset_x", "value", d.length(m.OffsetXM)),
			d.t("mount.offset_y", "value", d.length(m.OffsetYM)),
			d.t("mount.tilt", "value", d.quantity(m.TiltDeg, "deg")),
			d.t("mount.yaw", "value", d.quantity(m.YawDeg, "deg")),
		}, "\n")

		settings := cell{Text: d.t("not_recorded")}
		if c := x.Settings; c != nil {
			settings = cell{Text: strings.Join([]string{
				d.t("setting.reach", "value", d.quantity(c.ReachDB, "dB")),
				d.t("setting.direction", "value", code(d.o.Texts, "direction", c.MotionDirection)),
				d.t("setting.hold_moving", "value", d.yesNo(c.HoldWhileMoving)),
				d.t("setting.confirm", "value", d.quantity(c.ConfirmTravelMM, "mm")),
				d.t("setting.hold", "value", d.quantity(c.OutputHoldS, "s")),
				d.t("setting.contact", "value", code(d.o.Texts, "contact", c.OutputContact)),
			}, "\n"), Note: code(d.o.Texts, "settings", c.Standing)}
			if c.EffectiveAt != "" {
				settings.Note += ", " + d.t("setting.since", "at", instant(c.EffectiveAt))
			}
		}
		field := cell{Text: d.t("not_computable", "missing", missingNames(d.o.Texts, x.Missing))}
		if f := x.Field; f != nil {
			l := func(m float64) string { return d.o.Units.length(d.o.Texts, m) }
			field = cell{Text: d.t("field_value", "width", l(f.WidthM), "depth", l(f.DepthM), "near", l(f.NearM), "far", l(f.FarM),
				"area", d.o.Units.area(d.o.Texts, f.AreaM2)),
				Note: join("\n", d.t("computed"), d.t("model", "version", f.ModelVersion))}
		}
		rows = append(rows, []cell{{Text: name, Note: join("\n", note...)}, {Text: mount}, settings, field})
	}
	s.table([]column{{d.t("col.device"), 3.5}, {d.t("col.mount"), 3.9}, {d.t("col.settings"), 4.9}, {d.t("col.field"), 3.4}}, rows)
}

func (d doorReport) hardware(s *sheet) {
	if len(d.Door.Components) == 0 {
		return
	}
	s.heading(d.t("section.hardware"))
	var rows [][]cell
	for _, c := range d.Door.Components {
		rows = append(rows, []cell{{Text: code(d.o.Texts, "component", c.Kind), Note: join(" ", c.Maker, c.Model)}, {Text: d.or(c.Serial)}, {Text: d.or(c.FittedSince)}})
	}
	s.table([]column{{d.t("col.component"), 6}, {d.t("col.serial"), 4}, {d.t("col.fitted"), 3}}, rows)
}

func (d doorReport) due(s *sheet) {
	s.heading(d.t("section.due"))
	if len(d.Due) == 0 {
		s.paragraph(d.t("says.no_due_date"), bodyMM, false, Ink)
		return
	}
	var rows [][]cell
	for _, x := range d.Due {
		over := cell{Text: "–"}
		if x.OverdueDays > 0 {
			over = cell{Text: strconv.Itoa(x.OverdueDays), Bold: true, Mark: cross}
		}
		plan := d.t("not_recorded")
		if x.IntervalMonths > 0 {
			plan = d.t("plan_every", "n", x.IntervalMonths)
		}
		rows = append(rows, []cell{{Text: plan}, {Text: d.or(x.LastOn)}, {Text: d.or(x.NextDueOn)}, over})
	}
	s.table([]column{{d.t("col.plan"), 3}, {d.t("col.last"), 3}, {d.t("col.next"), 3}, {d.t("col.overdue"), 3}}, rows)
}

func (d doorReport) workOrders(s *sheet) {
	s.heading(d.t("section.work"))
	if len(d.WorkOrders) == 0 {
		s.paragraph(d.t("none"), bodyMM, false, Ink)
		return
	}
	var rows [][]cell
	for _, w := range d.WorkOrders {
		rows = append(rows, []cell{{Text: code(d.o.Texts, "work", w.Kind)}, {Text: code(d.o.Texts, "work_state", w.State)}, {Text: d.or(w.DueOn)}, {Text: d.dash(w.DoneOn)}, {Text: d.dash(w.Note)}})
	}
	s.table([]column{{d.t("col.kind"), 2.4}, {d.t("col.state"), 1.8}, {d.t("col.due"), 2}, {d.t("col.done"), 2}, {d.t("col.note"), 6}}, rows)
}

func (d doorReport) cautions(s *sheet) {
	s.heading(d.t("section.cautions"))
	s.need(32)
	for _, c := range d.Cautions {
		s.paragraph(code(d.o.Texts, "caution", c), bodyMM, true, Ink)
		s.y += 0.8
	}
	for _, k := range []string{"1", "2", "3", "4"} {
		s.paragraph(d.t("caution.general."+k), bodyMM, false, Ink)
		s.y += 0.8
	}
	if s.replaced {
		s.paragraph(d.t("caution.signs_missing", "sign", string(replaceFor)), bodyMM, false, Ink)
	}
}

func (d doorReport) proof(s *sheet) {
	s.heading(d.t("section.proof"))
	s.paragraph(d.t("proof.text"), bodyMM, false, Ink)
	s.y += 1.5
	pairs := [][2]string{
		{d.t("fact.id"), d.ID},
		{d.t("fact.format"), d.Format},
		{d.t("fact.made_at"), instant(d.MadeAt)},
		{d.t("fact.as_of"), d.AsOf},
		{d.t("fact.sha256"), d.or(d.o.DocumentSHA256)},
	}
	if d.o.Link != "" {
		pairs = append(pairs, [2]string{d.t("fact.link"), d.o.Link})
	}
	s.facts(pairs)
}

func (d doorReport) or(text string) string {
	if text == "" {
		return d.t("not_recorded")
	}
	return text
}

func (d doorReport) dash(text string) string {
	if text == "" {
		return "–"
	}
	return text
}

func (d doorReport) yesNo(v *bool) string {
	switch {
	case v == nil:
		return d.t("not_recorded")
	case *v:
		return d.t("yes")
	default:
		return d.t("no")
	}
}

// quantity is a value with its basis, or that it is not recorded.
func (d doorReport) quantity(q fleet.ReportQuantity, unit string) string {
	if q.Value == nil {
		return d.t("not_recorded")
	}
	return d.t("with_basis", "value", d.o.Units.reading(d.o.Texts, *q.Value, unit), "basis", code(d.o.Texts, "basis", q.Basis))
}

// length is a quantity in metres as people say a length.
func (d doorReport) length(q fleet.ReportQuantity) string {
	if q.Value == nil {
		return d.t("not_recorded")
	}
	return d.t("with_basis", "value", d.o.Units.length(d.o.Texts, *q.Value), "basis", code(d.o.Texts, "basis", q.Basis))
}

// instant prints an RFC 3339 instant to the minute, in UTC and saying so.
func instant(at string) string {
	t, err := time.Parse(time.RFC3339, at)
	if err != nil {
		return at
	}
	return t.UTC().Format("2006-01-02 15:04 UTC")
}

func short(hash string) string { return hash[:min(len(hash), 16)] }

// clip cuts text to a width, with a sign that it was cut.
func clip(text string, widthMM, size float64) string {
	lines := wrap(text, widthMM, size, false)
	if len(lines) == 1 {
		return text
	}
	return lines[0] + " …"
}

func clipLines(lines []string, n int) []string {
	if len(lines) <= n {
		return lines
	}
	return append(append([]string(nil), lines[:n-1]...), lines[n-1]+" …")
}

// join joins what is not empty.
func join(sep string, parts ...string) string {
	var out []string
	for _, p := range parts {
		if p != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, sep)
}
