package report

import (
	"bytes"
	"encoding/xml"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "write the golden files instead of comparing with them")

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s: %d bytes, differs from the golden file of %d; look at it, then run with -update", name, len(got), len(want))
	}
}

func TestDrawingsAreTheGoldenOnes(t *testing.T) {
	var plan, unknownPlan, field bytes.Buffer
	w := words(t)
	if err := PlanSVG(&plan, w, swingPlan()); err != nil {
		t.Fatal(err)
	}
	golden(t, "plan-swing.svg", plan.Bytes())
	if err := PlanSVG(&unknownPlan, w, PlanDrawing{Title: "Side B", Units: US}); err != nil {
		t.Fatal(err)
	}
	golden(t, "plan-unknown.svg", unknownPlan.Bytes())
	other := fieldExample()
	other.Title, other.Polygons, other.WidthM, other.DepthM, other.FarM, other.AreaM2 = "Nothing in reach", nil, 0, 0, 0, 0
	if err := FieldSVG(&field, w, fieldExample(), other); err != nil {
		t.Fatal(err)
	}
	golden(t, "field.svg", field.Bytes())
}

func TestEveryLeafMotionIsDrawnOnItsSideOfTheWall(t *testing.T) {
	for name, c := range map[string]struct {
		leaf         PlanLeaf
		above, below bool // reaches beyond 0.3 m on either side of the wall
	}{
		"swing towards":  {PlanLeaf{Motion: "swing", JambXM: -0.5, WidthM: 1, Towards: true}, true, false},
		"swing away":     {PlanLeaf{Motion: "swing", JambXM: 0.5, WidthM: 1}, false, true},
		"fold towards":   {PlanLeaf{Motion: "fold", JambXM: 0.5, WidthM: 1, Towards: true}, true, false},
		"fold away":      {PlanLeaf{Motion: "fold", JambXM: -0.5, WidthM: 1}, false, true},
		"slide":          {PlanLeaf{Motion: "slide", JambXM: 0.5, WidthM: 1}, false, false},
		"revolve":        {PlanLeaf{Motion: "revolve", WidthM: 1}, true, true},
		"unknown motion": {PlanLeaf{JambXM: 0.5, WidthM: 1}, false, false},
	} {
		s := &Scene{Denominator: 20}
		s.add(leaf(s, c.leaf)...)
		b := s.Bounds()
		if above := b.Max.Y > 0.3; above != c.above {
			t.Errorf("%s: reaches %.2f m into the side", name, b.Max.Y)
		}
		if below := b.Min.Y < -0.3; below != c.below {
			t.Errorf("%s: reaches %.2f m beyond the wall", name, b.Min.Y)
		}
	}
}

func TestASwingLeafTurnsAboutItsHinge(t *testing.T) {
	s := &Scene{Denominator: 20}
	for _, l := range []PlanLeaf{
		{Motion: "swing", JambXM: -0.5, WidthM: 1, Towards: true}, {Motion: "swing", JambXM: 0.5, WidthM: 1, Towards: true},
		{Motion: "swing", JambXM: -0.5, WidthM: 1}, {Motion: "swing", JambXM: 0.5, WidthM: 1},
	} {
		var sweep *Arc
		for _, sh := range leaf(s, l) {
			if a, ok := sh.(*Arc); ok {
				sweep = a
			}
		}
		if sweep == nil || sweep.Centre.X != l.JambXM {
			t.Fatalf("%+v: no sweep about the hinge", l)
		}
		// One end at the other jamb (closed), one straight out from the hinge (open).
		ends := []Point{sweep.at(sweep.FromDeg), sweep.at(sweep.ToDeg)}
		closed, open := false, false
		for _, p := range ends {
			closed = closed || math.Abs(p.X+l.JambXM) < 1e-9
			open = open || math.Abs(p.X-l.JambXM) < 1e-9 && (p.Y > 0) == l.Towards
		}
		if !closed || !open {
			t.Errorf("%+v: the sweep runs from %v to %v", l, ends[0], ends[1])
		}
	}
}

func TestSVGObeysAStrictContentPolicy(t *testing.T) {
	w := words(t)
	in := swingPlan()
	in.Title = `<script>alert("x")</script> & 'co' ` + "\x01"
	var out bytes.Buffer
	if err := PlanSVG(&out, w, in); err != nil {
		t.Fatal(err)
	}
	titles, texts := 0, ""
	d := xml.NewDecoder(&out)
	for {
		token, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
		switch e := token.(type) {
		case xml.StartElement:
			switch e.Name.Local {
			case "svg", "g", "path", "text", "rect", "circle", "desc":
			case "title":
				titles++
			default:
				t.Errorf("element %s", e.Name.Local)
			}
			for _, a := range e.Attr {
				if n := strings.ToLower(a.Name.Local); n == "style" || n == "class" || strings.HasPrefix(n, "on") || strings.Contains(n, "href") || strings.Contains(a.Value, "url(") {
					t.Errorf("attribute %s=%q", n, a.Value)
				}
			}
		case xml.CharData:
			texts += string(e)
		}
	}
	if titles != 1 {
		t.Errorf("%d titles", titles)
	}
	if !strings.Contains(texts, `<script>alert("x")</script> & 'co' `) {
		t.Error("the text was lost instead of escaped")
	}
}

