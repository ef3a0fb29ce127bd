package oracle

import (
	"math"
	"slices"
)

// Gaps is what a required zone lacks, counted.
type Gaps struct {
	AreaM2, UnseenM2 float64
	BorderM          float64 // length of the border between seen and unseen
	Pieces           []Piece // of at least LeastM2, largest first
	Certain          bool    // no bridge or wall between pieces is thinner than a cell, and no piece hardly one
	grid             *grid
}

// Piece is a connected part in which nobody is seen.
type Piece struct {
	AreaM2   float64
	CircleM  float64 // diameter of the largest circle
	label    int32
	spacious []int // cells in the order of their distance to the border
}

// LeastM2 is what is smaller than a piece.
const LeastM2 = 0.004

const (
	cellM = 0.00625
	block = 4 // cells along the side of a block, whose corners are asked first
)

// grid is the zone in cells with the margin at their corners.
type grid struct {
	x0, y0, dx, dy float64
	nx, ny         int
	margin         []float64 // NaN where a whole block is of one kind
	unseen         []float64 // share of each cell
	border         [][2]float64
	near           [][][2]float64 // border points in squares of bucketM, row by row
	across, deep   int            // squares in a row, and rows
}

const bucketM = 0.05

// Find counts the gaps that watchers leave in a rectangle.
func Find(zone Cell, bodyHeightM float64, watchers []Watcher) Gaps {
	g := &grid{x0: zone.Left, y0: zone.Near}
	g.nx = block * int(math.Ceil((zone.Right-zone.Left)/cellM/block))
	g.ny = block * int(math.Ceil((zone.Far-zone.Near)/cellM/block))
	g.dx, g.dy = (zone.Right-zone.Left)/float64(g.nx), (zone.Far-zone.Near)/float64(g.ny)
	g.margin = make([]float64, (g.nx+1)*(g.ny+1))
	for i := range g.margin {
		g.margin[i] = math.NaN()
	}
	g.unseen = make([]float64, g.nx*g.ny)
	out := Gaps{AreaM2: zone.areaM2(), grid: g}
	g.fill(bodyHeightM, watchers)
	for _, share := range g.unseen {
		out.UnseenM2 += share * g.dx * g.dy
	}
	out.BorderM = float64(len(g.border)) * cellM * 0.75 // a cell's side is crossed four times in three cells on the mean of all slopes
	g.index()
	labels, pieces := g.pieces(0.5)
	_, strict := g.pieces(0.98)
	_, loose := g.pieces(0)
	out.Certain = len(strict) == len(pieces) && len(loose) == len(pieces) && (len(pieces) == 0 || pieces[len(pieces)-1].AreaM2 > 1.5*LeastM2)
	g.circles(labels, pieces)
	out.Pieces = pieces
	return out
}

func (g *grid) node(i, j int) int { return j*(g.nx+1) + i }

func (g *grid) at(i, j float64) (x, y float64) { return g.x0 + i*g.dx, g.y0 + j*g.dy }

func (g *grid) fill(bodyHeightM float64, watchers []Watcher) {
	// ask gives the best margin, and whether something turns up within a block's half diagonal.
	ask := func(x, y float64) (best float64, close bool) {
		best = math.Inf(-1)
		for _, w := range watchers {
			if best > 10 {
				break
			}
			m := w.Margin(x, y, bodyHeightM)
			if w.Metres() {
				close = close || math.Abs(m) < block*cellM
				m *= 40 // so that the measures are of one order
			} else {
				close = close || math.Abs(m) < 0.5
			}
			best = max(best, m)
		}
		closed := 40 * y
		return min(best, closed), close || math.Abs(y) < block*cellM
	}
	value := func(i, j int) (float64, bool) {
		n := g.node(i, j)
		x, y := g.at(float64(i), float64(j))
		m, close := ask(x, y)
		g.margin[n] = m
		return m, close
	}
	type asked struct {
		margin float64
		close  bool
	}
	corners := make([]asked, (g.nx/block+1)*(g.ny/block+1))
	for j := 0; j <= g.ny/block; j++ {
		for i := 0; i <= g.nx/block; i++ {
			m, close := value(i*block, j*block)
			corners[j*(g.nx/block+1)+i] = asked{m, close}
		}
	}
	for j := 0; j < g.ny; j += block {
		for i := 0; i < g.nx; i += block {
			seen, unseen, close := 0, 0, false
			at := j/block*(g.nx/block+1) + i/block
			for _, c := range []asked{corners[at], corners[at+1], corners[at+g.nx/block+1], corners[at+g.nx/block+2]} {
				if c.margin >= 0 {
					seen++
				} else {
					unseen++
				}
				close = close || c.close
			}
			if (seen == 0 || unseen == 0) && !close {
				x, y := g.at(float64(i)+block/2, float64(j)+block/2)
				if m, _ := ask(x, y); m >= 0 != (seen > 0) {
					close = true
				}
			}
			if (seen == 0 || unseen == 0) && !close {
				if unseen > 0 {
					for b := range block * block {
						g.unseen[(j+b/block)*g.nx+i+b%block] = 1
					}
				}
				continue
			}
			for b := range (block + 1) * (block + 1) {
				if p, q := i+b%(block+1), j+b/(block+1); math.IsNaN(g.margin[g.node(p, q)]) {
					value(p, q)
				}
			}
			for b := range block * block {
				g.divide(i+b%block, j+b/block)
			}
		}
	}
}

