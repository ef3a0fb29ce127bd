package advice

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"lintel.example/lintel/internal/field"
)

// The antennas of field-model's worked examples: a narrow and a wide one of a generic 24 GHz sensor. Their mechanical and settings steps are invented.
func catalogue() ([]Model, []Accessory) {
	steps := func(from, to, by float64) (list []float64) {
		for v := from; v <= to+1e-9; v += by {
			list = append(list, v)
		}
		return list
	}
	edge := 75.0
	model := Model{Name: "generic", FrequencyHz: 24.125e9, LeastSpeedMps: 0.1, LatencyS: 0.05,
		Antennas: []Antenna{{"narrow", field.Antenna{AzimuthBeamwidthDeg: 29, ElevationBeamwidthDeg: 36, AttenuationLimitDB: 25, BoresightRangeM: 6}},
			{"wide", field.Antenna{AzimuthBeamwidthDeg: 58, ElevationBeamwidthDeg: 29, AttenuationLimitDB: 25, BoresightRangeM: 6}}},
		TiltDeg: steps(6, 48, 6), ReachDB: steps(-12, 0, 2), ConfirmTravelM: []float64{0, 0.1, 0.2, 0.4}, Direction: []field.Direction{field.Approaching}}
	return []Model{model}, []Accessory{
		{Accessory: field.Spacer(0.1), ShakeShare: 0.2},
		{Accessory: field.ExtensionArm(0.9), ShakeShare: 1.5},
		{Accessory: field.Accessory{Name: "ceiling recess", EdgeAngleDeg: &edge}, IntoCeiling: true},
		{Accessory: field.RainHood(60, 0.5)},
	}
}

func bodies() (list []field.Body) {
	b, _ := field.BodyNamed("walker")
	return []field.Body{b}
}

func (a Answer) String() string {
	var s strings.Builder
	fmt.Fprintf(&s, "%d candidates, %d in full\n", a.Candidates, a.InFull)
	for i, r := range a.Ranked {
		fmt.Fprintf(&s, "%d. %s %s %v tilt %g reach %g confirm %g: %.2f s in hand, %.3f disturbed, behind %+v\n", i+1, r.Opening, r.Antenna, r.Accessories, r.TiltDeg, r.ReachDB, r.ConfirmTravelM, r.InHandS, r.Disturbance, r.Behind)
	}
	for _, r := range a.Rejected {
		fmt.Fprintf(&s, "no: %s %s %v at %.1f, %d candidates, %+v %s\n", r.Opening, r.Antenna, r.Accessories, r.Place.OffsetYM, r.Candidates, r.Failed, r.Contradiction)
	}
	for _, g := range a.GiveUp {
		fmt.Fprintf(&s, "without %+v: %s %v\n", g.Asked, g.First.Antenna, g.First.Accessories)
	}
	return s.String()
}

func plain(name string) Opening {
	o := Opening{Name: name, Opening: field.Opening{ClearWidthM: 1.0, StartDelayS: 0.1, OpeningTimeS: 1.2}, Header: Place{HeightM: 2.2, OffsetYM: 0.1}, Bodies: bodies()}
	o.Ways = field.Fan(o.Opening)
	o.Required = []Zone{{"activation", field.Zone{X0M: -0.5, X1M: 0.5, Y0M: 0.2, Y1M: 1.1, BodyHeightM: 0.71}}}
	return o
}

// first is the best, or an empty candidate.
func (a Answer) first() (c Candidate) {
	if len(a.Ranked) > 0 {
		c = a.Ranked[0].Candidate
	}
	return c
}

func (c Candidate) with(accessory string) bool {
	for _, a := range c.Accessories {
		if a == accessory {
			return true
		}
	}
	return false
}

// The cases of the trade are common practice, no source; the numbers of each are invented. Each comes with its twin, in which the same
// search on another geometry says the opposite.
func ask(o ...Opening) Answer {
	models, accessories := catalogue()
	return Advise(Question{Openings: o, Models: models, Accessories: accessories})
}

// askIn asks with a device that has other steps of the travel to confirm.
func askIn(confirmM []float64, o Opening) Answer {
	models, accessories := catalogue()
	models[0].ConfirmTravelM = confirmM
	return Advise(Question{Openings: []Opening{o}, Models: models, Accessories: accessories})
}

