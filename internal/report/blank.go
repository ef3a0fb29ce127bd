package report

import (
	"strconv"
	"strings"

	"lintel.example/lintel/internal/fleet"
)

// inspectionBlank is the inspection form of a door for the pen.
type inspectionBlank struct {
	frame
	doc fleet.InspectionBlank
}

// instrumentsToName is how many instruments are written down at the top, each under a letter that stands beside what was read with it.
const instrumentsToName = 4

func (b inspectionBlank) subject() (title, of, running string) {
	name := join(" ", b.t("door", "tag", b.doc.Tag), b.doc.Door)
	return b.t("blank_title"), join(", ", b.doc.Door, b.doc.Site), b.t("blank_title") + " · " + name
}

// lay goes the way that the inspector goes.
func (b inspectionBlank) lay(s surface) {
	last := b.t("blank_never")
	if b.doc.LastOn != "" {
		last = b.t("blank_last", "day", b.doc.LastOn)
	}
	s.masthead(b.masthead(b.t("blank_title"), b.t("door", "tag", b.doc.Tag), join(", ", b.doc.Door, b.doc.Site), b.doc.Address, last))
	s.states([]stateText{{Name: b.t("blank_first"), Says: b.t("blank_first_says")}})
	s.paragraph(b.t("blank_how"), plainText)
	for _, p := range b.doc.Packs {
		s.paragraph(join(" ", p.Title+".", p.Caution), smallText)
	}
	b.who(s)
	b.safeWork(s)
	b.facts(s)
	for _, station := range b.doc.Stations {
		b.station(s, station)
	}
	b.changed(s)
	b.findings(s)
	b.conclusion(s)
	b.cautions(s, nil)
}

func write(lines int, note string) cell { return cell{Write: lines, Note: note} }

// who came, when, and with which instruments.
func (b inspectionBlank) who(s surface) {
	s.heading(b.t("blank_who"))
	s.table([]column{{b.t("blank_inspector"), 5}, {b.t("blank_second"), 4}, {b.t("blank_day"), 2.6}, {b.t("blank_arrived"), 2}, {b.t("blank_left"), 2}}, [][]cell{{write(1, ""), write(1, ""), write(1, ""), write(1, ""), write(1, "")}})
	var rows [][]cell
	for i := range instrumentsToName {
		rows = append(rows, []cell{{Text: string(rune('A' + i)), Bold: true}, write(1, ""), write(1, ""), write(1, "")})
	}
	s.heading(b.t("blank_instruments"))
	s.table([]column{{b.t("blank_letter"), 1.2}, {b.t("blank_instrument"), 6}, {b.t("blank_serial"), 4}, {b.t("blank_calibrated"), 4}}, rows)
}

func (b inspectionBlank) safeWork(s surface) {
	s.heading(b.t("blank_safe"))
	s.paragraph(b.t("blank_safe_says"), plainText)
	var rows [][]cell
	for _, q := range b.doc.SafeWork {
		rows = append(rows, []cell{{Text: b.t("blank_safe." + q.Name), Bold: true}, {Ticks: q.Answers}, write(1, b.t("blank_safe."+q.Name+"_note"))})
	}
	s.table([]column{{b.t("blank_question"), 3.6}, {b.t("blank_answer"), 6.4}, {b.t("blank_why"), 6}}, rows)
	s.table([]column{{b.t("blank_stopped"), 1}}, [][]cell{{write(1, "")}})
}

// facts nobody knows of the door.
func (b inspectionBlank) facts(s surface) {
	if len(b.doc.Facts) == 0 {
		return
	}
	s.heading(b.t("blank_facts"))
	s.paragraph(b.t("blank_facts_says"), smallText)
	var rows [][]cell
	for _, f := range b.doc.Facts {
		rows = append(rows, []cell{{Text: f}, write(1, "")})
	}
	s.table([]column{{b.t("blank_fact"), 8}, {b.t("blank_seen"), 6}}, rows)
}

func (b inspectionBlank) station(s surface, station fleet.BlankStation) {
	s.heading(station.Title)
	if station.Name == "by_hand" || station.Name == "back_on" {
		s.paragraph(b.t("blank_station."+station.Name), strongText)
	}
	var rows [][]cell
	for _, i := range station.Items {
		for n, p := range i.Places {
			rows = append(rows, []cell{b.asked(i, p, n == 0), b.taken(i), b.taken(i), {Write: 1, Ticks: []string{b.t("blank_left_out_tick")}}, write(1, "")})
		}
	}
	s.table([]column{{b.t("blank_asked"), 7.4}, {b.t("blank_as_found"), 2.4}, {b.t("blank_as_left"), 2.4}, {b.t("blank_left_out"), 3}, {b.t("blank_with"), 1.5}}, rows)
}

// asked is what is read at a place: the limit and how it is measured stand at the first one, what was read before at each.
func (b inspectionBlank) asked(i fleet.BlankItem, p fleet.BlankPlace, first bool) cell {
	c := cell{Text: join(", ", i.Title, p.Place), Bold: true}
	var notes []string
	if first {
		for _, a := range i.Asks {
			limit, asked := b.limit(a)
			c.Text = join("\n", c.Text, limit)
			notes = append(notes, asked, a.Method)
		}
		notes = append(notes, b.t("blank_need."+i.Need))
	}
	switch {
	case p.ReadOn == "":
	case p.Value != nil:
		notes = append(notes, b.t("blank_before", "said", b.number(*p.Value, i), "day", p.ReadOn))
	default:
		notes = append(notes, b.t("blank_before", "said", p.Said, "day", p.ReadOn))
	}
	c.Note = join("\n", notes...)
	return c
}

