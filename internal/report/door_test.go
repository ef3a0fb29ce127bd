package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/pdfcpu/pdfcpu/pkg/api"
	"github.com/pdfcpu/pdfcpu/pkg/pdfcpu/model"
	"go.yaml.in/yaml/v3"
	"pgregory.net/rapid"

	"lintel.example/lintel/internal/fleet"
)

// printed makes the PDF and refuses one that is not valid by the strict reading of
// the standard.
func printed(t *testing.T, r fleet.ComplianceReport, o Options) []byte {
	t.Helper()
	pdf, err := doorPDF(r, Plans(r, o.Texts, o.Units), o)
	if err != nil {
		t.Fatal(err)
	}
	wantStrict(t, "door", pdf)
	return pdf
}

// wantStrict refuses a PDF that the strict reading of the standard does.
func wantStrict(t *testing.T, what string, pdf []byte) {
	t.Helper()
	api.DisableConfigDir()
	conf := model.NewDefaultConfiguration()
	conf.ValidationMode = model.ValidationStrict
	if err := api.Validate(bytes.NewReader(pdf), conf); err != nil {
		t.Fatalf("%s: not a valid PDF: %v", what, err)
	}
}

// pages are what is printed on each page, without the drawings' strokes: the same
// report laid out without compression.
func pages(t *testing.T, r fleet.ComplianceReport, o Options) []string {
	t.Helper()
	return pagesOf(t, newDoorReport(r, Plans(r, o.Texts, o.Units), o))
}

