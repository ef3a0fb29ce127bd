package main

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
)

const (
	depot  = "01950000-0000-7000-8000-000000000001"
	arcade = "01950000-0000-7000-8000-000000000002"
)

func TestMeasuredWaysAreReadLineByLine(t *testing.T) {
	ways, err := readWays(strings.NewReader("from,to,minutes,kilometres\n" + depot + ", " + arcade + ", 12.5, 9.75\n"))
	if err != nil {
		t.Fatal(err)
	}
	if minutes, km, ok := ways(uuid.MustParse(depot), uuid.MustParse(arcade)); !ok || minutes != 12.5 || km != 9.75 {
		t.Errorf("%v min, %v km, %v", minutes, km, ok)
	}
	if _, _, ok := ways(uuid.MustParse(arcade), uuid.MustParse(depot)); ok {
		t.Error("the way back was not measured")
	}
	for text, want := range map[string]string{
		depot + "," + arcade + ",12\n":        "wrong number of fields",
		depot + "," + arcade + ",-1,2\n":      "line 1: from and to are ids",
		"here," + arcade + ",1,2\n":           "line 1: from and to are ids",
		depot + "," + arcade + ",1,NaN\n":     "line 1: from and to are ids",
		"from,to,minutes,kilometres\na,b,1,2": "line 2: from and to are ids",
	} {
		if _, err := readWays(strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

// The members are those of the answer of OSRM's table service, an open interface: durations in seconds, distances in metres, null where there is no way.
func TestATableOfDurationsAndDistancesIsRead(t *testing.T) {
	places := []fleet.RoutePlace{{ID: uuid.MustParse(depot)}, {ID: uuid.MustParse(arcade)}}
	ways, err := readTable(strings.NewReader(`{"code":"Ok","durations":[[0,750],[null,0]],"distances":[[0,9750],[9800,0]],"sources":[]}`), places)
	if err != nil {
		t.Fatal(err)
	}
	if minutes, km, ok := ways(places[0].ID, places[1].ID); !ok || minutes != 12.5 || km != 9.75 {
		t.Errorf("%v min, %v km, %v", minutes, km, ok)
	}
	if _, _, ok := ways(places[1].ID, places[0].ID); ok {
		t.Error("a null is no way")
	}
	for text, want := range map[string]string{
		`{}`: "must have 2 rows",
		`{"durations":[[0],[0]],"distances":[[0,1],[1,0]]}`:      "has not 2 columns",
		`{"durations":[[0,-1],[1,0]],"distances":[[0,1],[1,0]]}`: "row 1, column 2",
		`[`: "unexpected EOF",
	} {
		if _, err := readTable(strings.NewReader(text), places); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", text, err, want)
		}
	}
}

func FuzzWays(f *testing.F) {
	f.Add(depot + "," + arcade + ",12,3\n")
	f.Add(`{"durations":[[0,750],[null,0]],"distances":[[0,9750],[9800,0]]}`)
	places := []fleet.RoutePlace{{ID: uuid.MustParse(depot)}, {ID: uuid.MustParse(arcade)}}
	f.Fuzz(func(t *testing.T, text string) {
		for _, read := range []func() (fleet.Ways, error){
			func() (fleet.Ways, error) { return readWays(strings.NewReader(text)) },
			func() (fleet.Ways, error) { return readTable(strings.NewReader(text), places) },
		} {
			ways, err := read()
			if err != nil {
				continue
			}
			if minutes, km, ok := ways(places[0].ID, places[1].ID); ok && !(minutes >= 0 && km >= 0 && minutes < 1e6 && km < 1e6) {
				t.Fatal(fmt.Sprint(minutes, km))
			}
		}
	})
}

func TestRoutePlanRefusesWhatMakesNoSense(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"route", "plan", "--from", "tomorrow"}, "lintel: --from: "},
		{[]string{"route", "plan", "--from", "2026-03-02", "--ways", "a", "--table", "b"}, "lintel: give either --ways or --table"},
	} {
		if out, complaint, code := lintel(t, nil, c.args...); code != 2 || out != "" || !strings.HasPrefix(complaint, c.want) || strings.Count(complaint, "\n") != 1 {
			t.Errorf("%v: %d, %q, %q", c.args, code, out, complaint)
		}
	}
}
