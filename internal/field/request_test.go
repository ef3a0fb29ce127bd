package field

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"
)

const smallRequest = `{"height_m":2.13,"tilt_deg":24,"azimuth_beamwidth_deg":29,"elevation_beamwidth_deg":36,"boresight_range_m":6`

func TestARequestTakesItsDefaults(t *testing.T) {
	got, err := ParseRequest([]byte(smallRequest + `}`))
	if err != nil {
		t.Fatal(err)
	}
	if want := device(2.13, 24, 0, 0, 0, 29, 36, 25, 6, 0); got.Device.Mount != want.Mount || got.Device.Antenna != want.Antenna ||
		got.Device.ReachDB != 0 || got.PlaneHeightM != 0 || !got.ClipAtDoorPlane {
		t.Errorf("got %+v", got)
	}
}

func TestARequestTakesEveryMember(t *testing.T) {
	got, err := ParseRequest([]byte(" " + smallRequest + `,"yaw_deg":-20,"offset_x_m":-0.4,"offset_y_m":1e-1,
		"attenuation_limit_db":12,"reach_db":-3.5,"plane_height_m":0.71,"clip_at_door_plane":false}` + "\r"))
	if err != nil {
		t.Fatal(err)
	}
	if want := device(2.13, 24, -20, -.4, .1, 29, 36, 12, 6, -3.5); got.Device.Mount != want.Mount || got.Device.Antenna != want.Antenna ||
		got.Device.ReachDB != -3.5 || got.PlaneHeightM != 0.71 || got.ClipAtDoorPlane {
		t.Errorf("got %+v", got)
	}
}

func TestABadRequestNamesTheMemberAtFault(t *testing.T) {
	full := smallRequest
	for _, c := range []struct{ text, member, reason string }{
		{``, "", "empty"},
		{`  `, "", "empty"},
		{`[]`, "", "a list"},
		{`7`, "", "a number"},
		{`null`, "", "null"},
		{"\xff{}", "", "UTF-8"},
		{`{}`, "height_m", "missing"},
		{strings.Replace(full, `"tilt_deg":24,`, ``, 1) + `}`, "tilt_deg", "missing"},
		{full, "boresight_range_m", "too early"},
		{full + `,}`, "boresight_range_m", "stops being JSON"},
		{full + `,"yaw_deg" 3}`, "yaw_deg", "stops being JSON"},
		{full + `,"yaw_deg":03}`, "yaw_deg", "stops being JSON"},
		{full + `,"yaw_deg":NaN}`, "yaw_deg", "stops being JSON"},
		{full + `} {}`, "", "text after"},
		{full + `}x`, "", "text after"},
		{full + `,"colour":1}`, `"colour"`, "not a known member"},
		{full + `,"Yaw_deg":1}`, `"Yaw_deg"`, "not a known member"},
		{full + `,"a\nb":1}`, `"a\nb"`, "not a known member"},
		{full + `,"height_m":2.13}`, "height_m", "twice"},
		{full + `,"he\u0069ght_m":2.13}`, "height_m", "twice"},
		{full + `,"yaw_deg":null}`, "yaw_deg", "not null"},
		{full + `,"yaw_deg":"1"}`, "yaw_deg", "not text"},
		{full + `,"yaw_deg":[1]}`, "yaw_deg", "not a list"},
		{full + `,"yaw_deg":{"a":1}}`, "yaw_deg", "not an object"},
		{full + `,"yaw_deg":1e999}`, "yaw_deg", "from -180 to 180"},
		{full + `,"yaw_deg":180.0001}`, "yaw_deg", "from -180 to 180"},
		{full + `,"clip_at_door_plane":1}`, "clip_at_door_plane", "not a number"},
		{full + `,"clip_at_door_plane":null}`, "clip_at_door_plane", "not null"},
		{full + `,"plane_height_m":2.14}`, "plane_height_m", "height_m (2.13)"},
		{full + `,"plane_height_m":-0.01}`, "plane_height_m", "from 0"},
		{strings.Replace(full, `2.13`, `0.29`, 1) + `}`, "height_m", "from 0.3 to 12"},
		{strings.Replace(full, `2.13`, `12.01`, 1) + `}`, "height_m", "from 0.3 to 12"},
		{strings.Replace(full, `:24`, `:90.5`, 1) + `}`, "tilt_deg", "from 0 to 90"},
		{strings.Replace(full, `:29`, `:0.9`, 1) + `}`, "azimuth_beamwidth_deg", "from 1 to 180"},
		{strings.Replace(full, `:36`, `:181`, 1) + `}`, "elevation_beamwidth_deg", "from 1 to 180"},
		{strings.Replace(full, `:6`, `:50.1`, 1) + `}`, "boresight_range_m", "from 0.1 to 50"},
		{full + `,"attenuation_limit_db":2.9}`, "attenuation_limit_db", "from 3 to 60"},
		{full + `,"reach_db":0.1}`, "reach_db", "from -60 to 0"},
		{full + `,"offset_x_m":-20.1}`, "offset_x_m", "from -20 to 20"},
		{full + `,"offset_y_m":20.1}`, "offset_y_m", "from -20 to 20"},
	} {
		r, err := ParseRequest([]byte(c.text))
		var fault *InputError
		if !errors.As(err, &fault) {
			t.Errorf("%s: got %+v, %v", c.text, r, err)
			continue
		}
		if fault.Member != c.member || !strings.Contains(fault.Reason, c.reason) {
			t.Errorf("%s: says %q about %q, want %q about %q", c.text, fault.Reason, fault.Member, c.reason, c.member)
		}
	}
}

func TestAnEmptyFieldIsZerosAndAnEmptyList(t *testing.T) {
	r, err := ParseRequest([]byte(smallRequest + `,"reach_db":-60}`))
	if err != nil {
		t.Fatal(err)
	}
	got, err := json.Marshal(r.Answer())
	if want := `{"width_m":0,"depth_m":0,"near_m":0,"far_m":0,"area_m2":0,"polygons":[]}`; err != nil || string(got) != want {
		t.Errorf("got %s, %v", got, err)
	}
}

func FuzzParseRequest(f *testing.F) {
	for _, s := range []string{
		``, `{}`, `null`, `[{}]`, smallRequest, smallRequest + `}`, smallRequest + `,}`, smallRequest + `} x`,
		smallRequest + `,"yaw_deg":-0.0,"clip_at_door_plane":false}`, smallRequest + `,"height_m":1}`, smallRequest + `,"x":{"y":[1]}}`,
		smallRequest + `,"reach_db":-1e1}`, smallRequest + `,"plane_height_m":2.13}`, `{"\ud800":1}`, `{"tilt_deg":1e-400`, "\xef\xbb\xbf{}",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		r, err := ParseRequest(text)
		if err != nil {
			var fault *InputError
			if !errors.As(err, &fault) || strings.ContainsAny(err.Error(), "\n\r\x00") {
				t.Fatalf("error %q is not one line about the input", err)
			}
			return
		}
		if !json.Valid(text) {
			t.Fatalf("took text that is not JSON")
		}
		if err := r.Device.Validate(); err != nil || r.PlaneHeightM < 0 || r.PlaneHeightM > r.Device.HeightM {
			t.Fatalf("took %+v: %v", r, err)
		}
		if a := r.Answer(); math.IsNaN(a.AreaM2 + a.WidthM + a.DepthM + a.NearM + a.FarM) {
			t.Fatalf("%+v gives %+v", r, a)
		}
	})
}
