package report

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"lintel.example/lintel/internal/fleet"
)

// doorReport is one door on a page or more.
type doorReport struct {
	frame
	fleet.ReportPlace
	fleet.DoorContent
	plans []PlanDrawing
}

func newDoorReport(r fleet.ComplianceReport, plans []PlanDrawing, o Options) doorReport {
	return doorReport{frame{r.ReportHead, o}, r.ReportPlace, r.DoorContent, plans}
}

func (d doorReport) name() string { return d.t("door", "tag", fleet.Tag(d.Door.Tag).String()) }

func (d doorReport) subject() (title, of, running string) {
	return d.t("subject", "tag", fleet.Tag(d.Door.Tag).String(), "day", d.AsOf), join(", ", d.Door.Name, d.Site.Name), d.t("title") + " · " + d.name()
}

// lay puts what matters at once first.
func (d doorReport) lay(s surface) {
	s.masthead(d.masthead(d.t("title"), d.name(), join(", ", d.Door.Name, d.Site.Name), d.Site.Address))
	d.states(s)
	d.strip(s)
	d.outOfService(s)
	d.findings(s)
	d.verdicts(s)
	d.inspection(s)
	d.ruleBasis(s)
	d.place(s)
	d.sides(s, 105)
	d.hardware(s)
	d.due(s)
	d.workOrders(s)
	d.closed(s)
	d.cautions(s, d.DoorContent.Cautions)
}

// states says how the door stands, gravest first.
func (d doorReport) states(s surface) {
	var list []stateText
	for _, state := range d.States() {
		list = append(list, stateText{Grave: strings.HasPrefix(state, "unsafe"), Name: d.code("state", state), Says: d.says(state)})
	}
	s.states(list)
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
	if state == "unsafe_by_date" {
		until := ""
		for _, f := range d.Findings {
			if f.Danger && (until == "" || f.MendBy < until) {
				until = f.MendBy
			}
		}
		return d.t("says.unsafe_by_date", "day", until)
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
func (d doorReport) strip(s surface) {
	last := [2]string{d.t("strip.never"), ""}
	if l := d.LastInspection; l != nil {
		last = [2]string{l.Date, d.code("result", l.Result)}
	}
	next := ""
	for _, due := range d.Due {
		if due.NextDueOn != "" && (next == "" || due.NextDueOn < next) {
			next = due.NextDueOn
		}
	}
	count := map[string]int{}
	for _, f := range d.Findings {
		count[f.Severity]++
	}
	basis := d.t("not_recorded")
	if b := d.RuleBasis; b != nil {
		basis = join(" ", b.Standard, b.Edition)
	}
	s.strip([][3]string{
		{d.t("strip.last"), last[0], last[1]},
		{d.t("strip.next"), d.or(next), ""},
		{d.t("strip.findings"), strconv.Itoa(len(d.Findings)), d.t("strip.counts", "unsafe", count["unsafe"], "deficient", count["deficient"], "advisory", count["advisory"])},
		{d.t("strip.basis"), basis, ""},
	})
}

func (d doorReport) outOfService(s surface) {
	for _, c := range d.OutOfService {
		s.heading(d.t("section.out_of_service"))
		pairs := [][2]string{
			{d.t("fact.opened"), d.t("fact.opened_value", "at", d.or(instant(c.OpenedAt)), "name", d.or(c.OpenedBy))},
			{d.t("fact.reason"), d.or(c.Reason)},
		}
		if c.Secured == nil {
			pairs = append(pairs, [2]string{d.t("fact.secured"), d.t("fact.not_secured")})
		} else {
			how := d.code("secured", c.Secured.How)
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
				"how", d.or(who.How), "answer", d.code("answer", who.Answer))})
		}
		s.facts(pairs)
	}
}

