package field

import (
	"fmt"
	"math"
)

// Curtain is a laser sensor: sheets of rays from one place, each ray a step further than the one before.
type Curtain struct {
	Sensing
	HeightM       float64   // 0.3 to 12
	YawDeg        float64   // of the direction into which sheets lean, −180 to 180
	OffsetXM      float64   // −20 to 20
	OffsetYM      float64   // −20 to 20
	LeansDeg      []float64 // of each sheet from straight down, −80 to 80; 1 to 16 sheets
	FromDeg       float64   // within a sheet, from its steepest line, positive to the right of somebody who looks along YawDeg; −85 to 85
	ToDeg         float64   // more than FromDeg
	StepDeg       float64   // between rays, 0.01 to 10
	RangeM        float64   // 0.1 to 50
	SpotM         float64   // diameter of a ray at the sensor, 0.001 to 0.1
	DivergenceDeg float64   // full angle by which it widens, 0 to 5
	WholeSpot     bool      // a ray tells only when all of it is covered; else any part suffices
}

var _ Volume = Curtain{}

// Validate implements Volume.
func (c Curtain) Validate() error {
	if err := c.check(Activation, Presence, Both); err != nil {
		return err
	}
	if err := checkAll(measured{limitHeight, c.HeightM}, measured{limitYaw, c.YawDeg}, measured{limitOffsetX, c.OffsetXM},
		measured{limitOffsetY, c.OffsetYM}, measured{limit{"from_deg", -85, 85}, c.FromDeg}, measured{limit{"to_deg", -85, 85}, c.ToDeg},
		measured{limit{"step_deg", 0.01, 10}, c.StepDeg}, measured{limit{"range_m", 0.1, 50}, c.RangeM},
		measured{limit{"spot_m", 0.001, 0.1}, c.SpotM}, measured{limit{"divergence_deg", 0, 5}, c.DivergenceDeg}); err != nil {
		return err
	}
	if c.ToDeg <= c.FromDeg {
		return &InputError{"to_deg", "must be more than from_deg"}
	}
	if n := len(c.LeansDeg); n < 1 || n > 16 {
		return &InputError{"leans_deg", fmt.Sprintf("must be 1 to 16 angles, not %d", n)}
	}
	for i, lean := range c.LeansDeg {
		if err := (limit{fmt.Sprintf("leans_deg[%d]", i), -80, 80}).check(lean); err != nil {
			return err
		}
	}
	return nil
}

// Senses implements Volume.
func (c Curtain) Senses() Sensing { return c.Sensing }

// spotAt is the diameter of a ray at a distance.
func (c Curtain) spotAt(rM float64) float64 {
	return c.SpotM + 2*rM*math.Tan(c.DivergenceDeg/2*math.Pi/180)
}

// LeastObjectM is the width of the smallest object that cannot hide between rays at a distance: the gap between two rays, and
// a ray more when all of it must be covered, a ray less when any part suffices.
func (c Curtain) LeastObjectM(rM float64) float64 {
	gap := 2 * rM * math.Sin(c.StepDeg/2*math.Pi/180)
	if c.WholeSpot {
		return gap + c.spotAt(rM)
	}
	return max(0, gap-c.spotAt(rM))
}

// reachM is how far from the sensor nothing as wide as the test body hides between rays.
func (c Curtain) reachM() float64 {
	if c.LeastObjectM(c.RangeM) <= testBodyWidthM {
		return c.RangeM
	}
	low, high := 0.0, c.RangeM
	for range 50 {
		if m := (low + high) / 2; c.LeastObjectM(m) <= testBodyWidthM {
			low = m
		} else {
			high = m
		}
	}
	return low
}

// sheet gives the outline of what lies under a sheet between two drops, thickened by the rays' own width.
func (c Curtain) sheet(leanDeg, fromDropM, toDropM float64) Ring {
	sinL, cosL := sincosDeg(leanDeg)
	reach := c.reachM()
	// In the sheet: u along its steepest line, l to the right. A convex figure: the fan of the rays, the circle of the reach, two
	// level lines.
	u0, u1 := max(0, fromDropM/cosL), min(reach, toDropM/cosL)
	if u0 > u1 {
		return nil
	}
	left, right := math.Tan(c.FromDeg*math.Pi/180), math.Tan(c.ToDeg*math.Pi/180)
	turn := turned(c.YawDeg)
	var points []XY
	const n = 48
	for i := range n + 1 {
		// steps of the angle at which the circle is met, so that its arc is even
		a0, a1 := math.Asin(min(1, u0/reach)), math.Asin(min(1, u1/reach))
		u := reach * math.Sin(a0+(a1-a0)*float64(i)/n)
		side := math.Sqrt(max(0, sq(reach)-sq(u)))
		l0, l1 := max(u*left, -side), min(u*right, side)
		if l0 > l1 {
			continue
		}
		for _, l := range [2]float64{l0, l1} {
			q := turn.out(XY{l, u * sinL})
			points = append(points, around(XY{c.OffsetXM + q[0], c.OffsetYM + q[1]}, c.spotAt(math.Hypot(l, u))/2, 8)...)
		}
	}
	return hull(points)
}

// OnPlane implements Volume: strips as wide as the rays.
func (c Curtain) OnPlane(zM float64, clipAtDoorPlane bool) []Polygon {
	return c.between(c.HeightM-zM, c.HeightM-zM, clipAtDoorPlane)
}

// OfBody implements Volume, as far from the sensor as the test body cannot hide between rays.
func (c Curtain) OfBody(bodyHeightM float64, clipAtDoorPlane bool) []Polygon {
	return c.between(c.HeightM-max(bodyHeightM, seenFromM), c.HeightM-seenFromM, clipAtDoorPlane)
}

func (c Curtain) between(fromDropM, toDropM float64, clipAtDoorPlane bool) []Polygon {
	if toDropM <= 0 {
		return []Polygon{}
	}
	var rings []Ring
	for _, lean := range c.LeansDeg {
		rings = append(rings, c.sheet(lean, max(0, fromDropM), toDropM))
	}
	return pieces(rings, clipAtDoorPlane)
}

// SeesBody implements Volume: part of the footprint is under a sheet, in every turn of the body.
func (c Curtain) SeesBody(at XY, bodyHeightM float64) bool {
	return touches(c.OfBody(bodyHeightM, false), at)
}
