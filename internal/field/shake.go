package field

import "math"

// Shake is how a mount moves to and fro along a direction of the side's frame.
type Shake struct {
	AmplitudeM  float64
	FrequencyHz float64
	Along       Point // any length but 0; {0, 1, 0} is out of the wall and back
}

// Shaken is what a still room looks like to a device that shakes.
type Shaken struct {
	CosAngle float64 // between the shake and the line of sight that it shows in most
	SpeedMps float64 // peak, 2·π·f·a·|cos γ|
	TravelM  float64 // 2·a·|cos γ|
	Triggers bool
}

// Shaken holds a shake against what the device confirms: the still scene triggers when its peak apparent speed and its travel are both
// enough. The line of sight is the one within the half-power beam that is nearest to the shake (our own choice: something that echoes stands everywhere).
func (d Device) Shaken(m Motion, s Shake) Shaken {
	length := math.Sqrt(sq(s.Along.X) + sq(s.Along.Y) + sq(s.Along.Z))
	if length == 0 {
		return Shaken{}
	}
	a := d.aim()
	aside, along := s.Along.X*a.cosW-s.Along.Y*a.sinW, s.Along.X*a.sinW+s.Along.Y*a.cosW
	ahead, above := along*a.sinT-s.Along.Z*a.cosT, along*a.cosT+s.Along.Z*a.sinT
	cos := 0.0
	look := func(φ, θ float64) { // off the boresight
		sinφ, cosφ := math.Sincos(φ)
		sinθ, cosθ := math.Sincos(θ)
		cos = max(cos, math.Abs(ahead*cosθ*cosφ+aside*cosθ*sinφ+above*sinθ)/length)
	}
	halfφ, halfθ := d.AzimuthBeamwidthDeg/2*math.Pi/180, d.ElevationBeamwidthDeg/2*math.Pi/180
	const turns, out = 72, 12
	for i := range turns {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / turns)
		for j := range out + 1 {
			part := float64(j) / out
			look(part*halfφ*cos, part*halfθ*sin)
		}
	}
	shaken := Shaken{CosAngle: cos, SpeedMps: 2 * math.Pi * s.FrequencyHz * s.AmplitudeM * cos, TravelM: 2 * s.AmplitudeM * cos}
	shaken.Triggers = shaken.SpeedMps > 0 && shaken.SpeedMps >= m.LeastSpeedMps && shaken.TravelM >= m.ConfirmTravelM
	return shaken
}

// LampMps is the speed that a lamp on the mains looks like: it flickers at twice the mains' frequency.
func (m Motion) LampMps(mainsHz float64) float64 { return m.RadialMps(2 * mainsHz) }

// Facing is how two devices of one frequency stand to each other.
type Facing struct {
	DistanceM        float64
	SeesOther        bool // the other stands in its volume
	SeenByOther      bool
	MayAnswerToOther bool // our own flag: one frequency, one in the other's volume or both within FacingM of each other
}

// FacingM is the distance within which two devices of one frequency that look towards each other are flagged: our own choice.
const FacingM = 4.0

// Face holds two devices in ONE frame against each other; sameHz is how near their carriers must be to count as one, 0 for exactly.
func (d Device) Face(m Motion, other Device, theirs Motion, sameHz float64) Facing {
	at := func(e Device) Point { return Point{e.OffsetXM, e.OffsetYM, e.HeightM} }
	a, b := at(d), at(other)
	f := Facing{DistanceM: math.Sqrt(sq(a.X-b.X) + sq(a.Y-b.Y) + sq(a.Z-b.Z))}
	f.SeesOther, f.SeenByOther = d.InVolume(b), other.InVolume(a)
	towards := func(e Device, p Point) bool {
		sinT, cosT := sincosDeg(e.TiltDeg)
		sinW, cosW := sincosDeg(e.YawDeg)
		return sinT*sinW*(p.X-e.OffsetXM)+sinT*cosW*(p.Y-e.OffsetYM)-cosT*(p.Z-e.HeightM) > 0
	}
	one := math.Abs(m.FrequencyHz-theirs.FrequencyHz) <= sameHz
	f.MayAnswerToOther = one && (f.SeesOther || f.SeenByOther || f.DistanceM <= FacingM && towards(d, b) && towards(other, a))
	return f
}

// Frame is where the frame of a neighbouring side lies in one's own: its origin, and its turn about the vertical (positive from +y
// towards +x). A door opposite at 3 m has its origin at (0, 3) and a turn of 180.
type Frame struct {
	XM, YM, TurnDeg float64
}

// Out brings a point of the neighbour's frame into one's own.
func (f Frame) Out(p Point) Point {
	sin, cos := sincosDeg(f.TurnDeg)
	return Point{f.XM + p.X*cos + p.Y*sin, f.YM - p.X*sin + p.Y*cos, p.Z}
}

// Region brings polygons of the neighbour's side into one's own frame.
func (f Frame) Region(polys []Polygon) []Polygon {
	out := make([]Polygon, len(polys))
	for i, p := range polys {
		for _, r := range p {
			turned := make(Ring, len(r))
			for j, v := range r {
				q := f.Out(Point{X: v[0], Y: v[1]})
				turned[j] = XY{q.X, q.Y}
			}
			out[i] = append(out[i], turned)
		}
	}
	return out
}

// Leaf brings a neighbour's leaf into one's own frame.
func (f Frame) Leaf(l Leaf) Leaf { return elsewhere{l, f} }

// Device brings a neighbour's device into one's own frame.
func (f Frame) Device(d Device) Device {
	p := f.Out(Point{d.OffsetXM, d.OffsetYM, d.HeightM})
	d.OffsetXM, d.OffsetYM = p.X, p.Y
	d.YawDeg = wrapDeg(d.YawDeg + f.TurnDeg)
	d.Cuts = append([]Cut(nil), d.Cuts...)
	for i := range d.Cuts {
		d.Cuts[i].YawDeg = wrapDeg(d.Cuts[i].YawDeg + f.TurnDeg)
	}
	return d
}

func wrapDeg(deg float64) float64 {
	for deg > 180 {
		deg -= 360
	}
	for deg < -180 {
		deg += 360
	}
	return deg
}

// elsewhere is a leaf in the frame of another side.
type elsewhere struct {
	Leaf
	frame Frame
}

func (e elsewhere) at(p patch, open float64) (XY, bool) {
	at, hidden := e.Leaf.at(p, open)
	out := e.frame.Out(Point{X: at[0], Y: at[1]})
	return XY{out.X, out.Y}, hidden
}
