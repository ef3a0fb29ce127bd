package field

import "math"

// SwingLeaf is a leaf that turns about an upright hinge into the side whose frame is used.
type SwingLeaf struct {
	HingeXM    float64 // where the hinge stands on the opening's line
	TowardsX   float64 // +1 when the closed leaf lies on the +x side of its hinge, −1 on the other
	WidthM     float64
	HeightM    float64
	OpensToDeg float64 // from closed (0), up to 180

	// Speed counts only when both are given: a part of the leaf is seen when its speed along the line of sight reaches
	// LeastSpeedMps while the leaf turns evenly through its sweep in SweepTimeS.
	SweepTimeS    float64
	LeastSpeedMps float64
}

// SlidingLeaf is a closing panel: it moves in the opening's plane, which a field sees that reaches y ≤ 0.1 m.
type SlidingLeaf struct {
	FromXM, ToXM float64 // the opening that the panel closes
	HeightM      float64
}

// LeafCheck says how much of its own door's leaf a device sees. Its geometry is static unless the leaf's speed is given.
type LeafCheck struct {
	Seen      bool
	FirstDeg  float64 // the first and last opening angle at which a part of a swing leaf is seen; 0 for a sliding one
	LastDeg   float64
	Share     float64 // of the leaf's surface over the sweep, 0 to 1
	FarthestM float64 // the seen part of a swing leaf that is farthest from the hinge

	// ClearReachDB is the greatest reach, in whole tenths of a dB, at which nothing of the leaf is seen; nil when there is
	// none down to −60. How far out the device would have to stand instead is OffsetClearOf.
	ClearReachDB *float64
}

// Leaf is a moving part of the door, as samples of its surface over its movement.
type Leaf interface {
	samples() []leafPoint
	leastMps() float64 // 0: speed does not count
}

// The leaf is sampled every degree of its sweep, in the middle of the degree, and in steps of at most 10 cm of its surface.
const (
	leafStepDeg = 1.0
	leafStepM   = 0.1
)

// leafPoint is a sample of the moving leaf.
type leafPoint struct {
	at       Point
	deg      float64
	out      float64 // from the hinge
	velocity XY      // m/s, when speed counts
}

func (l SwingLeaf) leastMps() float64 {
	if l.SweepTimeS > 0 {
		return l.LeastSpeedMps
	}
	return 0
}

func (l SwingLeaf) samples() []leafPoint {
	omega := 0.0
	if l.SweepTimeS > 0 {
		omega = l.OpensToDeg * math.Pi / 180 / l.SweepTimeS
	}
	var samples []leafPoint
	degrees := steps(l.OpensToDeg, leafStepDeg)
	for i := range degrees {
		deg := (float64(i) + 0.5) * l.OpensToDeg / float64(degrees)
		sin, cos := sincosDeg(deg)
		over(l.WidthM, l.HeightM, func(out, z float64) {
			samples = append(samples, leafPoint{
				at:       Point{l.HingeXM + l.TowardsX*out*cos, out * sin, z},
				deg:      deg,
				out:      out,
				velocity: XY{-l.TowardsX * out * sin * omega, out * cos * omega},
			})
		})
	}
	return samples
}

func (l SlidingLeaf) leastMps() float64 { return 0 }

func (l SlidingLeaf) samples() []leafPoint {
	var samples []leafPoint
	for _, y := range []float64{0, 0.1} {
		over(math.Abs(l.ToXM-l.FromXM), l.HeightM, func(along, z float64) {
			samples = append(samples, leafPoint{at: Point{min(l.FromXM, l.ToXM) + along, y, z}})
		})
	}
	return samples
}

// over visits a rectangle's surface evenly, its edges included.
func over(widthM, heightM float64, visit func(across, up float64)) {
	n, m := steps(widthM, leafStepM), steps(heightM, leafStepM)
	for i := range n + 1 {
		for j := range m + 1 {
			visit(widthM*float64(i)/float64(n), heightM*float64(j)/float64(m))
		}
	}
}

