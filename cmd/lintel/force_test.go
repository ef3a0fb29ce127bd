package main

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"lintel.example/lintel/internal/rulebook"
)

// A ramp of 1000 N/s to 500 N, held for a second: everything about it is known.
func TestForceSaysWhatARecordedCurveIs(t *testing.T) {
	var b strings.Builder
	b.WriteString("Zeit [ms];Kraft [N]\r\n")
	for ms := range 1501 {
		fmt.Fprintf(&b, "%d;%d,0\r\n", ms, min(ms, 500))
	}
	out, complaint, code := lintel(t, nil, "force", "--gap-mm", "100", "--uncertainty", "4", writeFile(t, "gauge.csv", b.String()))
	if code != 0 || complaint != "" {
		t.Fatalf("%d %s", code, complaint)
	}
	var c rulebook.ForceCourse
	if err := json.Unmarshal([]byte(out), &c); err != nil {
		t.Fatal(err)
	}
	// contact at 10 N after 10 ms; above 400 N from 400 ms to the static phase at 760 ms, and above 150 N from there to the end
	if c.ContactAtS != 0.01 || c.PeakN != 500 || *c.StaticN != 500 || *c.UncertaintyN != 4 || c.Limits.PeakN != 400 ||
		math.Abs(*c.AboveFromS-0.391) > 0.0011 || math.Abs(*c.AboveS-1.1) > 0.003 || math.Abs(*c.AboveByN-350) > 1e-6 {
		t.Errorf("%s", out)
	}
}

func TestForceRefusesInOneLine(t *testing.T) {
	for name, c := range map[string]struct {
		args []string
		text string
		want string
	}{
		"a word":     {nil, "0;1\n0,01;x\n", "line 2: force: x is no number"},
		"no contact": {nil, "0;1\n0,01;2\n0,02;3\n", "never rises to 10 N"},
		"gap":        {[]string{"--gap-mm", "-1"}, "0;1\n", "--gap-mm"},
	} {
		out, complaint, code := lintel(t, nil, append(append([]string{"force"}, c.args...), writeFile(t, "gauge.csv", c.text))...)
		if code != 2 || out != "" || strings.Count(complaint, "\n") != 1 || !strings.Contains(complaint, c.want) {
			t.Errorf("%s: %d %q %q", name, code, out, complaint)
		}
	}
}