func (d doorReport) findings(s surface) {
	s.heading(d.t("section.findings"))
	if len(d.Findings) == 0 {
		s.paragraph(d.t("none"), plainText)
		return
	}
	var rows [][]cell
	for _, f := range d.Findings {
		note := f.Detail
		if f.Origin == "computed" {
			note = join("\n", note, d.t("computed"))
		}
		if f.Danger {
			note = join("\n", d.t("finding_danger", "day", f.MendBy), note)
		}
		if f.Times > 1 {
			note = join("\n", note, d.t("finding_again", "count", f.Times, "first", f.FirstOn))
		}
		weight := cell{Text: d.code("severity", f.Severity), Bold: f.Severity == "unsafe" || f.Danger}
		if weight.Bold {
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

// closed are the findings that ended within the year before.
func (d doorReport) closed(s surface) {
	if len(d.Closed) == 0 {
		return
	}
	d.ended(s, d.t("section.closed"), d.Closed)
}

func (d doorReport) ended(s surface, title string, findings []fleet.ReportFinding) {
	s.heading(title)
	var rows [][]cell
	for _, f := range findings {
		rows = append(rows, []cell{{Text: d.code("severity", f.Severity)}, {Text: d.or(f.Title)}, {Text: d.code("finding_state", f.State), Note: f.ClosedOn}, {Text: d.or(f.OpenedOn)}})
	}
	s.table([]column{{d.t("col.severity"), 2.2}, {d.t("col.finding"), 6.4}, {d.t("col.closed"), 3.4}, {d.t("col.opened"), 1.9}}, rows)
}

func (d doorReport) verdicts(s surface) {
	s.heading(d.t("section.verdicts"))
	if len(d.Verdicts) == 0 {
		s.paragraph(d.t("none"), plainText)
		return
	}
	d.verdictTable(s, d.Verdicts)
	d.judgedToday(s)
	d.beside(s)
	d.unjudged(s)
	d.asFound(s)
	d.leftOut(s)
}

// beside are the packs that judged beside the rule basis: what was judged, and how much of them was not read for.
func (d doorReport) beside(s surface) {
	for _, b := range d.Beside {
		s.heading(d.t("section.beside", "title", b.Title))
		says := d.t("beside."+b.Role, "pack", b.PackID)
		if b.Role == "law" && b.Jurisdiction != "" {
			says = d.t("beside.law_of", "pack", b.PackID, "jurisdiction", b.Jurisdiction)
		}
		s.paragraph(join(" ", says, b.Caution), smallText)
		if len(b.Verdicts) > 0 {
			d.verdictTable(s, b.Verdicts)
		}
		if b.NotRead > 0 {
			s.paragraph(d.t("beside.not_read", "count", b.NotRead), plainText)
		}
	}
}

// judgedToday stands apart from the verdicts: what was signed is what it is.
func (d doorReport) judgedToday(s surface) {
	if len(d.JudgedToday) == 0 {
		return
	}
	s.heading(d.t("section.judged_today"))
	s.paragraph(d.t("judged_today"), smallText)
	outcome := func(o string) cell {
		if o == "" {
			return cell{Text: d.t("no_rule_of_it")}
		}
		return cell{Text: d.code("outcome", o), Bold: o == "failed"}
	}
	var rows [][]cell
	for _, j := range d.JudgedToday {
		rows = append(rows, []cell{{Text: d.or(j.Title)}, outcome(j.Then), outcome(j.Now)})
	}
	s.table([]column{{d.t("col.rule"), 5}, {d.t("col.then"), 3.5}, {d.t("col.now"), 3.5}}, rows)
}

func (d doorReport) verdictTable(s surface, verdicts []fleet.ReportVerdict) {
	var rows [][]cell
	for _, v := range verdicts {
		rows = append(rows, []cell{{Text: d.or(v.Title)}, d.found(v), d.limit(v), d.outcome(v), {Text: d.dash(v.Source), Note: d.code("standing", v.Standing)}})
	}
	s.table([]column{{d.t("col.rule"), 4}, {d.t("col.reading"), 2.9}, {d.t("col.limit"), 2.9}, {d.t("col.outcome"), 2.7}, {d.t("col.source"), 3.2}}, rows)
}

// unjudged are readings that no rule of this door asks for.
func (d doorReport) unjudged(s surface) {
	if len(d.Unjudged) == 0 {
		return
	}
	s.heading(d.t("section.unjudged"))
	s.paragraph(d.t("unjudged"), smallText)
	var pairs [][2]string
	for _, r := range d.Unjudged {
		pairs = append(pairs, [2]string{join(", ", r.Title, d.spot(r)), d.read(r)})
	}
	s.facts(pairs)
}

// asFound are readings that hold no longer, because something was changed at the door after them.
func (d doorReport) asFound(s surface) {
	if len(d.AsFound) == 0 {
		return
	}
	s.heading(d.t("section.as_found"))
	s.paragraph(d.t("as_found"), smallText)
	var pairs [][2]string
	for _, r := range d.AsFound {
		pairs = append(pairs, [2]string{join(", ", r.Title, d.spot(r)), d.read(r)})
	}
	s.facts(pairs)
}

// leftOut is what nobody read at the last inspection.
func (d doorReport) leftOut(s surface) {
	if len(d.LeftOut) == 0 {
		return
	}
	s.heading(d.t("section.left_out"))
	s.paragraph(d.t("left_out"), smallText)
	var rows [][]cell
	for _, l := range d.LeftOut {
		rows = append(rows, []cell{{Text: l.Title, Note: d.spot(fleet.ReportReading{Leaf: l.Leaf, Side: l.Side})}, {Text: d.code("left_out_reason", l.Reason)}, {Text: d.dash(l.Why)}})
	}
	s.table([]column{{d.t("col.not_read"), 4}, {d.t("col.because"), 3}, {d.t("col.in_words"), 6}}, rows)
}

// ground says what a verdict rests on. Documents of old did not say.
func ground(v fleet.ReportVerdict) string {
	if v.Ground == "" && v.Measured == nil && len(v.Readings) == 0 && (v.Outcome == "passed" || v.Outcome == "failed") {
		return "register"
	}
	return v.Ground
}

// outcome of a rule. What was judged from the register alone never looks as if somebody had measured it.
func (d doorReport) outcome(v fleet.ReportVerdict) cell {
	c := cell{Text: d.code("outcome", v.Outcome), Mark: dash}
	var notes []string
	switch v.Outcome {
	case "passed":
		c.Mark = tick
		if v.Severity == "none" { // a question to which no answer is wrong
			c.Mark, c.Text = dash, d.t("answered")
		}
	case "failed":
		c.Mark, c.Bold = cross, true
		notes = append(notes, d.code("severity", v.Severity))
	case "undecided":
		c.Bold = true
		notes = append(notes, d.t("undecided"))
	case "not_judged":
		if len(v.Missing) > 0 {
			notes = append(notes, d.t("missing_values", "missing", strings.Join(v.Missing, ", ")))
		}
	}
	if ground(v) == "register" && v.Outcome == "passed" {
		c.Mark, c.Text = dash, d.t("by_register")
	}
	if ground(v) == "register" && v.Outcome != "not_applicable" {
		notes = append(notes, d.t("no_reading"))
	}
	if v.Outcome == "passed" || v.Outcome == "failed" {
		if restsOn(v, "not_read_again") {
			c.Mark, c.Bold, c.Text = dash, true, d.t("before_work", "outcome", c.Text)
			notes = append(notes, d.t("rests_on_stale"))
		}
		if assumed := d.assumed(v); assumed != "" {
			notes = append(notes, d.t("rests_on_assumed", "facts", assumed))
		}
	}
	if v.Weight == "unverified" {
		notes = append(notes, d.t("unverified"))
	}
	if len(v.Missing) == 0 {
		notes = append(notes, v.Reason)
	}
	c.Note = join("\n", notes...)
	return c
}

// restsOn tells whether a verdict rests on a reading after which something was changed: on the worst, or on each where none is.
func restsOn(v fleet.ReportVerdict, overtaken string) bool {
	none := !slices.ContainsFunc(v.Readings, func(r fleet.ReportReading) bool { return r.Decided })
	return slices.ContainsFunc(v.Readings, func(r fleet.ReportReading) bool { return (r.Decided || none) && r.Overtaken == overtaken })
}

// assumed names what of the register a verdict rests on and somebody only assumed.
func (d doorReport) assumed(v fleet.ReportVerdict) string {
	var names []string
	for _, f := range v.Facts {
		if slices.Contains(strings.Split(f.Basis, ", "), string(fleet.Assumed)) {
			names = append(names, factName(d.o.Texts, f.Name))
		}
	}
	return strings.Join(names, ", ")
}

// found is what was held against the limit, as it was read and in the limit's unit; else what was read, or what the
// register says.
func (d doorReport) found(v fleet.ReportVerdict) cell {
	if v.Measured != nil {
		measured, _, _ := judged(d.o.Texts, v.Measured, v.AtLeast, v.AtMost)
		c := cell{Text: measured}
		several := slices.ContainsFunc(v.Readings, func(r fleet.ReportReading) bool { return r.Name != v.Readings[0].Name })
		for _, r := range v.Readings {
			read := d.read(r)
			value := join(", ", read, d.spot(r))
			switch {
			case several || r.Unit != v.Measured.SIUnit: // what it is must stand beside it, or it is taken for what the limit is of
				read = d.t("reading_named", "name", r.Title, "value", value)
			case len(v.Readings) > 1 && r.Decided:
				read = d.t("read_worst", "value", value)
			case read == measured:
				read = d.spot(r)
			default:
				read = d.t("read_as", "value", value)
			}
			c.Note = join("\n", c.Note, read)
		}
		if ground(v) == "register" {
			c.Note = join("\n", c.Note, d.t("from_register"), d.facts(v))
		}
		if v.Low != nil && v.High != nil {
			low, _, _ := judged(d.o.Texts, v.Low, nil, nil)
			high, _, _ := judged(d.o.Texts, v.High, nil, nil)
			c.Note = join("\n", c.Note, d.t("within_uncertainty", "low", low, "high", high))
		}
		return c
	}
	var out []string
	for _, r := range v.Readings {
		if (r.Value != nil || r.Title == v.Title) && len(v.Readings) == 1 && v.AtLeast == nil && v.AtMost == nil { // the rule's own title names it
			return cell{Text: d.read(r), Note: d.spot(r)}
		}
		out = append(out, d.t("reading_named", "name", join(", ", r.Title, d.spot(r)), "value", d.read(r)))
	}
	if len(out) > 0 {
		return cell{Text: strings.Join(out, "\n")}
	}
	if ground(v) == "register" {
		return cell{Text: d.t("from_register"), Note: d.facts(v)}
	}
	return cell{Text: d.t("not_read")}
}

// facts are what the register says of what a rule looks at, one a line.
func (d doorReport) facts(v fleet.ReportVerdict) string {
	var lines []string
	for _, f := range v.Facts {
		lines = append(lines, d.t("reading_named", "name", factName(d.o.Texts, f.Name), "value", d.or(d.fact(f))))
	}
	return strings.Join(lines, "\n")
}

// fact is what the register says of something: a measure in the reader's units with how it is known, else a code in words.
func (d doorReport) fact(f fleet.ReportFact) string {
	unit, measure := unitOfFact(f.Name)
	if !measure {
		return d.code(f.Name, f.Value)
	}
	bases := strings.Split(f.Basis, ", ")
	var out []string
	for i, each := range strings.Split(f.Value, ", ") {
		n, err := strconv.ParseFloat(each, 64)
		if err != nil {
			out = append(out, d.t("not_recorded"))
			continue
		}
		value := d.o.Units.reading(d.o.Texts, n, unit)
		if unit == "m" {
			value = d.o.Units.length(d.o.Texts, n)
		}
		if i < len(bases) && bases[i] != "" {
			value = d.t("with_basis", "value", value, "basis", d.code("basis", bases[i]))
		}
		out = append(out, value)
	}
	return strings.Join(out, "; ")
}

// unitOfFact is the SI unit of a measure, which ends its name in the register.
func unitOfFact(name string) (unit string, is bool) {
	for _, of := range [][2]string{{"_mps", "m/s"}, {"_m", "m"}, {"_kg", "kg"}, {"_s", "s"}, {"_n", "N"}, {"_deg", "deg"}} {
		if strings.HasSuffix(name, of[0]) {
			return of[1], true
		}
	}
	return "", false
}

// read is what was read, as it was entered.
func (d doorReport) read(r fleet.ReportReading) string {
	switch {
	case r.Value != nil:
		return withUnit(d.o.Texts, entered(*r.Value), r.Unit)
	case r.Yes != nil:
		return d.yesNo(r.Yes)
	case r.Text != "":
		return r.Text
	}
	return d.t("not_read")
}

// spot is where at the door something was read, and of how many samples it was worked out.
func (d doorReport) spot(r fleet.ReportReading) string {
	leaf, side := "", ""
	if r.Leaf > 0 {
		leaf = d.t("fact.leaf", "n", r.Leaf)
	}
	if r.Side != "" {
		side = sideName(d.o.Texts, r.Side, "")
	}
	samples := ""
	if r.Samples > 0 {
		samples = d.t("samples", "count", r.Samples)
	}
	overtaken := ""
	if r.Overtaken != "" {
		overtaken = d.code("overtaken", r.Overtaken)
	}
	return join(", ", leaf, side, samples, overtaken)
}

func (d doorReport) limit(v fleet.ReportVerdict) cell {
	_, least, most := judged(d.o.Texts, v.Measured, v.AtLeast, v.AtMost)
	bound := func(key, value string) string {
		if value == "" {
			return ""
		}
		return d.t(key, "value", value)
	}
	return cell{Text: d.dash(join("\n", bound("limit.at_least", least), bound("limit.at_most", most))),
		Note: join("\n", bound("limit.at_least", d.o.Units.inReaders(d.o.Texts, v.AtLeast)), bound("limit.at_most", d.o.Units.inReaders(d.o.Texts, v.AtMost)))}
}

func (d doorReport) inspection(s surface) {
	s.heading(d.t("section.inspection"))
	l := d.LastInspection
	if l == nil {
		s.paragraph(d.t("says.never_inspected"), plainText)
		return
	}
	pairs := [][2]string{
		{d.t("fact.date"), d.or(l.Date)},
		{d.t("fact.result"), d.code("result", l.Result)},
		{d.t("fact.inspector"), d.or(l.Inspector.Name)},
		{d.t("fact.employer"), d.or(l.Inspector.Employer)},
		{d.t("fact.qualification"), d.or(l.Inspector.Qualification)},
		{d.t("fact.certificate"), d.or(l.Inspector.CertificateNo)},
	}
	if l.Inspector.Allows != "" {
		pairs = append(pairs, [2]string{d.t("fact.allows"), d.code("allows", l.Inspector.Allows)})
	}
	if l.Inspector.Issuer != "" {
		pairs = append(pairs, [2]string{d.t("fact.issuer"), l.Inspector.Issuer})
	}
	pairs = append(pairs, [][2]string{
		{d.t("fact.valid"), d.validity(l.Inspector)},
		{d.t("fact.work_kind"), d.code("work", l.Kind)},
		{d.t("fact.signed_at"), instant(d.or(l.SignedAt))},
		{d.t("fact.visit"), d.or(l.VisitID)},
		{d.t("fact.record"), d.or(l.RecordSHA256)},
	}...)
	if b := d.RuleBasis; l.JudgedBy != "" && (b == nil || b.PackID != l.JudgedBy) {
		pairs = append(pairs, [2]string{d.t("fact.judged_by"), l.JudgedBy})
	}
	s.facts(pairs)
	d.signature(s)
}

// signature is what was signed, by whom, and the strokes as they were drawn.
func (d doorReport) signature(s surface) {
	l := d.LastInspection
	if l.SignedAt == "" {
		return
	}
	if l.Statement != "" {
		s.paragraph(d.t("signed_statement", "statement", l.Statement), plainText)
	}
	if sc := signatureScene(d.t("signature"), l.Signature); sc != nil {
		s.drawing(sc)
	} else if strokeData.MatchString(l.Signature) {
		s.paragraph(d.t("signature_undrawn"), smallText)
	} else if l.Signature != "" { // a name, as it was typed
		s.paragraph(d.t("signature_typed", "name", clip(l.Signature, s.widthMM()/2, bodyMM)), plainText)
	}
	s.paragraph(d.t("signed_by", "name", d.or(l.Inspector.Name), "at", instant(l.SignedAt)), strongText)
	s.paragraph(d.t("signed_how"), smallText)
}

// validity is from when until when a certificate holds.
func (d doorReport) validity(i fleet.ReportInspector) string {
	switch {
	case i.Withdrawn:
		return d.t("withdrawn", "until", d.or(i.ValidUntil))
	case i.CertificateNo == "":
		return d.t("no_certificate")
	case i.ValidUntil == "":
		return d.t("valid_without_end", "from", d.or(i.ValidFrom))
	case i.ValidFrom == "":
		return i.ValidUntil
	}
	return d.t("valid_from_until", "from", i.ValidFrom, "until", i.ValidUntil)
}

func (d doorReport) ruleBasis(s surface) {
	s.heading(d.t("section.basis"))
	b := d.RuleBasis
	if b == nil {
		s.paragraph(d.t("says.no_rule_basis"), plainText)
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

func (d doorReport) place(s surface) {
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
		pairs = append(pairs, [2]string{d.code("party", p.Role), d.or(p.Name) + sinceText(d, p.Since)})
	}
	x := d.Door
	pairs = append(pairs, [][2]string{
		{d.t("fact.kind"), d.code("kind", x.Kind)},
		{d.t("fact.energy"), d.code("energy", x.Energy)},
		{d.t("fact.traffic"), d.code("traffic", x.Traffic)},
		{d.t("fact.presence_by"), d.code("presence_by", x.PresenceBy)},
		{d.t("fact.guide_rails"), d.code("guide_rails", x.GuideRails)},
		{d.t("fact.modes"), d.or(codeList(d.o.Texts, "mode", x.Modes))},
		{d.t("fact.clear_width"), d.length(x.ClearWidthM)},
		{d.t("fact.header_depth"), d.length(x.HeaderDepthM)},
		{d.t("fact.opening_time"), d.quantity(x.OpeningTimeS, "s")},
		{d.t("fact.closing_time"), d.quantity(x.ClosingTimeS, "s")},
		{d.t("fact.egress"), d.yesNo(x.Egress)},
		{d.t("fact.fire_rated"), d.yesNo(x.FireRated)},
		{d.t("fact.vulnerable"), d.yesNo(x.Vulnerable)},
	}...)
	if x.Interior != nil {
		pairs = append(pairs, [2]string{d.t("fact.interior"), d.yesNo(x.Interior)})
	}
	for _, side := range d.Sides {
		pairs = append(pairs, [2]string{d.t("fact.activation", "side", sideName(d.o.Texts, side.Side, "")), d.code("activation", side.Activation)})
	}
	for i, l := range x.Leaves {
		parts := []string{d.code("motion", l.Motion)}
		if l.Hinge != "" && l.Hinge != "none" {
			parts = append(parts, d.t("fact.hinge", "hinge", d.code("hinge", l.Hinge)))
		}
		if l.OpensTowards != "" && l.OpensTowards != "none" {
			parts = append(parts, d.t("fact.opens", "towards", d.code("opens_towards", l.OpensTowards)))
		}
		parts = append(parts, d.t("fact.size", "width", d.length(l.WidthM), "height", d.length(l.HeightM), "mass", d.quantity(l.MassKg, "kg")))
		pairs = append(pairs, [2]string{d.t("fact.leaf", "n", i+1), strings.Join(parts, "; ")})
	}
	s.facts(pairs)
}

// sides: for each side its drawing, how much of each required zone is covered,
// and its sensors.
func (d doorReport) sides(s surface, heightMM float64) {
	s.heading(d.t("section.sides"))
	for _, p := range d.plans {
		scenes, err := sideScenes(d.o.Texts, p, s.widthMM(), heightMM)
		if err != nil {
			continue // refused before the first page
		}
		for _, sc := range scenes {
			s.drawing(sc)
		}
	}
	s.paragraph(d.t("caution.general.4"), smallText) // below, so that the heading stays with the first drawing
	var rows [][]cell
	for _, side := range d.Sides {
		for _, c := range side.Coverage {
			rows = append(rows, d.coverage(side, c))
		}
	}
	if len(rows) > 0 {
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
	if len(c.Unfit) > 0 {
		remarks.Text = join("\n", remarks.Text, d.t("unfit."+c.Purpose, "devices", strings.Join(c.Unfit, ", ")))
	}
	if len(c.Shortfalls) > 0 {
		remarks.Mark = cross
	}
	return []cell{{Text: sideName(d.o.Texts, side.Side, side.Label), Note: d.code("purpose", c.Purpose)}, share, gap, remarks}
}

func (d doorReport) devices(s surface) {
	s.heading(d.t("section.devices"))
	if len(d.Devices) == 0 {
		s.paragraph(d.t("none"), plainText)
		return
	}
	var rows [][]cell
	for _, x := range d.Devices {
		name := join(" ", x.Maker, x.Model)
		if name == "" {
			name = d.t("unknown_model")
		}
		note := []string{sideName(d.o.Texts, x.Side, ""), d.code("purpose", x.Purpose), d.t("serial", "serial", d.or(x.Serial))}
		if x.Antenna != "" {
			note = append(note, d.t("antenna", "antenna", x.Antenna))
		}
		if x.OneHeight {
			note = append(note, d.t("one_height"))
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
			lines := []string{}
			if x.Sensing == "" && !slices.Contains(x.Missing, "sensing") { // what only radar has
				lines = append(lines, d.t("setting.reach", "value", d.quantity(c.ReachDB, "dB")), d.t("setting.direction", "value", d.code("direction", c.MotionDirection)),
					d.t("setting.hold_moving", "value", d.yesNo(c.HoldWhileMoving)), d.t("setting.confirm", "value", d.quantity(c.ConfirmTravelMM, "mm")))
			}
			lines = append(lines, d.t("setting.hold", "value", d.quantity(c.OutputHoldS, "s")), d.t("setting.contact", "value", d.code("contact", c.OutputContact)))
			settings = cell{Text: strings.Join(lines, "\n"), Note: d.code("settings", c.Standing)}
			if c.EffectiveAt != "" {
				settings.Note += ", " + d.t("setting.since", "at", instant(c.EffectiveAt))
			}
		}
		field := cell{Text: d.t("not_computable", "missing", missingNames(d.o.Texts, x.Missing))}
		if f := x.Field; f != nil {
			l := func(m float64) string { return d.o.Units.length(d.o.Texts, m) }
			value := d.t("field_value", "width", l(f.WidthM), "depth", l(f.DepthM), "near", l(f.NearM), "far", l(f.FarM),
				"area", d.o.Units.area(d.o.Texts, f.AreaM2))
			if len(f.Polygons) == 0 {
				value = PlanSensor{Sensing: x.Sensing}.emptyText(d.o.Texts)
			}
			field = cell{Text: join("\n", append([]string{value}, Unfitness(d.o.Texts, x)...)...), Note: join("\n", d.t("computed"), d.walked(x), d.t("model", "version", f.ModelVersion))}
		}
		rows = append(rows, []cell{{Text: name, Note: join("\n", note...)}, {Text: mount}, settings, field})
	}
	s.table([]column{{d.t("col.device"), 3.5}, {d.t("col.mount"), 3.9}, {d.t("col.settings"), 4.9}, {d.t("col.field"), 3.4}}, rows)
}

// walked says by which walk test a field was computed; "" when by the catalogue and the mount.
func (d doorReport) walked(x fleet.ReportDevice) string {
	if x.WalkedOn == "" {
		return ""
	}
	return d.t("by_walk_test", "day", x.WalkedOn)
}

func (d doorReport) hardware(s surface) {
	if len(d.Door.Components) == 0 {
		return
	}
	s.heading(d.t("section.hardware"))
	var rows [][]cell
	for _, c := range d.Door.Components {
		rows = append(rows, []cell{{Text: d.code("component", c.Kind), Note: join(" ", c.Maker, c.Model)}, {Text: d.or(c.Serial)}, {Text: d.or(c.FittedSince)}})
	}
	s.table([]column{{d.t("col.component"), 6}, {d.t("col.serial"), 4}, {d.t("col.fitted"), 3}}, rows)
}

func (d doorReport) due(s surface) {
	s.heading(d.t("section.due"))
	if len(d.Due) == 0 {
		s.paragraph(d.t("says.no_due_date"), plainText)
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

func (d doorReport) workOrders(s surface) {
	s.heading(d.t("section.work"))
	if len(d.WorkOrders) == 0 {
		s.paragraph(d.t("none"), plainText)
		return
	}
	var rows [][]cell
	for _, w := range d.WorkOrders {
		rows = append(rows, []cell{{Text: d.code("work", w.Kind)}, {Text: d.code("work_state", w.State)}, {Text: d.or(w.DueOn)}, {Text: d.dash(w.DoneOn)}, {Text: d.dash(w.Note)}})
	}
	s.table([]column{{d.t("col.kind"), 2.4}, {d.t("col.state"), 1.8}, {d.t("col.due"), 2}, {d.t("col.done"), 2}, {d.t("col.note"), 6}}, rows)
}
