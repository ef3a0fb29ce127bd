package words

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestLengthIsReadAsPeopleWriteIt(t *testing.T) {
	const in = 0.0254
	for text, want := range map[string]float64{
		`7'-0"`: 84 * in, `7' 0"`: 84 * in, `7'0"`: 84 * in, `7' - 0"`: 84 * in, `7'`: 84 * in, `7ft`: 84 * in, `7 ft`: 84 * in, "7 FT 0 IN": 84 * in,
		`7 ft 0 in`: 84 * in, `7 ft. 0 in.`: 84 * in, `7 feet 1 inch`: 85 * in, `1 foot`: 12 * in, `84 in`: 84 * in, `84"`: 84 * in, `84 inches`: 84 * in,
		`7' 0 1/2"`: 84.5 * in, `7'-0 1/2"`: 84.5 * in, `7'-0-1/2"`: 84.5 * in, `7' 1/2"`: 84.5 * in, `7′ 0½″`: 84.5 * in, `7’ 0½”`: 84.5 * in, `7' ½"`: 84.5 * in,
		`7''`: 7 * in, `7′ 6′′`: 90 * in, `½ in`: 0.5 * in, `1/2"`: 0.5 * in, `7-1/2 in`: 7.5 * in, `7 1/2 in`: 7.5 * in, `7½ ft`: 90 * in, `7.5 ft`: 90 * in,
		`84.25 in`: 84.25 * in, `7'-11 63/64"`: (84 + 11 + 63.0/64) * in, `7'-0.5"`: 84.5 * in, "3⅜ in": 3.375 * in, "1⁄2 in": 0.5 * in,
		"2.13 m": 2.13, "2,13 m": 2.13, "2130 mm": 2.13, "213 cm": 2.13, "213,5cm": 2.135, " 2.13\u00a0m ": 2.13, "0,125 m": 0.125, "2.125 m": 2.125,
		"2 metres": 2, "1 meter": 1, "0 m": 0, "0.500 mm": 0.0005, "1000 m": 1000,
	} {
		if got, err := ParseLength(text); err != nil || math.Abs(got-want) > 1e-12 {
			t.Errorf("ParseLength(%q) = %v, %v; want %v", text, got, err, want)
		}
	}
}

func TestTextThatIsNoLengthIsRefusedWithItsReason(t *testing.T) {
	for text, code := range map[string]string{
		"": "empty", " \t": "empty", "\u00a0": "empty", "NaN": "no_number", "inf m": "no_number", "m": "no_number", ".5 m": "no_number", "--5 m": "no_number", "⅓ in": "no_number",
		"7": "no_unit", "2.13": "no_unit", `7'-6`: "no_unit", `7' 6`: "no_unit", "1 2 m": "no_unit", "7-1 in": "no_unit",
		"7 yd": "unknown_unit", "1e5 m": "unknown_unit", "7 мм": "unknown_unit", "2 km": "unknown_unit", "7*2 m": "unknown_unit", "7 m2": "no_unit",
		`7'-12"`: "inches_not_under_12", `7'-13"`: "inches_not_under_12", `7'-12 1/2"`: "inches_not_under_12",
		"2 m 13 cm": "mixed_units", "7 ft 2 cm": "mixed_units", "6 in 2 ft": "mixed_units", "7 ft 7 ft": "mixed_units", "7 ft 1 in 2 in": "mixed_units", "84 in 2 in": "mixed_units",
		`7.5' 3"`: "feet_not_whole", `7 1/2' 3"`: "feet_not_whole",
		"1/3 in": "fraction", "2/2 in": "fraction", "0/2 in": "fraction", "3/2 in": "fraction", "1/0 in": "fraction", "1/ in": "fraction", "1/128 in": "fraction", "1/2/2 in": "unknown_unit",
		"1/2 m": "fraction_of_metric", "2½ m": "fraction_of_metric",
		"1,234 m": "ambiguous_thousands", "2.130 mm": "ambiguous_thousands", "2,130 mm": "ambiguous_thousands",
		"1.2.3 m": "number", "1,2,3 m": "number", "1.234,5 m": "number", "1. m": "number",
		"-5 m": "negative", "−5 m": "negative", "+5 m": "negative", "-0 m": "negative",
		"1000.1 m": "out_of_range", "99999999999999999999999 mm": "out_of_range", "9999 ft": "out_of_range",
		strings.Repeat("7", 65): "too_long",
	} {
		got, err := ParseLength(text)
		var fault *LengthError
		if !errors.As(err, &fault) || fault.Code != code || got != 0 {
			t.Errorf("ParseLength(%q) = %v, %v; want the fault %s", text, got, err, code)
		}
	}
}

