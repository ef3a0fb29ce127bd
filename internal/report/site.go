package report

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"lintel.example/lintel/internal/fleet"
)

// overview is the doors of a report in one line each, the gravest first.
type overview struct {
	frame
	lines []fleet.OverviewLine
	sites bool // name the site of each
}

// figures says how many doors stand how; a door counts once, in its gravest state.
func (v overview) figures(s surface) {
	count := map[string]int{}
	for _, l := range v.lines {
		state := "in_order"
		if len(l.States) > 0 {
			state = l.States[0]
		}
		switch {
		case strings.HasPrefix(state, "unsafe"):
			count["unsafe"]++
		case state == "overdue", state == "in_order":
			count[state]++
		default:
			count["other"]++
		}
	}
	s.strip([][3]string{
		{v.t("strip.doors"), strconv.Itoa(len(v.lines)), ""},
		{v.t("strip.unsafe"), strconv.Itoa(count["unsafe"]), ""},
		{v.t("strip.overdue"), strconv.Itoa(count["overdue"]), ""},
		{v.t("strip.other"), strconv.Itoa(count["other"]), ""},
		{v.t("strip.in_order"), strconv.Itoa(count["in_order"]), ""},
	})
}

// unsafe stands above everything else while a door is.
func (v overview) unsafe(s surface) {
	var open, secured []string
	for _, l := range v.lines {
		switch {
		case len(l.States) == 0:
		case l.States[0] == "unsafe_secured":
			secured = append(secured, fleet.Tag(l.Tag).String())
		case strings.HasPrefix(l.States[0], "unsafe"):
			open = append(open, fleet.Tag(l.Tag).String())
		}
	}
	var list []stateText
	for _, g := range []struct {
		key  string
		tags []string
	}{{"unsafe_not_secured", open}, {"unsafe_secured", secured}} {
		if len(g.tags) > 0 {
			list = append(list, stateText{Grave: true, Name: v.t("overview."+g.key, "doors", len(g.tags)), Says: v.t("overview.doors", "tags", some(g.tags)) + " " + v.t("says."+g.key)})
		}
	}
	if list != nil {
		s.states(list)
	}
}

// some names the first of many.
func some(names []string) string {
	if most := 12; len(names) > most {
		return strings.Join(names[:most], ", ") + " …"
	}
	return strings.Join(names, ", ")
}

func (v overview) table(s surface) {
	s.heading(v.t("section.overview"))
	columns := []column{{v.t("col.door"), 3.6}, {v.t("col.state"), 4.2}, {v.t("col.findings"), 2.2}, {v.t("col.last"), 2}, {v.t("col.next"), 2}}
	if v.sites {
		columns = append(columns[:1], append([]column{{v.t("col.site"), 3}}, columns[1:]...)...)
	}
	var rows [][]cell
	for _, l := range v.lines {
		row := []cell{{Text: fleet.Tag(l.Tag).String(), Note: l.Name}}
		if v.sites {
			row = append(row, cell{Text: l.Site})
		}
		rows = append(rows, append(row, v.state(l), v.findings(l), v.last(l), v.next(l)))
	}
	s.table(columns, rows)
}

func (v overview) state(l fleet.OverviewLine) cell {
	if len(l.States) == 0 {
		return cell{Text: v.t("not_recorded")}
	}
	var others []string
	for _, state := range l.States[1:] {
		others = append(others, v.code("state", state))
	}
	c := cell{Text: v.code("state", l.States[0]), Note: strings.Join(others, "\n")}
	switch {
	case strings.HasPrefix(l.States[0], "unsafe"):
		c.Mark, c.Bold = cross, true
	case l.States[0] == "in_order":
		c.Mark = tick
	default:
		c.Mark = dash
	}
	return c
}

func (v overview) findings(l fleet.OverviewLine) cell {
	var parts []string
	for _, p := range []struct {
		severity string
		n        int
	}{{"unsafe", l.Unsafe}, {"deficient", l.Deficient}, {"advisory", l.Advisory}} {
		if p.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", p.n, v.code("severity", p.severity)))
		}
	}
	return cell{Text: v.dash(strings.Join(parts, "\n"))}
}

func (v overview) last(l fleet.OverviewLine) cell {
	if l.LastOn == "" {
		return cell{Text: v.t("strip.never")}
	}
	return cell{Text: l.LastOn, Note: v.code("result", l.LastResult)}
}

func (v overview) next(l fleet.OverviewLine) cell {
	c := cell{Text: v.or(l.NextDueOn)}
	if l.OverdueDays > 0 {
		c.Bold, c.Note = true, v.t("overdue_by", "days", l.OverdueDays)
	}
	return c
}

// siteReport is a site: an overview, then each door on a page or two.
type siteReport struct {
	overview
	doc fleet.SiteDocument
}

func newSiteReport(r fleet.SiteDocument, o Options) siteReport {
	return siteReport{overview{frame{r.ReportHead, o}, r.Overview, false}, r}
}

