package field

import "math"

// Ray is light on its way: straight, from where it comes to where it ends. Whatever stands in it is seen.
type Ray struct{ From, To Point }

// Lit is a volume that is made of rays.
type Lit interface {
	Volume
	// Rays gives the light for drawings and for what crosses it: of a spot its axis, of a sheet rays a degree apart or nearer, its two ends among them, of
	// a beam the beam. A ray ends at its range or on the floor.
	Rays() []Ray
	// carried is the same device where a leaf has taken it that it is fixed to.
	carried(by move) Lit
}

var (
	_ Lit = SpotGrid{}
	_ Lit = Curtain{}
	_ Lit = Beam{}
)

// shine is the ray from a place in a direction (of length 1), to the floor or to the end of its range.
func shine(from Point, x, y, z, rangeM float64) Ray {
	if z < 0 {
		rangeM = min(rangeM, from.Z/-z)
	}
	return Ray{from, Point{from.X + x*rangeM, from.Y + y*rangeM, from.Z + z*rangeM}}
}

// Rays implements Lit.
func (g SpotGrid) Rays() []Ray { return g.rays(0) }

// rays gives the axes of the spots, and about each so many others on the rim of its core.
func (g SpotGrid) rays(rim int) []Ray {
	from := Point{g.OffsetXM, g.OffsetYM, g.HeightM}
	sinT, cosT := sincosDeg(g.TiltDeg)
	turn := turned(g.YawDeg)
	half := g.DivergenceDeg / 2 * math.Pi / 180 * g.core()
	var list []Ray
	for row := range g.Rows {
		sinE, cosE := math.Sincos((float64(row) - float64(g.Rows-1)/2) * g.RowStepDeg * math.Pi / 180)
		for column := range g.Columns {
			sinA, cosA := math.Sincos((float64(column) - float64(g.Columns-1)/2) * g.ColumnStepDeg * math.Pi / 180)
			// b the axis, h and v at right angles to it: in the frame of the boresight, whose axes are out (along the yaw), aside and up
			look := func(along, aside, above float64) Ray {
				b, h := cosE*cosA*along-sinA*aside-sinE*cosA*above, cosE*sinA*along+cosA*aside-sinE*sinA*above
				v := sinE*along + cosE*above
				out, up := b*sinT+v*cosT, v*sinT-b*cosT
				at := turn.out(XY{h, out})
				return shine(from, at[0], at[1], up, g.RangeM)
			}
			list = append(list, look(1, 0, 0))
			for i := range rim {
				sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(rim))
				list = append(list, look(math.Cos(half), math.Sin(half)*cos, math.Sin(half)*sin))
			}
		}
	}
	return list
}

// Sketch gives the few rays that stand for a device in a drawing: of spots the axes of the outer ones, of each sheet its two ends and its steepest line,
// of a beam the beam; nothing of what is no light.
func Sketch(v Volume) (list []Ray) {
	switch v := v.(type) {
	case SpotGrid:
		all := v.Rays()
		for i, r := range all {
			if row, column := i/v.Columns, i%v.Columns; row == 0 || row == v.Rows-1 || column == 0 || column == v.Columns-1 {
				list = append(list, r)
			}
		}
	case Curtain:
		for _, lean := range v.LeansDeg {
			list = append(list, v.ray(lean, v.FromDeg), v.ray(lean, min(v.ToDeg, max(v.FromDeg, 0))), v.ray(lean, v.ToDeg))
		}
	case Beam:
		list = v.Rays()
	}
	return list
}

func (g SpotGrid) carried(by move) Lit {
	g.OffsetXM, g.OffsetYM, g.YawDeg = by.mount(g.OffsetXM, g.OffsetYM, g.YawDeg)
	return g
}

// Rays implements Lit.
func (c Curtain) Rays() []Ray {
	n := steps(c.ToDeg-c.FromDeg, max(1, c.StepDeg))
	var list []Ray
	for _, lean := range c.LeansDeg {
		for i := range n + 1 {
			list = append(list, c.ray(lean, c.FromDeg+(c.ToDeg-c.FromDeg)*float64(i)/float64(n)))
		}
	}
	return list
}

