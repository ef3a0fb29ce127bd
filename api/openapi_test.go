package api_test

import (
	"bytes"
	"flag"
	"log/slog"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/danielgtaylor/huma/v2"

	"lintel.example/lintel/api"
	"lintel.example/lintel/internal/fleet"
)

var update = flag.Bool("update", false, "write the golden files anew")

// contract makes the API without anything behind it: enough for what it says of itself.
func contract(t *testing.T) *api.API {
	t.Helper()
	catalogue, err := loadWords()
	if err != nil {
		t.Fatal(err)
	}
	return api.New(api.Rooms{Fleet: fleet.New(fleet.Parts{}), Words: catalogue, Log: slog.New(slog.DiscardHandler), Version: "0"})
}

func TestTheCommittedContractIsTheOneThatIsServed(t *testing.T) {
	got, err := contract(t).OpenAPI().YAML()
	if err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile("openapi.yaml", got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile("openapi.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Error("openapi.yaml is not what is served: run `go test ./api -update` and review the difference")
	}
}

func TestEveryPlaceInAPathIsAParameter(t *testing.T) {
	for path, item := range contract(t).OpenAPI().Paths {
		for method, op := range map[string]*huma.Operation{"GET": item.Get, "PUT": item.Put, "POST": item.Post, "DELETE": item.Delete} {
			if op == nil {
				continue
			}
			for _, place := range regexp.MustCompile(`\{(\w+)\}`).FindAllStringSubmatch(path, -1) {
				if !slices.ContainsFunc(op.Parameters, func(p *huma.Param) bool { return p.In == "path" && p.Name == place[1] }) {
					t.Errorf("%s %s does not read %s: is its type embedded unexported?", method, path, place[1])
				}
			}
			if method == "GET" && strings.HasSuffix(op.OperationID, "-list") && op.OperationID != "session-list" && op.OperationID != "rule-pack-list" && op.OperationID != "rule-pack-activation-list" && op.OperationID != "plan-list" && op.OperationID != "component-list" && op.OperationID != "ladder-list" && op.OperationID != "webhook-list" && op.OperationID != "job-list" && op.OperationID != "watch-list" && op.OperationID != "suspension-list" && op.OperationID != "letter-template-list" && op.OperationID != "delivery-list" && !slices.ContainsFunc(op.Parameters, func(p *huma.Param) bool { return p.Name == "limit" }) {
				t.Errorf("%s lists without a limit", op.OperationID)
			}
		}
	}
}
