package words

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// usage is what the program's source says about keys.
type usage struct {
	asked    map[string]string // key of a call T("key", …) → where
	places   map[string]map[string]string
	faults   map[string]string          // code of a fault → where
	told     map[string]map[string]bool // code of a fault → names of its arguments
	literals map[string]bool            // every string in the source that may be a key
	prefixes map[string]bool            // of keys that are put together at run time
}

// inTemplate finds {{T "key"}} and its kin; quoted finds whatever else in a template or script may be a key.
var (
	inTemplate = regexp.MustCompile(`\bT "([^"]+)"`)
	quoted     = regexp.MustCompile(`["']([A-Za-z0-9_-]+(?:\.[A-Za-z0-9_-]+)+)["']`)
	keyPrefix  = regexp.MustCompile(`^[a-z][a-z_]*\.(?:[a-z0-9_-]+\.)*`)
	faultCode  = regexp.MustCompile(`^[a-z]+(?:_[a-z0-9]+)*$`)
)

func readUsage(t *testing.T, root string) *usage {
	t.Helper()
	u := &usage{
		asked: map[string]string{}, places: map[string]map[string]string{}, faults: map[string]string{}, told: map[string]map[string]bool{},
		literals: map[string]bool{}, prefixes: map[string]bool{},
	}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if name := d.Name(); name == "testdata" || path != root && strings.HasPrefix(name, ".") {
				return filepath.SkipDir
			}
			return nil
		}
		switch filepath.Ext(path) {
		case ".go":
			if !strings.HasSuffix(path, "_test.go") {
				return u.readGo(path)
			}
		case ".html", ".tmpl", ".js", ".svg":
			return u.readTemplate(path)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return u
}

func (u *usage) readTemplate(path string) error {
	file, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	for _, m := range inTemplate.FindAllStringSubmatch(string(file), -1) {
		u.asked[m[1]] = path
	}
	for _, m := range quoted.FindAllStringSubmatch(string(file), -1) {
		u.literals[m[1]] = true
	}
	return nil
}

func (u *usage) readGo(path string) error {
	fset := token.NewFileSet()
	file, err := parser.ParseFile(fset, path, nil, parser.SkipObjectResolution)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err) // somebody is in the middle of a line
	}
	where := func(n ast.Node) string {
		at := fset.Position(n.Pos())
		return fmt.Sprintf("%s:%d", filepath.ToSlash(at.Filename), at.Line)
	}
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.BasicLit:
			if s, ok := literal(n); ok {
				u.literals[s] = true
				if strings.Contains(s, "%") { // Sprintf("month.%d", …)
					u.prefixes[keyPrefix.FindString(s)] = true
				}
			}
		case *ast.BinaryExpr:
			if s, ok := literal(n.X); ok && n.Op == token.ADD {
				u.prefixes[keyPrefix.FindString(s)] = true
			}
		case *ast.CallExpr:
			u.readCall(n, where(n))
		case *ast.KeyValueExpr: // fault.Error{Kind: …, Code: "…"}
			if name, ok := n.Key.(*ast.Ident); ok && name.Name == "Code" && importsFault(file) {
				if code, ok := literal(n.Value); ok && faultCode.MatchString(code) {
					u.fault(code, where(n), nil)
				}
			}
		}
		return true
	})
	return nil
}

func (u *usage) readCall(call *ast.CallExpr, where string) {
	name, on := called(call)
	switch {
	case name == "T" && len(call.Args) > 0:
		if key, ok := literal(call.Args[0]); ok {
			u.asked[key] = where
			if names, all := argumentNames(call, 1); all {
				u.places[key] = map[string]string{}
				for _, n := range names {
					u.places[key][n] = where
				}
			}
		}
	case (on == "fault" && (name == "New" || name == "At") || name == "Add") && len(call.Args) > 1:
		if code, ok := literal(call.Args[1]); ok && faultCode.MatchString(code) {
			names, _ := argumentNames(call, 2)
			u.fault(code, where, names)
		}
	}
}

