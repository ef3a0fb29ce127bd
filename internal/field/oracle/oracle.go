// Package oracle measures the field of a motion sensor on a level plane by brute force, for tests only: it shares no
// code, and no way of working, with the package that it checks. It knows the model as it is written down (the pattern,
// its cap, the radar equation) and asks it cell by cell.
//
// Where package field follows the border as a curve, the oracle cuts a square that surely holds the field into ever
// smaller cells. For each it bounds the distance and both angles off the axis over the WHOLE cell; a cell whose every
// point is seen counts as seen, one without a seen point is dropped, the others are cut in four. So no patch is too
// small or too far away to be found, and what is still undecided at the end bounds the error. Count is the plain
// count of grid points, slower and blind between them, that the tests hold against it.
//
// To add a member of the model: its line in Mount, in Seen and in aim.judge, and a row in the tests that
// only it can change.
package oracle

import (
	"math"
	"slices"
)

// Mount is a mounted, set motion sensor and the plane on which its field is asked for, in the units of the line
// protocol: metres, degrees, decibels.
type Mount struct {
	HeightM, TiltDeg, YawDeg                   float64
	OffsetXM, OffsetYM                         float64
	AzimuthBeamwidthDeg, ElevationBeamwidthDeg float64
	AttenuationLimitDB                         float64
	BoresightRangeM                            float64
	ReachDB                                    float64
	PlaneHeightM                               float64
	ClipAtDoorPlane                            bool
}

// Extent is what was measured. The field surely reaches to all four sides of Found, and surely not out of Possible;
// its area is AreaM2 give or take ErrorM2.
type Extent struct {
	Empty           bool // no point was found; Found is all zero then
	Found, Possible Cell
	AreaM2, ErrorM2 float64
	Seen, Unseen    []Cell // some cells all of whose points are seen, and some without a seen point
}

// Cell is an upright rectangle on the plane: least x, least y, greatest x, greatest y, in metres.
type Cell struct{ Left, Near, Right, Far float64 }

// Middle is the point in the middle of the cell.
func (c Cell) Middle() (x, y float64) { return (c.Left + c.Right) / 2, (c.Near + c.Far) / 2 }

func (c Cell) areaM2() float64 { return (c.Right - c.Left) * (c.Far - c.Near) }

func (c Cell) corners() [4][2]float64 {
	return [4][2]float64{{c.Left, c.Near}, {c.Right, c.Near}, {c.Right, c.Far}, {c.Left, c.Far}}
}

func (c Cell) quarters() [4]Cell {
	x, y := c.Middle()
	return [4]Cell{{c.Left, c.Near, x, y}, {x, c.Near, c.Right, y}, {c.Left, y, x, c.Far}, {x, y, c.Right, c.Far}}
}

func (c Cell) with(other Cell) Cell {
	return Cell{min(c.Left, other.Left), min(c.Near, other.Near), max(c.Right, other.Right), max(c.Far, other.Far)}
}

// beyond is how far a cell reaches out of c.
func (c Cell) beyond(out Cell) float64 {
	return max(c.Left-out.Left, c.Near-out.Near, out.Right-c.Right, out.Far-c.Far)
}

// nothing is the rectangle that any other one extends.
func nothing() Cell { return Cell{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)} }

// Seen tells whether the point of the plane lies in the field. It works with angles in the vertical plane of the aim:
// how far the point is along the aim and across it, at which angle from straight down it is seen there, and what is
// left of that angle when the tilt is taken off.
func (m Mount) Seen(x, y float64) bool {
	if m.ClipAtDoorPlane && y < 0 {
		return false
	}
	across, axial, up := m.turned(x, y)
	distance := math.Sqrt(across*across + axial*axial + up*up)
	if distance == 0 {
		return true
	}
	azimuth := math.Atan2(across, axial)
	elevation := math.Asin(clamp(up/distance, -1, 1))
	return distance <= m.rangeAt(m.attenuationDB(azimuth, elevation))
}

// turned gives the place of a point of the plane as the sensor has it: to its right, along its axis, above its axis.
// All three are linear in x and y.
func (m Mount) turned(x, y float64) (across, axial, up float64) {
	bearing := math.Atan2(x-m.OffsetXM, y-m.OffsetYM) - radians(m.YawDeg)
	floor := math.Hypot(x-m.OffsetXM, y-m.OffsetYM)
	across = floor * math.Sin(bearing)
	along, drop := floor*math.Cos(bearing), m.HeightM-m.PlaneHeightM
	fromDown := math.Atan2(along, drop) - radians(m.TiltDeg)
	inPlane := math.Hypot(along, drop)
	return across, inPlane * math.Cos(fromDown), inPlane * math.Sin(fromDown)
}

