package fleet

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/field"
)

// Senses is how a model senses that is no radar, with the meaning and the limits of internal/field's SpotGrid, Curtain, Beam, Mat and Plate. Which
// members a way of sensing has is said by sensed; the others are nil. The JSON names are the recorded form.
type Senses struct {
	Purpose string   `json:"purpose"`           // activation, presence, both; knowing_act of a knowing act
	StillS  *float64 `json:"still_s,omitempty"` // for how long at least somebody who stands still is told
	Endless bool     `json:"endless,omitempty"` // instead of StillS: as long as somebody stands there
	HoldS   float64  `json:"hold_s"`            // how long the output stays after the last, 0 to 3600

	Rows           *float64 `json:"rows,omitempty"` // of spots
	Columns        *float64 `json:"columns,omitempty"`
	RowStepDeg     *float64 `json:"row_step_deg,omitempty"`
	ColumnStepDeg  *float64 `json:"column_step_deg,omitempty"`
	DetectionShare *float64 `json:"detection_share,omitempty"` // of a spot that a body covers when it is seen

	LeansDeg  []float64 `json:"leans_deg,omitempty"` // of each sheet from where the mount's tilt looks
	FromDeg   *float64  `json:"from_deg,omitempty"`
	ToDeg     *float64  `json:"to_deg,omitempty"`
	StepDeg   *float64  `json:"step_deg,omitempty"`
	SpotM     *float64  `json:"spot_m,omitempty"`
	WholeSpot *bool     `json:"whole_spot,omitempty"`

	OnLeaf *bool `json:"on_leaf,omitempty"` // it is made to be fixed to a leaf that turns, and moves with it; its mount is told with the leaf closed

	DivergenceDeg *float64 `json:"divergence_deg,omitempty"` // of a spot, of a ray
	RangeM        *float64 `json:"range_m,omitempty"`        // of a spot, of a ray; of a beam, from end to end
	DiameterM     *float64 `json:"diameter_m,omitempty"`     // of a beam
	WidthM        *float64 `json:"width_m,omitempty"`        // of a mat, along the opening
	DepthM        *float64 `json:"depth_m,omitempty"`        // of a mat, away from the door
	ReachM        *float64 `json:"reach_m,omitempty"`        // from where on the floor a plate is within reach
}

// sensedBy is which members a way of sensing must have, which others it may have, and what of the mount its field needs.
type sensedBy struct{ must, may, mount []string }

func sensed() map[string]sensedBy {
	place := []string{"height_m", "offset_x_m", "offset_y_m"}
	return map[string]sensedBy{
		"infrared_presence": {must: []string{"rows", "columns", "row_step_deg", "column_step_deg", "divergence_deg", "range_m", "detection_share"}, may: []string{"on_leaf"},
			mount: append(slices.Clone(place), "tilt_deg", "yaw_deg")},
		"laser_curtain": {must: []string{"leans_deg", "from_deg", "to_deg", "step_deg", "range_m", "spot_m", "divergence_deg"}, may: []string{"whole_spot", "on_leaf"},
			mount: append(slices.Clone(place), "tilt_deg", "yaw_deg")},
		"beam":        {must: []string{"range_m", "diameter_m"}, mount: place},
		"mat":         {must: []string{"width_m", "depth_m"}, mount: place[1:]},
		"knowing_act": {must: []string{"reach_m"}, mount: place},
	}
}

func (s *Senses) check(faults *fault.List, sensing string) {
	of, ok := sensed()[sensing]
	if !ok {
		faults.Add("/senses", "senses_of_other_kind", "kinds", strings.Join(slices.Sorted(maps.Keys(sensed())), ", "))
		return
	}
	purposes := []string{"activation", "presence", "both"}
	if sensing == "knowing_act" {
		purposes = []string{"knowing_act"}
	}
	checkOneOf(faults, "/senses/purpose", s.Purpose, purposes...)
	checkNumber(faults, "/senses/hold_s", &s.HoldS, 0, 3600)
	presence := s.Purpose == "presence" || s.Purpose == "both"
	switch {
	case presence && (s.StillS != nil) == s.Endless:
		faults.Add("/senses/still_s", "still_or_endless")
	case !presence && s.Endless:
		faults.Add("/senses/endless", "presence_only")
	case !presence && s.StillS != nil:
		faults.Add("/senses/still_s", "presence_only")
	}
	checkNumber(faults, "/senses/still_s", s.StillS, 0.1, 86400)
	s.checkMembers(faults, of)
	if s.FromDeg != nil && s.ToDeg != nil && *s.ToDeg <= *s.FromDeg {
		faults.Add("/senses/to_deg", "not_more_than", "other", "from_deg")
	}
}

