package field

import "github.com/peterstace/simplefeatures/geom"

// multi hands polygons to the overlay library.
func multi(polys []Polygon) geom.MultiPolygon {
	all := make([]geom.Polygon, 0, len(polys))
	for _, p := range polys {
		rings := make([]geom.LineString, 0, len(p))
		for _, r := range p {
			flat := make([]float64, 0, 2*len(r))
			for _, v := range r {
				flat = append(flat, v[0], v[1])
			}
			rings = append(rings, geom.NewLineString(geom.NewSequence(flat, geom.DimXY)))
		}
		all = append(all, geom.NewPolygon(rings))
	}
	return geom.NewMultiPolygon(all)
}

// ringsOf takes the areas out of a result of the overlay library; lines and points in it have no area and are dropped.
func ringsOf(g geom.Geometry) []Ring {
	var rings []Ring
	for _, part := range g.Dump() {
		if !part.IsPolygon() {
			continue
		}
		for _, ring := range part.MustAsPolygon().ForceCCW().DumpRings() {
			seq := ring.Coordinates()
			r := make(Ring, seq.Length())
			for i := range r {
				xy := seq.GetXY(i)
				r[i] = XY{xy.X, xy.Y}
			}
			if r = closed(r); r != nil {
				rings = append(rings, r)
			}
		}
	}
	return rings
}
