package field

import (
	"math"
	"slices"

	"github.com/peterstace/simplefeatures/geom"
)

// Footprint is a field on one level plane. Extents are true to 5 mm and the area to 0.3 % or 5 cm², whichever is larger; no
// point of the border is further than 1 mm from the true one. An empty field has zeros and no polygons.
type Footprint struct {
	WidthM   float64 // extent in x
	DepthM   float64 // extent in y
	NearM    float64 // least y
	FarM     float64 // greatest y
	AreaM2   float64
	Polygons []Polygon // apart from each other; never nil
}

// Footprint computes the field of a valid device on the plane at a height above the floor, clipped at the door's plane
// (y ≥ 0, a closed opaque leaf) when asked. Height 0 is for the tape and the data sheet; a body is seen where
// BodyFootprint says so.
func (d Device) Footprint(planeHeightM float64, clipAtDoorPlane bool) Footprint {
	return measure(d.OnPlane(planeHeightM, clipAtDoorPlane))
}

// measure takes the extents and the area of polygons.
func measure(polys []Polygon) Footprint {
	f := Footprint{Polygons: polys}
	if len(polys) == 0 {
		f.Polygons = []Polygon{}
		return f
	}
	left, right, near, far := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, p := range polys {
		f.AreaM2 += p.AreaM2()
		for _, v := range p[0] {
			left, right = min(left, v[0]), max(right, v[0])
			near, far = min(near, v[1]), max(far, v[1])
		}
	}
	f.WidthM, f.DepthM, f.NearM, f.FarM = right-left, far-near, near, far
	return f
}

// OnPlane implements Volume.
func (d Device) OnPlane(zM float64, clipAtDoorPlane bool) []Polygon {
	tol := min(chordM, d.chordM(zM))
	for {
		polys := d.onPlane(zM, clipAtDoorPlane, tol)
		area, border := 0.0, 0.0
		for _, p := range polys {
			area += p.AreaM2()
			for _, r := range p {
				for i := 1; i < len(r); i++ {
					border += dist(r[i-1], r[i])
				}
			}
		}
		// Chords lose at most two thirds of their sagitta, here a quarter of tol: slivers want finer chords.
		lost, allowed := border*tol/6, max(0.0025*area, 4e-4)
		if lost <= allowed || tol < 1e-6 {
			return polys
		}
		tol *= max(0.05, 0.5*allowed/lost)
	}
}

// chordM is what a chord may be off for the size of a field, whatever is asked: small fields keep their shape.
func (d Device) chordM(zM float64) float64 {
	return max(1e-6, math.Sqrt(max(0, sq(d.fullReachM())-sq(d.HeightM-zM)))/100)
}

// onPlane draws the field with chords true to about a quarter of tolM.
func (d Device) onPlane(zM float64, clipAtDoorPlane bool, tolM float64) []Polygon {
	drop := d.HeightM - zM
	foot := XY{d.OffsetXM, d.OffsetYM}
	lines, hidden := d.lines(drop, clipAtDoorPlane)
	if hidden {
		return []Polygon{}
	}

	var ball disc
	if r := d.ballM(); r > math.Abs(drop) {
		ball = disc{foot, math.Sqrt(r*r - drop*drop)}
	}
	l := newLobe(d, drop)
	turn := turned(d.YawDeg)
	var rings []Ring
	for _, s := range l.sweeps(tolM) {
		for _, line := range lines {
			at := line.c - line.n[0]*foot[0] - line.n[1]*foot[1]
			n := turn.in(line.n)
			if s.mirrored {
				n[0] = -n[0]
			}
			s.split(func(p XY) float64 { return n[0]*p[0] + n[1]*p[1] - at }, 4*tolM)
		}
		if ball.radius > 0 {
			s.split(func(p XY) float64 { return math.Hypot(p[0], p[1]) - ball.radius }, 0)
		}
		rings = append(rings, s.rings(turn, foot)...)
		rowBuffers.Put(&s.rows)
	}
	if ball.radius > 0 {
		rings = unite(rings, ball, ball.ring(lines, tolM/4), func(p XY) bool { return l.holds(turn.in(XY{p[0] - foot[0], p[1] - foot[1]})) })
	}
	for _, line := range lines {
		rings = clip(rings, line)
	}
	return polygons(rings)
}

// lines gives the borders of what accessories and the closed leaf hide on a plane; hidden when that is all of it.
func (d Device) lines(dropM float64, clipAtDoorPlane bool) (lines []line, hidden bool) {
	if clipAtDoorPlane {
		lines = append(lines, line{n: XY{0, -1}})
	}
	for _, cut := range d.Cuts {
		n := cut.normal()
		level := math.Hypot(n[0], n[1])
		if level < 1e-9 { // the edge hides what is above the sensor
			if dropM < 0 {
				return nil, true
			}
			continue
		}
		unit := XY{n[0] / level, n[1] / level}
		lines = append(lines, line{unit, unit[0]*d.OffsetXM + unit[1]*d.OffsetYM + dropM*n[2]/level})
	}
	return lines, false
}

// rotation is a yaw: in turns the frame of the side into that of the aim, out turns it back.
type rotation struct{ sin, cos float64 }

func turned(yawDeg float64) rotation {
	sin, cos := sincosDeg(yawDeg)
	return rotation{sin, cos}
}

func (r rotation) in(p XY) XY  { return XY{p[0]*r.cos - p[1]*r.sin, p[0]*r.sin + p[1]*r.cos} }
func (r rotation) out(p XY) XY { return XY{p[0]*r.cos + p[1]*r.sin, p[1]*r.cos - p[0]*r.sin} }

