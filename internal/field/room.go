package field

import (
	"math"
	"slices"
)

// room is a polygon of which it is asked how much fits into it.
type room struct {
	p     Polygon
	edges []*edge
	bounds
}

// edge is a piece of a border, with the box about it.
type edge struct {
	a, b XY
	bounds
}

// aside says that an edge is no nearer to v than far.
func (e *edge) aside(v XY, far float64) bool {
	return e.low[0]-v[0] >= far || v[0]-e.high[0] >= far || e.low[1]-v[1] >= far || v[1]-e.high[1] >= far
}

// smoothM is how far a border that is looked at may lie beside the traced one: it spares most of its corners.
const smoothM = 0.001

func roomIn(p Polygon) room {
	r := room{p: make(Polygon, 0, len(p)), bounds: boundsOf(p, 0)}
	for _, ring := range p {
		ring = smoothed(ring)
		edges := make([]edge, len(ring)-1)
		r.p = append(r.p, ring)
		for i := 1; i < len(ring); i++ {
			a, b := ring[i-1], ring[i]
			edges[i-1] = edge{a, b, edgeBounds(a, b, 0)}
			r.edges = append(r.edges, &edges[i-1])
		}
	}
	return r
}

// smoothed leaves out corners of a ring that lie within smoothM of the line between those that stay.
func smoothed(r Ring) Ring {
	out := Ring{r[0]}
	from := 0
	for to := 2; to < len(r); to++ {
		if slices.ContainsFunc(r[from+1:to], func(v XY) bool { return toSegment(v, r[from], r[to]) > smoothM*smoothM }) {
			from = to - 1
			out = append(out, r[from])
		}
	}
	return append(out, r[len(r)-1])
}

// place is a square of the plane: places are halved as long as they can hold a better point.
type place struct {
	centre XY
	half   float64
	here   float64 // from the centre to the border; less than 0 outside
	edges  []*edge // the border that is nearest to any point of the place is among them
	wall   int     // which of them is nearest to the centre
}

// radius is how far the corners are from the centre.
func (c place) radius() float64 { return c.half * math.Sqrt2 }

// placeAt measures a place; within says whether its centre is in the polygon.
func placeAt(v XY, half float64, edges []*edge, within func() bool) place {
	nearest, here, wall := math.Inf(1), math.Inf(1), 0
	for i, e := range edges {
		if !e.aside(v, here) {
			if d := toSegment(v, e.a, e.b); d < nearest {
				nearest, here, wall = d, math.Sqrt(d), i
			}
		}
	}
	if !within() {
		here = -here
	}
	return place{v, half, here, edges, wall}
}

// start divides the room into places that are about as large as it is wide.
func (r room) start() []place {
	half := max(min(r.high[0]-r.low[0], r.high[1]-r.low[1])/2, (r.high[0]-r.low[0]+r.high[1]-r.low[1])/100, 1e-9)
	var places []place
	for x := r.low[0] + half; x < r.high[0]+half; x += 2 * half {
		for y := r.low[1] + half; y < r.high[1]+half; y += 2 * half {
			v := XY{x, y}
			places = append(places, placeAt(v, half, r.edges, func() bool { return r.p.Contains(v) }))
		}
	}
	return places
}

// narrow says that no point of the place is further than far from the border, for two walls stand too close: the distance to a wall is convex, so
// the mean of two of them is nowhere greater than at a corner of the place.
func (c place) narrow(far float64) bool {
	h := c.half
	corners := [4]XY{{c.centre[0] - h, c.centre[1] - h}, {c.centre[0] + h, c.centre[1] - h}, {c.centre[0] - h, c.centre[1] + h}, {c.centre[0] + h, c.centre[1] + h}}
	var one [4]float64
	for k, v := range corners {
		one[k] = math.Sqrt(toSegment(v, c.edges[c.wall].a, c.edges[c.wall].b))
	}
	return slices.ContainsFunc(c.edges, func(e *edge) bool {
		for k, v := range corners {
			if rest := 2*far - one[k]; rest < 0 || toSegment(v, e.a, e.b) > rest*rest {
				return false
			}
		}
		return true
	})
}

// quarters halves a place both ways.
func (r room) quarters(c place) (four [4]place) {
	h := c.half / 2
	edges := near(c.edges, c.centre, math.Abs(c.here)+2*c.radius()) // to what is nearest to any point of the place
	for i, o := range [4]XY{{-h, -h}, {h, -h}, {-h, h}, {h, h}} {
		v := XY{c.centre[0] + o[0], c.centre[1] + o[1]}
		four[i] = placeAt(v, h, edges, func() bool {
			if math.Abs(c.here) > c.radius()/2 { // no border between here and there
				return c.here > 0
			}
			return r.p.Contains(v)
		})
	}
	return four
}

// near are those edges that may be within a distance of v.
func near(edges []*edge, v XY, distance float64) []*edge {
	if len(edges) <= 8 {
		return edges
	}
	some := make([]*edge, 0, len(edges))
	for _, e := range edges {
		if !e.aside(v, distance) {
			some = append(some, e)
		}
	}
	return some
}

