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
	top.Lines = []string{t.doc.Site, t.doc.Address}
	s.masthead(top)
	states := []stateText{{Grave: true, Name: t.t("tag_title"), Says: t.t("tag_since", "at", t.doc.Since)}}
	if t.doc.How == "" {
		states = append(states, stateText{Grave: true, Name: t.t("tag_unsecured"), Says: t.t("tag_unsecured_says")})
	}
	s.states(states)
	rest := t.t("tag_rest")
	s.poster(t.t("tag_do_not_use"), rest, 24)
	s.poster(t.doc.What, rest, 54)
	if t.doc.OtherExit != "" {
		s.poster(t.t("tag_other_exit", "exit", t.doc.OtherExit), rest, 22)
	}
	if t.Company.Phone != "" {
		s.poster(t.t("tag_call", "company", t.Company.Name, "phone", t.Company.Phone), rest, 22)
	} else {
		s.poster(t.t("tag_call_nobody", "company", t.Company.Name), rest, 22)
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
