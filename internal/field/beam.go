package field

import "math"

// Beam is a line of light between two places that a body interrupts: from a sender to a receiver, or to a reflector and back,
// which is the same to a body.
type Beam struct {
	Sensing
	From, To  Point   // x and y −20 to 20, z 0 to 12
	DiameterM float64 // 0.001 to 0.2
}

var _ Volume = Beam{}

// Validate implements Volume.
func (b Beam) Validate() error {
	if err := b.check(Activation, Presence, Both); err != nil {
		return err
	}
	for _, end := range []struct {
		name string
		p    Point
	}{{"from", b.From}, {"to", b.To}} {
		if err := checkAll(measured{limit{end.name + "_x_m", -20, 20}, end.p.X}, measured{limit{end.name + "_y_m", -20, 20}, end.p.Y},
			measured{limit{end.name + "_z_m", 0, 12}, end.p.Z}); err != nil {
			return err
		}
	}
	if b.From == b.To {
		return &InputError{"to_x_m", "must not be the place that the beam comes from"}
	}
	return checkAll(measured{limit{"diameter_m", 0.001, 0.2}, b.DiameterM})
}

// Senses implements Volume.
func (b Beam) Senses() Sensing { return b.Sensing }

// between gives the ends of the part of the beam's axis that is at heights from low to high.
func (b Beam) between(low, high float64) (from, to XY, any bool) {
	t0, t1 := 0.0, 1.0
	if rise := b.To.Z - b.From.Z; rise != 0 {
		a, c := (low-b.From.Z)/rise, (high-b.From.Z)/rise
		t0, t1 = max(t0, min(a, c)), min(t1, max(a, c))
	} else if b.From.Z < low || b.From.Z > high {
		return from, to, false
	}
	at := func(t float64) XY {
		return XY{b.From.X + t*(b.To.X-b.From.X), b.From.Y + t*(b.To.Y-b.From.Y)}
	}
	return at(t0), at(t1), t0 <= t1
}

// OnPlane implements Volume: what of the beam's thickness is at that height.
func (b Beam) OnPlane(zM float64, clipAtDoorPlane bool) []Polygon {
	return b.strip(zM-b.DiameterM/2, zM+b.DiameterM/2, clipAtDoorPlane)
}

// OfBody implements Volume. It is as thin as the beam: a zone is divided by it, and a body that stands across is seen.
func (b Beam) OfBody(bodyHeightM float64, clipAtDoorPlane bool) []Polygon {
	return b.strip(seenFromM, bodyHeightM, clipAtDoorPlane)
}

// strip is what lies under a part of the beam: nothing beyond its ends, where its light is not.
func (b Beam) strip(low, high float64, clipAtDoorPlane bool) []Polygon {
	from, to, any := b.between(low, high)
	if !any {
		return []Polygon{}
	}
	dx, dy := to[0]-from[0], to[1]-from[1]
	length := math.Hypot(dx, dy)
	if length < 1e-6 { // upright
		return pieces([]Ring{hull(around(from, b.DiameterM/2, 16))}, clipAtDoorPlane)
	}
	aside := XY{-dy / length * b.DiameterM / 2, dx / length * b.DiameterM / 2}
	return pieces([]Ring{hull([]XY{
		{from[0] + aside[0], from[1] + aside[1]}, {from[0] - aside[0], from[1] - aside[1]},
		{to[0] + aside[0], to[1] + aside[1]}, {to[0] - aside[0], to[1] - aside[1]},
	})}, clipAtDoorPlane)
}

// SeesBody implements Volume: the footprint meets the beam, at a height that the body has.
func (b Beam) SeesBody(at XY, bodyHeightM float64) bool {
	return touches(b.OfBody(bodyHeightM, false), at)
}
