package field

import (
	"cmp"
	"iter"
	"slices"
)

// Zone is a rectangle of floor on one side of a door.
type Zone struct {
	X0M, X1M float64
	Y0M, Y1M float64
	// BodyHeightM is the height of the body that must be seen, or that passes; 0.71 m (28 in) is the small test person.
	BodyHeightM float64
	// Purpose is what must watch it; "" when anything may.
	Purpose Purpose
	StillS  float64 // how long at least somebody who stands still must be told
}

// Source is one device that should watch a side. A device of which values are unknown covers nothing: Volume is nil then,
// and Missing names the values.
type Source struct {
	Name    string
	Volume  Volume
	Missing []string
}

// Coverage says which part of a required zone is watched.
type Coverage struct {
	AreaM2       float64
	CoveredM2    float64
	CoveredShare float64 // 0 to 1
	Gaps         []Gap   // largest first
	Missing      map[string][]string
	Unfit        []string // names of the sources that serve another purpose, or let go too soon
}

// Gap is a connected part of a required zone in which no body is seen.
type Gap struct {
	Polygon   Polygon
	AreaM2    float64
	CircleM   float64 // diameter of the largest inscribed circle, to 1 cm
	Shortfall bool    // the rule's test body fits into it
}

// The rule's test body: 0.20 m × 0.30 m on the floor, in any turn.
const (
	testBodyWidthM  = 0.20
	testBodyLengthM = 0.30
)

// slitM2 is what rounding leaves between areas that share a border.
const slitM2 = 1e-6

// Cover compares a required zone with the union of what those sources watch on that side (y ≥ 0) that serve the zone's purpose. It is static geometry: a
// test person who walks slowly under a header has hardly any radial speed, which is not judged here.
func Cover(z Zone, sources []Source) Coverage {
	c := Coverage{AreaM2: z.areaM2()}
	var watched []Polygon
	all := false
	for _, s := range sources {
		if len(s.Missing) > 0 || s.Volume == nil {
			if c.Missing == nil {
				c.Missing = map[string][]string{}
			}
			c.Missing[s.Name] = s.Missing
			continue
		}
		if s.Volume.Senses().Unfit(z) != "" {
			c.Unfit = append(c.Unfit, s.Name)
			continue
		}
		if all = all || c.AreaM2 == 0; all {
			continue
		}
		var p []Polygon
		p, all = z.watched(s.Volume)
		watched = append(watched, p...)
	}
	if c.AreaM2 == 0 {
		c.CoveredShare = 1
		return c
	}
	if all {
		c.CoveredM2, c.CoveredShare = c.AreaM2, 1
		return c
	}
	for _, p := range z.without(watched) {
		if area := p.AreaM2(); area > slitM2 {
			room := roomIn(p)
			radius := room.widest()
			c.Gaps = append(c.Gaps, Gap{p, area, 2 * radius, room.takesTestBody(radius)})
			c.CoveredM2 -= area
		}
	}
	c.CoveredM2 += c.AreaM2
	c.CoveredShare = max(0, c.CoveredM2/c.AreaM2)
	slices.SortStableFunc(c.Gaps, func(a, b Gap) int {
		switch {
		case a.AreaM2 > b.AreaM2:
			return -1
		case a.AreaM2 < b.AreaM2:
			return 1
		}
		return 0
	})
	return c
}

// Shortfall says whether the test body fits into any gap.
func (c Coverage) Shortfall() bool {
	return slices.ContainsFunc(c.Gaps, func(g Gap) bool { return g.Shortfall })
}

// Overlap says how much of a kept-clear zone the source watches all the same: area and share of the zone.
func Overlap(z Zone, v Volume) (areaM2, share float64) {
	whole := z.areaM2()
	if whole == 0 {
		return 0, 0
	}
	watched, all := z.watched(v)
	if all {
		return whole, 1
	}
	for _, p := range z.without(watched) {
		areaM2 -= p.AreaM2()
	}
	areaM2 = max(0, whole+areaM2)
	return areaM2, areaM2 / whole
}

func (z Zone) areaM2() float64 { return max(0, z.X1M-z.X0M) * max(0, z.Y1M-z.Y0M) }

func (z Zone) polygon() Polygon {
	return Polygon{{{z.X0M, z.Y0M}, {z.X1M, z.Y0M}, {z.X1M, z.Y1M}, {z.X0M, z.Y1M}, {z.X0M, z.Y0M}}}
}

// layered is a volume whose field of a body is the union of many (on planes, of spots): most of what they cover of a zone is seen at less cost
// than they are joined.
type layered interface {
	layers(bodyHeightM float64, clipAtDoorPlane bool) iter.Seq[[]Polygon]
}

// watched gives what a volume watches of the zone, as polygons that may overlap; all when nothing is left.
func (z Zone) watched(v Volume) (polys []Polygon, all bool) {
	layers, ok := v.(layered)
	if !ok {
		return z.within(v.OfBody(z.BodyHeightM, true))
	}
	for plane := range layers.layers(z.BodyHeightM, true) {
		more, all := z.within(plane)
		if all {
			return nil, true
		}
		polys = append(polys, more...)
	}
	return polys, false
}

// within cuts polygons that are apart down to the zone and a little around it, so that borders cross the zone's and do not run along it; all
// when they fill the zone.
func (z Zone) within(polys []Polygon) (cut []Polygon, all bool) {
	rings := slices.Concat(polys...)
	for _, l := range [4]line{{XY{-1, 0}, marginM - z.X0M}, {XY{1, 0}, z.X1M + marginM}, {XY{0, -1}, 2*marginM - z.Y0M}, {XY{0, 1}, z.Y1M + marginM}} {
		if slices.ContainsFunc(rings, func(r Ring) bool { return slices.ContainsFunc(r, func(p XY) bool { return l.over(p) > 0 }) }) {
			rings = clip(rings, l)
		}
	}
	cut = polygons(rings)
	area, zone := 0.0, z.polygon()
	for _, p := range cut {
		area += commonM2(zone, p)
	}
	return cut, z.areaM2()-area < 1e-9
}

// without gives what is left of the zone without polygons, the largest of them first: the others hardly ever take anything more.
func (z Zone) without(polys []Polygon) []Polygon {
	slices.SortStableFunc(polys, func(a, b Polygon) int { return cmp.Compare(b.AreaM2(), a.AreaM2()) })
	from := z
	from.Y0M -= marginM // fields end at the door's plane, where most zones begin
	left := []Polygon{from.polygon()}
	for _, p := range polys {
		var next []Polygon
		for _, l := range left {
			next = append(next, without(l, p)...)
		}
		left = next
	}
	return polygons(clip(slices.Concat(left...), line{XY{0, -1}, -z.Y0M}))
}

// marginM: borders are made to cross a zone's border by so much, and not to run along it.
const marginM = 0.05
