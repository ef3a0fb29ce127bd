package report

import (
	"strconv"
	"strings"

	"lintel.example/lintel/internal/fleet"
)

// letter is a text of the company's about findings of a door, and the findings as the register has them.
type letter struct {
	doorReport
	doc fleet.LetterDocument
}

func newLetter(l fleet.LetterDocument, o Options) letter {
	return letter{doorReport{frame{l.ReportHead, o}, l.ReportPlace, fleet.DoorContent{Door: l.Door, Findings: l.Findings}, nil}, l}
}

// title says across the heading where it is only a draft.
func (l letter) title() string {
	title := l.t("letter." + l.doc.Letter.Kind)
	if l.doc.Letter.Draft {
		return l.t("letter_draft", "title", title)
	}
	return title
}

// paragraphs are what blank lines part; within one, lines stay lines.
func paragraphs(text string) (list []string) {
	var lines []string
	end := func() {
		if lines != nil {
			list, lines = append(list, strings.Join(lines, "\n")), nil
		}
	}
	for line := range strings.SplitSeq(text, "\n") {
		if line = strings.TrimSpace(line); line == "" {
			end()
			continue
		}
		lines = append(lines, line)
	}
	end()
	return list
}

func (l letter) subject() (title, of, running string) {
	return l.t("letter_subject", "title", l.title(), "tag", fleet.Tag(l.Door.Tag).String(), "day", l.AsOf), join(", ", l.Door.Name, l.Site.Name), l.title() + " · " + l.name()
}

func (l letter) lay(s surface) {
	s.masthead(l.masthead(l.title(), l.name(), join(", ", l.Door.Name, l.Site.Name), l.Site.Address))
	if l.doc.Letter.Draft {
		s.states([]stateText{{Grave: true, Name: l.title()}})
	}
	for _, paragraph := range paragraphs(l.doc.Letter.Text) {
		s.paragraph(paragraph, letterText)
	}
	if !l.doc.Letter.Draft {
		day, _, _ := strings.Cut(l.doc.Letter.ApprovedAt, "T")
		s.paragraph(l.t("letter_approved", "version", strconv.Itoa(l.doc.Letter.Version), "name", l.doc.Letter.ApprovedBy, "day", day), smallText)
		if reader := l.doc.Letter.ReadBy; reader != "" {
			s.paragraph(l.t("letter_read", "name", reader), smallText)
		}
	}
	l.findings(s)
	l.place(s)
	l.cautions(s, l.doc.Cautions)
}
