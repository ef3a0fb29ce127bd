package field

import (
	"fmt"
	"math"
	"strings"
)

// Mount is where a device stands in the frame of its side and where it aims.
type Mount struct {
	HeightM  float64 // above the finished floor, 0.3 to 12
	TiltDeg  float64 // from straight down (0) to the horizontal (90)
	YawDeg   float64 // about the vertical, positive towards +x, −180 to 180
	OffsetXM float64 // −20 to 20
	OffsetYM float64 // from the mid-plane of the closed leaf, −20 to 20
}

// Antenna is described by its full half-power beamwidths.
type Antenna struct {
	AzimuthBeamwidthDeg   float64 `json:"azimuth_beamwidth_deg"`   // 1 to 180
	ElevationBeamwidthDeg float64 `json:"elevation_beamwidth_deg"` // 1 to 180
	AttenuationLimitDB    float64 `json:"attenuation_limit_db"`    // one-way attenuation that no direction exceeds, 3 to 60
	BoresightRangeM       float64 `json:"boresight_range_m"`       // on the axis at full reach, 0.1 to 50
}

// Device is a mounted, set motion sensor with what its accessories do to it. The zero value is not valid; Apply adds
// accessories.
type Device struct {
	Mount
	Antenna
	ReachDB float64 // change of sensitivity relative to full reach, −60 to 0
	LossDB  float64 // insertion loss of covers, one way; the echo suffers it twice
	Cuts    []Cut   // what accessories hide
}

// Cut is an opaque edge near the device: a plane through the sensor beyond which nothing is seen. The edge is level and at
// right angles to the direction YawDeg; what lies in that direction at more than AngleDeg from straight down is hidden.
type Cut struct {
	YawDeg   float64 // −180 to 180
	AngleDeg float64 // 0 (straight down) to 90 (the horizontal)
}

// InputError says which member of the input is at fault.
type InputError struct {
	Member string // as in the line protocol, height_m; "" for the input as a whole
	Reason string
}

// Error implements error.
func (e *InputError) Error() string { return strings.TrimSpace(e.Member + " " + e.Reason) }

// limit is what a member may be.
type limit struct {
	member   string
	low, top float64
}

// The limits of every member that describes a device.
var (
	limitHeight    = limit{"height_m", 0.3, 12}
	limitTilt      = limit{"tilt_deg", 0, 90}
	limitYaw       = limit{"yaw_deg", -180, 180}
	limitOffsetX   = limit{"offset_x_m", -20, 20}
	limitOffsetY   = limit{"offset_y_m", -20, 20}
	limitAzimuth   = limit{"azimuth_beamwidth_deg", 1, 180}
	limitElevation = limit{"elevation_beamwidth_deg", 1, 180}
	limitCap       = limit{"attenuation_limit_db", 3, 60}
	limitRange     = limit{"boresight_range_m", 0.1, 50}
	limitReach     = limit{"reach_db", -60, 0}
	limitLoss      = limit{"loss_db", 0, 30}
	limitCutAngle  = limit{"cut_angle_deg", 0, 90}
	limitCutYaw    = limit{"cut_yaw_deg", -180, 180}
)

// check gives an *InputError when v is outside the limit or no number.
func (l limit) check(v float64) error {
	if v >= l.low && v <= l.top {
		return nil
	}
	return &InputError{l.member, fmt.Sprintf("must be from %g to %g, not %g", l.low, l.top, v)}
}

func (m Mount) validate() error {
	return checkAll(measured{limitHeight, m.HeightM}, measured{limitTilt, m.TiltDeg}, measured{limitYaw, m.YawDeg},
		measured{limitOffsetX, m.OffsetXM}, measured{limitOffsetY, m.OffsetYM})
}

