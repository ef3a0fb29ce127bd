package report

import (
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// The reports are set in the Go fonts (golang.org/x/image, BSD licence): they
// come with the program, so a page looks the same wherever it is made.

// A typeface is how wide each of its signs is, in ems.
type typeface map[rune]float64

// faces measures both weights once; nobody writes to them afterwards.
var faces = sync.OnceValue(func() (f struct{ regular, bold typeface }) {
	f.regular, f.bold = measure(goregular.TTF), measure(gobold.TTF)
	return f
})

func measure(ttf []byte) typeface {
	f, err := sfnt.Parse(ttf)
	if err != nil {
		panic("embedded font: " + err.Error()) // a fault of the build, not of the input
	}
	em := fixed.Int26_6(f.UnitsPerEm())
	face := typeface{}
	var buf sfnt.Buffer
	for r := rune(' '); r <= 0xFFFF; r++ {
		g, err := f.GlyphIndex(&buf, r)
		if err != nil || g == 0 {
			continue
		}
		if a, err := f.GlyphAdvance(&buf, g, em, font.HintingNone); err == nil {
			face[r] = float64(a) / float64(em)
		}
	}
	return face
}

// hasRune says whether both weights can print r.
func hasRune(r rune) bool {
	_, regular := faces().regular[r]
	_, bold := faces().bold[r]
	return regular && bold
}

// textWidthMM is how wide s is at a height (size of type) in millimetres. A sign
// that the typeface lacks counts as a square.
func textWidthMM(s string, heightMM float64, bold bool) float64 {
	face := faces().regular
	if bold {
		face = faces().bold
	}
	ems := 0.0
	for _, r := range s {
		w, ok := face[r]
		if !ok {
			w = 1
		}
		ems += w
	}
	return ems * heightMM
}

// wrap breaks s into lines no wider than widthMM, at spaces where it can and
// inside a word where it must; line feeds in s are kept.
func wrap(s string, widthMM, heightMM float64, bold bool) []string {
	var lines []string
	line, width := []rune(nil), 0.0
	lastSpace := -1
	flush := func(n, next int) {
		lines = append(lines, string(line[:n]))
		line = append([]rune(nil), line[next:]...)
		width, lastSpace = textWidthMM(string(line), heightMM, bold), -1
	}
	for _, r := range s {
		if r == '\n' {
			flush(len(line), len(line))
			continue
		}
		w := textWidthMM(string(r), heightMM, bold)
		for r != ' ' && width+w > widthMM && len(line) > 0 {
			if lastSpace > 0 {
				flush(lastSpace, lastSpace+1)
			} else {
				flush(len(line), len(line))
			}
		}
		if r == ' ' {
			lastSpace = len(line)
		}
		line = append(line, r)
		width += w
	}
	return append(lines, string(line))
}
