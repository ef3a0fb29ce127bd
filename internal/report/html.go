package report

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"unicode"

	"rsc.io/qr"
)

// htmlOf prints a report as one page of HTML that stands alone: no script, nothing loaded, drawings inside. It reads
// without its style, prints on paper, and says the same as the PDF, because it is laid out by the same code.
func htmlOf(l layout) ([]byte, error) {
	if err := printable(l); err != nil {
		return nil, err
	}
	h, o := l.Head(), l.options()
	title, _, running := l.subject()
	p := &page{}
	l.lay(p)
	p.close()
	size := "A4"
	if o.Paper == Letter {
		size = "letter"
	}
	var out bytes.Buffer
	fmt.Fprintf(&out, "<!doctype html>\n<html lang=\"%s\">\n<head>\n<meta charset=\"utf-8\"/>\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n<title>%s</title>\n<style>\n%s</style>\n</head>\n<body>\n",
		escape(orElse(h.Language, "en")), escape(title), strings.NewReplacer("SIZE", size, "RUNNING", quoted(running)).Replace(htmlStyle))
	out.Write(p.out.Bytes())
	fmt.Fprintf(&out, "</main>\n<footer>%s</footer>\n</body>\n</html>\n", escape(foot(h, o)))
	return out.Bytes(), nil
}

// quoted is a string of CSS that stands inside a style: what is no letter, digit or space is written as its number.
func quoted(text string) string {
	var out strings.Builder
	for _, r := range text {
		if r == ' ' || unicode.IsLetter(r) || unicode.IsDigit(r) {
			out.WriteRune(r)
			continue
		}
		fmt.Fprintf(&out, "\\%06x", r)
	}
	return `"` + out.String() + `"`
}

// Ink on paper as in the PDF; what is grave is told by words and by ink, never by colour.
const htmlStyle = `@page { size: SIZE; margin: 18mm; @bottom-left { content: RUNNING; font: 8pt sans-serif } @bottom-right { content: counter(page) " / " counter(pages); font: 8pt sans-serif } }
:root { color: #1a1a1a; background: #fff; font: 100%/1.45 Go, "Segoe UI", Arial, Helvetica, sans-serif }
body { max-width: 60rem; margin: 0 auto; padding: 1.5rem }
header { display: grid; grid-template-columns: 1fr auto; gap: 1rem; align-items: start }
header .square { width: 6rem; height: 6rem }
h1 { font-size: 2rem; line-height: 1.15; margin: .2rem 0 }
h2, h3 { font-size: 1.15rem; border-bottom: 2px solid #1a1a1a; padding-bottom: .2rem; margin: 2rem 0 .6rem }
.part { border-top: 6px solid #1a1a1a; margin-top: 3rem; padding-top: .8rem }
.part h2 { font-size: 1.5rem; border: 0; margin: 0 }
p { margin: .3rem 0 }
.poster { font-size: 1.8rem; font-weight: bold; line-height: 1.2 }
.letter { margin: .9rem 0 }
.soft { color: #5f5f5f; font-size: .85rem }
.state { border: 2px solid #1a1a1a; padding: .6rem 1rem; margin: .5rem 0 }
.state strong { font-size: 1.1rem }
.grave { background: #1a1a1a; color: #fff }
.grave strong { font-size: 1.4rem }
.strip { display: grid; grid-template-columns: repeat(auto-fit, minmax(10rem, 1fr)); gap: 1rem; margin: 1rem 0 }
.strip dt, dl.facts dt, th { color: #5f5f5f; font-size: .85rem; font-weight: normal }
.strip dd { margin: 0 } .strip strong { font-size: 1.15rem; display: block }
dl.facts { display: grid; grid-template-columns: minmax(8rem, 13rem) 1fr; gap: .2rem 1rem; margin: .4rem 0 }
dl.facts dd { margin: 0; overflow-wrap: anywhere }
.wide { overflow-x: auto }
table { border-collapse: collapse; width: 100% }
th { text-align: left; border-bottom: 1px solid #1a1a1a; vertical-align: bottom }
th, td { padding: .3rem .8rem .3rem 0 }
td { vertical-align: top; border-bottom: 1px solid #aaa; overflow-wrap: anywhere }
.day { white-space: nowrap }
td small { color: #5f5f5f; display: block }
.mark { display: inline-block; width: 1.2em; text-align: center; margin-right: .3em }
.cross { background: #1a1a1a; color: #fff }
figure { margin: 1rem 0 } figure svg { max-width: 100%; height: auto }
footer { border-top: 1px solid #1a1a1a; margin-top: 2rem; padding-top: .4rem; color: #5f5f5f; font-size: .8rem; overflow-wrap: anywhere }
@media print { body { max-width: none; padding: 0; font-size: 9pt } .part { break-before: page; border: 0; margin: 0 } h2, h3 { break-after: avoid } tr, figure, .state { break-inside: avoid } thead { display: table-header-group } }
`

