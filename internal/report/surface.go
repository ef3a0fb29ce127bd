package report

// A surface is what a report is laid out on: sheets of paper (pdf.go) or a page of
// HTML (html.go). Each report is laid out once, in terms of these, so that no print
// says more than another.
type surface interface {
	// masthead says who reports on what.
	masthead(m masthead)
	// part begins something that stands by itself, on paper on a new page.
	part(title, line string)
	// endPart goes back from the last part to the report as a whole.
	endPart()
	// states say how something stands, gravest first; what is grave stands out.
	states(list []stateText)
	// strip is a row of figures: a name, the figure, and what it is made of.
	strip(cells [][3]string)
	heading(text string)
	paragraph(text string, style style)
	// poster is a paragraph to be read from some steps away. On paper it takes at most so much height: its type shrinks first, and what
	// does not fit even so is cut, and rest says where the rest is.
	poster(text, rest string, heightMM float64)
	// facts are names and values.
	facts(pairs [][2]string)
	table(columns []column, rows [][]cell)
	// drawing places a scene; scenes are made for a width and a greatest height in millimetres of paper.
	drawing(sc *Scene)
	widthMM() float64
	// lostSigns tells whether signs were printed that the typeface does not have.
	lostSigns() bool
}

// masthead is the top of a report.
type masthead struct {
	Company, CompanyLine string
	Title                string
	Name                 string // of what is reported on, in the largest type
	Lines                []string
	Code, CodeCaption    string // what the square code says; empty: there is none
}

// stateText is one answer to how something stands.
type stateText struct {
	Grave      bool
	Name, Says string
}

// style of a paragraph.
type style int

const (
	plainText style = iota
	strongText
	smallText
	posterText // to be read from some steps away
	letterText // of a letter, with room after it
)

// column of a table; Part is its share of the width.
type column struct {
	Title string
	Part  float64
}

// cell of a table: text and, smaller beneath it, a note.
type cell struct {
	Text, Note string
	Bold       bool
	Mark       mark
	Write      int      // a frame with so many lines for the pen; 0: none
	Ticks      []string // answers, each with a square to be ticked
}

// mark is a small sign before a cell's text, told by its shape.
type mark int

const (
	noMark mark = iota
	tick
	cross
	dash
)
