package field

import (
	"cmp"
	"math"
	"slices"

	"github.com/peterstace/simplefeatures/geom"
)

// without gives what is left of a without p.
//
// Where the borders properly cross, the pieces of both are linked at the crossings; the overlay library, which takes some ten times as long,
// has what touches or all but coincides. Either may be wrong there and say nothing: what is left and what both have in common must add up to
// a, else p is tried again a fraction of a micrometre aside; what is refused even then takes nothing.
func without(a, p Polygon) []Polygon {
	whole := a.AreaM2()
	common := commonM2(a, p)
	switch {
	case common < slitM2/100:
		return []Polygon{a}
	case whole-common < slitM2/100:
		return nil
	}
	if rings, ok := cutOut(a, p); ok {
		if left := polygons(rings); math.Abs(areaOf(left)+common-whole) < slitM2/100 {
			return left
		}
	}
	for try := range 4 {
		moved := aside(p, float64(try)*3e-7, float64(try)*7e-7)
		left, err := geom.Difference(multi([]Polygon{a}).AsGeometry(), multi([]Polygon{moved}).AsGeometry())
		if err == nil && math.Abs(left.Area()+commonM2(a, moved)-whole) < slitM2 {
			return polygons(ringsOf(left))
		}
	}
	return []Polygon{a}
}

func areaOf(polys []Polygon) (m2 float64) {
	for _, p := range polys {
		m2 += p.AreaM2()
	}
	return m2
}

// aside moves a polygon.
func aside(p Polygon, dx, dy float64) Polygon {
	moved := make(Polygon, len(p))
	for i, r := range p {
		moved[i] = make(Ring, len(r))
		for j, v := range r {
			moved[i][j] = XY{v[0] + dx, v[1] + dy}
		}
	}
	return moved
}

// crossing is where an edge of a and an edge of p cross.
type borderCrossing struct {
	at           XY
	ringA, edgeA int
	alongA       float64
	ringP, edgeP int
	alongP       float64
	enters       bool // a's border goes into p
	nextA, backP int  // the crossing after it on a's ring, and the one before it on p's
}

// cutOut links what of a's border is outside of p with what of p's border is in a, backwards. ok is false where the borders touch.
func cutOut(a, p Polygon) (rings []Ring, ok bool) {
	crossings, ok := crossingsOf(a, p)
	if !ok {
		return nil, false
	}
	crossedA, crossedP := make([]bool, len(a)), make([]bool, len(p))
	for _, c := range crossings {
		crossedA[c.ringA], crossedP[c.ringP] = true, true
	}
	for i, r := range a {
		if !crossedA[i] && !p.Contains(r[0]) {
			rings = append(rings, r)
		}
	}
	for i, r := range p {
		if !crossedP[i] && a.Contains(r[0]) {
			back := slices.Clone(r)
			slices.Reverse(back)
			rings = append(rings, back)
		}
	}
	order := make([]int, len(crossings))
	follow := func(place func(c *borderCrossing) (ring, edge int, along float64), set func(from, to int)) {
		for i := range order {
			order[i] = i
		}
		slices.SortFunc(order, func(i, j int) int {
			ri, ei, ti := place(&crossings[i])
			rj, ej, tj := place(&crossings[j])
			return cmp.Or(cmp.Compare(ri, rj), cmp.Compare(ei, ej), cmp.Compare(ti, tj))
		})
		for first := 0; first < len(order); {
			ring, _, _ := place(&crossings[order[first]])
			last := first
			for last+1 < len(order) {
				if r, _, _ := place(&crossings[order[last+1]]); r != ring {
					break
				}
				last++
			}
			for k := first; k <= last; k++ {
				to := k + 1
				if k == last {
					to = first
				}
				set(order[k], order[to])
			}
			first = last + 1
		}
	}
	follow(func(c *borderCrossing) (int, int, float64) { return c.ringA, c.edgeA, c.alongA }, func(from, to int) { crossings[from].nextA = to })
	follow(func(c *borderCrossing) (int, int, float64) { return c.ringP, c.edgeP, c.alongP }, func(from, to int) { crossings[to].backP = from })
	done := make([]bool, len(crossings))
	for first := range crossings {
		if done[first] || crossings[first].enters {
			continue
		}
		var r Ring
		for out := first; !done[out]; {
			in := crossings[out].nextA
			if !crossings[in].enters || crossings[crossings[in].backP].enters {
				return nil, false
			}
			done[out], done[in] = true, true
			r = append(r, crossings[out].at)
			r = along2(r, a[crossings[out].ringA], crossings[out].edgeA, crossings[out].alongA, crossings[in].edgeA, crossings[in].alongA, 1)
			from, to := &crossings[in], &crossings[crossings[in].backP]
			r = append(r, from.at)
			r = along2(r, p[from.ringP], from.edgeP, from.alongP, to.edgeP, to.alongP, -1)
			out = from.backP
		}
		if r = closed(r); r != nil {
			rings = append(rings, r)
		}
	}
	return rings, true
}