// sweeping is an opening whose leaf comes towards the side, with a ceiling over it.
func sweeping() Opening {
	ceiling := 2.6
	o := plain("where the leaf comes")
	o.EdgeM, o.OpeningTimeS = 1.0, 0.9
	o.Ways = field.Fan(o.Opening)[:1]
	o.CeilingM, o.CutOutsM = &ceiling, []float64{1.2, 1.6, 2.0}
	o.Leaves = []Leaf{{Name: "own", Surface: field.SwingLeaf{HingeXM: -0.5, TowardsX: 1, WidthM: 1, HeightM: 2.1, OpensToDeg: 90}}}
	o.Required[0].Zone.Y0M, o.Required[0].Zone.Y1M = 1.1, 2.0
	return o
}

func TestWhereTheLeafComesTheHeaderLosesToTheOtherSideTheCeilingAndTheArm(t *testing.T) {
	ranked := func(a Answer, of func(Candidate) bool) bool {
		t.Log(a)
		for _, r := range a.Ranked {
			if r.Opening == "where the leaf comes" && len(r.Accessories) == 0 {
				t.Errorf("the header there is ranked: %+v", r.Candidate)
			}
		}
		return len(a.Ranked) > 0 && of(a.first())
	}
	short := sweeping()
	short.CeilingM = nil
	if !ranked(ask(short, plain("the other side")), func(c Candidate) bool { return c.Opening == "the other side" }) {
		t.Error("it does not lose to the other side")
	}
	if !ranked(ask(sweeping()), func(c Candidate) bool { return c.with("ceiling recess") }) {
		t.Error("it does not lose to the ceiling")
	}
	short.EdgeM, short.Required[0].Zone.Y0M, short.Required[0].Zone.X0M, short.Required[0].Zone.X1M = 0.6, 0.9, -0.3, 0.3
	short.Leaves = []Leaf{{Name: "own", Surface: field.SwingLeaf{HingeXM: -0.3, TowardsX: 1, WidthM: 0.6, HeightM: 2.0, OpensToDeg: 90}}}
	short.Ways = field.Fan(short.Opening)[:1]
	if !ranked(ask(short), func(c Candidate) bool { return c.with("extension arm") }) {
		t.Error("it does not lose to an arm beyond the sweep")
	}
}

func TestWhereTheLeafStaysOutsideTheFieldTheHeaderWins(t *testing.T) {
	o := sweeping()
	// a short leaf that stands far aside: no part of it comes into a field that covers the zone
	o.Leaves[0].Surface = field.SwingLeaf{HingeXM: -3.2, TowardsX: -1, WidthM: 1, HeightM: 2.1, OpensToDeg: 90}
	a := ask(o)
	t.Log(a)
	if len(a.Ranked) == 0 || len(a.first().Accessories) > 0 {
		t.Errorf("first is %+v", a.first())
	}
}

// corridor is an opening at the side of a corridor, in which people walk past between two distances from the door, and come to it straight.
func corridor(from, to float64) Opening {
	o := plain("corridor")
	o.Ways = o.Ways[:1]
	o.KeptClear = []Zone{{"traffic", field.Zone{X0M: -3, X1M: 3, Y0M: from, Y1M: to, BodyHeightM: 1.7}}}
	return o
}

func TestACorridorGetsTheNarrowAntenna(t *testing.T) {
	a := ask(corridor(1.6, 2.6))
	t.Log(a)
	if a.first().Antenna != "narrow" {
		t.Errorf("first is %+v", a.first())
	}
}

func TestInACorridorWideEnoughTheNarrowAntennaLoses(t *testing.T) {
	o := corridor(5, 6)
	o.Ways = field.Fan(o.Opening)
	a := ask(o)
	t.Log(a)
	if a.first().Antenna != "wide" {
		t.Errorf("first is %+v", a.first())
	}
}

func TestDoorsSideBySideGetTheNarrowAntenna(t *testing.T) {
	o := plain("one of two")
	o.Ways = o.Ways[:1]
	o.KeptClear = []Zone{{"before the next door", field.Zone{X0M: 1.0, X1M: 2.4, Y0M: 0.2, Y1M: 4, BodyHeightM: 1.7}}}
	a := ask(o)
	t.Log(a)
	if a.first().Antenna != "narrow" {
		t.Errorf("first is %+v", a.first())
	}
	o.KeptClear[0].X0M, o.KeptClear[0].X1M = 5, 6.4 // the twin: the next door is far enough away, and people come along the wall as well
	o.Ways = field.Fan(o.Opening)
	if a = ask(o); a.first().Antenna != "wide" {
		t.Errorf("with the next door far away, first is %+v\n%v", a.first(), a)
	}
}

