package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
)

// The figures were counted on a 2 mm grid by code that is not of this project.
func TestTheCommandGivesTheWorkedExamples(t *testing.T) {
	t.Parallel()
	type example struct {
		height, tilt, yaw, offX, offY, azimuth, elevation, limit, length, reach, plane float64
		clip                                                                           bool
		width, depth, near, far, area                                                  float64
	}
	examples := []example{
		{2.13, 24, 0, 0, 0.05, 29, 36, 25, 6.0, 0, 0, true, 1.980, 2.438, 0.000, 2.438, 3.924},
		{3.00, 24, 0, 0, 0.05, 29, 36, 25, 6.0, 0, 0, true, 2.172, 2.840, 0.000, 2.840, 4.847},
		{4.00, 24, 0, 0, 0.05, 29, 36, 25, 6.0, 0, 0, true, 2.068, 2.696, 0.370, 3.066, 4.357},
		{2.13, 21, 0, 0, 0.05, 58, 29, 25, 6.0, 0, 0, true, 3.956, 1.980, 0.000, 1.980, 6.443},
		{3.00, 21, 0, 0, 0.05, 58, 29, 25, 6.0, 0, 0, true, 4.180, 2.296, 0.074, 2.370, 7.606},
		{2.13, 30, 0, 0, 0.05, 45, 45, 25, 4.0, 0, 0, true, 2.200, 2.394, 0.036, 2.430, 4.105},
		{2.13, 32, 0, 0, 0.05, 36, 40, 25, 4.4, -6, 0, true, 1.214, 1.474, 0.487, 1.961, 1.399},
		{2.75, 32, 0, 0, 0.05, 36, 40, 25, 6.0, 0, 0.71, true, 2.504, 3.074, 0.000, 3.074, 6.069},
		{2.40, 0, 0, 0, 0.90, 60, 60, 25, 5.0, 0, 0, false, 3.564, 3.564, -0.882, 2.682, 9.821},
		{2.40, 35, 20, -0.4, 0.10, 70, 40, 25, 5.0, -3, 0, true, 3.138, 2.420, 0.343, 2.763, 5.819},
	}
	var in strings.Builder
	for _, e := range examples {
		fmt.Fprintf(&in, `{"height_m":%g,"tilt_deg":%g,"yaw_deg":%g,"offset_x_m":%g,"offset_y_m":%g,"azimuth_beamwidth_deg":%g,"elevation_beamwidth_deg":%g,`+
			`"attenuation_limit_db":%g,"boresight_range_m":%g,"reach_db":%g,"plane_height_m":%g,"clip_at_door_plane":%t}`+"\n",
			e.height, e.tilt, e.yaw, e.offX, e.offY, e.azimuth, e.elevation, e.limit, e.length, e.reach, e.plane, e.clip)
	}
	answers := commandAnswers(t, in.String())
	for i, e := range examples {
		got := answers[i]
		for name, pair := range map[string][2]float64{"width": {got.WidthM, e.width}, "depth": {got.DepthM, e.depth}, "near": {got.NearM, e.near}, "far": {got.FarM, e.far}} {
			if math.Abs(pair[0]-pair[1]) > 0.005 {
				t.Errorf("example %d: %s %.4f, want %.3f", i+1, name, pair[0], pair[1])
			}
		}
		if math.Abs(got.AreaM2-e.area) > max(0.003*e.area, 0.0005) {
			t.Errorf("example %d: area %.4f, want %.3f", i+1, got.AreaM2, e.area)
		}
	}
}

type commandAnswer struct {
	WidthM float64 `json:"width_m"`
	DepthM float64 `json:"depth_m"`
	NearM  float64 `json:"near_m"`
	FarM   float64 `json:"far_m"`
	AreaM2 float64 `json:"area_m2"`
}

func commandAnswers(t *testing.T, in string) []commandAnswer {
	t.Helper()
	var out bytes.Buffer
	if err := (&fieldCmd{}).answer(strings.NewReader(in), &out); err != nil {
		t.Fatal(err)
	}
	var answers []commandAnswer
	for d := json.NewDecoder(&out); d.More(); {
		var a commandAnswer
		if err := d.Decode(&a); err != nil {
			t.Fatal(err)
		}
		answers = append(answers, a)
	}
	return answers
}
