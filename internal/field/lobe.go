package field

import (
	"math"
	"slices"
	"sync"
)

// chordM is how far the middle of a chord may be from the curve before it is split. The middle becomes a vertex too, so
// that the polygons are about four times better than this.
const chordM = 3.2e-3

// flatM: nearer to the plane of the sensor than this, a plane is taken to pass through it.
const flatM = 1e-6

// lobe is the field on one plane without the cap on attenuation, in the plane's own frame: the origin is the sensor's
// foot point, +y the horizontal direction of the aim, +x to its right.
//
// With d the drop from the sensor to the plane, all directions of one φ meet the plane in a line that is d/m from the sensor,
// m² = cos²φ·cos²t + sin²t. With τ the angle from the foot of that perpendicular, θ = τ − δ, tan δ = tan t / cos φ, and the
// condition reads, in nepers,
//
//	g(τ) = a·φ² + b·(τ−δ)² − ln cos τ + ln(d/m) − ln R ≤ 0
//
// A sum of convex functions of τ, so it holds on one interval. The line ends at the pole, where the antenna's vertical axis
// meets the plane (θ = −90°); all lines meet there.
//
// A plane above the sensor is one below a sensor tilted by 180° − t: cosT is negative then.
type lobe struct {
	drop, sinT, cosT float64
	a, b             float64 // nepers per radian²
	lnR              float64
	poleG            float64 // g at the pole on φ = 0
}

// newLobe: the plane is dropM below the sensor (negative: above).
func newLobe(d Device, dropM float64) lobe {
	nepers := 12 * math.Ln10 / 20
	sinT, cosT := sincosDeg(d.TiltDeg)
	if sinT < 1e-8 { // the pole is out of every range
		sinT, cosT = 0, 1
	}
	if dropM < 0 {
		dropM, cosT = -dropM, -cosT
	}
	if dropM < flatM {
		dropM = 0
	}
	l := lobe{
		drop: dropM, sinT: sinT, cosT: cosT,
		a:     nepers / sq(d.AzimuthBeamwidthDeg*math.Pi/180),
		b:     nepers / sq(d.ElevationBeamwidthDeg*math.Pi/180),
		lnR:   math.Log(d.fullReachM()),
		poleG: math.Inf(1),
	}
	if sinT > 0 {
		l.poleG = l.b*sq(math.Pi/2) + math.Log(dropM/sinT) - l.lnR
	}
	return l
}

// ray is the line of one φ.
type ray struct {
	lobe             *lobe
	sinφ, cosφ       float64
	dist             float64 // from the sensor
	δ, sinδ, cosδ    float64
	base             float64 // the part of g that is the same along the line, but for ln dist
	pole             float64 // τ there
	best, σ          float64 // τ of the least g, and its tangent
	least            float64 // g there
	poleIn, anything bool
}

// line computes the line of φ without looking for its best; ok is false when nothing of it can be seen.
func (l *lobe) line(φ float64) (r ray, ok bool) {
	r = ray{lobe: l}
	r.sinφ, r.cosφ = math.Sincos(φ)
	m := math.Sqrt(sq(r.cosφ*l.cosT) + sq(l.sinT))
	r.sinδ, r.cosδ = l.sinT/m, r.cosφ*l.cosT/m
	r.δ = math.Atan2(l.sinT, r.cosφ*l.cosT)
	r.dist = l.drop / m
	r.pole = r.δ - math.Pi/2
	r.base = l.a*φ*φ - l.lnR
	return r, m >= 1e-15 && (l.sinT != 0 || r.cosδ >= 0) // level, or no such direction goes down to the plane
}

// ray computes the line of φ; σ is a guess of tan(best), 0 when there is none.
func (l *lobe) ray(φ, σ float64) ray {
	r, ok := l.line(φ)
	if !ok {
		r.least = math.Inf(1)
		return r
	}

	// g' = 2b(τ−δ) + tan τ = 0. In σ = tan τ this is concave and increasing: a Newton step never passes the root from the
	// left, and lands on the left of it from the right.
	for range 60 {
		step := (2*l.b*r.δ - σ - 2*l.b*math.Atan(σ)) / (1 + 2*l.b/(1+σ*σ))
		σ = max(0, σ+step)
		if math.Abs(step) <= 1e-6*(1+σ) { // the error is of the order of its square
			break
		}
	}
	r.best = math.Atan(σ)
	if r.pole > r.best {
		r.best = r.pole
		σ = math.Tan(r.best)
	}
	r.σ = σ
	r.least = r.base + l.b*sq(r.best-r.δ) + math.Log(r.dist*math.Sqrt(1+σ*σ))
	r.anything = r.least <= 0
	r.poleIn = r.anything && l.atPole(φ) <= 0
	return r
}

