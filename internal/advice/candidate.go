package advice

import "lintel.example/lintel/internal/field"

// Candidate is hardware at its settings.
type Candidate struct {
	Opening        string          `json:"opening"`
	Model          string          `json:"model"`
	Antenna        string          `json:"antenna"`
	Accessories    []string        `json:"accessories"` // from the header outwards; never nil
	Place          Place           `json:"place"`       // where it ends up
	TiltDeg        float64         `json:"tilt_deg"`
	YawDeg         float64         `json:"yaw_deg"`
	ReachDB        float64         `json:"reach_db"`
	ConfirmTravelM float64         `json:"confirm_travel_m"`
	Direction      field.Direction `json:"motion_direction"`
}

// hardware is what is fitted and where, without its settings: advice gives each at its best settings.
type hardware struct {
	opening     *Opening
	model       *Model
	antenna     *Antenna
	place       Place
	accessories []Accessory
}

// hardwareOf gives every combination of place, cover and antenna in the order of the catalogue.
func (q *Question) hardwareOf() []hardware {
	var list []hardware
	for i := range q.Openings {
		o := &q.Openings[i]
		for _, p := range q.places(o) {
			for _, cover := range q.covers() {
				for j := range q.Models {
					m := &q.Models[j]
					for k := range m.Antennas {
						list = append(list, hardware{o, m, &m.Antennas[k], p.Place, append(append([]Accessory(nil), p.by...), cover...)})
					}
				}
			}
		}
	}
	return list
}

// placed is a place with what brings the device there.
type placed struct {
	Place
	by []Accessory
}

// places are the header, what holds the device out from it, and the ceiling.
func (q *Question) places(o *Opening) []placed {
	list := []placed{{Place: o.Header}}
	for _, a := range q.Accessories {
		switch {
		case !a.moves() || a.IntoCeiling && o.CeilingM == nil:
		case a.IntoCeiling:
			for _, out := range o.CutOutsM {
				list = append(list, placed{Place{*o.CeilingM, o.Header.OffsetXM, out}, []Accessory{a}})
			}
		default:
			list = append(list, placed{o.Header, []Accessory{a}})
		}
	}
	return list
}

// covers are none, and each alone.
func (q *Question) covers() [][]Accessory {
	list := [][]Accessory{nil}
	for _, a := range q.Accessories {
		if !a.moves() {
			list = append(list, []Accessory{a})
		}
	}
	return list
}

// device is the hardware aimed at a tilt and yaw, at full reach, behind its accessories.
func (h hardware) device(tiltDeg, yawDeg float64) (field.Device, error) {
	list := make([]field.Accessory, len(h.accessories))
	for i, a := range h.accessories {
		list[i] = a.Accessory
	}
	mount := field.Mount{HeightM: h.place.HeightM, OffsetXM: h.place.OffsetXM, OffsetYM: h.place.OffsetYM, TiltDeg: tiltDeg, YawDeg: yawDeg}
	return field.Apply(field.Device{Mount: mount, Antenna: h.antenna.Antenna}, list)
}

// shake is what of the header's movement reaches the device; nil: nothing.
func (h hardware) shake() *field.Shake {
	if h.opening.Shake == nil {
		return nil
	}
	s := *h.opening.Shake
	for _, a := range h.accessories {
		if a.IntoCeiling {
			return nil // it no longer hangs on the header
		}
		if a.ShakeShare > 0 {
			s.AmplitudeM *= a.ShakeShare
		}
	}
	return &s
}

// names of the accessories.
func (h hardware) names() []string {
	names := make([]string, len(h.accessories))
	for i, a := range h.accessories {
		names[i] = a.Name
	}
	return names
}

// trial is a candidate as the field sees it.
type trial struct {
	hardware
	field.Device
	motion field.Motion

	inHandS     float64
	disturbance float64
	order       int
}

// candidate is the trial as it is told.
func (t trial) candidate() Candidate {
	return Candidate{Opening: t.opening.Name, Model: t.model.Name, Antenna: t.antenna.Name, Accessories: t.names(), Place: Place{t.HeightM, t.OffsetXM, t.OffsetYM}, TiltDeg: t.TiltDeg, YawDeg: t.YawDeg,
		ReachDB: t.ReachDB, ConfirmTravelM: t.motion.ConfirmTravelM, Direction: t.motion.Direction}
}
