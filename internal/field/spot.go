package field

import (
	"fmt"
	"iter"
	"math"
)

// SpotGrid is an active infrared sensor: rows × columns of light spots from one place, each of which tells when a body covers
// enough of it.
type SpotGrid struct {
	Sensing
	Mount
	Rows, Columns  int     // 1 to 64 each
	RowStepDeg     float64 // between neighbours, up from the boresight's middle, 0 to 45
	ColumnStepDeg  float64 // between neighbours, aside, 0 to 45
	DivergenceDeg  float64 // full angle of the cone of one spot, 0.1 to 20
	RangeM         float64 // along the spot's axis, 0.1 to 20
	DetectionShare float64 // of a spot that a body covers when it is seen, 0.02 to 0.45
}

var _ Volume = SpotGrid{}

// Validate implements Volume.
func (g SpotGrid) Validate() error {
	if err := g.check(Activation, Presence, Both); err != nil {
		return err
	}
	if err := g.Mount.validate(); err != nil {
		return err
	}
	for _, n := range []struct {
		member string
		v      int
	}{{"rows", g.Rows}, {"columns", g.Columns}} {
		if n.v < 1 || n.v > 64 {
			return &InputError{n.member, fmt.Sprintf("must be from 1 to 64, not %d", n.v)}
		}
	}
	return checkAll(measured{limit{"row_step_deg", 0, 45}, g.RowStepDeg}, measured{limit{"column_step_deg", 0, 45}, g.ColumnStepDeg},
		measured{limit{"divergence_deg", 0.1, 20}, g.DivergenceDeg}, measured{limit{"range_m", 0.1, 20}, g.RangeM},
		measured{limit{"detection_share", 0.02, 0.45}, g.DetectionShare})
}

// Senses implements Volume.
func (g SpotGrid) Senses() Sensing { return g.Sensing }

// spot is the cone of one spot, cut by level planes in ellipses that all look alike: what is given is for a drop of 1 m.
type spot struct {
	foot         XY
	sin, cos     float64 // of the direction on the floor, from +y towards +x
	middle       float64 // of the ellipse, along that direction
	along, aside float64 // half axes
	deepest      float64 // drop beyond which it is out of range
}

// spots gives the cones that come down to a plane; one that reaches to the horizontal has no ellipse.
func (g SpotGrid) spots() []spot {
	sinT, cosT := sincosDeg(g.TiltDeg)
	sinW, cosW := sincosDeg(g.YawDeg)
	half := g.DivergenceDeg / 2 * math.Pi / 180
	var all []spot
	for row := range g.Rows {
		sinE, cosE := math.Sincos((float64(row) - float64(g.Rows-1)/2) * g.RowStepDeg * math.Pi / 180)
		for column := range g.Columns {
			sinA, cosA := math.Sincos((float64(column) - float64(g.Columns-1)/2) * g.ColumnStepDeg * math.Pi / 180)
			out, aside, down := cosE*cosA*sinT+sinE*cosT, cosE*sinA, cosE*cosA*cosT-sinE*sinT
			x, y := out*sinW+aside*cosW, out*cosW-aside*sinW
			level := math.Hypot(x, y)
			β := math.Atan2(level, down) // from straight down
			if β+half >= math.Pi/2-0.01 {
				continue
			}
			s := spot{foot: XY{g.OffsetXM, g.OffsetYM}, cos: 1, deepest: g.RangeM * math.Cos(β)}
			if level > 1e-12 {
				s.sin, s.cos = x/level, y/level
			}
			near, far := math.Tan(β-half), math.Tan(β+half)
			s.middle, s.along = (near+far)/2, (far-near)/2
			s.aside = math.Sqrt(max(0, sq((s.middle*math.Sin(β)+math.Cos(β))/math.Cos(half))-sq(s.middle)-1))
			all = append(all, s)
		}
	}
	return all
}

// at is a place of the ellipse scaled by k (1: its border) at an angle about its middle.
func (s *spot) at(dropM, k, angle float64) XY {
	sin, cos := math.Sincos(angle)
	out, aside := dropM*(s.middle+k*s.along*cos), dropM*k*s.aside*sin
	return XY{s.foot[0] + out*s.sin + aside*s.cos, s.foot[1] + out*s.cos - aside*s.sin}
}

