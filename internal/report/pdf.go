package report

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
)

// Paper is the size of a page.
type Paper string

// The papers. Anything else is taken as A4.
const (
	A4     Paper = "a4"
	Letter Paper = "letter"
)

// A sheet lays text, tables and drawings on pages from the top down. Lengths
// are millimetres, type sizes are millimetres too (1 pt = 0.3528 mm).
type sheet struct {
	pdf                 *fpdf.Fpdf
	w, h                float64
	y                   float64
	onNewPage, onFooter func()
	// replaced says that a sign was printed that the font does not have.
	replaced bool
	waiting  string // heading
	inPart   bool
}

const (
	marginMM  = 18.0
	topMM     = 25.0 // of the body on every page but the first
	footMM    = 20.0
	headingMM = 7.8
	bodyMM    = 3.1 // size of running text
	smallMM   = 2.55
	posterMM  = 7.5
	leading   = 1.36
)

// newSheet starts a document whose bytes depend on what is put on it only.
func newSheet(paper Paper, language string, made time.Time) *sheet {
	return newSheetOf(paper.sheetSizes()[0], language, made)
}

// sheetSize is a size of paper by its name, upright or lying.
type sheetSize struct {
	name              string
	lying             bool
	widthMM, heightMM float64
}

func newSheetOf(size sheetSize, language string, made time.Time) *sheet {
	way := "P"
	if size.lying {
		way = "L"
	}
	p := fpdf.New(way, "mm", size.name, "")
	p.SetCatalogSort(true)
	p.SetCreationDate(made)
	p.SetModificationDate(made)
	p.SetProducer("Lintel", false)
	p.SetLang(language)
	p.SetAutoPageBreak(false, 0)
	p.SetMargins(0, 0, 0)
	p.AddUTF8FontFromBytes("go", "", goregular.TTF)
	p.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	s := &sheet{pdf: p}
	s.w, s.h = p.GetPageSize()
	return s
}

func (s *sheet) newPage() {
	if s.pdf.PageNo() > 0 && s.onFooter != nil {
		s.onFooter()
	}
	s.pdf.AddPage()
	s.y = topMM
	if s.onNewPage != nil {
		s.onNewPage()
	}
}

func (s *sheet) finish() ([]byte, error) {
	if s.onFooter != nil {
		s.onFooter()
	}
	var out bytes.Buffer
	if err := s.pdf.Output(&out); err != nil {
		return nil, fmt.Errorf("write PDF: %w", err)
	}
	return out.Bytes(), nil
}

func (s *sheet) lostSigns() bool  { return s.replaced }
func (s *sheet) widthMM() float64 { return s.width() }

func (s *sheet) left() float64   { return marginMM }
func (s *sheet) right() float64  { return s.w - marginMM }
func (s *sheet) width() float64  { return s.w - 2*marginMM }
func (s *sheet) bottom() float64 { return s.h - footMM }

// need starts a new page unless height is left on this one, and prints the
// heading that waits for its first line.
func (s *sheet) need(height float64) {
	if s.waiting == "" {
		if s.y+height > s.bottom() {
			s.newPage()
		}
		return
	}
	if s.y+headingMM+6+height > s.bottom() {
		s.newPage()
	} else {
		s.y += 6
	}
	text := s.waiting
	s.waiting = ""
	if !s.inPart { // within a part only the part is listed: nested lists are not strictly valid PDF as this library writes them
		s.pdf.Bookmark(s.clean(text), 0, s.y)
	}
	s.print(s.left(), s.y+4.6, text, 4, true, Ink, Start)
	s.rule(s.y+6.4, 0.35, Ink)
	s.y += headingMM
}

// clean gives text that the typeface can print, and notes when signs were lost.
func (s *sheet) clean(text string) string {
	printed, lost := inOurType(text)
	s.replaced = s.replaced || lost
	return printed
}