func steps(length, step float64) int { return max(1, int(math.Ceil(length/step-1e-9))) }

// SeesSwingLeaf checks a device against a leaf that swings into its side.
func (d Device) SeesSwingLeaf(l SwingLeaf) LeafCheck { return d.checkLeaf(l) }

// SeesSlidingLeaf checks a device against a closing panel, at y = 0 and at y = 0.1 m.
func (d Device) SeesSlidingLeaf(l SlidingLeaf) LeafCheck { return d.checkLeaf(l) }

func (d Device) checkLeaf(l Leaf) LeafCheck {
	var c LeafCheck
	samples, least := l.samples(), l.leastMps()
	needed := math.Inf(1)
	seen := 0
	now := d.aim()
	for _, s := range samples {
		need := now.leafReachNeededDB(s, least)
		needed = min(needed, need)
		if need > d.ReachDB {
			continue
		}
		if seen == 0 {
			c.FirstDeg, c.LastDeg = s.deg, s.deg
		}
		seen++
		c.FirstDeg, c.LastDeg = min(c.FirstDeg, s.deg), max(c.LastDeg, s.deg)
		c.FarthestM = max(c.FarthestM, s.out)
	}
	c.Seen = seen > 0
	c.Share = float64(seen) / float64(max(1, len(samples)))
	if !c.Seen {
		c.ClearReachDB = &d.ReachDB
	} else if below := math.Ceil(needed*10-1e-9)/10 - 0.1; below >= limitReach.low {
		c.ClearReachDB = &below
	}
	return c
}

// OffsetClearOf is how much farther from the door along y (an arm, the ceiling) the device must stand, at least, to see
// nothing of the leaf: to 5 mm, up to 6 m. It says false when that is not enough.
func (d Device) OffsetClearOf(l Leaf) (offsetM float64, found bool) {
	samples, least := l.samples(), l.leastMps()
	at := d.aim()
	last := 0 // where something was seen, something mostly still is a little farther out
	sees := func(offset float64) bool {
		moved := at
		moved.OffsetYM += offset
		for i := range samples {
			if n := (last + i) % len(samples); moved.leafReachNeededDB(samples[n], least) <= d.ReachDB {
				last = n
				return true
			}
		}
		return false
	}
	if !sees(0) {
		return 0, true
	}
	const coarse, farthest = 0.1, 6.0
	for out := coarse; out <= farthest; out += coarse {
		if sees(out) {
			continue
		}
		low, high := out-coarse, out
		for high-low > 0.005 {
			if middle := (low + high) / 2; sees(middle) {
				low = middle
			} else {
				high = middle
			}
		}
		return high, true
	}
	return 0, false
}

// leafReachNeededDB is the reach at which the sample is seen, +Inf when it is too slow along the line of sight.
func (a *aim) leafReachNeededDB(s leafPoint, leastMps float64) float64 {
	if leastMps > 0 {
		x, y, z := s.at.X-a.OffsetXM, s.at.Y-a.OffsetYM, s.at.Z-a.HeightM
		if r := math.Sqrt(x*x + y*y + z*z); r > 0 && math.Abs(x*s.velocity[0]+y*s.velocity[1])/r < leastMps {
			return math.Inf(1)
		}
	}
	return a.reachNeededDB(s.at)
}

// LeafReachDB is the least reach at which the device would see something of the leaf, looking at every so many-th sample of its movement: 1 for all;
// more for a quick answer that may be a little too high. +Inf when the device sees nothing of it at any reach.
func (d Device) LeafReachDB(l Leaf, every int) float64 {
	a, least, needed := d.aim(), l.leastMps(), math.Inf(1)
	samples := l.samples()
	for i := 0; i < len(samples); i += every {
		needed = min(needed, a.leafReachNeededDB(samples[i], least))
	}
	return needed
}

// CheckLeaf checks a device against any leaf.
func (d Device) CheckLeaf(l Leaf) LeafCheck { return d.checkLeaf(l) }
