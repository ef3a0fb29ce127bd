package advice

import (
	"math"
	"strings"
	"testing"

	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/words"
)

// means are three ways to tell of somebody who stands; all figures are invented.
func means() []Means {
	is := field.Sensing{Purpose: field.Presence, StillS: math.Inf(1)}
	grid := func(m field.Mount) (field.Volume, error) {
		g := field.SpotGrid{Sensing: is, Mount: m, Rows: 5, Columns: 9, RowStepDeg: 5, ColumnStepDeg: 5, DivergenceDeg: 4, RangeM: 5, DetectionShare: 0.1}
		return g, g.Validate()
	}
	mat := func(m field.Mount) (field.Volume, error) {
		f := field.Mat{Sensing: is, X0M: m.OffsetXM - 0.5, X1M: m.OffsetXM + 0.5, Y0M: m.OffsetYM, Y1M: m.OffsetYM + 0.6}
		return f, f.Validate()
	}
	tilts := []float64{0, 5, 10, 15, 20, 25}
	return []Means{{Name: "grid", TiltDeg: tilts, Volume: grid}, {Name: "grid on the leaf", TiltDeg: tilts, OnLeaf: true, Volume: grid}, {Name: "mat", OnFloor: true, Volume: mat}}
}

func standingQuestion(leaves []Leaf) Question {
	models, accessories := catalogue()
	o := Opening{Name: "inside", Opening: field.Opening{ClearWidthM: 1, OpeningTimeS: 2}, Header: Place{HeightM: 2.3, OffsetYM: 0.1}, Leaves: leaves,
		Standing: []Zone{{"where somebody may stand", field.Zone{X0M: -0.4, X1M: 0.4, Y0M: 0.1, Y1M: 0.9, BodyHeightM: 0.71, Purpose: field.Presence, StillS: 30}}}}
	return Question{Openings: []Opening{o}, Models: models, Accessories: accessories, Means: means()}
}

// Common practice, no source: where the leaf comes towards somebody, a sensor for those who stand is fixed to the leaf; one above the door sees the leaf pass. Its twin: where the leaf
// goes the other way, the one above the door does.
func TestOnTheSideTowardsWhichALeafComesTheSensorIsOnTheLeaf(t *testing.T) {
	towards := Leaf{Name: "own", Surface: field.SwingLeaf{HingeXM: -0.5, TowardsX: 1, WidthM: 1, HeightM: 2.1, OpensToDeg: 90}}
	q := standingQuestion([]Leaf{towards})
	list := q.watchers()
	if len(list) != 3 || list[0].Model != "grid on the leaf" || !list[0].Holds {
		t.Fatalf("%+v", list)
	}
	for _, w := range list {
		c := w.Checks[0]
		switch w.Model {
		case "grid":
			if c.Holds || c.FromDeg < 0.4 || c.ToDeg < 80 {
				t.Errorf("above the door it sees the leaf nearly all the way: %+v", c)
			}
		default:
			if !c.Holds {
				t.Errorf("%s sees the leaf: %+v", w.Model, c)
			}
		}
	}
	q = standingQuestion(nil)
	if list := q.watchers(); list[0].Model != "grid" || !list[0].Holds || len(list) != 2 {
		t.Fatalf("without a leaf on this side: %+v", list)
	}
	masked := towards
	masked.Inhibited = true
	q = standingQuestion([]Leaf{masked})
	for _, w := range q.watchers() {
		if w.Model == "grid" && (!w.Holds || !w.Checks[0].Masked) {
			t.Errorf("the control ignores it meanwhile: %+v", w)
		}
	}
}

func TestWhatWatchesThoseWhoStandIsToldWithItsNumbers(t *testing.T) {
	catalogue, err := words.Load()
	if err != nil {
		t.Fatal(err)
	}
	q := standingQuestion([]Leaf{{Name: "own", Surface: field.SwingLeaf{HingeXM: -0.5, TowardsX: 1, WidthM: 1, HeightM: 2.1, OpensToDeg: 90}}})
	told := ""
	for _, s := range Tell(catalogue.Printer("en", words.Metric), Answer{Presence: q.watchers()}) {
		told += s.Heading + "\n" + strings.Join(s.Sentences, "\n") + "\n"
	}
	for _, want := range []string{"What watches the zones in which somebody may stand", "1. grid on the leaf, inside, on the leaf “own” at 2.00 m, moving with it", "on the floor before the door", "It is seen between 2.5° and 89.5° of its opening.", "NOT MET: Zone “where somebody may stand”"} {
		if !strings.Contains(told, want) {
			t.Errorf("lacks %q:\n%s", want, told)
		}
	}
	t.Log(told)
}
