package report

import "lintel.example/lintel/internal/fleet"

// outOfServiceTag is the sheet that hangs at a door which nobody may use: few words, to be read from some steps away.
type outOfServiceTag struct {
	frame
	doc fleet.OutOfServiceTag
}

func (t outOfServiceTag) subject() (title, of, running string) {
	return t.t("tag_title"), join(", ", t.doc.Door, t.doc.Site), t.t("tag_title") + " · " + t.doc.Door
}

func (t outOfServiceTag) lay(s surface) {
	top := t.masthead(t.t("tag_of", "tag", t.doc.Tag), t.doc.Door, t.doc.Site)
	top.Lines, top.Code = []string{t.doc.Site}, "" // nothing is kept that a code could lead to
	s.masthead(top)
	s.states([]stateText{{Grave: true, Name: t.t("tag_title"), Says: t.t("tag_since", "at", t.doc.Since)}})
	s.paragraph(t.t("tag_do_not_use"), posterText)
	s.paragraph(t.doc.What, posterText)
	if t.doc.OtherExit != "" {
		s.paragraph(t.t("tag_other_exit", "exit", t.doc.OtherExit), posterText)
	}
	if t.Company.Phone != "" {
		s.paragraph(t.t("tag_call", "company", t.Company.Name, "phone", t.Company.Phone), posterText)
	} else {
		s.paragraph(t.t("tag_call_nobody", "company", t.Company.Name), posterText)
	}
	secured := t.t("tag_not_secured")
	if t.doc.How != "" {
		secured = t.code("secured", t.doc.How)
	}
	s.facts([][2]string{{t.t("fact.secured"), secured}})
	for _, k := range []string{"tag_caution.1", "tag_caution.2", "tag_caution.3"} {
		s.paragraph(t.t(k), plainText)
	}
}
