package main

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"lintel.example/lintel/internal/field"
)

// The extents are those of 29° by 36° and 6 m, counted on a grid of 2 mm by code that is none of this project's, and rounded.
func TestPublishedExtentsBecomeAnAntennaForTheCatalogue(t *testing.T) {
	out := mustLintel(t, nil, "catalogue", "fit", "testdata/extents.yaml")
	for _, want := range []string{"Azimuth beamwidth 28.9°, between", "Range on the boresight 6.01 m, between", "Pattern 3: 2.70 m deep; it has 2.70 m.", "walk test", "local code"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not said in\n%s", want, out)
		}
	}
	if us := mustLintel(t, nil, "catalogue", "fit", "testdata/extents.yaml", "--units", "us"); !strings.Contains(us, "6 ft 6 in wide") {
		t.Errorf("in feet and inches: %s", us)
	}
	var e field.Entry
	if err := json.Unmarshal([]byte(mustLintel(t, nil, "catalogue", "fit", "--json", "testdata/extents.yaml")), &e); err != nil {
		t.Fatal(err)
	}
	if e.OneHeight || e.RangeHeld || math.Abs(e.Antenna.ElevationBeamwidthDeg-36) > 1 || math.Abs(e.Antenna.BoresightRangeM-6) > 0.1 || len(e.Misses) != 6 {
		t.Errorf("%+v", e)
	}
}

func TestAnEntryOfOneHeightSaysSoAndShowsWhatElseItCouldBe(t *testing.T) {
	out := mustLintel(t, nil, "catalogue", "fit", writeFile(t, "extents.json", `{"patterns":[{"height_m":2.13,"tilt_deg":24,"offset_y_m":0.05,"width_m":1.98,"depth_m":2.44}]}`))
	for _, want := range []string{"not determined by these extents", "Mark the entry so", "These have the extents as well", "another height or tilt"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not said in\n%s", want, out)
		}
	}
}

func TestExtentsAtFaultAreOneLineThatNamesTheMember(t *testing.T) {
	for text, want := range map[string]string{
		"":            "is empty",
		"patterns: 3": "line 1: this is not a list or an object",
		"patterns: [{height_m: 2.1, tilt_deg: 24, wide_m: 2}]":                                  `"wide_m" in line 1 is not a known member`,
		"patterns: [{height_m: 2.1, width_m: 2}]":                                               "patterns[0].tilt_deg is missing",
		"patterns: [{height_m: 2.1, tilt_deg: 24}]":                                             "patterns[0].width_m and depth_m are both missing",
		"patterns: [{height_m: 2.1, tilt_deg: 24, width_m: 2}]":                                 "patterns tell too little",
		"patterns: [{height_m: 2.1, tilt_deg: 24, width_m: 2, depth_m: -1}]":                    "patterns[0].depth_m must be from 0.05 to 60, not -1",
		"patterns: [{height_m: 2.1, tilt_deg: .nan, width_m: 2, depth_m: 2}]":                   "patterns[0].tilt_deg must be from 0 to 90",
		"uncertainty_m: 0\npatterns: [{height_m: 2.1, tilt_deg: 24, width_m: 2, depth_m: 2.4}]": "uncertainty_m must be from 0.001 to 1",
		"patterns: []\n---\npatterns: []":                                                       "a second document",
	} {
		out, complaint, code := lintel(t, nil, "catalogue", "fit", writeFile(t, "extents.yaml", text))
		if code != 2 || out != "" || strings.Count(complaint, "\n") != 1 || !strings.Contains(complaint, want) {
			t.Errorf("%q: %d %q %q", text, code, out, complaint)
		}
	}
	if _, complaint, code := lintel(t, nil, "catalogue", "fit", t.TempDir()); code != 2 || strings.Count(complaint, "\n") != 1 {
		t.Errorf("a folder: %d %q", code, complaint)
	}
}