// atPole is g at the pole, approached along φ.
func (l *lobe) atPole(φ float64) float64 { return l.a*φ*φ + l.poleG }

// at is the point at τ in the plane's frame.
func (r *ray) at(τ float64) XY { return r.along(r.dist * math.Tan(τ)) }

// along is the point at s metres from the foot of the perpendicular.
func (r *ray) along(s float64) XY {
	u := r.dist*r.cosδ + s*r.sinδ // r·cos θ
	v := s*r.cosδ - r.dist*r.sinδ // r·sin θ
	return XY{u * r.sinφ, u*r.cosφ*r.lobe.sinT + v*r.lobe.cosT}
}

// end finds the root of g beyond best: the upper one (way = +1) or the lower one (way = −1). Newton steps from outside on a
// convex function stay outside; a guess inside overshoots to the outside and is held at the outermost possible place.
func (r *ray) end(way, guess float64) float64 {
	if way < 0 && r.poleIn {
		return r.pole
	}
	τ := guess
	if !(way*(τ-r.best) > 0) || way*τ > math.Pi/2-1e-3 {
		τ = r.outermost(way)
	}
	for range 200 {
		sin, cos := math.Sincos(τ)
		g := r.base + r.lobe.b*sq(τ-r.δ) + math.Log(r.dist/cos)
		slope := 2*r.lobe.b*(τ-r.δ) + sin/cos
		if way*slope <= 0 { // at the very top of a vanishing interval
			return r.best
		}
		next := τ - g/slope
		if way*(next-τ) > (math.Pi/2-way*τ)/8 {
			if outer := r.outermost(way); way*(next-outer) > 0 {
				next = outer
			}
		}
		if way*(next-r.best) < 0 {
			next = r.best
		}
		moved := math.Abs(next-τ) / cos * min(1, r.dist/cos)
		τ = next
		if moved < 1e-6 { // the error is of the order of its square
			break
		}
	}
	return τ
}

// endNear finds the end beyond best from a guess near it, without knowing best: g is convex, so where it rises outwards there is one root only.
// Steps are Halley's, whose error is of the order of the cube of the last. ok is false when the guess was too far off. The point is that of the end.
func (r *ray) endNear(way, τ, precisionM float64) (end float64, at XY, ok bool) {
	for range 8 {
		if !(way*τ < math.Pi/2-1e-3) {
			return 0, at, false
		}
		sin, cos := math.Sincos(τ)
		tan := sin / cos
		slope := 2*r.lobe.b*(τ-r.δ) + tan
		if way*slope <= 1e-3 {
			return 0, at, false
		}
		step := -(r.base + r.lobe.b*sq(τ-r.δ) + math.Log(r.dist/cos)) / slope
		sec2 := 1 + tan*tan
		bent := step * (2*r.lobe.b + sec2) / (2 * slope)
		if bent > -0.7 {
			step /= 1 + bent
		}
		τ += step
		// What is left is of the order of the third power of the step.
		if math.Abs(step) < 3e-3 && math.Abs(step)*r.dist*sec2*(bent*bent+step*step*sec2) < precisionM {
			tan += sec2 * step * (1 + step*(tan+step*(sec2+2*tan*tan)/3)) // Taylor's series
			return τ, r.along(r.dist * tan), way > 0 || τ > r.pole
		}
	}
	return 0, at, false
}

// outermost is a place that the end cannot be beyond: b·θ² only adds to g.
func (r *ray) outermost(way float64) float64 {
	τ := way * math.Acos(min(1, r.dist*math.Exp(r.base)))
	if way < 0 && r.lobe.sinT > 0 {
		return max(τ, r.pole)
	}
	return τ
}