func pagesOf(t *testing.T, l layout) []string {
	t.Helper()
	s := onPaper(l, onPaper(l, 0).pdf.PageNo())
	s.pdf.SetCompression(false)
	pdf, err := s.finish()
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, part := range strings.Split(string(pdf), "stream\n") {
		if !strings.Contains(part, " Tj ET") {
			continue
		}
		page := ""
		for _, show := range strings.Split(part, " Td (")[1:] {
			text, _, _ := strings.Cut(show, ") Tj")
			text = strings.NewReplacer(`\\`, `\`, `\(`, `(`, `\)`, `)`, `\r`, "\r").Replace(text)
			var units []uint16
			for i := 0; i+1 < len(text); i += 2 {
				units = append(units, uint16(text[i])<<8|uint16(text[i+1]))
			}
			page += string(utf16.Decode(units)) + "\n"
		}
		out = append(out, page)
	}
	return out
}

func TestDoorReportIsTheGoldenOneAndRepeats(t *testing.T) {
	r, o := fullReport(), options(t)
	if err := r.Check(); err != nil {
		t.Fatal(err)
	}
	first := printed(t, r, o)
	if again := printed(t, r, o); !bytes.Equal(first, again) {
		t.Error("the same document printed twice gave different bytes")
	}
	golden(t, "door.pdf", first)
	var text strings.Builder
	for i, p := range pages(t, r, o) {
		fmt.Fprintf(&text, "— page %d —\n%s", i+1, p)
	}
	golden(t, "door.txt", []byte(text.String()))
}

func TestTheReportIsPrintedFromItsStoredDocumentAlone(t *testing.T) {
	r, o := fullReport(), options(t)
	stored, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var read fleet.ComplianceReport
	if err := json.Unmarshal(stored, &read); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(r, read) {
		t.Error("the document does not survive being stored")
	}
	if !bytes.Equal(printed(t, r, o), printed(t, read, o)) {
		t.Error("the stored document prints differently")
	}
}

func TestADoorOfWhichNothingIsKnownIsPrinted(t *testing.T) {
	r := fleet.ComplianceReport{ReportHead: fleet.ReportHead{Format: fleet.ComplianceReportFormat, ID: "r", MadeAt: "2026-11-25T00:00:00Z", AsOf: "2026-11-25", Audience: "internal"}}
	r.DoorContent = fleet.DoorContent{
		Door:    fleet.ReportDoor{Tag: "10000018", Leaves: []fleet.ReportLeaf{{}}},
		Sides:   []fleet.ReportSide{{Side: "a", Coverage: []fleet.ReportCoverage{{}}}, {Side: "b"}},
		Devices: []fleet.ReportDevice{{Side: "a"}}, Verdicts: []fleet.ReportVerdict{{}}, Findings: []fleet.ReportFinding{{}},
		OutOfService: []fleet.ReportOutOfService{{}}, Due: []fleet.ReportDue{{}}, WorkOrders: []fleet.ReportWorkOrder{{}}}
	for _, paper := range []Paper{A4, Letter} {
		o := Options{Texts: words(t), Units: US, Paper: paper}
		printed(t, r, o)
		all := strings.Join(pages(t, r, o), "")
		for _, want := range []string{"Door 1000 0018", "UNSAFE, NOT YET SECURED", "No signed inspection on record", "No inspection plan on record", "No rule basis on record",
			"clear width not recorded", "INTERNAL", "nobody on record"} {
			if !strings.Contains(all, want) {
				t.Errorf("%s: %q is not printed", paper, want)
			}
		}
	}
}

func TestWhatIsWiredForAZoneAndDoesNotCountIsNamedBesideIt(t *testing.T) {
	r, o := fullReport(), options(t)
	r.Sides[0].Coverage[1] = fleet.ReportCoverage{Purpose: "presence", Share: ptr(0.0), ModelVersion: "field-2", Unfit: []string{"Ostrava M2 M2-0091"}}
	printedText := strings.Join(strings.Fields(strings.Join(pages(t, r, o), " ")), " ")
	if !strings.Contains(printedText, "Wired for it and not counted: Ostrava M2") || !strings.Contains(printedText, "field-2") {
		t.Error("nobody is told why the zone is not covered")
	}
	r.Devices[0].Sensing = "beam"
	if with, without := strings.Count(strings.Join(pages(t, fullReport(), o), ""), "reach"), strings.Count(strings.Join(pages(t, r, o), ""), "reach"); without != with-1 {
		t.Errorf("a beam is said to have what only radar has: %d times reach, %d without it", with, without)
	}
}

func TestTheGravestStateStandsFirst(t *testing.T) {
	r, o := fullReport(), options(t)
	r.OutOfService[0].Secured = nil
	first := pages(t, r, o)[0]
	unsafe, overdue := strings.Index(first, "UNSAFE, NOT YET SECURED"), strings.Index(first, "Inspection overdue")
	strip := strings.Index(first, "Judged by")
	if unsafe < 0 || overdue < unsafe || strip < overdue {
		t.Errorf("unsafe at %d, overdue at %d, figures at %d", unsafe, overdue, strip)
	}
	if !strings.Contains(strings.Join(strings.Fields(first), " "), "no person has recorded how the door was secured") {
		t.Error("the case does not say that nobody has secured the door")
	}
}

func TestTwoHundredVerdictsRepeatTheirHeadings(t *testing.T) {
	r, o := fullReport(), options(t)
	r.Beside = nil
	r.Verdicts, r.JudgedToday, r.Unjudged = nil, nil, nil
	for i := range 200 {
		r.Verdicts = append(r.Verdicts, fleet.ReportVerdict{Title: fmt.Sprintf("rule %03d", i), Outcome: "passed", Source: "a standard", Standing: "found"})
	}
	printed(t, r, o)
	all := pages(t, r, o)
	seen := 0
	for n, p := range all {
		rows := strings.Count(p, "rule ")
		if rows > 0 && strings.Count(p, "Source of the limit\n") != 1 {
			t.Errorf("page %d has %d verdicts and %d headings", n+1, rows, strings.Count(p, "Source of the limit\n"))
		}
		seen += rows
		if want := fmt.Sprintf("Page %d of %d", n+1, len(all)); !strings.Contains(p, want) {
			t.Errorf("page %d does not say %q", n+1, want)
		}
	}
	if seen != 200 {
		t.Errorf("%d of 200 verdicts are printed", seen)
	}
}

func TestLongTextsAreWrappedWholeAndContinued(t *testing.T) {
	r, o := fullReport(), options(t)
	var long strings.Builder
	for i := range 1500 {
		fmt.Fprintf(&long, "word%04d ", i)
	}
	r.Findings[0].Detail = long.String()
	r.RuleBasis.Reason = long.String() + strings.Repeat("x", 500)
	r.Door.Name = strings.Repeat("name ", 39)
	printed(t, r, o)
	all := strings.Join(pages(t, r, o), " ")
	for i := range 1500 {
		if w := fmt.Sprintf("word%04d", i); strings.Count(all, w) != 2 {
			t.Fatalf("%s is printed %d times, want 2", w, strings.Count(all, w))
		}
	}
}

func TestSignsThatTheTypefaceLacksAreOwnedUpTo(t *testing.T) {
	r, o := fullReport(), options(t)
	r.Site.Name = "東口 🚪 Cafe\u0301"
	printed(t, r, o)
	all := strings.Join(pages(t, r, o), "")
	if !strings.Contains(all, "¤¤ ¤ Café") || !strings.Contains(all, "cannot be printed in this typeface") {
		t.Error("signs were lost without a word")
	}
	if strings.Contains(strings.Join(pages(t, fullReport(), o), ""), "cannot be printed") {
		t.Error("a report that lost no signs says that it did")
	}
}

func TestWhatIsComputedIsMarkedSo(t *testing.T) {
	r, o := fullReport(), options(t)
	r.Audience = "internal"
	r.Findings = []fleet.ReportFinding{{Severity: "advisory", Title: "Gap at the left jamb", Origin: "computed"}}
	for _, p := range pages(t, r, o) {
		if _, after, ok := strings.Cut(p, "Gap at the left jamb\n"); ok && !strings.HasPrefix(after, "computed, not verified on site") {
			t.Errorf("after the finding stands %q", after[:60])
		}
	}
}

func TestACoveredShareIsNeverRoundedUpToWhole(t *testing.T) {
	r, o := fullReport(), options(t)
	r.Sides[1].Coverage[0].Share = ptr(0.99999)
	if all := strings.Join(pages(t, r, o), ""); strings.Contains(all, "100 %") || !strings.Contains(all, "99.9 %") {
		t.Error("0.99999 is printed as whole")
	}
}

func TestNumbersAreNoFinerThanTheyWereEntered(t *testing.T) {
	w := words(t)
	amount := func(v float64, unit string, si float64, siUnit string) *fleet.ReportAmount {
		return &fleet.ReportAmount{Value: v, Unit: unit, SI: si, SIUnit: siUnit}
	}
	for name, c := range map[string]struct {
		measured, least, most *fleet.ReportAmount
		m, l, h               string
	}{
		"whole newtons":    {amount(26.527450, "lbf", 118, "N"), nil, amount(30, "lbf", 133.4466, "N"), "26.5 lbf", "", "30 lbf"},
		"whole centimetre": {amount(2.362205, "in", 0.06, "m"), amount(2, "in", 0.0508, "m"), nil, "2.4 in", "2 in", ""},
		"hundredths":       {amount(0.918635, "ft/s", 0.28, "m/s"), nil, amount(0.84327404, "ft/s", 0.257, "m/s"), "0.92 ft/s", "", "0.843 ft/s"},
		"as read":          {amount(1.5, "s", 1.5, "s"), amount(1.5, "s", 1.5, "s"), nil, "1.5 s", "1.5 s", ""},
		"just too much":    {amount(30.0001, "lbf", 133.4471, "N"), nil, amount(30, "lbf", 133.4466, "N"), "30.0001 lbf", "", "30 lbf"},
		"rounded onto it":  {amount(30.02347, "lbf", 133.551, "N"), nil, amount(30, "lbf", 133.4466, "N"), "30.02 lbf", "", "30 lbf"},
		"limit alone":      {nil, amount(45, "in", 1.143, "m"), amount(55, "in", 1.397, "m"), "", "45 in", "55 in"},
	} {
		m, l, h := judged(w, c.measured, c.least, c.most)
		if m != c.m || l != c.l || h != c.h {
			t.Errorf("%s: %q %q %q, want %q %q %q", name, m, l, h, c.m, c.l, c.h)
		}
	}
	for _, c := range []struct {
		u          Units
		v          float64
		unit, want string
	}{
		{US, 62, "kg", "137 lb"}, {US, 190, "N", "42.7 lbf"}, {US, 0.06, "m", "2.4 in"}, {US, 0, "N", "0 lbf"}, {US, -1.5, "dB", "−1.5 dB"}, {US, 1, "J", "0.74 lbf·ft"},
		{Metric, 117.87787280, "N", "117.9 N"}, {Metric, 118, "N", "118 N"}, {Metric, 150, "mm", "150 mm"}, {Metric, 0.28, "m/s", "0.28 m/s"},
	} {
		if got := c.u.reading(w, c.v, c.unit); got != c.want {
			t.Errorf("%v %s in %s: %q, want %q", c.v, c.unit, c.u, got, c.want)
		}
	}
	if got := Metric.inReaders(w, amount(30, "lbf", 133.4466, "N")); got != "133 N" {
		t.Errorf("a limit of 30 lbf for a metric reader: %q", got)
	}
	if got := US.inReaders(w, amount(100, "N", 100, "N")); got != "22.5 lbf" {
		t.Errorf("a limit of 100 N for a US reader: %q", got)
	}
}

func TestRoundingNeverTurnsAVerdict(t *testing.T) {
	w := words(t)
	number := func(text string) float64 {
		v, err := strconv.ParseFloat(strings.ReplaceAll(strings.Fields(text)[0], "−", "-"), 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	rapid.Check(t, func(rt *rapid.T) {
		limit := rapid.SampledFrom([]float64{30, 1, 0.84327404, 2, 50}).Draw(rt, "limit")
		v := limit + rapid.SampledFrom([]float64{-1, 1}).Draw(rt, "side")*math.Pow(10, rapid.Float64Range(-7, 1).Draw(rt, "exponent"))*limit
		m, _, h := judged(w, &fleet.ReportAmount{Value: v, Unit: "lbf", SI: v * 4.4482216152605, SIUnit: "N"}, nil, &fleet.ReportAmount{Value: limit, Unit: "lbf", SI: limit * 4.4482216152605, SIUnit: "N"})
		if a, b := number(m), number(h); (a > b) != (v > limit) || (a < b) != (v < limit) {
			rt.Fatalf("%v against %v is shown as %s against %s", v, limit, m, h)
		}
	})
}

func TestAVerdictWithoutAReadingNeverLooksMeasured(t *testing.T) {
	d := newDoorReport(fullReport(), nil, options(t))
	for name, v := range map[string]fleet.ReportVerdict{
		"now":         {Outcome: "passed", Ground: "register", Facts: []fleet.ReportFact{{Name: "presence_by", Value: "overhead_sensor"}}},
		"sealed long": {Outcome: "passed"}, // format 1 did not say what a verdict rests on
	} {
		out, found := d.outcome(v), d.found(v)
		if out.Mark == tick || strings.Contains(out.Text, "passed") || !strings.Contains(out.Note, "nothing was read at the door") || !strings.Contains(found.Text, "register") {
			t.Errorf("%s: %+v, %+v", name, out, found)
		}
	}
	if f := d.found(fleet.ReportVerdict{Outcome: "passed", Ground: "register", Facts: []fleet.ReportFact{{Name: "presence_by", Value: "overhead_sensor"}}}); f.Note != "presence detection: overhead sensor" {
		t.Errorf("the fact is not named: %+v", f)
	}
	if out := d.outcome(fleet.ReportVerdict{Outcome: "passed", Ground: "readings"}); out.Mark != tick || out.Text != "passed" {
		t.Errorf("a verdict on readings: %+v", out)
	}
}

func TestWhatWasReadButNotJudgedIsPrintedWithWhatWasLacking(t *testing.T) {
	all := strings.Join(strings.Fields(strings.Join(pages(t, fullReport(), options(t)), " ")), " ")
	for _, want := range []string{"190 N", "whether leaves break out for escape", "lacking: lowest beam", "manual opening force 85 N", "Leaf 1, Side A"} {
		if !strings.Contains(all, want) {
			t.Errorf("%q is not printed", want)
		}
	}
}

func TestLengthsInBothUnits(t *testing.T) {
	w := words(t)
	for _, c := range []struct {
		m          float64
		metric, us string
	}{
		{0, "0.00 m", "0 in"}, {0.0254, "0.03 m", "1 in"}, {0.0127, "0.01 m", "½ in"}, {0.3048, "0.30 m", "1 ft"}, {2.13, "2.13 m", "6 ft 11¾ in"},
		{-0.3048, "−0.30 m", "−1 ft"}, {-0.001, "0.00 m", "0 in"}, {0.303, "0.30 m", "1 ft"}, {1.9812, "1.98 m", "6 ft 6 in"},
	} {
		if got := Metric.length(w, c.m); got != c.metric {
			t.Errorf("%v m: %q, want %q", c.m, got, c.metric)
		}
		if got := US.length(w, c.m); got != c.us {
			t.Errorf("%v m: %q, want %q", c.m, got, c.us)
		}
	}
}

func TestHingesAreMirroredBetweenTheSides(t *testing.T) {
	r := fullReport()
	r.Door.Leaves = []fleet.ReportLeaf{{Motion: "swing", Hinge: "left", OpensTowards: "b", WidthM: measured(1.2)}}
	plans := Plans(r, words(t), Metric)
	// Somebody on side A who looks at the door has its left at +x of side A's
	// frame, which is −x on side B.
	if l := plans[0].Leaves[0]; l.JambXM != 0.61 || l.Towards {
		t.Errorf("side A: %+v", l)
	}
	if l := plans[1].Leaves[0]; l.JambXM != -0.61 || !l.Towards {
		t.Errorf("side B: %+v", l)
	}
}

func TestEveryWordCanBePrinted(t *testing.T) {
	files, err := filepath.Glob("../words/en/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatalf("no message files: %v", err)
	}
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		var doc yaml.Node
		if err := yaml.Unmarshal(b, &doc); err != nil {
			t.Fatal(err)
		}
		eachScalar(&doc, func(text string) {
			for _, r := range text {
				if r != '\n' && !hasRune(r) {
					t.Errorf("%s: the typeface lacks %q of %q", f, r, text)
				}
			}
		})
	}
	if !hasRune(replaceFor) {
		t.Errorf("the typeface lacks %q, which stands for what it lacks", replaceFor)
	}
}

func eachScalar(n *yaml.Node, visit func(string)) {
	if n.Kind == yaml.ScalarNode {
		visit(n.Value)
	}
	for _, c := range n.Content {
		eachScalar(c, visit)
	}
}

// doorPDF prints a report of a door on paper alone.
func doorPDF(r fleet.ComplianceReport, plans []PlanDrawing, o Options) ([]byte, error) {
	return pdfOf(newDoorReport(r, plans, o))
}

// codeKinds are the kinds that codes knows.
func codeKinds() []string {
	return []string{"state", "basis", "kind", "energy", "traffic", "presence_by", "guide_rails", "mode", "activation", "motion", "hinge", "opens_towards", "component",
		"party", "purpose", "outcome", "severity", "standing", "settings", "direction", "contact", "result", "work", "work_state", "secured", "answer", "allows", "caution", "missing", "finding_state", "register"}
}

func TestEveryCodeAndUnitHasItsWords(t *testing.T) {
	w := words(t)
	for _, kind := range codeKinds() {
		for _, c := range codes(kind) {
			if code(w, kind, c) == "" {
				t.Errorf("report.%s.%s is empty", kind, c)
			}
		}
	}
	for _, unit := range unitCodes() {
		if got := withUnit(w, 1.5, unit); !strings.Contains(got, "1.5") {
			t.Errorf("unit %s prints %q", unit, got)
		}
	}
	for _, s := range codes("state") {
		if w.texts["report.says."+s] == "" {
			t.Errorf("report.says.%s is missing", s)
		}
	}
}

func TestAReportThatCannotBeDatedIsRefused(t *testing.T) {
	r := fullReport()
	r.MadeAt = "yesterday"
	if _, err := doorPDF(r, nil, options(t)); err == nil || !strings.Contains(err.Error(), "made_at") {
		t.Errorf("error %v does not name made_at", err)
	}
}

func TestWrappedLinesFitAndLoseNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOfN(rapid.SampledFrom([]rune("abc  mWi\n.é")), 0, 120, -1).Draw(t, "text")
		width := rapid.Float64Range(5, 60).Draw(t, "width")
		lines := wrap(text, width, 3, false)
		for _, l := range lines {
			if got := textWidthMM(strings.TrimRight(l, " "), 3, false); got > width+1e-9 && len([]rune(l)) > 1 {
				t.Fatalf("line %q is %.2f wide, want at most %.2f", l, got, width)
			}
		}
		squeeze := func(s string) string { return strings.NewReplacer(" ", "", "\n", "").Replace(s) }
		if got := squeeze(strings.Join(lines, "")); got != squeeze(text) {
			t.Fatalf("wrapped %q became %q", text, got)
		}
	})
}

func TestADangerIsMarkedAndWhatCameBackSaysHowOften(t *testing.T) {
	r := fullReport()
	f := &r.Findings[1]
	f.Danger, f.MendBy, f.Times, f.FirstOn = true, "2026-11-20", 3, "2024-05-02"
	printed(t, r, options(t))
	text := strings.Join(pages(t, r, options(t)), "\n")
	for _, want := range []string{"a danger: it was safe until 2026-11-20", "found 3 times since 2024-05-02"} {
		if !strings.Contains(text, want) {
			t.Errorf("the report does not print %q", want)
		}
	}
}