// widest is the radius of the largest circle that fits, to 4 mm.
func (r room) widest() float64 {
	best, places := 0.0, r.start()
	for len(places) > 0 {
		var next []place
		for _, c := range places {
			best = max(best, c.here)
		}
		for _, c := range places {
			if c.here+c.radius() <= best+0.004 || c.narrow(best+0.004) {
				continue
			}
			four := r.quarters(c)
			next = append(next, four[:]...)
		}
		places = next
	}
	return best
}

// takesTestBody says whether the test body fits, in steps of 2° of turn, which is true to 4 mm of its sides. The inscribed
// circle settles most gaps.
func (r room) takesTestBody(radiusM float64) bool {
	if 2*radiusM >= math.Hypot(testBodyWidthM, testBodyLengthM) {
		return true
	}
	if 2*(radiusM+0.005) < testBodyWidthM {
		return false
	}
	type turnedPlace struct {
		place
		deg float64
	}
	var open []turnedPlace
	middles := r.middles()
	for deg := 4.0; deg < 180; deg += 10 { // five turns at once first
		turn := turned(deg)
		for _, c := range middles {
			least := enough - c.slack(4)
			switch grows := c.grows(turn, least); {
			case grows >= enough:
				return true
			case grows >= least:
				open = append(open, turnedPlace{c, deg})
			}
		}
	}
	return slices.ContainsFunc(open, func(c turnedPlace) bool {
		return c.holds(turned(c.deg-4)) || c.holds(turned(c.deg-2)) || c.holds(turned(c.deg)) || c.holds(turned(c.deg+2)) || c.holds(turned(c.deg+4))
	})
}

// middles are the small places in which the middle of the test body may be, each with the edges that the body may touch from there. A circle of
// half its width has room about the middle, so every place lies inside.
func (r room) middles() (list []place) {
	const least, half = testBodyWidthM/2 - 0.002, 0.02
	for places := r.start(); len(places) > 0; {
		c := places[len(places)-1]
		places = places[:len(places)-1]
		switch {
		case c.here+c.radius() < least:
		case c.half <= half:
			c.edges = near(r.edges, c.centre, bodyRadiusM+c.radius())
			list = append(list, c)
		default:
			four := r.quarters(c)
			places = append(places, four[:]...)
		}
	}
	return list
}

// bodyRadiusM is from the middle of the test body to its corners.
var bodyRadiusM = math.Hypot(testBodyWidthM, testBodyLengthM) / 2

// enough of the test body that fits: 1 mm less than all of it.
const enough = 0.99

// grows is how much larger the turned test body about the centre may be until it touches the border; when that is less than least it does not
// matter how much less.
func (c place) grows(turn rotation, least float64) float64 {
	grows := math.Inf(1)
	for _, e := range c.edges {
		if grows = min(grows, bodiesTo(c.centre, e.a, e.b, turn)); grows < least {
			break
		}
	}
	return grows
}

// slack is how much more room than at the centre the test body may have anywhere in the place, turned by up to so much more.
func (c place) slack(byDeg float64) float64 {
	return (c.radius() + bodyRadiusM*byDeg*math.Pi/180) / (testBodyWidthM / 2)
}

// holds says whether the turned test body fits with its middle somewhere in the place.
func (c place) holds(turn rotation) bool {
	slack := c.slack(0)
	here := c.grows(turn, enough-slack)
	switch {
	case here >= enough:
		return true
	case here+slack < enough || slack <= 0.01:
		return false
	}
	h := c.half / 2
	for _, o := range [4]XY{{-h, -h}, {h, -h}, {-h, h}, {h, h}} {
		if (place{centre: XY{c.centre[0] + o[0], c.centre[1] + o[1]}, half: h, edges: c.edges}).holds(turn) {
			return true
		}
	}
	return false
}

// bodiesTo is how much larger the turned test body about v may be until it touches the segment: below 1 it is cut by it. In the measure of the
// body, a square of half side 1, it is the distance in the larger coordinate, which is convex along the segment and least at one of its kinks.
func bodiesTo(v, a, b XY, turn rotation) float64 {
	a, b = turn.in(XY{a[0] - v[0], a[1] - v[1]}), turn.in(XY{b[0] - v[0], b[1] - v[1]})
	x, y := a[0]/(testBodyWidthM/2), a[1]/(testBodyLengthM/2)
	dx, dy := b[0]/(testBodyWidthM/2)-x, b[1]/(testBodyLengthM/2)-y
	at := func(num, den float64) float64 {
		t := 0.0
		if den != 0 {
			t = max(0, min(1, num/den))
		}
		return max(math.Abs(x+t*dx), math.Abs(y+t*dy))
	}
	return min(at(0, 1), at(1, 1), at(-x, dx), at(-y, dy), at(y-x, dx-dy), at(-x-y, dx+dy))
}