// Validate implements Volume.
func (d Device) Validate() error {
	if err := d.Mount.validate(); err != nil {
		return err
	}
	if err := checkAll(measured{limitAzimuth, d.AzimuthBeamwidthDeg}, measured{limitElevation, d.ElevationBeamwidthDeg},
		measured{limitCap, d.AttenuationLimitDB}, measured{limitRange, d.BoresightRangeM},
		measured{limitReach, d.ReachDB}, measured{limitLoss, d.LossDB}); err != nil {
		return err
	}
	for _, c := range d.Cuts {
		if err := limitCutYaw.check(c.YawDeg); err != nil {
			return err
		}
		if err := limitCutAngle.check(c.AngleDeg); err != nil {
			return err
		}
	}
	return nil
}

// Point is a place in the frame of a side, in metres.
type Point struct{ X, Y, Z float64 }

// Volume is anything that senses, whatever its principle.
type Volume interface {
	// Validate gives an *InputError for the first member outside its limits. The other methods take what is valid.
	Validate() error
	// Senses says what the output is good for, and how long it lasts.
	Senses() Sensing
	// OnPlane gives the field on the level plane at a height above the floor (in metres, either side of the device),
	// clipped at the door's plane (y ≥ 0) when asked. Rings are as Footprint describes.
	OnPlane(zM float64, clipAtDoorPlane bool) []Polygon
	// OfBody gives the floor points above which any part of a body of that height gives it away, from 0.1 m up to its height
	// (up to 3 m), clipped when asked. Where a gap takes a whole body, the body is not seen.
	OfBody(bodyHeightM float64, clipAtDoorPlane bool) []Polygon
	// SeesBody says whether a body of that height with its middle at the floor point is seen, however it is turned.
	SeesBody(at XY, bodyHeightM float64) bool
}

var _ Volume = Device{}

// Senses implements Volume: a motion sensor tells of those who come, and nothing of those who stand.
func (d Device) Senses() Sensing { return Sensing{Purpose: Activation} }

// fullReachM is the range on the boresight at the present reach and loss.
func (d Device) fullReachM() float64 {
	return d.BoresightRangeM * math.Pow(10, (d.ReachDB-2*d.LossDB)/40)
}

// ballM is the radius of the ball that the side lobes make.
func (d Device) ballM() float64 { return d.fullReachM() * math.Pow(10, -d.AttenuationLimitDB/20) }

// InVolume says whether a body at the point is detectable.
func (d Device) InVolume(p Point) bool { return d.ReachNeededDB(p) <= d.ReachDB }

// ReachNeededDB is the least reach_db (it may be above 0) at which a body at the point is detectable; +Inf when an
// accessory hides the point, −Inf at the sensor itself.
func (d Device) ReachNeededDB(p Point) float64 { a := d.aim(); return a.reachNeededDB(p) }

// aim is a device with its angles worked out, for many points.
type aim struct {
	Device
	sinT, cosT, sinW, cosW float64
	hidden                 [][3]float64 // normals of the cuts
	doorway                *Doorway     // nil: nothing but air at the door's plane
}

func (d Device) aim() aim {
	a := aim{Device: d}
	a.sinT, a.cosT = sincosDeg(d.TiltDeg)
	a.sinW, a.cosW = sincosDeg(d.YawDeg)
	for _, c := range d.Cuts {
		a.hidden = append(a.hidden, c.normal())
	}
	return a
}

func (a *aim) reachNeededDB(p Point) float64 {
	x, y, z := p.X-a.OffsetXM, p.Y-a.OffsetYM, p.Z-a.HeightM
	for _, n := range a.hidden {
		if n[0]*x+n[1]*y+n[2]*z > 1e-12 {
			return math.Inf(1)
		}
	}
	r := math.Sqrt(x*x + y*y + z*z)
	if r == 0 {
		return math.Inf(-1)
	}
	aside := x*a.cosW - y*a.sinW
	along := x*a.sinW + y*a.cosW
	φ := math.Atan2(aside, along*a.sinT-z*a.cosT) * 180 / math.Pi
	θ := math.Asin(max(-1, min(1, (along*a.cosT+z*a.sinT)/r))) * 180 / math.Pi
	lost := 12*sq(φ/a.AzimuthBeamwidthDeg) + 12*sq(θ/a.ElevationBeamwidthDeg)
	return 40*math.Log10(r/a.BoresightRangeM) + 2*min(lost, a.AttenuationLimitDB) + 2*a.LossDB
}

