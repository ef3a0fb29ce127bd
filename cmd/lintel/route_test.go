package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"lintel.example/lintel/internal/route"
)

const lone = "two doors\nVEHICLE\nNUMBER CAPACITY\n1 10\nCUSTOMER\nCUST NO.\n0 0 0 0 0 100 0\n7 3 4 6 0 50 5\n9 0 5 4 0 50 5\n"

// A triangle: 5 from the depot to either, √10 between them.
func TestRouteSolvePrintsWhoIsVisitedInWhichOrder(t *testing.T) {
	out, complaint, code := lintel(t, nil, "route", "solve", writeFile(t, "two.txt", lone), "--format", "solomon", "--iterations", "10", "--seed", "3")
	if code != 0 || complaint != "" {
		t.Fatalf("%d %s", code, complaint)
	}
	var got solvedJSON
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	if got.Vehicles != 1 || len(got.Routes) != 1 || len(got.Routes[0]) != 2 || !slices.Contains(got.Routes[0], 7) || math.Abs(got.Distance-10-math.Sqrt(10)) > 1e-12 {
		t.Errorf("%s", out)
	}
}

func TestRouteSolveRepeatsItselfByStepsAndServesEveryCustomerByTheClock(t *testing.T) {
	const file = "../../internal/route/testdata/R101.txt"
	first, _, _ := lintel(t, nil, "route", "solve", file, "--iterations", "500", "--seed", "5")
	if again, _, code := lintel(t, nil, "route", "solve", file, "--iterations", "500", "--seed", "5"); code != 0 || again != first {
		t.Errorf("%d\n%s\n%s", code, first, again)
	}
	out, complaint, code := lintel(t, nil, "route", "solve", file, "--seconds", "0.5")
	var got solvedJSON
	if err := json.Unmarshal([]byte(out), &got); code != 0 || err != nil {
		t.Fatal(code, err, complaint)
	}
	in, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	instance, err := route.ReadSolomon(in)
	if err != nil {
		t.Fatal(err)
	}
	at := map[int]route.Customer{}
	for _, c := range instance.Customers {
		at[c.Number] = c
	}
	total := 0.0
	for _, visits := range got.Routes {
		here, now, load := instance.Depot, instance.Depot.Ready, 0.0
		for _, number := range visits {
			c, left := at[number]
			if !left {
				t.Fatalf("customer %d is no customer or visited twice", number)
			}
			delete(at, number)
			leg := math.Hypot(c.X-here.X, c.Y-here.Y)
			total, load = total+leg, load+c.Demand
			if now = max(now+leg, c.Ready); now > c.Due+1e-9 {
				t.Errorf("customer %d is reached at %v", number, now)
			}
			now, here = now+c.Service, c
		}
		home := math.Hypot(here.X-instance.Depot.X, here.Y-instance.Depot.Y)
		if total += home; now+home > instance.Depot.Due+1e-9 || load > instance.Capacity {
			t.Errorf("%v: back at %v with %v", visits, now+home, load)
		}
	}
	if len(at) != 0 || got.Vehicles != len(got.Routes) || math.Abs(total-got.Distance) > 1e-9 {
		t.Errorf("%d not visited; %d vehicles, %v; driven %v", len(at), got.Vehicles, got.Distance, total)
	}
}

func TestRouteSolveNamesTheCustomerWhoCannotBeServed(t *testing.T) {
	for name, c := range map[string]struct{ from, to, want string }{
		"too heavy":   {"7 3 4 6", "7 3 4 60", "customer 7 "},
		"too far":     {"9 0 5 4 0 50", "9 0 5 4 0 4", "customer 9 "},
		"no way back": {"9 0 5 4 0 50 5", "9 0 5 4 0 50 95", "customer 9 "},
		"no vehicle":  {"1 10", "0 10", "customer 7 "},
		"no room":     {"9 0 5 4", "9 0 5 5", "customer "},
	} {
		text := strings.Replace(lone, c.from, c.to, 1)
		out, complaint, code := lintel(t, nil, "route", "solve", writeFile(t, "two.txt", text), "--iterations", "50")
		if code != 1 || out != "" || strings.Count(complaint, "\n") != 1 || !strings.Contains(complaint, "infeasible: ") || !strings.Contains(complaint, c.want) {
			t.Errorf("%s: %d %q %q", name, code, out, complaint)
		}
	}
}

func TestRouteSolveRefusesInOneLine(t *testing.T) {
	good := writeFile(t, "two.txt", lone)
	for name, c := range map[string]struct {
		args []string
		want string
	}{
		"a word":            {[]string{writeFile(t, "word.txt", strings.Replace(lone, "7 3 4", "7 three 4", 1)), "--iterations", "5"}, "line 8: customer 7: x"},
		"nothing":           {[]string{writeFile(t, "empty.txt", ""), "--iterations", "5"}, "line 1: "},
		"no file":           {[]string{"there-is-none.txt", "--iterations", "5"}, "there-is-none.txt"},
		"no budget":         {[]string{good}, "--seconds or --iterations"},
		"two budgets":       {[]string{good, "--iterations", "5", "--seconds", "1"}, "--seconds or --iterations"},
		"backwards":         {[]string{good, "--iterations=-5"}, "--iterations"},
		"no time":           {[]string{good, "--seconds=-1"}, "--seconds"},
		"no step":           {[]string{good, "--iterations", "0"}, "--iterations: must be at least 1"},
		"no second":         {[]string{good, "--seconds", "0"}, "--seconds: must be above 0"},
		"nothing and steps": {[]string{good, "--seconds", "0", "--iterations", "5"}, "--seconds or --iterations"},
		"a folder":          {[]string{filepath.Dir(good), "--iterations", "5"}, "is a folder; name a file\n"},
		"no number":         {[]string{good, "--seconds", "NaN"}, "--seconds"},
		"other format":      {[]string{good, "--format", "csv", "--iterations", "5"}, "--format"},
	} {
		out, complaint, code := lintel(t, nil, append([]string{"route", "solve"}, c.args...)...)
		if code != 2 || out != "" || strings.Count(complaint, "\n") != 1 || !strings.Contains(complaint, c.want) {
			t.Errorf("%s: %d %q %q", name, code, out, complaint)
		}
	}
}
