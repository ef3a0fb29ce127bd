package words

import (
	"math"
	"strconv"
	"strings"

	"golang.org/x/text/number"
)

// Units are what a person reads physical values in. Inside the program everything is SI.
type Units string

const (
	Metric Units = "metric"
	US     Units = "us"
)

// SI names the unit in which a value is kept.
type SI string

const (
	Metre          SI = "m"
	SquareMetre    SI = "m2"
	Newton         SI = "N"
	Joule          SI = "J"
	Kilogram       SI = "kg"
	MetrePerSecond SI = "m/s"
	Second         SI = "s"
	Degree         SI = "deg"
	Decibel        SI = "dB"
)

const (
	metresPerInch = 0.0254 // exactly (international inch, 1959)
	metresPerFoot = 12 * metresPerInch
	inchesPerFoot = 12
)

// scale is how a value of a unit is written.
type scale struct {
	perUnit  float64 // how much SI is one of the unit shown
	decimals int     // most decimals
	keepZero bool    // 2.10 m, but 5 s
	symbol   string
}

// scaleOf gives the scale for a unit; a length in US units is written in feet and inches instead. Factors: the
// international pound, 0.45359237 kg, and standard gravity, 9.80665 m/s², both exact by definition.
func scaleOf(unit SI, units Units) (scale, bool) {
	const (
		kilogramsPerPound = 0.45359237
		newtonsPerPound   = kilogramsPerPound * 9.80665
	)
	metric := map[SI]scale{
		Metre: {1, 2, true, " m"}, SquareMetre: {1, 2, true, " m²"}, Newton: {1, 1, false, " N"}, Joule: {1, 2, true, " J"},
		Kilogram: {1, 1, false, " kg"}, MetrePerSecond: {1, 2, true, " m/s"},
		Second: {1, 2, false, " s"}, Degree: {1, 1, false, "°"}, Decibel: {1, 1, false, " dB"},
	}
	us := map[SI]scale{
		SquareMetre: {metresPerFoot * metresPerFoot, 1, true, " ft²"}, Newton: {newtonsPerPound, 1, false, " lbf"},
		Joule: {newtonsPerPound * metresPerFoot, 2, true, " ft·lbf"}, Kilogram: {kilogramsPerPound, 1, false, " lb"},
		MetrePerSecond: {metresPerFoot, 2, true, " ft/s"},
	}
	if s, ok := us[unit]; ok && units == US {
		return s, true
	}
	s, ok := metric[unit]
	return s, ok
}

// Fineness is how finely lengths are written.
type Fineness struct {
	Decimals  int // of a metre
	InchParts int // 1, 2, 4, 8, 16, 32 or 64 to the inch
}

// Tape is the fineness of a length that somebody took with a tape: a centimetre, an eighth of an inch.
func Tape() Fineness { return Fineness{Decimals: 2, InchParts: 8} }

// Step is the distance in metres between two neighbouring lengths that can be written.
func (f Fineness) Step(units Units) float64 {
	if units == US {
		return metresPerInch / float64(f.InchParts)
	}
	return math.Pow10(-f.Decimals)
}

// FormatLength writes a length as by Tape: "2.13 m" or "6 ft 11 7/8 in". ParseOffset reads it back.
func FormatLength(m float64, units Units) string { return FormatLengthTo(m, units, Tape()) }

// FormatLengthTo writes a length to a fineness.
func FormatLengthTo(m float64, units Units, fineness Fineness) string {
	return formatLength(m, units, fineness, plainNumber)
}

// FormatQuantity writes a value that is kept in an SI unit, in that unit or its US counterpart, with a decimal point and no
// separators. A unit that is not known is written as it is named.
func FormatQuantity(value float64, unit SI, units Units) string {
	return formatQuantity(value, unit, units, plainNumber)
}

// Quantity writes a value like FormatQuantity, with the language's decimal sign.
func (p Printer) Quantity(value float64, unit SI) string {
	return formatQuantity(value, unit, p.units, p.decimal)
}

// Length writes a length like FormatLength, with the language's decimal sign.
func (p Printer) Length(m float64) string { return formatLength(m, p.units, Tape(), p.decimal) }

// LengthTo writes a length to a fineness, with the language's decimal sign.
func (p Printer) LengthTo(m float64, fineness Fineness) string {
	return formatLength(m, p.units, fineness, p.decimal)
}

// numberWriter writes a number to so many decimals.
type numberWriter func(value float64, decimals int) string

func plainNumber(value float64, decimals int) string {
	return strconv.FormatFloat(value, 'f', decimals, 64)
}