func (u *usage) fault(code, where string, names []string) {
	u.faults[code] = where
	if u.told[code] == nil {
		u.told[code] = map[string]bool{}
	}
	for _, n := range names {
		u.told[code][n] = true
	}
}

func importsFault(file *ast.File) bool {
	return slices.ContainsFunc(file.Imports, func(i *ast.ImportSpec) bool { return strings.HasSuffix(i.Path.Value, `/internal/fault"`) })
}

func called(call *ast.CallExpr) (name, on string) {
	switch f := call.Fun.(type) {
	case *ast.Ident:
		return f.Name, ""
	case *ast.SelectorExpr:
		if x, ok := f.X.(*ast.Ident); ok {
			on = x.Name
		}
		return f.Sel.Name, on
	}
	return "", ""
}

// argumentNames gives the names of the pairs from an argument on; all is false when some are not written down there.
func argumentNames(call *ast.CallExpr, from int) (names []string, all bool) {
	if call.Ellipsis != token.NoPos {
		return nil, false
	}
	for i := from; i < len(call.Args); i += 2 {
		name, ok := literal(call.Args[i])
		if !ok {
			return nil, false
		}
		names = append(names, name)
	}
	return names, true
}

func literal(e ast.Expr) (string, bool) {
	lit, ok := e.(*ast.BasicLit)
	if !ok || lit.Kind != token.STRING {
		return "", false
	}
	s, err := strconv.Unquote(lit.Value)
	return s, err == nil
}

func loaded(t *testing.T) (*Catalogue, *usage) {
	t.Helper()
	c, err := Load()
	if err != nil {
		t.Fatal(err)
	}
	return c, readUsage(t, filepath.Join("..", ".."))
}

func TestEveryKeyThatCodeAsksForIsThere(t *testing.T) {
	c, u := loaded(t)
	for _, key := range slices.Sorted(maps.Keys(u.asked)) {
		if !c.Has(key) {
			t.Errorf("%s asks for %s, which no message file has", u.asked[key], key)
			continue
		}
		given, known := u.places[key]
		for _, place := range c.Places(key) {
			if _, ok := given[place]; known && !ok {
				t.Errorf("the text of %s has a place {%s} that a call does not fill", key, place)
			}
		}
	}
}

func TestEveryFaultHasAText(t *testing.T) {
	c, u := loaded(t)
	for _, code := range slices.Sorted(maps.Keys(u.faults)) {
		key := "problem." + code
		if !c.Has(key) {
			t.Errorf("%s answers with the fault %s, which has no text: %s is missing", u.faults[code], code, key)
			continue
		}
		for _, place := range c.Places(key) {
			if !u.told[code][place] && place != countPlace {
				t.Errorf("the text of %s has a place {%s} that the fault does not fill", key, place)
			}
		}
	}
}

func TestEveryKeyIsAskedForBySomeCode(t *testing.T) {
	c, u := loaded(t)
	// Put together from what a fault or a rule pack says of itself, by code that does not spell the first part out.
	builtElsewhere := []string{"problem.", "rule.", "rulebook."}
	for _, key := range c.Keys() {
		built := slices.ContainsFunc(builtElsewhere, func(prefix string) bool { return strings.HasPrefix(key, prefix) })
		for prefix := range u.prefixes {
			built = built || prefix != "" && strings.HasPrefix(key, prefix)
		}
		if _, asked := u.asked[key]; !asked && !built && !u.literals[key] {
			t.Errorf("no code asks for %s", key)
		}
	}
}

