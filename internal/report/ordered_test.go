package report

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/draw"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

func ordered(t *testing.T, in PlanDrawing, view View, form Form, n float64) []byte {
	t.Helper()
	paper := A4
	if in.Units == US {
		paper = Letter
	}
	file, err := Draw(words(t), in, DrawingOrder{View: view, Form: form, Denominator: n, Paper: paper, Name: "North entrance, 1000 0018", Line: "Market Hall",
		Language: "en", Made: time.Date(2026, 11, 24, 8, 0, 0, 0, time.UTC)})
	if err != nil {
		t.Fatal(err)
	}
	if folder := os.Getenv("LINTEL_LOOKS"); folder != "" {
		name := fmt.Sprintf("%s-%s-%s-%g.%s", strings.ReplaceAll(t.Name(), "/", "-"), view, in.Units, n, form)
		if err := os.WriteFile(filepath.Join(folder, name), file, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return file
}

func inUnits(in PlanDrawing, u Units) PlanDrawing { in.Units = u; return in }

func TestASideIsDrawnInEveryFormTwiceTheSame(t *testing.T) {
	begins := map[Form]string{SVG: "<svg ", PDF: "%PDF-", PNG: "\x89PNG\r\n\x1a\n"}
	for _, u := range []Units{Metric, US} {
		for _, v := range []View{Top, Elevation} {
			for form, begin := range begins {
				in := inUnits(swingPlan(), u)
				file := ordered(t, in, v, form, 0)
				if !bytes.HasPrefix(file, []byte(begin)) {
					t.Errorf("%s %s %s begins with %q", u, v, form, file[:8])
				}
				if !bytes.Equal(file, ordered(t, in, v, form, 0)) {
					t.Errorf("%s %s %s: another file the second time", u, v, form)
				}
				if form == PDF {
					wantStrict(t, string(u)+string(v), file)
				}
			}
		}
	}
}

// rendered is the first page of a PDF as poppler, a program of others, draws it.
func rendered(t *testing.T, pdf []byte, dpi int) *image.Gray {
	t.Helper()
	name := filepath.Join(t.TempDir(), "page")
	if err := os.WriteFile(name+".pdf", pdf, 0o644); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.CommandContext(t.Context(), "pdftoppm", "-png", "-gray", "-singlefile", "-f", "1", "-r", strconv.Itoa(dpi), name+".pdf", name).CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	file, err := os.ReadFile(name + ".png")
	if err != nil {
		t.Fatal(err)
	}
	return decoded(t, file)
}

func decoded(t *testing.T, file []byte) *image.Gray {
	t.Helper()
	img, err := png.Decode(bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	gray := image.NewGray(img.Bounds())
	draw.Draw(gray, gray.Rect, img, img.Bounds().Min, draw.Src)
	return gray
}

// marks are the middles of the dark runs in a row, up to column to. A thin line may share its ink between two pixels.
func marks(img *image.Gray, y, to int) (middles, widths []float64) {
	from := -1
	for x := 0; x <= to; x++ {
		dark := x < to && img.GrayAt(x, y).Y < 170
		if dark && from < 0 {
			from = x
		}
		if !dark && from >= 0 {
			middles, widths = append(middles, float64(from+x)/2), append(widths, float64(x-from))
			from = -1
		}
	}
	return middles, widths
}

// The wall of a door without sensors is drawn left of its legend, and between it and the dimension of the clear width
// there are only the two strokes that lead down from the jambs: where a row shows two thin marks alone, they are the
// clear width apart.
func TestAPrintedSheetMeasuresRightWithARuler(t *testing.T) {
	for _, c := range []struct {
		units   Units
		n, want float64 // mm of paper
		openM   float64
	}{
		{Metric, 50, 40, 2}, {Metric, 20, 100, 2}, {Metric, 100, 20, 2},
		{US, 48, 50.8, 2.4384}, // 8 ft at a quarter of an inch to the foot: 2 in
	} {
		in := PlanDrawing{Title: "Side A", Units: c.units, OpeningM: c.openM}
		for _, form := range []Form{PDF, PNG} {
			file := ordered(t, in, Top, form, c.n)
			img, perMM, left := (*image.Gray)(nil), 10.0, marginMM
			if form == PDF {
				img = rendered(t, file, 254)
			} else {
				img, perMM, left = decoded(t, file), pngPerMM, svgMarginMM
			}
			body := int((left + in.extent().Width()*1000/c.n + 1) * perMM)
			rows, longest := 0, 0.0
			for y := range img.Rect.Dy() {
				middles, widths := marks(img, y, body)
				if len(middles) == 2 && widths[0] < 0.4*perMM && widths[1] < 0.4*perMM {
					if got := (middles[1] - middles[0]) / perMM; math.Abs(got-c.want) <= 0.5 {
						rows++
					}
				}
				_, widths = marks(img, y, img.Rect.Dx())
				for _, w := range widths {
					if y > img.Rect.Dy()*3/4 {
						longest = max(longest, w/perMM)
					}
				}
			}
			if float64(rows) < 2*perMM { // two millimetres of them
				t.Errorf("%s at 1:%g: %d rows of pixels measure %g mm", form, c.n, rows, c.want)
			}
			if form == PDF && math.Abs(longest-100) > 0.5 {
				t.Errorf("at 1:%g: the line to check the print with is %.2f mm long", c.n, longest)
			}
		}
	}
}

// Our picture against poppler's of the sheet, two ways through other code: as dark in every patch of 2 mm.
func TestThePictureShowsWhatTheSheetShows(t *testing.T) {
	for _, v := range []View{Top, Elevation} {
		sheet, picture := rendered(t, ordered(t, swingPlan(), v, PDF, 0), 200), decoded(t, ordered(t, swingPlan(), v, PNG, 0))
		const patch = 2.0
		darkness := func(img *image.Gray, x, y float64) float64 { // share of ink, 0 to 1
			sum, n := 0.0, 0
			for py := int(math.Round(y * pngPerMM)); py < int(math.Round((y+patch)*pngPerMM)); py++ {
				for px := int(math.Round(x * pngPerMM)); px < int(math.Round((x+patch)*pngPerMM)); px++ {
					sum, n = sum+float64(255-img.GrayAt(px, py).Y), n+1
				}
			}
			return sum / float64(n) / 255
		}
		inked := 0
		width, height := float64(picture.Rect.Dx())/pngPerMM-4*svgMarginMM, float64(picture.Rect.Dy())/pngPerMM-2*svgMarginMM
		for y := 0.0; y+patch < height; y += patch {
			for x := 0.0; x+patch < width; x += patch {
				ours, theirs := darkness(picture, svgMarginMM+x, svgMarginMM+y), darkness(sheet, marginMM+x, marginMM+sheetHeadMM+y)
				if math.Abs(ours-theirs) > 0.12 {
					t.Errorf("%s, %.0f mm across and %.0f mm down: %.2f inked, on the sheet %.2f", v, x, y, ours, theirs)
				}
				if theirs > 0.02 {
					inked++
				}
			}
		}
		if inked < 150 {
			t.Errorf("%s: only %d patches hold anything", v, inked)
		}
	}
}

func TestAPictureSaysItsSizeAndItsWords(t *testing.T) {
	file := ordered(t, swingPlan(), Top, PNG, 0)
	for _, want := range []string{"pHYs\x00\x00\x1e\xc2\x00\x00\x1e\xc2\x01", "iTXtTitle\x00", "iTXtDescription\x00", "Its field on the floor is 1.98 m wide"} {
		if !bytes.Contains(file, []byte(want)) {
			t.Errorf("%q is not in the file", want)
		}
	}
}

func TestAScaleIsTheLargestThatFitsOrTheOneAskedFor(t *testing.T) {
	scale := func(in PlanDrawing, n float64) string {
		return regexp.MustCompile(`1:\d+`).FindString(string(ordered(t, in, Top, SVG, n)))
	}
	narrow, wide, yard := swingPlan(), swingPlan(), swingPlan()
	narrow.KeptClear, narrow.Sensors = nil, nil
	wide.KeptClear = []PlanZone{{Name: "forecourt", Polygons: Polygons{{rectangle(-4.5, 2, 4.5, 4)}}}}
	yard.KeptClear = []PlanZone{{Name: "yard", Polygons: Polygons{{rectangle(-30, 2, 30, 44)}}}}
	for _, c := range []struct {
		what string
		in   PlanDrawing
		n    float64
		want string
	}{
		{"a leaf alone", narrow, 0, "1:20"}, {"with fields", swingPlan(), 0, "1:50"}, {"a wide forecourt", wide, 0, "1:100"}, {"a yard", yard, 0, "1:500"},
		{"as asked", swingPlan(), 75, "1:75"}, {"in feet", inUnits(narrow, US), 0, "1:24"}, {"in feet, wide", inUnits(wide, US), 0, "1:96"},
	} {
		if got := scale(c.in, c.n); got != c.want {
			t.Errorf("%s: drawn at %s, want %s", c.what, got, c.want)
		}
	}
}

func TestWhatFitsNoSheetSaysWhichScaleDoes(t *testing.T) {
	_, err := Draw(words(t), swingPlan(), DrawingOrder{View: Top, Form: PDF, Denominator: 5})
	var room NoRoom
	if !errors.As(err, &room) || room.Denominator != 5 || room.Fits == 0 {
		t.Fatalf("%v", err)
	}
	if _, err := Draw(words(t), swingPlan(), DrawingOrder{View: Top, Form: PDF, Denominator: room.Fits}); err != nil {
		t.Errorf("at the scale that was said to fit: %v", err)
	}
	if _, err := Draw(words(t), PlanDrawing{Title: "Side B"}, DrawingOrder{View: Elevation, Form: PNG}); !errors.As(err, &NothingToSee{}) {
		t.Errorf("an elevation of nothing: %v", err)
	}
}

// How others see the drawing: Machado, Oliveira, Fernandes, "A physiologically-based model for simulation of color vision
// deficiency", IEEE TVCG 15(6), 2009, severity 1.0 (the figures from memory). Every grey stays as it is, so whoever sees the lines apart
// in black and white sees them apart.
func deficiencies() map[string][3][3]float64 {
	return map[string][3][3]float64{
		"protanopia":   {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}},
		"deuteranopia": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}},
		"tritanopia":   {{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}},
	}
}

