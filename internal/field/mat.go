package field

import "math"

// Mat is a rectangle of floor that feels whoever stands on it.
type Mat struct {
	Sensing
	X0M, X1M float64 // −20 to 20
	Y0M, Y1M float64 // −20 to 20
}

var _ Volume = Mat{}

// Validate implements Volume.
func (m Mat) Validate() error {
	if err := m.check(Activation, Presence, Both); err != nil {
		return err
	}
	if err := checkAll(measured{limit{"x0_m", -20, 20}, m.X0M}, measured{limit{"x1_m", -20, 20}, m.X1M},
		measured{limit{"y0_m", -20, 20}, m.Y0M}, measured{limit{"y1_m", -20, 20}, m.Y1M}); err != nil {
		return err
	}
	if m.X1M <= m.X0M {
		return &InputError{"x1_m", "must be more than x0_m"}
	}
	if m.Y1M <= m.Y0M {
		return &InputError{"y1_m", "must be more than y0_m"}
	}
	return nil
}

// Senses implements Volume.
func (m Mat) Senses() Sensing { return m.Sensing }

// OnPlane implements Volume: a mat is on the floor and nowhere else.
func (m Mat) OnPlane(zM float64, clipAtDoorPlane bool) []Polygon {
	if zM != 0 {
		return []Polygon{}
	}
	return m.OfBody(0, clipAtDoorPlane)
}

// OfBody implements Volume: a body of any height stands on it.
func (m Mat) OfBody(_ float64, clipAtDoorPlane bool) []Polygon {
	return pieces([]Ring{{{m.X0M, m.Y0M}, {m.X1M, m.Y0M}, {m.X1M, m.Y1M}, {m.X0M, m.Y1M}, {m.X0M, m.Y0M}}}, clipAtDoorPlane)
}

// SeesBody implements Volume: the footprint meets the mat.
func (m Mat) SeesBody(at XY, bodyHeightM float64) bool {
	return math.Hypot(at[0]-max(m.X0M, min(m.X1M, at[0])), at[1]-max(m.Y0M, min(m.Y1M, at[1]))) <= bodyHalfM
}

// Plate is what somebody who wants through presses, pulls or waves at: a push plate, a button, a handle.
type Plate struct {
	Sensing
	XM, YM  float64 // −20 to 20
	HeightM float64 // 0 to 3
	ReachM  float64 // from where on the floor it is within reach, 0.05 to 2
}

var _ Volume = Plate{}

// Validate implements Volume.
func (p Plate) Validate() error {
	if err := p.check(KnowingAct); err != nil {
		return err
	}
	return checkAll(measured{limit{"x_m", -20, 20}, p.XM}, measured{limit{"y_m", -20, 20}, p.YM},
		measured{limit{"height_m", 0, 3}, p.HeightM}, measured{limit{"reach_m", 0.05, 2}, p.ReachM})
}

// Senses implements Volume.
func (p Plate) Senses() Sensing { return p.Sensing }

// OnPlane implements Volume: the ball within reach.
func (p Plate) OnPlane(zM float64, clipAtDoorPlane bool) []Polygon {
	r2 := sq(p.ReachM) - sq(zM-p.HeightM)
	if r2 <= 0 {
		return []Polygon{}
	}
	return pieces([]Ring{hull(around(XY{p.XM, p.YM}, math.Sqrt(r2), 96))}, clipAtDoorPlane)
}

// OfBody implements Volume: the floor from where it is within reach, whatever the height of the body.
func (p Plate) OfBody(_ float64, clipAtDoorPlane bool) []Polygon {
	return p.OnPlane(p.HeightM, clipAtDoorPlane)
}

// SeesBody implements Volume: the body could act from there.
func (p Plate) SeesBody(at XY, _ float64) bool {
	return math.Hypot(at[0]-p.XM, at[1]-p.YM) <= p.ReachM
}
