package advice

import "lintel.example/lintel/internal/field"

// Question is what advice is asked about: the sides on which the device may stand, and what there is to choose from.
type Question struct {
	Openings    []Opening
	Models      []Model
	Accessories []Accessory
	Means       []Means // to watch the zones in which somebody may stand
}

// Opening is one side of a door in that side's frame (see field), without a word about what kind of door it is.
type Opening struct {
	Name string
	field.Opening

	Header   Place        // on the header's face: its height and how far it stands out from the mid-plane of the closed leaf
	Shake    *field.Shake // of the header; nil: it is still
	CeilingM *float64     // height of a ceiling into which a device can be set; nil: none
	CutOutsM []float64    // how far from the door holes may be cut into it

	Leaves    []Leaf // that move and must leave the device alone: the door's own, a neighbour's
	Required  []Zone
	Standing  []Zone // in which somebody who stands must be told of: what they ask is asked of Means
	KeptClear []Zone
	Ways      []field.Approach // that people come
	Bodies    []field.Body     // that come
	Blown     []field.Blown    // that comes as well
}

// Place is where a device can be fixed.
type Place struct {
	HeightM  float64 `json:"height_m"`
	OffsetXM float64 `json:"offset_x_m"`
	OffsetYM float64 `json:"offset_y_m"`
}

// Leaf is a leaf near the device.
type Leaf struct {
	Name      string
	Surface   field.Leaf
	Inhibited bool // the control ignores the device while this leaf moves
}

// Zone is a rectangle of floor by name.
type Zone struct {
	Name string
	field.Zone
}

// Model is a device model with the steps that its settings have; a setting without steps stays at 0, the direction at Either.
type Model struct {
	Name           string
	Antennas       []Antenna
	FrequencyHz    float64
	LeastSpeedMps  float64
	LatencyS       float64
	TiltDeg        []float64
	YawDeg         []float64
	ReachDB        []float64
	ConfirmTravelM []float64
	Direction      []field.Direction
}

// Antenna is one of a model's.
type Antenna struct {
	Name string
	field.Antenna
}

// Accessory is a catalogue entry with what else there is to know to choose it.
type Accessory struct {
	field.Accessory
	IntoCeiling bool    // it needs a ceiling to be set into
	ShakeShare  float64 // what of the header's movement reaches the device behind it; 0 is taken as 1, all of it
}

// moves says whether it puts the device elsewhere; others only cover it.
func (a Accessory) moves() bool {
	return a.IntoCeiling || a.OutM > 0 || a.HeightM != nil || a.FromDoorM != nil
}
