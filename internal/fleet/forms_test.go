package fleet

import (
	"math"
	"slices"
	"strings"
	"testing"
	"unicode"

	"lintel.example/lintel/internal/field"
)

func TestCountriesAreThoseThatTheStandardAssigns(t *testing.T) {
	list := strings.Fields(countries)
	if len(list) != 249 || !slices.IsSorted(list) || len(slices.Compact(slices.Clone(list))) != 249 {
		t.Errorf("%d codes, want 249, each once, in order", len(list))
	}
	for _, text := range []string{"", "U", "us", "USA", "UK", "EU", "XK", "ZZ", "SU", "DD", "AN", " US", "US ", "U\x00", "ÅL"} {
		if countryKnown(text) {
			t.Errorf("%q is known", text)
		}
	}
}

// What is taken for a zone is one of the IANA database, and not a file that happens to lie on the machine.
func FuzzZoneNamed(f *testing.F) {
	for _, seed := range []string{"UTC", "America/Los_Angeles", "America/Argentina/Buenos_Aires", "Etc/GMT+5", "Local", "", "localtime", "posix/UTC",
		"right/Europe/Berlin", "../../etc/passwd", "/etc/localtime", "Europe\\Berlin", "Europe/Berlin\x00", "europe/berlin", "A/../B", "tzdata.zi", "PST"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, name string) {
		loc, err := zoneNamed(name)
		if err != nil {
			return
		}
		if loc.String() != name || name == "Local" || strings.Contains(name, "..") || strings.HasPrefix(name, "/") || strings.Count(name, "/") > 2 {
			t.Errorf("%q is taken for %s", name, loc)
		}
	})
}

// What is taken for an address can stand in a header of a mail as it is.
func FuzzEmailKnown(f *testing.F) {
	for _, seed := range []string{"a@example.com", "", "a", "@", "a@", "@b", "A <a@example.com>", "a@example.com, b@example.com", "\"a b\"@example.com",
		"a@example.com\r\nBcc: c@example.com", "a@b@c", "a(comment)@example.com", "ü@example.com", "a@[127.0.0.1]"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if emailKnown(text) && (len(text) > 254 || strings.Count(text, "@") != 1 || strings.ContainsFunc(text, func(r rune) bool {
			return unicode.IsSpace(r) || unicode.IsControl(r) || strings.ContainsRune(`,;<>"`, r)
		})) {
			t.Errorf("%q is taken for an address", text)
		}
	})
}

// What the catalogue takes, the field can compute with; what it refuses, the field refuses too.
func TestTheLimitsOfEffectsAreThoseOfTheField(t *testing.T) {
	device := field.Device{Mount: field.Mount{HeightM: 2.2, TiltDeg: 25}, Antenna: field.Antenna{AzimuthBeamwidthDeg: 40, ElevationBeamwidthDeg: 40, AttenuationLimitDB: 25, BoresightRangeM: 5}}
	for kind, effect := range map[string]func(v float64) Effect{
		"spacer":         func(v float64) Effect { return Effect{OutM: &v} },
		"extension_arm":  func(v float64) Effect { return Effect{OutM: &v} },
		"ceiling_recess": func(v float64) Effect { return Effect{EdgeAngleDeg: &v} },
		"rain_hood":      func(v float64) Effect { return Effect{CutOffDeg: &v} },
		"weather_cover":  func(v float64) Effect { return Effect{LossDB: &v} },
		"mask":           func(v float64) Effect { return Effect{AzimuthBeamwidthDeg: &v} },
		"reflector":      func(v float64) Effect { return Effect{AzimuthBeamwidthDeg: &v, ElevationBeamwidthDeg: &v} },
	} {
		for _, v := range []float64{-0.001, 0, 1, 2, 2.001, 30, 30.001, 90, 90.001, 180, 180.001, math.NaN(), math.Inf(1)} {
			a := Accessory{Kind: kind, Name: kind, Effect: effect(v)}
			_, err := field.Apply(device, []field.Accessory{a.physics(device.Mount)})
			if (a.check() == nil) != (err == nil) {
				t.Errorf("%s of %g: the catalogue says %v, the field %v", kind, v, a.check(), err)
			}
		}
	}
}
