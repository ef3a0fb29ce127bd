package report

import (
	"math"
	"regexp"
	"strconv"
	"strings"
)

// A signature is strokes as path data of SVG (SVG 1.1, 8.3). It is drawn as lines in a box of this size, in millimetres of paper.
const (
	signatureWidthMM  = 55.0
	signatureHeightMM = 16.0
	curvePieces       = 12 // straight pieces to a curve
)

var pathToken = regexp.MustCompile(`[A-Za-z]|[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?`)

// strokeData tells strokes from a name that was typed: they begin with a place to move to.
var strokeData = regexp.MustCompile(`^[Mm][ ,]*[-+.0-9]`)

// signatureScene draws strokes; nil where they are none that can be drawn. title is what is said in place of the drawing.
func signatureScene(title, strokes string) *Scene {
	paths, ok := strokePaths(strokes)
	if !ok {
		return nil
	}
	b := emptyBox()
	for _, p := range paths {
		b.add(p...)
	}
	w, h := b.Max.X-b.Min.X, b.Max.Y-b.Min.Y
	if !(w+h > 0) || math.IsInf(w+h, 0) {
		return nil
	}
	scale := math.Min(signatureWidthMM/math.Max(w, 1e-9), signatureHeightMM/math.Max(h, 1e-9))
	for _, path := range paths {
		for i, p := range path {
			path[i] = Point{(p.X - b.Min.X) * scale, (b.Max.Y - p.Y) * scale} // down the page in SVG, up it here
		}
	}
	return &Scene{Title: title, Desc: title, Denominator: 1000, Shapes: []Shape{&Line{Paths: paths, Pen: Pen{WidthMM: 0.4, Tone: Ink}}}}
}

// argumentsOf is how many numbers a command takes. Arcs are not drawn: nobody signs in them.
var argumentsOf = map[byte]int{'M': 2, 'L': 2, 'H': 1, 'V': 1, 'C': 6, 'S': 4, 'Q': 4, 'T': 2, 'Z': 0}

// strokePaths reads path data as lines; ok is false for what is no path, or holds what is not drawn.
func strokePaths(data string) (paths [][]Point, ok bool) {
	if strings.TrimLeft(pathToken.ReplaceAllString(data, ""), " ,\n\t") != "" {
		return nil, false
	}
	tokens := pathToken.FindAllString(data, -1)
	var at, start, control Point
	command, before := byte(0), byte(0)
	for len(tokens) > 0 {
		if c := tokens[0][0]; c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' {
			command, tokens = c, tokens[1:]
		} else if command == 0 || command|0x20 == 'z' {
			return nil, false
		}
		kind := command &^ 0x20
		n, known := argumentsOf[kind]
		if !known || len(tokens) < n || paths == nil && kind != 'M' {
			return nil, false
		}
		var v [6]float64
		for i := range n {
			number, err := strconv.ParseFloat(tokens[i], 64)
			if err != nil || math.Abs(number) > 1e6 {
				return nil, false
			}
			v[i] = number
		}
		tokens = tokens[n:]
		origin := Point{}
		if command != kind { // in small letters: from where the pen is
			origin = at
		}
		point := func(i int) Point { return Point{origin.X + v[i], origin.Y + v[i+1]} }
		last := len(paths) - 1
		line := func(p Point) { paths[last], at = append(paths[last], p), p }
		if before != kind && !(kind == 'S' && before == 'C') && !(kind == 'T' && before == 'Q') {
			control = at
		}
		mirrored := Point{2*at.X - control.X, 2*at.Y - control.Y}
		switch kind {
		case 'M':
			at = point(0)
			start, paths = at, append(paths, []Point{at})
			command-- // L, l: further pairs are lines
		case 'L':
			line(point(0))
		case 'H':
			line(Point{origin.X + v[0], at.Y})
		case 'V':
			line(Point{at.X, origin.Y + v[0]})
		case 'Z':
			line(start)
		case 'C':
			paths[last], control = bent(paths[last], at, point(0), point(2), point(4)), point(2)
			at = point(4)
		case 'S':
			paths[last], control = bent(paths[last], at, mirrored, point(0), point(2)), point(0)
			at = point(2)
		case 'Q', 'T':
			c, end := mirrored, point(0)
			if kind == 'Q' {
				c, end = point(0), point(2)
			}
			third := func(p Point) Point { return Point{p.X + (c.X-p.X)*2/3, p.Y + (c.Y-p.Y)*2/3} }
			paths[last], control = bent(paths[last], at, third(at), third(end), end), c
			at = end
		}
		before = kind
	}
	return paths, len(paths) > 0
}

// bent adds a cubic curve to a path, as straight pieces.
func bent(path []Point, a, b, c, d Point) []Point {
	for i := 1; i <= curvePieces; i++ {
		t := float64(i) / curvePieces
		s := 1 - t
		f := [4]float64{s * s * s, 3 * s * s * t, 3 * s * t * t, t * t * t}
		path = append(path, Point{f[0]*a.X + f[1]*b.X + f[2]*c.X + f[3]*d.X, f[0]*a.Y + f[1]*b.Y + f[2]*c.Y + f[3]*d.Y})
	}
	return path
}
