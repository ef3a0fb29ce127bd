package main

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the golden files anew")

func TestTheYearOfTheDemoIsToldToTheLastWordAsBefore(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(openFolder(t), "demo")
	told := mustLintel(t, nil, "demo", "--year", "--data-dir", dir)
	if strings.Contains(told, "⟦") {
		t.Errorf("a text is missing:\n%s", told)
	}
	const golden = "testdata/year.txt"
	if *update {
		if err := os.WriteFile(golden, []byte(told), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), told); diff != "" {
		t.Errorf("the year is told differently (-before +now); -update if that is meant:\n%s", diff)
	}
	if _, complaint, code := lintel(t, nil, "demo", "--year", "--data-dir", dir); code != 2 || !strings.Contains(complaint, "holds a demo already") {
		t.Errorf("told in a folder that holds a year: exit code %d, %s", code, complaint)
	}
}
