package oracle

import (
	"cmp"
	"math"
	"slices"
)

// Watcher is a mounted sensor of any kind, asked for one floor point at a time.
type Watcher interface {
	// Margin is not below zero where a body of that height is seen: at a floor point on the side y ≥ 0. It is continuous, so that a
	// border can be put between two points; its measure is the sensor's own.
	Margin(x, y, bodyHeightM float64) float64
	// Metres says that the margin is no more than the distance to the border.
	Metres() bool
}

// lowestM: of a body, what is lower above the floor does not count.
const lowestM = 0.1

// Radar is a Doppler sensor with what its accessories do to it.
type Radar struct {
	Mount  // the plane and the clip are not used
	LossDB float64
	Cuts   []Cut
}

// Cut hides what lies in a direction at more than an angle from straight down.
type Cut struct{ YawDeg, AngleDeg float64 }

// Metres implements Watcher.
func (Radar) Metres() bool { return false }

// Margin implements Watcher, in decibels one way: the best point of the upright line.
func (r Radar) Margin(x, y, bodyHeightM float64) float64 {
	dx, dy := x-r.OffsetXM, y-r.OffsetYM
	full := 20*math.Log10(r.BoresightRangeM) + r.ReachDB/2 - r.LossDB
	// No point of the line is nearer than this, and the axis is the best direction.
	if near := math.Sqrt(dx*dx + dy*dy + square(max(0, r.HeightM-bodyHeightM))); full-20*math.Log10(near) < -8 {
		return -8
	}
	st, ct := math.Sincos(radians(r.TiltDeg))
	sw, cw := math.Sincos(radians(r.YawDeg))
	bx, by, bz := st*sw, st*cw, -ct
	vx, vy, vz := ct*sw, ct*cw, st
	azimuth, elevation := radians(r.AzimuthBeamwidthDeg), radians(r.ElevationBeamwidthDeg)
	at := func(z float64) float64 {
		dz := z - r.HeightM
		far := math.Sqrt(dx*dx + dy*dy + dz*dz)
		if far < 1e-9 {
			return 100
		}
		φ := math.Atan2(dx*cw-dy*sw, dx*bx+dy*by+dz*bz)
		θ := math.Asin(clamp((dx*vx+dy*vy+dz*vz)/far, -1, 1))
		return full - 20*math.Log10(far) - min(12*square(φ/azimuth)+12*square(θ/elevation), r.AttenuationLimitDB)
	}
	top, cut := bodyHeightM, math.Inf(1)
	for _, c := range r.Cuts {
		sin, cos := math.Sincos(radians(c.AngleDeg))
		yawSin, yawCos := math.Sincos(radians(c.YawDeg))
		out := (dx*yawSin + dy*yawCos) * cos
		cut = min(cut, 40*((r.HeightM-lowestM)*sin-out)) // of the lowest point, which a cut hides last
		if sin > 1e-12 {
			top = min(top, r.HeightM-out/sin)
		}
	}
	if top <= lowestM {
		return min(cut, at(lowestM))
	}
	return min(cut, highest(at, lowestM, top, 0.04))
}

// highest is the greatest value of a function: sampled, and narrowed down about each sample that is higher than its neighbours and
// could matter.
func highest(f func(float64) float64, from, to, step float64) float64 {
	n := max(2, int(math.Ceil((to-from)/step)))
	h := (to - from) / float64(n)
	best := math.Inf(-1)
	before, here := math.Inf(-1), f(from)
	for i := 0; i <= n; i++ {
		after := math.Inf(-1)
		if i < n {
			after = f(from + h*float64(i+1))
		}
		best = max(best, here)
		if here >= before && here >= after && here > -8 && here < 1 {
			low, high := max(from, from+h*float64(i-1)), min(to, from+h*float64(i+1))
			for range 14 {
				a, b := low+(high-low)*0.4, high-(high-low)*0.4
				u, v := f(a), f(b)
				best = max(best, u, v)
				if u < v {
					low = a
				} else {
					high = b
				}
			}
		}
		before, here = here, after
	}
	return best
}

// Shapes is everything whose field does not fade: pieces of floor.
type Shapes []Shape

// Shape is a convex piece of floor: a disc, or what lies inside of straight edges.
type Shape struct {
	X, Y, RadiusM float64
	edges         [][3]float64 // unit normal inwards, and the distance of the origin from the edge, positive when inside
}

// Metres implements Watcher.
func (Shapes) Metres() bool { return true }

// Margin implements Watcher: no more than the distance to the border of the nearest shape, negative outside.
func (s Shapes) Margin(x, y, _ float64) float64 {
	best := -100.0
	for _, shape := range s {
		if len(shape.edges) == 0 {
			best = max(best, shape.RadiusM-math.Hypot(x-shape.X, y-shape.Y))
			continue
		}
		inside := math.Inf(1)
		for _, e := range shape.edges {
			if inside = min(inside, e[0]*x+e[1]*y+e[2]); inside <= best {
				break
			}
		}
		best = max(best, inside)
	}
	return best
}

