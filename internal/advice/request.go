package advice

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"lintel.example/lintel/internal/field"
)

// The written form of a question: one JSON object. Members are named by what they are with their unit; what is left out has the default
// that is said beside it. The frame is that of the side (see field).
type (
	wireQuestion struct {
		Openings    []wireOpening   `json:"openings"`
		Models      []wireModel     `json:"models"`
		Accessories []wireAccessory `json:"accessories"`
	}
	wireOpening struct {
		Name         string      `json:"name"`
		ClearWidthM  *float64    `json:"clear_width_m"`
		SweepM       float64     `json:"sweep_m"` // how far a leaf sweeps into this side
		StartDelayS  float64     `json:"start_delay_s"`
		OpeningTimeS *float64    `json:"opening_time_s"`
		Header       *wirePlace  `json:"header"`
		Shake        *wireShake  `json:"shake"`
		CeilingM     *float64    `json:"ceiling_m"`
		CutOutsM     []float64   `json:"cut_outs_m"`
		Leaves       []wireLeaf  `json:"leaves"`
		Required     []wireZone  `json:"required"`
		KeptClear    []wireZone  `json:"kept_clear"`
		Ways         []string    `json:"ways"`   // by name, of the fan; all when left out
		Bodies       []string    `json:"bodies"` // by name; walker when left out
		Blown        []wireBlown `json:"blown"`
	}
	wirePlace struct {
		HeightM  float64 `json:"height_m"`
		OffsetXM float64 `json:"offset_x_m"`
		OffsetYM float64 `json:"offset_y_m"`
	}
	wireShake struct {
		AmplitudeM  float64 `json:"amplitude_m"`
		FrequencyHz float64 `json:"frequency_hz"`
	}
	wireLeaf struct {
		Name      string       `json:"name"`
		Turns     *wireTurning `json:"turns"`  // about an upright hinge, into this side
		Closes    *wireClosing `json:"closes"` // a panel in the opening's plane
		Inhibited bool         `json:"inhibited"`
		At        *wireFrame   `json:"at"` // of another door: where the frame of its side lies in this one
	}
	wireTurning struct {
		HingeXM       float64 `json:"hinge_x_m"`
		TowardsX      float64 `json:"towards_x"`
		WidthM        float64 `json:"width_m"`
		HeightM       float64 `json:"height_m"`
		OpensToDeg    float64 `json:"opens_to_deg"`
		SweepTimeS    float64 `json:"sweep_time_s"`
		LeastSpeedMps float64 `json:"least_speed_mps"`
	}
	wireClosing struct {
		FromXM  float64 `json:"from_x_m"`
		ToXM    float64 `json:"to_x_m"`
		HeightM float64 `json:"height_m"`
	}
	wireFrame struct {
		XM      float64 `json:"x_m"`
		YM      float64 `json:"y_m"`
		TurnDeg float64 `json:"turn_deg"`
	}
	wireZone struct {
		Name        string  `json:"name"`
		X0M         float64 `json:"x0_m"`
		X1M         float64 `json:"x1_m"`
		Y0M         float64 `json:"y0_m"`
		Y1M         float64 `json:"y1_m"`
		BodyHeightM float64 `json:"body_height_m"`
	}
	wireBlown struct {
		Name           string  `json:"name"`
		CrossSectionDB float64 `json:"cross_section_db"`
		SpeedMps       float64 `json:"speed_mps"`
		Falls          bool    `json:"falls"`
		DriftMps       float64 `json:"drift_mps"`
		HeightM        float64 `json:"height_m"`
	}
	wireModel struct {
		Name            string        `json:"name"`
		FrequencyHz     float64       `json:"frequency_hz"`
		LeastSpeedMps   float64       `json:"least_speed_mps"`
		LatencyS        float64       `json:"latency_s"`
		Antennas        []wireAntenna `json:"antennas"`
		TiltDeg         []float64     `json:"tilt_deg"`
		YawDeg          []float64     `json:"yaw_deg"`
		ReachDB         []float64     `json:"reach_db"`
		ConfirmTravelMM []float64     `json:"confirm_travel_mm"`
		MotionDirection []string      `json:"motion_direction"`
	}
	wireAntenna struct {
		Name                  string  `json:"name"`
		AzimuthBeamwidthDeg   float64 `json:"azimuth_beamwidth_deg"`
		ElevationBeamwidthDeg float64 `json:"elevation_beamwidth_deg"`
		AttenuationLimitDB    float64 `json:"attenuation_limit_db"`
		BoresightRangeM       float64 `json:"boresight_range_m"`
	}
	wireAccessory struct {
		Name                  string   `json:"name"`
		OutM                  float64  `json:"out_m"`
		IntoCeiling           bool     `json:"into_ceiling"`
		ShakeShare            float64  `json:"shake_share"`
		LossDB                float64  `json:"loss_db"`
		CutOffDeg             *float64 `json:"cut_off_deg"`
		EdgeAngleDeg          *float64 `json:"edge_angle_deg"`
		AzimuthBeamwidthDeg   *float64 `json:"azimuth_beamwidth_deg"`
		ElevationBeamwidthDeg *float64 `json:"elevation_beamwidth_deg"`
	}
)

