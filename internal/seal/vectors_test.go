package seal

import (
	"math"
	"strconv"
	"testing"

	"github.com/gowebpki/jcs"
)

// The test data of RFC 8785's author: github.com/cyberphone/json-canonicalization, testdata. FOUND; the sums are those
// of the published output files.
func TestVectorsOfRFC8785(t *testing.T) {
	for _, c := range []struct{ name, in, out, sum string }{
		{
			"arrays", "[\n  56,\n  {\n    \"d\": true,\n    \"10\": null,\n    \"1\": [ ]\n  }\n]",
			`[56,{"1":[],"10":null,"d":true}]`,
			"099601b171cafed97c333f8878d68e7f8c8f795412adb34b2fdcf0e7c7beac42",
		},
		{
			"structures", `{"1": {"f": {"f": "hi","F": 5} ,"\n": 56.0}, "10": { }, "": "empty", "a": { }, "111": [ {"e": "yes","E": "no" } ], "A": { }}`,
			`{"":"empty","1":{"\n":56,"f":{"F":5,"f":"hi"}},"10":{},"111":[{"E":"no","e":"yes"}],"A":{},"a":{}}`,
			"605f65004ec2db7692522a0852c22f1c989e036d547e88963d1a3143cf3195d5",
		},
		{
			"unicode", "{ \"Unnormalized Unicode\": \"A\u030a\" }",
			"{\"Unnormalized Unicode\":\"A\u030a\"}",
			"0d99aad92a125196ff887876643fd3206786a84ddce2cee52ba4ad256d2381d3",
		},
		{
			"french", `{"sin":"ignore locale","pêche":"but canonicalization MUST","péché":"is wrong according to French","peach":"This sorting order"}`,
			`{"peach":"This sorting order","péché":"is wrong according to French","pêche":"but canonicalization MUST","sin":"ignore locale"}`,
			"d99d0ebdcb0033cb858cfa830ae46bc0fb3309413b271f1da828c89901a27ed5",
		},
		{
			"weird", `{"\u20ac": "Euro Sign", "\r": "Carriage Return", "\ufb33": "Hebrew Letter Dalet With Dagesh", "1": "One", "\ud83d\ude02": "Smiley", "\u0080": "Control\u007f", "\u00f6": "Latin Small Letter O With Diaeresis", "\u000a": "Newline", "</script>": "Browser Challenge"}`,
			"{\"\\n\":\"Newline\",\"\\r\":\"Carriage Return\",\"1\":\"One\",\"</script>\":\"Browser Challenge\",\"\u0080\":\"Control\u007f\",\"ö\":\"Latin Small Letter O With Diaeresis\",\"€\":\"Euro Sign\",\"\U0001F602\":\"Smiley\",\"\ufb33\":\"Hebrew Letter Dalet With Dagesh\"}",
			"6af595a9aa80110b964b4de3f82a05fa6ae7423005019bacfa2620dddc4e94d1",
		},
	} {
		got, err := Canonical([]byte(c.in), 10_000)
		if err != nil || string(got) != c.out {
			t.Errorf("%s: %s, %v, want %s", c.name, got, err, c.out)
		}
		if sum := HashOf(got).String(); sum != c.sum {
			t.Errorf("%s: sum %s, want %s", c.name, sum, c.sum)
		}
	}
}

// Two of this vector's numbers are refused here (one has digits that no double holds, one is a whole number over 2^53);
// the transformation beneath must still know the whole vector, and we must give the same for the rest of it.
func TestVectorOfValuesOfRFC8785(t *testing.T) {
	const strings = `"string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/", "literals": [null, true, false]`
	const stringsOut = `"string":"€$\u000f\nA'B\"\\\\\"/"}`
	full := `{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001], ` + strings + `}`
	got, err := jcs.Transform([]byte(full))
	if want := `{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],` + stringsOut; err != nil || string(got) != want {
		t.Errorf("the transformation gives %s, %v, want %s", got, err, want)
	}
	if sum := HashOf(got).String(); sum != "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb" {
		t.Errorf("sum %s", sum)
	}
	if got, err := Canonical([]byte(full), 10_000); err == nil {
		t.Errorf("numbers that change their digits were sealed: %s", got)
	}
	exact := `{"numbers": [333333333.3333333, 4.50, 2e-3, 0.000000000000000000000000001], ` + strings + `}`
	got, err = Canonical([]byte(exact), 10_000)
	if want := `{"literals":[null,true,false],"numbers":[333333333.3333333,4.5,0.002,1e-27],` + stringsOut; err != nil || string(got) != want {
		t.Errorf("%s, %v, want %s", got, err, want)
	}
}

// RFC 8785, appendix B (as far as doubles of our range go): bits of the double and its only text.
func TestNumberLinesOfRFC8785(t *testing.T) {
	for _, c := range []struct {
		bits   uint64
		text   string
		sealed bool // else it is a whole number over 2^53
	}{
		{0x0000000000000000, "0", true},
		{0x8000000000000000, "0", true},
		{0x4340000000000000, "9007199254740992", true},
		{0x4340000000000001, "9007199254740994", false},
		{0x4340000000000002, "9007199254740996", false},
		{0x444b1ae4d6e2ef50, "1e+21", false},
		{0x3eb0c6f7a0b5ed8d, "0.000001", true},
		{0x3eb0c6f7a0b5ed8c, "9.999999999999997e-7", true},
	} {
		value := math.Float64frombits(c.bits)
		if got, err := jcs.NumberToJSON(value); err != nil || got != c.text {
			t.Errorf("%016x: the transformation writes %s, %v, want %s", c.bits, got, err, c.text)
		}
		got, err := Canonical([]byte(strconv.FormatFloat(value, 'e', -1, 64)), 100)
		if c.sealed && (err != nil || string(got) != c.text) {
			t.Errorf("%016x: %s, %v, want %s", c.bits, got, err, c.text)
		}
		if !c.sealed && err == nil {
			t.Errorf("%016x: sealed as %s, want it refused", c.bits, got)
		}
	}
}