// along2 appends the vertices of a ring between two places on its edges (edge i runs from vertex i to i+1), onwards or backwards.
func along2(r, ring Ring, fromEdge int, fromAlong float64, toEdge int, toAlong float64, way int) Ring {
	n := len(ring) - 1
	if fromEdge == toEdge && (toAlong-fromAlong)*float64(way) > 0 {
		return r
	}
	if way > 0 {
		for i := fromEdge; ; {
			i = (i + 1) % n
			r = append(r, ring[i])
			if i == toEdge {
				return r
			}
		}
	}
	for i := fromEdge; ; {
		r = append(r, ring[i])
		i = (i - 1 + n) % n
		if i == toEdge {
			return r
		}
	}
}

// crossingsOf finds where the borders cross; ok is false where a vertex of one comes nearer than touchM to the other's edge that it meets.
func crossingsOf(a, p Polygon) (list []borderCrossing, ok bool) {
	const touchM = 1e-8
	type place struct {
		bounds
		ring, edge int
	}
	boxA, boxP := boundsOf(a, touchM), boundsOf(p, touchM)
	var close []place // edges of p that come near a at all, from left to right
	for j, r := range p {
		for f := 1; f < len(r); f++ {
			if !boxA.apart(r[f-1], r[f]) {
				close = append(close, place{edgeBounds(r[f-1], r[f], 0), j, f})
			}
		}
	}
	slices.SortFunc(close, func(a, b place) int { return cmp.Compare(a.low[0], b.low[0]) })
	for i, ra := range a {
		for e := 1; e < len(ra); e++ {
			a0, a1 := ra[e-1], ra[e]
			if boxP.apart(a0, a1) {
				continue
			}
			here := edgeBounds(a0, a1, touchM)
			for k := range close {
				at := &close[k]
				if at.low[0] > here.high[0] {
					break
				}
				if at.high[0] < here.low[0] || at.low[1] > here.high[1] || at.high[1] < here.low[1] {
					continue
				}
				j, f := at.ring, at.edge
				p0, p1 := p[j][f-1], p[j][f]
				// distances of each end from the other's line, times the other's length
				s0, s1 := cross(p0, a0, p1), cross(p0, a1, p1)
				t0, t1 := cross(a0, p0, a1), cross(a0, p1, a1)
				lp, la := dist(p0, p1)*touchM, dist(a0, a1)*touchM
				near := math.Abs(s0) < lp || math.Abs(s1) < lp || math.Abs(t0) < la || math.Abs(t1) < la
				if !near && ((s0 > 0) == (s1 > 0) || (t0 > 0) == (t1 > 0)) {
					continue
				}
				if near {
					if toSegment(a0, p0, p1) < touchM*touchM || toSegment(a1, p0, p1) < touchM*touchM || toSegment(p0, a0, a1) < touchM*touchM || toSegment(p1, a0, a1) < touchM*touchM {
						return nil, false
					}
					if (s0 > 0) == (s1 > 0) || (t0 > 0) == (t1 > 0) {
						continue
					}
				}
				along := s0 / (s0 - s1)
				list = append(list, borderCrossing{at: XY{a0[0] + along*(a1[0]-a0[0]), a0[1] + along*(a1[1]-a0[1])},
					ringA: i, edgeA: e - 1, alongA: along, ringP: j, edgeP: f - 1, alongP: t0 / (t0 - t1), enters: s1 < s0})
			}
		}
	}
	return list, true
}