func TestFieldDimensionsArePrintedInTheReadersUnits(t *testing.T) {
	w := words(t)
	for _, c := range []struct {
		units Units
		want  []string
	}{
		{Metric, []string{"width 1.98 m", "depth 2.44 m", "far 2.44 m", "Scale 1:25"}},
		{US, []string{"width 6 ft 6 in", "depth 8 ft", "far 8 ft", "Scale 1/2 in = 1 ft (1:24)"}},
	} {
		in := fieldExample()
		in.Units = c.units
		var out bytes.Buffer
		if err := FieldSVG(&out, w, in); err != nil {
			t.Fatal(err)
		}
		for _, want := range c.want {
			if !strings.Contains(out.String(), ">"+want+"<") {
				t.Errorf("%s: %q is not on the drawing", c.units, want)
			}
		}
	}
}

func TestADrawingIsToScale(t *testing.T) {
	s, err := planScene(words(t), swingPlan(), 190, 150)
	if err != nil {
		t.Fatal(err)
	}
	// The required zone is 0.95 m wide: so many millimetres at 1:n in the SVG.
	var out bytes.Buffer
	if err := WriteSVG(&out, s); err != nil {
		t.Fatal(err)
	}
	zone := regexp.MustCompile(`d="M([\d.]+) [\d.]+L([\d.]+) [\d.]+L[\d.]+ [\d.]+L[\d.]+ [\d.]+Z"[^>]*stroke-dasharray="2.4 1.3"`).FindStringSubmatch(out.String())
	if zone == nil {
		t.Fatal("no dashed zone in the drawing")
	}
	a, _ := strconv.ParseFloat(zone[1], 64)
	z, _ := strconv.ParseFloat(zone[2], 64)
	if got, want := z-a, 0.95*1000/s.Denominator; math.Abs(got-want) > 0.002 {
		t.Errorf("0.95 m is %.3f mm on paper at 1:%g, want %.3f", got, s.Denominator, want)
	}
}

// Both writers must put the same strokes at the same places: the extents of all
// paths, read back from their output, agree with the scene's.
func TestWritersAgreeOnExtents(t *testing.T) {
	s, err := planScene(words(t), swingPlan(), 174, 105)
	if err != nil {
		t.Fatal(err)
	}
	strokes := &Scene{Denominator: s.Denominator}
	for _, sh := range s.plain() {
		if _, text := sh.(*Text); !text {
			strokes.add(sh)
		}
	}
	b := strokes.Bounds()
	want := Box{Point{0, 0}, Point{strokes.mm(b.Width()), strokes.mm(b.Height())}}

	var svg bytes.Buffer
	if err := WriteSVG(&svg, strokes); err != nil {
		t.Fatal(err)
	}
	got := emptyBox()
	for _, d := range regexp.MustCompile(` d="([^"A]*)"`).FindAllStringSubmatch(svg.String(), -1) {
		for _, xy := range regexp.MustCompile(`[ML]([\d.-]+) ([\d.-]+)`).FindAllStringSubmatch(d[1], -1) {
			x, _ := strconv.ParseFloat(xy[1], 64)
			y, _ := strconv.ParseFloat(xy[2], 64)
			got.add(Point{x - svgMarginMM, y - svgMarginMM})
		}
	}
	near(t, "SVG", got, want, 0.002)

	p := newSheet(A4, "en", time.Unix(0, 0).UTC())
	p.pdf.SetCompression(false)
	p.newPage()
	p.draw(strokes, 20, 30)
	pdf, err := p.finish()
	if err != nil {
		t.Fatal(err)
	}
	got = emptyBox()
	const pt = 72 / 25.4
	for _, xy := range regexp.MustCompile(`(?m)^([\d.-]+) ([\d.-]+) [ml]$`).FindAllStringSubmatch(string(pdf), -1) {
		x, _ := strconv.ParseFloat(xy[1], 64)
		y, _ := strconv.ParseFloat(xy[2], 64)
		got.add(Point{x/pt - 20, (p.h - y/pt) - 30})
	}
	near(t, "PDF", got, want, 0.01)
}

