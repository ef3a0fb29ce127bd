package field

import (
	"iter"
	"math"
	"slices"
)

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

// SlidingLeaf is a closing panel: it moves in the opening's plane, which a field sees that reaches y ≤ 0.1 m. Beyond FromXM, where it stands when it is
// open, the wall hides it.
type SlidingLeaf struct {
	FromXM, ToXM float64 // the opening that the panel closes, from where it stands open to where it arrives
	HeightM      float64
}

// FoldingLeaf is a pair of panels of one width that fold into the side whose frame is used: one is hinged at the jamb, the other one at the first,
// and its far edge stays on the opening's line.
type FoldingLeaf struct {
	HingeXM    float64 // where the hinge at the jamb stands on the opening's line
	TowardsX   float64 // +1 when the closed panels lie on the +x side of it, −1 on the other
	WidthM     float64 // of both together
	HeightM    float64
	OpensToDeg float64 // each panel's turn from closed (0), up to 90
}

// LeafCheck says how much of its own door's leaf a device sees. Its geometry is static unless the leaf's speed is given.
type LeafCheck struct {
	Seen      bool
	FirstDeg  float64 // the first and last opening angle at which a part of a swing or folding leaf is seen; 0 for a sliding one
	LastDeg   float64
	Share     float64 // of the leaf's surface over the sweep, 0 to 1
	FarthestM float64 // the seen part of a swing or folding leaf that is farthest from the hinge

	// ClearReachDB is the greatest reach, in whole tenths of a dB, at which nothing of the leaf is seen; nil when there is
	// none down to −60. How far out the device would have to stand instead is OffsetClearOf.
	ClearReachDB *float64
}

// Leaf is a moving part of the door. How far it is open is 0 when it is closed and 1 when it is open.
type Leaf interface {
	// surface gives patches of it.
	surface() []patch
	// at is where a patch is; hidden says that the wall covers it.
	at(p patch, open float64) (at XY, hidden bool)
	// looks are how far it is open where its geometry is looked at.
	looks() []float64
	opensToDeg() float64                // 0: it does not turn
	walls(open float64) []wall          // what of it stands in the way of light
	counts() (sweepS, leastMps float64) // whether its speed counts: 0, 0 when it does not
}

// The leaf is looked at every degree of its sweep, in the middle of the degree, and in steps of at most 10 cm of its surface.
const (
	leafStepDeg = 1.0
	leafStepM   = 0.1
)

// patch is a small part of a leaf's surface.
type patch struct {
	across float64 // from the hinge, or from the edge that trails when it closes
	z      float64
	face   float64 // y of a panel's surface
}

// leafPoint is a patch at one time of the movement.
type leafPoint struct {
	at       Point
	deg      float64
	out      float64 // from the hinge
	velocity XY      // m/s, when speed counts
}

// samples gives every so many-th patch of the leaf over its movement.
func samples(l Leaf, every int) iter.Seq[leafPoint] {
	return func(yield func(leafPoint) bool) {
		patches, looks := l.surface(), l.looks()
		sweepS, _ := l.counts()
		for n := 0; n < len(patches)*len(looks); n += every {
			open, p := looks[n/len(patches)], patches[n%len(patches)]
			at, hidden := l.at(p, open)
			if hidden {
				continue
			}
			s := leafPoint{at: Point{at[0], at[1], p.z}, deg: open * l.opensToDeg()}
			if s.deg > 0 {
				s.out = p.across
			}
			if sweepS > 0 {
				const little = 1e-4 // of the movement
				before, _ := l.at(p, open-little)
				after, _ := l.at(p, open+little)
				s.velocity = XY{(after[0] - before[0]) / (2 * little * sweepS), (after[1] - before[1]) / (2 * little * sweepS)}
			}
			if !yield(s) {
				return
			}
		}
	}
}

func (l SwingLeaf) surface() []patch    { return rectangle(l.WidthM, l.HeightM, 0) }
func (l SwingLeaf) looks() []float64    { return everyDegree(l.OpensToDeg) }
func (l SwingLeaf) opensToDeg() float64 { return l.OpensToDeg }

func (l SwingLeaf) counts() (sweepS, leastMps float64) {
	if l.SweepTimeS > 0 && l.LeastSpeedMps > 0 {
		return l.SweepTimeS, l.LeastSpeedMps
	}
	return 0, 0
}

func (l SwingLeaf) at(p patch, open float64) (XY, bool) {
	sin, cos := sincosDeg(open * l.OpensToDeg)
	return XY{l.HingeXM + l.TowardsX*p.across*cos, p.across * sin}, false
}