// MostBytes is how long a written question may be.
const MostBytes = 1 << 20

// How much may be asked about at once.
const (
	mostOpenings = 4
	// MostCandidates bounds one question; advice looks at about ten a millisecond.
	MostCandidates = 200_000
)

// Parse reads a written question. Errors are *field.InputError with the path of the member.
func Parse(text []byte) (Question, error) {
	if len(text) > MostBytes {
		return Question{}, &field.InputError{Reason: fmt.Sprintf("is longer than %d bytes", MostBytes)}
	}
	var w wireQuestion
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&w); err != nil {
		return Question{}, notRead(err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return Question{}, &field.InputError{Reason: "has text after the JSON object"}
	}
	return w.question()
}

func notRead(err error) error {
	var kind *json.UnmarshalTypeError
	var syntax *json.SyntaxError
	switch {
	case errors.Is(err, io.EOF):
		return &field.InputError{Reason: "is empty, not a JSON object"}
	case errors.As(err, &kind):
		return &field.InputError{Member: kind.Field, Reason: "is " + kind.Value + ", not " + wanted(kind.Type.Kind().String())}
	case errors.As(err, &syntax):
		return &field.InputError{Reason: fmt.Sprintf("is not JSON: %v at byte %d", syntax, syntax.Offset)}
	}
	if name, ok := strings.CutPrefix(err.Error(), "json: unknown field "); ok {
		return &field.InputError{Member: strings.Trim(name, `"`), Reason: "is not a known member"}
	}
	return &field.InputError{Reason: "is not JSON: " + strings.TrimPrefix(err.Error(), "json: ")}
}

func wanted(kind string) string {
	switch kind {
	case "float64":
		return "a number"
	case "slice":
		return "a list"
	case "struct":
		return "an object"
	case "bool":
		return "true or false"
	}
	return "text"
}

// fault is a member's.
func fault(path, reason string, args ...any) error {
	return &field.InputError{Member: path, Reason: fmt.Sprintf(reason, args...)}
}

func within(path string, v, low, top float64) error {
	if v >= low && v <= top {
		return nil
	}
	return fault(path, "must be from %g to %g, not %g", low, top, v)
}

// first gives the first error.
func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

func (w wireQuestion) question() (q Question, err error) {
	if n := len(w.Openings); n < 1 || n > mostOpenings {
		return q, fault("openings", "must be 1 to %d", mostOpenings)
	}
	if len(w.Models) == 0 {
		return q, fault("models", "is missing: there is nothing to choose from")
	}
	for i, o := range w.Openings {
		opening, err := o.opening(fmt.Sprintf("openings[%d].", i))
		if err != nil {
			return q, err
		}
		q.Openings = append(q.Openings, opening)
	}
	for i, m := range w.Models {
		model, err := m.model(fmt.Sprintf("models[%d].", i))
		if err != nil {
			return q, err
		}
		q.Models = append(q.Models, model)
	}
	for i, a := range w.Accessories {
		at := fmt.Sprintf("accessories[%d].", i)
		if a.Name == "" {
			return q, fault(at+"name", "is missing")
		}
		if err := first(within(at+"out_m", a.OutM, 0, 2), within(at+"shake_share", a.ShakeShare, 0, 10), within(at+"loss_db", a.LossDB, 0, 30)); err != nil {
			return q, err
		}
		q.Accessories = append(q.Accessories, Accessory{IntoCeiling: a.IntoCeiling, ShakeShare: a.ShakeShare, Accessory: field.Accessory{Name: a.Name, OutM: a.OutM, LossDB: a.LossDB,
			CutOffDeg: a.CutOffDeg, EdgeAngleDeg: a.EdgeAngleDeg, AzimuthBeamwidthDeg: a.AzimuthBeamwidthDeg, ElevationBeamwidthDeg: a.ElevationBeamwidthDeg}})
	}
	if n := q.Size(); n > MostCandidates {
		return q, fault("", "asks about %d candidates; at most %d", n, MostCandidates)
	}
	return q, nil
}

// Size is how many candidates there are.
func (q *Question) Size() (n int) {
	for _, h := range q.hardwareOf() {
		m := h.model
		n += len(stepsOf(m.TiltDeg)) * len(stepsOf(m.YawDeg)) * len(stepsOf(m.ReachDB)) * len(stepsOf(m.ConfirmTravelM)) * max(1, len(m.Direction))
	}
	return n
}