func (m Mount) attenuationDB(azimuth, elevation float64) float64 {
	a, e := azimuth/radians(m.AzimuthBeamwidthDeg), elevation/radians(m.ElevationBeamwidthDeg)
	return min(12*a*a+12*e*e, m.AttenuationLimitDB)
}

func (m Mount) rangeAt(attenuationDB float64) float64 {
	return m.BoresightRangeM * math.Exp(math.Ln10*(m.ReachDB/40-attenuationDB/20))
}

// Measure measures the field. It stops cutting when what is undecided is at most 0.2 % of the area or 2 cm², and the
// extents are known to half a millimetre. Hairs that are thinner than 0.1 mm may be missing from what was found, but
// not from what is possible; so may more where it would take too many cells.
func (m Mount) Measure() Extent {
	s := newSearch(m)
	s.findArea()
	s.findExtents()
	if s.extent.Empty = s.extent.Found == nothing(); s.extent.Empty {
		s.extent.Found = Cell{}
	}
	if s.extent.Possible == nothing() {
		s.extent.Possible = Cell{}
	}
	return s.extent
}

const (
	areaError, areaErrorM2 = 0.002, 2e-4
	extentErrorM           = 0.0005
	thinnestM              = 1e-4
	keptFromBorderM        = 0.002 // middles of the cells in a result are at least so far from the border
	mostCells              = 3_000_000
)

// search is one measurement under way.
type search struct {
	mount     Mount
	aim       aim
	undecided []Cell
	cells     int // judged so far
	extent    Extent
}

func newSearch(m Mount) *search {
	s := &search{mount: m, aim: newAim(m), extent: Extent{Found: nothing(), Possible: nothing()}}
	// The square around the circle in which the plane cuts the ball of the full range.
	drop, reach := m.HeightM-m.PlaneHeightM, m.rangeAt(0)
	if reach < math.Abs(drop) {
		return s
	}
	side := math.Sqrt(reach*reach-drop*drop) * 1.000001
	square := Cell{m.OffsetXM - side, m.OffsetYM - side, m.OffsetXM + side, m.OffsetYM + side}
	if m.ClipAtDoorPlane {
		square.Near = max(square.Near, 0)
	}
	if square.Near < square.Far {
		s.undecided = []Cell{square}
	}
	return s
}

func (s *search) findArea() {
	for {
		s.extent.ErrorM2 = 0
		for _, c := range s.undecided {
			s.extent.ErrorM2 += c.areaM2()
		}
		if s.extent.ErrorM2 <= max(areaError*s.extent.AreaM2, areaErrorM2) || s.cells > mostCells {
			break
		}
		s.undecided = s.cut(s.undecided)
	}
	for _, c := range s.undecided {
		if s.probe(c) {
			s.extent.AreaM2 += c.areaM2()
		}
	}
}

// findExtents cuts those cells on that could still hold a point outside the extents found so far.
func (s *search) findExtents() {
	area := s.extent.AreaM2 // is settled, with these very cells
	for ; ; s.undecided = s.cut(s.undecided) {
		for _, c := range s.undecided {
			s.probe(c)
		}
		settled := nothing()
		s.undecided = slices.DeleteFunc(s.undecided, func(c Cell) bool {
			if s.extent.Found.beyond(c) > extentErrorM {
				return false
			}
			settled = settled.with(c)
			return true
		})
		s.extent.Possible = s.extent.Possible.with(settled)
		if largestSide(s.undecided) < thinnestM || s.cells > 2*mostCells {
			break
		}
	}
	for _, c := range append(s.undecided, s.extent.Found) {
		s.extent.Possible = s.extent.Possible.with(c)
	}
	s.extent.AreaM2 = area
}

// cut judges the quarters of each cell and gives those that are still undecided.
func (s *search) cut(cells []Cell) []Cell {
	undecidedOnes := make([]Cell, 0, 2*len(cells))
	for _, cell := range cells {
		for _, quarter := range cell.quarters() {
			s.cells++
			switch s.aim.judge(quarter) {
			case allSeen:
				s.extent.AreaM2 += quarter.areaM2()
				s.extent.Found = s.extent.Found.with(quarter)
				s.extent.Seen = keep(s.extent.Seen, quarter)
			case noneSeen:
				s.extent.Unseen = keep(s.extent.Unseen, quarter)
			default:
				undecidedOnes = append(undecidedOnes, quarter)
			}
		}
	}
	return undecidedOnes
}

