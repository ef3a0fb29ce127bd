package field

import (
	"cmp"
	"math"
	"slices"
)

// XY is a place on a plane, in metres.
type XY = [2]float64

// Ring is a closed line: the last point repeats the first.
type Ring = []XY

// Polygon is an outer ring, counter-clockwise, followed by its holes, clockwise.
type Polygon []Ring

// line is the border of a half-plane: what has n·p > c is cut away.
type line struct {
	n XY // of length 1
	c float64
}

func (l line) over(p XY) float64 { return l.n[0]*p[0] + l.n[1]*p[1] - l.c }

// snapM: a vertex nearer than this to a line or a circle was put there to lie on it.
const snapM = 1e-9

// clip keeps of a region what is not over the line. The region is its rings with the inside on their left. What remains
// of the rings are chains that start and end on the line; along the line, the ends pair up.
func clip(rings []Ring, l line) []Ring {
	var kept []Ring
	var chains [][]XY
	for _, r := range rings {
		n := len(r) - 1
		start := slices.IndexFunc(r[:n], func(p XY) bool { return l.over(p) >= -snapM })
		if start < 0 {
			kept = append(kept, r)
			continue
		}
		var chain []XY
		for i := range n {
			a, b := r[(start+i)%n], r[(start+i+1)%n]
			oa, ob := l.over(a), l.over(b)
			if inA, inB := oa < -snapM, ob < -snapM; inA == inB {
				if inB {
					chain = append(chain, b)
				}
				continue
			} else if inB {
				chain = append(make([]XY, 0, n+3), l.meet(a, b, oa, ob), b)
			} else if chain = append(chain, l.meet(b, a, ob, oa)); same(chain[0], chain[len(chain)-1]) {
				if whole := closed(chain); whole != nil { // a ring that touches the line
					kept = append(kept, whole)
				}
			} else {
				chains = append(chains, chain)
			}
		}
	}
	if len(chains) == 0 {
		return kept
	}
	// With the kept side on the left of the line, the border runs in the direction u.
	u := XY{-l.n[1], l.n[0]}
	type end struct {
		at    float64
		chain int
		leave bool // the chain ends here
	}
	ends := make([]end, 0, 2*len(chains))
	for i, c := range chains {
		a, b := c[0], c[len(c)-1]
		ends = append(ends, end{u[0]*a[0] + u[1]*a[1], i, false}, end{u[0]*b[0] + u[1]*b[1], i, true})
	}
	slices.SortFunc(ends, func(a, b end) int { return cmp.Compare(a.at, b.at) })
	for i := 0; i+1 < len(ends); i++ { // they alternate; where two meet, rounding may have swapped them
		if ends[i].leave != (i%2 == 0) {
			ends[i], ends[i+1] = ends[i+1], ends[i]
		}
	}
	next := make([]int, len(chains))
	for i := 0; i+1 < len(ends); i += 2 {
		next[ends[i].chain] = ends[i+1].chain
	}
	return append(kept, link(chains, next)...)
}

// meet is where the edge from a (kept) to b meets the line; a vertex on the line is the place itself.
func (l line) meet(b, a XY, ob, oa float64) XY {
	p := b
	if ob > snapM {
		t := oa / (oa - ob)
		p = XY{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])}
	}
	o := l.over(p)
	return XY{p[0] - o*l.n[0], p[1] - o*l.n[1]}
}

// link joins chains to rings; next[i] is the chain that follows chain i.
func link(chains [][]XY, next []int) []Ring {
	var rings []Ring
	done := make([]bool, len(chains))
	for first := range chains {
		if done[first] {
			continue
		}
		r := Ring(chains[first])
		done[first] = true
		for i := next[first]; !done[i]; i = next[i] {
			done[i] = true
			r = append(r, chains[i]...)
		}
		if r = closed(r); r != nil {
			rings = append(rings, r)
		}
	}
	return rings
}

