package report

import (
	"bytes"
	"encoding/csv"
	"regexp"
	"strconv"
	"strings"

	"lintel.example/lintel/internal/fleet"
)

// The CSV prints are for programs and spreadsheets: UTF-8, commas, lines that end in CR LF (RFC 4180), one heading line,
// codes of the register and not words, values in SI with their unit beside them, numbers with a point.

// overviewColumns head the CSV of a site and of a portfolio: one line a door, the gravest first. state is the gravest,
// states all of them with semicolons between.
func overviewColumns() []string {
	return []string{"report_id", "as_of", "customer", "site", "site_id", "door_tag", "door_id", "door_name", "kind", "state", "states", "unsafe", "deficient", "advisory",
		"last_inspection_on", "last_result", "next_due_on", "overdue_days"}
}

// doorColumns head the CSV of a door and of a certificate: one line a statement. section says what it is about (door,
// leaf, component, device, mount, setting, field, rule, reading, finding, out_of_service, due, inspection); ground and
// lacking are of rules.
func doorColumns() []string {
	return []string{"report_id", "as_of", "site", "door_tag", "section", "subject", "item", "value", "unit", "basis", "at_least", "at_most", "limit_unit", "outcome", "ground",
		"lacking", "source", "standing"}
}

// csvLines writes guarded lines.
type csvLines struct {
	out bytes.Buffer
	w   *csv.Writer
}

func newCSV(columns []string) *csvLines {
	c := &csvLines{}
	c.w = csv.NewWriter(&c.out)
	c.w.UseCRLF = true
	c.line(columns...)
	return c
}

func (c *csvLines) line(cells ...string) {
	guarded := make([]string, len(cells))
	for i, text := range cells {
		guarded[i] = guard(text)
	}
	_ = c.w.Write(guarded) // a buffer takes everything
}

func (c *csvLines) bytes() []byte {
	c.w.Flush()
	return c.out.Bytes()
}

var plainNumber = regexp.MustCompile(`^-?[0-9]+(\.[0-9]+)?$`)

// guard keeps a spreadsheet from taking a text for a formula: what begins with a sign that begins one gets an apostrophe
// before it. Numbers stay numbers.
func guard(text string) string {
	text = strings.ToValidUTF8(strings.ReplaceAll(text, "\x00", "\uFFFD"), "\uFFFD")
	if text == "" || plainNumber.MatchString(text) {
		return text
	}
	if strings.ContainsAny(string([]rune(text)[:1]), "=+-@\t\r\n＝＋－＠") {
		return "'" + text
	}
	return text
}

func overviewCSV(h fleet.ReportHead, customerOf func(siteID string) string, lines []fleet.OverviewLine) []byte {
	c := newCSV(overviewColumns())
	for _, l := range lines {
		state := ""
		if len(l.States) > 0 {
			state = l.States[0]
		}
		c.line(h.ID, h.AsOf, customerOf(l.SiteID), l.Site, l.SiteID, l.Tag, l.DoorID, l.Name, l.Kind, state, strings.Join(l.States, ";"), strconv.Itoa(l.Unsafe),
			strconv.Itoa(l.Deficient), strconv.Itoa(l.Advisory), l.LastOn, l.LastResult, l.NextDueOn, strconv.Itoa(l.OverdueDays))
	}
	return c.bytes()
}

func siteCSV(r fleet.SiteDocument) []byte {
	return overviewCSV(r.ReportHead, func(string) string { return r.Customer.Name }, r.Overview)
}

func portfolioCSV(r fleet.PortfolioDocument) []byte {
	customer := map[string]string{}
	for _, s := range r.Sites {
		customer[s.ID] = s.Customer.Name
	}
	return overviewCSV(r.ReportHead, func(site string) string { return customer[site] }, r.Overview)
}

// doorCSV writes the statements of a document of one door.
type doorCSV struct {
	*csvLines
	head fleet.ReportHead
	site string
	tag  string
}

// statement is one line; what it does not say is empty.
type statement struct {
	section, subject, item, value, unit, basis string
	least, most, limitUnit                     string
	outcome, ground, lacking, source, standing string
}

func (c doorCSV) say(s statement) {
	c.line(c.head.ID, c.head.AsOf, c.site, c.tag, s.section, s.subject, s.item, s.value, s.unit, s.basis, s.least, s.most, s.limitUnit, s.outcome, s.ground, s.lacking, s.source, s.standing)
}

func (c doorCSV) text(section, subject, item, value string) {
	c.say(statement{section: section, subject: subject, item: item, value: value})
}