// row is one line of the sweep with the two ends of the lobe on it.
type row struct {
	α           float64
	lo, up      XY
	τlo, τup, σ float64 // σ = tan(best)
}

func (r *row) end(upper bool) XY {
	if upper {
		return r.up
	}
	return r.lo
}

// between guesses the line in the middle of two.
func between(a, b *row) row {
	return row{α: (a.α + b.α) / 2, τlo: (a.τlo + b.τlo) / 2, τup: (a.τup + b.τup) / 2, σ: (a.σ + b.σ) / 2}
}

// sweep is one connected part of the lobe, φ = mid + half·sin(α·90°) for α in [−1, 1], or all the way round. The sine takes
// the vertical tangent out of the two tips.
type sweep struct {
	lobe      *lobe
	mid, half float64
	round     bool // all φ from −180° to 180°; the first and last line are the same
	poleIn    bool // round, and the pole lies inside
	mirrored  bool // the part at −φ, which is the mirror image
	rows      []row
	// precisionM is about how far an end may be off. Where the border crosses a line it is finer than where it is merely drawn.
	precisionM float64
}

// rowBuffers are rows of sweeps that have become rings: tracing is done often, and its rows are the most of what it needs.
var rowBuffers = sync.Pool{New: func() any {
	rows := make([]row, 0, 256)
	return &rows
}}

// row computes a line of the sweep; near helps the search.
func (s *sweep) row(α float64, near *row) row {
	l := s.lobe
	if l.drop == 0 {
		return s.flatRow(α)
	}
	w := row{α: α}
	φ := s.mid + s.half*math.Sin(α*math.Pi/2)
	if s.round {
		φ = α * math.Pi
	} else if φ > math.Pi { // a part across the back
		φ -= 2 * math.Pi
	}
	guess := row{τlo: math.NaN(), τup: math.NaN()}
	if near != nil {
		guess = *near
		if s.rowNear(&w, φ, near) {
			return w
		}
	}
	r := l.ray(φ, guess.σ)
	w.σ = r.σ
	if !s.round && math.Abs(α) == 1 || !r.anything {
		w.τlo, w.τup = r.best, r.best
		w.lo = r.at(r.best)
		if r.best == r.pole && l.sinT > 0 {
			w.lo = l.poleAt()
		}
		w.up = w.lo
		return w
	}
	w.τup = r.end(+1, guess.τup)
	w.up = r.at(w.τup)
	if s.poleIn || r.poleIn {
		w.τlo, w.lo = r.pole, l.poleAt()
		return w
	}
	w.τlo = r.end(-1, guess.τlo)
	w.lo = r.at(w.τlo)
	return w
}

// rowNear computes a line whose ends are near those of another; false when that is not sure to be right.
func (s *sweep) rowNear(w *row, φ float64, near *row) (ok bool) {
	if !s.round && math.Abs(w.α) == 1 {
		return false
	}
	r, ok := s.lobe.line(φ)
	if !ok {
		return false
	}
	w.σ = near.σ
	if w.τup, w.up, ok = r.endNear(+1, near.τup, s.precisionM); !ok {
		return false
	}
	if s.poleIn || s.lobe.atPole(φ) <= 0 {
		w.τlo, w.lo = r.pole, s.lobe.poleAt()
		return true
	}
	w.τlo, w.lo, ok = r.endNear(-1, near.τlo, s.precisionM)
	return ok
}

// poleAt is the pole in the plane's frame.
func (l *lobe) poleAt() XY { return XY{0, -l.drop * l.cosT / l.sinT} }

// slitM: narrower than so much for each metre of range, what a plane through the sensor leaves open behind it is taken to be closed.
const slitM = 1e-5

// flatRow is a line of the sweep when the plane passes through the sensor: the distance is explicit and the pole is the
// sensor itself. The sweep goes by the direction ψ on the plane and not by φ: straight down all of ψ lies within a hair of φ = ±90°, too narrow for
// numbers to tell where the border crosses another one.
func (s *sweep) flatRow(α float64) row {
	l := s.lobe
	sinψ, cosψ := math.Sincos(α * math.Pi)
	φ := math.Atan2(sinψ, cosψ*l.sinT)
	if l.sinT == 0 || l.sinT < slitM && cosψ < 0 {
		φ = math.Copysign(math.Pi/2, α)
	}
	θ := math.Asin(max(-1, min(1, cosψ*l.cosT)))
	r := math.Exp(l.lnR - l.a*φ*φ - l.b*θ*θ)
	return row{α: α, up: XY{r * sinψ, r * cosψ}}
}