// keep drops cells whose middle lies so near to the border that a drawing with chords may have it on the other side.
func keep(cells []Cell, c Cell) []Cell {
	if min(c.Right-c.Left, c.Far-c.Near) < 2*keptFromBorderM {
		return cells
	}
	return append(cells, c)
}

// probe asks for the middle of a cell.
func (s *search) probe(c Cell) bool {
	x, y := c.Middle()
	if !s.mount.Seen(x, y) {
		return false
	}
	s.extent.Found = s.extent.Found.with(Cell{x, y, x, y})
	return true
}

func largestSide(cells []Cell) (side float64) {
	for _, c := range cells {
		side = max(side, c.Right-c.Left, c.Far-c.Near)
	}
	return side
}

// Count is the plain count of the points of a grid within a box: the area that they stand for and the extents of those
// that are seen. It knows nothing of its own error.
func (m Mount) Count(box Cell, stepM float64) Extent {
	e := Extent{Found: nothing()}
	for y := box.Near + stepM/2; y < box.Far; y += stepM {
		for x := box.Left + stepM/2; x < box.Right; x += stepM {
			if m.Seen(x, y) {
				e.AreaM2 += stepM * stepM
				e.Found = e.Found.with(Cell{x, y, x, y})
			}
		}
	}
	e.Empty = e.Found == nothing()
	return e
}

func radians(degrees float64) float64 { return degrees * math.Pi / 180 }

func clamp(v, low, high float64) float64 { return max(low, min(high, v)) }

// Draw makes a mount within the limits of the line protocol from numbers that are uniform in [0, 1). A hard one has
// several things at their ends at once: a low attenuation limit, a tilt of 0 or 90 degrees, beamwidths of 1 or 180
// degrees, little reach, a plane just under the sensor, a range of 50 m.
func Draw(uniform func() float64, hard bool) Mount {
	between := func(low, high float64) float64 { return low + (high-low)*uniform() }
	oneOf := func(values ...float64) float64 { return values[int(uniform()*float64(len(values)))] }
	m := Mount{
		HeightM: between(1.9, 4.5), TiltDeg: between(0, 60), YawDeg: between(-30, 30),
		OffsetXM: between(-1, 1), OffsetYM: between(0, 1),
		AzimuthBeamwidthDeg: between(20, 90), ElevationBeamwidthDeg: between(15, 70),
		AttenuationLimitDB: between(12, 35), BoresightRangeM: between(2, 12), ReachDB: between(-12, 0),
		PlaneHeightM: oneOf(0, 0, 0.71, 1.2), ClipAtDoorPlane: uniform() < 0.8,
	}
	if !hard {
		return m
	}
	m.AttenuationLimitDB = oneOf(3, 12, 60, between(3, 12), between(3, 12), between(3, 12))
	m.TiltDeg = oneOf(0, 90, between(0, 90), between(85, 90))
	m.YawDeg = oneOf(0, 90, 180, -180, between(-180, 180))
	m.OffsetXM, m.OffsetYM = oneOf(0, -20, 20, between(-20, 20)), oneOf(0, 0.05, between(-2, 2), between(-20, 20))
	m.AzimuthBeamwidthDeg = oneOf(1, 180, between(1, 8), between(1, 180), between(90, 180))
	m.ElevationBeamwidthDeg = oneOf(1, 180, between(1, 8), between(1, 180), between(90, 180))
	m.BoresightRangeM = oneOf(0.1, 50, between(0.1, 50), between(1, 10))
	m.ReachDB = oneOf(0, -60, between(-60, 0), between(-12, 0))
	m.ClipAtDoorPlane = uniform() < 0.4
	m.HeightM = oneOf(0.3, 12, between(0.3, 12))
	// Most such devices do not reach the floor, so the plane is put where they reach it, or nearly so.
	drop := oneOf(0, 0.001, between(0, 0.05), m.rangeAt(0)*between(0, 1), m.rangeAt(0)*between(0, 1), m.rangeAt(0)*between(0.9, 1.01), m.HeightM)
	m.PlaneHeightM = m.HeightM - min(drop, m.HeightM)
	return m
}
