package report

import (
	"lintel.example/lintel/internal/fleet"
)

// settingsSheet is what a technician takes along to a door: which steps to set, with room to write down what was left.
type settingsSheet struct {
	frame
	doc fleet.SettingsSheet
}

func (l settingsSheet) name() string { return l.t("door", "tag", fleet.Tag(l.doc.Tag).String()) }

func (l settingsSheet) subject() (title, of, running string) {
	return l.t("sheet_title"), join(", ", l.doc.Door, l.doc.Site), join(" · ", l.t("sheet_title"), l.name(), l.doc.Door)
}

func (l settingsSheet) lay(s surface) {
	s.masthead(l.masthead(l.t("sheet_title_of", "door", l.name()), l.doc.Door, l.doc.Site, l.doc.Address))
	s.heading(l.t("sheet_before"))
	for _, text := range l.doc.Before {
		s.paragraph(text, strongText)
	}
	for _, d := range l.doc.Devices {
		l.device(s, d)
	}
	if len(l.doc.Zones) > 0 {
		s.heading(l.t("sheet_zones"))
		rows := make([][]cell, len(l.doc.Zones))
		for i, z := range l.doc.Zones {
			sign := tick
			switch {
			case z.Short:
				sign = cross
			case z.AtSteps == nil:
				sign = dash
			}
			rows[i] = []cell{{Text: z.Title, Note: l.t("sheet_side." + z.Side)}, {Text: z.Says, Mark: sign, Bold: z.Short}}
		}
		s.table([]column{{l.t("sheet_zone"), 4}, {l.t("sheet_at_steps"), 6}}, rows)
	}
	s.heading(l.t("sheet_after"))
	for _, text := range l.doc.After {
		s.paragraph(text, strongText)
	}
	s.facts([][2]string{{l.t("sheet_tested"), l.t("sheet_line")}, {l.t("sheet_by"), l.t("sheet_line")}, {l.t("sheet_day"), l.t("sheet_line")}})
	if s.lostSigns() {
		s.paragraph(l.t("caution.signs_missing", "sign", string(replaceFor)), plainText)
	}
}

// device is the table of one device's steps, what is set otherwise, and what to know of it.
func (l settingsSheet) device(s surface, d fleet.SheetDevice) {
	s.heading(l.t("sheet_device", "name", d.Name, "side", l.t("sheet_side."+d.Side)))
	rows := make([][]cell, len(d.Rows))
	for i, r := range d.Rows {
		set := cell{Text: "–", Note: r.Note, Bold: true}
		if r.Set != nil {
			set = cell{Text: r.Set.Label, Note: r.How, Bold: true}
		}
		wanted := cell{Text: l.dash(r.Wanted)}
		if r.Set != nil {
			wanted.Note = r.Note
		}
		rows[i] = []cell{{Text: r.Title}, {Text: l.dash(r.Stands)}, wanted, set, {Text: l.t("sheet_blank")}}
	}
	if len(rows) > 0 {
		s.table([]column{{l.t("sheet_setting"), 4}, {l.t("sheet_stood"), 4}, {l.t("sheet_intended"), 5}, {l.t("sheet_set"), 5}, {l.t("sheet_left"), 2}}, rows)
	}
	s.paragraph(l.t("sheet_from."+d.From), plainText) // after the table, which keeps its heading on its page
	for _, note := range d.Notes {
		s.paragraph(note, plainText)
	}
	if len(d.ByHand) > 0 {
		pairs := make([][2]string, len(d.ByHand))
		for i, h := range d.ByHand {
			pairs[i] = [2]string{h.Name, h.Says}
		}
		s.paragraph(l.t("sheet_by_hand"), smallText)
		s.facts(pairs)
	}
}