func (r siteReport) subject() (title, of, running string) {
	return r.t("site_subject", "site", r.doc.Site.Name, "day", r.AsOf), join(", ", r.doc.Site.Name, r.doc.Customer.Name), r.t("site_title")
}

func (r siteReport) lay(s surface) {
	s.masthead(r.masthead(r.t("site_title"), r.doc.Site.Name, r.doc.Customer.Name, r.doc.Site.Address))
	r.unsafe(s)
	r.figures(s)
	r.table(s)
	s.heading(r.t("section.site"))
	pairs := [][2]string{
		{r.t("fact.customer"), r.or(r.doc.Customer.Name)},
		{r.t("fact.jurisdiction"), r.or(r.doc.Site.Jurisdiction)},
		{r.t("fact.zone"), r.or(r.doc.Site.Zone)},
	}
	for _, p := range r.doc.Parties {
		pairs = append(pairs, [2]string{r.code("party", p.Role), r.or(p.Name)})
	}
	s.facts(pairs)
	particular := map[string]bool{}
	for _, d := range r.doc.Doors {
		door := doorReport{r.frame, r.doc.ReportPlace, d, plansOf(d, r.o.Texts, r.o.Units)}
		s.part(door.name(), join(" · ", d.Door.Name, r.code("kind", d.Door.Kind), r.code("energy", d.Door.Energy)))
		door.brief(s)
		for _, c := range d.Cautions {
			particular[c] = true
		}
	}
	s.endPart()
	var cautions []string
	for _, c := range codes("caution") {
		if particular[c] {
			cautions = append(cautions, c)
		}
	}
	r.cautions(s, cautions)
}

// brief is a door among others: how it stands, what is open, what was not judged as passed on a reading, what is fitted
// and set, and its sides.
func (d doorReport) brief(s surface) {
	d.states(s)
	d.strip(s)
	d.outOfService(s)
	d.findings(s)
	d.exceptions(s)
	d.inspection(s)
	d.due(s)
	d.sides(s, 62)
	d.hardware(s)
	if len(d.DoorContent.Cautions) > 0 {
		s.heading(d.t("section.door_cautions"))
		for _, c := range d.DoorContent.Cautions {
			s.paragraph(d.code("caution", c), plainText)
		}
	}
}

// exceptions are the verdicts that a reader must look at; the others are counted.
func (d doorReport) exceptions(s surface) {
	s.heading(d.t("section.verdicts"))
	passed, other := 0, 0
	var rest []fleet.ReportVerdict
	for _, v := range d.Verdicts {
		switch {
		case v.Outcome == "passed" && ground(v) == "readings":
			passed++
		case v.Outcome == "not_applicable":
			other++
		default:
			rest = append(rest, v)
		}
	}
	s.paragraph(d.t("verdicts_counted", "passed", passed, "others", other), plainText)
	if len(rest) > 0 {
		d.verdictTable(s, rest)
	}
	d.judgedToday(s)
	d.besideBrief(s)
	d.unjudged(s)
}

// besideBrief shows of what judged beside the rule basis only what a reader must look at.
func (d doorReport) besideBrief(s surface) {
	brief := d
	brief.Beside = nil
	for _, b := range d.Beside {
		b.Verdicts = slices.DeleteFunc(slices.Clone(b.Verdicts), func(v fleet.ReportVerdict) bool { return v.Outcome == "passed" })
		if len(b.Verdicts) > 0 {
			brief.Beside = append(brief.Beside, b)
		}
	}
	brief.beside(s)
}

// portfolioReport is the doors of many sites.
type portfolioReport struct {
	overview
	doc fleet.PortfolioDocument
}

func newPortfolioReport(r fleet.PortfolioDocument, o Options) portfolioReport {
	return portfolioReport{overview{frame{r.ReportHead, o}, r.Overview, true}, r}
}

func (r portfolioReport) name() string {
	if r.doc.Customer != nil {
		return r.doc.Customer.Name
	}
	return r.t("portfolio_of", "sites", len(r.doc.Sites))
}

func (r portfolioReport) subject() (title, of, running string) {
	return r.t("site_subject", "site", r.name(), "day", r.AsOf), r.name(), r.t("portfolio_title")
}

func (r portfolioReport) lay(s surface) {
	s.masthead(r.masthead(r.t("portfolio_title"), r.name(), r.t("portfolio_size", "sites", len(r.doc.Sites), "doors", len(r.lines))))
	r.unsafe(s)
	r.figures(s)
	r.table(s)
	s.heading(r.t("section.sites"))
	var rows [][]cell
	for _, x := range r.doc.Sites {
		rows = append(rows, []cell{{Text: x.Name, Note: x.Address}, {Text: x.Customer.Name}, {Text: x.Jurisdiction}, {Text: strconv.Itoa(x.Doors)}})
	}
	s.table([]column{{r.t("col.site"), 5}, {r.t("col.customer"), 4}, {r.t("col.jurisdiction"), 2}, {r.t("col.doors"), 1.5}}, rows)
	s.paragraph(r.t("portfolio_note"), plainText)
	r.cautions(s, nil)
}