func (s *Senses) checkMembers(faults *fault.List, of sensedBy) {
	rangeM := 20.0
	if slices.Contains(of.must, "leans_deg") || slices.Contains(of.must, "diameter_m") {
		rangeM = 50
	}
	divergence := [2]float64{0.1, 20}
	if slices.Contains(of.must, "leans_deg") {
		divergence = [2]float64{0, 5}
	}
	for _, m := range []struct {
		name            string
		value           *float64
		least, greatest float64
	}{{"rows", s.Rows, 1, 64}, {"columns", s.Columns, 1, 64}, {"row_step_deg", s.RowStepDeg, 0, 45}, {"column_step_deg", s.ColumnStepDeg, 0, 45},
		{"detection_share", s.DetectionShare, 0.02, 0.45}, {"from_deg", s.FromDeg, -85, 85}, {"to_deg", s.ToDeg, -85, 85}, {"step_deg", s.StepDeg, 0.01, 10},
		{"spot_m", s.SpotM, 0.001, 0.1}, {"divergence_deg", s.DivergenceDeg, divergence[0], divergence[1]}, {"range_m", s.RangeM, 0.1, rangeM},
		{"diameter_m", s.DiameterM, 0.001, 0.2}, {"width_m", s.WidthM, 0.05, 20}, {"depth_m", s.DepthM, 0.05, 20}, {"reach_m", s.ReachM, 0.05, 2}} {
		if belongs(faults, of, m.name, m.value != nil) {
			checkNumber(faults, "/senses/"+m.name, m.value, m.least, m.greatest)
		}
	}
	for _, m := range []struct {
		name  string
		value *float64
	}{{"rows", s.Rows}, {"columns", s.Columns}} {
		if m.value != nil && *m.value != math.Trunc(*m.value) {
			faults.Add("/senses/"+m.name, "not_whole_number")
		}
	}
	belongs(faults, of, "whole_spot", s.WholeSpot != nil)
	belongs(faults, of, "on_leaf", s.OnLeaf != nil)
	if !belongs(faults, of, "leans_deg", len(s.LeansDeg) > 0) {
		return
	}
	if len(s.LeansDeg) > 16 {
		faults.Add("/senses/leans_deg", "too_many", "most", 16)
	}
	for i := range s.LeansDeg {
		checkNumber(faults, fmt.Sprintf("/senses/leans_deg/%d", i), &s.LeansDeg[i], -80, 80)
	}
}

// belongs adds a fault for a member that is missing or of another way of sensing; false: there is nothing more to check of it.
func belongs(faults *fault.List, of sensedBy, name string, there bool) bool {
	must := slices.Contains(of.must, name)
	switch {
	case !there && must:
		faults.Add("/senses/"+name, "sense_missing")
	case there && !must && !slices.Contains(of.may, name):
		faults.Add("/senses/"+name, "sense_of_other_kind", "members", strings.Join(slices.Concat(of.must, of.may), ", "))
	default:
		return there
	}
	return false
}

// volume is a checked entry as the field's physics sees it, at a mount. A curtain's sheets lean from where the mount's tilt looks. A beam's other
// end stands at the mirror place, as far on the other side of the opening's middle. A mat's place is the middle of its edge next to the door.
func (s *Senses) volume(sensing string, m field.Mount) (field.Volume, error) {
	is := field.Sensing{Purpose: field.Purpose(s.Purpose), HoldS: s.HoldS}
	switch {
	case s.Endless:
		is.StillS = math.Inf(1)
	case s.StillS != nil:
		is.StillS = *s.StillS
	}
	var v field.Volume
	switch sensing {
	case "infrared_presence":
		v = field.SpotGrid{Sensing: is, Mount: m, Rows: int(*s.Rows), Columns: int(*s.Columns), RowStepDeg: *s.RowStepDeg, ColumnStepDeg: *s.ColumnStepDeg,
			DivergenceDeg: *s.DivergenceDeg, RangeM: *s.RangeM, DetectionShare: *s.DetectionShare}
	case "laser_curtain":
		c := field.Curtain{Sensing: is, HeightM: m.HeightM, YawDeg: m.YawDeg, OffsetXM: m.OffsetXM, OffsetYM: m.OffsetYM, FromDeg: *s.FromDeg, ToDeg: *s.ToDeg,
			StepDeg: *s.StepDeg, RangeM: *s.RangeM, SpotM: *s.SpotM, DivergenceDeg: *s.DivergenceDeg, WholeSpot: s.WholeSpot != nil && *s.WholeSpot}
		for _, lean := range s.LeansDeg {
			c.LeansDeg = append(c.LeansDeg, lean+m.TiltDeg)
		}
		v = c
	case "beam":
		if span := 2 * math.Abs(m.OffsetXM); span > *s.RangeM {
			return nil, &field.InputError{Member: "offset_x_m", Reason: fmt.Sprintf("is farther from its other end (%g m) than the beam reaches", span)}
		}
		v = field.Beam{Sensing: is, From: field.Point{X: m.OffsetXM, Y: m.OffsetYM, Z: m.HeightM}, To: field.Point{X: -m.OffsetXM, Y: m.OffsetYM, Z: m.HeightM}, DiameterM: *s.DiameterM}
	case "mat":
		v = field.Mat{Sensing: is, X0M: m.OffsetXM - *s.WidthM/2, X1M: m.OffsetXM + *s.WidthM/2, Y0M: m.OffsetYM, Y1M: m.OffsetYM + *s.DepthM}
	default:
		v = field.Plate{Sensing: is, XM: m.OffsetXM, YM: m.OffsetYM, HeightM: m.HeightM, ReachM: *s.ReachM}
	}
	return v, v.Validate()
}

