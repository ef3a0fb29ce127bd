package rulebook

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Position is a place on the floor of one side where a test body stood, or somebody walked up to, in the side's frame (package
// documentation), metres.
type Position struct {
	XM   float64 `json:"x_m"`
	YM   float64 `json:"y_m"`
	Seen bool    `json:"seen"`
}

// MostPositions bounds how many are tried on one side.
const MostPositions = 400

// CoveredZone is the rectangle that the positions bear out: every crossing of its rows and columns was tried and seen, and neighbours are no
// further apart than the spacing. It begins at the row nearest to the door; of several the largest.
type CoveredZone struct {
	Rect   Rect    `json:"rect"`    // from the outermost positions that were seen to the others
	WidthM float64 `json:"width_m"` // of the zone that the device watches: between what was seen and one spacing more on each side
	DepthM float64 `json:"depth_m"` // likewise, at the far end alone
	// Uncertainties of width and depth: the edge lies anywhere between two positions.
	WidthUncertaintyM float64 `json:"width_uncertainty_m"`
	DepthUncertaintyM float64 `json:"depth_uncertainty_m"`
	// Open says that nothing was tried beyond the rectangle on some side: the zone may be larger than WidthM and DepthM say.
	Open bool `json:"open"`
}

// Grid counts the columns and rows in which the positions stand.
func Grid(tried []Position, spacingM float64) (columns, rows int) {
	return len(columnsOf(tried, spacingM)), len(rowsOf(tried, spacingM))
}

func columnsOf(tried []Position, spacingM float64) []float64 {
	return lines(tried, spacingM, func(p Position) float64 { return p.XM })
}

func rowsOf(tried []Position, spacingM float64) []float64 {
	return lines(tried, spacingM, func(p Position) float64 { return p.YM })
}

// Covered works out what the positions bear out. It answers false when no rectangle with an area was seen. Two positions are in one row or
// column when they are within a twentieth of the spacing.
func Covered(tried []Position, spacingM float64) (CoveredZone, bool) {
	xs, ys := columnsOf(tried, spacingM), rowsOf(tried, spacingM)
	if len(xs) < 2 || len(ys) < 2 {
		return CoveredZone{}, false
	}
	seen, known := map[[2]int]bool{}, map[[2]int]bool{}
	for _, p := range tried {
		at := [2]int{nearest(xs, p.XM), nearest(ys, p.YM)}
		seen[at] = p.Seen && (seen[at] || !known[at]) // tried twice, it counts when it was seen both times
		known[at] = true
	}
	apart := spacingM * (1 + 1e-6)
	deep := make([]int, len(xs)) // how many rows from the nearest on are seen in the column
	for i := range xs {
		for deep[i] < len(ys) && seen[[2]int{i, deep[i]}] && (deep[i] == 0 || ys[deep[i]]-ys[deep[i]-1] <= apart) {
			deep[i]++
		}
	}
	var best CoveredZone
	area := 0.0
	for i := range xs {
		rows := deep[i]
		for j := i + 1; j < len(xs) && xs[j]-xs[j-1] <= apart; j++ {
			if rows = min(rows, deep[j]); rows < 2 {
				break
			}
			r := Rect{xs[i], xs[j], ys[0], ys[rows-1]}
			if a := (r.X1M - r.X0M) * (r.Y1M - r.Y0M); a > area*(1+1e-12) {
				area = a
				best = CoveredZone{Rect: r, Open: i == 0 || j == len(xs)-1 || rows == len(ys)}
			}
		}
	}
	if area == 0 {
		return CoveredZone{}, false
	}
	best.WidthM, best.WidthUncertaintyM = best.Rect.X1M-best.Rect.X0M+spacingM, spacingM
	best.DepthM, best.DepthUncertaintyM = best.Rect.Y1M-best.Rect.Y0M+spacingM/2, spacingM/2
	return best, true
}

// lines gives the columns or rows in which the positions stand.
func lines(tried []Position, spacingM float64, of func(Position) float64) (lines []float64) {
	all := make([]float64, len(tried))
	for i, p := range tried {
		all[i] = of(p)
	}
	slices.Sort(all)
	for _, v := range all {
		if len(lines) == 0 || v-lines[len(lines)-1] > spacingM/20 {
			lines = append(lines, v)
		}
	}
	return lines
}

func nearest(lines []float64, v float64) int {
	i, _ := slices.BinarySearch(lines, v)
	if i == len(lines) || i > 0 && v-lines[i-1] < lines[i]-v {
		i--
	}
	return i
}

// Readings gives what the zone counts as on a side: width and depth of its kind.
func (z CoveredZone) Readings(kind ZoneKind, side Side) []Used {
	reading := func(what string, value, uncertainty float64) Used {
		r := Measured(math.Min(value, 12), "m")
		r.Uncertainty, r.Place = &uncertainty, Place{Side: side}
		return Used{fmt.Sprintf("%s_zone_%s_m", kind, what), r}
	}
	return []Used{reading("width", z.WidthM, z.WidthUncertaintyM), reading("depth", z.DepthM, z.DepthUncertaintyM)}
}

// FirstSeen is where somebody who walked up to the door was noticed first, in the side's frame, metres.
type FirstSeen struct{ XM, YM float64 }

// Residual is how far from the computed field's edge somebody was noticed: positive outside of it, where the field reaches further than computed.
type Residual struct {
	At    FirstSeen
	EdgeM float64 // metres to the nearest point of the edge, with the sign
}

// Residuals holds the places where people were noticed first against the rings of a computed field ([x, y] in the side's frame, metres,
// each closed: its last point may be its first), the furthest out first. Nothing is fitted: that the field is off is said, not mended.
func Residuals(seen []FirstSeen, rings [][][2]float64) (list []Residual) {
	for _, s := range seen {
		edge, inside := math.Inf(1), false
		for _, ring := range rings {
			for i, b := range ring {
				a := ring[(i+len(ring)-1)%len(ring)]
				edge = math.Min(edge, toSegment(s.XM, s.YM, a, b))
				if (a[1] > s.YM) != (b[1] > s.YM) && s.XM < (b[0]-a[0])*(s.YM-a[1])/(b[1]-a[1])+a[0] {
					inside = !inside
				}
			}
		}
		if math.IsInf(edge, 1) {
			continue
		}
		if inside {
			edge = -edge
		}
		list = append(list, Residual{s, edge})
	}
	slices.SortStableFunc(list, func(a, b Residual) int { return cmp.Compare(b.EdgeM, a.EdgeM) })
	return list
}

// toSegment is the distance of a point from a straight line between two others.
func toSegment(x, y float64, a, b [2]float64) float64 {
	dx, dy := b[0]-a[0], b[1]-a[1]
	along := 0.0
	if long := dx*dx + dy*dy; long > 0 {
		along = math.Max(0, math.Min(1, ((x-a[0])*dx+(y-a[1])*dy)/long))
	}
	return math.Hypot(x-a[0]-along*dx, y-a[1]-along*dy)
}
