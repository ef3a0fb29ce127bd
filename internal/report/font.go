package report

import (
	"strings"
	"sync"
	"unicode"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/text/unicode/norm"
)

// The reports are set in the Go fonts (golang.org/x/image, BSD licence): they
// come with the program, so a page looks the same wherever it is made.

// A typeface is how wide each of its signs is, in ems, and how they are drawn.
type typeface struct {
	width    map[rune]float64
	outlines *sfnt.Font // may be read by several at once, each with a buffer of its own
}

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
	face := typeface{map[rune]float64{}, f}
	var buf sfnt.Buffer
	for r := rune(' '); r <= 0xFFFF; r++ {
		g, err := f.GlyphIndex(&buf, r)
		if err != nil || g == 0 {
			continue
		}
		if a, err := f.GlyphAdvance(&buf, g, em, font.HintingNone); err == nil {
			face.width[r] = float64(a) / float64(em)
		}
	}
	return face
}

// hasRune says whether both weights can print r.
func hasRune(r rune) bool {
	_, regular := faces().regular.width[r]
	_, bold := faces().bold.width[r]
	return regular && bold
}

const replaceFor = '¤' // stands for a sign that the typeface lacks

// inOurType gives text that the typeface can print: composed (NFC), without control
// signs, every sign that it lacks replaced by one that it has.
func inOurType(text string) (printed string, lost bool) {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n':
			return r
		case unicode.IsControl(r) || unicode.IsSpace(r):
			return ' '
		case unicode.Is(unicode.Cf, r):
			return -1
		case !hasRune(r):
			lost = true
			return replaceFor
		}
		return r
	}, norm.NFC.String(strings.ToValidUTF8(text, string(replaceFor)))), lost
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
		w, ok := face.width[r]
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