// print puts one line with its baseline at y and gives its width.
func (s *sheet) print(x, y float64, text string, size float64, bold bool, tone Tone, anchor Anchor) float64 {
	text = s.clean(text)
	style := ""
	if bold {
		style = "B"
	}
	s.pdf.SetFont("go", style, size/25.4*72)
	s.pdf.SetTextColor(int(tone), int(tone), int(tone))
	width := textWidthMM(text, size, bold)
	s.pdf.Text(x-width*[...]float64{0, 0.5, 1}[anchor], y, text)
	return width
}

// rule draws a level line across the body at y.
func (s *sheet) rule(y, width float64, tone Tone) {
	s.pen(Pen{WidthMM: width, Tone: tone})
	s.pdf.Line(s.left(), y, s.right(), y)
}

func (s *sheet) pen(p Pen) {
	s.pdf.SetLineWidth(p.WidthMM)
	s.pdf.SetDrawColor(int(p.Tone), int(p.Tone), int(p.Tone))
	s.pdf.SetDashPattern(p.Dash, 0)
}

// paragraph wraps text over the body's width.
func (s *sheet) paragraph(text string, style style) {
	size, bold, tone := bodyMM, style == strongText, Ink
	switch style {
	case smallText:
		size, tone = smallMM, Soft
	case posterText:
		size, bold = posterMM, true
	}
	lines := wrap(s.clean(text), s.width(), size, bold)
	s.need(size * leading * float64(min(len(lines), 3)))
	for _, line := range lines {
		s.need(size * leading)
		s.y += size * leading
		s.print(s.left(), s.y-size*0.3, line, size, bold, tone, Start)
	}
	s.y += 0.8
	switch style {
	case posterText:
		s.y += 4
	case letterText:
		s.y += 2.4
	}
}

// poster tries smaller type until the text fits; the smallest is that of running text.
func (s *sheet) poster(text, rest string, heightMM float64) {
	var lines []string
	size := posterMM
	for {
		lines = wrap(s.clean(text), s.width(), size, true)
		if size*leading*float64(len(lines)) <= heightMM || size <= bodyMM {
			break
		}
		size = max(bodyMM, size*0.9)
	}
	if most := max(1, int(heightMM/(size*leading))); len(lines) > most {
		ending := wrap(s.clean(rest), s.width(), size, true)
		lines = append(clipLines(lines, max(1, most-len(ending))), ending...)
	}
	for _, line := range lines {
		s.need(size * leading)
		s.y += size * leading
		s.print(s.left(), s.y-size*0.3, line, size, true, Ink, Start)
	}
	s.y += 4
}

// heading starts a section. It is printed with the first line that follows, so
// that it never stands alone at the foot of a page.
func (s *sheet) heading(text string) { s.waiting = text }

// facts is a list of names and values in two columns of pairs, filled row by
// row; a long value takes a whole row.
func (s *sheet) facts(pairs [][2]string) {
	const gutter, nameMM = 6.0, 33.0
	half := (s.width() - gutter) / 2
	put := func(x, width, y float64, pair [2]string) float64 {
		names := wrap(s.clean(pair[0]), nameMM-2, smallMM, false)
		values := wrap(s.clean(pair[1]), width-nameMM, bodyMM, false)
		for i, line := range names {
			s.print(x, y+bodyMM*leading*float64(i+1)-bodyMM*0.35, line, smallMM, false, Soft, Start)
		}
		for i, line := range values {
			s.print(x+nameMM, y+bodyMM*leading*float64(i+1)-bodyMM*0.35, line, bodyMM, false, Ink, Start)
		}
		return float64(max(len(names), len(values)))*bodyMM*leading + 0.9
	}
	lines := func(width float64, pair [2]string) int {
		return max(len(wrap(s.clean(pair[0]), nameMM-2, smallMM, false)), len(wrap(s.clean(pair[1]), width-nameMM, bodyMM, false)))
	}
	for i := 0; i < len(pairs); {
		pairable := func(k int) bool { return k < len(pairs) && lines(half, pairs[k]) <= 2 }
		if pairable(i) && pairable(i+1) {
			s.need(2*bodyMM*leading + 0.9)
			a := put(s.left(), half, s.y, pairs[i])
			b := put(s.left()+half+gutter, half, s.y, pairs[i+1])
			s.y += max(a, b)
			i += 2
			continue
		}
		// A value longer than a page is cut into pieces that fit.
		values := wrap(s.clean(pairs[i][1]), s.width()-nameMM, bodyMM, false)
		name := pairs[i][0]
		for len(values) > 0 {
			s.need(2*bodyMM*leading + 0.9)
			n := max(1, min(len(values), int((s.bottom()-s.y-0.9)/(bodyMM*leading))))
			s.y += put(s.left(), s.width(), s.y, [2]string{name, strings.Join(values[:n], "\n")})
			values, name = values[n:], ""
		}
		i++
	}
}

