package oracle

import "math"

// Movement is what a motion sensor asks of movement, in seconds, hertz and cycles.
type Movement struct {
	CarrierHz            float64
	LeastHz              float64 // of the shift
	Approaching, Leaving bool    // which of the two triggers
	Cycles               float64 // of the shift in one direction, without a break, before it triggers
}

// Walker is somebody who walks a polyline on the floor.
type Walker struct {
	TallM, SpeedMps float64
	CrossSectionDB  float64 // relative to a walking adult's
	Path            [][2]float64
}

// Wing is a leaf that turns about an upright hinge on the line y = 0, evenly.
type Wing struct {
	HingeX, Towards float64 // Towards is +1 or −1: the side of the hinge on which it lies when it is closed
	WideM, HighM    float64
	ToDeg, Seconds  float64
	Closing         bool
}

const (
	lightMps     = 299792458.0
	frameM       = 0.004 // walked between two frames
	scattererM   = 0.07  // between two points of the body
	lowestPointM = 0.1
)

// Walks is how far along the path the walker is when the sensor triggers.
func (m Mount) Walks(e Movement, w Walker) (alongM float64, ok bool) {
	m.ReachDB += w.CrossSectionDB
	length := 0.0
	for i := 1; i < len(w.Path); i++ {
		length += math.Hypot(w.Path[i][0]-w.Path[i-1][0], w.Path[i][1]-w.Path[i-1][1])
	}
	points := 1 + int(math.Ceil((w.TallM-lowestPointM)/scattererM))
	frame, ok := m.trigger(e, points, int(length/frameM), frameM/w.SpeedMps, func(i, frame int) (x, y, z float64) {
		p := w.at(float64(frame) * frameM)
		return p[0], p[1], lowestPointM + (w.TallM-lowestPointM)*float64(i)/float64(points-1)
	})
	return float64(frame) * frameM, ok
}

// Turns is how far open, in degrees, the wing is when the sensor triggers.
func (m Mount) Turns(e Movement, w Wing) (deg float64, ok bool) {
	const frames = 300
	across, up := 1+int(math.Ceil(w.WideM/scattererM)), 1+int(math.Ceil(w.HighM/scattererM))
	open := func(frame int) float64 {
		if w.Closing {
			frame = frames - frame
		}
		return w.ToDeg * float64(frame) / frames
	}
	frame, ok := m.trigger(e, across*up, frames, w.Seconds/frames, func(i, frame int) (x, y, z float64) {
		out := w.WideM * float64(i/up) / float64(across-1)
		sin, cos := math.Sincos(radians(open(frame)))
		return w.HingeX + w.Towards*out*cos, out * sin, w.HighM * float64(i%up) / float64(up-1)
	})
	return open(frame), ok
}

// trigger is the frame in which the sensor triggers. Where package field follows intervals of a line, this looks at frames in time: each scatterer has a phase,
// 4π·range/wavelength, and what the phase does from one frame to the next is the shift, in hertz and in cycles.
func (m Mount) trigger(e Movement, scatterers, frames int, frameS float64, place func(i, frame int) (x, y, z float64)) (frame int, ok bool) {
	m.ClipAtDoorPlane = false
	counted := make([]float64, scatterers) // cycles, with the sign of the shift
	seen := make([]bool, scatterers)       // in the frame before
	far := make([]float64, scatterers)
	for frame := 0; frame <= frames; frame++ {
		for i := range counted {
			x, y, z := place(i, frame)
			before, wasSeen := far[i], seen[i]
			far[i] = m.distance([2]float64{x, y}, z)
			m.PlaneHeightM = z
			seen[i] = far[i] <= m.rangeAt(0) && m.Seen(x, y)
			cycles := 2 * e.CarrierHz / lightMps * (before - far[i]) // more of them where the range shrinks
			if frame == 0 || cycles == 0 || math.Abs(cycles) < e.LeastHz*frameS || cycles > 0 && !e.Approaching || cycles < 0 && !e.Leaving || !seen[i] || !wasSeen {
				counted[i] = 0
				continue
			}
			if cycles*counted[i] < 0 {
				counted[i] = 0
			}
			if counted[i] += cycles; math.Abs(counted[i]) >= e.Cycles {
				return frame, true
			}
		}
	}
	return 0, false
}

func (w Walker) at(along float64) [2]float64 {
	for i := 1; i < len(w.Path); i++ {
		a, b := w.Path[i-1], w.Path[i]
		piece := math.Hypot(b[0]-a[0], b[1]-a[1])
		if along <= piece && piece > 0 {
			return [2]float64{a[0] + (b[0]-a[0])*along/piece, a[1] + (b[1]-a[1])*along/piece}
		}
		along -= piece
	}
	return w.Path[len(w.Path)-1]
}

func (m Mount) distance(at [2]float64, up float64) float64 {
	return math.Hypot(math.Hypot(at[0]-m.OffsetXM, at[1]-m.OffsetYM), up-m.HeightM)
}
