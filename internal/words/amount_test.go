package words

import (
	"errors"
	"math"
	"testing"
)

func TestAmountsAreReadAsPeopleWriteThem(t *testing.T) {
	for _, c := range []struct {
		read       func(text, unit string) (float64, error)
		text, unit string
		want       float64
	}{
		{ParseMass, "80 kg", "", 80}, {ParseMass, "80,5kg", "", 80.5}, {ParseMass, "180 lb", "", 81.6466266}, {ParseMass, "180 lbs.", "kg", 81.6466266}, {ParseMass, "80", "kg", 80},
		{ParseMass, "1.250 kg", "", 1.25}, {ParseSeconds, "3 s", "", 3}, {ParseSeconds, "3,5 sec.", "", 3.5}, {ParseSeconds, "2", "s", 2},
		{ParseLengthIn, "2130", "mm", 2.13}, {ParseLengthIn, "84", "in", 2.1336}, {ParseLengthIn, "2,13", "m", 2.13}, {ParseLengthIn, "213 cm", "mm", 2.13}, {ParseLengthIn, "7'-6", "in", 2.286},
	} {
		if got, err := c.read(c.text, c.unit); err != nil || math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%q in %q: %v, %v; want %v", c.text, c.unit, got, err, c.want)
		}
	}
}

func TestTextThatIsNoAmountIsRefusedWithItsReason(t *testing.T) {
	c, err := Load()
	if err != nil {
		t.Fatal(err)
	}
	for text, code := range map[string]string{
		"80": "no_unit", "80 stone": "unknown_unit", "heavy": "no_number", "": "no_number", "-80 kg": "negative", "1,250 kg": "ambiguous_thousands", "1.2.3 kg": "number", "80, kg": "number",
		"99999999 kg": "out_of_range", "80 kg or something like it, rather more or less": "too_long", "2x80 kg": "unknown_unit",
	} {
		_, err := ParseMass(text, "")
		var fault *AmountError
		if !errors.As(err, &fault) || fault.Code != code {
			t.Errorf("%q: %v, want %s", text, err, code)
		}
		if key := "import.wrong.amount_" + code; !c.Has(key) {
			t.Errorf("there is no text %s", key)
		}
	}
	if _, err := ParseLengthIn("2130", ""); err == nil {
		t.Error("a bare number is a length")
	}
	if _, err := ParseLengthIn("-2130", "mm"); err == nil {
		t.Error("a length below zero")
	}
}

func FuzzParseMass(f *testing.F) {
	for _, seed := range []string{"80 kg", "80,5 lb", "1.2.3", "½ kg"} {
		f.Add(seed, "kg")
	}
	f.Fuzz(func(t *testing.T, text, unit string) {
		if kg, err := ParseMass(text, unit); err == nil && !(kg >= 0 && kg <= 1e6) {
			t.Fatalf("%q is %v kg", text, kg)
		}
	})
}