// holds says whether a point of the plane (in its own frame) is in the lobe.
func (l *lobe) holds(p XY) bool {
	r := math.Sqrt(sq(p[0]) + sq(p[1]) + sq(l.drop))
	φ := math.Atan2(p[0], p[1]*l.sinT+l.drop*l.cosT)
	θ := math.Asin(max(-1, min(1, (p[1]*l.cosT-l.drop*l.sinT)/r)))
	return l.a*φ*φ+l.b*θ*θ+math.Log(r) <= l.lnR
}

// split puts rows where an end of the lobe crosses the border f = 0, on the curve itself. Where the curve comes within
// slack of the border from the far side (f > 0) it may still reach over between two rows: then its furthest point becomes
// a row first.
func (s *sweep) split(f func(XY) float64, slack float64) {
	s.splitEnd(f, slack, true)
	s.splitEnd(f, slack, false)
}

func (s *sweep) splitEnd(f func(XY) float64, slack float64, upper bool) {
	var buffer [256]float64
	values := buffer[:0]
	for i := range s.rows {
		values = append(values, f(s.rows[i].end(upper)))
	}
	// what f is on the line α, between the rows a and b
	value := func(a, b *row) func(float64) float64 {
		guess := between(a, b)
		return func(α float64) float64 { r := s.row(α, &guess); return f(r.end(upper)) }
	}
	var more []row
	for i, v := range values {
		a, b := max(0, i-1), min(len(values)-1, i+1)
		if v > 0 && v < slack && values[a] >= v && values[b] >= v {
			guess := between(&s.rows[a], &s.rows[b])
			r := s.row(lowest(value(&s.rows[a], &s.rows[b]), s.rows[a].α, s.rows[b].α), &guess)
			if f(r.end(upper)) < -snapM {
				more = append(more, r)
			}
		}
	}
	if more != nil {
		s.insert(more)
		s.splitEnd(f, 0, upper)
		return
	}
	for i := 1; i < len(values); i++ {
		va, vb := values[i-1], values[i]
		if (va < 0) == (vb < 0) || math.Abs(va) <= snapM || math.Abs(vb) <= snapM {
			continue
		}
		a, b := &s.rows[i-1], &s.rows[i]
		guess := between(a, b)
		more = append(more, s.row(crossing(value(a, b), a.α, b.α, va, vb), &guess))
	}
	s.insert(more)
}

// insert keeps the rows in order of α.
func (s *sweep) insert(more []row) {
	if len(more) == 0 {
		return
	}
	s.rows = append(s.rows, more...)
	slices.SortStableFunc(s.rows, func(a, b row) int {
		switch {
		case a.α < b.α:
			return -1
		case a.α > b.α:
			return 1
		}
		return 0
	})
	s.rows = slices.CompactFunc(s.rows, func(a, b row) bool { return a.α == b.α })
}

// crossing is the root of f between a and b with values of different sign there, to less than snapM in f.
func crossing(f func(float64) float64, a, b, fa, fb float64) float64 {
	last := 0
	for i := range 200 {
		m := (a + b) / 2
		if x := b - fb*(b-a)/(fb-fa); i%3 != 2 && (x-a)*(x-b) < 0 {
			m = x
		}
		fm := f(m)
		if math.Abs(fm) < snapM/10 || m == a || m == b {
			return m
		}
		if (fm < 0) == (fa < 0) {
			a, fa = m, fm
			if last < 0 {
				fb /= 2
			}
			last = -1
		} else {
			b, fb = m, fm
			if last > 0 {
				fa /= 2
			}
			last = 1
		}
	}
	return (a + b) / 2
}

// rings gives the borders of the part in the frame of the side, the inside on their left.
func (s *sweep) rings(turn rotation, foot XY) []Ring {
	place := func(p XY) XY {
		if s.mirrored {
			p[0] = -p[0]
		}
		q := turn.out(p)
		return XY{q[0] + foot[0], q[1] + foot[1]}
	}
	outer := make(Ring, 0, 2*len(s.rows)+1)
	var inner Ring
	for i := range s.rows {
		outer = append(outer, place(s.rows[i].up))
	}
	if s.round {
		inner = make(Ring, 0, len(s.rows)+1)
	} else {
		inner = outer
	}
	for i := len(s.rows) - 1; i >= 0 && !s.poleIn; i-- {
		inner = append(inner, place(s.rows[i].lo))
	}
	var rings []Ring
	add := func(r Ring, hole bool) {
		if r = closed(r); r == nil {
			return
		}
		if (ringArea(r) < 0) != hole {
			slices.Reverse(r)
		}
		rings = append(rings, r)
	}
	if s.round {
		add(outer, false)
		add(inner, true)
	} else {
		add(inner, false)
	}
	return rings
}

// unite joins the lobe's region with the disc.
func unite(rings []Ring, ball disc, circle Ring, inLobe func(XY) bool) []Ring {
	if len(rings) == 0 {
		return []Ring{circle}
	}
	if joined, ok := join(rings, ball, circle, inLobe); ok && sound(joined) {
		return joined
	}
	// Borders that all but coincide: leave it to the general overlay.
	all, err := geom.Union(multi(polygons(rings)).AsGeometry(), multi([]Polygon{{circle}}).AsGeometry())
	if err != nil {
		return append(rings, circle)
	}
	return ringsOf(all)
}

// sound says whether rings are fit to be polygons: simple, holes in their places.
func sound(rings []Ring) bool {
	return multi(polygons(rings)).Validate() == nil
}
