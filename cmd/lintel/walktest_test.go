package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"strings"
	"testing"

	"lintel.example/lintel/internal/field"
)

func TestAWalkTestIsAnsweredLineByLineAndABadOnePrintsNothing(t *testing.T) {
	example, err := os.ReadFile("testdata/walktest.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := (&walkTestCmd{}).answer(bytes.NewReader(example), &out); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSuffix(out.String(), "\n"), "\n")
	if len(lines) != 2 {
		t.Fatalf("%d lines out", len(lines))
	}
	var marked, taped field.WalkAnswer
	if err := errors.Join(json.Unmarshal([]byte(lines[0]), &marked), json.Unmarshal([]byte(lines[1]), &taped)); err != nil {
		t.Fatal(err)
	}
	outliers := 0
	for _, r := range marked.Residuals {
		if r.Outlier {
			outliers++
		}
	}
	if len(marked.Fitted) != 2 || !marked.Fitted[0].Determined || !marked.Fitted[1].Determined || outliers != 1 {
		t.Errorf("marks: %s", lines[0])
	}
	if len(taped.Fitted) != 2 || !taped.Fitted[0].Determined || taped.Fitted[1].Determined {
		t.Errorf("width and depth fix the range only: %s", lines[1])
	}

	out.Reset()
	err = (&walkTestCmd{}).answer(strings.NewReader(string(example)+"{}\n"), &out)
	if bad := (badInput{}); !errors.As(err, &bad) || !strings.HasPrefix(err.Error(), "line 3: height_m") || out.Len() > 0 {
		t.Errorf("%v, printed %q", err, out.String())
	}
}