// decimal writes without separators between thousands: "2,130 mm" is two lengths.
func (p Printer) decimal(value float64, decimals int) string {
	return p.numbers.Sprint(number.Decimal(value, number.NoSeparator(), number.MinFractionDigits(decimals), number.MaxFractionDigits(decimals)))
}

// beyond is shown for what no door has: NaN, infinities, and numbers whose last digits a float does not hold.
const (
	beyond      = "⟦out of range⟧"
	mostWritten = 1e12
)

func formatQuantity(value float64, unit SI, units Units, write numberWriter) string {
	if unit == Metre {
		return formatLength(value, units, Tape(), write)
	}
	s, known := scaleOf(unit, units)
	if !known {
		s = scale{perUnit: 1, decimals: 3, symbol: " " + string(unit)}
	}
	return s.write(value, write)
}

func (s scale) write(value float64, write numberWriter) string {
	value /= s.perUnit
	if !(math.Abs(value) < mostWritten) {
		return beyond
	}
	decimals := s.decimals
	if !s.keepZero {
		for decimals > 0 && round(value, decimals) == round(value, decimals-1) {
			decimals--
		}
	}
	return write(round(value, decimals), decimals) + s.symbol
}

// round to decimals, and never to minus zero.
func round(value float64, decimals int) float64 {
	power := math.Pow10(decimals)
	if r := math.Round(value*power) / power; r != 0 {
		return r
	}
	return 0
}

func formatLength(m float64, units Units, fineness Fineness, write numberWriter) string {
	if units != US {
		return scale{1, fineness.Decimals, true, " m"}.write(m, write)
	}
	parts := math.Round(math.Abs(m) / metresPerInch * float64(fineness.InchParts))
	if !(parts < mostWritten) {
		return beyond
	}
	whole, part := int64(parts)/int64(fineness.InchParts), int64(parts)%int64(fineness.InchParts)
	feet, inches := whole/inchesPerFoot, whole%inchesPerFoot

	var out strings.Builder
	if m < 0 && parts > 0 {
		out.WriteByte('-')
	}
	if feet > 0 {
		out.WriteString(write(float64(feet), 0) + " ft ")
	}
	switch {
	case part == 0:
		out.WriteString(write(float64(inches), 0))
	case inches > 0 || feet > 0:
		out.WriteString(write(float64(inches), 0) + " " + fraction(part, int64(fineness.InchParts)))
	default:
		out.WriteString(fraction(part, int64(fineness.InchParts)))
	}
	return out.String() + " in"
}

// fraction in lowest terms, as a tape shows it; the denominator is a power of two.
func fraction(numerator, denominator int64) string {
	for numerator%2 == 0 {
		numerator, denominator = numerator/2, denominator/2
	}
	return strconv.FormatInt(numerator, 10) + "/" + strconv.FormatInt(denominator, 10)
}

// Symbol is the sign of the unit that a value kept in an SI unit is shown in; lengths in US units have none of their own.
func Symbol(unit SI, units Units) string {
	s, known := scaleOf(unit, units)
	switch {
	case unit == Metre && units == US:
		return ""
	case !known:
		return string(unit)
	}
	return strings.TrimSpace(s.symbol)
}

// ParseQuantity reads a value that people write in the unit in which FormatQuantity shows it, or in the SI unit with its
// sign behind the number, and gives it in the SI unit. A length is read as by ParseOffset. ok is false for everything else.
func ParseQuantity(text string, unit SI, units Units) (value float64, ok bool) {
	if unit == Metre {
		m, err := ParseOffset(text)
		return m, err == nil
	}
	text = strings.TrimSpace(text)
	for _, system := range []Units{units, Metric, US} {
		s, known := scaleOf(unit, system)
		if !known {
			s = scale{perUnit: 1, symbol: " " + string(unit)}
		}
		bare, named := strings.CutSuffix(text, strings.TrimSpace(s.symbol))
		if !named && system != units {
			continue
		}
		if n, err := strconv.ParseFloat(pointed(strings.TrimSpace(bare)), 64); err == nil && math.Abs(n) < mostWritten {
			return n * s.perUnit, true
		}
	}
	return 0, false
}

// pointed turns a decimal comma into a point; a comma before three digits may separate thousands, and stays.
func pointed(text string) string {
	whole, decimals, comma := strings.Cut(text, ",")
	if !comma || len(decimals) == 3 || strings.ContainsAny(decimals, ",.") {
		return text
	}
	return whole + "." + decimals
}
