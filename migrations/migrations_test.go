package migrations_test

import (
	"crypto/sha256"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"

	"lintel.example/lintel/migrations"
)

var update = flag.Bool("update", false, "enter the files as they are into landed.sha256")

const landed = "landed.sha256"

var fileName = regexp.MustCompile(`^([0-9]{6})_([a-z0-9_]+)\.(up|down)\.sql$`)

func TestNumbersHaveNoGapAndEachGoesUpAndDown(t *testing.T) {
	names := map[string]string{} // number → what, of up and down both
	files := list(t)
	for i, file := range files {
		m := fileName.FindStringSubmatch(file)
		if m == nil {
			t.Fatalf("%s is not named NNNNNN_what.up.sql or .down.sql", file)
		}
		if want := fmt.Sprintf("%06d", i/2+1); m[1] != want {
			t.Fatalf("%s: the next number without a gap is %s, with one file up and one down", file, want)
		}
		if other, seen := names[m[1]]; seen && other != m[2] {
			t.Errorf("%s: its pair is named %s", file, other)
		}
		names[m[1]] = m[2]
	}
	if len(files) != 2*len(names) {
		t.Errorf("%d files for %d numbers", len(files), len(names))
	}
}

// golang-migrate sends a file as one message, which PostgreSQL runs as one transaction. store.Migrate relies on it
// to take up again what was cut off.
func TestEachFileIsOneTransaction(t *testing.T) {
	ends := regexp.MustCompile(`(?im)^\s*(begin|commit|rollback|start transaction)\b[^;]*;`)
	concurrently := regexp.MustCompile(`(?i)\bindex\s+concurrently\b`)
	for _, file := range list(t) {
		sql := withoutBodies(read(t, file))
		if m := ends.FindString(sql); m != "" {
			t.Errorf("%s controls its transaction: %q", file, strings.TrimSpace(m))
		}
		if concurrently.MatchString(sql) && strings.Count(sql, ";") != 1 {
			t.Errorf("%s: an index is built concurrently only as the one statement of its file", file)
		}
	}
}

func TestLandedFilesAreNotEdited(t *testing.T) {
	if *update {
		text := ""
		for _, file := range list(t) {
			text += hash(t, file) + "  " + file + "\n"
		}
		if err := os.WriteFile(landed, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	text, err := os.ReadFile(landed)
	if err != nil {
		t.Fatal(err)
	}
	known := map[string]string{}
	for line := range strings.Lines(string(text)) {
		sum, file, ok := strings.Cut(strings.TrimSpace(line), "  ")
		if !ok {
			t.Fatalf("%s: %q is not a sum and a name", landed, line)
		}
		known[file] = sum
	}
	for _, file := range list(t) {
		switch known[file] {
		case "":
			t.Errorf("%s is not in %s: run go test ./migrations -update once it is final", file, landed)
		case hash(t, file):
		default:
			t.Errorf("%s is a landed migration and was edited: databases that have it never see the change, write a new one", file)
		}
		delete(known, file)
	}
	for file := range known {
		t.Errorf("%s is a landed migration and is gone", file)
	}
}

func TestEveryVersionOfRiversSchemaIsCopied(t *testing.T) {
	river, err := rivermigrate.New(riverpgxv5.New(nil), nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range river.AllVersions() {
		if v.Version == 1 {
			continue // its own bookkeeping
		}
		copies, err := fs.Glob(migrations.Files, fmt.Sprintf("*_river_%d.up.sql", v.Version))
		if err != nil {
			t.Fatal(err)
		}
		if len(copies) != 1 {
			t.Errorf("River's schema version %d (%s) has %d copies here, want 1", v.Version, v.Name, len(copies))
		}
	}
	copies, err := fs.Glob(migrations.Files, "*_river_*.up.sql")
	if err != nil {
		t.Fatal(err)
	}
	if want := len(river.AllVersions()) - 1; len(copies) != want {
		t.Errorf("%d copied files, River has %d versions", len(copies), want)
	}
}

// list gives the names of the files, sorted.
func list(t *testing.T) []string {
	t.Helper()
	files, err := fs.Glob(migrations.Files, "*")
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func read(t *testing.T, file string) string {
	t.Helper()
	text, err := fs.ReadFile(migrations.Files, file)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func hash(t *testing.T, file string) string {
	return fmt.Sprintf("%x", sha256.Sum256([]byte(read(t, file))))
}

// withoutBodies takes comments and the bodies between dollar quotes out of an SQL text.
func withoutBodies(sql string) string {
	sql = regexp.MustCompile(`--[^\n]*`).ReplaceAllString(sql, "")
	parts := regexp.MustCompile(`\$[a-z]*\$`).Split(sql, -1)
	outside := ""
	for i, part := range parts {
		if i%2 == 0 {
			outside += part
		}
	}
	return outside
}
