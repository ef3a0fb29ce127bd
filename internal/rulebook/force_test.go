package rulebook

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// pulse is a force that is known in closed form: half a sine of 300 N over 0.2 s, then 120 N that fade with a time constant of 1 s.
func pulse(t float64) float64 {
	switch {
	case t < 0:
		return 0
	case t < 0.2:
		return 300 * math.Sin(math.Pi*t/0.2)
	}
	return 120 * math.Exp(-(t - 0.2))
}

// written is the pulse as a gauge writes it, each millisecond from 0.1 s before the contact to so many seconds after.
func written(head, row string, untilS, perS, perN float64, comma bool) string {
	var b strings.Builder
	b.WriteString(head)
	for i := -100; i <= int(untilS*1000); i++ {
		s := float64(i) / 1000
		line := fmt.Sprintf(row, (s+0.1)/perS, pulse(s)/perN)
		if comma {
			line = strings.ReplaceAll(line, ".", ",")
		}
		b.WriteString(line)
	}
	return b.String()
}

func TestAGaugesFileIsReadHoweverItIsWritten(t *testing.T) {
	for name, text := range map[string]string{
		"bare, commas":                  written("", "%.4f,%.6f\n", 2, 1, 1, false),
		"heading, tabs":                 written("time [s]\tforce [N]\n", "%.4f\t%.6f\n", 2, 1, 1, false),
		"semicolons, decimal commas":    written("\ufeffZeit [ms];Kraft [N]\r\n", "%.2f;%.6f\r\n", 2, 0.001, 1, true),
		"pounds":                        written("time_s,force_lbf\n", "%.4f,%.8f\n", 2, 1, 4.4482216152605, false),
		"kilograms of force":            written("Time (s);Force (kgf)\n", "%.4f;%.8f\n", 2, 1, 9.80665, false),
		"units alone":                   written("ms;N\n", "%.2f;%.6f\n", 2, 0.001, 1, false),
		"force first":                   written("Force [N];Time [ms]\n", "%.6[2]f;%.2[1]f\n", 2, 0.001, 1, false),
		"what the gauge says of itself": written("Gauge 7\nNo; 4711\nDate; 2026-11-26\n\ntime;force\n", "%.4f;%.6f;\n", 2, 1, 1, false),
	} {
		series, err := ParseForceSeries([]byte(text))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		c, err := series.Course(nil, nil)
		if err != nil || math.Abs(c.PeakN-300) > 1e-4 || len(series) != 2101 {
			t.Errorf("%s: %+v, %d samples, %v", name, c, len(series), err)
		}
	}
}

// The figures are those of the pulse in closed form: ∫300·sin(πt/0.2) = 120/π N·s, ∫120·e^(−t) = 120·(1 − e^(−1.8)) N·s over the rest of 2 s.
func TestACourseOfWhichEverythingIsKnownComesOutSo(t *testing.T) {
	series, err := ParseForceSeries([]byte(written("", "%.4f,%.9f\n", 2, 1, 1, false)))
	if err != nil {
		t.Fatal(err)
	}
	limits := ForceLimits{PeakN: 150, StaticN: 60, StaticFromS: 0.75, RestN: 25, RestFromS: 5}
	u := 3.0
	c, err := series.Course(&limits, &u)
	if err != nil {
		t.Fatal(err)
	}
	contact := 0.2 / math.Pi * math.Asin(10.0/300) // where the sine reaches 10 N
	// above 150 N: the middle two thirds of the sine; above 60 N from 0.75 s on: until 120·e^(−t') = 60
	above := 0.2*2/3 + (0.2 + math.Log(2) - (contact + 0.75))
	for name, got := range map[string][3]float64{
		"contact": {c.ContactAtS, 0.1 + contact, 1e-5},
		"peak":    {c.PeakN, 300, 1e-6},
		"when":    {c.PeakAfterS, 0.1 - contact, 1e-5},
		"0.75 s":  {*c.At075N, 120 * math.Exp(-(contact + 0.55)), 0.01},
		"static":  {*c.StaticN, 120 * math.Exp(-(contact + 0.55)), 0.01},
		"impulse": {c.ImpulseNs, 120/math.Pi + 120*(1-math.Exp(-1.8)) - contact*5, 0.08}, // less what came before 10 N; the jump at 0.2 s is a millisecond wide, 0.06 N·s
		"lasts":   {c.LastsS, 2 - contact, 1e-5},
		"above":   {*c.AboveS, above, 0.0031},
		"from":    {*c.AboveFromS, 0.2/6 - contact, 0.0011},
		"by":      {*c.AboveByN, 150, 0.05},
	} {
		if math.Abs(got[0]-got[1]) > got[2] {
			t.Errorf("%s: %g, want %g", name, got[0], got[1])
		}
	}
	used := c.Readings(Place{Leaf: 2})
	if len(used) != 2 || used[0].Name != "peak_force_n" || *used[0].Number != c.PeakN || *used[1].Uncertainty != 3 || used[1].Leaf != 2 || CheckReading(used[1].Name, used[1].Reading) != nil {
		t.Errorf("%+v", used)
	}
}

func TestARecordThatEndsEarlyHasNoStaticForce(t *testing.T) {
	series, err := ParseForceSeries([]byte(written("", "%.4f,%.6f\n", 0.5, 1, 1, false)))
	if err != nil {
		t.Fatal(err)
	}
	if c, err := series.Course(nil, nil); err != nil || c.StaticN != nil || c.At075N != nil || len(c.Readings(Place{})) != 1 {
		t.Errorf("%+v %v", c, err)
	}
	if _, err := (ForceSeries{{0, 1}, {0.01, 2}, {0.02, 1}}).Course(nil, nil); err == nil {
		t.Error("no contact, no complaint")
	}
}

