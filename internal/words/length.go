package words

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"
)

// LengthError says why a text is not a length. Code is stable and the last part of the message key "length.<code>".
type LengthError struct {
	Text string
	Code string
}

// Error is for logs; people get Printer.Explain.
func (e *LengthError) Error() string {
	return fmt.Sprintf("length %.40q: %s", e.Text, strings.ReplaceAll(e.Code, "_", " "))
}

// Explain says to a person why a text is not a length.
func (p Printer) Explain(e *LengthError) string { return p.T("length." + e.Code) }

const (
	longestLengthText = 64   // bytes
	greatestLength    = 1000 // metres; no door is near
)

// ParseLength reads a length of zero or more and gives metres. It reads feet and inches (7'-0", 7' 0 1/2", 7 ft 0 in,
// 7ft, 84 in, 84.5", ½ in; also with the typographic marks) and metric lengths (2.13 m, 2,13 m, 213 cm, 2130 mm), and
// refuses everything else: no unit, two systems at once, twelve inches and more after feet, a comma that may
// separate thousands. The error is a *LengthError.
func ParseLength(text string) (m float64, err error) {
	m, signed, code := parseLength(text)
	if code == "" && signed {
		code = "negative"
	}
	if code != "" {
		return 0, &LengthError{text, code}
	}
	return m, nil
}

// ParseOffset reads a length like ParseLength, and a sign before it.
func ParseOffset(text string) (m float64, err error) {
	m, _, code := parseLength(text)
	if code != "" {
		return 0, &LengthError{text, code}
	}
	return m, nil
}

// parseLength gives metres and whether a sign stood before them, or the code of what is wrong.
func parseLength(text string) (m float64, signed bool, code string) {
	if len(text) > longestLengthText {
		return 0, false, "too_long"
	}
	plain := plainMarks(text)
	if plain == "" {
		return 0, false, "empty"
	}
	sign := plain[0]
	if signed = sign == '-' || sign == '+'; signed {
		plain = strings.TrimLeft(plain[1:], " ")
	}
	m, code = readLength(plain)
	switch {
	case code != "":
		return 0, false, code
	case m > greatestLength:
		return 0, false, "out_of_range"
	case sign == '-' && m != 0:
		m = -m
	}
	return m, signed, ""
}

// plainMarks replaces what typesetting and telephones make of plain marks. A fraction sign becomes " 1/2", so that 7½
// is read like 7 1/2.
func plainMarks(text string) string {
	return strings.ToLower(strings.TrimSpace(strings.NewReplacer(
		"''", `"`, "′′", `"`, "’’", `"`, "″", `"`, "”", `"`, "ʺ", `"`, "′", "'", "’", "'", "ʹ", "'",
		"−", "-", "⁄", "/", "\u00a0", " ", "\u2009", " ", "\u202f", " ",
		"½", " 1/2", "¼", " 1/4", "¾", " 3/4", "⅛", " 1/8", "⅜", " 3/8", "⅝", " 5/8", "⅞", " 7/8",
	).Replace(text)))
}

// readLength reads what stands after the sign.
func readLength(text string) (m float64, code string) {
	r := &lengthReader{rest: text}
	first, code := r.measure()
	if code != "" {
		return 0, code
	}
	if r.rest == "" {
		return first.metres()
	}
	if first.unit == "ft" { // 7'-0": the hyphen is no minus
		r.rest = strings.TrimPrefix(r.rest, "-")
		r.spaces()
	}
	second, code := r.measure()
	switch {
	case code != "":
		return 0, code
	case r.rest != "" || first.unit != "ft" || second.unit != "in":
		return 0, "mixed_units"
	case first.broken:
		return 0, "feet_not_whole"
	case second.value >= inchesPerFoot:
		return 0, "inches_not_under_12"
	}
	return (first.value*inchesPerFoot + second.value) * metresPerInch, ""
}

// measure is one number with its unit.
type measure struct {
	value    float64
	broken   bool // has decimals or a fraction
	fraction bool
	unit     string // ft, in, m, cm or mm
}

func (s measure) metres() (m float64, code string) {
	switch s.unit {
	case "ft":
		return s.value * inchesPerFoot * metresPerInch, ""
	case "in":
		return s.value * metresPerInch, ""
	}
	if s.fraction {
		return 0, "fraction_of_metric"
	}
	switch s.unit {
	case "cm":
		return s.value / 100, ""
	case "mm":
		return s.value / 1000, ""
	}
	return s.value, ""
}