// ray is the one of a sheet at an angle from its steepest line.
func (c Curtain) ray(leanDeg, deg float64) Ray {
	sinL, cosL := sincosDeg(leanDeg)
	sin, cos := sincosDeg(deg)
	at := turned(c.YawDeg).out(XY{sin, cos * sinL})
	return shine(Point{c.OffsetXM, c.OffsetYM, c.HeightM}, at[0], at[1], -cos*cosL, c.RangeM)
}

func (c Curtain) carried(by move) Lit {
	c.OffsetXM, c.OffsetYM, c.YawDeg = by.mount(c.OffsetXM, c.OffsetYM, c.YawDeg)
	return c
}

// Rays implements Lit.
func (b Beam) Rays() []Ray { return []Ray{{b.From, b.To}} }

func (b Beam) carried(by move) Lit {
	b.From.X, b.From.Y, _ = by.mount(b.From.X, b.From.Y, 0)
	b.To.X, b.To.Y, _ = by.mount(b.To.X, b.To.Y, 0)
	return b
}

// move is what a leaf does to whatever is fixed to it: a turn about its hinge, or a way along the opening.
type move struct {
	hingeXM, towards float64
	sin, cos, deg    float64
	alongXM          float64
}

// mount takes a place and a yaw along.
func (m move) mount(x, y, yawDeg float64) (float64, float64, float64) {
	if m.towards == 0 {
		return x + m.alongXM, y, yawDeg
	}
	dx := (x - m.hingeXM) * m.towards
	return m.hingeXM + m.towards*(dx*m.cos-y*m.sin), dx*m.sin + y*m.cos, wrapDeg(yawDeg - m.towards*m.deg)
}

// Carrier is a leaf that a device can be fixed to.
type Carrier interface {
	Leaf
	// Middle is where a device is fixed to it: in the middle of its width, with the height of its top.
	Middle() (xM, topM float64)
	moved(open float64) move
}

var (
	_ Carrier = SwingLeaf{}
	_ Carrier = SlidingLeaf{}
)

// Middle implements Carrier.
func (l SwingLeaf) Middle() (xM, topM float64) { return l.HingeXM + l.TowardsX*l.WidthM/2, l.HeightM }

// Middle implements Carrier.
func (l SlidingLeaf) Middle() (xM, topM float64) { return (l.FromXM + l.ToXM) / 2, l.HeightM }

func (l SwingLeaf) moved(open float64) move {
	m := move{hingeXM: l.HingeXM, towards: l.TowardsX, deg: open * l.OpensToDeg}
	m.sin, m.cos = sincosDeg(m.deg)
	return m
}

func (l SlidingLeaf) moved(open float64) move { return move{alongXM: open * (l.FromXM - l.ToXM)} }

// wall is an upright part of a leaf: on two points a pane without thickness, on more what fills the convex outline.
type wall struct {
	outline []XY
	topM    float64
	fromM   float64 // how far from the leaf's hinge it begins
}

func (l SwingLeaf) walls(open float64) []wall {
	tip, _ := l.at(patch{across: l.WidthM}, open)
	return []wall{{[]XY{{l.HingeXM, 0}, tip}, l.HeightM, 0}}
}

// walls: the panel's, with the 0.1 m before it that counts as the panel.
func (l SlidingLeaf) walls(open float64) []wall {
	tip := l.ToXM - open*(l.ToXM-l.FromXM)
	a, b := min(l.FromXM, tip), max(l.FromXM, tip)
	if b-a < 1e-9 {
		return nil
	}
	return []wall{{[]XY{{a, 0}, {b, 0}, {b, panelM}, {a, panelM}}, l.HeightM, 0}}
}

// panelM: a field that reaches nearer to the door's plane than this sees the closing panel.
const panelM = 0.1

func (l FoldingLeaf) walls(open float64) []wall {
	fold, _ := l.at(patch{across: l.WidthM / 2}, open)
	edge, _ := l.at(patch{across: l.WidthM}, open)
	return []wall{{[]XY{{l.HingeXM, 0}, fold}, l.HeightM, 0}, {[]XY{fold, edge}, l.HeightM, l.WidthM / 2}}
}

func (e elsewhere) walls(open float64) []wall {
	list := e.Leaf.walls(open)
	for i, w := range list {
		moved := make([]XY, len(w.outline))
		for j, p := range w.outline {
			q := e.frame.Out(Point{X: p[0], Y: p[1]})
			moved[j] = XY{q.X, q.Y}
		}
		list[i].outline = moved
	}
	return list
}

