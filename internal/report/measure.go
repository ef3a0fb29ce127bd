package report

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
	"strings"

	"lintel.example/lintel/internal/fleet"
)

// Texts gives the words that people read: the text of key with each {name}
// replaced by its value; args are pairs of name and value.
type Texts interface {
	T(key string, args ...any) string
}

// Units says in which units the reader sees what is held in SI.
type Units string

// The units. Anything else is taken as Metric.
const (
	Metric Units = "metric"
	US     Units = "us"
)

// length is a length as drawn: metres to the centimetre, or feet and inches to
// the quarter inch.
func (u Units) length(t Texts, m float64) string {
	if u != US {
		return t.T("report.unit.m", "value", decimal(m, 2, false))
	}
	quarters := int(math.Round(math.Abs(m) / 0.0254 * 4))
	sign := ""
	if m < 0 && quarters > 0 {
		sign = "−"
	}
	feet, rest := quarters/48, quarters%48
	inches := strconv.Itoa(rest / 4)
	if f := [...]string{"", "¼", "½", "¾"}[rest%4]; f != "" {
		inches = strings.TrimPrefix(inches+f, "0")
	}
	switch {
	case feet == 0:
		return t.T("report.unit.in", "value", sign+inches)
	case rest == 0:
		return t.T("report.unit.ft", "value", sign+strconv.Itoa(feet))
	default:
		return t.T("report.unit.ft_in", "ft", sign+strconv.Itoa(feet), "in", inches)
	}
}

// reading is a value held in SI, in the reader's unit, no finer than it was
// entered. A unit not known here is printed as it stands.
func (u Units) reading(t Texts, v float64, unit string) string {
	if factor, own := u.own(unit); factor != 1 {
		return withUnit(t, converted(v, factor), own)
	}
	return withUnit(t, entered(v), unit)
}

// own is the reader's unit for an SI unit, and how many of it are one.
func (u Units) own(unit string) (factor float64, own string) {
	if u == US {
		switch unit {
		case "m":
			return 1 / 0.0254, "in"
		case "m2":
			return 1 / (0.3048 * 0.3048), "ft2"
		case "mm":
			return 1 / 25.4, "in"
		case "kg":
			return 1 / 0.45359237, "lb"
		case "N":
			return 1 / 4.4482216152605, "lbf"
		case "J":
			return 1 / 1.3558179483314004, "lbf.ft"
		case "m/s":
			return 1 / 0.3048, "ft/s"
		}
	}
	return 1, unit
}

// entered is a number as somebody entered it: with all its digits, unless it has
// so many that a conversion made them.
func entered(v float64) float64 {
	mantissa, _, _ := strings.Cut(strconv.FormatFloat(math.Abs(v), 'e', -1, 64), "e")
	if len(mantissa) > len("1.23456") {
		return significant(v, 4)
	}
	return v
}

// converted is v times a factor, rounded to about the fineness in which v was
// entered: 118 N are 26.5 lbf and not 26.527. At least two digits are kept, at
// most four.
func converted(v, factor float64) float64 {
	if v == 0 || factor == 0 {
		return 0
	}
	shortest := strconv.FormatFloat(math.Abs(entered(v)), 'f', -1, 64)
	_, fraction, _ := strings.Cut(shortest, ".")
	finest := math.Pow10(-len(fraction)) * math.Abs(factor)
	digits := int(math.Floor(math.Log10(math.Abs(v*factor)))) - int(math.Floor(math.Log10(finest)+1e-9)) + 1
	return significant(v*factor, min(4, max(2, digits)))
}

// area is square metres or square feet to two decimals.
func (u Units) area(t Texts, m2 float64) string {
	if u == US {
		return withUnit(t, math.Round(m2/(0.3048*0.3048)*100)/100, "ft2")
	}
	return withUnit(t, math.Round(m2*100)/100, "m2")
}

