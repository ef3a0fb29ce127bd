package report

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/draw"
	"image/png"
	"io"
	"math"
	"strings"

	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// pngPerMM is how many pixels a millimetre of paper has: 200 to the inch.
const pngPerMM = 200 / 25.4

// WritePNG writes scenes below one another as one picture in greys, of the size of
// WriteSVG's drawing. The file says how large a pixel is, so that it prints to
// scale, and carries the titles and the words of the scenes (PNG, third edition,
// 11.3.3 and 11.3.4.3). The bytes depend on the scenes only.
func WritePNG(w io.Writer, scenes ...*Scene) error {
	width, height := paperMM(scenes)
	r := raster{img: image.NewGray(image.Rect(0, 0, int(math.Ceil(width*pngPerMM)), int(math.Ceil(height*pngPerMM))))}
	for i := range r.img.Pix {
		r.img.Pix[i] = uint8(White)
	}
	top := 0.0
	for _, s := range scenes {
		b := s.Bounds()
		r.place = func(p Point) Point {
			return Point{(svgMarginMM + s.mm(p.X-b.Min.X)) * pngPerMM, (top + svgMarginMM + s.mm(b.Max.Y-p.Y)) * pngPerMM}
		}
		for _, sh := range s.plain() {
			r.shape(s, sh)
		}
		top += s.mm(b.Height()) + 2*svgMarginMM
	}
	var picture bytes.Buffer
	if err := png.Encode(&picture, r.img); err != nil {
		return err
	}
	titles, descs := said(scenes)
	const head = 8 + 12 + 13 // the signature and IHDR, which comes first
	file := append([]byte{}, picture.Bytes()[:head]...)
	perM := binary.BigEndian.AppendUint32(nil, uint32(math.Round(pngPerMM*1000)))
	file = appendChunk(file, "pHYs", append(append(perM, perM...), 1))
	file = appendChunk(file, "iTXt", []byte("Title\x00\x00\x00\x00\x00"+titles))
	file = appendChunk(file, "iTXt", []byte("Description\x00\x00\x00\x00\x00"+descs))
	_, err := w.Write(append(file, picture.Bytes()[head:]...))
	return err
}

// paperMM is how much paper scenes take, one below another.
func paperMM(scenes []*Scene) (width, height float64) {
	for _, s := range scenes {
		b := s.Bounds()
		width = math.Max(width, s.mm(b.Width())+4*svgMarginMM)
		height += s.mm(b.Height()) + 2*svgMarginMM
	}
	return width, height
}

// said is what scenes are called and what they say in words.
func said(scenes []*Scene) (titles, descs string) {
	var t, d []string
	for _, s := range scenes {
		t, d = append(t, s.Title), append(d, s.Desc)
	}
	return strings.Join(t, "; "), strings.Join(d, "\n")
}

func appendChunk(file []byte, kind string, data []byte) []byte {
	file = binary.BigEndian.AppendUint32(file, uint32(len(data)))
	from := len(file)
	file = append(append(file, kind...), data...)
	return binary.BigEndian.AppendUint32(file, crc32.ChecksumIEEE(file[from:]))
}

// raster puts shapes on a picture; place gives the pixel of a place.
type raster struct {
	img   *image.Gray
	place func(Point) Point
	z     vector.Rasterizer
	cover image.Alpha
}

func (r *raster) shape(s *Scene, sh Shape) {
	switch sh := sh.(type) {
	case *Line:
		for _, path := range sh.Paths {
			r.stroke(r.placed(path), false, sh.Pen)
		}
	case *Area:
		var rings [][]Point
		for _, ring := range sh.Rings {
			rings = append(rings, r.placed(ring))
		}
		if sh.Fill {
			r.fill(turned(rings), sh.Tone)
		}
		for _, ring := range rings {
			r.stroke(ring, true, sh.Pen)
		}
	case *Arc:
		// So many chords that none is farther than a fiftieth of a pixel from its arc.
		radius := math.Max(s.mm(sh.RadiusM)*pngPerMM, 1)
		n := math.Max(1, math.Ceil((sh.ToDeg-sh.FromDeg)*math.Pi/180/(2*math.Acos(1-0.02/radius))))
		var path []Point
		for i := range int(n) + 1 {
			path = append(path, r.place(sh.at(sh.FromDeg+(sh.ToDeg-sh.FromDeg)*float64(i)/n)))
		}
		r.stroke(path, false, sh.Pen)
	case *Text:
		r.text(sh)
	}
}