// within is the shape inside of a convex ring, counter-clockwise.
func within(ring [][2]float64) Shape {
	var s Shape
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		length := math.Hypot(b[0]-a[0], b[1]-a[1])
		nx, ny := (a[1]-b[1])/length, (b[0]-a[0])/length
		s.edges = append(s.edges, [3]float64{nx, ny, -nx*a[0] - ny*a[1]})
	}
	return s
}

// Rectangle is a mat's floor.
func Rectangle(x0, y0, x1, y1 float64) Shapes {
	return Shapes{within([][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}})}
}

// Disc is the floor from where something is within reach.
func Disc(x, y, radiusM float64) Shapes { return Shapes{{X: x, Y: y, RadiusM: radiusM}} }

// Beam is the floor under that part of a beam which a body is as high as.
func Beam(from, to [3]float64, diameterM, bodyHeightM float64) Shapes {
	low, high := 0.0, 1.0
	if dz := to[2] - from[2]; dz != 0 {
		a, b := (lowestM-from[2])/dz, (bodyHeightM-from[2])/dz
		low, high = max(low, min(a, b)), min(high, max(a, b))
	} else if from[2] < lowestM || from[2] > bodyHeightM {
		return nil
	}
	if low >= high {
		return nil
	}
	at := func(t float64) [2]float64 {
		return [2]float64{from[0] + t*(to[0]-from[0]), from[1] + t*(to[1]-from[1])}
	}
	a, b := at(low), at(high)
	length := math.Hypot(b[0]-a[0], b[1]-a[1])
	if length < 1e-6 {
		return Disc(a[0], a[1], diameterM/2)
	}
	dx, dy := (a[1]-b[1])/length*diameterM/2, (b[0]-a[0])/length*diameterM/2
	return Shapes{within([][2]float64{{a[0] - dx, a[1] - dy}, {b[0] - dx, b[1] - dy}, {b[0] + dx, b[1] + dy}, {a[0] + dx, a[1] + dy}})}
}

// Spots is a grid of cones of light. Mount's place and aim are used, and BoresightRangeM along the axis of each cone.
type Spots struct {
	Mount
	Rows, Columns                         int
	RowStepDeg, ColumnStepDeg             float64
	DivergenceDeg, DetectionShare, BodyRM float64 // BodyRM: radius of the circle that the footprint of the least body holds
}

// Floor gives what is seen of a body of that height: of each cone's ellipse on each plane that part which a straight edge must reach
// to cover the detection share, where the least body can cover so much at all.
func (g Spots) Floor(bodyHeightM float64) Shapes {
	const n = 48
	k := segment(g.DetectionShare) * math.Sqrt(2*math.Pi/n/math.Sin(2*math.Pi/n)) // so that a figure with n corners has the ellipse's area
	half := radians(g.DivergenceDeg / 2)
	st, ct := math.Sincos(radians(g.TiltDeg))
	sw, cw := math.Sincos(radians(g.YawDeg))
	var all Shapes
	for row := range g.Rows {
		for column := range g.Columns {
			se, ce := math.Sincos(radians((float64(row) - float64(g.Rows-1)/2) * g.RowStepDeg))
			sa, ca := math.Sincos(radians((float64(column) - float64(g.Columns-1)/2) * g.ColumnStepDeg))
			b, h, v := ce*ca, ce*sa, se
			x, y, z := b*st*sw+h*cw+v*ct*sw, b*st*cw-h*sw+v*ct*cw, -b*ct+v*st
			off := math.Acos(clamp(-z, -1, 1)) // from straight down
			if off+half > math.Pi/2-0.02 {
				continue
			}
			bearing := math.Atan2(x, y)
			// A plane cuts a cone in an ellipse of the eccentricity sin(off)/cos(half); its ends lie in the plane of the axis.
			near, far := math.Tan(off-half), math.Tan(off+half)
			middle, long := (near+far)/2, (far-near)/2
			short := long * math.Sqrt(1-square(math.Sin(off)/math.Cos(half)))
			low, high := max(0, g.HeightM-bodyHeightM), min(g.HeightM-lowestM, g.BoresightRangeM*math.Cos(off))
			if can := g.deepest(long, short); can < high {
				high = can
			}
			if low >= high {
				continue
			}
			var hull [][2]float64
			for _, drop := range []float64{low, high} {
				for i := range n {
					s, c := math.Sincos(2 * math.Pi * float64(i) / n)
					a, o := drop*(middle+k*long*c), drop*k*short*s
					hull = append(hull, [2]float64{g.OffsetXM + a*math.Sin(bearing) + o*math.Cos(bearing), g.OffsetYM + a*math.Cos(bearing) - o*math.Sin(bearing)})
				}
			}
			all = append(all, within(wrap(hull)))
		}
	}
	return all
}

