package main

import (
	"encoding/json"
	"strings"
	"testing"

	"lintel.example/lintel/internal/fleet"
)

func TestEveryDueDateOfADoorIsExplainedAsTextAndAsJSON(t *testing.T) {
	t.Parallel()
	db, env := inspectedSite(t)
	var tag string
	if err := db.Admin.QueryRow(t.Context(), `select d.tag from door d join inspection_plan p using (door_id) where p.active and exists (
		select from visit_entry e where e.door_id = d.door_id and e.kind = 'conclusion') order by d.tag limit 1`).Scan(&tag); err != nil {
		t.Fatal(err)
	}
	var told fleet.DueTold
	if err := json.Unmarshal([]byte(mustLintel(t, env, "due", "--explain", tag, "--json")), &told); err != nil {
		t.Fatal(err)
	}
	if len(told.Plans) != 1 || len(told.Plans[0].Inspections) == 0 || len(told.Plans[0].Dates) < 2 || told.Plans[0].Longest == "" || told.TimeZone == "" {
		t.Fatalf("%+v", told)
	}
	var kept string
	if err := db.Admin.QueryRow(t.Context(), `select next_due::text from inspection_plan p join door d using (door_id) where d.tag = $1 and active`, tag).Scan(&kept); err != nil || kept != told.Plans[0].Dates[0].On.String() {
		t.Errorf("explained %v, kept %s, %v", told.Plans[0].Dates[0], kept, err)
	}
	text := mustLintel(t, env, "due", "--explain", tag)
	t.Log(text)
	for _, d := range told.Plans[0].Dates {
		if !strings.Contains(text, "\n"+d.On.String()+"  "+d.Why) {
			t.Errorf("the text lacks %v", d)
		}
	}
	if strings.Contains(text, "⟦") {
		t.Errorf("a text is missing: %s", text)
	}
	for _, c := range []struct {
		want string
		args []string
	}{
		{"The last digit does not fit", []string{"due", "--explain", "9999 0007"}},
		{"--json goes with --explain", []string{"due", "--json", "-"}},
		{"", []string{"due", "--explain", "door"}},
	} {
		out, errs, code := lintel(t, env, c.args...)
		if code != 2 || out != "" || !strings.Contains(errs, c.want) || strings.Count(strings.TrimSpace(errs), "\n") != 0 {
			t.Errorf("%v: exit code %d, %q %q", c.args, code, out, errs)
		}
	}
}