// EN 16005 Table 1 as remembered (bands uncertain): 400 N to 200 mm, 700 N to 500 mm, 1400 N above; 150 N after 0.75 s, 25 N after 5 s.
func TestTheLimitFallsWithTimeAndGoesByTheGap(t *testing.T) {
	for gap, want := range map[float64]float64{0.05: 400, 0.2: 400, 0.3: 700, 0.5: 700, 0.51: 1400} {
		l := ForceLimitsInGap(gap)
		if l.at(0) != want || l.at(0.7499) != want || l.at(0.75) != 150 || l.at(4.9) != 150 || l.at(5) != 25 {
			t.Errorf("%g m: %+v", gap, l)
		}
	}
}

func TestABadSeriesIsRefusedWithItsLine(t *testing.T) {
	for name, c := range map[string]struct {
		text string
		line int
		what string
	}{
		"empty":                 {"", 0, "is empty"},
		"words":                 {"a;b\nc;d\n", 0, "0 lines of numbers"},
		"two":                   {"0;1\n0.01;2\n", 0, "2 lines of numbers"},
		"back in time":          {"0;1\n0.01;2\n0.01;3\n", 3, "does not come after"},
		"too coarse":            {"0;1\n0.01;2\n0.1;3\n", 3, "not seen"},
		"a word below":          {"t;F\n0;1\n0.01;x\n", 3, `force: x is no number`},
		"a column missing":      {"0;1\n0.01\n", 2, "has 1 columns"},
		"unknown unit":          {"time [min];force [N]\n0;1\n", 1, "unit min is not known"},
		"unknown unit of force": {"time [s];force [kN]\n0;1\n", 1, `unit "kN" is not known`},
		"decimal commas":        {"0,001,12,5\n0,002,13,5\n", 1, "decimal comma goes with semicolons"},
		"thousands":             {"0;1\n0,01;1.234,5\n", 2, "marks of thousands"},
		"not finite":            {"0;1\n0.01;NaN\n", 2, "no number"},
		"hexadecimal":           {"0;1\n0.01;0x10\n", 2, "no number"},
		"tons":                  {"0;1\n0.01;99999\n", 2, "look at the unit"},
		"a lone quote":          {"0;1\n0.01;\"2\n", 2, "is no CSV"},
		"not UTF-8":             {"t;F\xff\n", 0, "UTF-8"},
		"a picture":             {"\x89PNG\x00", 0, "UTF-8"},
		"no numbers for long":   {strings.Repeat("a;b\n", 40), 31, "no line of numbers"},
		"too long":              {strings.Repeat("0;1\n", 200_000), 0, "longer"},
	} {
		_, err := ParseForceSeries([]byte(c.text))
		wrong := (*ForceError)(nil)
		if !errors.As(err, &wrong) || wrong.Line != c.line || !strings.Contains(wrong.What, c.what) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestTheCourseOfAnySeriesIsInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		series := ForceSeries{{0, 50}}
		for range rapid.IntRange(2, 200).Draw(t, "samples") {
			series = append(series, ForceSample{series[len(series)-1].S + rapid.Float64Range(0.001, coarsestStepS).Draw(t, "step"), rapid.Float64Range(-20, 900).Draw(t, "force")})
		}
		limits := ForceLimitsInGap(rapid.Float64Range(0, 1).Draw(t, "gap"))
		c, err := series.Course(&limits, nil)
		if err != nil {
			t.Fatal(err)
		}
		if c.StaticN != nil && (*c.StaticN > c.PeakN || *c.At075N > *c.StaticN) || *c.AboveS < 0 || *c.AboveS > c.LastsS+0.002 || (*c.AboveS > 0) != (c.AboveFromS != nil) || *c.AboveByN > c.PeakN {
			t.Fatalf("%+v", c)
		}
		for _, s := range series {
			if math.Abs(series.At(s.S)-s.N) > 1e-9 {
				t.Fatalf("at a sample %+v: %g", s, series.At(s.S))
			}
		}
	})
}

func FuzzParseForceSeries(f *testing.F) {
	for _, seed := range []string{"time [s];force [N]\n0;1\n0,01;2,5\n0.02;3\n", "0,1\n0.01,2\n0.02,30\n", "\ufeffms\tlbf\r\n0\t1\r\n1\t2\r\n2\t3\r\n", "t;F\n\"0\";1\n", "a\nb;c\n1;2;3\n"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		series, err := ParseForceSeries(text)
		if wrong := (*ForceError)(nil); err != nil && (!errors.As(err, &wrong) || wrong.What == "" || strings.Contains(wrong.Error(), "\n")) {
			t.Fatalf("%q: %v", text, err)
		}
		if err != nil {
			return
		}
		for i, s := range series[1:] {
			if !(s.S > series[i].S) || math.IsNaN(s.N) || math.Abs(s.N) > mostForceN {
				t.Fatalf("%q: %v", text, series)
			}
		}
		if c, err := series.Course(nil, nil); err == nil && (math.IsNaN(c.ContactAtS) || math.IsInf(c.PeakN, 0) || c.LastsS < 0) {
			t.Fatalf("%q: %+v", text, c)
		}
	})
}