func (c doorCSV) quantity(section, subject, item, unit string, q fleet.ReportQuantity) {
	c.say(statement{section: section, subject: subject, item: item, value: number(q.Value), unit: unit, basis: q.Basis})
}

func number(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
}

func answer(v *bool) string {
	if v == nil {
		return ""
	}
	return strconv.FormatBool(*v)
}

func csvOfDoor(h fleet.ReportHead, p fleet.ReportPlace, d fleet.DoorContent) []byte {
	c := doorCSV{newCSV(doorColumns()), h, p.Site.Name, d.Door.Tag}
	for _, state := range d.States() {
		c.text("door", "", "state", state)
	}
	c.door(d)
	c.fitted(d)
	c.inspected(d)
	for _, f := range d.Findings {
		c.say(statement{section: "finding", subject: f.ID, item: f.Severity, value: f.Title, outcome: orElse(f.State, "open"), source: f.RuleID})
	}
	for _, f := range d.Closed {
		c.say(statement{section: "finding", subject: f.ID, item: f.Severity, value: f.Title, outcome: f.State, source: f.RuleID})
	}
	for _, o := range d.OutOfService {
		c.text("out_of_service", o.ID, "opened_at", o.OpenedAt)
		if o.Secured == nil {
			c.text("out_of_service", o.ID, "secured", "false")
			continue
		}
		c.text("out_of_service", o.ID, "secured", o.Secured.How)
		c.text("out_of_service", o.ID, "secured_at", o.Secured.At)
		c.text("out_of_service", o.ID, "can_get_out", answer(o.Secured.CanGetOut))
	}
	for _, due := range d.Due {
		c.say(statement{section: "due", item: "interval", value: strconv.Itoa(due.IntervalMonths), unit: "month"})
		c.text("due", "", "last_on", due.LastOn)
		c.text("due", "", "next_due_on", due.NextDueOn)
		c.say(statement{section: "due", item: "overdue", value: strconv.Itoa(due.OverdueDays), unit: "day"})
	}
	return c.bytes()
}

func (c doorCSV) door(d fleet.DoorContent) {
	x := d.Door
	for _, f := range [][2]string{{"name", x.Name}, {"kind", x.Kind}, {"energy", x.Energy}, {"traffic", x.Traffic}, {"presence_by", x.PresenceBy}, {"guide_rails", x.GuideRails},
		{"modes", strings.Join(x.Modes, ";")}, {"egress", answer(x.Egress)}, {"fire_rated", answer(x.FireRated)}, {"vulnerable_users", answer(x.Vulnerable)}} {
		c.text("door", "", f[0], f[1])
	}
	c.quantity("door", "", "clear_width", "m", x.ClearWidthM)
	c.quantity("door", "", "header_depth", "m", x.HeaderDepthM)
	c.quantity("door", "", "opening_time", "s", x.OpeningTimeS)
	c.quantity("door", "", "closing_time", "s", x.ClosingTimeS)
	if b := d.RuleBasis; b != nil {
		c.say(statement{section: "door", item: "rule_basis", value: b.PackID, source: join(" ", b.Standard, b.Edition)})
	}
	for i, l := range x.Leaves {
		leaf := strconv.Itoa(i + 1)
		c.text("leaf", leaf, "motion", l.Motion)
		c.quantity("leaf", leaf, "width", "m", l.WidthM)
		c.quantity("leaf", leaf, "height", "m", l.HeightM)
		c.quantity("leaf", leaf, "mass", "kg", l.MassKg)
	}
}