// What the database allows in a column has to have a word.
func TestEveryWordOfTheSchemaHasAText(t *testing.T) {
	c, err := Load()
	if err != nil {
		t.Fatal(err)
	}
	names, err := filepath.Glob(filepath.Join("..", "..", "migrations", "*.up.sql"))
	if err != nil || len(names) == 0 {
		t.Fatalf("no migrations: %v", err)
	}
	var schema strings.Builder
	for _, name := range names {
		file, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		schema.Write(file)
	}
	word := regexp.MustCompile(`'([a-z_]+)'`)
	for constraint, enumeration := range map[string]string{
		"person_role_check": "role", "person_units_check": "units", "basis_check": "basis", "device_model_kind_check": "component_kind",
		"device_model_sensing_check": "sensing", "accessory_kind_check": "accessory", "site_party_role_check": "party_role",
		"door_version_kind_check": "door_kind", "door_version_energy_check": "energy", "door_version_traffic_check": "traffic",
		"door_version_presence_check": "presence", "door_version_activation_check": "activation", "door_version_rails_check": "guide_rails",
		"door_leaf_motion_check": "leaf_motion", "door_leaf_hinge_check": "hinge", "door_leaf_opens_check": "opens_towards", "component_kind_check": "component_kind",
		"component_version_state_check": "component_state", "component_version_side_check": "side", "component_version_input_check": "input",
		"component_version_contact_check": "contact", "revision_standing_check": "revision", "revision_direction_check": "motion_direction",
		"inspection_plan_regime_check": "plan_regime", "work_order_kind_check": "work_order_kind", "work_order_state_check": "work_order_state",
		"job_run_state_check": "job_state", "visit_entry_kind_check": "entry_kind", "finding_origin_check": "finding_origin", "finding_severity_check": "severity",
		"finding_state_check": "finding_state", "out_of_service_case_state_check": "case_state", "notice_told_state_check": "notice_state",
	} {
		is := "constraint " + constraint + " check"
		last := strings.LastIndex(schema.String(), is) // a later migration may have replaced it
		if last < 0 {
			t.Errorf("the schema has no constraint %s any more", constraint)
			continue
		}
		list, _, _ := strings.Cut(schema.String()[last+len(is):], ")")
		values := word.FindAllStringSubmatch(list, -1)
		if len(values) < 2 {
			t.Errorf("%s lists %d words", constraint, len(values))
		}
		for _, v := range values {
			if key := "enum." + enumeration + "." + v[1]; !c.Has(key) {
				t.Errorf("%s allows %s, which has no text: %s is missing", constraint, v[1], key)
			}
		}
	}
}

func TestUsageSeesWhatItIsMeantToSee(t *testing.T) {
	dir := t.TempDir()
	source := "package x\n" + `import "lintel.example/lintel/internal/fault"
func f(p Printer, l *fault.List) error {
	p.T("door.title", "tag", tag)
	p.T("rule." + id + ".title")
	p.T(fmt.Sprintf("month.%d", 3))
	l.Add("/tag", "tag_taken", "tag", tag)
	keys := []string{"door.subtitle"}
	_ = fault.Error{Kind: fault.Conflict, Code: "email_taken"}
	return fault.New(fault.NotFound, "door_not_found")
}`
	for name, text := range map[string]string{"a.go": source, "a_test.go": `package x; var _ = p.T("only.in.a.test")`, "a.html": `<p>{{T "page.title"}} <i data-key="page.more">`} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	u := readUsage(t, dir)
	for _, key := range []string{"door.title", "page.title"} {
		if u.asked[key] == "" {
			t.Errorf("%s is not seen", key)
		}
	}
	if u.asked["only.in.a.test"] != "" || len(u.asked) != 2 {
		t.Errorf("asked: %v", u.asked)
	}
	if !u.literals["door.subtitle"] || !u.literals["page.more"] || !u.prefixes["rule."] || !u.prefixes["month."] || u.prefixes["door."] {
		t.Errorf("literals %v, prefixes %v", u.literals, u.prefixes)
	}
	if got := slices.Sorted(maps.Keys(u.faults)); !slices.Equal(got, []string{"door_not_found", "email_taken", "tag_taken"}) || !u.told["tag_taken"]["tag"] {
		t.Errorf("faults %v, told %v", got, u.told)
	}
	if _, filled := u.places["door.title"]["tag"]; !filled {
		t.Errorf("places %v", u.places)
	}
}