// stops gives the place where a ray meets the wall first, if it does.
func (w wall) stops(r Ray) (Point, bool) {
	dx, dy, dz := r.To.X-r.From.X, r.To.Y-r.From.Y, r.To.Z-r.From.Z
	t0, t1 := 0.0, 1.0
	cut := func(value, slope float64) { // keeps where value + slope·t ≥ 0
		switch {
		case slope > 0:
			t0 = max(t0, -value/slope)
		case slope < 0:
			t1 = min(t1, -value/slope)
		case value < 0:
			t0, t1 = 1, 0
		}
	}
	cut(r.From.Z, dz)
	cut(w.topM-r.From.Z, -dz)
	if n := len(w.outline); n > 2 {
		for i, a := range w.outline { // whichever way it turns, the third point is inside
			b, c := w.outline[(i+1)%n], w.outline[(i+2)%n]
			sign := math.Copysign(1, cross(a, c, b))
			cut(sign*cross(a, XY{r.From.X, r.From.Y}, b), sign*(dx*(b[1]-a[1])-dy*(b[0]-a[0])))
		}
	} else {
		a, b := w.outline[0], w.outline[1]
		side, slope := cross(a, XY{r.From.X, r.From.Y}, b), dx*(b[1]-a[1])-dy*(b[0]-a[0])
		if slope == 0 {
			return Point{}, false // along the pane, or beside it
		}
		t := -side / slope
		if t < t0 || t > t1 {
			return Point{}, false
		}
		t0, t1 = t, t
		length := dist(a, b)
		out := ((r.From.X+t*dx-a[0])*(b[0]-a[0]) + (r.From.Y+t*dy-a[1])*(b[1]-a[1])) / length
		if out < 0 || out > length {
			return Point{}, false
		}
	}
	return Point{r.From.X + t0*dx, r.From.Y + t0*dy, r.From.Z + t0*dz}, t0 <= t1
}

// rimRays are looked along about the axis of each spot.
const rimRays = 8

// SeesLeaf says at which angles a device sees a leaf, whatever its principle. Radar is CheckLeaf. Of light, the leaf is seen that stands in a ray; Share is
// of the leaf's movement then, and there is no reach to turn down. A mat feels nothing that passes above it, and nobody presses a plate by a leaf.
// on is the leaf that the device is fixed to and moves with, nil when it stays where it is; both leaves move in step.
func SeesLeaf(v Volume, l Leaf, on Carrier) LeafCheck {
	switch v := v.(type) {
	case Device:
		return v.CheckLeaf(l)
	case Lit:
		return crossed(v, l, on)
	}
	return LeafCheck{}
}

// LeafIsSeen is what SeesLeaf finds of Seen, at less cost.
func LeafIsSeen(v Volume, l Leaf, on Carrier) bool {
	if d, ok := v.(Device); ok {
		return d.seesLeaf(l)
	}
	return SeesLeaf(v, l, on).Seen
}

func crossed(v Lit, l Leaf, on Carrier) (c LeafCheck) {
	looks := l.looks()
	if on != nil && len(on.looks()) > len(looks) { // a panel that stands still to what moves before it
		looks = on.looks()
	}
	light := func(v Lit) []Ray {
		if g, ok := v.(SpotGrid); ok {
			return g.rays(rimRays)
		}
		return v.Rays()
	}
	rays, seen := light(v), 0
	for _, open := range looks {
		if on != nil {
			rays = light(v.carried(on.moved(open)))
		}
		out, met := 0.0, false
		for _, w := range l.walls(open) {
			for _, r := range rays {
				if p, stops := w.stops(r); stops {
					met, out = true, max(out, w.fromM+dist(w.outline[0], XY{p.X, p.Y}))
				}
			}
		}
		if !met {
			continue
		}
		if deg := open * l.opensToDeg(); seen == 0 {
			c.FirstDeg, c.LastDeg = deg, deg
		} else {
			c.LastDeg = deg
		}
		if l.opensToDeg() > 0 {
			c.FarthestM = max(c.FarthestM, out)
		}
		seen++
	}
	c.Seen = seen > 0
	c.Share = float64(seen) / float64(max(1, len(looks)))
	return c
}
