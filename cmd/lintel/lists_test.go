package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"lintel.example/lintel/internal/store/storetest"
)

// The lists were made by somebody who had not seen how they are read: as people keep them, each ugly in its own way. What a
// dispatcher reads of each stands beside it, first of the list as it is, then with what the dispatcher said about it.
func TestListsAsPeopleKeepThemAreBroughtInAndWhatIsWrongIsSaid(t *testing.T) {
	t.Parallel()
	for _, list := range []struct {
		file string
		said []string
	}{
		{"windows_semicolons.csv", []string{"--dates", "day-first", "--lengths", "m", "--for-all", "country=DE", "--for-all", "time_zone=Europe/Berlin", "--for-all", "leaves=2"}},
		{"unicode_tabs.txt", []string{"--mapping", "unicode_tabs.yaml"}},
		{"quoted_commas.csv", []string{"--mapping", "quoted_commas.yaml"}},
		{"workbook.xlsx", []string{"--mapping", "workbook.yaml"}},
		{"typed_from_paper.csv", []string{"--mapping", "typed_from_paper.yaml"}},
	} {
		t.Run(list.file, func(t *testing.T) {
			env := environment(t, storetest.New(t))
			for i, argument := range list.said {
				if strings.HasSuffix(argument, ".yaml") {
					list.said[i] = filepath.Join("testdata", "lists", argument)
				}
			}
			path := filepath.Join("testdata", "lists", list.file)
			var told strings.Builder
			for _, arguments := range [][]string{{"--dry-run"}, append([]string{"--good-rows"}, list.said...), append([]string{"--good-rows"}, list.said...)} {
				out, complaint, code := lintel(t, env, append([]string{"import", path}, arguments...)...)
				if code != 0 && code != 1 {
					t.Fatalf("exit code %d: %s", code, complaint)
				}
				told.WriteString("$ lintel import " + strings.Join(append([]string{list.file}, arguments...), " ") + "\n" + out + "\n")
			}
			holdList(t, path+".told", told.String())
		})
	}
}

// runID is what is another in each run.
var runID = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12}`)

func holdList(t *testing.T, golden, got string) {
	t.Helper()
	got = runID.ReplaceAllString(got, "IMPORT")
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s (- kept, + now):\n%s", golden, diff)
	}
}
