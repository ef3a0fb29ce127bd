package seal

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/gowebpki/jcs"
)

const (
	deepest      = 64      // objects and arrays within each other
	largestExact = 1 << 53 // a double holds every whole number up to here
)

// Fault says what keeps a text from being sealed. Pointer (RFC 6901) names the value at fault; it is empty for the
// whole document and where the text cannot be read at all. It tells no value: what is refused may be a secret.
type Fault struct {
	Pointer string
	Reason  string
}

func (f *Fault) Error() string {
	if f.Pointer == "" {
		return "document " + f.Reason
	}
	return fmt.Sprintf("value at %q %s", shortened(f.Pointer), f.Reason)
}

// Canonical gives the canonical form (RFC 8785) of one JSON document of at most mostBytes bytes. It refuses, with a
// *Fault: text that is not JSON or not UTF-8, text after the document, a member that is there twice, a lone surrogate,
// a NUL character, nesting over 64, a number over 2^53 and any other that a double does not hold as written
// (so 0.1 and 4.50 pass, 9007199254740993, 333333333.33333329, 1e400 and 1e-400 do not).
func Canonical(text []byte, mostBytes int) ([]byte, error) {
	if len(text) > mostBytes {
		return nil, &Fault{"", fmt.Sprintf("has %d bytes, more than %d", len(text), mostBytes)}
	}
	if !utf8.Valid(text) {
		return nil, &Fault{"", "is not valid UTF-8"}
	}
	if err := inspect(text); err != nil {
		return nil, err
	}
	canonical, err := jcs.Transform(text)
	if err != nil {
		return nil, &Fault{"", "is not JSON: " + err.Error()}
	}
	return canonical, nil
}

// Marshal writes v as canonical JSON and hashes it. It refuses what Canonical refuses, at any size, and Go text that
// is not valid UTF-8.
func Marshal(v any) ([]byte, Hash, error) {
	text, err := json.Marshal(v)
	if err != nil {
		return nil, Hash{}, fmt.Errorf("seal: %w", err)
	}
	if holdsReplacedBytes(text) {
		return nil, Hash{}, &Fault{"", "holds text that is not valid UTF-8"}
	}
	canonical, err := Canonical(text, math.MaxInt)
	if err != nil {
		return nil, Hash{}, err
	}
	return canonical, HashOf(canonical), nil
}

// inspect reads the tokens for what RFC 8785 leaves to the application, keeping the pointer of the value at hand. Its
// grammar need not be strict: the transformation reads the text again, and is.
func inspect(text []byte) error {
	tokens := json.NewDecoder(bytes.NewReader(text))
	tokens.UseNumber()
	var open []*container
	for {
		start := tokens.InputOffset()
		token, err := tokens.Token()
		if errors.Is(err, io.EOF) && len(open) == 0 && tokens.InputOffset() > 0 {
			return nil
		}
		if err != nil {
			return &Fault{"", fmt.Sprintf("is not JSON: %v (byte %d)", err, tokens.InputOffset())}
		}
		if closing, ok := token.(json.Delim); ok && (closing == '}' || closing == ']') {
			open = open[:len(open)-1]
			continue
		}
		if len(open) > 0 && !open[len(open)-1].advance(token) {
			return &Fault{pointerOf(open), "is there twice"}
		}
		if reason := refuse(token, text[start:tokens.InputOffset()]); reason != "" {
			return &Fault{pointerOf(open), reason}
		}
		if opening, ok := token.(json.Delim); ok {
			if len(open) == deepest {
				return &Fault{pointerOf(open), fmt.Sprintf("is nested deeper than %d", deepest)}
			}
			open = append(open, newContainer(opening))
		}
	}
}

// container is an object or an array that is being read, and where in it the reader stands.
type container struct {
	names    map[string]bool // of an object; nil for an array
	name     string
	wantName bool
	index    int
}

func newContainer(opening json.Delim) *container {
	if opening == '{' {
		return &container{names: map[string]bool{}, wantName: true}
	}
	return &container{index: -1}
}

// advance moves to the token, a member's name or a value, and tells whether that is allowed: a name only once.
func (c *container) advance(token json.Token) bool {
	if c.names == nil {
		c.index++
		return true
	}
	if name, ok := token.(string); ok && c.wantName {
		c.name, c.wantName = name, false
		repeated := c.names[name]
		c.names[name] = true
		return !repeated
	}
	c.wantName = true
	return true
}

func (c *container) step() string {
	if c.names == nil {
		return strconv.Itoa(c.index)
	}
	return c.name
}

func pointerOf(open []*container) string {
	var pointer strings.Builder
	for _, c := range open {
		pointer.WriteString("/" + escaped(c.step()))
	}
	return pointer.String()
}

// escaped is one step of a JSON Pointer, RFC 6901 section 3.
func escaped(step string) string {
	return strings.NewReplacer("~", "~0", "/", "~1").Replace(step)
}

// refuse judges a token by its value and, where the value does not tell, by its own text (with separators before it).
func refuse(token json.Token, text []byte) (reason string) {
	switch value := token.(type) {
	case string:
		return refuseText(value, text)
	case json.Number:
		return refuseNumber(value.String())
	}
	return ""
}

func refuseText(value string, text []byte) (reason string) {
	if strings.ContainsRune(value, 0) {
		return "holds a NUL character"
	}
	if strings.ContainsRune(value, utf8.RuneError) { // really there, or put there for half a surrogate pair
		if _, err := jcs.Transform(text[bytes.IndexByte(text, '"'):]); err != nil {
			return "holds a lone surrogate"
		}
	}
	return ""
}

func refuseNumber(text string) (reason string) {
	value, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return "is out of a double's range"
	}
	asWritten := decimalOf(text) == decimalOf(strconv.FormatFloat(value, 'e', -1, 64))
	switch size := math.Abs(value); {
	case size > largestExact, size == largestExact && !asWritten:
		return "is over 2^53, where doubles skip numbers; write it as a string"
	case !asWritten:
		return "has more digits than a double holds"
	}
	return ""
}

// decimal is the value of a number's text: 0.digits × 10^exponent, without zeros at either end of the digits.
type decimal struct {
	negative bool
	digits   string
	exponent int
}

func decimalOf(text string) decimal {
	var d decimal
	text, d.negative = strings.CutPrefix(text, "-")
	mantissa, exponent, _ := strings.Cut(strings.ToLower(text), "e")
	whole, fraction, _ := strings.Cut(mantissa, ".")
	significant := strings.TrimLeft(whole+fraction, "0")
	d.digits = strings.TrimRight(significant, "0")
	if d.digits == "" {
		return decimal{} // zero has no sign and no exponent
	}
	written, _ := strconv.Atoi(exponent) // out of range: the largest int, which no double's own text has
	d.exponent = written + len(whole) - (len(whole+fraction) - len(significant))
	return d
}

// holdsReplacedBytes tells whether encoding/json met text that is not UTF-8: it writes the escape \ufffd in its place,
// while a replacement character that was really there stands unescaped.
func holdsReplacedBytes(text []byte) bool {
	for i := 0; i < len(text); i++ {
		if text[i] != '\\' {
			continue
		}
		if bytes.HasPrefix(text[i:], []byte(`\ufffd`)) {
			return true
		}
		i++ // the character that is escaped
	}
	return false
}

// shortened keeps foreign text in a message small.
func shortened(text string) string {
	const most = 80
	if len(text) > most {
		return strings.ToValidUTF8(text[:most], "") + "…"
	}
	return text
}