// sweeps finds the connected parts of the lobe and traces them.
func (l *lobe) sweeps(tolM float64) []*sweep {
	var found []*sweep
	if l.drop == 0 {
		found = []*sweep{{lobe: l, round: true, poleIn: true}}
	} else {
		for _, span := range l.spans() {
			from, to := span[0], span[1]
			switch {
			case from == 0 && to == math.Pi:
				found = append(found, &sweep{lobe: l, round: true, poleIn: l.atPole(math.Pi) <= 0})
			case from == 0:
				found = append(found, &sweep{lobe: l, half: to})
			case to == math.Pi:
				found = append(found, &sweep{lobe: l, mid: math.Pi, half: math.Pi - from})
			default:
				part := sweep{lobe: l, mid: (from + to) / 2, half: (to - from) / 2}
				image := part
				image.mirrored = true
				found = append(found, &part, &image)
			}
		}
	}
	for _, s := range found {
		s.rows = *rowBuffers.Get().(*[]row)
		s.precisionM = 1e-6
		s.trace(tolM)
		s.precisionM = 1e-12
	}
	return found
}

// spans gives the intervals of φ in [0, π] on whose lines anything is seen. Below the sensor (cosT ≥ 0) turning away from
// the boresight at one θ only ever loses, so there is at most one span and it starts at 0. Above the sensor turning away
// brings the line nearer to the plane; there the least g is searched for.
func (l *lobe) spans() [][2]float64 {
	σ := 0.0
	least := func(φ float64) float64 {
		r := l.ray(φ, σ)
		σ = r.σ
		return r.least
	}
	if l.cosT >= 0 {
		if least(0) > 0 {
			return nil
		}
		top := min(math.Pi, math.Sqrt(max(0, l.lnR-math.Log(l.drop))/l.a)) // no line is nearer than drop
		if least(top) <= 0 {
			return [][2]float64{{0, top}}
		}
		return [][2]float64{{0, root(least, 0, top, 1e-12)}}
	}
	const n = 96
	top := min(math.Pi, math.Sqrt(max(0, l.lnR-math.Log(l.drop))/l.a))
	φs := make([]float64, 0, n+8)
	for i := range n + 1 {
		φs = append(φs, top*float64(i)/n)
	}
	for i := 1; i+1 < len(φs); i++ { // a dip between samples that stay above 0
		a, b, c := least(φs[i-1]), least(φs[i]), least(φs[i+1])
		if b > 0 && b < 2 && b <= a && b <= c {
			if φ := lowest(least, φs[i-1], φs[i+1]); least(φ) <= 0 {
				φs = append(φs, φ)
			}
		}
	}
	slices.Sort(φs)
	var spans [][2]float64
	open := -1.0
	for i, φ := range φs {
		in := least(φ) <= 0
		switch {
		case in && open < 0:
			open = φ
			if i > 0 {
				open = root(least, φ, φs[i-1], 1e-15)
			}
		case !in && open >= 0:
			spans = append(spans, [2]float64{open, root(least, φs[i-1], φ, 1e-15)})
			open = -1
		}
	}
	if open >= 0 {
		spans = append(spans, [2]float64{open, top})
	}
	return spans
}

