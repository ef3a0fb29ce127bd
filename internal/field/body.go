package field

import (
	"cmp"
	"iter"
	"math"
	"slices"

	"github.com/peterstace/simplefeatures/geom"
)

// seenFromM: of a body, what is lower than this above the floor does not count.
const seenFromM = 0.1

// bodyM is how far a border of a body's footprint may be from the true one.
const bodyM = 0.01

// BodyFootprint gives the floor points at which a body of a height above 0.1 m (up to 3 m) is seen: where any of its
// points from 0.1 m up to its height gives it away. 0.71 m (28 in) is the height of the small test person.
func BodyFootprint(v Volume, bodyHeightM float64, clipAtDoorPlane bool) Footprint {
	return measure(v.OfBody(bodyHeightM, clipAtDoorPlane))
}

// OfBody implements Volume.
func (d Device) OfBody(bodyHeightM float64, clipAtDoorPlane bool) []Polygon {
	return union(uncovered(slices.Collect(d.layers(bodyHeightM, clipAtDoorPlane)))...)
}

// extentsOfBody are width and depth of a body's footprint, clipped at the door's plane: they are known without joining the planes.
func (d Device) extentsOfBody(bodyHeightM float64) (widthM, depthM float64) {
	low, high := XY{math.Inf(1), math.Inf(1)}, XY{math.Inf(-1), math.Inf(-1)}
	for plane := range d.layers(bodyHeightM, true) {
		for _, p := range plane {
			for _, v := range p[0] {
				low, high = XY{min(low[0], v[0]), min(low[1], v[1])}, XY{max(high[0], v[0]), max(high[1], v[1])}
			}
		}
	}
	if low[0] > high[0] {
		return 0, 0
	}
	return high[0] - low[0], high[1] - low[1]
}

// layers gives the fields on planes whose union the field of a body is.
//
// Between two planes another one is put until its own border lies nowhere more than a centimetre outside of what the two already
// cover; as that plane then counts too, what remains between planes is about a quarter of it.
func (d Device) layers(bodyHeightM float64, clipAtDoorPlane bool) iter.Seq[[]Polygon] {
	return func(yield func([]Polygon) bool) {
		top := max(bodyHeightM, seenFromM)
		at := func(z float64) []Polygon { // chords true to 3 mm will do, and joining is what costs
			return d.onPlane(z, clipAtDoorPlane, min(4*chordM, d.chordM(z)))
		}
		var between func(z0, z1 float64, a, b []Polygon, depth int) bool
		between = func(z0, z1 float64, a, b []Polygon, depth int) bool {
			middle := (z0 + z1) / 2
			m := at(middle)
			if !yield(m) {
				return false
			}
			if z1-z0 > bodyStepM || depth < 7 && beyond(m, bodyM, a, b) {
				return between(z0, middle, a, m, depth+1) && between(middle, z1, m, b, depth+1)
			}
			return true
		}
		z, field := seenFromM, at(seenFromM)
		if !yield(field) {
			return
		}
		for _, next := range append(d.levels(top), top) {
			if next <= z {
				continue
			}
			f := at(next)
			if !yield(f) || !between(z, next, field, f, 0) {
				return
			}
			z, field = next, f
		}
	}
}

// SeesBody implements Volume: any point of the upright line above the floor point, from 0.1 m to the body's height, is in the
// volume. The line is looked at every centimetre.
func (d Device) SeesBody(at XY, bodyHeightM float64) bool {
	a := d.aim()
	n := steps(bodyHeightM-seenFromM, 0.01)
	for i := range n + 1 {
		z := seenFromM + max(0, bodyHeightM-seenFromM)*float64(i)/float64(n)
		if a.reachNeededDB(Point{at[0], at[1], z}) <= d.ReachDB {
			return true
		}
	}
	return false
}

// uncovered leaves out what lies within one polygon of a larger plane: most planes do, and joining is what costs.
func uncovered(planes [][]Polygon) [][]Polygon {
	slices.SortStableFunc(planes, func(a, b []Polygon) int { return cmp.Compare(measure(b).AreaM2, measure(a).AreaM2) })
	var kept [][]Polygon
	for _, plane := range planes {
		outside := slices.DeleteFunc(slices.Clone(plane), func(p Polygon) bool {
			return slices.ContainsFunc(kept, func(larger []Polygon) bool {
				return slices.ContainsFunc(larger, func(q Polygon) bool { return len(q) == 1 && within(p[0], q[0]) })
			})
		})
		if len(outside) > 0 {
			kept = append(kept, outside)
		}
	}
	return kept
}