func (l SlidingLeaf) surface() []patch {
	width := math.Abs(l.ToXM - l.FromXM)
	return append(rectangle(width, l.HeightM, 0), rectangle(width, l.HeightM, panelM)...)
}

func (l SlidingLeaf) looks() []float64                   { return []float64{0} }
func (l SlidingLeaf) opensToDeg() float64                { return 0 }
func (l SlidingLeaf) counts() (sweepS, leastMps float64) { return 0, 0 }

func (l SlidingLeaf) at(p patch, open float64) (XY, bool) {
	way := l.ToXM - l.FromXM
	along := p.across - open*math.Abs(way)
	return XY{l.FromXM + along*math.Copysign(1, way), p.face}, along < -1e-9
}

func (l FoldingLeaf) surface() []patch                   { return rectangle(l.WidthM, l.HeightM, 0) }
func (l FoldingLeaf) looks() []float64                   { return everyDegree(l.OpensToDeg) }
func (l FoldingLeaf) opensToDeg() float64                { return l.OpensToDeg }
func (l FoldingLeaf) counts() (sweepS, leastMps float64) { return 0, 0 }

func (l FoldingLeaf) at(p patch, open float64) (XY, bool) {
	sin, cos := sincosDeg(open * l.OpensToDeg)
	return XY{l.HingeXM + l.TowardsX*p.across*cos, min(p.across, l.WidthM-p.across) * sin}, false
}

// everyDegree is in the middle of each.
func everyDegree(opensToDeg float64) []float64 {
	looks := make([]float64, steps(opensToDeg, leafStepDeg))
	for i := range looks {
		looks[i] = (float64(i) + 0.5) / float64(len(looks))
	}
	return looks
}

// rectangle divides a surface evenly, its edges included.
func rectangle(widthM, heightM, face float64) []patch {
	n, m := steps(widthM, leafStepM), steps(heightM, leafStepM)
	patches := make([]patch, 0, (n+1)*(m+1))
	for i := range n + 1 {
		for j := range m + 1 {
			patches = append(patches, patch{widthM * float64(i) / float64(n), heightM * float64(j) / float64(m), face})
		}
	}
	return patches
}

func steps(length, step float64) int { return max(1, int(math.Ceil(length/step-1e-9))) }

// CheckLeaf checks a device against a leaf.
func (d Device) CheckLeaf(l Leaf) LeafCheck {
	var c LeafCheck
	_, least := l.counts()
	needed := math.Inf(1)
	points, seen := 0, 0
	now := d.aim()
	for s := range samples(l, 1) {
		points++
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
	c.Share = float64(seen) / float64(max(1, points))
	if !c.Seen {
		c.ClearReachDB = &d.ReachDB
	} else if below := math.Ceil(needed*10-1e-9)/10 - 0.1; below >= limitReach.low {
		c.ClearReachDB = &below
	}
	return c
}

// seesLeaf is what CheckLeaf finds of Seen; it stops at the first that is seen.
func (d Device) seesLeaf(l Leaf) bool {
	_, least := l.counts()
	now := d.aim()
	farthest := sq(now.sight(d.ReachDB).rangeM) * (1 + 1e-9)
	for s := range samples(l, 1) {
		x, y, z := s.at.X-d.OffsetXM, s.at.Y-d.OffsetYM, s.at.Z-d.HeightM
		if x*x+y*y+z*z <= farthest && now.leafReachNeededDB(s, least) <= d.ReachDB {
			return true
		}
	}
	return false
}

// OffsetClearOf is how much farther from the door along y (an arm, the ceiling) the device must stand, at least, to see
// nothing of the leaf: to 5 mm, up to 6 m. It says false when that is not enough.
func (d Device) OffsetClearOf(l Leaf) (offsetM float64, found bool) {
	points := slices.Collect(samples(l, 1))
	_, least := l.counts()
	at := d.aim()
	last := 0 // where something was seen, something mostly still is a little farther out
	sees := func(offset float64) bool {
		moved := at
		moved.OffsetYM += offset
		for i := range points {
			if n := (last + i) % len(points); moved.leafReachNeededDB(points[n], least) <= d.ReachDB {
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
	a, needed := d.aim(), math.Inf(1)
	_, least := l.counts()
	for s := range samples(l, every) {
		needed = min(needed, a.leafReachNeededDB(s, least))
	}
	return needed
}