// watch is a device of any kind as the field's physics sees it, or the names of the inputs that are missing.
func (p picture) watch(d deviceInPlace) (field.Volume, []string) {
	facts := d.revision.Device
	if d.sensing == "radar" {
		v, missing := p.volume(facts)
		return v, missing
	}
	var s *Senses
	if id := d.component.ModelID; id != nil {
		s = p.models[*id].Senses
	}
	if s == nil {
		return nil, []string{"sensing"}
	}
	var m field.Mount
	missing := []string{}
	for _, one := range []struct {
		name string
		from Quantity
		to   *float64
	}{{"height_m", facts.Mount.HeightM, &m.HeightM}, {"tilt_deg", facts.Mount.TiltDeg, &m.TiltDeg}, {"yaw_deg", facts.Mount.YawDeg, &m.YawDeg},
		{"offset_x_m", facts.Mount.OffsetXM, &m.OffsetXM}, {"offset_y_m", facts.Mount.OffsetYM, &m.OffsetYM}} {
		switch needed := slices.Contains(sensed()[d.sensing].mount, one.name); {
		case needed && !one.from.Known():
			missing = append(missing, one.name)
		case needed:
			*one.to = *one.from.Value
		}
	}
	for _, id := range facts.Accessories {
		a := p.accessories[id]
		if a.Effect.CutOffDeg != nil || a.Effect.EdgeAngleDeg != nil || a.Effect.LossDB != nil || a.Effect.AzimuthBeamwidthDeg != nil {
			missing = append(missing, "accessory_effect") // what a hood does to light nobody has put down
		} else if a.Effect.OutM != nil {
			m.OffsetYM += *a.Effect.OutM
		}
	}
	if len(missing) > 0 {
		return nil, missing
	}
	v, err := s.volume(d.sensing, m)
	if err != nil {
		return nil, []string{"mount: " + err.Error()}
	}
	return v, nil
}

// LeafSight is what a device sees of one of the door's leaves.
type LeafSight struct {
	Leaf    int     `json:"leaf"` // from 1 on
	Seen    bool    `json:"seen"`
	FromDeg float64 `json:"from_deg"` // the first and last opening angle at which something of a leaf that turns is seen; 0 of one that does not
	ToDeg   float64 `json:"to_deg"`
	OnIt    bool    `json:"on_it"` // the device is fixed to this leaf and moves with it
}

// leafSights holds a device against the door's leaves as they move on its side. known is false when something is missing to say it of all of them.
func (p picture) leafSights(d deviceInPlace) (list []LeafSight, known bool) {
	v, missing := p.watch(d)
	if len(missing) > 0 {
		return nil, false
	}
	on, carrier := p.carrierOf(d)
	known = len(p.door.Facts.Leaves) > 0
	for i, l := range p.door.Facts.Leaves {
		surface, ok := p.leafSurface(l, d.component.Fitting.Side)
		known = known && ok
		if surface == nil {
			continue
		}
		c := field.SeesLeaf(v, surface, carrier)
		list = append(list, LeafSight{Leaf: i + 1, Seen: c.Seen, FromDeg: c.FirstDeg, ToDeg: c.LastDeg, OnIt: i == on})
	}
	return list, known
}

// seesLeaf is leafSights as far as whether anything is seen.
func (p picture) seesLeaf(d deviceInPlace) (seen, known bool) {
	v, missing := p.watch(d)
	if len(missing) > 0 {
		return false, false
	}
	_, carrier := p.carrierOf(d)
	known = len(p.door.Facts.Leaves) > 0
	for _, l := range p.door.Facts.Leaves {
		surface, ok := p.leafSurface(l, d.component.Fitting.Side)
		known = known && ok
		seen = seen || surface != nil && field.LeafIsSeen(v, surface, carrier)
	}
	return seen, known
}

// carrierOf is the leaf that a device is fixed to, of several the one whose middle is nearest to it; nil when it stays where it is.
func (p picture) carrierOf(d deviceInPlace) (leaf int, carrier field.Carrier) {
	leaf = -1
	id := d.component.ModelID
	if id == nil {
		return leaf, nil
	}
	s := p.models[*id].Senses
	if s == nil || s.OnLeaf == nil || !*s.OnLeaf || !d.revision.Device.Mount.OffsetXM.Known() {
		return leaf, nil
	}
	least := math.Inf(1)
	for i, l := range p.door.Facts.Leaves {
		surface, _ := p.leafSurface(l, d.component.Fitting.Side)
		one, ok := surface.(field.Carrier)
		if !ok {
			continue
		}
		middle, _ := one.Middle()
		if away := math.Abs(middle - *d.revision.Device.Mount.OffsetXM.Value); away < least {
			leaf, carrier, least = i, one, away
		}
	}
	return leaf, carrier
}
