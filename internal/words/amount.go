package words

import (
	"fmt"
	"strconv"
	"strings"
)

// AmountError says why a text is not a mass or a time. Code is stable and the last part of the message key "amount.<code>".
type AmountError struct {
	Text  string
	Code  string
	Units []string // that are known
}

// Error is for logs.
func (e *AmountError) Error() string {
	return fmt.Sprintf("amount %.40q: %s", e.Text, strings.ReplaceAll(e.Code, "_", " "))
}

// ParseLengthIn reads a length like ParseLength; where the text has no unit, or none behind the feet, it is in the unit
// given: ft, in, m, cm or mm, "" for none. A unit in the text wins.
func ParseLengthIn(text, unit string) (m float64, err error) {
	m, signed, code := parseLength(text)
	if code == "no_unit" && unit != "" {
		m, signed, code = parseLength(text + " " + unit)
	}
	if code == "" && signed {
		code = "negative"
	}
	if code != "" {
		return 0, &LengthError{text, code}
	}
	return m, nil
}

// ParseMass reads a mass of zero or more, "80 kg", "80,5 kg", "180 lb", and gives kilograms; where the text has no unit it
// is in the unit given, "" for none. The error is an *AmountError.
func ParseMass(text, unit string) (kg float64, err error) {
	const kilogramsPerPound = 0.45359237 // the international pound, exact by definition
	return parseAmount(text, unit, map[string]float64{"kg": 1, "kgs": 1, "kilogram": 1, "kilograms": 1, "lb": kilogramsPerPound, "lbs": kilogramsPerPound,
		"pound": kilogramsPerPound, "pounds": kilogramsPerPound}, "kg", "lb")
}

// ParseSeconds reads a time of zero or more, "3 s", "3,5 sec", and gives seconds. The error is an *AmountError.
func ParseSeconds(text, unit string) (s float64, err error) {
	return parseAmount(text, unit, map[string]float64{"s": 1, "sec": 1, "secs": 1, "second": 1, "seconds": 1, "sek": 1}, "s")
}

const longestAmountText = 40 // bytes

func parseAmount(text, unit string, units map[string]float64, shown ...string) (float64, error) {
	fail := func(code string) (float64, error) { return 0, &AmountError{text, code, shown} }
	if len(text) > longestAmountText {
		return fail("too_long")
	}
	plain := plainMarks(text)
	end := strings.IndexFunc(plain, func(r rune) bool { return (r < '0' || r > '9') && r != '.' && r != ',' })
	if end < 0 {
		end = len(plain)
	}
	number, rest := plain[:end], strings.TrimSuffix(strings.TrimSpace(plain[end:]), ".")
	whole, decimals, broken := strings.Cut(strings.Replace(number, ",", ".", 1), ".")
	switch {
	case strings.HasPrefix(plain, "-") || strings.HasPrefix(plain, "+"):
		return fail("negative")
	case whole == "":
		return fail("no_number")
	case strings.ContainsAny(decimals, ".,") || broken && decimals == "":
		return fail("number")
	case strings.Contains(number, ",") && len(decimals) == 3 && strings.Trim(whole, "0") != "":
		return fail("ambiguous_thousands")
	}
	if rest == "" {
		rest = unit
	}
	if rest == "" {
		return fail("no_unit")
	}
	factor, known := units[rest]
	if !known {
		return fail("unknown_unit")
	}
	value, err := strconv.ParseFloat(strings.Replace(number, ",", ".", 1), 64)
	if err != nil || value*factor > 1e6 {
		return fail("out_of_range")
	}
	return value * factor, nil
}