const cellPadMM = 1.0

// table writes rows under repeated headings. A row stays on one page where it
// can; one that is longer than a page is continued.
func (s *sheet) table(columns []column, rows [][]cell) {
	total := 0.0
	for _, c := range columns {
		total += c.Part
	}
	xs := []float64{s.left()}
	for _, c := range columns {
		xs = append(xs, xs[len(xs)-1]+c.Part/total*s.width())
	}
	head := func() {
		h := 0.0
		for i, c := range columns {
			for k, line := range wrap(c.Title, xs[i+1]-xs[i]-2*cellPadMM, smallMM, false) {
				s.print(xs[i]+cellPadMM, s.y+smallMM*leading*float64(k+1), line, smallMM, false, Soft, Start)
				h = max(h, smallMM*leading*float64(k+1))
			}
		}
		s.y += h + 1.2
		s.rule(s.y, 0.2, Ink)
	}
	for r, row := range rows {
		var lines [][]cellLine
		most := 0
		for i, c := range row {
			l := s.cellLines(c, xs[i+1]-xs[i]-2*cellPadMM)
			lines = append(lines, l)
			most = max(most, len(l), 2*c.Write)
		}
		const lineMM = bodyMM * leading
		if r == 0 {
			s.need(8 + float64(min(most, 12))*lineMM + 2*cellPadMM)
			head()
		}
		page := s.bottom() - topMM - 12
		if h := float64(most)*lineMM + 2*cellPadMM; s.y+h > s.bottom() && (h <= page || s.y+3*lineMM > s.bottom()) {
			s.newPage()
			head()
		}
		for from := 0; ; {
			n := min(most-from, max(1, int((s.bottom()-s.y-2*cellPadMM)/lineMM)))
			for i, l := range lines {
				if row[i].Write > 0 {
					s.pen(Pen{WidthMM: 0.25, Tone: Ink})
					s.pdf.Rect(xs[i]+0.5, s.y+0.6, xs[i+1]-xs[i]-1, float64(n)*lineMM+2*cellPadMM-1.2, "D")
				}
				for k := from; k < min(from+n, len(l)); k++ {
					x, y := xs[i]+cellPadMM, s.y+cellPadMM+lineMM*float64(k-from+1)-bodyMM*0.36
					if k == 0 && row[i].Mark != noMark {
						s.mark(row[i].Mark, x, y)
					}
					if row[i].Mark != noMark {
						x += markMM
					}
					if l[k].tick {
						s.pen(Pen{WidthMM: 0.25, Tone: Ink})
						s.pdf.Rect(x, y-2.3, 2.6, 2.6, "D")
					}
					if l[k].ticked {
						x += markMM
					}
					s.print(x, y, l[k].text, l[k].size, l[k].bold, l[k].tone, Start)
				}
			}
			s.y += float64(n)*lineMM + 2*cellPadMM
			from += n
			if from >= most {
				break
			}
			s.newPage()
			head()
		}
		s.rule(s.y, 0.1, Faint)
	}
	s.y += 1
}

const markMM = 4.0

