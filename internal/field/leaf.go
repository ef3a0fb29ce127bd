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

	// ClearOffsetM is the least further offset along y (an arm, the ceiling) with which nothing of the leaf is seen, to
	// 5 mm; nil when there is none up to 6 m. ClearReachDB is the greatest reach, in whole tenths of a dB, at which nothing
	// is; nil when there is none down to −60.
	ClearOffsetM *float64
	ClearReachDB *float64
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

// SeesSwingLeaf checks a device against a leaf that swings into its side.
func (d Device) SeesSwingLeaf(l SwingLeaf) LeafCheck {
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
	least := 0.0
	if omega > 0 {
		least = l.LeastSpeedMps
	}
	return d.checkLeaf(samples, least)
}

// SeesSlidingLeaf checks a device against a closing panel, at y = 0 and at y = 0.1 m.
func (d Device) SeesSlidingLeaf(l SlidingLeaf) LeafCheck {
	var samples []leafPoint
	for _, y := range []float64{0, 0.1} {
		over(math.Abs(l.ToXM-l.FromXM), l.HeightM, func(along, z float64) {
			samples = append(samples, leafPoint{at: Point{min(l.FromXM, l.ToXM) + along, y, z}})
		})
	}
	return d.checkLeaf(samples, 0)
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

func (d Device) checkLeaf(samples []leafPoint, leastMps float64) LeafCheck {
	var c LeafCheck
	needed := math.Inf(1)
	seen := 0
	for _, s := range samples {
		need := d.leafReachNeededDB(s, leastMps)
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
		c.ClearOffsetM, c.ClearReachDB = new(0.0), &d.ReachDB
		return c
	}
	if below := math.Ceil(needed*10-1e-9)/10 - 0.1; below >= limitReach.low {
		c.ClearReachDB = &below
	}
	last := 0 // where something was seen, something mostly still is a little further out
	sees := func(offset float64) bool {
		moved := d
		moved.OffsetYM += offset
		for i := range samples {
			if at := (last + i) % len(samples); moved.leafReachNeededDB(samples[at], leastMps) <= d.ReachDB {
				last = at
				return true
			}
		}
		return false
	}
	const coarse, farthest = 0.05, 6.0
	for out := coarse; out <= farthest; out += coarse {
		if sees(out) {
			continue
		}
		low, high := out-coarse, out
		for high-low > 0.005 {
			if mid := (low + high) / 2; sees(mid) {
				low = mid
			} else {
				high = mid
			}
		}
		c.ClearOffsetM = &high
		break
	}
	return c
}

// leafReachNeededDB is the reach at which the sample is seen, +Inf when it is too slow along the line of sight.
func (d Device) leafReachNeededDB(s leafPoint, leastMps float64) float64 {
	if leastMps > 0 {
		x, y, z := s.at.X-d.OffsetXM, s.at.Y-d.OffsetYM, s.at.Z-d.HeightM
		if r := math.Sqrt(x*x + y*y + z*z); r > 0 && math.Abs(x*s.velocity[0]+y*s.velocity[1])/r < leastMps {
			return math.Inf(1)
		}
	}
	return d.ReachNeededDB(s.at)
}
