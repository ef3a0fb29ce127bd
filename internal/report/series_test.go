package report

import (
	"bytes"
	"encoding/xml"
	"io"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// rising is a force of 90 N that gains 5 N a year, read once a year, with two values from before a change.
func rising() SeriesDrawing {
	most := 133.447
	in := SeriesDrawing{Title: "Closing force", Desc: "Seven readings from 2019 to 2025.", Units: Metric, Unit: "N", Changes: []float64{2020.6}, Most: &most,
		Line: &SeriesLine{From: 2021.2, Bound: most, Earliest: 2028.4, Likely: 2029.9, Latest: 2032.1, At: func(year float64) (low, likely, high float64) {
			likely = 90 + 5*(year-2021.2)
			return likely - 1 - 0.8*(year-2021.2), likely, likely + 1 + 0.8*(year-2021.2)
		}}}
	for i := range 7 {
		in.Dots = append(in.Dots, SeriesDot{Year: 2019.2 + float64(i), Value: 90 + 5*float64(max(0, i-2)) + float64(i%2), Before: i < 2})
	}
	return in
}

func TestReadingsOverTheYearsAreDrawnAsTheGoldenOnes(t *testing.T) {
	one := 4.0
	for name, in := range map[string]SeriesDrawing{
		"series-rising.svg": rising(),
		"series-one.svg":    {Title: "Closing time", Desc: "One reading.", Units: US, Unit: "s", Dots: []SeriesDot{{Year: 2026.2, Value: 4.5}}, Least: &one},
		"series-area.svg":   {Title: "Field", Desc: "Two areas.", Units: US, Unit: "m2", Set: true, Dots: []SeriesDot{{Year: 2025.1, Value: 6.1}, {Year: 2025.8, Value: 3.2}}},
	} {
		var out bytes.Buffer
		if err := SeriesSVG(&out, words(t), in); err != nil {
			t.Fatal(err)
		}
		golden(t, name, out.Bytes())
	}
}

func TestEveryValueOfASeriesStandsOnThePaper(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := SeriesDrawing{Title: "t", Desc: "d", Unit: "s"}
		year := rapid.Float64Range(1950, 2050).Draw(t, "year")
		for range rapid.IntRange(0, 30).Draw(t, "n") {
			year += rapid.Float64Range(0, 3).Draw(t, "gap")
			in.Dots = append(in.Dots, SeriesDot{Year: year, Value: rapid.Float64Range(-1e4, 1e4).Draw(t, "value")})
		}
		if rapid.Bool().Draw(t, "limited") {
			least := rapid.Float64Range(-1e4, 1e4).Draw(t, "least")
			in.Least = &least
		}
		f, step := frameOf(in)
		for _, d := range in.Dots {
			if p := f.at(d.Year, d.Value); p.X < 0 || p.X > seriesWidth || p.Y < 0 || p.Y > seriesHeight || d.Value < f.y0 || d.Value > f.y1 {
				t.Fatalf("%+v stands at %+v of %+v", d, p, f)
			}
		}
		if n := (f.y1 - f.y0) / step; n > 12 || math.IsNaN(n) {
			t.Fatalf("%v lines across", n)
		}
		var out bytes.Buffer
		if err := SeriesSVG(&out, plain{}, in); err != nil {
			t.Fatal(err)
		}
		for d := xml.NewDecoder(strings.NewReader(out.String())); ; {
			if _, err := d.Token(); err == io.EOF {
				break
			} else if err != nil {
				t.Fatal(err)
			}
		}
		if strings.Contains(out.String(), "NaN") || strings.Contains(out.String(), "Inf") {
			t.Fatal(out.String())
		}
	})
}
