package main

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const module = "lintel.example/lintel/"

// mayImport is the drawing of the house: which room may use which. A room that is not here may use nothing of ours.
func mayImport() map[string][]string {
	pure := []string{"internal/field", "internal/advice", "internal/diagnosis", "internal/rulebook", "internal/duedate", "internal/seal", "internal/words", "internal/sheet", "internal/trend", "internal/steps"}
	return map[string][]string{
		"internal/field": {}, "internal/rulebook": {}, "internal/steps": {}, "internal/duedate": {}, "internal/route": {}, "internal/seal": {}, "internal/words": {}, "internal/fault": {}, "migrations": {},
		"internal/sheet":              {"internal/words"},
		"internal/trend":              {"internal/duedate"},
		"internal/field/oracle":       {},
		"internal/diagnosis":          {},
		"internal/advice":             {"internal/field", "internal/words"},
		"internal/identity":           {"internal/fault", "internal/duedate", "internal/rulebook"}, // what kinds of certificate there are is the rulebook's
		"internal/fleet":              append([]string{"internal/fault", "internal/identity", "internal/route"}, pure...),
		"internal/store":              {"internal/fleet", "internal/identity", "internal/fault", "internal/seal", "internal/duedate", "internal/steps", "migrations"},
		"internal/store/storetest":    {"internal/store", "internal/localpg"},
		"internal/report":             {"internal/fleet", "internal/words"},
		"internal/notify":             {},
		"internal/notify/mailcatcher": {},
		"internal/localpg":            {},
		"internal/demo":               {"internal/fleet", "internal/identity", "internal/duedate", "internal/seal"},
		"internal/archive":            {"internal/store", "internal/localpg", "internal/seal", "internal/words"},
		"api":                         {"internal/steps", "internal/fleet", "internal/identity", "internal/report", "internal/words", "internal/fault", "internal/seal", "internal/duedate", "internal/rulebook", "internal/sheet", "internal/trend", "internal/advice", "internal/diagnosis"},
		"internal/console":            {"internal/fleet", "internal/identity", "internal/report", "internal/words", "internal/fault", "internal/duedate", "internal/rulebook", "internal/seal", "internal/sheet", "internal/trend", "internal/advice", "internal/diagnosis"},
		"jobs":                        {"internal/fleet", "internal/identity", "internal/duedate"},
		"deploy/bench":                {"internal/fleet", "internal/identity", "internal/store", "internal/localpg", "internal/rulebook", "internal/duedate", "internal/words", "internal/seal"},
		"cmd/lintel": {"api", "internal/sheet", "jobs", "internal/console", "internal/fleet", "internal/identity", "internal/store", "internal/report", "internal/notify", "internal/notify/mailcatcher",
			"internal/localpg", "internal/archive", "internal/seal", "internal/demo", "internal/words", "internal/rulebook", "internal/fault", "internal/duedate", "internal/field", "internal/advice", "internal/diagnosis", "internal/route"},
	}
}

// why is what to say to somebody who crosses a wall.
func why(room string) string {
	switch room {
	case "internal/field", "internal/advice", "internal/diagnosis", "internal/rulebook", "internal/duedate", "internal/route", "internal/steps", "internal/seal", "internal/words", "internal/sheet", "internal/trend":
		return "it is pure: it computes from what it is given, so that it can be tested and trusted by itself"
	case "internal/fleet":
		return "the domain says what it needs of storage and leaves the how to the rooms around it"
	case "internal/store":
		return "the store implements what fleet and identity ask for and knows no face"
	case "api", "jobs", "internal/console":
		return "a face calls use-cases; what it does itself nobody else can do"
	}
	return "see the table of rooms in DEVELOPERS.md"
}

type listed struct {
	ImportPath string
	Imports    []string
}

