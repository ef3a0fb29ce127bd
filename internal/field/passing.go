package field

import (
	"iter"
	"math"
)

// PassingGrid is how many points lie on each end of a kept-clear zone when paths through it are counted.
const PassingGrid = 50

// Passing is how many straight paths through a zone trigger.
type Passing struct {
	Paths, Trigger int
}

// Share is the part of the paths that trigger.
func (p Passing) Share() float64 {
	if p.Paths == 0 {
		return 0
	}
	return float64(p.Trigger) / float64(p.Paths)
}

// PassBy counts the straight paths of a body from points on one end of a zone to points on the other, in either direction, that
// trigger the device; the ends are the zone's short sides. grid is the number of points on each, PassingGrid for what is shown.
func (d Device) PassBy(m Motion, b Body, z Zone, grid int) (p Passing) {
	b.HeightM = max(b.HeightM, z.BodyHeightM)
	for path := range z.paths(grid) {
		p.Paths++
		if d.triggers(m, b, path) {
			p.Trigger++
		}
	}
	return p
}

// paths are the straight ways through a zone, from points on one of its short sides to points on the other, every other one back.
func (z Zone) paths(grid int) iter.Seq[Path] {
	alongX := z.X1M-z.X0M >= z.Y1M-z.Y0M
	on := func(end float64, i int) XY {
		t := (float64(i) + 0.5) / float64(grid)
		if alongX {
			return XY{z.X0M + end*(z.X1M-z.X0M), z.Y0M + t*(z.Y1M-z.Y0M)}
		}
		return XY{z.X0M + t*(z.X1M-z.X0M), z.Y0M + end*(z.Y1M-z.Y0M)}
	}
	return func(yield func(Path) bool) {
		for i := range grid {
			for j := range grid {
				path := Path{on(0, i), on(1, j)}
				if (i+j)%2 == 1 { // half of them come from the other end
					path = path.Back()
				}
				if !yield(path) {
					return
				}
			}
		}
	}
}

// triggers is Walk without the reasons: it stops at the first point of the body that does.
func (d Device) triggers(m Motion, b Body, p Path) bool {
	a := d.aim()
	t := a.track(m, b)
	t.firstOnly, t.until = true, math.Inf(1)
	for z := range b.heights(holdHeightM) {
		if t.along(p, z); t.triggered {
			return true
		}
	}
	return false
}

// Blown is something small that the wind or its weight moves along straight lines: litter, a leaf, a drop.
type Blown struct {
	Name           string
	CrossSectionDB float64 // relative to a walking adult's
	SpeedMps       float64
	// Falls: downwards through the whole height, aslant by the wind's DriftMps; otherwise along the floor, up to HeightM.
	Falls    bool
	DriftMps float64
	HeightM  float64
	Source   string
}

// Weather is what falls and blows before an entrance in the open: common practice, no source; the figures are our own choice.
func Weather() []Blown {
	const own = "our own choice"
	return []Blown{
		{Name: "drops", CrossSectionDB: -38, SpeedMps: 6, DriftMps: 6, Falls: true, Source: own},
		{Name: "litter", CrossSectionDB: -22, SpeedMps: 3, HeightM: 0.5, Source: own},
	}
}

// Rejected is whether something blown can trigger a device, and what keeps it from doing so.
type Rejected struct {
	Triggers    bool
	RangeM      float64 // at which it is seen on the boresight
	Why         Unseen
	MostTravelM float64 // the longest coherent travel found
}

// Rejects looks for a line on which something blown triggers: across the floor, or down with the wind from eight directions, every 10 cm of its own
// volume's extent.
func (d Device) Rejects(m Motion, thing Blown) Rejected {
	small := d
	small.ReachDB += thing.CrossSectionDB
	r, got := Rejected{RangeM: small.fullReachM()}, gotNowhere
	a := d.aim()
	body := Body{SpeedMps: thing.SpeedMps, CrossSectionDB: thing.CrossSectionDB}
	try := func(from, to Point) {
		t := a.track(m, body)
		t.begin()
		t.follow(from, to, 0)
		r.Triggers = r.Triggers || t.triggered
		r.MostTravelM = max(r.MostTravelM, t.mostTravel)
		got = max(got, t.got)
	}
	reach := r.RangeM
	if thing.Falls {
		body.SpeedMps = math.Hypot(thing.SpeedMps, thing.DriftMps)
		slope := thing.DriftMps / thing.SpeedMps
		n := steps(2*reach, 0.1)
		for i := range n + 1 {
			for j := range n + 1 {
				x, y := -reach+2*reach*float64(i)/float64(n), -reach+2*reach*float64(j)/float64(n)
				if math.Hypot(x, y) >= reach {
					continue
				}
				for deg := 0.0; deg < 360; deg += 45 {
					sin, cos := sincosDeg(deg)
					dx, dy := slope*reach*sin, slope*reach*cos
					x, y := x+d.OffsetXM, y+d.OffsetYM
					from, to, ok := before(Point{x - dx, y - dy, d.HeightM + reach}, Point{x + dx, y + dy, d.HeightM - reach})
					if ok {
						try(from, to)
					}
					if slope == 0 {
						break
					}
				}
			}
		}
		return r.because(got)
	}
	drop := d.HeightM - thing.HeightM
	if reach <= drop {
		return r.because(got)
	}
	half := math.Sqrt(sq(reach) - sq(max(0, drop)))
	for deg := 0.0; deg < 360; deg += 45 {
		sin, cos := sincosDeg(deg)
		n := steps(2*half, 0.1)
		for i := range n + 1 {
			aside := -half + 2*half*float64(i)/float64(n)
			for _, z := range []float64{0, thing.HeightM / 2, thing.HeightM} {
				from := Point{d.OffsetXM + aside*cos - half*sin, d.OffsetYM - aside*sin - half*cos, z}
				to := Point{d.OffsetXM + aside*cos + half*sin, d.OffsetYM - aside*sin + half*cos, z}
				if from, to, ok := before(from, to); ok {
					try(from, to)
				}
			}
		}
	}
	return r.because(got)
}

func (r Rejected) because(got int) Rejected {
	r.Why = unseen[got]
	return r
}

// before cuts off what of a line lies behind the door's plane, and of one that falls what lies below the floor.
func before(from, to Point) (Point, Point, bool) {
	if from.Z > 0 && to.Z < 0 {
		t := from.Z / (from.Z - to.Z)
		to = Point{from.X + t*(to.X-from.X), from.Y + t*(to.Y-from.Y), 0}
	}
	if from.Y < 0 && to.Y < 0 {
		return from, to, false
	}
	cut := func(a, b Point) Point { // a is behind
		t := -a.Y / (b.Y - a.Y)
		return Point{a.X + t*(b.X-a.X), 0, a.Z + t*(b.Z-a.Z)}
	}
	switch {
	case from.Y < 0:
		from = cut(from, to)
	case to.Y < 0:
		to = cut(to, from)
	}
	return from, to, true
}
