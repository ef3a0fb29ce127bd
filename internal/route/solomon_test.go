package route

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
)

// instance is one of the six of the benchmark that are kept here, with the best that is known of it: least vehicles first.
type instance struct {
	Solomon
	vehicles int
	distance float64
}

func instances(t testing.TB) []instance {
	t.Helper()
	f, err := os.Open("testdata/best-known.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var all []instance
	for _, row := range rows[1:] {
		in, err := os.Open(filepath.Join("testdata", row[0]+".txt"))
		if err != nil {
			t.Fatal(err)
		}
		s, err := ReadSolomon(in)
		in.Close()
		if err != nil {
			t.Fatalf("%s: %v", row[0], err)
		}
		vehicles, err1 := strconv.Atoi(row[1])
		distance, err2 := strconv.ParseFloat(row[2], 64)
		if err1 != nil || err2 != nil || s.Name != row[0] || len(s.Customers) != 100 {
			t.Fatalf("%v: %v %v %s %d", row, err1, err2, s.Name, len(s.Customers))
		}
		all = append(all, instance{s, vehicles, distance})
	}
	if len(all) != 6 {
		t.Fatalf("%d instances", len(all))
	}
	return all
}

func TestAFewThousandStepsComeNearTheBestKnown(t *testing.T) {
	for _, in := range instances(t) {
		p := in.Problem()
		plan := Solve(p, 1, Steps(20_000))
		if err := verify(p, plan); err != nil || len(plan.Left) > 0 {
			t.Errorf("%s: %v, left out %v", in.Name, err, plan.Left)
		}
		t.Logf("%s: %d %.2f, best known %d %.2f (%+.2f %%)", in.Name, plan.Used, plan.Distance, in.vehicles, in.distance, 100*(plan.Distance/in.distance-1))
		if plan.Used > in.vehicles+1 || math.IsNaN(plan.Distance) || plan.Distance > in.distance*1.1 {
			t.Errorf("%s", in.Name)
		}
	}
}

const tiny = `tiny

VEHICLE
NUMBER     CAPACITY
   2         10

CUSTOMER
CUST NO.  XCOORD.   YCOORD.   DEMAND   READY TIME  DUE DATE   SERVICE TIME

    0       0         0         0          0       100          0
    7       3         4         6         10        20          5
    9      -3         4.5       6          0        20          5
`

func TestAnInstanceIsReadAsItStands(t *testing.T) {
	for _, text := range []string{tiny, strings.ReplaceAll(tiny, "\n", "\r\n")} {
		s, err := ReadSolomon(strings.NewReader(text))
		want := Solomon{Name: "tiny", Vehicles: 2, Capacity: 10, Depot: Customer{Due: 100},
			Customers: []Customer{{7, 3, 4, 6, 10, 20, 5}, {9, -3, 4.5, 6, 0, 20, 5}}}
		if err != nil || !reflect.DeepEqual(s, want) {
			t.Errorf("%v %+v", err, s)
		}
	}
}

func TestWhatIsWrongWithAnInstanceIsSaidWithItsLine(t *testing.T) {
	for _, c := range []struct{ from, to, want string }{
		{tiny, "", "line 1: "},
		{"VEHICLE", "LORRY", "line 3: VEHICLE"},
		{"NUMBER ", "COUNT ", "line 4: NUMBER"},
		{"2         10", "2", "line 5: "},
		{"2         10", "2.5 10", "line 5: number of vehicles"},
		{"2         10", "2 -1", "line 5: capacity"},
		{"CUST NO.", "NO.", "line 8: CUST"},
		{"0       0  ", "1       0  ", "line 10: the first row is the depot"},
		{"100          0", "100          1", "line 10: the depot"},
		{"7       3", "7       x", "line 11: customer 7: x"},
		{"7       3", "7       NaN", "line 11: customer 7: x"},
		{"7       3", "7       1_0", "line 11: customer 7: x"},
		{"7       3", "7       0x1p4", "line 11: customer 7: x"},
		{"7       3", "9       3", "line 12: customer 9 stands in line 11"},
		{"6         10        20", "6 21 20", "line 11: customer 7: its due date"},
		{"6         10        20", "-6 10 20", "line 11: customer 7: demand"},
		{"20          5\n    9", "20\n    9", "line 11: seven numbers"},
		{"    0       0         0         0          0       100          0\n", "", "line 10: the first row"},
	} {
		text := strings.Replace(tiny, c.from, c.to, 1)
		if text == tiny {
			t.Fatalf("%q does not stand there", c.from)
		}
		if _, err := ReadSolomon(strings.NewReader(text)); err == nil || !strings.HasPrefix(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q for %q: %v, want %s", c.to, c.from, err, c.want)
		}
	}
	head, _, _ := strings.Cut(tiny, "    0 ")
	if _, err := ReadSolomon(strings.NewReader(head)); err == nil || !strings.Contains(err.Error(), "depot") {
		t.Errorf("no rows: %v", err)
	}
}

func FuzzReadSolomon(f *testing.F) {
	f.Add(tiny)
	for _, in := range instances(f)[:1] {
		text, err := os.ReadFile("testdata/" + in.Name + ".txt")
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(text))
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := ReadSolomon(strings.NewReader(text))
		if err != nil {
			if !strings.HasPrefix(err.Error(), "line ") || strings.ContainsAny(err.Error(), "\n\r") {
				t.Errorf("%q", err)
			}
			return
		}
		var b strings.Builder
		fmt.Fprintf(&b, "%s\nVEHICLE\nNUMBER CAPACITY\n%d %v\nCUSTOMER\nCUST\n", s.Name, s.Vehicles, s.Capacity)
		for _, c := range append([]Customer{s.Depot}, s.Customers...) {
			fmt.Fprintln(&b, c.Number, c.X, c.Y, c.Demand, c.Ready, c.Due, c.Service)
		}
		again, err := ReadSolomon(strings.NewReader(b.String()))
		if err != nil || !reflect.DeepEqual(again, s) {
			t.Errorf("%v\n%+v\n%+v", err, s, again)
		}
		if len(s.Customers) > 12 {
			return
		}
		p := s.Problem()
		if p.Check() != nil {
			return
		}
		if err := verify(p, Solve(p, 1, Steps(20))); err != nil {
			t.Error(err)
		}
	})
}

func BenchmarkStep(b *testing.B) {
	for _, in := range instances(b) {
		b.Run(in.Name, func(b *testing.B) {
			p := in.Problem()
			b.ReportAllocs()
			b.ResetTimer()
			Solve(p, 1, Steps(b.N))
		})
	}
}
