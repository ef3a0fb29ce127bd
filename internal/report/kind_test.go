package report

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"lintel.example/lintel/internal/fleet"
)

// everyKind is a side with a device of each way of sensing. What they watch is worked out by hand from where they are.
func everyKind() PlanDrawing {
	in := PlanDrawing{Title: "Side A: every way of sensing", Units: Metric, OpeningM: 1.2, LeafHeightM: 2.1, HeaderDepthM: 0.15,
		Leaves:   []PlanLeaf{{Motion: "slide", JambXM: -0.6, WidthM: 0.6}, {Motion: "slide", JambXM: 0.6, WidthM: 0.6}},
		Required: []PlanZone{{Name: "presence zone", Purpose: "presence", Polygons: Polygons{{rectangle(-0.6, 0, 0.6, 0.9)}}}}}
	radar := PlanSensor{Name: "Ostrava M2, activation", Purpose: "activation", Placed: true, YM: 0.16, HeightM: ptr(2.2), Aim: &[2]float64{0, 1.5},
		Field: &PlanField{WidthM: 1.98, DepthM: 2.2, NearM: 0.2, FarM: 2.4, Polygons: Polygons{{ellipse(0, 1.3, 0.99, 1.1)}}}}
	spots := PlanSensor{Name: "Linger, presence", Purpose: "presence", Sensing: "infrared_presence", Placed: true, XM: 0.04, YM: 0.16, HeightM: ptr(2.2), Aim: &[2]float64{0.04, 0.4},
		Field: &PlanField{WidthM: 1.5, DepthM: 0.5, NearM: 0.15, FarM: 0.65}}
	for row := range 2 {
		for column := range 5 {
			x, y := -0.56+0.3*float64(column), 0.25+0.3*float64(row)
			spots.Field.Polygons = append(spots.Field.Polygons, [][][2]float64{ellipse(x, y, 0.12, 0.1)})
			spots.Field.Rays = append(spots.Field.Rays, [2][3]float64{{0.04, 0.16, 2.2}, {x, y, 0}})
		}
	}
	// A sheet from 2 m straight down, 45° to both sides: on the floor from −2 m to 2 m, and from where a person's foot is, 0.1 m up, from −1.9 m.
	curtain := PlanSensor{Name: "Curtain L, presence", Purpose: "presence", Sensing: "laser_curtain", Placed: true, XM: 0, YM: 0.1, HeightM: ptr(2.0), OnLeaf: true,
		Unfit: []string{"Not counted for “presence zone”: it lets go of somebody who stands after 20 s, and 30 s are asked"},
		Field: &PlanField{WidthM: 3.8, DepthM: 0.02, NearM: 0.09, FarM: 0.11, Polygons: Polygons{{rectangle(-1.9, 0.09, 1.9, 0.11)}},
			Rays: [][2][3]float64{{{0, 0.1, 2}, {-2, 0.1, 0}}, {{0, 0.1, 2}, {0, 0.1, 0}}, {{0, 0.1, 2}, {2, 0.1, 0}}}}}
	beam := PlanSensor{Name: "Beam, presence", Purpose: "presence", Sensing: "beam", Placed: true, XM: -0.6, YM: 0.06, HeightM: ptr(0.3),
		Field: &PlanField{WidthM: 1.2, DepthM: 0.02, NearM: 0.05, FarM: 0.07, Polygons: Polygons{{rectangle(-0.6, 0.05, 0.6, 0.07)}}, Rays: [][2][3]float64{{{-0.6, 0.06, 0.3}, {0.6, 0.06, 0.3}}}}}
	mat := PlanSensor{Name: "Mat, both", Purpose: "activation", Sensing: "mat", Placed: true, YM: 0.9, HeightM: ptr(0.0),
		Field: &PlanField{WidthM: 1.2, DepthM: 0.8, NearM: 0.9, FarM: 1.7, Polygons: Polygons{{rectangle(-0.6, 0.9, 0.6, 1.7)}}}}
	act := PlanSensor{Name: "Push plate, activation", Purpose: "activation", Sensing: "knowing_act", Placed: true, XM: 1.4, YM: 0.5, HeightM: ptr(1.0),
		Field: &PlanField{WidthM: 1.2, DepthM: 1.1, NearM: 0, FarM: 1.1, Polygons: Polygons{{clipped(ellipse(1.4, 0.5, 0.6, 0.6))}}}}
	in.Sensors = []PlanSensor{radar, spots, curtain, beam, mat, act}
	return in
}

