package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"testing"

	"lintel.example/lintel/internal/fleet"
)

// samples are a document of each kind. The second door of the site has nothing amiss.
func samples() map[string]fleet.Document {
	full := fullReport()
	quiet := full.DoorContent
	quiet.Door.ID, quiet.Door.Tag, quiet.Door.Name = "d2", "10000026", "Side entrance"
	quiet.OutOfService, quiet.Findings, quiet.Closed, quiet.Unjudged = nil, nil, nil, nil
	quiet.Due = []fleet.ReportDue{{IntervalMonths: 12, LastOn: "2026-11-24", NextDueOn: "2027-10-30"}}
	passed := *full.LastInspection
	passed.Result = "passed"
	passed.Statement, passed.Signature = "I inspected this door as recorded here.", "M 2 8 C 6 1 9 15 14 6 S 22 9 27 4"
	quiet.LastInspection, quiet.Verdicts = &passed, append(slices.Clone(full.Verdicts[1:6]), afterWork()...)
	lines := []fleet.OverviewLine{
		{DoorID: "d1", Tag: "1000 0018", Name: "North entrance, outer", Kind: "sliding", SiteID: "s1", Site: "Market Hall North", States: full.States(), Unsafe: 1, Deficient: 1, LastOn: "2026-11-24", LastResult: "failed", NextDueOn: "2026-10-30", OverdueDays: 26},
		{DoorID: "d2", Tag: "1000 0026", Name: "=cmd|'/c calc'!A1", Kind: "sliding", SiteID: "s1", Site: "Market Hall North", States: []string{"in_order"}, LastOn: "2026-11-24", LastResult: "passed", NextDueOn: "2027-10-30"},
	}
	head := func(format string) fleet.ReportHead { h := full.ReportHead; h.Format = format; return h }
	customer := full.Customer
	return map[string]fleet.Document{
		"door": full,
		"site": fleet.SiteDocument{ReportHead: head(fleet.SiteReportFormat), ReportPlace: full.ReportPlace, Overview: lines, Doors: []fleet.DoorContent{full.DoorContent, quiet}},
		"portfolio": fleet.PortfolioDocument{ReportHead: head(fleet.PortfolioReportFormat), Customer: &customer, Overview: lines,
			Sites: []fleet.PortfolioSite{{ReportSite: full.Site, Customer: customer, Doors: 2}}},
		"letter": fleet.LetterDocument{ReportHead: head(fleet.LetterFormat), ReportPlace: full.ReportPlace, Door: full.Door, Findings: full.Findings[:1],
			Letter: fleet.ReportLetter{Kind: "risk", Text: "To Market Hall, about door 1000 0018:\n1. unsafe: closes on people\n\nPlease keep people away from it.", TemplateID: "t1", Version: 3, ApprovedBy: "Ada Lindqvist", ApprovedAt: "2026-11-20T08:00:00Z"}},
		"certificate": fleet.CertificateDocument{ReportHead: head(fleet.CertificateFormat), ReportPlace: full.ReportPlace, Door: quiet.Door, RuleBasis: quiet.RuleBasis, Inspection: passed,
			Verdicts: quiet.Verdicts, Due: quiet.Due, Cautions: []string{"register_only"},
			AsFound: []fleet.ReportReading{{Name: "closing_time_s", Title: "closing time", Value: ptr(2.1), Unit: "s", Leaf: 1, Overtaken: "read_again"}},
			LeftOut: []fleet.ReportLeftOut{{Name: "walk_test_passed", Title: "walk test passed", Side: "b", Reason: "not_applicable", Why: "side B is a shaft"}},
			Mended:  []fleet.ReportFinding{{ID: "f3", Severity: "deficient", Title: "Closes too fast", OpenedOn: "2026-11-24", ClosedOn: "2026-11-24", State: "mended", Origin: "visit"}},
			Beside:  []fleet.ReportBeside{{PackID: "egress-fire@2018", Title: "Ways out and fire doors (IBC, IFC, NFPA)", Role: "law", Jurisdiction: "US", Caution: "The local fire authority decides.", NotRead: 2}}},
	}
}

