package main

import (
	"strings"
	"testing"

	"lintel.example/lintel/internal/store/storetest"
)

// mountedDevices are the devices whose mounting is recorded, each with its door's tag.
func mountedDevices(t *testing.T, db storetest.DB) (list [][2]string) {
	t.Helper()
	rows, err := db.Admin.Query(t.Context(), "select distinct d.tag, r.component_id::text from revision r join door d using (door_id) order by 1, 2")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var one [2]string
		if err := rows.Scan(&one[0], &one[1]); err != nil {
			t.Fatal(err)
		}
		list = append(list, one)
	}
	if err := rows.Err(); err != nil || len(list) == 0 {
		t.Fatalf("no device is recorded: %v", err)
	}
	return list
}

func TestWhatIfAndDiagnosisAnswerOnTheCommandLineAndRefuseInOneLine(t *testing.T) {
	t.Parallel()
	db, env := inspectedSite(t)
	devices := mountedDevices(t, db)
	count := func() (n int) {
		if err := db.Admin.QueryRow(t.Context(), "select count(*) from revision").Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	before, computed := count(), 0
	for _, d := range devices {
		out, errs, code := lintel(t, env, "whatif", d[0], "--device", d[1], "--set", "reach_db=-12", "--set", "accessories=", "--units", "us")
		if strings.Contains(errs, "reach_db is of a radar") { // it senses by other means
			out, errs, code = lintel(t, env, "whatif", d[0], "--device", d[1], "--set", "mount.tilt_deg=20", "--units", "us")
		}
		if code != 0 || !strings.Contains(out, "On the floor it watches") && !strings.Contains(out, "It tells of a grown person in") || !strings.Contains(out, "walk test") {
			t.Errorf("%s: exit code %d, %s %s", d, code, out, errs)
		}
		if strings.Contains(out, " ft") && !strings.Contains(out, "; it would watch what cannot be computed") {
			computed++
		}
	}
	if computed == 0 {
		t.Error("of no device was a field computed")
	}
	if after := count(); after != before {
		t.Errorf("%d revisions, then %d", before, after)
	}
	tag, device := devices[0][0], devices[0][1]
	out, errs, code := lintel(t, env, "diagnose", tag, "--symptom", "opens_for_passers", "--since", "2026-11-01")
	if code != 0 || !strings.Contains(out, tag[:4]) || strings.Count(out, "\n") < 3 {
		t.Errorf("exit code %d, %s %s", code, out, errs)
	}
	for _, c := range []struct {
		want string
		args []string
	}{
		{"write NAME=VALUE", []string{"whatif", tag, "--device", device, "--set", "reach_db"}},
		{"reach_db", []string{"whatif", tag, "--device", device, "--set", "reach=-6"}}, // the nearest name
		{"is no id", []string{"whatif", tag, "--device", "first", "--set", "reach_db=-6"}},
		{"", []string{"whatif", tag, "--device", device, "--set", "mount.tilt_deg=steep"}},
		{"", []string{"whatif", tag, "--device", device, "--set", "antenna=umbrella"}},
		{"", []string{"whatif", tag, "--device", device, "--set", "accessories=umbrella"}},
		{"", []string{"whatif", "10000013", "--set", "reach_db=-6"}}, // a wrong check digit
		{"--set", []string{"whatif", tag}},
		{"--units", []string{"whatif", tag, "--set", "reach_db=-6", "--units", "yards"}},
		{"is none of reopens_by_itself", []string{"diagnose", tag, "--symptom", "hums"}},
		{"--since", []string{"diagnose", tag, "--symptom", "opens_late", "--since", "yesterday"}},
		{"", []string{"diagnose", "1000", "--symptom", "opens_late"}},
		{"--symptom", []string{"diagnose", tag}},
	} {
		out, errs, code := lintel(t, env, c.args...)
		if code != 2 || out != "" || strings.Count(errs, "\n") != 1 || !strings.Contains(errs, c.want) {
			t.Errorf("%v: exit code %d, %q, %q", c.args, code, out, errs)
		}
	}
}
