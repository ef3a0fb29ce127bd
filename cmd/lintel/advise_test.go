package main

import (
	"encoding/json"
	"os"
	"strings"
	"testing"

	"lintel.example/lintel/internal/advice"
)

func TestAdviceIsReadAloudWithItsNumbersAndItsCaution(t *testing.T) {
	out, errs, code := lintel(t, nil, "advise", "testdata/advise.json")
	if code != 0 || errs != "" {
		t.Fatalf("exit code %d: %s", code, errs)
	}
	if *update {
		if err := os.WriteFile("testdata/advise.txt", []byte(out), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	kept, err := os.ReadFile("testdata/advise.txt")
	if err != nil {
		t.Fatal(err)
	}
	if out != string(kept) {
		t.Errorf("it says\n%s\nkept is\n%s", out, kept)
	}
	for _, want := range []string{"walk test", "local code", "maker's instructions", "960 candidates"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not said", want)
		}
	}
	out, _, code = lintel(t, nil, "advise", "testdata/advise.json", "--json")
	var a advice.Answer
	if err := json.Unmarshal([]byte(out), &a); err != nil || code != 0 || len(a.Ranked) == 0 || a.Ranked[0].Antenna != "narrow" {
		t.Errorf("as JSON: %v, %d, %.200s", err, code, out)
	}
}

func TestAQuestionAtFaultIsOneLineThatNamesTheMember(t *testing.T) {
	whole, err := os.ReadFile("testdata/advise.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ what, from, to, want string }{
		{"an unknown member", `"clear_width_m"`, `"clear_widht_m"`, "clear_widht_m is not a known member"},
		{"a missing one", `"header": {"height_m": 2.2, "offset_y_m": 0.1},`, ``, "openings[0].header is missing"},
		{"out of range", `"boresight_range_m": 6`, `"boresight_range_m": 600`, "models[0].antennas[0].boresight_range_m must be from 0.1 to 50"},
		{"a zone inside out", `"x1_m": 0.5`, `"x1_m": -0.6`, "openings[0].required[0].x1_m must be more than x0_m"},
		{"an unknown way", `["straight"]`, `["zigzag"]`, "openings[0].ways[0] is none of straight, "},
		{"text for a number", `"opening_time_s": 1.2`, `"opening_time_s": "1.2"`, "opening_time_s is string, not a number"},
		{"no JSON", `{"openings"`, `{openings`, "is not JSON"},
	} {
		text := strings.Replace(string(whole), c.from, c.to, 1)
		out, errs, code := lintel(t, nil, "advise", writeFile(t, "question.json", text))
		if code != 2 || out != "" || !strings.Contains(errs, c.want) || strings.Count(errs, "\n") != 1 {
			t.Errorf("%s: exit code %d, %q %q", c.what, code, out, errs)
		}
	}
}

func TestWhenNothingFitsTheExitCodeSaysSo(t *testing.T) {
	whole, err := os.ReadFile("testdata/advise.json")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(string(whole), `"opening_time_s": 1.2`, `"opening_time_s": 9`, 1)
	out, errs, code := lintel(t, nil, "advise", writeFile(t, "question.json", text))
	if code != 1 || !strings.Contains(out, "Were it not asked that the door is open in time") || !strings.Contains(errs, "fits") {
		t.Errorf("exit code %d, %s %s", code, out, errs)
	}
}
