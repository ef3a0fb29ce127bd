package report

import "lintel.example/lintel/internal/fleet"

// certificate is one passed inspection: what the inspector signed, and what that is not.
type certificate struct {
	doorReport
	doc fleet.CertificateDocument
}

func newCertificate(c fleet.CertificateDocument, o Options) certificate {
	content := fleet.DoorContent{Door: c.Door, RuleBasis: c.RuleBasis, LastInspection: &c.Inspection, Verdicts: c.Verdicts, JudgedToday: c.JudgedToday, Beside: c.Beside, Unjudged: c.Unjudged, AsFound: c.AsFound, LeftOut: c.LeftOut, Findings: c.Findings, Due: c.Due}
	return certificate{doorReport{frame{c.ReportHead, o}, c.ReportPlace, content, nil}, c}
}

func (c certificate) subject() (title, of, running string) {
	return c.t("certificate_subject", "tag", fleet.Tag(c.Door.Tag).String(), "day", c.doc.Inspection.Date), join(", ", c.Door.Name, c.Site.Name), c.t("certificate_title") + " · " + c.name()
}

func (c certificate) lay(s surface) {
	by := c.doc.Inspection.Inspector
	s.masthead(c.masthead(c.t("certificate_title"), c.name(), join(", ", c.Door.Name, c.Site.Name), c.Site.Address))
	s.states([]stateText{{Name: c.t("certificate_passed", "day", c.doc.Inspection.Date), Says: c.t("certificate_says", "name", by.Name, "standard", c.standard(), "number", by.CertificateNo, "scheme", by.Qualification)}})
	c.inspection(s)
	s.heading(c.t("section.certificate"))
	for _, k := range []string{"1", "2", "3", "4"} {
		s.paragraph(c.t("certificate_is."+k), plainText)
	}
	c.findings(s)
	c.mended(s)
	c.verdicts(s)
	c.ruleBasis(s)
	c.place(s)
	c.due(s)
	c.cautions(s, c.doc.Cautions)
}

// mended are the findings that ended on the day of the inspection: what passed is the door after that.
func (c certificate) mended(s surface) {
	if len(c.doc.Mended) > 0 {
		c.ended(s, c.t("section.mended"), c.doc.Mended)
	}
}

// standard is what was inspected against.
func (c certificate) standard() string {
	if b := c.RuleBasis; b != nil {
		return join(" ", b.Standard, b.Edition)
	}
	return c.t("not_recorded")
}