func (r *raster) placed(path []Point) []Point {
	out := make([]Point, len(path))
	for i, p := range path {
		out[i] = r.place(p)
	}
	return out
}

// turned turns rings so that one inside another runs the other way round: the
// rasteriser adds up turns, while a ring inside another is a hole.
func turned(rings [][]Point) [][]Point {
	out := make([][]Point, len(rings))
	for i, ring := range rings {
		depth := 0
		for k, other := range rings {
			if k == i || len(ring) == 0 {
				continue
			}
			for _, x := range crossings([][]Point{other}, ring[0].Y) {
				if x < ring[0].X {
					depth++
				}
			}
		}
		if (twiceArea(ring) < 0) == (depth%2 == 0) {
			out[i] = make([]Point, 0, len(ring))
			for k := len(ring) - 1; k >= 0; k-- {
				out[i] = append(out[i], ring[k])
			}
			continue
		}
		out[i] = ring
	}
	return out
}

func twiceArea(ring []Point) (a float64) {
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		a += p.X*q.Y - q.X*p.Y
	}
	return a
}

// stroke fills a quadrangle for each piece of a path that the dashes leave and, at
// its corners, discs; all of them turn the same way, so that they add up to one.
func (r *raster) stroke(path []Point, closed bool, pen Pen) {
	if len(path) == 0 || pen.WidthMM == 0 {
		return
	}
	if closed {
		path = append(path[:len(path):len(path)], path[0])
	}
	half := pen.WidthMM * pngPerMM / 2
	var parts [][]Point
	for _, piece := range dashed(path, pen.Dash) {
		for i := 0; i+1 < len(piece); i++ {
			a, z := piece[i], piece[i+1]
			l := math.Hypot(z.X-a.X, z.Y-a.Y)
			if l == 0 {
				continue
			}
			nx, ny := -(z.Y-a.Y)/l*half, (z.X-a.X)/l*half
			parts = append(parts, []Point{{a.X - nx, a.Y - ny}, {z.X - nx, z.Y - ny}, {z.X + nx, z.Y + ny}, {a.X + nx, a.Y + ny}})
			if i > 0 && half > 0.6 {
				joint := make([]Point, 8)
				for k := range joint {
					sin, cos := math.Sincos(float64(k) * math.Pi / 4)
					joint[k] = Point{a.X + half*cos, a.Y + half*sin}
				}
				parts = append(parts, joint)
			}
		}
	}
	r.fill(parts, pen.Tone)
}

// dashed cuts a path in pixels into the pieces that dashes in millimetres leave.
func dashed(path []Point, dash []float64) (pieces [][]Point) {
	if len(dash) == 0 {
		return [][]Point{path}
	}
	k, rest := 0, dash[0]*pngPerMM
	piece := []Point{path[0]}
	for i := 0; i+1 < len(path); i++ {
		a, z := path[i], path[i+1]
		for l := math.Hypot(z.X-a.X, z.Y-a.Y); l > 0; {
			step := math.Min(l, rest)
			a = Point{a.X + (z.X-a.X)*step/l, a.Y + (z.Y-a.Y)*step/l}
			piece = append(piece, a)
			l, rest = l-step, rest-step
			if rest > 1e-9 {
				continue
			}
			if k%2 == 0 {
				pieces = append(pieces, piece)
			}
			k++
			rest, piece = dash[k%len(dash)]*pngPerMM, []Point{a}
		}
	}
	if k%2 == 0 {
		pieces = append(pieces, piece)
	}
	return pieces
}

