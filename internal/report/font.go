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

// faces parses both fonts once; they are never written to afterwards.
var faces = sync.OnceValue(func() [2]*sfnt.Font {
	var f [2]*sfnt.Font
	for i, ttf := range [][]byte{goregular.TTF, gobold.TTF} {
		parsed, err := sfnt.Parse(ttf)
		if err != nil {
			panic("embedded font: " + err.Error()) // a fault of the build, not of the input
		}
		f[i] = parsed
	}
	return f
})

func face(bold bool) *sfnt.Font {
	if bold {
		return faces()[1]
	}
	return faces()[0]
}

// hasRune says whether both weights can print r.
func hasRune(r rune) bool {
	for _, f := range faces() {
		if g, err := f.GlyphIndex(nil, r); err != nil || g == 0 {
			return false
		}
	}
	return true
}

// textWidthMM is how wide s is at a height (size of type) in millimetres.
func textWidthMM(s string, heightMM float64, bold bool) float64 {
	f := face(bold)
	em := fixed.Int26_6(f.UnitsPerEm())
	var buf sfnt.Buffer
	var units fixed.Int26_6
	for _, r := range s {
		g, err := f.GlyphIndex(&buf, r)
		if err != nil {
			continue
		}
		if a, err := f.GlyphAdvance(&buf, g, em, font.HintingNone); err == nil {
			units += a
		}
	}
	return float64(units) / float64(em) * heightMM
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