// within says whether a ring lies in another one, at its vertices and every 2 cm between them.
func within(r, outer Ring) bool {
	for i := 1; i < len(r); i++ {
		a, b := r[i-1], r[i]
		n := steps(dist(a, b), 0.02)
		for k := range n {
			t := float64(k) / float64(n)
			if !contains(outer, XY{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])}) {
				return false
			}
		}
	}
	return true
}

// bodyStepM is the greatest distance between planes, whatever they show.
const bodyStepM = 0.35

// levels are the heights below top at which the volume starts anew: the sensor's own and those just about it, where the field
// is a fan that a plane a hand's breadth away need not show; and where the ball that the side lobes make reaches out to a cut, which
// is the farthest that is seen that way, while the field shrinks above it and below (a hair above, since borders that merely touch are
// hard on the overlay).
func (d Device) levels(topM float64) []float64 {
	var at []float64
	for _, off := range []float64{-0.4, -0.2, -0.1, -0.05, -0.02, 0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.8} {
		if z := d.HeightM + off; z > seenFromM && z < topM {
			at = append(at, z)
		}
	}
	for _, c := range d.Cuts {
		_, cos := sincosDeg(c.AngleDeg)
		if z := d.HeightM - d.ballM()*cos + 0.003; z > seenFromM && z < topM {
			at = append(at, z)
		}
	}
	slices.Sort(at)
	return at
}

// beyond says whether a vertex of polys is outside of all the others by more than far.
func beyond(polys []Polygon, far float64, others ...[]Polygon) bool {
	for _, p := range polys {
		for _, ring := range p {
			for _, v := range ring[1:] {
				if !slices.ContainsFunc(others, func(o []Polygon) bool { return covers(o, v) }) &&
					!slices.ContainsFunc(others, func(o []Polygon) bool { return toBorder(o, v) <= far }) {
					return true
				}
			}
		}
	}
	return false
}

func covers(polys []Polygon, v XY) bool {
	return slices.ContainsFunc(polys, func(p Polygon) bool { return p.Contains(v) })
}

// toBorder is the distance from a point to the nearest border of polygons.
func toBorder(polys []Polygon, v XY) float64 {
	least := math.Inf(1)
	for _, p := range polys {
		for _, r := range p {
			for i := 1; i < len(r); i++ {
				least = min(least, toSegment(v, r[i-1], r[i]))
			}
		}
	}
	return math.Sqrt(least)
}

// toSegment is the square of the distance from v to the segment a–b.
func toSegment(v, a, b XY) float64 {
	dx, dy := b[0]-a[0], b[1]-a[1]
	t := 0.0
	if l := dx*dx + dy*dy; l > 0 {
		t = max(0, min(1, ((v[0]-a[0])*dx+(v[1]-a[1])*dy)/l))
	}
	return sq(v[0]-a[0]-t*dx) + sq(v[1]-a[1]-t*dy)
}

// union joins regions; each region's own polygons are apart. Two at a time: the library's union of many gets areas wrong
// where one region covers a hole of another.
func union(regions ...[]Polygon) []Polygon {
	switch len(regions) {
	case 0:
		return []Polygon{}
	case 1:
		return regions[0]
	}
	half := len(regions) / 2
	a, b := union(regions[:half]...), union(regions[half:]...)
	if joined, ok := joinedWhole(a, b); ok {
		return joined
	}
	// The overlay refuses what all but coincides, and may lose a part of it without a word: take the polygons of b one by one, a fraction of a
	// micrometre aside if need be.
	for _, p := range b {
		a = joinOne(a, p)
	}
	return a
}

// joinOne joins one polygon to a region. Where the overlay fails however it is moved, what of the polygon lies outside of the region is put
// beside it.
func joinOne(a []Polygon, p Polygon) []Polygon {
	for try := range 4 {
		if joined, ok := joinedWhole(a, []Polygon{aside(p, float64(try)*3e-7, float64(try)*7e-7)}); ok {
			return joined
		}
	}
	rest := []Polygon{p}
	for _, q := range a {
		var left []Polygon
		for _, r := range rest {
			left = append(left, without(r, q)...)
		}
		rest = left
	}
	return slices.Concat(a, rest)
}

// joinedWhole joins two regions by the overlay library; ok is false when that fails or when the area is not what the areas of both, less what
// they have in common, add up to.
func joinedWhole(a, b []Polygon) (joined []Polygon, ok bool) {
	u, err := geom.Union(multi(a).AsGeometry(), multi(b).AsGeometry())
	if err != nil {
		return nil, false
	}
	joined = polygons(ringsOf(u))
	due := areaOf(a) + areaOf(b)
	for _, p := range a {
		for _, q := range b {
			due -= commonM2(p, q)
		}
	}
	return joined, math.Abs(areaOf(joined)-due) < slitM2+1e-6*due
}