// afterWork are verdicts of a visit in which something was changed: on a reading that nobody took again, on an assumed mass, on the register,
// and on one reading of two.
func afterWork() []fleet.ReportVerdict {
	amount := func(v float64, unit string, si float64, siUnit string) *fleet.ReportAmount {
		return &fleet.ReportAmount{Value: v, Unit: unit, SI: si, SIUnit: siUnit}
	}
	number := func(name, title string, v float64, unit string) fleet.ReportReading {
		return fleet.ReportReading{Name: name, Title: title, Value: &v, Unit: unit}
	}
	stale := number("closing_force_n", "closing force", 90, "N")
	stale.Overtaken = "not_read_again"
	mass := fleet.ReportFact{Name: "leaves[].mass_kg", Value: "48, –", Basis: "assumed, unknown"}
	return []fleet.ReportVerdict{
		{RuleID: "leaf-force", Title: "Force at the leaf", Ground: "readings", Readings: []fleet.ReportReading{stale}, Facts: []fleet.ReportFact{mass}, Measured: amount(90, "N", 90, "N"),
			AtMost: amount(133, "N", 133, "N"), Outcome: "passed", Severity: "advisory", Weight: "binding", Source: "common practice", Standing: "common_practice"},
		{RuleID: "clear-width", Title: "Clear width", Ground: "register", Facts: []fleet.ReportFact{{Name: "clear_width_m", Value: "0.9144", Basis: "measured"}}, Measured: amount(36, "in", 0.9144, "m"),
			AtLeast: amount(32, "in", 0.8128, "m"), Outcome: "passed", Severity: "deficient", Weight: "binding", Source: "common practice", Standing: "common_practice"},
		{RuleID: "opening-time", Title: "Opening time to back check", Ground: "readings", Readings: []fleet.ReportReading{number("backcheck_angle_deg", "angle of the back check", 75, "deg")},
			Missing: []string{"opening time"}, AtLeast: amount(3.5, "s", 3.5, "s"), Outcome: "not_judged", Reason: "Values are missing or impossible.", Severity: "advisory", Weight: "binding", Source: "common practice", Standing: "common_practice"},
	}
}

func TestEveryKindOfReportIsTheGoldenOneInEveryForm(t *testing.T) {
	hash := strings.Repeat("9c3f", 16)
	for kind, doc := range samples() {
		if err := doc.Check(); err != nil {
			t.Fatalf("%s: %v", kind, err)
		}
		texts := func(string) Texts { return words(t) }
		first, err := Print(doc, hash, texts)
		if err != nil {
			t.Fatalf("%s: %v", kind, err)
		}
		again, err := Print(doc, hash, texts)
		if err != nil {
			t.Fatalf("%s: %v", kind, err)
		}
		for i, p := range first {
			if !bytes.Equal(p.Bytes, again[i].Bytes) {
				t.Errorf("%s as %s: the same document printed twice gave different bytes", kind, p.Form)
			}
			if p.Form == "pdf" {
				wantStrict(t, kind, p.Bytes)
				continue
			}
			golden(t, "kind-"+kind+"."+p.Form, p.Bytes)
		}
		l, _, err := layoutOf(doc, Options{Texts: words(t), Units: Metric, Paper: A4, DocumentSHA256: hash})
		if err != nil {
			t.Fatal(err)
		}
		var text strings.Builder
		for i, p := range pagesOf(t, l) {
			fmt.Fprintf(&text, "— page %d —\n%s", i+1, p)
		}
		golden(t, "kind-"+kind+".txt", []byte(text.String()))
	}
}

func TestHTMLIsWellFormedRunsNothingLoadsNothingAndCanBeReadByHeadings(t *testing.T) {
	for kind, doc := range samples() {
		prints, err := Print(doc, "", func(string) Texts { return words(t) })
		if err != nil {
			t.Fatal(err)
		}
		page := string(prints[1].Bytes)
		for _, forbidden := range []string{"<script", "javascript:", "http-equiv", "<link", "<img", "url(", "onload", " style="} {
			if strings.Contains(page, forbidden) {
				t.Errorf("%s holds %q", kind, forbidden)
			}
		}
		for _, wanted := range []string{`<html lang="en">`, "<title>", "<main>", "<h1>", `<th scope="col">`, "certifies nothing", "authority having jurisdiction"} {
			if !strings.Contains(page, wanted) {
				t.Errorf("%s lacks %q", kind, wanted)
			}
		}
		wantWellFormed(t, kind, page)
	}
}

// wantWellFormed reads a page as XML, which is stricter than HTML, and holds levels of headings and ids to their order.
func wantWellFormed(t *testing.T, kind, page string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(page))
	level, ids, named := 0, map[string]bool{}, []string{}
	for {
		token, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("%s: %v", kind, err)
		}
		start, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		if n := start.Name.Local; len(n) == 2 && n[0] == 'h' && n[1] >= '1' && n[1] <= '6' {
			if now := int(n[1] - '0'); now > level+1 {
				t.Errorf("%s: a heading of level %d after one of %d", kind, now, level)
			} else {
				level = now
			}
		}
		for _, a := range start.Attr {
			switch a.Name.Local {
			case "id":
				if ids[a.Value] {
					t.Errorf("%s: the id %s stands twice", kind, a.Value)
				}
				ids[a.Value] = true
			case "aria-labelledby":
				named = append(named, a.Value)
			}
		}
	}
	for _, id := range named {
		if !ids[id] {
			t.Errorf("%s: something is labelled by %s, which is not there", kind, id)
		}
	}
}