func (w wireOpening) opening(at string) (o Opening, err error) {
	switch {
	case w.Name == "":
		return o, fault(at+"name", "is missing")
	case w.ClearWidthM == nil:
		return o, fault(at+"clear_width_m", "is missing")
	case w.OpeningTimeS == nil:
		return o, fault(at+"opening_time_s", "is missing")
	case w.Header == nil:
		return o, fault(at+"header", "is missing")
	}
	err = first(within(at+"clear_width_m", *w.ClearWidthM, 0.3, 10), within(at+"sweep_m", w.SweepM, 0, 3), within(at+"start_delay_s", w.StartDelayS, 0, 30),
		within(at+"opening_time_s", *w.OpeningTimeS, 0, 60), within(at+"header.height_m", w.Header.HeightM, 0.3, 12), within(at+"header.offset_x_m", w.Header.OffsetXM, -20, 20),
		within(at+"header.offset_y_m", w.Header.OffsetYM, -20, 20))
	if err != nil {
		return o, err
	}
	o = Opening{Name: w.Name, Opening: field.Opening{ClearWidthM: *w.ClearWidthM, EdgeM: w.SweepM, StartDelayS: w.StartDelayS, OpeningTimeS: *w.OpeningTimeS},
		Header: Place(*w.Header), CeilingM: w.CeilingM, CutOutsM: w.CutOutsM}
	if w.Shake != nil {
		if err := first(within(at+"shake.amplitude_m", w.Shake.AmplitudeM, 0, 0.1), within(at+"shake.frequency_hz", w.Shake.FrequencyHz, 0, 1000)); err != nil {
			return o, err
		}
		o.Shake = &field.Shake{AmplitudeM: w.Shake.AmplitudeM, FrequencyHz: w.Shake.FrequencyHz, Along: field.Point{Y: 1}}
	}
	if w.CeilingM != nil {
		if err := within(at+"ceiling_m", *w.CeilingM, 0.3, 12); err != nil {
			return o, err
		}
	}
	for i, l := range w.Leaves {
		leaf, err := l.leaf(fmt.Sprintf("%sleaves[%d].", at, i))
		if err != nil {
			return o, err
		}
		o.Leaves = append(o.Leaves, leaf)
	}
	if o.Required, err = zones(at+"required", w.Required); err != nil {
		return o, err
	}
	if o.KeptClear, err = zones(at+"kept_clear", w.KeptClear); err != nil {
		return o, err
	}
	for i, b := range w.Blown {
		path := fmt.Sprintf("%sblown[%d].", at, i)
		if err := first(within(path+"cross_section_db", b.CrossSectionDB, -80, 0), within(path+"speed_mps", b.SpeedMps, 0.1, 60), within(path+"drift_mps", b.DriftMps, 0, 60), within(path+"height_m", b.HeightM, 0, 3)); err != nil {
			return o, err
		}
		o.Blown = append(o.Blown, field.Blown{Name: b.Name, CrossSectionDB: b.CrossSectionDB, SpeedMps: b.SpeedMps, Falls: b.Falls, DriftMps: b.DriftMps, HeightM: b.HeightM})
	}
	if o.Ways, err = ways(at+"ways", field.Fan(o.Opening), w.Ways); err != nil {
		return o, err
	}
	o.Bodies, err = bodiesNamed(at+"bodies", w.Bodies)
	return o, err
}

func zones(at string, list []wireZone) (out []Zone, err error) {
	for i, z := range list {
		path := fmt.Sprintf("%s[%d].", at, i)
		switch {
		case z.Name == "":
			return nil, fault(path+"name", "is missing")
		case z.X1M <= z.X0M:
			return nil, fault(path+"x1_m", "must be more than x0_m")
		case z.Y1M <= z.Y0M:
			return nil, fault(path+"y1_m", "must be more than y0_m")
		}
		if err := first(within(path+"x0_m", z.X0M, -20, 20), within(path+"x1_m", z.X1M, -20, 20), within(path+"y0_m", z.Y0M, 0, 20), within(path+"y1_m", z.Y1M, 0, 20), within(path+"body_height_m", z.BodyHeightM, 0.1, 3)); err != nil {
			return nil, err
		}
		out = append(out, Zone{z.Name, field.Zone{X0M: z.X0M, X1M: z.X1M, Y0M: z.Y0M, Y1M: z.Y1M, BodyHeightM: z.BodyHeightM}})
	}
	return out, nil
}

func ways(at string, fan []field.Approach, names []string) (list []field.Approach, err error) {
	if len(names) == 0 {
		return fan, nil
	}
	known := make([]string, len(fan))
	for i, a := range fan {
		known[i] = a.Name
	}
names:
	for i, name := range names {
		for _, a := range fan {
			if a.Name == name {
				list = append(list, a)
				continue names
			}
		}
		return nil, fault(fmt.Sprintf("%s[%d]", at, i), "is none of %s", strings.Join(known, ", "))
	}
	return list, nil
}

