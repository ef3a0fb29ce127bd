package oracle

import "math"

// Walker is somebody who walks a polyline on the floor, and what a motion sensor asks of movement, in metres, seconds and hertz.
type Walker struct {
	TallM, SpeedMps      float64
	CrossSectionDB       float64 // relative to a walking adult's
	Path                 [][2]float64
	CarrierHz            float64
	LeastHz              float64 // of the shift
	Approaching, Leaving bool    // which of the two triggers
	Cycles               float64 // of the shift in one direction, without a break, before it triggers
}

const (
	lightMps     = 299792458.0
	frameM       = 0.004 // walked between two frames
	scattererM   = 0.05  // between two points of the body
	lowestPointM = 0.1
)

// Trigger is how far along the path the walker is when the sensor m triggers. Where package field follows intervals of a line, this
// looks at frames in time: each scatterer of the body has a phase, 4π·range/wavelength, and what the phase does from one frame to the next is the shift, in hertz and
// in cycles.
func (m Mount) Trigger(w Walker) (alongM float64, ok bool) {
	m.ReachDB += w.CrossSectionDB
	m.ClipAtDoorPlane = false
	scatterers := 1 + int(math.Ceil((w.TallM-lowestPointM)/scattererM))
	counted := make([]float64, scatterers) // cycles, with the sign of the shift
	length := 0.0
	for i := 1; i < len(w.Path); i++ {
		length += math.Hypot(w.Path[i][0]-w.Path[i-1][0], w.Path[i][1]-w.Path[i-1][1])
	}
	frameS := frameM / w.SpeedMps
	for frame := 1; float64(frame)*frameM <= length; frame++ {
		before, now := w.at(float64(frame-1)*frameM), w.at(float64(frame)*frameM)
		for i := range counted {
			up := lowestPointM + (w.TallM-lowestPointM)*float64(i)/float64(scatterers-1)
			cycles := 2 * w.CarrierHz / lightMps * (m.distance(before, up) - m.distance(now, up)) // more of them where the range shrinks
			m.PlaneHeightM = up
			if cycles == 0 || math.Abs(cycles) < w.LeastHz*frameS || cycles > 0 && !w.Approaching || cycles < 0 && !w.Leaving || !m.Seen(now[0], now[1]) || !m.Seen(before[0], before[1]) {
				counted[i] = 0
				continue
			}
			if cycles*counted[i] < 0 {
				counted[i] = 0
			}
			if counted[i] += cycles; math.Abs(counted[i]) >= w.Cycles {
				return float64(frame) * frameM, true
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