// bounds is an upright box.
type bounds struct{ low, high XY }

// boundsOf is the box about a polygon, larger by a margin on each side.
func boundsOf(p Polygon, marginM float64) bounds {
	b := bounds{p[0][0], p[0][0]}
	for _, v := range p[0] {
		b.low = XY{min(b.low[0], v[0]), min(b.low[1], v[1])}
		b.high = XY{max(b.high[0], v[0]), max(b.high[1], v[1])}
	}
	for k := range 2 {
		b.low[k] -= marginM
		b.high[k] += marginM
	}
	return b
}

func edgeBounds(v, w XY, marginM float64) bounds {
	return bounds{XY{min(v[0], w[0]) - marginM, min(v[1], w[1]) - marginM}, XY{max(v[0], w[0]) + marginM, max(v[1], w[1]) + marginM}}
}

// apart says that an edge lies wholly to one side of the box.
func (b bounds) apart(p0, p1 XY) bool {
	return p0[0] < b.low[0] && p1[0] < b.low[0] || p0[0] > b.high[0] && p1[0] > b.high[0] ||
		p0[1] < b.low[1] && p1[1] < b.low[1] || p0[1] > b.high[1] && p1[1] > b.high[1]
}

// commonM2 is the area that two polygons have in common: each is the sum of the strips below its edges, down to a line below both, those
// that run to the right taken away; so the area is the sum of what every two strips have in common, whatever the topology.
func commonM2(a, b Polygon) (area float64) {
	boxA, boxB := boundsOf(a, 0), boundsOf(b, 0)
	if boxA.apart(boxB.low, boxB.high) {
		return 0
	}
	base := min(boxA.low[1], boxB.low[1])
	var below [256][2]XY
	strips := below[:0] // below edges of b
	for _, r := range b {
		for j := 1; j < len(r); j++ {
			if x0, x1 := r[j-1][0], r[j][0]; x0 != x1 && max(x0, x1) > boxA.low[0] && min(x0, x1) < boxA.high[0] {
				strips = append(strips, [2]XY{r[j-1], r[j]})
			}
		}
	}
	for _, r := range a {
		for i := 1; i < len(r); i++ {
			left, right := r[i-1][0], r[i][0]
			if left == right {
				continue
			}
			if left > right {
				left, right = right, left
			}
			for j := range strips {
				s := &strips[j]
				if x0, x1 := s[0][0], s[1][0]; x0 < right && x1 > left || x1 < right && x0 > left {
					area += commonStrip(r[i-1], r[i], s[0], s[1], base)
				}
			}
		}
	}
	return area
}

// commonStrip is the area below both edges and above base, negative when one of them runs to the right and the other to the left.
func commonStrip(a0, a1, b0, b1 XY, base float64) float64 {
	left := max(min(a0[0], a1[0]), min(b0[0], b1[0]))
	right := min(max(a0[0], a1[0]), max(b0[0], b1[0]))
	if left >= right {
		return 0
	}
	sign := 1.0
	if (a1[0] > a0[0]) != (b1[0] > b0[0]) {
		sign = -1
	}
	slopeA, slopeB := (a1[1]-a0[1])/(a1[0]-a0[0]), (b1[1]-b0[1])/(b1[0]-b0[0])
	la, lb := a0[1]+slopeA*(left-a0[0])-base, b0[1]+slopeB*(left-b0[0])-base
	ra, rb := a0[1]+slopeA*(right-a0[0])-base, b0[1]+slopeB*(right-b0[0])-base
	width := right - left
	dl, dr := la-lb, ra-rb
	if dl*dr >= 0 { // one is the lower all the way
		if dl+dr > 0 {
			la, ra = lb, rb
		}
		return sign * width * (la + ra) / 2
	}
	t := dl / (dl - dr) // where they cross
	if dl < 0 {
		middle := la + t*(ra-la)
		return sign * width * (t*(la+middle) + (1-t)*(middle+rb)) / 2
	}
	middle := lb + t*(rb-lb)
	return sign * width * (t*(lb+middle) + (1-t)*(middle+ra)) / 2
}