// divide says which share of a cell is unseen, as two triangles on which the margin is linear.
func (g *grid) divide(i, j int) {
	a, b, c, d := g.margin[g.node(i, j)], g.margin[g.node(i+1, j)], g.margin[g.node(i+1, j+1)], g.margin[g.node(i, j+1)]
	cell := &g.unseen[j*g.nx+i]
	*cell = 1 - (share(a, b, c)+share(a, c, d))/2
	if *cell == 0 && min(a, b, c, d) < 20*cellM {
		*cell = 1e-12 // a lane between two things seen may run through
	}
	if a >= 0 != (b >= 0) {
		x, y := g.at(float64(i)+a/(a-b), float64(j))
		g.border = append(g.border, [2]float64{x, y})
	}
	if a >= 0 != (d >= 0) {
		x, y := g.at(float64(i), float64(j)+a/(a-d))
		g.border = append(g.border, [2]float64{x, y})
	}
}

// share is the part of a triangle in which a linear function is not below zero, from its values at the corners.
func share(a, b, c float64) float64 {
	v := []float64{a, b, c}
	slices.Sort(v)
	switch {
	case v[0] >= 0:
		return 1
	case v[2] < 0:
		return 0
	case v[1] < 0: // one corner
		return v[2] / (v[2] - v[0]) * v[2] / (v[2] - v[1])
	default:
		return 1 - v[0]/(v[0]-v[1])*v[0]/(v[0]-v[2])
	}
}

// index puts the border points into squares.
func (g *grid) index() {
	g.across, g.deep = int(float64(g.nx)*g.dx/bucketM)+1, int(float64(g.ny)*g.dy/bucketM)+1
	g.near = make([][][2]float64, g.across*g.deep)
	for _, p := range g.border {
		i, j := g.square(p[0], p[1])
		g.near[j*g.across+i] = append(g.near[j*g.across+i], p)
	}
}

func (g *grid) square(x, y float64) (i, j int) {
	return min(g.across-1, max(0, int((x-g.x0)/bucketM))), min(g.deep-1, max(0, int((y-g.y0)/bucketM)))
}

// edge is the distance to the zone's own edge.
func (g *grid) edge(x, y float64) float64 {
	return min(x-g.x0, g.x0+float64(g.nx)*g.dx-x, y-g.y0, g.y0+float64(g.ny)*g.dy-y)
}

// room is the distance from a point to what is seen or to the zone's edge.
func (g *grid) room(x, y float64) float64 {
	best := square(max(0, g.edge(x, y)))
	ci, cj := g.square(x, y)
	for ring := 0; square(float64(max(0, ring-1))*bucketM) < best; ring++ {
		for j := max(0, cj-ring); j <= min(g.deep-1, cj+ring); j++ {
			step := 1
			if j != cj-ring && j != cj+ring {
				step = 2 * ring // only the two ends of the row
			}
			for i := ci - ring; i <= ci+ring; i += max(1, step) {
				if i < 0 || i >= g.across {
					continue
				}
				for _, p := range g.near[j*g.across+i] {
					best = min(best, square(p[0]-x)+square(p[1]-y))
				}
			}
		}
	}
	return math.Sqrt(best)
}