// trace fills rows, in the order of α.
func (s *sweep) trace(tolM float64) {
	whole := s.mirrored || s.mid != 0 && s.mid != math.Pi // no symmetry of its own
	from := 0.0
	if whole {
		from = -1
	}
	var places [8]float64
	stops := append(places[:0], from, 1)
	const pieces = 4
	for i := 1; i < pieces; i++ {
		stops = append(stops, from+(1-from)*float64(i)/pieces)
	}
	if α, ok := s.poleLeaves(); ok {
		stops = append(stops, α)
	}
	if whole {
		stops = append(stops, 0)
	}
	if s.round {
		stops = append(stops, 0.5) // at a small tilt the whole turn happens about φ = 90°
	}
	slices.Sort(stops)
	stops = slices.Compact(stops)

	rows := append(s.rows[:0], s.row(stops[0], nil))
	for _, α := range stops[1:] {
		a := rows[len(rows)-1]
		b := s.row(α, &a)
		rows = s.refine(rows, a, b, tolM, math.Inf(1), 0)
	}
	if whole {
		s.rows = rows
		return
	}
	n := len(rows)
	rows = slices.Grow(rows, n-1)[:2*n-1]
	copy(rows[n-1:], rows[:n])
	for i := range n - 1 {
		r := rows[2*n-2-i]
		r.α = -r.α
		r.lo[0], r.up[0] = -r.lo[0], -r.up[0]
		rows[i] = r
	}
	s.rows = rows
}

// poleLeaves is the α at which the lower end leaves the pole: a corner of the lobe.
func (s *sweep) poleLeaves() (float64, bool) {
	l := s.lobe
	if l.drop == 0 || l.sinT == 0 || s.poleIn || s.mid != 0 {
		return 0, false
	}
	φ := math.Sqrt(max(0, -l.atPole(0)) / l.a)
	if s.round {
		return φ / math.Pi, φ > 0 && φ < math.Pi
	}
	if φ <= 0 || φ >= s.half {
		return 0, false
	}
	return math.Asin(φ/s.half) * 2 / math.Pi, true
}

// refine appends the rows after a up to and including b. Both ends of the lobe are refined together: chords between
// the same two lines cannot cross, so that rings stay simple however thin the lobe.
func (s *sweep) refine(rows []row, a, b row, tolM, before float64, depth int) []row {
	guess := between(&a, &b)
	m := s.row(guess.α, &guess)
	up, upEven := bend(a.up, m.up, b.up, tolM)
	lo, loEven := bend(a.lo, m.lo, b.lo, tolM)
	off := max(up, lo)
	// On a smooth curve halving quarters the sagitta; at a hidden kink it does not.
	fine := upEven && loEven && (off <= tolM/4 || off <= tolM && before <= 8*tolM && before >= 3*off)
	if fine && depth > 0 || depth > 44 || len(rows) > 200_000 {
		return append(rows, m, b)
	}
	rows = s.refine(rows, a, m, tolM, off, depth+1)
	return s.refine(rows, m, b, tolM, off, depth+1)
}

// bend is how far m lies off the chord a–b, and whether m is in its middle part: where the curve runs much faster
// on one side of m, m says little about the other side.
func bend(a, m, b XY, tolM float64) (off float64, even bool) {
	am, mb, ab := dist(a, m), dist(m, b), dist(a, b)
	even = max(am, mb) <= 6*min(am, mb) || am+mb <= tolM/2
	if ab < tolM {
		return max(am, mb), even
	}
	return math.Abs(cross(a, m, b)) / ab, even
}

// root finds where f changes sign between a (where f ≤ 0) and b (where f > 0), and stays on the side of a. Regula falsi with
// halving (Illinois), and every third step a bisection.
func root(f func(float64) float64, a, b, tol float64) float64 {
	fa, fb := f(a), f(b)
	last := 0
	for i := range 150 {
		if math.Abs(b-a) <= tol*math.Abs(a) || fa > -1e-13 {
			break
		}
		m := (a + b) / 2
		if x := b - fb*(b-a)/(fb-fa); i%3 != 2 && (x-a)*(x-b) < 0 {
			m = x
		}
		fm := f(m)
		if fm <= 0 {
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
	return a
}

// lowest finds a minimum of f between a and b by golden section.
func lowest(f func(float64) float64, a, b float64) float64 {
	const g = 0.6180339887498949
	c, d := b-g*(b-a), a+g*(b-a)
	fc, fd := f(c), f(d)
	for range 60 {
		if fc < fd {
			b, d, fd = d, c, fc
			c = b - g*(b-a)
			fc = f(c)
		} else {
			a, c, fc = c, d, fd
			d = a + g*(b-a)
			fd = f(d)
		}
	}
	return (a + b) / 2
}