// sight says whether reachNeededDB is at most reachDB, with what that takes worked out beforehand, and mostly without an angle: the sines of both
// angles bound their squares.
type sight struct {
	*aim
	reachDB              float64
	rangeM, capM         float64 // on the boresight, and in a direction that loses all it can
	perAzimuth, perAbove float64 // dB per square of a radian
}

func (a *aim) sight(reachDB float64) sight {
	s := sight{aim: a, reachDB: reachDB, rangeM: a.BoresightRangeM * math.Pow(10, (reachDB-2*a.LossDB)/40)}
	s.capM = s.rangeM * math.Pow(10, -a.AttenuationLimitDB/20)
	s.perAzimuth, s.perAbove = 12/sq(a.AzimuthBeamwidthDeg*math.Pi/180), 12/sq(a.ElevationBeamwidthDeg*math.Pi/180)
	return s
}

func (s *sight) sees(p Point) bool {
	x, y, z := p.X-s.OffsetXM, p.Y-s.OffsetYM, p.Z-s.HeightM
	r2 := x*x + y*y + z*z
	if r2 > s.rangeM*s.rangeM || s.doorway != nil && p.Y < 0 && !s.doorway.lets(&s.Device, p) {
		return false
	}
	if r := math.Sqrt(r2); r > s.capM {
		aside, along := x*s.cosW-y*s.sinW, x*s.sinW+y*s.cosW
		ahead, above := along*s.sinT-z*s.cosT, along*s.cosT+z*s.sinT
		leastφ, mostφ := math.Pi*math.Pi/4, math.Pi*math.Pi
		if ahead > 0 {
			leastφ, mostφ = angleSquared(aside * aside / (aside*aside + ahead*ahead))
		}
		leastθ, mostθ := angleSquared(above * above / r2)
		const sure = 1e-9
		lost := s.perAzimuth*leastφ + s.perAbove*leastθ
		if most := 20 / math.Ln10 * (s.rangeM/r - 1); lost > most+sure { // ln x ≤ x − 1 spares the logarithm
			return false
		}
		most := 20 * math.Log10(s.rangeM/r)
		if lost > most+sure {
			return false
		}
		if len(s.hidden) == 0 && s.perAzimuth*mostφ+s.perAbove*mostθ < most-sure {
			return true
		}
	}
	return s.reachNeededDB(p) <= s.reachDB
}

// angleSquared bounds the square of an angle of at most 90° whose sine has the square w: by the first terms of the series of arcsin², all of which are
// positive and fall.
func angleSquared(w float64) (least, most float64) {
	least = w * (1 + w*(1.0/3+w*8/45))
	if w > 0.9 {
		return least, math.Pi * math.Pi / 4
	}
	return least, least + sq(w*w)*(4.0/35)/(1-w)
}

// normal points to the hidden side of the cut.
func (c Cut) normal() [3]float64 {
	sinC, cosC := sincosDeg(c.AngleDeg)
	sinW, cosW := sincosDeg(c.YawDeg)
	return [3]float64{cosC * sinW, cosC * cosW, sinC}
}

// sincosDeg is exact at the multiples of 90° that mounts are full of: a level boresight has no residue of 6e-17 in it.
func sincosDeg(deg float64) (sin, cos float64) {
	switch deg {
	case 0:
		return 0, 1
	case 90:
		return 1, 0
	case -90:
		return -1, 0
	case 180, -180:
		return 0, -1
	}
	return math.Sincos(deg * math.Pi / 180)
}

func sq(v float64) float64 { return v * v }
