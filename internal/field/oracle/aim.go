package oracle

import "math"

// aim bounds what a sensor sees over whole cells.
type aim struct {
	mount             Mount
	across, axial, up linear
	drop              float64
}

// linear is a function value + x·alongX + y·alongY.
type linear struct{ value, alongX, alongY float64 }

func (l linear) at(p [2]float64) float64 { return l.value + p[0]*l.alongX + p[1]*l.alongY }

func newAim(m Mount) aim {
	// Three values settle a linear function. They are taken a metre apart at the sensor's own foot.
	a0, b0, c0 := m.turned(m.OffsetXM, m.OffsetYM)
	ax, bx, cx := m.turned(m.OffsetXM+1, m.OffsetYM)
	ay, by, cy := m.turned(m.OffsetXM, m.OffsetYM+1)
	through := func(at, x, y float64) linear {
		return linear{at - (x-at)*m.OffsetXM - (y-at)*m.OffsetYM, x - at, y - at}
	}
	return aim{mount: m, drop: m.HeightM - m.PlaneHeightM, across: through(a0, ax, ay), axial: through(b0, bx, by), up: through(c0, cx, cy)}
}

type verdict int

const (
	undecided verdict = iota
	allSeen
	noneSeen
)

func (a aim) judge(c Cell) verdict {
	nearest, furthest := a.distances(c)
	if nearest > a.mount.rangeAt(0) {
		return noneSeen
	}
	azimuth, elevation := a.azimuths(c), a.elevations(c, nearest, furthest)
	if nearest > a.mount.rangeAt(a.mount.attenuationDB(azimuth.low, elevation.low)) {
		return noneSeen
	}
	if furthest <= a.mount.rangeAt(a.mount.attenuationDB(azimuth.high, elevation.high)) {
		return allSeen
	}
	return undecided
}

func (a aim) distances(c Cell) (nearest, furthest float64) {
	x, y := a.mount.OffsetXM, a.mount.OffsetYM
	dx, dy := x-clamp(x, c.Left, c.Right), y-clamp(y, c.Near, c.Far)
	nearest = math.Sqrt(dx*dx + dy*dy + a.drop*a.drop)
	dx, dy = max(x-c.Left, c.Right-x), max(y-c.Near, c.Far-y)
	furthest = math.Sqrt(dx*dx + dy*dy + a.drop*a.drop)
	return nearest, furthest
}

// bounds holds a size, so low is not below zero. The pattern knows no left and right, no above and below.
type bounds struct{ low, high float64 }

// azimuths bounds the angle from the axis, seen along the sensor's vertical. Over a rectangle that the sensor's
// vertical axis does not pierce, that angle takes its extremes at corners, unless the cell lies on the axis (0) or
// behind it (180 degrees).
func (a aim) azimuths(c Cell) bounds {
	size := bounds{math.Inf(1), 0}
	least, most := math.Inf(1), math.Inf(-1)
	front, back := false, false
	for _, p := range c.corners() {
		across, axial := a.across.at(p), a.axial.at(p)
		angle := math.Atan2(math.Abs(across), axial)
		size.low, size.high = min(size.low, angle), max(size.high, angle)
		least, most = min(least, across), max(most, across)
		front, back = front || axial >= 0, back || axial <= 0
	}
	if least <= 0 && most >= 0 {
		if front {
			size.low = 0
		}
		if back {
			size.high = math.Pi
		}
	}
	return size
}

// elevations bounds the angle above or below the axis by the height over it and the distance, each at its worst.
func (a aim) elevations(c Cell, nearest, furthest float64) bounds {
	least, most := math.Inf(1), math.Inf(-1)
	for _, p := range c.corners() {
		up := a.up.at(p)
		least, most = min(least, up), max(most, up)
	}
	size := bounds{0, max(math.Abs(least), math.Abs(most))}
	switch {
	case least > 0:
		size.low = least
	case most < 0:
		size.low = -most
	}
	return bounds{math.Asin(clamp(size.low/furthest, 0, 1)), math.Asin(clamp(size.high/nearest, 0, 1))}
}