type lengthReader struct{ rest string }

func (r *lengthReader) spaces() { r.rest = strings.TrimLeft(r.rest, " ") }

// measure reads a number and its unit, and the spaces after it.
func (r *lengthReader) measure() (s measure, code string) {
	whole := r.digits()
	if whole == "" {
		return s, "no_number"
	}
	thousands := false
	switch {
	case strings.HasPrefix(r.rest, "/"): // a fraction alone: 1/2 in
		r.rest = whole + r.rest
		s.fraction, s.broken = true, true
		code = r.fraction(&s.value)
	case strings.HasPrefix(r.rest, ".") || strings.HasPrefix(r.rest, ","):
		sign := r.rest[:1]
		r.rest = r.rest[1:]
		decimals := r.digits()
		if decimals == "" || strings.HasPrefix(r.rest, ".") || strings.HasPrefix(r.rest, ",") {
			return s, "number"
		}
		s.broken = true
		s.value, _ = strconv.ParseFloat(whole+"."+decimals, 64)
		thousands = len(decimals) == 3 && strings.Trim(whole, "0") != "" && (sign == "," || r.unitIs("mm"))
	default:
		s.value, _ = strconv.ParseFloat(whole, 64)
		if r.fractionFollows() {
			s.fraction, s.broken = true, true
			code = r.fraction(&s.value)
		}
	}
	if code != "" {
		return s, code
	}
	if thousands {
		return s, "ambiguous_thousands"
	}
	s.unit, code = r.unit()
	return s, code
}

func (r *lengthReader) digits() string {
	end := 0
	for end < len(r.rest) && r.rest[end] >= '0' && r.rest[end] <= '9' {
		end++
	}
	digits := r.rest[:end]
	r.rest = r.rest[end:]
	return digits
}

// fractionFollows steps over the space or hyphen before a fraction (7 1/2, 7-1/2) when there is one.
func (r *lengthReader) fractionFollows() bool {
	ahead := lengthReader{rest: strings.TrimLeft(r.rest, " ")}
	if ahead.rest == r.rest { // no space
		if !strings.HasPrefix(r.rest, "-") {
			return false
		}
		ahead.rest = r.rest[1:]
	}
	from := ahead.rest
	if ahead.digits() == "" || !strings.HasPrefix(ahead.rest, "/") {
		return false
	}
	r.rest = from
	return true
}

// fraction adds a fraction of a tape measure, halves to sixty-fourths.
func (r *lengthReader) fraction(value *float64) (code string) {
	numerator, _ := strconv.Atoi(r.digits())
	r.rest = strings.TrimPrefix(r.rest, "/")
	denominator, _ := strconv.Atoi(r.digits())
	switch denominator {
	case 2, 4, 8, 16, 32, 64:
	default:
		return "fraction"
	}
	if numerator < 1 || numerator >= denominator {
		return "fraction"
	}
	*value += float64(numerator) / float64(denominator)
	return ""
}

// unitIs looks ahead.
func (r *lengthReader) unitIs(unit string) bool {
	ahead := lengthReader{rest: r.rest}
	found, _ := ahead.unit()
	return found == unit
}

func (r *lengthReader) unit() (unit, code string) {
	r.spaces()
	if r.rest == "" {
		return "", "no_unit"
	}
	end := 0
	for end < len(r.rest) && (r.rest[end] >= 'a' && r.rest[end] <= 'z' || r.rest[end] >= utf8.RuneSelf) {
		end++
	}
	if end == 0 {
		end = 1
	}
	word := r.rest[:end]
	r.rest = r.rest[end:]
	switch word {
	case "'", "ft", "feet", "foot":
		unit = "ft"
	case `"`, "in", "inch", "inches":
		unit = "in"
	case "m", "metre", "metres", "meter", "meters":
		unit = "m"
	case "cm", "mm":
		unit = word
	default:
		if strings.ContainsAny(word, "0123456789-+") {
			return "", "no_unit"
		}
		return "", "unknown_unit"
	}
	if word == "ft" || word == "in" {
		r.rest = strings.TrimPrefix(r.rest, ".")
	}
	r.spaces()
	return unit, ""
}