type cellLine struct {
	text   string
	size   float64
	bold   bool
	tone   Tone
	tick   bool // a square stands before it
	ticked bool // it is of an answer that a square stands before
}

func (s *sheet) cellLines(c cell, width float64) []cellLine {
	if c.Mark != noMark {
		width -= markMM
	}
	var out []cellLine
	if c.Text != "" {
		for _, l := range wrap(s.clean(c.Text), width, bodyMM, c.Bold) {
			out = append(out, cellLine{text: l, size: bodyMM, bold: c.Bold, tone: Ink})
		}
	}
	for _, answer := range c.Ticks {
		for i, l := range wrap(s.clean(answer), width-markMM, bodyMM, false) {
			out = append(out, cellLine{text: l, size: bodyMM, tone: Ink, tick: i == 0, ticked: true})
		}
	}
	if c.Note != "" {
		for _, l := range wrap(s.clean(c.Note), width, smallMM, false) {
			out = append(out, cellLine{text: l, size: smallMM, tone: Soft})
		}
	}
	return out
}

// mark draws m before a text with its baseline at y.
func (s *sheet) mark(m mark, x, y float64) {
	s.pen(Pen{WidthMM: 0.4, Tone: Ink})
	switch m {
	case tick:
		s.pdf.Line(x, y-1, x+0.8, y-0.1)
		s.pdf.Line(x+0.8, y-0.1, x+2.4, y-2.3)
	case cross:
		s.fill(Ink)
		s.pdf.Rect(x-0.3, y-2.7, 3.1, 3.1, "F")
		s.pen(Pen{WidthMM: 0.5, Tone: White})
		s.pdf.Line(x+0.4, y-2, x+2.1, y-0.3)
		s.pdf.Line(x+0.4, y-0.3, x+2.1, y-2)
	case dash:
		s.pdf.Line(x+0.3, y-1.1, x+2.2, y-1.1)
	}
}

func (s *sheet) fill(t Tone) { s.pdf.SetFillColor(int(t), int(t), int(t)) }

// draw places a scene with its upper left corner at (x, y) and gives its height
// on paper.
func (s *sheet) draw(sc *Scene, x, y float64) float64 {
	b := sc.Bounds()
	place := func(p Point) (float64, float64) { return x + sc.mm(p.X-b.Min.X), y + sc.mm(b.Max.Y-p.Y) }
	s.pdf.SetLineJoinStyle("round")
	for _, sh := range sc.plain() {
		switch sh := sh.(type) {
		case *Line:
			if len(sh.Paths) > 0 && sh.Pen.WidthMM > 0 {
				s.pen(sh.Pen)
				s.path(sh.Paths, false, place)
				s.pdf.DrawPath("S")
			}
		case *Area:
			if len(sh.Rings) == 0 {
				continue
			}
			if sh.Fill {
				s.fill(sh.Tone)
				s.path(sh.Rings, true, place)
				s.pdf.DrawPath("f*")
			}
			if sh.Pen.WidthMM > 0 {
				s.pen(sh.Pen)
				s.path(sh.Rings, true, place)
				s.pdf.DrawPath("S")
			}
		case *Arc:
			s.pen(sh.Pen)
			cx, cy := place(sh.Centre)
			r := sc.mm(sh.RadiusM)
			s.pdf.Arc(cx, cy, r, r, 0, sh.FromDeg, sh.ToDeg, "D")
		case *Text:
			tx, ty := place(sh.At)
			s.print(tx, ty, sh.String, sh.HeightMM, sh.Bold, sh.Tone, sh.Anchor)
		}
	}
	return sc.mm(b.Height())
}

func (s *sheet) path(paths [][]Point, closed bool, place func(Point) (float64, float64)) {
	for _, path := range paths {
		for i, p := range path {
			x, y := place(p)
			if i == 0 {
				s.pdf.MoveTo(x, y)
			} else {
				s.pdf.LineTo(x, y)
			}
		}
		if closed && len(path) > 0 {
			s.pdf.ClosePath()
		}
	}
}