func bodiesNamed(at string, names []string) (list []field.Body, err error) {
	if len(names) == 0 {
		names = []string{"walker"}
	}
	for i, name := range names {
		b, ok := field.BodyNamed(name)
		if !ok {
			var known []string
			for _, b := range field.Bodies() {
				known = append(known, b.Name)
			}
			return nil, fault(fmt.Sprintf("%s[%d]", at, i), "is none of %s", strings.Join(known, ", "))
		}
		list = append(list, b)
	}
	return list, nil
}

func (w wireLeaf) leaf(at string) (l Leaf, err error) {
	l = Leaf{Name: w.Name, Inhibited: w.Inhibited}
	switch {
	case w.Name == "":
		return l, fault(at+"name", "is missing")
	case (w.Turns == nil) == (w.Closes == nil):
		return l, fault(at+"turns", "or closes must be there, and not both")
	case w.Turns != nil:
		t := *w.Turns
		if t.TowardsX != 1 && t.TowardsX != -1 {
			return l, fault(at+"turns.towards_x", "must be 1 or -1, not %g", t.TowardsX)
		}
		err = first(within(at+"turns.width_m", t.WidthM, 0.1, 5), within(at+"turns.height_m", t.HeightM, 0.5, 6), within(at+"turns.opens_to_deg", t.OpensToDeg, 1, 180),
			within(at+"turns.hinge_x_m", t.HingeXM, -20, 20), within(at+"turns.sweep_time_s", t.SweepTimeS, 0, 60), within(at+"turns.least_speed_mps", t.LeastSpeedMps, 0, 10))
		l.Surface = field.SwingLeaf(t)
	default:
		c := *w.Closes
		err = first(within(at+"closes.from_x_m", c.FromXM, -20, 20), within(at+"closes.to_x_m", c.ToXM, -20, 20), within(at+"closes.height_m", c.HeightM, 0.5, 6))
		l.Surface = field.SlidingLeaf(c)
	}
	if err == nil && w.At != nil {
		l.Surface = field.Frame(*w.At).Leaf(l.Surface)
	}
	return l, err
}

func (w wireModel) model(at string) (m Model, err error) {
	if w.Name == "" {
		return m, fault(at+"name", "is missing")
	}
	if len(w.Antennas) == 0 {
		return m, fault(at+"antennas", "is missing")
	}
	m = Model{Name: w.Name, FrequencyHz: w.FrequencyHz, LeastSpeedMps: w.LeastSpeedMps, LatencyS: w.LatencyS, TiltDeg: w.TiltDeg, YawDeg: w.YawDeg, ReachDB: w.ReachDB}
	if err := first(within(at+"least_speed_mps", w.LeastSpeedMps, 0, 10), within(at+"latency_s", w.LatencyS, 0, 10)); err != nil {
		return m, err
	}
	for _, mm := range w.ConfirmTravelMM {
		m.ConfirmTravelM = append(m.ConfirmTravelM, mm/1000)
	}
	steps := func(name string, list []float64, low, top float64) error {
		for i, v := range list {
			if err := within(fmt.Sprintf("%s%s[%d]", at, name, i), v, low, top); err != nil {
				return err
			}
		}
		return nil
	}
	if err := first(steps("tilt_deg", w.TiltDeg, 0, 90), steps("yaw_deg", w.YawDeg, -180, 180), steps("reach_db", w.ReachDB, -60, 0), steps("confirm_travel_mm", w.ConfirmTravelMM, 0, 5000)); err != nil {
		return m, err
	}
	for i, d := range w.MotionDirection {
		switch direction := field.Direction(d); direction {
		case field.Approaching, field.Departing, field.Either:
			m.Direction = append(m.Direction, direction)
		default:
			return m, fault(fmt.Sprintf("%smotion_direction[%d]", at, i), "must be approach, departure or either")
		}
	}
	for i, a := range w.Antennas {
		antenna := Antenna{a.Name, field.Antenna{AzimuthBeamwidthDeg: a.AzimuthBeamwidthDeg, ElevationBeamwidthDeg: a.ElevationBeamwidthDeg, AttenuationLimitDB: a.AttenuationLimitDB, BoresightRangeM: a.BoresightRangeM}}
		err := field.Device{Mount: field.Mount{HeightM: 2}, Antenna: antenna.Antenna}.Validate()
		var input *field.InputError
		if errors.As(err, &input) {
			return m, fault(fmt.Sprintf("%santennas[%d].%s", at, i, input.Member), "%s", input.Reason)
		}
		m.Antennas = append(m.Antennas, antenna)
	}
	return m, nil
}
