package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"lintel.example/lintel/internal/fleet"
)

func TestASettingsSheetIsWrittenInEveryFormAndWhatIsWrongIsToldInOneLine(t *testing.T) {
	t.Parallel()
	db, env := inspectedSite(t)
	devices := mountedDevices(t, db)
	count := func() (n int) {
		if err := db.Admin.QueryRow(t.Context(), "select count(*) from revision").Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	before, stepped := count(), [2]string{}
	for _, d := range devices {
		out, errs, code := lintel(t, env, "sheet", d[0], "--units", "us")
		if code != 0 || !strings.Contains(out, "After ANY adjustment") || !strings.Contains(out, "maker's instructions for the model go before") || strings.Contains(out, "⟦") {
			t.Errorf("%s: exit code %d, %s %s", d, code, out, errs)
		}
		var sheet fleet.SettingsSheet
		text, errs, code := lintel(t, env, "sheet", d[0], "--device", d[1], "--set", "reach_db=-5.5", "--format", "json")
		if code == 2 && strings.Contains(errs, "reach_db is of a radar") {
			continue
		}
		if err := json.Unmarshal([]byte(text), &sheet); err != nil || len(sheet.Devices) != 1 || sheet.Devices[0].ComponentID.String() != d[1] {
			t.Fatalf("%s: %v %s", d, err, text)
		}
		for _, r := range sheet.Devices[0].Rows {
			if r.Setting == "reach_db" && r.Set != nil && sheet.Devices[0].AtSteps.AreaM2 != nil {
				stepped = d
				if -5.5+*r.Departs != *r.Set.Value {
					t.Errorf("%s: %+v", d, r)
				}
			}
		}
	}
	if stepped[0] == "" {
		t.Fatal("of no device is known in which steps it is set")
	}
	t.Log(mustLintel(t, env, "sheet", stepped[0], "--device", stepped[1], "--set", "reach_db=-5.5"))
	file := filepath.Join(t.TempDir(), "sheet.pdf")
	if out := mustLintel(t, env, "sheet", stepped[0], "--format", "pdf", "--out", file); out != "" {
		t.Errorf("printed %q beside the file", out)
	}
	if pdf, err := os.ReadFile(file); err != nil || !strings.HasPrefix(string(pdf), "%PDF-") {
		t.Errorf("%v: %.20q", err, pdf)
	}
	if folder := os.Getenv("LINTEL_LOOKS"); folder != "" {
		pdf, _ := os.ReadFile(file)
		if err := os.WriteFile(filepath.Join(folder, "settings-sheet.pdf"), pdf, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	other := ""
	for _, d := range devices {
		if d[0] != stepped[0] {
			other = d[1]
		}
	}
	tag, device := stepped[0], stepped[1]
	for _, c := range []struct {
		want string
		args []string
	}{
		{"write NAME=VALUE", []string{"sheet", tag, "--device", device, "--set", "reach_db"}},
		{"reach_db", []string{"sheet", tag, "--device", device, "--set", "reach=-6"}}, // the nearest name
		{"", []string{"sheet", tag, "--device", device, "--set", "mount.tilt_deg=steep"}},
		{"is no id", []string{"sheet", tag, "--device", "first"}},
		{"is on another door", []string{"sheet", tag, "--device", other}},
		{"needs --out", []string{"sheet", tag, "--format", "pdf"}},
		{"--out", []string{"sheet", tag, "--format", "pdf", "--out", file}}, // is there already
		{"--format", []string{"sheet", tag, "--format", "html"}},
		{"--units", []string{"sheet", tag, "--units", "yards"}},
		{"", []string{"sheet", "10000013"}}, // a wrong check digit
	} {
		out, errs, code := lintel(t, env, c.args...)
		if code != 2 || out != "" || strings.Count(errs, "\n") != 1 || !strings.Contains(errs, c.want) {
			t.Errorf("%v: exit code %d, %q, %q", c.args, code, out, errs)
		}
	}
	if after := count(); after != before {
		t.Errorf("%d revisions, then %d", before, after)
	}
}