// day is a civil date, which is never broken at its hyphens.
var day = regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}$`)

// A page gathers HTML.
type page struct {
	out      bytes.Buffer
	sections int
	open     bool // a section
	parts    int
	inPart   bool
}

func (p *page) printf(format string, args ...any) { fmt.Fprintf(&p.out, format, args...) }

func (p *page) lostSigns() bool  { return false }
func (p *page) widthMM() float64 { return 174 }

// lines keeps line feeds.
func lines(text string) string { return strings.ReplaceAll(escape(text), "\n", "<br/>") }

func (p *page) masthead(m masthead) {
	p.printf("<header>\n<div>\n<p><strong>%s</strong></p>\n", escape(m.Company))
	if m.CompanyLine != "" {
		p.printf("<p class=\"soft\">%s</p>\n", escape(m.CompanyLine))
	}
	p.printf("<p>%s</p>\n<h1>%s</h1>\n", escape(m.Title), escape(m.Name))
	for _, l := range m.Lines {
		if l != "" {
			p.printf("<p>%s</p>\n", escape(l))
		}
	}
	p.printf("</div>\n")
	p.square(m.Code, m.CodeCaption)
	p.printf("</header>\n<main>\n")
}

// square draws the code of a text; its caption says what it is.
func (p *page) square(text, caption string) {
	c, err := qr.Encode(text, qr.M)
	if err != nil || text == "" {
		return
	}
	p.printf("<svg class=\"square\" xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d %d\" role=\"img\" shape-rendering=\"crispEdges\"><title>%s</title><path d=\"", c.Size, c.Size, escape(caption))
	for y := range c.Size {
		for from := 0; from < c.Size; from++ {
			to := from
			for to < c.Size && c.Black(to, y) {
				to++
			}
			if to > from {
				p.printf("M%d %dh%dv1h-%dz", from, y, to-from, to-from)
				from = to
			}
		}
	}
	p.printf("\"/></svg>\n")
}

// endSection closes what is open of a section.
func (p *page) endSection() {
	if p.open {
		p.printf("</section>\n")
		p.open = false
	}
}

// close ends everything that is open but main.
func (p *page) close() {
	p.endSection()
	if p.inPart {
		p.printf("</article>\n")
		p.inPart = false
	}
}

func (p *page) part(title, line string) {
	p.close()
	p.parts++
	p.inPart = true
	p.printf("<article class=\"part\" aria-labelledby=\"p%d\">\n<h2 id=\"p%d\">%s</h2>\n", p.parts, p.parts, escape(title))
	if line != "" {
		p.printf("<p class=\"soft\">%s</p>\n", escape(line))
	}
}

// endPart goes back from the last part to the report as a whole.
func (p *page) endPart() { p.close() }

func (p *page) heading(text string) {
	p.endSection()
	p.sections++
	p.open = true
	level := 2
	if p.inPart {
		level = 3
	}
	p.printf("<section aria-labelledby=\"s%d\">\n<h%d id=\"s%d\">%s</h%d>\n", p.sections, level, p.sections, escape(text), level)
}

func (p *page) states(list []stateText) {
	for _, s := range list {
		class := "state"
		if s.Grave {
			class = "state grave"
		}
		p.printf("<div class=\"%s\"><strong>%s</strong><p>%s</p></div>\n", class, escape(s.Name), escape(s.Says))
	}
}

func (p *page) strip(cells [][3]string) {
	p.printf("<dl class=\"strip\">\n")
	for _, c := range cells {
		p.printf("<div><dt>%s</dt><dd><strong>%s</strong>%s</dd></div>\n", escape(c[0]), escape(c[1]), escape(c[2]))
	}
	p.printf("</dl>\n")
}

func (p *page) paragraph(text string, style style) {
	switch style {
	case strongText:
		p.printf("<p><strong>%s</strong></p>\n", lines(text))
	case posterText:
		p.printf("<p class=\"poster\">%s</p>\n", lines(text))
	case letterText:
		p.printf("<p class=\"letter\">%s</p>\n", lines(text))
	case smallText:
		p.printf("<p class=\"soft\">%s</p>\n", lines(text))
	default:
		p.printf("<p>%s</p>\n", lines(text))
	}
}

// poster holds the whole text: a page scrolls.
func (p *page) poster(text, _ string, _ float64) { p.paragraph(text, posterText) }

func (p *page) facts(pairs [][2]string) {
	p.printf("<dl class=\"facts\">\n")
	for _, pair := range pairs {
		p.printf("<dt>%s</dt><dd>%s</dd>\n", escape(pair[0]), lines(pair[1]))
	}
	p.printf("</dl>\n")
}

func (p *page) table(columns []column, rows [][]cell) {
	// A table that is wider than the screen scrolls by itself, and can be reached by the keyboard.
	p.printf("<div class=\"wide\" tabindex=\"0\" role=\"region\" aria-labelledby=\"%s\">\n<table>\n<thead><tr>", p.label())
	for _, c := range columns {
		p.printf("<th scope=\"col\">%s</th>", escape(c.Title))
	}
	p.printf("</tr></thead>\n<tbody>\n")
	for _, row := range rows {
		p.printf("<tr>")
		for _, c := range row {
			switch {
			case c.Write > 0:
				p.printf("<td style=\"border:1px solid #1a1a1a;padding-left:.4rem;height:%dem\">", 2*c.Write+1)
			case day.MatchString(c.Text):
				p.printf("<td class=\"day\">")
			default:
				p.printf("<td>")
			}
			p.mark(c.Mark)
			if c.Bold {
				p.printf("<strong>%s</strong>", lines(c.Text))
			} else {
				p.printf("%s", lines(c.Text))
			}
			for _, answer := range c.Ticks {
				p.printf("<span style=\"display:inline-block;width:.8em;height:.8em;border:1px solid #1a1a1a;margin-right:.4em\"></span>%s<br/>", escape(answer))
			}
			if c.Note != "" {
				p.printf("<small>%s</small>", lines(c.Note))
			}
			p.printf("</td>")
		}
		p.printf("</tr>\n")
	}
	p.printf("</tbody>\n</table>\n</div>\n")
}

// label is the heading under which something stands.
func (p *page) label() string {
	if p.open {
		return fmt.Sprintf("s%d", p.sections)
	}
	return fmt.Sprintf("p%d", p.parts)
}

// mark stands before words that say the same.
func (p *page) mark(m mark) {
	switch m {
	case tick:
		p.printf("<span class=\"mark\" aria-hidden=\"true\">✓</span>")
	case cross:
		p.printf("<span class=\"mark cross\" aria-hidden=\"true\">✗</span>")
	case dash:
		p.printf("<span class=\"mark\" aria-hidden=\"true\">–</span>")
	}
}

func (p *page) drawing(sc *Scene) {
	p.printf("<figure>\n")
	if err := WriteSVG(&p.out, sc); err != nil {
		panic(err) // a buffer takes everything
	}
	p.printf("</figure>\n")
}