// judged is a measured value and the limits that it was held against, in the unit
// of the limits. Rounding never turns the comparison: as many digits are shown as
// it takes to see it.
func judged(t Texts, measured, least, most *fleet.ReportAmount) (m, l, h string) {
	factor := 1.0
	if measured != nil && measured.SI != 0 {
		factor = measured.Value / measured.SI
	}
	show := func(digits int) (m, l, h float64) {
		if measured != nil {
			if m = measured.Value; math.Abs(factor-1) > 1e-9 {
				m = converted(measured.SI, factor)
			}
			if m = significant(m, 6); digits > 4 {
				m = significant(measured.Value, digits)
			}
		}
		if least != nil {
			l = significant(least.Value, max(3, digits-1))
		}
		if most != nil {
			h = significant(most.Value, max(3, digits-1))
		}
		return m, l, h
	}
	var a, b, c float64
	for digits := 4; digits <= 9; digits++ {
		a, b, c = show(digits)
		if measured == nil || sameOrder(a, b, measured, least) && sameOrder(a, c, measured, most) {
			break
		}
	}
	text := func(v float64, a *fleet.ReportAmount) string {
		if a == nil {
			return ""
		}
		return withUnit(t, v, a.Unit)
	}
	return text(a, measured), text(b, least), text(c, most)
}

// sameOrder tells whether two numbers as shown compare as they do in truth.
func sameOrder(shown, bound float64, measured, limit *fleet.ReportAmount) bool {
	if limit == nil {
		return true
	}
	truth := cmp.Compare(measured.Value, limit.Value)
	if math.Abs(measured.Value-limit.Value) <= 1e-9*math.Abs(limit.Value) {
		truth = 0
	}
	return cmp.Compare(shown, bound) == truth
}

// inReaders is a limit in the reader's unit, to three digits; empty where that is
// its own unit.
func (u Units) inReaders(t Texts, a *fleet.ReportAmount) string {
	if a == nil || usual(a.Unit) == "" || usual(a.Unit) == u {
		return ""
	}
	factor, unit := u.own(a.SIUnit)
	if unit == "m" && math.Abs(a.SI) < 1 {
		factor, unit = 1000, "mm"
	}
	return withUnit(t, significant(a.SI*factor, 3), unit)
}

// significant rounds v to so many significant digits.
func significant(v float64, digits int) float64 {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', digits, 64), 64)
	if err != nil {
		return v
	}
	return rounded
}

// usual says whose unit it is; of both, nobody's.
func usual(unit string) Units {
	switch unit {
	case "in", "ft", "lb", "lbf", "lbf.ft", "in/s", "ft/s":
		return US
	case "m", "mm", "kg", "N", "J", "m/s":
		return Metric
	}
	return ""
}

func withUnit(t Texts, v float64, unit string) string {
	for _, known := range unitCodes() {
		if known == unit {
			return t.T("report.unit."+strings.NewReplacer("/", "_per_", ".", "_").Replace(unit), "value", decimal(v, 9, true))
		}
	}
	return strings.TrimSpace(decimal(v, 9, true) + " " + unit)
}

// unitCodes are the units that have a text.
func unitCodes() []string {
	return []string{"m", "mm", "m2", "s", "kg", "N", "J", "m/s", "deg", "dB", "pct", "in", "ft", "ft2", "lb", "lbf", "lbf.ft", "in/s", "ft/s"}
}

// decimal writes v with so many decimals, without trailing zeros if trim, and
// with a true minus sign.
func decimal(v float64, digits int, trim bool) string {
	s := strconv.FormatFloat(math.Abs(v), 'f', digits, 64)
	if trim && strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if v < 0 && strings.Trim(s, "0.") != "" {
		s = "−" + s
	}
	return s
}

// scales are the denominators that people have a ruler for: ISO 5455 and the
// steps between, or so many feet to the inch.
func (u Units) scales() []float64 {
	if u == US {
		return []float64{12, 16, 24, 32, 48, 64, 96, 128, 192, 240, 480, 600, 1200, 2400}
	}
	return []float64{10, 20, 25, 50, 75, 100, 150, 200, 250, 500, 1000, 2000}
}

// scaleText names a scale, e.g. "1:50", or "1/4 in = 1 ft (1:48)".
func (u Units) scaleText(t Texts, denominator float64) string {
	if u == US {
		if inch, ok := map[float64]string{
			12: "1", 16: "3/4", 24: "1/2", 32: "3/8", 48: "1/4", 64: "3/16", 96: "1/8", 128: "3/32", 192: "1/16",
		}[denominator]; ok {
			return t.T("report.scale.us", "inch", inch, "n", fmt.Sprint(denominator))
		}
	}
	return t.T("report.scale.ratio", "n", fmt.Sprint(denominator))
}
