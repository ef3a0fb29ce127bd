package report

import (
	"bytes"
	"fmt"
	"time"
)

// View is from where a side is drawn.
type View string

// The views.
const (
	Top       View = "top"
	Elevation View = "elevation"
)

// Form is what kind of file a drawing is.
type Form string

// The forms of a drawing.
const (
	SVG Form = "svg"
	PDF Form = "pdf"
	PNG Form = "png"
)

// DrawingOrder says how a side is to be drawn for a sheet of paper.
type DrawingOrder struct {
	View View
	Form Form
	// Denominator is n of the scale 1:n; 0: the largest of the usual ones at which
	// the drawing fits a sheet of the paper, upright or lying.
	Denominator float64
	Paper       Paper
	// Name is of the door, Line where it stands; they head a sheet (PDF).
	Name, Line string
	Language   string
	Made       time.Time
}

// NoRoom says that a drawing at a scale fits no sheet; at 1:Fits it does (0: at none).
type NoRoom struct{ Denominator, Fits float64 }

// Error implements error.
func (e NoRoom) Error() string {
	return fmt.Sprintf("no sheet has room for 1:%g, the largest scale is 1:%g", e.Denominator, e.Fits)
}

// NothingToSee says that a side has no sensor, so that there is no elevation of it.
type NothingToSee struct{}

// Error implements error.
func (NothingToSee) Error() string { return "no sensor that an elevation would show" }

// sheetScales are those of a drawing on a sheet of its own: ISO 5455, or so many feet to the inch.
func (u Units) sheetScales() []float64 {
	if u == US {
		return []float64{24, 48, 96, 192, 480, 960, 2400, 4800, 9600, 19200}
	}
	return []float64{20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000}
}

// sheetSizes are the paper upright and lying, and the paper of twice its size lying.
func (p Paper) sheetSizes() []sheetSize {
	if p == Letter {
		return []sheetSize{{"Letter", false, 215.9, 279.4}, {"Letter", true, 279.4, 215.9}, {"Tabloid", true, 431.8, 279.4}}
	}
	return []sheetSize{{"A4", false, 210, 297}, {"A4", true, 297, 210}, {"A3", true, 420, 297}}
}

// room is what a sheet leaves for its drawing.
func (s sheetSize) room() (width, height float64) {
	return s.widthMM - 2*marginMM, s.heightMM - footMM - marginMM - sheetHeadMM - sheetFootMM
}

const (
	sheetHeadMM = 18.0 // what names the drawing at the top of its sheet
	sheetFootMM = 13.0 // the length to check the print with
)

// Draw draws one side of a door to scale, seen as ordered. An SVG or PNG holds the
// drawing alone; a PDF is a sheet with its heading and a length to check the print
// with, and on the next page the same in words. What fits no sheet is NoRoom, an
// elevation of nothing NothingToSee.
func Draw(t Texts, in PlanDrawing, o DrawingOrder) ([]byte, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	if o.View == Elevation && len(in.Sensors) == 0 {
		return nil, NothingToSee{}
	}
	sizes, scales := o.Paper.sheetSizes(), in.Units.sheetScales()
	sc, size := in.onSheet(t, o, sizes[:2], scales)
	if sc == nil {
		sc, size = in.onSheet(t, o, sizes, scales)
	}
	if o.Denominator != 0 {
		largest, _ := in.onSheet(t, o, sizes, scales)
		if sc, size = in.onSheet(t, o, sizes, []float64{o.Denominator}); sc == nil && largest != nil {
			return nil, NoRoom{o.Denominator, largest.Denominator}
		}
	}
	if sc == nil {
		return nil, NoRoom{Denominator: o.Denominator}
	}
	var out bytes.Buffer
	switch o.Form {
	case SVG:
		err := WriteSVG(&out, sc)
		return out.Bytes(), err
	case PNG:
		err := WritePNG(&out, sc)
		return out.Bytes(), err
	}
	s := newSheetOf(size, orElse(o.Language, "en"), o.Made)
	s.drawingPages(t, sc, o)
	return s.finish()
}

// onSheet draws at the first scale at which there is room on one of the sheets.
func (in PlanDrawing) onSheet(t Texts, o DrawingOrder, sizes []sheetSize, scales []float64) (*Scene, sheetSize) {
	for _, n := range scales {
		for _, size := range sizes {
			width, height := size.room()
			if body := in.bodyOf(o.View); body.Width()*1000/n > width || body.Height()*1000/n > height {
				continue
			}
			sc := planAt(t, in, in.extent(), n, 0, height) // the legend close beside it
			if o.View == Elevation {
				sc = elevationAt(t, in, n, 0)
			}
			if b := sc.Bounds(); sc.mm(b.Width()) <= width && sc.mm(b.Height()) <= height {
				return sc, size
			}
		}
	}
	return nil, sheetSize{}
}

func (in PlanDrawing) bodyOf(v View) Box {
	if v == Elevation {
		return in.elevationExtent()
	}
	return in.extent()
}

// drawingPages puts a drawing on a sheet, and what it says in words on the next.
func (s *sheet) drawingPages(t Texts, sc *Scene, o DrawingOrder) {
	s.pdf.SetTitle(s.clean(sc.Title), true)
	s.pdf.SetSubject(s.clean(sc.Desc), true)
	s.pdf.AddPage()
	s.print(s.left(), marginMM+4, clip(s.clean(o.Name), s.width(), 5), 5, true, Ink, Start)
	s.print(s.left(), marginMM+9.5, clip(s.clean(join(" · ", o.Line, sc.Title)), s.width(), bodyMM), bodyMM, false, Soft, Start)
	s.rule(marginMM+12, 0.35, Ink)
	s.draw(sc, s.left(), marginMM+sheetHeadMM)
	s.checkLength(t, sc)

	s.pdf.AddPage()
	s.y = topMM
	s.heading(t.T("report.sheet.words", "title", sc.Title))
	s.paragraph(sc.Desc, plainText)
}

// checkLength is a line at the foot that a ruler tells of a print to scale by.
func (s *sheet) checkLength(t Texts, sc *Scene) {
	const mm = 100.0
	y := s.bottom() - 1
	s.pen(Pen{WidthMM: 0.25, Tone: Ink})
	s.pdf.Line(s.left(), y, s.left()+mm, y)
	for i := 0.0; i <= mm; i += 10 {
		tall := 1.5
		if i == 0 || i == mm {
			tall = 3
		}
		s.pdf.Line(s.left()+i, y-tall, s.left()+i, y)
	}
	s.print(s.left(), y+4, t.T("report.sheet.check", "mm", decimal(mm, 0, true), "in", decimal(mm/25.4, 2, true), "n", decimal(sc.Denominator, 1, true)), smallMM, false, Ink, Start)
}
