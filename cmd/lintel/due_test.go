package main

import (
	"strings"
	"testing"
)

func TestDueSaysEveryDateAndWhy(t *testing.T) {
	question := `{"regime":"anniversary","every_months":12,"anchor":"2020-02-29","tolerance_before_days":30,"done":["2023-02-10","2021-03-05"],"until":"2025-02-28"}
{"regime":"fixed_month","every_months":12,"fixed_month":2,"anchor":"2024-02-29","until":"2024-12-31"}
{"regime":"month_end","every_months":6,"anchor":"2026-01-10","until":"2026-07-31"}
`
	want := `{"due":["2024-02-29","2025-02-28"],"why":["48 months from the anchor 2020-02-29; the inspection of 2023-02-10, 18 days early, counts for 2023-02-28; missed, for no inspection of their own period: 2022-02-28.","60 months from the anchor 2020-02-29, whose day that month lacks, so its last; the inspection of 2023-02-10, 18 days early, counts for 2023-02-28."]}
{"due":[],"why":[]}
{"due":["2026-07-31"],"why":["The last day of the month 6 months after that of the anchor 2026-01-10; there is no inspection."]}
`
	out, complaint, code := lintel(t, nil, "due", writeFile(t, "plans.jsonl", question))
	if code != 0 || complaint != "" || out != want {
		t.Errorf("%d, %q\n%s\nwant\n%s", code, complaint, out, want)
	}
}

func TestDuePrintsNothingWhenOneLineIsBad(t *testing.T) {
	good := `{"regime":"from_last","every_months":12,"anchor":"2024-01-01","until":"2026-01-01"}` + "\n"
	out, complaint, code := lintel(t, nil, "due", writeFile(t, "plans.jsonl", good+strings.Replace(good, "from_last", "yearly", 1)))
	if code != 2 || out != "" || !strings.HasPrefix(complaint, "lintel: line 2: regime: must be one of ") || strings.Count(complaint, "\n") != 1 {
		t.Errorf("%d, %q, %q", code, out, complaint)
	}
}
