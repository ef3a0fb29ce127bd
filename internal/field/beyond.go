package field

import (
	"math"

	"github.com/peterstace/simplefeatures/geom"
)

// Doorway is the clear opening, about the middle of the door, through which a device sees the other side while the leaf is out of the way.
type Doorway struct {
	WidthM, HeightM float64
}

// lets says whether the line of sight from a device on this side to a point on the other one goes through.
func (w Doorway) lets(d *Device, p Point) bool {
	t := 0.0 // where on the line the door's plane is
	if d.OffsetYM > 0 {
		t = d.OffsetYM / (d.OffsetYM - p.Y)
	}
	x, z := d.OffsetXM+t*(p.X-d.OffsetXM), d.HeightM+t*(p.Z-d.HeightM)
	return math.Abs(x) <= w.WidthM/2 && z >= 0 && z <= w.HeightM
}

// borders are those of what a device sees through the doorway on a level plane: lines in the door's plane, along both jambs' shadows and the header's.
func (w Doorway) borders(d Device, zM float64) (lines []line, hidden bool) {
	lines = []line{{XY{0, 1}, 0}}
	for _, side := range []float64{1, -1} {
		n := XY{side * d.OffsetYM, w.WidthM/2 - side*d.OffsetXM}
		if length := math.Hypot(n[0], n[1]); length > 0 {
			lines = append(lines, line{XY{n[0] / length, n[1] / length}, w.WidthM / 2 * d.OffsetYM / length})
		}
	}
	above, below := d.HeightM-w.HeightM, d.OffsetYM*(w.HeightM-zM)
	switch {
	case above == 0:
		return lines, below < 0
	case above > 0:
		lines = append(lines, line{XY{0, -1}, below / above})
	default:
		lines = append(lines, line{XY{0, 1}, -below / above})
	}
	return lines, false
}

// beyondStepM is how far apart the planes are of which a body's field beyond a doorway is made.
const beyondStepM = 0.1

// Beyond is where a body on the other side is seen through the open doorway, at y < 0 of this side's frame. The device stands on this side, at y ≥ 0.
func (d Device) Beyond(w Doorway, bodyHeightM float64) Footprint {
	tall := max(0, bodyHeightM-seenFromM)
	n := steps(tall, beyondStepM)
	var planes [][]Polygon
	for i := range n + 1 {
		z := seenFromM + tall*float64(i)/float64(n)
		lines, hidden := w.borders(d, z)
		if hidden {
			continue
		}
		var rings []Ring
		for _, p := range d.OnPlane(z, false) {
			rings = append(rings, p...)
		}
		for _, l := range lines {
			rings = clip(rings, l)
		}
		if len(rings) > 0 {
			planes = append(planes, polygons(rings))
		}
	}
	return measure(union(uncovered(planes)...))
}

// WalkBeyond is Walk where the other side is seen through the open doorway only: for paths that begin or end there, at y < 0. What it tells of somebody
// who comes the other way, or passes over there, is why a door opens again, or stays open, for people who have gone through.
func (d Device) WalkBeyond(w Doorway, m Motion, b Body, p Path) Walk {
	a := d.aim()
	a.doorway = &w
	return a.walk(m, b, p)
}

// Shared is where two fields overlap: the floor points at which both see a body. Both are in one frame; see Frame for a neighbour's.
func Shared(a, b Volume, bodyHeightM float64, clipAtDoorPlane bool) Footprint {
	var both []Polygon
	for _, p := range a.OfBody(bodyHeightM, clipAtDoorPlane) {
		for _, q := range b.OfBody(bodyHeightM, clipAtDoorPlane) { // one at a time, as in difference
			if g, err := geom.Intersection(multi([]Polygon{p}).AsGeometry(), multi([]Polygon{q}).AsGeometry()); err == nil {
				both = append(both, polygons(ringsOf(g))...)
			}
		}
	}
	return measure(both)
}