func keep(t *testing.T, name string, file []byte) {
	t.Helper()
	if folder := os.Getenv("LINTEL_LOOKS"); folder != "" {
		if err := os.WriteFile(filepath.Join(folder, name), file, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func TestEveryWayOfSensingIsDrawnInItsOwnWayFromAboveAndFromTheSide(t *testing.T) {
	for _, u := range []Units{Metric, US} {
		in := inUnits(everyKind(), u)
		var svg bytes.Buffer
		if err := PlanSVG(&svg, words(t), in); err != nil {
			t.Fatal(err)
		}
		golden(t, "kinds-"+string(u)+".svg", svg.Bytes())
		for _, v := range []View{Top, Elevation} {
			ordered(t, in, v, PNG, 0)
			ordered(t, in, v, PDF, 0)
		}
	}
	in := everyKind()
	s, err := planScene(words(t), in, 190, 200)
	if err != nil {
		t.Fatal(err)
	}
	e, err := elevationScene(words(t), in, 190, 200)
	if err != nil {
		t.Fatal(err)
	}
	for i := range in.Sensors {
		for name, scene := range map[string]*Scene{"from above": s, "from the side": e} {
			if n := numbered(scene, string(rune('1'+i))); n == 0 {
				t.Errorf("%s there is no number %d", name, i+1)
			}
		}
	}
	for _, want := range []string{"Spots of infrared light", "Curtain of laser rays", "Beam of light", "Mat on the floor", "To be pressed", "Fixed to the leaf", "it lets go of somebody who stands after 20 s, and 30 s are asked",
		"It tells of a grown person in an area 1.20 m wide and 0.80 m deep that begins 0.90 m from the door."} {
		if !strings.Contains(s.Desc, want) {
			t.Errorf("the words of the plan lack %q:\n%s", want, s.Desc)
		}
	}
	for _, want := range []string{"It tells of a grown person from 0.90 m to 1.70 m from the door.", "Rays of light, some of them", "it lets go of somebody"} {
		if !strings.Contains(e.Desc, want) {
			t.Errorf("the words of the elevation lack %q:\n%s", want, e.Desc)
		}
	}
}

// numbered counts the bold texts of a number.
func numbered(s *Scene, number string) (n int) {
	for _, sh := range s.Shapes {
		if text, ok := sh.(*Text); ok && text.Bold && text.String == number {
			n++
		}
	}
	return n
}

func TestNumbersOfDevicesThatAreCloseStandApartWithALineToEach(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := &Scene{Denominator: rapid.SampledFrom([]float64{20, 50, 100}).Draw(t, "scale")}
		var list []marker
		for i := range rapid.IntRange(2, 8).Draw(t, "devices") {
			list = append(list, marker{PlanSensor{XM: rapid.Float64Range(-0.1, 0.1).Draw(t, "x"), YM: rapid.Float64Range(0, 0.1).Draw(t, "y"), Placed: true}, string(rune('1' + i))})
		}
		sh := markers(s, list)
		var at []Point
		leaders, places := 0, 0
		for _, one := range sh {
			switch one := one.(type) {
			case *Arc:
				at = append(at, one.Centre)
			case *Line:
				leaders++
				place := one.Paths[0][0]
				for _, m := range list {
					if math.Hypot(place.X-m.XM, place.Y-m.YM) < 1e-12 {
						places++
						break
					}
				}
			}
		}
		if len(at) != len(list) || places != leaders {
			t.Fatalf("%d rings for %d devices, %d of %d lines begin at one", len(at), len(list), places, leaders)
		}
		for i, a := range at {
			for _, b := range at[:i] {
				if far := s.mm(math.Hypot(a.X-b.X, a.Y-b.Y)); far < 2*markerMM {
					t.Fatalf("two rings are %.2f mm apart", far)
				}
			}
		}
	})
}

func TestWhyADeviceDoesNotCountIsSaidForEveryReason(t *testing.T) {
	d := fleet.ReportDevice{Unfit: []fleet.ReportUnfit{
		{Zone: "Threshold", Purpose: "presence", Reason: "other_purpose", Tells: "activation"}, {Zone: "Threshold", Purpose: "presence", Reason: "other_purpose", Tells: "knowing_act"},
		{Zone: "Approach", Purpose: "activation", Reason: "other_purpose", Tells: "presence"}, {Zone: "Approach", Purpose: "activation", Reason: "other_purpose", Tells: "knowing_act"},
		{Zone: "Threshold", Purpose: "presence", Reason: "lets_go", Tells: "presence", StillS: 20, AskedS: 30}}}
	list := Unfitness(words(t), d)
	for _, text := range list {
		if strings.Contains(text, "⟦") || strings.Contains(text, "report.") {
			t.Error(text)
		}
	}
	if want := "Not counted for “Threshold”: it lets go of somebody who stands after 20 s, and 30 s are asked"; len(list) != 5 || list[4] != want {
		t.Errorf("%q", list)
	}
}

func TestWhatUprightDimensionsSayCoversNoOther(t *testing.T) {
	texts := words(t)
	rapid.Check(t, func(t *rapid.T) {
		in := everyKind()
		in.Sensors = in.Sensors[:2]
		for i := range in.Sensors {
			near := rapid.SampledFrom([]float64{0, 0.004, 0.006, 0.05, 0.1, 0.3, 1}).Draw(t, "near")
			depth := rapid.Float64Range(0.01, 2).Draw(t, "depth")
			in.Sensors[i].Field = &PlanField{WidthM: 1, DepthM: depth, NearM: near, FarM: near + depth, Polygons: Polygons{{rectangle(-0.5, near, 0.5, near+depth)}}}
		}
		n := rapid.SampledFrom([]float64{20, 50, 100, 200}).Draw(t, "scale")
		s := planAt(texts, in, in.extent(), n, 190, 150)
		var boxes []Box
		for _, sh := range s.Shapes {
			if d, ok := sh.(*Dimension); ok && d.Upright {
				_, label := d.parts(s)
				b := emptyBox()
				label.bounds(s, &b)
				boxes = append(boxes, b)
			}
		}
		for i, a := range boxes {
			for _, b := range boxes[:i] {
				if a.Min.X < b.Max.X && b.Min.X < a.Max.X && a.Min.Y < b.Max.Y && b.Min.Y < a.Max.Y {
					t.Fatalf("at 1:%g two labels cover each other: %+v and %+v", n, a, b)
				}
			}
		}
	})
}
