package field_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"lintel.example/lintel/internal/field"
)

const walkLine = `{"height_m":2.2,"tilt_deg":30,"azimuth_beamwidth_deg":40,"elevation_beamwidth_deg":40,"boresight_range_m":5,"confirm_travel_mm":100,"body_height_m":1.7,` +
	`"marks":[{"x_m":0,"y_m":2},{"x_m":0.3,"y_m":2},{"x_m":-0.3,"y_m":1.9},{"x_m":0.8,"y_m":1.6,"heading_deg":200,"speed_mps":1.2}]}`

// The marks are made by other code, and the line says the same as the walk test in memory.
func TestAWrittenWalkTestFitsAsTheOneInMemory(t *testing.T) {
	_, test := badlyMounted(rand.New(rand.NewPCG(3, 5)), 0)
	d, m := test.Device, test.Motion
	var marks []string
	for _, k := range test.Marks {
		marks = append(marks, fmt.Sprintf(`{"x_m":%v,"y_m":%v,"heading_deg":%v,"speed_mps":%v}`, k.At[0], k.At[1], k.HeadingDeg, k.SpeedMps))
	}
	line := fmt.Sprintf(`{"height_m":%v,"tilt_deg":%v,"yaw_deg":%v,"offset_x_m":%v,"offset_y_m":%v,"azimuth_beamwidth_deg":%v,"elevation_beamwidth_deg":%v,"boresight_range_m":%v,"reach_db":%v,`+
		`"least_speed_mps":%v,"confirm_travel_mm":%v,"motion_direction":"approach","output_delay_s":%v,"body_height_m":%v,"marks":[%s]}`,
		d.HeightM, d.TiltDeg, d.YawDeg, d.OffsetXM, d.OffsetYM, d.AzimuthBeamwidthDeg, d.ElevationBeamwidthDeg, d.BoresightRangeM, d.ReachDB,
		m.LeastSpeedMps, 1000*m.ConfirmTravelM, m.LatencyS, test.Marks[0].BodyHeightM, strings.Join(marks, ","))
	read, err := field.ParseWalkTest([]byte(line))
	if err != nil {
		t.Fatal(err)
	}
	got, err := read.Answer()
	if err != nil {
		t.Fatal(err)
	}
	want, err := test.Fit()
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Residuals) != len(test.Marks) || got.Caution == "" || got.ModelVersion != field.ModelVersion {
		t.Errorf("%+v", got)
	}
	for i, v := range want.Values {
		if g := got.Fitted[i]; g.Parameter != v.Parameter || math.Abs(g.Value-v.Value) > 1e-3 || math.Abs(g.Low-v.Low) > 1e-2 || g.Determined != v.Determined {
			t.Errorf("%+v, in memory %+v", g, v)
		}
	}
}

// Who marks the floor when a late output comes has walked on: at 1 m/s and 0.3 s by 0.3 m, by hand. The same marks then say that the device sees further out.
func TestMoreDelayMovesTheFieldOutward(t *testing.T) {
	const line = `{"height_m":2.3,"tilt_deg":30,"offset_y_m":0.12,"azimuth_beamwidth_deg":58,"elevation_beamwidth_deg":36,"boresight_range_m":5,"body_height_m":1.7,DELAY` +
		`"marks":[{"x_m":-1.53,"y_m":0.96},{"x_m":-1.64,"y_m":1.71},{"x_m":-1.28,"y_m":2.28},{"x_m":-0.68,"y_m":2.61},{"x_m":0.68,"y_m":2.61},{"x_m":1.28,"y_m":2.28},{"x_m":1.64,"y_m":1.71},{"x_m":1.53,"y_m":0.96}]}`
	far := func(delay string) float64 {
		w, err := field.ParseWalkTest([]byte(strings.Replace(line, "DELAY", delay, 1)))
		if err != nil {
			t.Fatal(err)
		}
		f, err := w.Fit()
		if err != nil {
			t.Fatal(err)
		}
		return field.BodyFootprint(f.Device, 1.7, true).FarM
	}
	if none, late := far(""), far(`"output_delay_s":0.3,`); late < none+0.2 || late > none+0.4 {
		t.Errorf("%.3f m, with 0.3 s at 1 m/s %.3f m", none, late)
	}
}

func TestABadWalkTestNamesTheMemberAtFault(t *testing.T) {
	for _, c := range []struct{ text, member string }{
		{``, ""}, {`[]`, ""}, {`{}`, "height_m"}, {walkLine + `x`, ""}, {"\xff", ""},
		{strings.Replace(walkLine, `"tilt_deg":30,`, ``, 1), "tilt_deg"},
		{strings.Replace(walkLine, `"tilt_deg":30`, `"tilt_deg":"30"`, 1), "tilt_deg"},
		{strings.Replace(walkLine, `"tilt_deg":30`, `"tilt_deg":130`, 1), "tilt_deg"},
		{strings.Replace(walkLine, `"tilt_deg"`, `"colour":1,"tilt_deg"`, 1), `"colour"`},
		{strings.Replace(walkLine, `"marks"`, `"motion_direction":"up","marks"`, 1), "motion_direction"},
		{strings.Replace(walkLine, `"marks"`, `"output_delay_s":-1,"marks"`, 1), "output_delay_s"},
		{strings.Replace(walkLine, `"marks"`, `"width_m":2,"marks"`, 1), "width_m"},
		{strings.Replace(walkLine, `"marks"`, `"free":["colour"],"marks"`, 1), "free[0]"},
		{strings.Replace(walkLine, `"x_m":0.3,`, ``, 1), "marks[1]"},
		{strings.Replace(walkLine, `"y_m":2},{"x_m":-0.3,"y_m":1.9},`, `"y_m":2},`, 1), "marks"},
	} {
		_, err := field.ParseWalkTest([]byte(c.text))
		var fault *field.InputError
		if !errors.As(err, &fault) || fault.Member != c.member || strings.Contains(err.Error(), "\n") {
			t.Errorf("%.60s: %v", c.text, err)
		}
	}
}

func FuzzParseWalkTest(f *testing.F) {
	f.Add(walkLine)
	f.Add(`{"marks":[{}],"free":[1]}`)
	f.Fuzz(func(t *testing.T, text string) {
		w, err := field.ParseWalkTest([]byte(text))
		var fault *field.InputError
		if err != nil {
			if !errors.As(err, &fault) {
				t.Fatalf("%v", err)
			}
			return
		}
		a, err := w.Answer()
		if err != nil {
			if !errors.As(err, &fault) {
				t.Fatalf("%v", err)
			}
			return
		}
		if _, err := json.Marshal(a); err != nil {
			t.Fatal(err)
		}
	})
}