func (c doorCSV) fitted(d fleet.DoorContent) {
	for _, x := range d.Door.Components {
		c.text("component", x.Serial, x.Kind, join(" ", x.Maker, x.Model))
	}
	for _, x := range d.Devices {
		c.text("device", x.ID, "model", join(" ", x.Maker, x.Model))
		c.text("device", x.ID, "serial", x.Serial)
		c.text("device", x.ID, "side", x.Side)
		c.text("device", x.ID, "purpose", x.Purpose)
		c.text("device", x.ID, "antenna", x.Antenna)
		c.text("device", x.ID, "accessories", strings.Join(x.Accessories, ";"))
		c.quantity("mount", x.ID, "height", "m", x.Mount.HeightM)
		c.quantity("mount", x.ID, "offset_x", "m", x.Mount.OffsetXM)
		c.quantity("mount", x.ID, "offset_y", "m", x.Mount.OffsetYM)
		c.quantity("mount", x.ID, "tilt", "deg", x.Mount.TiltDeg)
		c.quantity("mount", x.ID, "yaw", "deg", x.Mount.YawDeg)
		if s := x.Settings; s != nil {
			c.text("setting", x.ID, "standing", s.Standing)
			c.quantity("setting", x.ID, "reach", "dB", s.ReachDB)
			c.quantity("setting", x.ID, "confirm_travel", "mm", s.ConfirmTravelMM)
			c.quantity("setting", x.ID, "output_hold", "s", s.OutputHoldS)
			c.text("setting", x.ID, "motion_direction", s.MotionDirection)
			c.text("setting", x.ID, "hold_while_moving", answer(s.HoldWhileMoving))
			c.text("setting", x.ID, "output_contact", s.OutputContact)
		}
		if f := x.Field; f != nil {
			for _, v := range []struct {
				item, unit string
				value      float64
			}{{"width", "m", f.WidthM}, {"depth", "m", f.DepthM}, {"near", "m", f.NearM}, {"far", "m", f.FarM}, {"area", "m2", f.AreaM2}} {
				c.say(statement{section: "field", subject: x.ID, item: v.item, value: number(&v.value), unit: v.unit, basis: "computed"})
			}
		} else {
			c.say(statement{section: "field", subject: x.ID, lacking: strings.Join(x.Missing, ";")})
		}
	}
}

func (c doorCSV) inspected(d fleet.DoorContent) {
	if l := d.LastInspection; l != nil {
		for _, f := range [][2]string{{"date", l.Date}, {"result", l.Result}, {"inspector", l.Inspector.Name}, {"certificate_no", l.Inspector.CertificateNo},
			{"certified_under", l.Inspector.Qualification}, {"valid_until", l.Inspector.ValidUntil}, {"record_sha256", l.RecordSHA256}} {
			c.text("inspection", l.VisitID, f[0], f[1])
		}
		for _, f := range [][2]string{{"certificate_allows", l.Inspector.Allows}, {"certificate_issuer", l.Inspector.Issuer}} {
			if f[1] != "" {
				c.text("inspection", l.VisitID, f[0], f[1])
			}
		}
		if l.Inspector.Withdrawn {
			c.text("inspection", l.VisitID, "certificate_withdrawn", "true")
		}
	}
	if l := d.LastInspection; l != nil && l.JudgedBy != "" {
		c.text("inspection", l.VisitID, "judged_by", l.JudgedBy)
	}
	c.verdicts("rule", "", d.Verdicts)
	for _, b := range d.Beside {
		c.verdicts("rule_beside", b.PackID+"/", b.Verdicts)
	}
	for _, j := range d.JudgedToday {
		c.say(statement{section: "judged_today", subject: j.RuleID, item: j.Title, outcome: j.Now})
	}
	for _, r := range d.Unjudged {
		c.reading("", r)
	}
}

// verdicts says of each rule what it said; pack stands before its id where it is not of the rule basis.
func (c doorCSV) verdicts(section, pack string, verdicts []fleet.ReportVerdict) {
	for _, v := range verdicts {
		s := statement{section: section, subject: pack + v.RuleID, item: v.Title, outcome: v.Outcome, ground: ground(v), lacking: strings.Join(v.Missing, "; "), source: v.Source, standing: v.Standing}
		if v.Measured != nil {
			s.value, s.unit = number(&v.Measured.SI), v.Measured.SIUnit
		}
		for _, a := range []struct {
			to    *string
			limit *fleet.ReportAmount
		}{{&s.least, v.AtLeast}, {&s.most, v.AtMost}} {
			if a.limit != nil {
				*a.to, s.limitUnit = number(&a.limit.Value), a.limit.Unit
			}
		}
		c.say(s)
		for _, r := range v.Readings {
			c.reading(pack+v.RuleID, r)
		}
	}
}

// reading says where at the door it was taken in its item: name, leaf and side; and of how many samples.
func (c doorCSV) reading(rule string, r fleet.ReportReading) {
	item := orElse(r.Name, r.Title)
	if r.Leaf > 0 {
		item += ";leaf " + strconv.Itoa(r.Leaf)
	}
	if r.Side != "" {
		item += ";side " + r.Side
	}
	if r.Samples > 0 {
		item += ";samples " + strconv.Itoa(r.Samples)
	}
	s := statement{section: "reading", subject: rule, item: item, value: number(r.Value), unit: r.Unit}
	if r.Yes != nil {
		s.value = answer(r.Yes)
	}
	if r.Text != "" {
		s.value = r.Text
	}
	c.say(s)
}
