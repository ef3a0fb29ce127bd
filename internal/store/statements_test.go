package store_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/store/storetest"
)

// statement is a constant sqlXyz of the room.
type statement struct{ name, text string }

func statements(t *testing.T) []statement {
	t.Helper()
	packages, err := parser.ParseDir(token.NewFileSet(), ".", func(f fs.FileInfo) bool { return !strings.HasSuffix(f.Name(), "_test.go") }, 0)
	if err != nil {
		t.Fatal(err)
	}
	var found []statement
	for _, p := range packages {
		ast.Inspect(p, func(n ast.Node) bool {
			spec, ok := n.(*ast.ValueSpec)
			if !ok || len(spec.Values) != 1 || !strings.HasPrefix(spec.Names[0].Name, "sql") {
				return true
			}
			literal, ok := spec.Values[0].(*ast.BasicLit)
			if !ok {
				t.Errorf("%s is not one literal: a statement is written out, never put together", spec.Names[0].Name)
				return true
			}
			text, err := strconv.Unquote(literal.Value)
			if err != nil {
				t.Fatal(err)
			}
			found = append(found, statement{spec.Names[0].Name, text})
			return true
		})
	}
	if len(found) < 50 {
		t.Fatalf("only %d statements found: the search is broken", len(found))
	}
	return found
}

func TestEveryStatementFitsTheMigratedSchema(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	conn, err := db.Admin.Acquire(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Release()
	for _, s := range statements(t) {
		text, _, err := pgx.NamedArgs{}.RewriteQuery(t.Context(), conn.Conn(), s.text, nil)
		if err != nil {
			t.Errorf("%s: %v", s.name, err)
			continue
		}
		if _, err := conn.Conn().Prepare(t.Context(), s.name, text); err != nil {
			t.Errorf("%s: %v", s.name, err)
		}
	}
}

func TestEveryStatementCarriesItsName(t *testing.T) {
	t.Parallel()
	for _, s := range statements(t) {
		first, _, _ := strings.Cut(s.text, "\n")
		if !regexp.MustCompile(`^-- [a-z][a-z0-9_]*$`).MatchString(first) {
			t.Errorf("%s begins with %q, not with a comment that names it", s.name, first)
		}
	}
}

func TestNoStatementPagesByOffsetOrSelectsStar(t *testing.T) {
	t.Parallel()
	for _, s := range statements(t) {
		lower := strings.ToLower(s.text)
		if strings.Contains(lower, "offset ") {
			t.Errorf("%s pages by OFFSET", s.name)
		}
		if strings.HasPrefix(strings.TrimSpace(strings.SplitN(lower, "\n", 2)[1]), "select *") {
			t.Errorf("%s selects *", s.name)
		}
	}
}