func TestOffsetHasASign(t *testing.T) {
	for text, want := range map[string]float64{
		"-0.3 m": -0.3, "− 0,3 m": -0.3, "+0.3 m": 0.3, `-1'-6"`: -0.4572, "-1/2 in": -0.0127, "-½ in": -0.0127, "0.3 m": 0.3, "-0 m": 0,
	} {
		got, err := ParseOffset(text)
		if err != nil || math.Abs(got-want) > 1e-12 || got == 0 && math.Signbit(got) {
			t.Errorf("ParseOffset(%q) = %v, %v; want %v", text, got, err, want)
		}
	}
	if _, err := ParseOffset("-1001 m"); err == nil {
		t.Error("an offset of -1001 m")
	}
}

func TestEveryFaultOfALengthIsExplained(t *testing.T) {
	c, err := Load()
	if err != nil {
		t.Fatal(err)
	}
	p := c.Printer("en", Metric)
	for _, text := range []string{
		"", strings.Repeat("7", 65), "m", "1.2.3 m", "7", "7 yd", "2 m 13 cm", `7'-12"`, `7.5' 3"`, "1/3 in", "1/2 m", "1,234 m", "-5 m", "1001 m",
	} {
		_, err := ParseLength(text)
		var fault *LengthError
		if !errors.As(err, &fault) || strings.Contains(p.Explain(fault), "⟦") {
			t.Errorf("%q: %v is not explained", text, err)
		}
	}
}

func TestLengthIsWrittenInTheReadersUnits(t *testing.T) {
	for _, c := range []struct {
		m          float64
		metric, us string
	}{
		{2.1336, "2.13 m", "7 ft 0 in"}, {2.13, "2.13 m", "6 ft 11 7/8 in"}, {0.9144, "0.91 m", "3 ft 0 in"}, {0.0127, "0.01 m", "1/2 in"},
		{0.0254, "0.03 m", "1 in"}, {0.1651, "0.17 m", "6 1/2 in"}, {0.3175, "0.32 m", "1 ft 0 1/2 in"}, {0, "0.00 m", "0 in"},
		{-0.4572, "-0.46 m", "-1 ft 6 in"}, {-0.001, "0.00 m", "0 in"}, {-0.0127, "-0.01 m", "-1/2 in"}, {0.3047, "0.30 m", "1 ft 0 in"},
		{math.NaN(), "⟦out of range⟧", "⟦out of range⟧"}, {math.Inf(-1), "⟦out of range⟧", "⟦out of range⟧"}, {1e300, "⟦out of range⟧", "⟦out of range⟧"},
	} {
		if got := FormatLength(c.m, Metric); got != c.metric {
			t.Errorf("%v m: %q, want %q", c.m, got, c.metric)
		}
		if got := FormatLength(c.m, US); got != c.us {
			t.Errorf("%v m: %q, want %q", c.m, got, c.us)
		}
	}
	if got := FormatLengthTo(2.1336-0.0254/16, US, Fineness{InchParts: 16}); got != "6 ft 11 15/16 in" {
		t.Errorf("to a sixteenth: %q", got)
	}
	if got := FormatLengthTo(2.1336, Metric, Fineness{Decimals: 3}); got != "2.134 m" {
		t.Errorf("to a millimetre: %q", got)
	}
	german := mustLoad(t, "en/a.yaml", "k: x\n", "de/a.yaml", "k: x\n").Printer("de", Metric)
	if got := german.Length(1234.5); got != "1234,50 m" {
		t.Errorf("in German: %q", got)
	}
}

// Factors of NIST SP 811 appendix B.8 (from memory): 1 lbf = 4.448222 N, 1 lb = 0.45359237 kg, 1 ft = 0.3048 m, 1 ft·lbf = 1.355818 J.
func TestQuantitiesAreWrittenInTheReadersUnits(t *testing.T) {
	for _, c := range []struct {
		value      float64
		unit       SI
		metric, us string
	}{
		{66.723, Newton, "66.7 N", "15 lbf"}, {133, Newton, "133 N", "29.9 lbf"}, {2.25, Joule, "2.25 J", "1.66 ft·lbf"},
		{1.6947724, Joule, "1.69 J", "1.25 ft·lbf"}, {45.359237, Kilogram, "45.4 kg", "100 lb"}, {0.3048, MetrePerSecond, "0.30 m/s", "1.00 ft/s"},
		{1.5, SquareMetre, "1.50 m²", "16.1 ft²"}, {5, Second, "5 s", "5 s"}, {1.25, Second, "1.25 s", "1.25 s"}, {1.999, Second, "2 s", "2 s"}, {30, Degree, "30°", "30°"},
		{-0.04, Degree, "0°", "0°"}, {-6, Decibel, "-6 dB", "-6 dB"}, {0.5, "lx", "0.5 lx", "0.5 lx"}, {2.1336, Metre, "2.13 m", "7 ft 0 in"}, {math.NaN(), Second, "⟦out of range⟧", "⟦out of range⟧"},
	} {
		if got := FormatQuantity(c.value, c.unit, Metric); got != c.metric {
			t.Errorf("%v %s: %q, want %q", c.value, c.unit, got, c.metric)
		}
		if got := FormatQuantity(c.value, c.unit, US); got != c.us {
			t.Errorf("%v %s: %q, want %q", c.value, c.unit, got, c.us)
		}
	}
	german := mustLoad(t, "en/a.yaml", "k: x\n", "de/a.yaml", "k: x\n").Printer("de", US)
	if got := german.Quantity(133, Newton); got != "29,9 lbf" {
		t.Errorf("in German: %q", got)
	}
}