// limit is what a rule asks: of the reading itself, or in words of something that is worked out with it.
func (b inspectionBlank) limit(a fleet.BlankAsked) (limit, asked string) {
	_, least, most := judged(b.o.Texts, nil, a.AtLeast, a.AtMost)
	bound := func(key, value string, amount *fleet.ReportAmount) string {
		if value == "" {
			return ""
		}
		if own := b.o.Units.inReaders(b.o.Texts, amount); own != "" {
			value += " (" + own + ")"
		}
		return b.t(key, "value", value)
	}
	limit = join(", ", bound("limit.at_least", least, a.AtLeast), bound("limit.at_most", most, a.AtMost))
	switch {
	case limit == "":
		asked = a.Asks
	case a.For != "":
		limit, asked = "", b.t("blank_for", "rule", a.For, "limit", limit)
	}
	if a.Advice && limit != "" {
		return b.t("blank_advice", "said", limit), ""
	} else if a.Advice {
		return "", b.t("blank_advice", "said", asked)
	}
	return limit, asked
}

// number is a value in the unit in which the item is written down.
func (b inspectionBlank) number(v float64, i fleet.BlankItem) string {
	if i.Short && b.o.Units != US {
		return withUnit(b.o.Texts, entered(v*1000), "mm")
	}
	if i.Unit == "rpm" || i.Unit == "months" {
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return b.o.Units.reading(b.o.Texts, v, i.Unit)
}

// taken is where somebody writes what was read, with the unit, or ticks it.
func (b inspectionBlank) taken(i fleet.BlankItem) cell {
	if i.Answers != nil {
		return cell{Write: 1, Ticks: i.Answers}
	}
	_, unit := b.o.Units.own(i.Unit)
	if i.Short && b.o.Units != US {
		unit = "mm"
	}
	switch unit {
	case "", "rpm", "months":
		return write(1, unit)
	}
	return write(1, strings.TrimSpace(b.t("unit."+strings.NewReplacer("/", "_per_", ".", "_").Replace(unit), "value", "")))
}

// changed is what was set or mended, and what was tried afterwards.
func (b inspectionBlank) changed(s surface) {
	s.heading(b.t("blank_changed"))
	s.paragraph(b.t("blank_changed_says"), plainText)
	s.table([]column{{b.t("blank_clock"), 1.4}, {b.t("blank_what"), 9}, {b.t("blank_part"), 4}}, [][]cell{{write(1, ""), write(1, ""), write(1, "")}, {write(1, ""), write(1, ""), write(1, "")}, {write(1, ""), write(1, ""), write(1, "")}})
	s.heading(b.t("blank_tried"))
	var rows [][]cell
	for _, t := range b.doc.Tried {
		rows = append(rows, []cell{{Text: t}, {Ticks: []string{b.t("yes")}}, {Ticks: []string{b.t("no")}}, {Ticks: []string{b.t("blank_does_not_apply")}}, write(1, "")})
	}
	s.table([]column{{b.t("blank_question"), 6}, {"", 1.4}, {"", 1.4}, {"", 2.8}, {b.t("blank_note"), 4}}, rows)
}

func (b inspectionBlank) findings(s surface) {
	s.heading(b.t("blank_findings"))
	row := func() []cell { return []cell{{Ticks: b.doc.Severities}, write(1, ""), write(1, ""), write(1, "")} }
	s.table([]column{{b.t("col.severity"), 2.4}, {b.t("blank_finding"), 7}, {b.t("blank_photo"), 1.8}, {b.t("blank_mended"), 4}}, [][]cell{row(), row(), row()})
	if len(b.doc.Register) > 0 {
		s.heading(b.t("blank_register"))
		s.paragraph(b.t("blank_register_says", "rules", strings.Join(b.doc.Register, "; ")), smallText)
	}
}

// conclusion ends the form with what an unsafe door needs first.
func (b inspectionBlank) conclusion(s surface) {
	s.heading(b.t("blank_unsafe"))
	s.paragraph(b.t("blank_unsafe_says"), plainText)
	s.table([]column{{b.t("blank_secured"), 5}, {b.t("blank_tag"), 3}, {b.t("blank_way_out"), 4}, {b.t("blank_told"), 4.4}},
		[][]cell{{{Ticks: b.doc.Securing}, write(1, ""), {Write: 1, Ticks: []string{b.t("blank_way_out_kept")}}, {Write: 1, Ticks: []string{b.t("blank_told_yes"), b.t("blank_told_no"), b.t("blank_told_nobody")}}}})
	s.heading(b.t("blank_end"))
	s.table([]column{{b.t("blank_result"), 2.6}, {b.t("blank_clock"), 2}, {b.t("blank_end_note"), 9}}, [][]cell{{{Ticks: []string{b.t("blank_passed"), b.t("blank_failed")}}, write(1, ""), write(1, "")}})
	s.table([]column{{b.t("blank_capitals"), 5}, {b.t("blank_certificate"), 3.6}, {b.t("blank_certificate_until"), 2.8}, {b.t("blank_signature"), 5}}, [][]cell{{write(2, ""), write(2, ""), write(2, ""), write(2, "")}})
}
