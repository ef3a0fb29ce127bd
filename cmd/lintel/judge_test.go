package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const judgeLine = `{"door":{"door_kind":"swinging","energy":"low","leaf_width_m":0.9144,"leaf_mass_kg":56.7},"readings":{"closing_time_s":3.2,"closing_force_n":{"value":66,"uncertainty":2},"signs_present":true}}`

func writeFile(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestJudgeSaysOfEveryRuleWhatWasAskedWhatWasReadAndWhy(t *testing.T) {
	out, complaint, code := lintel(t, nil, "judge", "--pack", "a156.19@2013", writeFile(t, "visit.jsonl", judgeLine+"\n{}\n"))
	lines := strings.Split(strings.TrimSuffix(out, "\n"), "\n")
	if code != 0 || complaint != "" || len(lines) != 2 {
		t.Fatalf("%d, %q, %d lines", code, complaint, len(lines))
	}
	var got judged
	if err := json.Unmarshal([]byte(lines[0]), &got); err != nil {
		t.Fatal(err)
	}
	if got.Pack != "a156.19" || got.Edition != "2013" || got.Verdict != "fail" {
		t.Errorf("%+v", got)
	}
	rules := map[string]judgedRule{}
	for _, r := range got.Rules {
		rules[r.ID] = r
		if r.Asked == "" || r.Why == "" || r.Severity == "" || r.Source == "" || r.Standing == "" {
			t.Errorf("%+v", r)
		}
	}
	if r := rules["closing-time"]; r.Result != "fail" || r.Asked != "at least 3.5 s" || r.Read != "closing_time_s 3.2 s" || r.Why != "3.2 s is not at least 3.5 s." {
		t.Errorf("%+v", r)
	}
	if r := rules["stop-force"]; r.Result != "undecided" || r.Read != "closing_force_n 66 ± 2 N" || !strings.Contains(r.Why, "reaches over the limit, at most 15 lbf") {
		t.Errorf("%+v", r)
	}
	if r := rules["latch-time"]; r.Result != "missing" || r.Asked != "at least 1.5 s" || !strings.Contains(r.Why, "latch_time_s") || r.Read != "" {
		t.Errorf("%+v", r)
	}
	if err := json.Unmarshal([]byte(lines[1]), &got); err != nil || got.Verdict != "incomplete" {
		t.Errorf("of nothing: %s, %v", lines[1], err)
	}
}

func TestJudgePrintsNothingWhenOneLineIsBad(t *testing.T) {
	for _, c := range []struct{ name, text, pack, want string }{
		{"second line", judgeLine + "\n" + `{"door":{"enrgy":"low"}}` + "\n", "a156.19", "line 2: door.enrgy: is not known; did you mean energy?"},
		{"pack", judgeLine, "a156.91", "--pack: there is no pack"},
		{"edition", judgeLine, "a156.19@1890", "--pack: a156.19 has no edition 1890"},
	} {
		out, complaint, code := lintel(t, nil, "judge", "--pack", c.pack, writeFile(t, "visit.jsonl", c.text))
		if code != 2 || out != "" || !strings.Contains(complaint, c.want) || strings.Count(complaint, "\n") != 1 {
			t.Errorf("%s: %d, %q, %q", c.name, code, out, complaint)
		}
	}
}

func TestAPackIsCheckedWithThePlaceOfEachMistake(t *testing.T) {
	sound, err := os.ReadFile("../../internal/rulebook/packs/a156.19@2013.yaml")
	if err != nil {
		t.Fatal(err)
	}
	file := writeFile(t, "own.yaml", string(sound))
	if out, _, code := lintel(t, nil, "pack", "check", file); code != 0 || !strings.Contains(out, "Nothing is wrong") {
		t.Errorf("a sound one: %d, %q", code, out)
	}
	file = writeFile(t, "own.yaml", strings.Replace(string(sound), "reading.latch_time_s", "reading.latch_tim_s", 1))
	if out, _, code := lintel(t, nil, "pack", "check", file); code != 1 || !strings.Contains(out, "did you mean reading.latch_time_s?") || !strings.HasPrefix(out, file+":") {
		t.Errorf("a misspelt one: %d, %q", code, out)
	}
}

func TestTheDifferenceOfTwoPacksIsSaidInWords(t *testing.T) {
	sound, err := os.ReadFile("../../internal/rulebook/packs/a156.19@2013.yaml")
	if err != nil {
		t.Fatal(err)
	}
	stricter := writeFile(t, "own.yaml", strings.Replace(string(sound), "limit: {at_most: 15, unit: lbf}", "limit: {at_most: 12, unit: lbf}", 1))
	if out, _, code := lintel(t, nil, "pack", "diff", "a156.19@2013", stricter); code != 0 || out != "stop-force: the limit was ≤ 15.0 lbf, is ≤ 12.0 lbf\n" {
		t.Errorf("%d, %q", code, out)
	}
	if out, _, code := lintel(t, nil, "pack", "diff", "a156.19@2013", "a156.19@2013"); code != 0 || out != "No rule differs.\n" {
		t.Errorf("%d, %q", code, out)
	}
}

// 36 in × 125 lb in 3.1 s: ½·(m·w²/3)·(4π/9 / 3.1 s)², see standards of low-energy doors and any handbook of mechanics.
func TestWhatWasWorkedOutIsShownInWhatWasRead(t *testing.T) {
	const door = `{"door":{"door_kind":"swinging","energy":"low","leaf_width_m":0.9144,"leaf_mass_kg":56.69904625},"readings":{%s}}` + "\n"
	for readings, want := range map[string]string{
		`"closing_time_s":3.1`:                              "closing_time_s 3.1 s, closing_energy_j 1.60291 J (computed)",
		`"closing_time_s":{"value":3.1,"uncertainty":0.05}`: "closing_time_s 3.1 ± 0.05 s, closing_energy_j 1.60291 J, 1.55242 to 1.65589 (computed)",
		`"closing_time_s":3.1,"kinetic_energy_j":1.5`:       "kinetic_energy_j 1.5 J",
	} {
		out, complaint, code := lintel(t, nil, "judge", "--pack", "a156.19@2019", writeFile(t, "visit.jsonl", fmt.Sprintf(door, readings)))
		if code != 0 || !strings.Contains(out, `"read":"`+want+`"`) {
			t.Errorf("%s: %d %s%s", readings, code, complaint, out)
		}
	}
}
