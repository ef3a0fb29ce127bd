package field_test

import (
	"math"
	"strings"
	"testing"

	"lintel.example/lintel/internal/field"
)

// published are the extents of a narrow antenna, 29° by 36° and 6.0 m, at three heights, and of a wide one, 58° by 29° and 6.0 m, at two: counted on a grid
// of 2 mm by code that is none of this project's.
func published(heights ...float64) (narrow, wide field.PatternSheet) {
	rows := map[float64][4]float64{2.13: {1.980, 2.438, 3.956, 1.980}, 3.00: {2.172, 2.840, 4.180, 2.296}, 4.00: {2.068, 2.696, 0, 0}}
	narrow = field.PatternSheet{AttenuationLimitDB: 25, UncertaintyM: 0.01}
	wide = narrow
	for _, h := range heights {
		r := rows[h]
		narrow.Patterns = append(narrow.Patterns, field.Pattern{Mount: field.Mount{HeightM: h, TiltDeg: 24, OffsetYM: 0.05}, ClipAtDoorPlane: true, WidthM: r[0], DepthM: r[1]})
		if r[2] > 0 {
			wide.Patterns = append(wide.Patterns, field.Pattern{Mount: field.Mount{HeightM: h, TiltDeg: 21, OffsetYM: 0.05}, ClipAtDoorPlane: true, WidthM: r[2], DepthM: r[3]})
		}
	}
	return narrow, wide
}

func TestExtentsAtSeveralHeightsGiveTheAntennaBack(t *testing.T) {
	narrow, wide := published(2.13, 3, 4)
	for _, c := range []struct {
		sheet field.PatternSheet
		want  field.Antenna
	}{{narrow, field.Antenna{29, 36, 25, 6}}, {wide, field.Antenna{58, 29, 25, 6}}} {
		e, err := c.sheet.Fit()
		if err != nil {
			t.Fatal(err)
		}
		if a := e.Antenna; math.Abs(a.AzimuthBeamwidthDeg-c.want.AzimuthBeamwidthDeg) > 1 || math.Abs(a.ElevationBeamwidthDeg-c.want.ElevationBeamwidthDeg) > 1 ||
			math.Abs(a.BoresightRangeM-6) > 0.2 || e.OneHeight || e.RangeHeld {
			t.Errorf("%+v, not %+v", e, c.want)
		}
		for _, v := range e.Values {
			if !v.Determined {
				t.Errorf("%+v is left open", v)
			}
		}
		for _, m := range e.Misses {
			if math.Abs(m.PublishedM-m.HasM) > 0.02 || m.ContradictsTheOthers {
				t.Errorf("%+v", m)
			}
		}
	}
}

func TestOneHeightLeavesTheRangeOpenAndIsMarked(t *testing.T) {
	sheet, _ := published(2.13)
	e, err := sheet.Fit()
	if err != nil {
		t.Fatal(err)
	}
	if !e.OneHeight || !e.RangeHeld || len(e.Alike) < 2 {
		t.Errorf("%+v", e)
	}
	for _, v := range e.Values {
		if v.Determined {
			t.Errorf("two extents tell %s", v.Parameter)
		}
	}
	for _, a := range append(e.Alike, e.Antenna) { // each draws what was published
		p := sheet.Patterns[0]
		f := field.Device{Mount: p.Mount, Antenna: a}.Footprint(0, true)
		if math.Abs(f.WidthM-p.WidthM) > 0.03 || math.Abs(f.DepthM-p.DepthM) > 0.03 {
			t.Errorf("%+v has %.3f by %.3f m", a, f.WidthM, f.DepthM)
		}
	}
	sheet.BoresightRangeM = 6
	if e, err = sheet.Fit(); err != nil || !e.OneHeight || !e.Values[0].Determined || math.Abs(e.Antenna.AzimuthBeamwidthDeg-29) > 1 || math.Abs(e.Antenna.ElevationBeamwidthDeg-36) > 1 {
		t.Errorf("with the range published: %+v %v", e, err)
	}
}

func TestAnExtentThatContradictsTheOthersIsNamed(t *testing.T) {
	sheet, _ := published(2.13, 3, 4)
	sheet.Patterns[1].WidthM += 0.5
	e, err := sheet.Fit()
	if err != nil {
		t.Fatal(err)
	}
	for i, m := range e.Misses {
		if m.ContradictsTheOthers != (i == 2) {
			t.Errorf("%+v", m)
		}
	}
}

func FuzzParsePatterns(f *testing.F) {
	f.Add("patterns:\n- {height_m: 2.1, tilt_deg: 24, width_m: 2, depth_m: 2.4}\n")
	f.Add(`{"patterns":[{"height_m":2.1,"tilt_deg":24,"width_m":2}]}`)
	f.Add("a: &a [*a]")
	f.Fuzz(func(t *testing.T, text string) {
		s, err := field.ParsePatterns([]byte(text))
		if err == nil && len(s.Patterns) == 0 || err != nil && strings.Contains(err.Error(), "\n") {
			t.Errorf("%+v %q", s, err)
		}
	})
}