func near(t *testing.T, who string, got, want Box, tolerance float64) {
	t.Helper()
	for _, d := range []float64{got.Min.X - want.Min.X, got.Min.Y - want.Min.Y, got.Max.X - want.Max.X, got.Max.Y - want.Max.Y} {
		if math.IsNaN(d) || math.Abs(d) > tolerance {
			t.Errorf("%s: extents %+v, want %+v", who, got, want)
			return
		}
	}
}

func changedPlan() PlanDrawing {
	in := swingPlan()
	in.Sensors[0].Former = &PlanField{WidthM: 2.6, DepthM: 2.9, NearM: 0.1, FarM: 3, Polygons: Polygons{{ellipse(0.1, 1.55, 1.3, 1.45)}}}
	return in
}

func TestAChangeIsDrawnOverWhatIsThereInThinDashesAndSaidInWords(t *testing.T) {
	for view, want := range map[View]string{Top: "1, now: 2.60 m wide, 2.90 m deep, beginning 0.10 m from the door", Elevation: "1, now: from 0.10 m to 3.00 m on the floor"} {
		svg := string(ordered(t, changedPlan(), view, SVG, 0))
		desc, _, _ := strings.Cut(svg, "</desc>")
		if n := strings.Count(svg, `stroke-width="0.2" stroke-dasharray="0.9 0.6"`); n != 2 { // the drawing and its legend
			t.Errorf("%s: %d thin dashed outlines", view, n)
		}
		if !strings.Contains(desc, want) {
			t.Errorf("%s: %q is not said in %q", view, want, desc)
		}
		ordered(t, changedPlan(), view, PNG, 0) // to be looked at
	}
}

func TestWhatCannotBeDrawnIsNamed(t *testing.T) {
	w := words(t)
	bad := swingPlan()
	bad.Sensors[0].Field.Polygons[0][0][3][1] = math.NaN()
	bad.Leaves[0].WidthM = -1
	err := PlanSVG(io.Discard, w, bad)
	for _, want := range []string{"sensors[0].field.polygons[0]", "leaves[0].width_m"} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v does not name %s", err, want)
		}
	}
	field := fieldExample()
	field.FarM = math.Inf(1)
	if err := FieldSVG(io.Discard, w, fieldExample(), field); err == nil || !strings.Contains(err.Error(), "drawing 2: extents") {
		t.Errorf("error %v does not name the second drawing's extents", err)
	}
}

func TestPatternsStayInsideTheirArea(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		// A star-shaped ring with a square hole.
		n := rapid.IntRange(3, 24).Draw(t, "corners")
		var ring []Point
		for i := range n {
			r := rapid.Float64Range(0.5, 4).Draw(t, "radius")
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			ring = append(ring, Point{r * cos, r * sin})
		}
		rings := [][]Point{ring, box(Point{-0.1, -0.1}, Point{0.1, 0.1})}
		deg := rapid.Float64Range(-90, 90).Draw(t, "deg")
		for _, path := range append(hatch(rings, deg, 0.13, fieldStroke).Paths, crosses(rings, 0.3, 0.02, clearStroke).Paths...) {
			mid := Point{(path[0].X + path[1].X) / 2, (path[0].Y + path[1].Y) / 2}
			if !inside(rings, mid) && math.Hypot(path[0].X-path[1].X, path[0].Y-path[1].Y) > 1e-6 {
				t.Fatalf("stroke %v lies outside", path)
			}
		}
	})
}

// inside by the even-odd rule, counted along a ray the other way than the
// patterns do.
func inside(rings [][]Point, p Point) bool {
	in := false
	for _, ring := range rings {
		for i, a := range ring {
			b := ring[(i+1)%len(ring)]
			if (a.X > p.X) != (b.X > p.X) && p.Y < a.Y+(p.X-a.X)/(b.X-a.X)*(b.Y-a.Y) {
				in = !in
			}
		}
	}
	return in
}

func FuzzNoTextBreaksADrawing(f *testing.F) {
	for _, s := range []string{"", "plain", "<&>\"'", "]]>", "\x00\x1f\xff", "😀 e\u0301 \u202e", strings.Repeat("long ", 50)} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		in := PlanDrawing{Title: s, Sensors: []PlanSensor{{Name: s, Missing: s}}, Required: []PlanZone{{Name: s}}}
		var out bytes.Buffer
		if err := PlanSVG(&out, plain{}, in); err != nil {
			if len([]rune(s)) > longestText {
				return
			}
			t.Fatal(err)
		}
		d := xml.NewDecoder(&out)
		for {
			if _, err := d.Token(); err == io.EOF {
				return
			} else if err != nil {
				t.Fatalf("not well-formed: %v", err)
			}
		}
	})
}

// plain are texts that say their key and values.
type plain struct{}

func (plain) T(key string, args ...any) string {
	s := key
	for i := 1; i < len(args); i += 2 {
		if v, ok := args[i].(string); ok {
			s += " " + v
		}
	}
	return s
}
