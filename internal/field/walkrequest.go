package field

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"unicode/utf8"
)

// walkLine is a walk test of the line protocol. What must be said, or is not 0 when nobody says it, is a pointer.
type walkLine struct {
	HeightM               *float64    `json:"height_m"`
	TiltDeg               *float64    `json:"tilt_deg"`
	YawDeg                float64     `json:"yaw_deg"`
	OffsetXM              float64     `json:"offset_x_m"`
	OffsetYM              float64     `json:"offset_y_m"`
	AzimuthBeamwidthDeg   *float64    `json:"azimuth_beamwidth_deg"`
	ElevationBeamwidthDeg *float64    `json:"elevation_beamwidth_deg"`
	BoresightRangeM       *float64    `json:"boresight_range_m"`
	AttenuationLimitDB    *float64    `json:"attenuation_limit_db"`
	ReachDB               float64     `json:"reach_db"`
	LeastSpeedMps         float64     `json:"least_speed_mps"`
	ConfirmTravelMM       float64     `json:"confirm_travel_mm"`
	MotionDirection       Direction   `json:"motion_direction"`
	OutputDelayS          float64     `json:"output_delay_s"`
	BodyHeightM           *float64    `json:"body_height_m"`
	Marks                 []walkMark  `json:"marks"`
	WidthM                *float64    `json:"width_m"`
	DepthM                *float64    `json:"depth_m"`
	Free                  []Parameter `json:"free"`
}

type walkMark struct {
	XM         *float64 `json:"x_m"`
	YM         *float64 `json:"y_m"`
	HeadingDeg *float64 `json:"heading_deg"` // unsaid: to the middle of the opening
	SpeedMps   *float64 `json:"speed_mps"`   // unsaid: EasyWalkMps
}

// EasyWalkMps is how fast somebody walks who is asked to walk up to a door: our own choice.
const EasyWalkMps = 1.0