// fill covers what paths enclose, each ring once; those that run the other way cut holes.
func (r *raster) fill(paths [][]Point, tone Tone) {
	b := emptyBox()
	for _, path := range paths {
		b.add(path...)
	}
	r.ink(b, tone, func(x, y float32) {
		for _, path := range paths {
			for i, p := range path {
				if i == 0 {
					r.z.MoveTo(float32(p.X)-x, float32(p.Y)-y)
				} else {
					r.z.LineTo(float32(p.X)-x, float32(p.Y)-y)
				}
			}
			r.z.ClosePath()
		}
	})
}

// ink lays a tone on the pixels of b that the outlines cover, which outline gives less an origin.
func (r *raster) ink(b Box, tone Tone, outline func(x, y float32)) {
	if b.Min.X > b.Max.X {
		return
	}
	area := image.Rect(int(math.Floor(b.Min.X)), int(math.Floor(b.Min.Y)), int(math.Ceil(b.Max.X))+1, int(math.Ceil(b.Max.Y))+1).Intersect(r.img.Rect)
	if area.Empty() {
		return
	}
	w, h := area.Dx(), area.Dy()
	r.z.Reset(w, h)
	outline(float32(area.Min.X), float32(area.Min.Y))
	if len(r.cover.Pix) < w*h {
		r.cover.Pix = make([]uint8, w*h)
	}
	r.cover.Stride, r.cover.Rect = w, image.Rect(0, 0, w, h)
	r.z.DrawOp = draw.Src // what the picture covered before is of another shape
	r.z.Draw(&r.cover, r.cover.Rect, image.Opaque, image.Point{})
	for y := range h {
		row := r.img.Pix[(area.Min.Y+y)*r.img.Stride+area.Min.X:][:w]
		for x, a := range r.cover.Pix[y*w : y*w+w] {
			if a != 0 {
				row[x] = uint8((int(row[x])*(255-int(a)) + int(tone)*int(a) + 127) / 255)
			}
		}
	}
}

// text fills the outlines of its signs, at their place to a fraction of a pixel.
func (r *raster) text(t *Text) {
	printed, _ := inOurType(t.String)
	face := faces().regular
	if t.Bold {
		face = faces().bold
	}
	size := t.HeightMM * pngPerMM
	width := textWidthMM(printed, t.HeightMM, t.Bold) * pngPerMM
	at := r.place(t.At)
	at.X -= width * [...]float64{0, 0.5, 1}[t.Anchor]
	b := Box{Point{at.X - size, at.Y - 1.2*size}, Point{at.X + width + size, at.Y + 0.5*size}}
	r.ink(b, t.Tone, func(x0, y0 float32) {
		var buf sfnt.Buffer
		x, y := float32(at.X)-x0, float32(at.Y)-y0
		for _, sign := range printed {
			r.sign(&buf, face, sign, size, x, y)
			x += float32(face.width[sign] * size)
		}
	})
}

func (r *raster) sign(buf *sfnt.Buffer, face typeface, sign rune, size float64, x, y float32) {
	index, err := face.outlines.GlyphIndex(buf, sign)
	if err != nil {
		return
	}
	segments, err := face.outlines.LoadGlyph(buf, index, fixed.Int26_6(math.Round(size*64)), nil)
	if err != nil {
		return
	}
	at := func(p fixed.Point26_6) (float32, float32) { return x + float32(p.X)/64, y + float32(p.Y)/64 }
	for _, s := range segments {
		ax, ay := at(s.Args[0])
		switch s.Op {
		case sfnt.SegmentOpMoveTo:
			r.z.ClosePath()
			r.z.MoveTo(ax, ay)
		case sfnt.SegmentOpLineTo:
			r.z.LineTo(ax, ay)
		case sfnt.SegmentOpQuadTo:
			bx, by := at(s.Args[1])
			r.z.QuadTo(ax, ay, bx, by)
		case sfnt.SegmentOpCubeTo:
			bx, by := at(s.Args[1])
			cx, cy := at(s.Args[2])
			r.z.CubeTo(ax, ay, bx, by, cx, cy)
		}
	}
	r.z.ClosePath()
}