// closed drops repeated points and repeats the first one at the end; nil when no area is left.
func closed(r Ring) Ring {
	r = slices.CompactFunc(r, same)
	for len(r) > 1 && same(r[0], r[len(r)-1]) {
		r = r[:len(r)-1]
	}
	if len(r) < 3 || math.Abs(ringArea(append(r, r[0]))) < 1e-13 {
		return nil
	}
	return append(r, r[0])
}

func same(a, b XY) bool { return math.Abs(a[0]-b[0])+math.Abs(a[1]-b[1]) < 1e-10 }

// ringArea is positive for a counter-clockwise ring.
func ringArea(r Ring) float64 {
	if len(r) == 0 {
		return 0
	}
	a, o := 0.0, r[0]
	for i := 1; i < len(r); i++ {
		a += (r[i-1][0]-o[0])*(r[i][1]-o[1]) - (r[i][0]-o[0])*(r[i-1][1]-o[1])
	}
	return a / 2
}

// polygons sorts rings (inside on the left) into outer rings with their holes.
func polygons(rings []Ring) []Polygon {
	polys := []Polygon{}
	for _, r := range rings {
		if ringArea(r) > 0 {
			polys = append(polys, Polygon{r})
		}
	}
	for _, r := range rings {
		if ringArea(r) > 0 {
			continue
		}
		best, least := -1, math.Inf(1)
		for i, p := range polys {
			if a := ringArea(p[0]); a < least && ringInside(r, p[0]) {
				best, least = i, a
			}
		}
		if best >= 0 {
			polys[best] = append(polys[best], r)
		}
	}
	return polys
}

// ringInside says whether a hole lies in an outer ring that it does not cross (it may touch it).
func ringInside(hole, outer Ring) bool {
	in := 0
	for _, p := range hole[1:] {
		if contains(outer, p) {
			in++
		}
	}
	return 2*in > len(hole)-1
}

// contains: even–odd rule.
func contains(r Ring, p XY) bool {
	in := false
	for i := 1; i < len(r); i++ {
		a, b := r[i-1], r[i]
		if (a[1] > p[1]) != (b[1] > p[1]) && p[0] < a[0]+(p[1]-a[1])*(b[0]-a[0])/(b[1]-a[1]) {
			in = !in
		}
	}
	return in
}

// Contains says whether the point lies in the polygon.
func (p Polygon) Contains(q XY) bool {
	if !contains(p[0], q) {
		return false
	}
	for _, hole := range p[1:] {
		if contains(hole, q) {
			return false
		}
	}
	return true
}

// AreaM2 is the area of the polygon without its holes.
func (p Polygon) AreaM2() float64 {
	a := 0.0
	for _, r := range p {
		a += ringArea(r)
	}
	return a
}

// disc is what the ball of the side lobes cuts out of a plane.
type disc struct {
	centre XY
	radius float64
}

func (d disc) over(p XY) float64 { return math.Hypot(p[0]-d.centre[0], p[1]-d.centre[1]) - d.radius }

func (d disc) at(angle float64) XY {
	sin, cos := math.Sincos(angle)
	return XY{d.centre[0] + d.radius*cos, d.centre[1] + d.radius*sin}
}

// ring draws the circle with chords true to tolM and with vertices at the extremes, at the extremes across the lines and
// where it meets the lines.
func (d disc) ring(lines []line, tolM float64) Ring {
	n := 16
	if tolM < d.radius/20 {
		n = 4 * int(math.Ceil(math.Pi/4/math.Acos(1-tolM/d.radius)))
	}
	angles := make([]float64, 0, n+4*len(lines))
	for i := range n {
		angles = append(angles, 2*math.Pi*float64(i)/float64(n))
	}
	for _, l := range lines {
		towards := math.Atan2(l.n[1], l.n[0])
		angles = append(angles, towards, towards+math.Pi)
		if c := -l.over(d.centre) / d.radius; math.Abs(c) < 1 {
			angles = append(angles, towards+math.Acos(c), towards-math.Acos(c))
		}
	}
	for i, a := range angles {
		angles[i] = math.Mod(a+4*math.Pi, 2*math.Pi)
	}
	slices.Sort(angles)
	r := make(Ring, 0, len(angles)+1)
	for i, a := range angles {
		if i > 0 && a-angles[i-1] < 1e-12 {
			continue
		}
		r = append(r, d.at(a))
	}
	return append(r, r[0])
}