// pieces labels the cells of which more than a share is unseen and that hang together side by side. What other cells hold besides
// goes to a neighbour.
func (g *grid) pieces(least float64) ([]int32, []Piece) {
	labels := make([]int32, g.nx*g.ny)
	var areas []float64
	var stack []int
	around := func(c int, visit func(n int)) {
		i, j := c%g.nx, c/g.nx
		for q := max(0, j-1); q <= min(g.ny-1, j+1); q++ {
			for p := max(0, i-1); p <= min(g.nx-1, i+1); p++ {
				if p == i || q == j {
					visit(q*g.nx + p)
				}
			}
		}
	}
	for c, share := range g.unseen {
		if share <= least || labels[c] != 0 {
			continue
		}
		areas = append(areas, 0)
		label := int32(len(areas))
		labels[c] = label
		for stack = append(stack[:0], c); len(stack) > 0; {
			c := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			areas[label-1] += g.unseen[c] * g.dx * g.dy
			around(c, func(n int) {
				if g.unseen[n] > least && labels[n] == 0 {
					labels[n] = label
					stack = append(stack, n)
				}
			})
		}
	}
	for c, share := range g.unseen {
		if share > 0 && labels[c] == 0 {
			given := false
			around(c, func(n int) {
				if l := labels[n]; l > 0 && !given {
					areas[l-1] += share * g.dx * g.dy
					given = true
				}
			})
		}
	}
	var out []Piece
	for l, area := range areas {
		if area >= LeastM2 {
			out = append(out, Piece{AreaM2: area, label: int32(l + 1)})
		}
	}
	slices.SortFunc(out, func(a, b Piece) int {
		switch {
		case a.AreaM2 > b.AreaM2:
			return -1
		case a.AreaM2 < b.AreaM2:
			return 1
		}
		return 0
	})
	return labels, out
}

// circles finds the largest circle of each piece: the middle of every fourth cell, then steps from the best of them.
func (g *grid) circles(labels []int32, pieces []Piece) {
	for k := range pieces {
		p := &pieces[k]
		type spot struct{ x, y, room float64 }
		var spots []spot
		best := 0.0
		for j := 0; j < g.ny; j += 2 {
			for i := 0; i < g.nx; i += 2 {
				if labels[j*g.nx+i] != p.label || g.unseen[j*g.nx+i] < 1 {
					continue
				}
				x, y := g.at(float64(i)+0.5, float64(j)+0.5)
				if g.edge(x, y) < min(best-0.02, 0.09) {
					continue
				}
				r := g.room(x, y)
				best = max(best, r)
				if r > 0.09 {
					p.spacious = append(p.spacious, j*g.nx+i)
				}
				spots = append(spots, spot{x, y, r})
			}
		}
		slices.SortFunc(spots, func(a, b spot) int {
			if a.room > b.room {
				return -1
			}
			return 1
		})
		for _, s := range spots[:min(8, len(spots))] {
			for step := cellM; step > 0.0003; {
				moved := false
				for d := range 12 {
					sin, cos := math.Sincos(float64(d) * math.Pi / 6)
					if r := g.room(s.x+step*cos, s.y+step*sin); r > s.room && g.edge(s.x+step*cos, s.y+step*sin) > 0 {
						s, moved = spot{s.x + step*cos, s.y + step*sin, r}, true
					}
				}
				if !moved {
					step /= 2
				}
			}
			best = max(best, s.room)
		}
		p.CircleM = 2 * best
	}
}

// Takes says whether a rectangle fits into a piece, in any turn, tried at every other cell and every two degrees.
func (g Gaps) Takes(widthM, lengthM float64) bool {
	for _, p := range g.Pieces {
		if p.CircleM >= math.Hypot(widthM, lengthM) {
			return true
		}
		if p.CircleM < widthM {
			continue
		}
		for _, c := range p.spacious {
			x, y := g.grid.at(float64(c%g.grid.nx)+0.5, float64(c/g.grid.nx)+0.5)
			for deg := 0; deg < 180; deg += 2 {
				if g.grid.free(x, y, float64(deg), widthM/2, lengthM/2) {
					return true
				}
			}
		}
	}
	return false
}

// free says whether a turned rectangle stays within the zone and holds no point of the border.
func (g *grid) free(x, y, turnDeg, halfWidth, halfLength float64) bool {
	sin, cos := math.Sincos(radians(turnDeg))
	if g.edge(x, y) < min(halfWidth, halfLength) {
		return false
	}
	for _, c := range [4][2]float64{{1, 1}, {1, -1}, {-1, 1}, {-1, -1}} {
		if g.edge(x+c[0]*halfWidth*cos-c[1]*halfLength*sin, y+c[0]*halfWidth*sin+c[1]*halfLength*cos) < 0 {
			return false
		}
	}
	ci, cj := g.square(x, y)
	reach := int(math.Ceil(math.Hypot(halfWidth, halfLength)/bucketM)) + 1
	for j := max(0, cj-reach); j <= min(g.deep-1, cj+reach); j++ {
		for i := max(0, ci-reach); i <= min(g.across-1, ci+reach); i++ {
			for _, p := range g.near[j*g.across+i] {
				dx, dy := p[0]-x, p[1]-y
				if math.Abs(dx*cos+dy*sin) < halfWidth && math.Abs(dy*cos-dx*sin) < halfLength {
					return false
				}
			}
		}
	}
	return true
}