func TestLengthThatWasWrittenIsReadBackWithinHalfAStep(t *testing.T) {
	c := mustLoad(t, "en/a.yaml", "k: x\n", "de/a.yaml", "k: x\n", "ar/a.yaml", "k: x\n")
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.Float64Range(-999, 999).Draw(t, "m")
		units := rapid.SampledFrom([]Units{Metric, US}).Draw(t, "units")
		fineness := Fineness{Decimals: rapid.IntRange(0, 6).Draw(t, "decimals"), InchParts: rapid.SampledFrom([]int{1, 2, 4, 8, 16, 32, 64}).Draw(t, "parts")}
		text := FormatLengthTo(m, units, fineness)
		back, err := ParseOffset(text)
		if err != nil || math.Abs(back-m) > fineness.Step(units)*0.5000001 {
			t.Fatalf("%v became %q and %v, %v", m, text, back, err)
		}
		for _, lang := range []string{"en", "de"} {
			text := c.Printer(lang, units).Length(m)
			if back, err := ParseOffset(text); err != nil || math.Abs(back-m) > Tape().Step(units)*0.5000001 {
				t.Fatalf("%v became %q in %s and %v, %v", m, text, lang, back, err)
			}
		}
	})
}

func FuzzParseLength(f *testing.F) {
	for _, seed := range []string{`7'-0"`, `7' 0 1/2"`, "7 ft 0 in", "2.13 m", "2,13 m", "½ in", "7′ 0½″", "-1/2 in", "", "7' 6", "1,234 m", "NaN", "1e5 m", "\xff m"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		m, err := ParseOffset(text)
		if err != nil {
			var fault *LengthError
			if !errors.As(err, &fault) || fault.Code == "" || m != 0 {
				t.Fatalf("%q: %v, %v", text, m, err)
			}
			return
		}
		if math.IsNaN(m) || math.Abs(m) > greatestLength || m == 0 && math.Signbit(m) {
			t.Fatalf("%q became %v", text, m)
		}
		if !strings.ContainsAny(text, "0123456789½¼¾⅛⅜⅝⅞") {
			t.Fatalf("%q has no digit and became %v", text, m)
		}
		fine := Fineness{Decimals: 6, InchParts: 64}
		if math.Abs(m) > greatestLength-1 { // rounding up may go over the edge
			return
		}
		if back, err := ParseOffset(FormatLengthTo(m, US, fine)); err != nil || math.Abs(back-m) > fine.Step(US)*0.5000001 {
			t.Fatalf("%q became %v, %q and %v, %v", text, m, FormatLengthTo(m, US, fine), back, err)
		}
		positive, err := ParseLength(text)
		if err == nil && positive != m {
			t.Fatalf("%q is %v as an offset and %v as a length", text, m, positive)
		}
	})
}

func TestQuantityThatPeopleWriteIsReadInTheirUnits(t *testing.T) {
	for _, c := range []struct {
		text  string
		unit  SI
		units Units
		want  float64
		ok    bool
	}{
		{"118", Newton, Metric, 118, true}, {"118 N", Newton, Metric, 118, true}, {"1,5 s", Second, Metric, 1.5, true},
		{"30", Newton, US, 30 * 0.45359237 * 9.80665, true}, {"30 lbf", Newton, US, 30 * 0.45359237 * 9.80665, true},
		{"118 N", Newton, US, 118, true}, {"30 lbf", Newton, Metric, 30 * 0.45359237 * 9.80665, true}, {"-3", Decibel, US, -3, true},
		{"28°", Degree, Metric, 28, true}, {"7 ft 0 in", Metre, Metric, 2.1336, true}, {"120 mm", SI("mm"), US, 120, true},
		{"1,200", Newton, Metric, 0, false}, {"", Newton, Metric, 0, false}, {"fast", Second, Metric, 0, false}, {"NaN", Second, Metric, 0, false}, {"3 kg", Second, Metric, 0, false},
	} {
		got, ok := ParseQuantity(c.text, c.unit, c.units)
		if ok != c.ok || math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%q in %s: %v %v, want %v %v", c.text, c.unit, got, ok, c.want, c.ok)
		}
	}
}

func FuzzParseQuantity(f *testing.F) {
	f.Add("118 N")
	f.Add("1,5")
	f.Fuzz(func(t *testing.T, text string) {
		for _, units := range []Units{Metric, US} {
			if v, ok := ParseQuantity(text, Newton, units); ok && (math.IsNaN(v) || math.IsInf(v, 0)) {
				t.Errorf("%q is %v", text, v)
			}
		}
	})
}