func TestAnEntranceWithTrafficFromTheSidesGetsTheWideAntenna(t *testing.T) {
	a := ask(plain("entrance"))
	t.Log(a)
	if a.first().Antenna != "wide" {
		t.Errorf("first is %+v", a.first())
	}
	o := plain("entrance between rails") // the twin: everybody comes straight, and others walk past
	o.Ways = o.Ways[:1]
	o.KeptClear = []Zone{{"pavement", field.Zone{X0M: -3, X1M: 3, Y0M: 1.6, Y1M: 2.6, BodyHeightM: 1.7}}}
	if a = ask(o); a.first().Antenna != "narrow" {
		t.Errorf("between rails, first is %+v\n%v", a.first(), a)
	}
}

func TestAnExposedEntranceGetsTheHoodAndMoreToConfirm(t *testing.T) {
	o := plain("exposed")
	o.Ways, o.OpeningTimeS = o.Ways[:1], 3.7 // no time to lose
	steps := []float64{0, 0.03, 0.3}
	indoors := askIn(steps, o)
	o.Blown = field.Weather()
	a := askIn(steps, o)
	t.Log(a)
	if !a.first().with("rain hood") || a.first().ConfirmTravelM <= indoors.first().ConfirmTravelM {
		t.Errorf("exposed, first is %+v; indoors %+v\n%v", a.first(), indoors.first(), indoors)
	}
	if len(indoors.Ranked) == 0 || indoors.first().with("rain hood") {
		t.Errorf("indoors, first is %+v", indoors.first())
	}
	o.OpeningTimeS = 1 // the twin: with time in hand more to confirm does it alone
	if a = askIn(steps, o); len(a.Ranked) == 0 || a.first().with("rain hood") || a.first().ConfirmTravelM != 0.3 {
		t.Errorf("with time in hand, first is %+v\n%v", a.first(), a)
	}
}

func TestAShakingHeaderGetsTheSpacer(t *testing.T) {
	o := plain("shaking")
	o.OpeningTimeS = 2.0 // no time to lose
	still := ask(o)
	o.Shake = &field.Shake{AmplitudeM: 0.002, FrequencyHz: 25, Along: field.Point{Y: 1}}
	a := ask(o)
	t.Log(a)
	if !a.first().with("spacer") || len(still.Ranked) == 0 || still.first().with("spacer") {
		t.Errorf("shaking, first is %+v; still, %+v", a.first(), still.first())
	}
	o.OpeningTimeS = 0.6 // the twin: with time in hand more to confirm does it, without a part
	if a = ask(o); a.first().with("spacer") || a.first().ConfirmTravelM == 0 {
		t.Errorf("with time in hand, first is %+v\n%v", a.first(), a)
	}
}

// What each of them says must follow from the openings alone: the code may know no kind of door and no symptom.
func TestTheAdviceNamesNoKindOfDoorAndNoSymptom(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil || len(files) < 4 {
		t.Fatal(files, err)
	}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") || name == "request.go" { // which reads how leaves move: geometry by its types' names
			continue
		}
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, word := range []string{"swing", "slid", "fold", "revolv", "egress", "corridor", "re-open", "reopen", "stays open", "opens late", "rain", "vestibule"} {
			if strings.Contains(strings.ToLower(string(text)), word) {
				t.Errorf("%s says %q", name, word)
			}
		}
	}
}

func TestWhenNothingFitsItIsSaidWhatToGiveUp(t *testing.T) {
	o := plain("impossible")
	o.Leaves = []Leaf{{Name: "own", Surface: field.SwingLeaf{HingeXM: -0.5, TowardsX: 1, WidthM: 1, HeightM: 2.1, OpensToDeg: 90}}}
	a := ask(o)
	t.Log(a)
	if len(a.Ranked) > 0 || len(a.GiveUp) == 0 || a.GiveUp[0].Asked != (Asked{LeafUnseen, "own"}) {
		t.Errorf("%+v", a.GiveUp)
	}
	o.Leaves[0].Inhibited = true // the twin: the control ignores the device while the leaf moves
	if a = ask(o); len(a.Ranked) == 0 || !a.Ranked[0].Checks[0].Masked {
		t.Errorf("inhibited: %v", a)
	}
}

func BenchmarkAdvise(b *testing.B) {
	models, accessories := catalogue()
	ceiling := 2.6
	o := plain("entrance")
	o.CeilingM, o.CutOutsM = &ceiling, []float64{0.6, 1.2}
	o.KeptClear = []Zone{{"traffic", field.Zone{X0M: -3, X1M: 3, Y0M: 2.6, Y1M: 3.6, BodyHeightM: 1.7}}}
	q := Question{Openings: []Opening{o}, Models: models, Accessories: accessories}
	n := 0
	for b.Loop() {
		a := Advise(q)
		n = a.Candidates
	}
	b.ReportMetric(float64(n), "candidates")
}
