package report

import (
	"strings"
	"testing"

	"lintel.example/lintel/internal/fleet"
)

// blankForm is of a sliding door with two leaves; limits as in the packs' A156.10-2005.
func blankForm() fleet.InspectionBlank {
	amount := func(v float64, unit string, si float64, siUnit string) *fleet.ReportAmount {
		return &fleet.ReportAmount{Value: v, Unit: unit, SI: si, SIUnit: siUnit}
	}
	force := fleet.BlankItem{Title: "Closing force", Unit: "N", Need: "needed", Asks: []fleet.BlankAsked{{AtMost: amount(30, "lbf", 133.446648, "N"), Asks: "The force that keeps a stopped leaf from closing.", Method: "With the gauge at the leading edge, in the middle of the travel."}},
		Places: []fleet.BlankPlace{{Place: "leaf 1", Value: ptr(118.0), ReadOn: "2026-03-01"}, {Place: "leaf 2"}}}
	gap := fleet.BlankItem{Title: "Latch check distance", Unit: "m", Short: true, Need: "open", Asks: []fleet.BlankAsked{{For: "Latch check", AtLeast: amount(2, "in", 0.0508, "m"), Advice: true}}, Places: []fleet.BlankPlace{{Value: ptr(0.0508), ReadOn: "2026-03-01"}}}
	signs := fleet.BlankItem{Title: "Signs are there and can be read", Answers: []string{"yes", "no"}, Need: "needed", Asks: []fleet.BlankAsked{{Asks: "Signs on both sides say that the door is automatic."}}, Places: []fleet.BlankPlace{{Said: "yes", ReadOn: "2026-03-01"}}}
	zone := fleet.BlankItem{Title: "Depth of the activation zone", Unit: "m", Need: "law", Asks: []fleet.BlankAsked{{AtLeast: amount(48, "in", 1.2192, "m"), Method: "Walk in slowly and mark where the door begins to open."}}, Places: []fleet.BlankPlace{{}}}
	months := fleet.BlankItem{Title: "Months since the last inspection", Unit: "months", Need: "needed", Asks: []fleet.BlankAsked{{Asks: "At least once a year."}}, Places: []fleet.BlankPlace{{}}}
	tried := []string{"Opens and closes by each activation", "Holds while somebody stands in the doorway", "Stops or reverses on contact", "Breaks out or opens by hand without power", "The mode selector does in each position what it says", "Closes fully and latches", "Runs without noise and rubbing"}
	return fleet.InspectionBlank{ReportHead: fullReport().ReportHead, Tag: "1000 0018", Door: "North entrance, outer", Site: "Market Hall North", Address: "200 Market Street, Millbrook",
		Packs:  []fleet.BlankPack{{Title: "Full-energy automatic doors", Caution: "The standard itself prevails."}},
		LastOn: "2026-03-01", Facts: []string{"mass of leaf 1", "fire rated"},
		SafeWork: []fleet.BlankQuestion{{Name: "traffic", Answers: []string{"barriers or signs on both sides", "a second person keeps people away", "people are not kept away"}}, {Name: "power", Answers: []string{"isolated before the leaf is touched", "stayed on"}},
			{Name: "ladder", Answers: []string{"no ladder used", "stands safe", "does not stand safe"}}, {Name: "second_person", Answers: []string{"there", "not needed", "needed and not there"}}},
		Stations: []fleet.BlankStation{
			{Name: "papers", Title: "Papers and labels", Items: []fleet.BlankItem{months, signs}},
			{Name: "approach", Title: "The approach, side A (street)", Items: []fleet.BlankItem{zone}},
			{Name: "closing", Title: "The leaf as it closes", Items: []fleet.BlankItem{force, gap}},
			{Name: "by_hand", Title: "By hand, with the power off", Items: []fleet.BlankItem{{Title: "Breakout force", Unit: "N", Need: "needed", Asks: []fleet.BlankAsked{{AtMost: amount(50, "lbf", 222.41108, "N")}}, Places: []fleet.BlankPlace{{Place: "leaf 1"}, {Place: "leaf 2"}}}}},
		},
		Register: []string{"Clear width of a way out"}, Tried: tried,
		Securing: []string{"operator off, leaf free by hand", "held open and secured", "barriered", "locked", "not secured"}, Severities: []string{"unsafe", "deficient", "advisory"}}
}

func TestABlankInspectionFormIsTheGoldenOneOnPaperAndOnThePage(t *testing.T) {
	doc := blankForm()
	for _, o := range []Options{{Texts: words(t), Units: Metric, Paper: A4}, {Texts: words(t), Units: US, Paper: Letter}} {
		l, _, err := layoutOf(doc, o)
		if err != nil {
			t.Fatal(err)
		}
		pdf, err := pdfOf(l)
		if err != nil {
			t.Fatal(err)
		}
		wantStrict(t, "blank", pdf)
		html, err := htmlOf(l)
		if err != nil {
			t.Fatal(err)
		}
		pages := pagesOf(t, l)
		golden(t, "blank-"+string(o.Units)+".txt", []byte(strings.Join(pages, "\f\n")))
		golden(t, "blank-"+string(o.Units)+".pdf", pdf)
		golden(t, "blank-"+string(o.Units)+".html", html)
	}
}

func TestABlankInspectionFormNamesTheDoorAndTheNumberOfPagesOnEveryPage(t *testing.T) {
	l, _, err := layoutOf(blankForm(), Options{Texts: words(t), Units: US, Paper: Letter})
	if err != nil {
		t.Fatal(err)
	}
	pages := pagesOf(t, l)
	if len(pages) < 2 {
		t.Fatalf("%d pages", len(pages))
	}
	order := -1
	all := strings.Join(pages, "\n")
	for i, page := range pages {
		for _, want := range []string{"1000 0018", "North entrance, outer", "Page " + string(rune('1'+i)) + " of " + string(rune('0'+len(pages)))} {
			if !strings.Contains(page, want) {
				t.Errorf("page %d does not say %q", i+1, want)
			}
		}
	}
	for _, section := range []string{"An unsafe door is secured first", "Make the work place safe", "Papers and labels", "The leaf as it closes", "By hand, with the power off", "Function test", "If the door is unsafe", "out-of-service tag", "Number of the certificate", "prevail over anything printed"} {
		at := strings.Index(all, section)
		if at <= order {
			t.Errorf("%q stands at %d, what comes before it at %d", section, at, order)
		}
		order = at
	}
	for _, want := range []string{"at most 30 lbf", "Before: 26.5 lbf, 2026-03-01", "for Latch check: at least 2 in", "With the gauge at the leading edge", "asked by law"} {
		if !strings.Contains(strings.Join(strings.Fields(all), " "), want) {
			t.Errorf("the form lacks %q", want)
		}
	}
}
