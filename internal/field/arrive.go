package field

import "math"

// arriveStepM: somebody is looked for so often on their way, and found to a millimetre between.
const arriveStepM = 0.02

// Arrive follows a body along a path to where a device of any principle first tells of it. Radar is Walk. Of light and mats, whoever has a part of them in
// it is told of, at any speed; a plate tells of nobody who does not reach for it.
func Arrive(v Volume, m Motion, b Body, p Path) Walk {
	if d, ok := v.(Device); ok {
		return d.Walk(m, b, p)
	}
	return newPresence(v, b.HeightM).walk(b, p)
}

// presence is what a volume watches of bodies of one height, for many paths.
type presence struct {
	polys []Polygon
	holdS float64
}

func newPresence(v Volume, bodyHeightM float64) presence {
	if v.Senses().Purpose == KnowingAct {
		return presence{}
	}
	return presence{v.OfBody(bodyHeightM, true), v.Senses().HoldS}
}

func (w presence) sees(at XY) bool { return touches(w.polys, at) }

func (w presence) walk(b Body, p Path) Walk {
	length := p.LengthM()
	seen := func(along float64) bool { return w.sees(p.At(along)) }
	n := steps(length, arriveStepM)
	walk := Walk{Why: NeverInside}
	for i := range n + 1 {
		along := length * float64(i) / float64(n)
		if !seen(along) {
			continue
		}
		if !walk.Triggers {
			first := along
			for low := max(0, along-length/float64(n)); first-low > 1e-3; {
				if middle := (low + first) / 2; seen(middle) {
					first = middle
				} else {
					low = middle
				}
			}
			walk = Walk{Triggers: true, At: p.At(first), AlongM: first, LeftM: length - first, AfterS: first / b.SpeedMps}
		}
		walk.HeldS = (along-walk.AlongM)/b.SpeedMps + w.holdS
	}
	return walk
}

// WorstArrival gives the approach that leaves least time, as Device.WorstInTime does, for a device of any principle.
func WorstArrival(v Volume, m Motion, b Body, o Opening, ways []Approach) (worst InTime) {
	if d, ok := v.(Device); ok {
		return d.WorstInTime(m, b, o, ways)
	}
	w := newPresence(v, b.HeightM)
	for i, a := range ways {
		if t := o.inTime(m, b, a, w.walk(b, a.Path)); i == 0 || t.MarginS < worst.MarginS {
			worst = t
		}
	}
	return worst
}

// PassBy counts as Device.PassBy does, for a device of any principle.
func PassBy(v Volume, m Motion, b Body, z Zone, grid int) (p Passing) {
	if d, ok := v.(Device); ok {
		return d.PassBy(m, b, z, grid)
	}
	w := newPresence(v, max(b.HeightM, z.BodyHeightM))
	for path := range z.paths(grid) {
		p.Paths++
		if w.meets(path) {
			p.Trigger++
		}
	}
	return p
}

// meets says whether a straight path comes so near that a part of the body is in what is watched.
func (w presence) meets(p Path) bool {
	a, b := p[0], p[len(p)-1]
	if covers(w.polys, a) || covers(w.polys, b) {
		return true
	}
	for _, poly := range w.polys {
		for _, r := range poly {
			for i := 1; i < len(r); i++ {
				if apart2(a, b, r[i-1], r[i]) <= bodyHalfM*bodyHalfM {
					return true
				}
			}
		}
	}
	return false
}

// apart2 is the square of the distance between two segments.
func apart2(a, b, c, d XY) float64 {
	if cross(a, c, b)*cross(a, d, b) < 0 && cross(c, a, d)*cross(c, b, d) < 0 {
		return 0
	}
	return math.Min(math.Min(toSegment(a, c, d), toSegment(b, c, d)), math.Min(toSegment(c, a, b), toSegment(d, a, b)))
}