// deepest is the greatest drop at which a circle of the least body, in the middle of an ellipse with these half axes per metre of drop,
// covers the detection share of it.
func (g Spots) deepest(long, short float64) float64 {
	low, high := 0.0, 12.0
	for range 24 {
		drop := (low + high) / 2
		covered, n := 0, 0
		for i := range 60 {
			for j := range 60 {
				u, v := (float64(i)+0.5)/60, (float64(j)+0.5)/60
				if u*u+v*v > 1 {
					continue
				}
				n++
				if math.Hypot(u*long*drop, v*short*drop) <= g.BodyRM {
					covered++
				}
			}
		}
		if float64(covered) >= g.DetectionShare*float64(n) {
			low = drop
		} else {
			high = drop
		}
	}
	return low
}

// segment is how far from the middle of a circle of radius 1 the chord lies that cuts a share of its area off.
func segment(share float64) float64 {
	low, high := 0.0, 1.0
	for range 50 {
		k := (low + high) / 2
		if (math.Acos(k)-k*math.Sqrt(1-k*k))/math.Pi > share {
			low = k
		} else {
			high = k
		}
	}
	return low
}

// Sheets is a laser curtain: fans of rays from one place.
type Sheets struct {
	Mount                // its place, YawDeg, and BoresightRangeM as the rays' range
	LeansDeg             []float64
	FromDeg, ToDeg       float64
	StepDeg              float64
	SpotM, DivergenceDeg float64
	WholeSpot            bool
	LeastM               float64 // width of the least body
}

// Floor gives what lies under the sheets at heights that the body has, so far from the sensor as the least body cannot hide between rays.
func (c Sheets) Floor(bodyHeightM float64) Shapes {
	reach := c.BoresightRangeM
	if c.hides(reach) {
		low, high := 0.0, reach
		for range 50 {
			if r := (low + high) / 2; c.hides(r) {
				high = r
			} else {
				low = r
			}
		}
		reach = low
	}
	sw, cw := math.Sincos(radians(c.YawDeg))
	var all Shapes
	for _, lean := range c.LeansDeg {
		s, co := math.Sincos(radians(lean))
		low, high := max(0, c.HeightM-bodyHeightM), min(c.HeightM-lowestM, reach*co)
		if low >= high {
			continue
		}
		var hull [][2]float64
		for i := range 41 {
			way := (low + (high-low)*float64(i)/40) / co // along the sheet's steepest line
			most := math.Sqrt(max(0, reach*reach-way*way))
			from, to := max(-most, way*math.Tan(radians(c.FromDeg))), min(most, way*math.Tan(radians(c.ToDeg)))
			if from > to {
				continue
			}
			for _, aside := range []float64{from, to} {
				radius := c.spot(math.Hypot(way, aside)) / 2
				for k := range 24 {
					sin, cos := math.Sincos(2 * math.Pi * float64(k) / 24)
					hull = append(hull, [2]float64{c.OffsetXM + way*s*sw + aside*cw + radius*sin, c.OffsetYM + way*s*cw - aside*sw + radius*cos})
				}
			}
		}
		if len(hull) > 0 {
			all = append(all, within(wrap(hull)))
		}
	}
	return all
}

func (c Sheets) spot(r float64) float64 { return c.SpotM + 2*r*math.Tan(radians(c.DivergenceDeg/2)) }

func (c Sheets) hides(r float64) bool {
	gap := 2 * r * math.Sin(radians(c.StepDeg/2))
	if c.WholeSpot {
		return gap+c.spot(r) > c.LeastM
	}
	return gap-c.spot(r) > c.LeastM
}

// wrap is the convex hull of points, counter-clockwise: the lower chain from left to right and the upper one back.
func wrap(points [][2]float64) [][2]float64 {
	slices.SortFunc(points, func(a, b [2]float64) int {
		return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1]))
	})
	points = slices.Compact(points)
	if len(points) < 3 {
		return points
	}
	chain := func() (hull [][2]float64) {
		for _, p := range points {
			for len(hull) > 1 {
				a, b := hull[len(hull)-2], hull[len(hull)-1]
				if (b[0]-a[0])*(p[1]-a[1])-(b[1]-a[1])*(p[0]-a[0]) > 0 {
					break
				}
				hull = hull[:len(hull)-1]
			}
			hull = append(hull, p)
		}
		return hull[:len(hull)-1]
	}
	lower := chain()
	slices.Reverse(points)
	return append(lower, chain()...)
}

func square(v float64) float64 { return v * v }