func packages(t *testing.T) []listed {
	t.Helper()
	cmd := exec.Command("go", "list", "-json=ImportPath,Imports", "./...")
	cmd.Dir = "../.."
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var all []listed
	for d := json.NewDecoder(strings.NewReader(string(out))); d.More(); {
		var p listed
		if err := d.Decode(&p); err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
	return all
}

func TestNoRoomReachesThroughAWall(t *testing.T) {
	rooms := mayImport()
	for _, p := range packages(t) {
		room := strings.TrimPrefix(p.ImportPath, module)
		allowed, known := rooms[room]
		if !known && len(p.Imports) > 0 {
			t.Errorf("%s is no room of the house: draw it into mayImport and into DEVELOPERS.md", room)
			continue
		}
		for _, imported := range p.Imports {
			if to, ours := strings.CutPrefix(imported, module); ours && !slices.Contains(allowed, to) {
				t.Errorf("%s must not import %s: %s", room, to, why(room))
			}
		}
	}
}

func TestPureRoomsDoNoInputOrOutput(t *testing.T) {
	forbidden := []string{"os", "net", "net/http", "database/sql", "math/rand", "math/rand/v2", "crypto/rand", "log", "log/slog", "io/ioutil", "os/exec", "github.com/jackc/pgx/v5"}
	for _, p := range packages(t) {
		room := strings.TrimPrefix(p.ImportPath, module)
		if !slices.Contains([]string{"internal/field", "internal/rulebook", "internal/duedate", "internal/route", "internal/steps", "internal/seal", "internal/words", "internal/sheet", "internal/trend", "internal/fault"}, room) {
			continue
		}
		for _, imported := range p.Imports {
			if slices.Contains(forbidden, imported) {
				t.Errorf("%s must not import %s: %s", room, imported, why("internal/field"))
			}
		}
	}
}

// calls finds selector expressions like time.Now in the Go files of a folder, tests left out.
func calls(t *testing.T, folder string, found func(file string, line int, call string)) {
	t.Helper()
	files := token.NewFileSet()
	err := filepath.WalkDir(filepath.Join("../..", folder), func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		f, err := parser.ParseFile(files, path, nil, 0)
		if err != nil {
			return err
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if s, ok := n.(*ast.SelectorExpr); ok {
				if x, ok := s.X.(*ast.Ident); ok {
					found(path, files.Position(s.Pos()).Line, x.Name+"."+s.Sel.Name)
				}
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestClockRandomnessAndEnvironmentComeInFromOutside(t *testing.T) {
	for _, folder := range []string{"api", "jobs", "internal/fleet", "internal/identity", "internal/field", "internal/rulebook", "internal/duedate", "internal/route", "internal/steps", "internal/seal", "internal/words", "internal/report", "internal/console"} {
		calls(t, folder, func(file string, line int, call string) {
			switch call {
			case "time.Now", "time.Since", "uuid.New", "uuid.NewV7", "uuid.NewRandom", "os.Getenv", "os.LookupEnv", "rand.Reader":
				t.Errorf("%s:%d calls %s: it is passed in, so that tests repeat", file, line, call)
			}
		})
	}
	calls(t, "internal", func(file string, line int, call string) {
		if (call == "os.Getenv" || call == "os.LookupEnv" || call == "os.Environ") && !strings.Contains(file, "storetest") {
			t.Errorf("%s:%d reads the environment: only cmd does", file, line)
		}
	})
}

func TestTheTopLevelHoldsWhatItShouldAndNothingElse(t *testing.T) {
	want := []string{"DEVELOPERS.md", "README.md", "api", "cmd", "deploy", "docker-compose.yml", "go.mod", "go.sum", "internal", "jobs", "migrations"}
	entries, err := os.ReadDir("../..")
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") {
			got = append(got, e.Name())
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("top level is %v, want %v", got, want)
	}
}

func TestEveryRoomSaysHowToAddToIt(t *testing.T) {
	for _, room := range []string{"api", "internal/sheet", "jobs", "internal/field", "internal/rulebook", "internal/duedate", "internal/route", "internal/steps", "internal/seal", "internal/words", "internal/sheet", "internal/fleet", "internal/store",
		"internal/report", "internal/console", "internal/notify", "internal/identity", "internal/localpg", "internal/archive", "internal/demo", "internal/fault"} {
		found := false
		matches, err := filepath.Glob(filepath.Join("../..", room, "*.go"))
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range matches {
			text, err := os.ReadFile(m)
			if err != nil {
				t.Fatal(err)
			}
			before, _, _ := strings.Cut(string(text), "\npackage ")
			found = found || strings.Contains(before, "// To add") || strings.Contains(before, "// # To add")
		}
		if !found {
			t.Errorf("the package documentation of %s does not say how to add to it", room)
		}
	}
}