// The file is a document as it was sealed in format 1.
func TestADocumentOfTheFirstFormatStillReadsAndPrints(t *testing.T) {
	sealed, err := os.ReadFile("testdata/format-1.json")
	if err != nil {
		t.Fatal(err)
	}
	var doc fleet.ComplianceReport
	if err := json.Unmarshal(sealed, &doc); err != nil {
		t.Fatal(err)
	}
	if doc.Format != "lintel-compliance-report/1" || doc.Door.Tag == "" || len(doc.Verdicts) == 0 {
		t.Fatalf("read as %q, door %q, %d verdicts", doc.Format, doc.Door.Tag, len(doc.Verdicts))
	}
	pdf, err := doorPDF(doc, Plans(doc, words(t), US), Options{Texts: words(t), Units: US, Paper: Letter})
	if err != nil {
		t.Fatal(err)
	}
	wantStrict(t, "format 1", pdf)
	if all := strings.Join(strings.Fields(strings.Join(pages(t, doc, Options{Texts: words(t), Units: US, Paper: Letter}), " ")), " "); !strings.Contains(all, "meets it by the register only") {
		t.Error("what rested on the register alone looks measured")
	}
}

func TestACSVNeverHoldsWhatASpreadsheetTakesForAFormula(t *testing.T) {
	for text, want := range map[string]string{"": "", "door": "door", "-1.5": "-1.5", "12": "12", "=1+1": "'=1+1", "+49 30": "'+49 30", "-2+3": "'-2+3", "@SUM(A1)": "'@SUM(A1)", "\tx": "'\tx", "\rx": "'\rx", "＝1": "'＝1", "a=b": "a=b"} {
		if got := guard(text); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}

func FuzzACSVReadsBackCellByCell(f *testing.F) {
	for _, text := range []string{"=1", "a,b", "\"", "\r\n", "-", "é", "\xff", "\x00"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		c := newCSV([]string{"a", "b"})
		c.line(text, "end")
		rows, err := csv.NewReader(bytes.NewReader(c.bytes())).ReadAll()
		if err != nil || len(rows) != 2 || len(rows[1]) != 2 || rows[1][1] != "end" {
			t.Fatalf("%q became %q (%v)", text, rows, err)
		}
		if cell := rows[1][0]; cell != "" && strings.ContainsAny(cell[:1], "=+@\t\r") {
			t.Fatalf("%q stays %q", text, cell)
		}
	})
}

func TestALineOfACSVHasAsManyCellsAsItsHeading(t *testing.T) {
	for kind, doc := range samples() {
		_, table, err := layoutOf(doc, Options{Texts: words(t)})
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(bytes.NewReader(table)).ReadAll() // refuses lines of other lengths
		if err != nil || len(rows) < 3 {
			t.Errorf("%s: %d lines, %v", kind, len(rows), err)
		}
	}
}

func TestAPortfolioOfTenThousandDoorsIsPrintedWhole(t *testing.T) {
	doc := samples()["portfolio"].(fleet.PortfolioDocument)
	line := doc.Overview[1]
	doc.Overview = nil
	for i := range 10000 {
		line.Tag, line.Name = fmt.Sprintf("2%03d %04d", i/10000, i%10000), "Door"
		doc.Overview = append(doc.Overview, line)
	}
	prints, err := Print(doc, "", func(string) Texts { return words(t) })
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(prints[2].Bytes)).ReadAll()
	if err != nil || len(rows) != 10001 {
		t.Errorf("%d lines of CSV, %v", len(rows), err)
	}
	if n := bytes.Count(prints[1].Bytes, []byte("<td>2000 ")); n != 10000 {
		t.Errorf("%d doors in HTML", n)
	}
	t.Logf("PDF %d bytes, HTML %d bytes, CSV %d bytes", len(prints[0].Bytes), len(prints[1].Bytes), len(prints[2].Bytes))
}

func TestALetterKeepsTheParagraphsOfItsTextAndADraftCarriesNoCode(t *testing.T) {
	doc := samples()["letter"].(fleet.LetterDocument)
	doc.Letter.Text = "To the owner:\n1. unsafe\n2. deficient\n \n\nPlease act.\n\nYours"
	if got := paragraphs(doc.Letter.Text); !slices.Equal(got, []string{"To the owner:\n1. unsafe\n2. deficient", "Please act.", "Yours"}) {
		t.Errorf("%q", got)
	}
	texts := func(string) Texts { return words(t) }
	issued, err := Print(doc, strings.Repeat("9c3f", 16), texts)
	if err != nil {
		t.Fatal(err)
	}
	doc.Letter.Draft = true
	draft, err := Print(doc, "", texts)
	if err != nil {
		t.Fatal(err)
	}
	for _, only := range []string{`class="square"`, doc.ID, "How to check this report"} {
		if !bytes.Contains(issued[1].Bytes, []byte(only)) || bytes.Contains(draft[1].Bytes, []byte(only)) {
			t.Errorf("%q stands in a draft, or not in a letter", only)
		}
	}
	if n := bytes.Count(issued[1].Bytes, []byte(`<p class="letter">`)); n != 3 {
		t.Errorf("%d paragraphs", n)
	}
}
