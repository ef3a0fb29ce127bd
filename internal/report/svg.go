package report

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

const svgMarginMM = 3

// WriteSVG writes scenes below one another as one SVG drawing, in millimetres
// of paper. The bytes depend on the scenes only. Text stays text. There is no
// script, style element or style attribute and nothing is loaded, so the drawing
// works under a strict content security policy, inline or as a file.
func WriteSVG(w io.Writer, scenes ...*Scene) error {
	width, height := paperMM(scenes)
	var out bytes.Buffer
	fmt.Fprintf(&out, `<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="0 0 %s %s" role="img" font-family="Go, Arial, Helvetica, sans-serif" stroke-linejoin="round">`+"\n",
		num(width), num(height), num(width), num(height))
	if len(scenes) > 0 {
		titles, descs := said(scenes)
		fmt.Fprintf(&out, "<title>%s</title>\n<desc>%s</desc>\n", escape(titles), escape(descs))
	}
	fmt.Fprintf(&out, `<rect width="%s" height="%s" fill="#ffffff"/>`+"\n", num(width), num(height))
	top := 0.0
	for _, s := range scenes {
		b := s.Bounds()
		place := func(p Point) (float64, float64) {
			return svgMarginMM + s.mm(p.X-b.Min.X), top + svgMarginMM + s.mm(b.Max.Y-p.Y)
		}
		out.WriteString("<g>\n")
		for _, sh := range s.plain() {
			svgShape(&out, s, sh, place)
		}
		out.WriteString("</g>\n")
		top += s.mm(b.Height()) + 2*svgMarginMM
	}
	out.WriteString("</svg>\n")
	_, err := w.Write(out.Bytes())
	return err
}

func svgShape(out *bytes.Buffer, s *Scene, sh Shape, place func(Point) (float64, float64)) {
	switch sh := sh.(type) {
	case *Line:
		if len(sh.Paths) > 0 {
			fmt.Fprintf(out, `<path d="%s" fill="none"%s/>`+"\n", svgPath(sh.Paths, false, place), svgPen(sh.Pen))
		}
	case *Area:
		fill := "none"
		if sh.Fill {
			fill = sh.Tone.hex()
		}
		if len(sh.Rings) > 0 {
			fmt.Fprintf(out, `<path d="%s" fill="%s" fill-rule="evenodd"%s/>`+"\n", svgPath(sh.Rings, true, place), fill, svgPen(sh.Pen))
		}
	case *Arc:
		r := num(s.mm(sh.RadiusM))
		if sh.ToDeg-sh.FromDeg >= 360 {
			x, y := place(sh.Centre)
			fmt.Fprintf(out, `<circle cx="%s" cy="%s" r="%s" fill="none"%s/>`+"\n", num(x), num(y), r, svgPen(sh.Pen))
			return
		}
		large := 0
		if sh.ToDeg-sh.FromDeg > 180 {
			large = 1
		}
		x0, y0 := place(sh.at(sh.FromDeg))
		x1, y1 := place(sh.at(sh.ToDeg))
		fmt.Fprintf(out, `<path d="M%s %sA%s %s 0 %d 0 %s %s" fill="none"%s/>`+"\n", num(x0), num(y0), r, r, large, num(x1), num(y1), svgPen(sh.Pen))
	case *Text:
		x, y := place(sh.At)
		weight := ""
		if sh.Bold {
			weight = ` font-weight="bold"`
		}
		if sh.String == "" {
			return
		}
		// The length is fixed, so that another typeface takes no more room than ours.
		fmt.Fprintf(out, `<text x="%s" y="%s" font-size="%s" textLength="%s" lengthAdjust="spacingAndGlyphs" text-anchor="%s" fill="%s"%s>%s</text>`+"\n",
			num(x), num(y), num(sh.HeightMM), num(textWidthMM(sh.String, sh.HeightMM, sh.Bold)), [...]string{"start", "middle", "end"}[sh.Anchor], sh.Tone.hex(), weight, escape(sh.String))
	}
}

func svgPath(paths [][]Point, closed bool, place func(Point) (float64, float64)) string {
	var d strings.Builder
	for _, path := range paths {
		for i, p := range path {
			x, y := place(p)
			d.WriteByte("ML"[min(i, 1)])
			d.WriteString(num(x))
			d.WriteByte(' ')
			d.WriteString(num(y))
		}
		if closed && len(path) > 0 {
			d.WriteByte('Z')
		}
	}
	return d.String()
}

func svgPen(p Pen) string {
	if p.WidthMM == 0 {
		return ""
	}
	s := fmt.Sprintf(` stroke="%s" stroke-width="%s"`, p.Tone.hex(), num(p.WidthMM))
	if len(p.Dash) > 0 {
		var d []string
		for _, v := range p.Dash {
			d = append(d, num(v))
		}
		s += fmt.Sprintf(` stroke-dasharray="%s"`, strings.Join(d, " "))
	}
	return s
}

func (t Tone) hex() string { return fmt.Sprintf("#%02x%02x%02x", uint8(t), uint8(t), uint8(t)) }

// num writes at most three decimals: a thousandth of a millimetre of paper.
func num(v float64) string {
	v = math.Round(v*1000) / 1000
	if v == 0 {
		v = 0 // no "-0"
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// escape makes s safe as XML character data; signs that XML cannot hold become
// the replacement sign.
func escape(s string) string {
	s = strings.Map(func(r rune) rune {
		if (r < 0x20 && r != '\t' && r != '\n' && r != '\r') || r == 0xFFFE || r == 0xFFFF {
			return '\uFFFD'
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;").Replace(s)
}