// ParseWalkTest reads one JSON object with a device as it is recorded, how it is set, and what was measured. An *InputError names the member at fault.
func ParseWalkTest(text []byte) (WalkTest, error) {
	var l walkLine
	if !utf8.Valid(text) {
		return WalkTest{}, &InputError{"", "is not UTF-8"}
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&l); err != nil {
		return WalkTest{}, notWalked(err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return WalkTest{}, &InputError{"", "has text after the JSON object"}
	}
	for _, m := range []struct {
		name string
		said *float64
	}{{"height_m", l.HeightM}, {"tilt_deg", l.TiltDeg}, {"azimuth_beamwidth_deg", l.AzimuthBeamwidthDeg}, {"elevation_beamwidth_deg", l.ElevationBeamwidthDeg},
		{"boresight_range_m", l.BoresightRangeM}, {"body_height_m", l.BodyHeightM}} {
		if m.said == nil {
			return WalkTest{}, &InputError{m.name, "is missing"}
		}
	}
	if len(l.Free) == 0 {
		l.Free = []Parameter{RangeParameter, TiltParameter}
	}
	if l.AttenuationLimitDB == nil {
		l.AttenuationLimitDB = &unsaidAttenuationDB
	}
	w := WalkTest{Free: l.Free, Device: Device{Mount: Mount{HeightM: *l.HeightM, TiltDeg: *l.TiltDeg, YawDeg: l.YawDeg, OffsetXM: l.OffsetXM, OffsetYM: l.OffsetYM},
		Antenna: Antenna{*l.AzimuthBeamwidthDeg, *l.ElevationBeamwidthDeg, *l.AttenuationLimitDB, *l.BoresightRangeM}, ReachDB: l.ReachDB},
		Motion: Motion{LeastSpeedMps: l.LeastSpeedMps, ConfirmTravelM: l.ConfirmTravelMM / 1000, Direction: l.MotionDirection, LatencyS: l.OutputDelayS}}
	if err := checkAll(measured{limit{"least_speed_mps", 0, 10}, l.LeastSpeedMps}, measured{limit{"confirm_travel_mm", 0, 5000}, l.ConfirmTravelMM}, measured{limitDelay, l.OutputDelayS}); err != nil {
		return WalkTest{}, err
	}
	switch l.MotionDirection {
	case "":
		w.Motion.Direction = Either
	case Approaching, Departing, Either:
	default:
		return WalkTest{}, &InputError{"motion_direction", "must be approach, departure or either"}
	}
	for i, m := range l.Marks {
		if m.XM == nil || m.YM == nil {
			return WalkTest{}, &InputError{fmt.Sprintf("marks[%d]", i), "must have x_m and y_m"}
		}
		mark := Mark{At: XY{*m.XM, *m.YM}, SpeedMps: EasyWalkMps, BodyHeightM: *l.BodyHeightM, HeadingDeg: ToTheMiddleDeg(*m.XM, *m.YM)}
		if m.HeadingDeg != nil {
			mark.HeadingDeg = *m.HeadingDeg
		}
		if m.SpeedMps != nil {
			mark.SpeedMps = *m.SpeedMps
		}
		w.Marks = append(w.Marks, mark)
	}
	if (l.WidthM == nil) != (l.DepthM == nil) {
		return WalkTest{}, &InputError{"width_m", "and depth_m are taped together"}
	}
	if l.WidthM != nil {
		w.Taped = &Taped{*l.WidthM, *l.DepthM, *l.BodyHeightM}
	}
	return w, w.check()
}

// limitDelay is of what a device's electronics are late.
var limitDelay = limit{"output_delay_s", 0, 5}

var unsaidAttenuationDB = 25.0

// ToTheMiddleDeg is the heading of a walk from a point to the middle of the opening.
func ToTheMiddleDeg(x, y float64) float64 { return math.Atan2(-x, -y) * 180 / math.Pi }

func notWalked(err error) error {
	var kind *json.UnmarshalTypeError
	switch {
	case errors.Is(err, io.EOF):
		return &InputError{"", "is empty, not a JSON object"}
	case errors.As(err, &kind):
		if kind.Field == "" {
			return &InputError{"", "is " + kind.Value + ", not a JSON object"}
		}
		return &InputError{kind.Field, "is of the wrong type: " + kind.Value}
	}
	if name, ok := strings.CutPrefix(err.Error(), "json: unknown field "); ok {
		return &InputError{quoted(strings.Trim(name, `"`)), "is not a known member"}
	}
	return notJSON("", err)
}

// WalkAnswer is what a walk test says, as the line protocol gives it.
type WalkAnswer struct {
	ModelVersion string         `json:"model_version"`
	Fitted       []Fitted       `json:"fitted"`
	Residuals    []walkResidual `json:"residuals"` // of the marks in their order, or of width and depth
	ScatterM     float64        `json:"scatter_m"`
	Next         *walkNext      `json:"next_mark,omitempty"` // where another mark would help most
	Caution      string         `json:"caution"`
}

type walkResidual struct {
	M       float64 `json:"m"` // outward of where the fitted device answers
	Outlier bool    `json:"outlier,omitempty"`
	Unused  Unseen  `json:"unused,omitempty"`
}

type walkNext struct {
	XM         float64 `json:"x_m"`
	YM         float64 `json:"y_m"`
	HeadingDeg float64 `json:"heading_deg"`
}

// walkCaution is said with every answer.
const walkCaution = "Computed without reflections and shadows; intervals hold 95 % as far as the mount was measured as well as said. The standard in force, the maker's instructions and the local code prevail; a door that misses people is secured first."

// Answer fits and says what came of it, to the micrometre and the like.
func (w WalkTest) Answer() (WalkAnswer, error) {
	f, err := w.Fit()
	if err != nil {
		return WalkAnswer{}, err
	}
	a := WalkAnswer{ModelVersion: f.ModelVersion, ScatterM: micro(f.ScatterM), Residuals: []walkResidual{}, Caution: walkCaution}
	for _, v := range f.Values {
		v.Value, v.SD, v.Low, v.Top = micro(v.Value), micro(v.SD), micro(v.Low), micro(v.Top)
		a.Fitted = append(a.Fitted, v)
	}
	for _, r := range f.Residuals {
		a.Residuals = append(a.Residuals, walkResidual{micro(r.M), r.Outlier, r.Unused})
	}
	if f.Next != nil {
		a.Next = &walkNext{micro(f.Next.At[0]), micro(f.Next.At[1]), micro(f.Next.HeadingDeg)}
	}
	return a, nil
}