// join unites a region with the disc. Where its rings cross the circle they have vertices on it, so both borders fall
// into arcs, and the ones outside the other region are linked. It says false when rounding has spoilt the order of the
// crossings.
func join(rings []Ring, d disc, circle Ring, inRegion func(XY) bool) ([]Ring, bool) {
	type crossing struct {
		angle float64
		chain int  // that ends or starts here
		leave bool // the chain ends here: the region's border goes into the disc
	}
	var kept []Ring
	var chains [][]XY
	var crossings []crossing
	angle := func(p XY) float64 {
		return math.Mod(math.Atan2(p[1]-d.centre[1], p[0]-d.centre[0])+4*math.Pi, 2*math.Pi)
	}
	for _, r := range rings {
		n := len(r) - 1
		side := make([]int, n) // 1 outside, −1 inside, 0 on the circle
		start := -1
		for i, p := range r[:n] {
			if o := d.over(p); o > snapM {
				side[i] = 1
			} else if o < -snapM {
				side[i] = -1
			} else {
				start = i
			}
		}
		if start < 0 {
			if side[0] > 0 {
				kept = append(kept, r)
			}
			continue
		}
		var chain []XY
		flush := func(end XY) {
			if chain != nil {
				crossings = append(crossings,
					crossing{angle(chain[0]), len(chains), false}, crossing{angle(end), len(chains), true})
				chains = append(chains, append(chain, end))
			}
			chain = nil
		}
		for i := range n {
			at, to := (start+i)%n, (start+i+1)%n
			if side[at] == 0 && side[to] == 1 && chain == nil {
				chain = []XY{r[at]}
			}
			switch {
			case side[to] == 1 && chain != nil:
				chain = append(chain, r[to])
			case side[to] == 0:
				if chain != nil && side[(to+1)%n] == 1 { // touches the circle and leaves it again
					chain = append(chain, r[to])
				} else {
					flush(r[to])
				}
			case side[to] == -1 && chain != nil:
				return nil, false
			}
		}
		flush(r[start])
	}
	if len(chains) == 0 {
		if !inRegion(d.at(0.1)) {
			kept = append(kept, circle)
		}
		return kept, true
	}
	slices.SortFunc(crossings, func(a, b crossing) int { return cmp.Compare(a.angle, b.angle) })
	if !crossings[0].leave {
		crossings = append(crossings[1:], crossings[0])
	}
	next := make([]int, len(chains))
	for i := 0; i+1 < len(crossings); i += 2 {
		from, to := crossings[i], crossings[i+1]
		if !from.leave || to.leave {
			return nil, false
		}
		next[from.chain] = to.chain
		chains[from.chain] = append(chains[from.chain], arc(circle, angle, from.angle, to.angle)...)
	}
	return append(kept, link(chains, next)...), true
}

// arc gives the vertices of the circle strictly between two angles, counter-clockwise.
func arc(circle Ring, angle func(XY) float64, from, to float64) []XY {
	type vertex struct {
		turn float64
		p    XY
	}
	span := math.Mod(to-from+4*math.Pi, 2*math.Pi)
	var between []vertex
	for _, p := range circle[1:] {
		if turn := math.Mod(angle(p)-from+4*math.Pi, 2*math.Pi); turn > 1e-12 && turn < span-1e-12 {
			between = append(between, vertex{turn, p})
		}
	}
	slices.SortFunc(between, func(a, b vertex) int { return cmp.Compare(a.turn, b.turn) })
	points := make([]XY, len(between))
	for i, v := range between {
		points[i] = v.p
	}
	return points
}

func dist(a, b XY) float64 { return math.Sqrt(sq(a[0]-b[0]) + sq(a[1]-b[1])) }

func cross(a, m, b XY) float64 { return (m[0]-a[0])*(b[1]-a[1]) - (m[1]-a[1])*(b[0]-a[0]) }
