package report

import (
	"bytes"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// Read back from the file in millimetres of paper: a drawing measured with a
// ruler gives what was recorded.
func TestAnElevationIsToScale(t *testing.T) {
	in := swingPlan()
	s, err := elevationScene(words(t), in, 190, 150)
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := WriteSVG(&out, s); err != nil {
		t.Fatal(err)
	}
	number := func(pattern string) []float64 {
		t.Helper()
		found := regexp.MustCompile(pattern).FindStringSubmatch(out.String())
		if found == nil {
			t.Fatalf("nothing like %s in the drawing", pattern)
		}
		var list []float64
		for _, f := range found[1:] {
			v, err := strconv.ParseFloat(f, 64)
			if err != nil {
				t.Fatal(err)
			}
			list = append(list, v)
		}
		return list
	}
	ring := number(`<circle cx="([\d.]+)" cy="([\d.]+)" r="1.8" fill="none"`)
	axis := number(`<path d="M([\d.]+) ([\d.]+)L([\d.]+) ([\d.]+)" fill="none" stroke="[^"]*" stroke-width="0.18" stroke-dasharray="1.6 0.7"`)
	paper := func(m float64) float64 { return m * 1000 / s.Denominator }
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"mounting height above the foot of the axis", axis[3] - ring[1], paper(2.2)},
		{"reach of the axis from the sensor", axis[2] - ring[0], paper(1.5 - 0.16)},
	} {
		if math.Abs(c.got-c.want) > 0.002 {
			t.Errorf("%s: %.3f mm on paper at 1:%g, want %.3f", c.what, c.got, s.Denominator, c.want)
		}
	}
	for _, unit := range []string{"width", "height"} {
		size := number(`<svg [^>]*` + unit + `="([\d.]+)mm"`)[0]
		box := number(`viewBox="0 0 ([\d.]+) ([\d.]+)"`)
		if want := box[map[string]int{"width": 0, "height": 1}[unit]]; size != want {
			t.Errorf("a unit of the drawing is not a millimetre of paper: %s %v mm for %v", unit, size, want)
		}
	}
}

func TestEachNumberOfADrawingIsInItsWords(t *testing.T) {
	length := regexp.MustCompile(`([\d.]+ m|\d+ ft [\d¼½¾]+ in|[\d¼½¾]+ in|\d+ ft)$`)
	for _, u := range []Units{Metric, US} {
		in := swingPlan()
		in.Units = u
		in.Spots = append(in.Spots, PlanSpot{XM: 0, YM: 0.4, DiameterM: 0.9})
		scenes, err := sideScenes(words(t), in, 190, 150)
		if err != nil {
			t.Fatal(err)
		}
		if len(scenes) != 2 {
			t.Fatalf("%d drawings, want a plan and an elevation", len(scenes))
		}
		for _, s := range scenes {
			n := 0
			for _, sh := range s.Shapes {
				text := ""
				switch sh := sh.(type) {
				case *Dimension:
					text = sh.Label
				case *Text:
					text = sh.String
				}
				value := length.FindString(text)
				// The ends of scale bars are no measurements.
				if value == "" || value == text && (strings.HasPrefix(value, "2 m") || strings.HasSuffix(value, " ft")) {
					continue
				}
				n++
				if !strings.Contains(s.Desc, value) {
					t.Errorf("%s: %q is drawn and not said in %q", s.Title, text, s.Desc)
				}
			}
			if n < 5 {
				t.Errorf("%s: only %d numbers were looked for", s.Title, n)
			}
		}
	}
}

func TestAnElevationSaysWhatItLacks(t *testing.T) {
	none, err := elevationScene(words(t), PlanDrawing{Title: "Side B"}, 190, 150)
	if err != nil || none != nil {
		t.Errorf("a side without sensors has the elevation %v, %v", none, err)
	}
	s, err := elevationScene(words(t), PlanDrawing{Title: "Side B", Sensors: []PlanSensor{
		{Name: "one", Missing: "height"}, {Name: "two", Placed: true, HeightM: ptr(2.0), Field: &PlanField{ModelVersion: "7"}}}}, 190, 150)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"leaf height not recorded", "height or offset is not recorded", "missing: height", "Nothing on this plane is watched", "Field model 7", "verify by a walk test"} {
		if !strings.Contains(s.Desc, want) {
			t.Errorf("%q is not said in %q", want, s.Desc)
		}
	}
	in := swingPlan()
	in.Sensors[0].HeightM = ptr(math.NaN())
	if _, err := elevationScene(words(t), in, 190, 150); err == nil || !strings.Contains(err.Error(), "sensors[0].height_m") {
		t.Errorf("a height that is no number: %v", err)
	}
}