// linear is the light of a value of sRGB (IEC 61966-2-1), coded the other way.
func linear(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

func coded(v float64) float64 {
	if v <= 0.0031308 {
		return 12.92 * max(0, v)
	}
	return min(1, 1.055*math.Pow(v, 1/2.4)-0.055)
}

// The picture as a whole, seen so: every pixel stays within one step of 255 of what it is.
func TestAPictureOfEveryWayOfSensingIsSeenAsItIs(t *testing.T) {
	file := ordered(t, everyKind(), Top, PNG, 0)
	img := decoded(t, file)
	for name, m := range deficiencies() {
		seen := image.NewRGBA(img.Rect)
		most := 0.0
		for i, v := range img.Pix {
			light := linear(float64(v) / 255)
			for j, row := range m {
				value := 255 * coded((row[0]+row[1]+row[2])*light)
				most = max(most, math.Abs(value-float64(v)))
				seen.Pix[4*i+j] = uint8(math.Round(value))
			}
			seen.Pix[4*i+3] = 255
		}
		var out bytes.Buffer
		if err := png.Encode(&out, seen); err != nil {
			t.Fatal(err)
		}
		keep(t, "kinds-"+name+".png", out.Bytes())
		if most > 1 {
			t.Errorf("%s: a pixel is seen %.1f steps otherwise", name, most)
		}
	}
}

func TestADrawingLooksTheSameWithAColourVisionDeficiency(t *testing.T) {
	for _, view := range []View{Top, Elevation} {
		colours := regexp.MustCompile(`#([0-9a-f]{2})([0-9a-f]{2})([0-9a-f]{2})`).FindAllStringSubmatch(string(ordered(t, swingPlan(), view, SVG, 0))+string(ordered(t, everyKind(), view, SVG, 0)), -1)
		if len(colours) < 50 {
			t.Fatalf("%d colours", len(colours))
		}
		for _, c := range colours {
			var rgb [3]float64
			for i := range rgb {
				v, err := strconv.ParseUint(c[i+1], 16, 8)
				if err != nil {
					t.Fatal(err)
				}
				rgb[i] = linear(float64(v) / 255)
			}
			for name, m := range deficiencies() {
				for i, row := range m {
					if seen := row[0]*rgb[0] + row[1]*rgb[1] + row[2]*rgb[2]; math.Abs(seen-rgb[i]) > 0.002 {
						t.Fatalf("%s is seen otherwise with %s", c[0], name)
					}
				}
			}
		}
	}
}

// Pure black and white, no greys: what a bad copier leaves of the swatches of a legend. Each differs from each other one.
func TestPatternsAreToldApartOnABadCopy(t *testing.T) {
	square := [][]Point{box(Point{0, 0}, Point{0.5, 0.25})}
	level := func(p Pen) []Shape { return []Shape{&Line{Paths: [][]Point{{{0, 0.12}, {0.5, 0.12}}}, Pen: p}} }
	kinds := map[string]func(s *Scene) []Shape{
		"field that opens":    func(s *Scene) []Shape { return fieldArea(s, PlanSensor{}, square) },
		"field that protects": func(s *Scene) []Shape { return fieldArea(s, PlanSensor{Purpose: "presence"}, square) },
		"spots of light":      func(s *Scene) []Shape { return fieldArea(s, PlanSensor{Sensing: "infrared_presence"}, square) },
		"curtain of rays":     func(s *Scene) []Shape { return fieldArea(s, PlanSensor{Sensing: "laser_curtain"}, square) },
		"beam":                func(s *Scene) []Shape { return fieldArea(s, PlanSensor{Sensing: "beam"}, square) },
		"mat":                 func(s *Scene) []Shape { return fieldArea(s, PlanSensor{Sensing: "mat"}, square) },
		"act":                 func(s *Scene) []Shape { return fieldArea(s, PlanSensor{Sensing: "knowing_act"}, square) },
		"field not counted":   func(s *Scene) []Shape { return fieldArea(s, PlanSensor{Unfit: []string{"so"}}, square) },
		"zone to open":        func(*Scene) []Shape { return []Shape{&Area{Rings: square, Pen: zonePen("activation")}} },
		"zone to protect":     func(*Scene) []Shape { return []Shape{&Area{Rings: square, Pen: zonePen("presence")}} },
		"uncovered":           func(s *Scene) []Shape { return gapArea(s, square) },
		"kept clear":          func(s *Scene) []Shape { return clearZone(s, square) },
		"header":              func(*Scene) []Shape { return level(headerPen) },
		"axis":                func(*Scene) []Shape { return level(aimPen) },
		"sweep":               func(*Scene) []Shape { return level(sweepPen) },
		"heights of a body":   func(*Scene) []Shape { return level(bodyPen) },
	}
	copies := map[string]*image.Gray{}
	for name, shapes := range kinds {
		s := &Scene{Denominator: 50, Shapes: []Shape{&Rect{Max: Point{0.5, 0.25}}}}
		s.add(shapes(s)...)
		var out bytes.Buffer
		if err := WritePNG(&out, s); err != nil {
			t.Fatal(err)
		}
		img := decoded(t, out.Bytes())
		for i, v := range img.Pix {
			img.Pix[i] = 255
			if v < 190 {
				img.Pix[i] = 0
			}
		}
		copies[name] = img
	}
	for a, one := range copies {
		for b, other := range copies {
			if a >= b {
				continue
			}
			differ, inked := 0, 0
			for y := range min(one.Rect.Dy(), other.Rect.Dy()) {
				for x := range min(one.Rect.Dx(), other.Rect.Dx()) {
					p, q := one.GrayAt(x, y).Y, other.GrayAt(x, y).Y
					if p != q {
						differ++
					}
					if p == 0 || q == 0 {
						inked++
					}
				}
			}
			if differ*5 < inked { // a fifth of the ink lies otherwise
				t.Errorf("%s and %s: %d of %d inked pixels differ", a, b, differ, inked)
			}
		}
	}
}
