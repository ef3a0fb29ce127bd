package report

import (
	"math"
	"sort"
)

// Patterns tell areas apart on paper without colour. They are drawn as strokes
// in the scene, so that every writer shows the same.

// hatch is parallel strokes at deg through polygons (each a list of rings,
// inside by the even-odd rule), spacing metres apart. The strokes lie on lines
// through the origin's lattice, so that neighbouring areas match.
func hatch(rings [][]Point, deg, spacing float64, pen Pen) *Line {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	// In (u, v) the strokes are level: u along, v across.
	uv := func(p Point) Point { return Point{p.X*cos + p.Y*sin, -p.X*sin + p.Y*cos} }
	xy := func(u, v float64) Point { return Point{u*cos - v*sin, u*sin + v*cos} }

	b := emptyBox()
	turned := make([][]Point, len(rings))
	for i, ring := range rings {
		for _, p := range ring {
			turned[i] = append(turned[i], uv(p))
		}
		b.add(turned[i]...)
	}
	line := &Line{Pen: pen}
	for k := math.Ceil(b.Min.Y / spacing); k*spacing <= b.Max.Y; k++ {
		v := k * spacing
		us := crossings(turned, v)
		for i := 0; i+1 < len(us); i += 2 {
			line.Paths = append(line.Paths, []Point{xy(us[i], v), xy(us[i+1], v)})
		}
	}
	return line
}

// crossings are the x, in order, at which the rings cross the level y.
func crossings(rings [][]Point, y float64) []float64 {
	var xs []float64
	for _, ring := range rings {
		for i, p := range ring {
			q := ring[(i+1)%len(ring)]
			if (p.Y <= y) != (q.Y <= y) {
				xs = append(xs, p.X+(y-p.Y)/(q.Y-p.Y)*(q.X-p.X))
			}
		}
	}
	sort.Float64s(xs)
	return xs
}

// crosses is a lattice of small upright crosses inside polygons.
func crosses(rings [][]Point, spacing, arm float64, pen Pen) *Line {
	b := emptyBox()
	for _, ring := range rings {
		b.add(ring...)
	}
	line := &Line{Pen: pen}
	for row := math.Ceil(b.Min.Y / spacing); row*spacing <= b.Max.Y; row++ {
		y := row * spacing
		xs := crossings(rings, y)
		shift := 0.0
		if int64(row)%2 != 0 {
			shift = spacing / 2
		}
		for i := 0; i+1 < len(xs); i += 2 {
			for k := math.Ceil((xs[i] + arm - shift) / spacing); k*spacing+shift <= xs[i+1]-arm; k++ {
				x := k*spacing + shift
				line.Paths = append(line.Paths,
					[]Point{{x - arm, y}, {x + arm, y}}, []Point{{x, y - arm}, {x, y + arm}})
			}
		}
	}
	return line
}