// ellipse draws the ellipse scaled by k, with its area.
func (s *spot) ellipse(dropM, k float64) []XY {
	const n = 96
	step := 2 * math.Pi / n
	k *= math.Sqrt(step / math.Sin(step))
	points := make([]XY, n)
	for i := range points {
		points[i] = s.at(dropM, k, (float64(i)+0.5)*step)
	}
	return points
}

// covered is the share of the spot that a body with its middle at a floor point covers on a plane: the circle that the
// footprint holds in every turn, against places that stand for equal areas. They lie on a spiral, no two equally far from the
// middle, so that the share of a round spot does not come in steps.
func (s *spot) covered(dropM float64, body XY) float64 {
	const places = 384
	golden := math.Pi * (3 - math.Sqrt(5))
	in := 0
	for i := range places {
		if dist(s.at(dropM, math.Sqrt((float64(i)+0.5)/places), float64(i)*golden), body) <= bodyHalfM {
			in++
		}
	}
	return float64(in) / places
}

// core is how far the ellipse is scaled down so that a straight edge of a body that just reaches it covers the detection share.
func (g SpotGrid) core() float64 {
	low, high := 0.0, 1.0
	for range 50 {
		k := (low + high) / 2
		if (math.Acos(k)-k*math.Sqrt(1-k*k))/math.Pi >= g.DetectionShare {
			low = k
		} else {
			high = k
		}
	}
	return low
}

// OnPlane implements Volume: the ellipses of the spots.
func (g SpotGrid) OnPlane(zM float64, clipAtDoorPlane bool) []Polygon {
	drop := g.HeightM - zM
	var rings []Ring
	for _, s := range g.spots() {
		if drop > 0 && drop <= s.deepest {
			rings = append(rings, hull(s.ellipse(drop, 1)))
		}
	}
	return pieces(rings, clipAtDoorPlane)
}

// OfBody implements Volume. Of each spot it takes the core, which an edge of a body must reach to cover the detection share; a
// spot that is so large that the smallest body cannot cover that much counts for nothing. The ellipses of a cone on all
// planes from 0.1 m to the body's height make up the convex hull of the first and the last.
func (g SpotGrid) OfBody(bodyHeightM float64, clipAtDoorPlane bool) []Polygon {
	return pieces(g.ofBody(bodyHeightM), clipAtDoorPlane)
}

// ofBody gives a ring for each spot.
func (g SpotGrid) ofBody(bodyHeightM float64) (rings []Ring) {
	core := g.core()
	for _, s := range g.spots() {
		low, high := g.heights(&s, bodyHeightM)
		if low > high {
			continue
		}
		rings = append(rings, hull(append(s.ellipse(low, core), s.ellipse(high, core)...)))
	}
	return rings
}

// layers implements layered: a zone is covered spot by spot, which spares joining them all.
func (g SpotGrid) layers(bodyHeightM float64, clipAtDoorPlane bool) iter.Seq[[]Polygon] {
	return func(yield func([]Polygon) bool) {
		for _, r := range g.ofBody(bodyHeightM) {
			if !yield(pieces([]Ring{r}, clipAtDoorPlane)) {
				return
			}
		}
	}
}

// heights gives the least and the greatest drop at which the body can cover enough of the spot; low > high when it cannot.
func (g SpotGrid) heights(s *spot, bodyHeightM float64) (low, high float64) {
	low, high = max(0, g.HeightM-max(bodyHeightM, seenFromM)), min(g.HeightM-seenFromM, s.deepest)
	enough := func(drop float64) bool { return s.covered(drop, s.at(drop, 0, 0)) >= g.DetectionShare }
	if low > high || enough(high) {
		return low, high
	}
	if !enough(low) {
		return 1, 0
	}
	from := low
	for range 20 { // what is too large at a drop is too large at all greater ones
		if m := (from + high) / 2; enough(m) {
			from = m
		} else {
			high = m
		}
	}
	return low, from
}

// SeesBody implements Volume: on some plane the footprint covers the detection share of a spot, in every turn of the body.
func (g SpotGrid) SeesBody(at XY, bodyHeightM float64) bool {
	for _, s := range g.spots() {
		low, high := g.heights(&s, bodyHeightM)
		if low > high {
			continue
		}
		n := steps(high-low, 0.02)
		for i := range n + 1 {
			if s.covered(low+(high-low)*float64(i)/float64(n), at) >= g.DetectionShare {
				return true
			}
		}
	}
	return false
}
