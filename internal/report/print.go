package report

import (
	"errors"
	"fmt"
	"strings"
	"time"

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

// Print prints a document in every form. texts gives the words of a language. The bytes depend on the arguments only.
func Print(doc fleet.Document, sha256 string, texts func(language string) Texts) ([]fleet.ReportPrint, error) {
	h := doc.Head()
	o := Options{Texts: texts(h.Language), Units: Units(h.Units), Paper: Paper(h.Paper), DocumentSHA256: sha256}
	l, table, err := layoutOf(doc, o)
	if err != nil {
		return nil, err
	}
	pdf, err := pdfOf(l)
	if err != nil {
		return nil, err
	}
	html, err := htmlOf(l)
	if err != nil {
		return nil, err
	}
	return []fleet.ReportPrint{{Form: "pdf", Bytes: pdf}, {Form: "html", Bytes: html}, {Form: "csv", Bytes: table}}, nil
}

// layoutOf gives the layout of a document, and its CSV.
func layoutOf(doc fleet.Document, o Options) (layout, []byte, error) {
	switch doc := doc.(type) {
	case fleet.ComplianceReport:
		return newDoorReport(doc, Plans(doc, o.Texts, o.Units), o), csvOfDoor(doc.ReportHead, doc.ReportPlace, doc.DoorContent), nil
	case fleet.CertificateDocument:
		c := newCertificate(doc, o)
		return c, csvOfDoor(doc.ReportHead, doc.ReportPlace, c.DoorContent), nil
	case fleet.OutOfServiceTag:
		return outOfServiceTag{frame{doc.ReportHead, o}, doc}, nil, nil
	case fleet.InspectionBlank:
		return inspectionBlank{frame{doc.ReportHead, o}, doc}, nil, nil
	case fleet.SettingsSheet:
		return settingsSheet{frame{doc.ReportHead, o}, doc}, nil, nil
	case fleet.LetterDocument:
		l := newLetter(doc, o)
		return l, csvOfDoor(doc.ReportHead, doc.ReportPlace, l.DoorContent), nil
	case fleet.SiteDocument:
		return newSiteReport(doc, o), siteCSV(doc), nil
	case fleet.PortfolioDocument:
		return newPortfolioReport(doc, o), portfolioCSV(doc), nil
	}
	return nil, nil, fmt.Errorf("report: no layout for a document of format %q", doc.Head().Format)
}

// A layout is one report laid out on any surface.
type layout interface {
	Head() fleet.ReportHead
	options() Options
	// subject names the report: its title, what it is of, and what runs along the top of its pages.
	subject() (title, of, running string)
	lay(s surface)
}

// pdfOf prints a report on paper.
func pdfOf(l layout) ([]byte, error) {
	if err := printable(l); err != nil {
		return nil, err
	}
	// Once to count the pages, once to print "of N" on them.
	return onPaper(l, onPaper(l, 0).pdf.PageNo()).finish()
}

func printable(l layout) error {
	if _, err := time.Parse(time.RFC3339, l.Head().MadeAt); err != nil {
		return fmt.Errorf("report: made_at: %q is not an RFC 3339 instant", l.Head().MadeAt)
	}
	if l.options().Texts == nil {
		return errors.New("report: no texts to print it with")
	}
	return nil
}

// onPaper lays a report out on sheets; pages is how many they are, 0 while nobody knows.
func onPaper(l layout, pages int) *sheet {
	h, o := l.Head(), l.options()
	made, _ := time.Parse(time.RFC3339, h.MadeAt) // checked before
	s := newSheet(o.Paper, orElse(h.Language, "en"), made)
	title, of, running := l.subject()
	s.pdf.SetTitle(title, true)
	s.pdf.SetSubject(s.clean(of), true)
	s.pdf.SetAuthor(s.clean(h.Company.Name), true)
	s.onFooter = func() {
		y := s.h - 11
		s.rule(y-4.2, 0.2, Ink)
		s.print(s.left(), y, foot(h, o), smallMM, false, Soft, Start)
		s.print(s.right(), y, o.Texts.T("report.page", "n", s.pdf.PageNo(), "total", pages), smallMM, false, Soft, End)
	}
	s.newPage()
	s.onNewPage = func() {
		y := 14.5
		x := s.print(s.left(), y, running, smallMM, true, Ink, Start)
		s.print(s.right(), y, join(" · ", clip(s.clean(of), s.width()-x-40, smallMM), o.Texts.T("report.as_of", "day", h.AsOf)), smallMM, false, Soft, End)
		s.rule(y+2, 0.2, Ink)
	}
	l.lay(s)
	return s
}

// foot says what a print was made from. One of nothing that is kept has no id that could be looked up.
func foot(h fleet.ReportHead, o Options) string {
	if o.DocumentSHA256 == "" {
		return o.Texts.T("report.footer_unsealed", "at", instant(h.MadeAt))
	}
	return o.Texts.T("report.footer", "id", h.ID, "hash", short(o.DocumentSHA256))
}

// frame is what all reports share.
type frame struct {
	fleet.ReportHead
	o Options
}

func (f frame) options() Options                 { return f.o }
func (f frame) t(key string, args ...any) string { return f.o.Texts.T("report."+key, args...) }
func (f frame) code(kind, c string) string       { return code(f.o.Texts, kind, c) }

// masthead is the top of every report.
func (f frame) masthead(title, name string, lines ...string) masthead {
	company := join(" · ", f.Company.Address, f.Company.Phone)
	if f.Company.Licence != "" {
		company = join(" · ", company, f.t("fact.licence")+" "+f.Company.Licence)
	}
	code := f.ID + " sha256:" + f.o.DocumentSHA256
	if f.o.Link != "" {
		code = f.o.Link + "#sha256=" + f.o.DocumentSHA256
	}
	if f.o.DocumentSHA256 == "" { // nothing is kept that a code could lead to
		code = ""
	}
	if f.Audience == "internal" {
		title = f.t("internal", "title", title)
	}
	return masthead{Company: f.Company.Name, CompanyLine: company, Title: title, Name: name, Lines: append(lines, f.t("as_of", "day", f.AsOf)), Code: code, CodeCaption: f.t("qr")}
}

// cautions ends every report: what it is and is not, and how it is checked. particular are codes.
func (f frame) cautions(s surface, particular []string) {
	s.heading(f.t("section.cautions"))
	for _, c := range particular {
		s.paragraph(f.code("caution", c), strongText)
	}
	for _, k := range []string{"1", "2", "3", "4"} {
		s.paragraph(f.t("caution.general."+k), plainText)
	}
	if s.lostSigns() {
		s.paragraph(f.t("caution.signs_missing", "sign", string(replaceFor)), plainText)
	}
	if f.o.DocumentSHA256 == "" {
		return
	}
	s.heading(f.t("section.proof"))
	s.paragraph(f.t("proof.text"), plainText)
	pairs := [][2]string{
		{f.t("fact.id"), f.ID},
		{f.t("fact.format"), f.Format},
		{f.t("fact.made_at"), instant(f.MadeAt)},
		{f.t("fact.as_of"), f.AsOf},
		{f.t("fact.sha256"), f.or(f.o.DocumentSHA256)},
	}
	if f.o.Link != "" {
		pairs = append(pairs, [2]string{f.t("fact.link"), f.o.Link})
	}
	s.facts(pairs)
}

func (f frame) or(text string) string { return orElse(text, f.t("not_recorded")) }

func (f frame) dash(text string) string { return orElse(text, "–") }

func (f frame) yesNo(v *bool) string {
	switch {
	case v == nil:
		return f.t("not_recorded")
	case *v:
		return f.t("yes")
	default:
		return f.t("no")
	}
}

// quantity is a value with its basis, or that it is not recorded.
func (f frame) quantity(q fleet.ReportQuantity, unit string) string {
	if q.Value == nil {
		return f.t("not_recorded")
	}
	return f.t("with_basis", "value", f.o.Units.reading(f.o.Texts, *q.Value, unit), "basis", f.code("basis", q.Basis))
}

// length is a quantity in metres as people say a length.
func (f frame) length(q fleet.ReportQuantity) string {
	if q.Value == nil {
		return f.t("not_recorded")
	}
	return f.t("with_basis", "value", f.o.Units.length(f.o.Texts, *q.Value), "basis", f.code("basis", q.Basis))
}

func orElse(text, other string) string {
	if text == "" {
		return other
	}
	return text
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
