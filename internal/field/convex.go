package field

import (
	"cmp"
	"math"
	"slices"
)

// bodyHalfM is the radius of the circle that lies within the test body's footprint however the body is turned.
const bodyHalfM = testBodyWidthM / 2

// hull is the convex hull of points, counter-clockwise and closed; nil when the points enclose no area.
func hull(points []XY) Ring {
	points = slices.Clone(points)
	slices.SortFunc(points, func(a, b XY) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) })
	points = slices.Compact(points)
	half := func(points []XY) Ring {
		var r Ring
		for _, p := range points {
			for len(r) > 1 && cross(r[len(r)-2], r[len(r)-1], p) <= 0 {
				r = r[:len(r)-1]
			}
			r = append(r, p)
		}
		return r
	}
	lower := half(points)
	slices.Reverse(points)
	upper := half(points)
	if len(lower) < 2 {
		return nil
	}
	return closed(append(lower[:len(lower)-1], upper[:len(upper)-1]...))
}

// around gives n points about p that lie on a circle, or outside of it so little that the polygon has the circle's area.
func around(p XY, radiusM float64, n int) []XY {
	step := 2 * math.Pi / float64(n)
	radiusM *= math.Sqrt(step / math.Sin(step))
	points := make([]XY, n)
	for i := range points {
		sin, cos := math.Sincos((float64(i) + 0.5) * step)
		points[i] = XY{p[0] + radiusM*cos, p[1] + radiusM*sin}
	}
	return points
}

// pieces joins convex rings to a region, clipped at the door's plane when asked.
func pieces(rings []Ring, clipAtDoorPlane bool) []Polygon {
	var all [][]Polygon
	for _, r := range rings {
		if r == nil {
			continue
		}
		kept := []Ring{r}
		if clipAtDoorPlane {
			kept = clip(kept, line{n: XY{0, -1}})
		}
		if polys := polygons(kept); len(polys) > 0 {
			all = append(all, polys)
		}
	}
	return union(all...)
}

// touches says whether a body whose middle is at a floor point has part of its footprint in the region, in every turn.
func touches(polys []Polygon, at XY) bool {
	return covers(polys, at) || toBorder(polys, at) <= bodyHalfM
}
