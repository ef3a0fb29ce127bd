package report

import (
	"fmt"
	"strings"
	"testing"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/steps"
)

// fullSheet is of two sensors: one set in steps of every way, one of which the catalogue says nothing.
func fullSheet() fleet.SettingsSheet {
	head := fullReport().ReportHead
	head.Audience = "internal"
	row := func(title, stands, wanted, label, how, note string) fleet.SheetRow {
		return fleet.SheetRow{Title: title, Stands: stands, Wanted: wanted, Set: &steps.Step{Label: label}, How: how, Note: note}
	}
	return fleet.SettingsSheet{ReportHead: head, Tag: "10000018", Door: "North entrance, outer", Site: "Market Hall North", Address: "200 Market Street, Millbrook",
		Before: []string{"The maker's instructions go before this sheet.", "Keep people away from the door. A second person watches."},
		After:  []string{"After ANY adjustment: test the function of the whole door."},
		Devices: []fleet.SheetDevice{
			{Name: "Ostrava M2 M2-0091", Side: "a", From: "planned", Rows: []fleet.SheetRow{
				row("Reach, from full reach", "4, read at the device", "-7 dB", "3", "Turn dial R to 3.", "What is intended lies between 3 (-6 dB) and 4 (-9 dB); 3 is nearer."),
				row("Output held", "a, by the recorded value", "1 s", "b", "Press key T 2 times.", ""),
				row("Tells of movement in", "not on record", "approach", "in", "At block S: S1 on, S2 off.", ""),
				{Title: "Movement before it triggers", Stands: "not on record", Note: "not on record"}},
				ByHand: []fleet.SheetByHand{{Name: "Height above the floor", Says: "2.300 m"}},
				Notes:  []string{"At these steps it watches 3.51 m by 2.05 m. The area on the floor differs by -10 %.", "Beside it on this door: M2 M2-0092, side A. Address this one alone (the others are covered): Cover the other with the hand."}},
			{Name: "Ostrava K M2-0092", Side: "b", From: "nothing", Notes: []string{"The catalogue does not say in which steps this model is set."}}},
		Zones: []fleet.SheetZone{{Side: "a", Title: "Approach", Wanted: ptr(1.0), AtSteps: ptr(0.99), Says: "stays covered at these steps"},
			{Side: "b", Title: "Approach", Wanted: ptr(1.0), AtSteps: ptr(0.5), Short: true, Says: "FALLS SHORT at these steps, and would not as intended: a gap of 0.40 m"},
			{Side: "b", Title: "Threshold", Says: "cannot be computed from what is on record"}}}
}

func TestASettingsSheetIsTheGoldenOneOnPaperAndAsAPage(t *testing.T) {
	for paper, units := range map[Paper]Units{A4: Metric, Letter: US} {
		doc := fullSheet()
		doc.Paper, doc.Units = string(paper), string(units)
		prints, err := Print(doc, "", func(string) Texts { return words(t) })
		if err != nil {
			t.Fatal(err)
		}
		wantStrict(t, string(paper), prints[0].Bytes)
		golden(t, "settings-sheet-"+string(paper)+".pdf", prints[0].Bytes)
		golden(t, "settings-sheet-"+string(paper)+".html", prints[1].Bytes)
		l, _, err := layoutOf(doc, Options{Texts: words(t), Units: units, Paper: paper})
		if err != nil {
			t.Fatal(err)
		}
		var text strings.Builder
		for i, p := range pagesOf(t, l) {
			fmt.Fprintf(&text, "— page %d —\n%s", i+1, p)
		}
		golden(t, "settings-sheet-"+string(paper)+".txt", []byte(text.String()))
	}
}

// Whoever holds one page of a bundle must see of which door it is, and whether one is missing.
func TestEveryPageOfASettingsSheetNamesTheDoorAndHowManyPagesThereAre(t *testing.T) {
	doc := fullSheet()
	one := doc.Devices[0]
	for range 12 {
		doc.Devices = append(doc.Devices, one)
	}
	l, _, err := layoutOf(doc, Options{Texts: words(t), Units: Metric, Paper: A4})
	if err != nil {
		t.Fatal(err)
	}
	pages := pagesOf(t, l)
	if len(pages) < 3 {
		t.Fatalf("%d pages", len(pages))
	}
	for i, p := range pages {
		for _, want := range []string{"North entrance, outer", "Door 1000 0018", fmt.Sprintf("page %d of %d", i+1, len(pages))} {
			if !strings.Contains(strings.ToLower(p), strings.ToLower(want)) {
				t.Errorf("page %d lacks %q", i+1, want)
			}
		}
	}
}
