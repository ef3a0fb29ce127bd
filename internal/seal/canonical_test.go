package seal

import (
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

func TestCanonicalNamesWhatItRefuses(t *testing.T) {
	nested := func(n int) string { return strings.Repeat("[", n) + strings.Repeat("]", n) }
	for _, c := range []struct{ in, pointer, reason string }{
		{``, "", "not JSON"},
		{` `, "", "not JSON"},
		{`{`, "", "not JSON"},
		{`{"a" 1}`, "", "not JSON"},
		{`{"a":1,}`, "", "not JSON"},
		{`[1,]`, "", "not JSON"},
		{`[1 2]`, "", "not JSON"},
		{`{a:1}`, "", "not JSON"},
		{`'a'`, "", "not JSON"},
		{`01`, "", "not JSON"},
		{`+1`, "", "not JSON"},
		{`.5`, "", "not JSON"},
		{`1.`, "", "not JSON"},
		{`0x10`, "", "not JSON"},
		{`NaN`, "", "not JSON"},
		{`[Infinity]`, "", "not JSON"},
		{`[-Infinity]`, "", "not JSON"},
		{"\"a\nb\"", "", "not JSON"},
		{`{} {}`, "", "not JSON"},
		{`{}x`, "", "not JSON"},
		{`1 2`, "", "not JSON"},
		{"\ufeff{}", "", "not JSON"}, // byte order mark
		{"{}\x00", "", "not JSON"},
		{"\"\xff\"", "", "not valid UTF-8"},
		{"\"\xed\xa0\x80\"", "", "not valid UTF-8"}, // a surrogate in three bytes
		{"{\"\xc0\x80\":1}", "", "not valid UTF-8"}, // NUL in two bytes
		{`"\ud800"`, "", "lone surrogate"},
		{`"\udc00"`, "", "lone surrogate"},
		{`["a", "\ud800\u0041"]`, "/1", "lone surrogate"},
		{`["\ud83d\ude02\ufffd", "\ud800\ud800"]`, "/1", "lone surrogate"},
		{`{"a":1 , "\udfff":1}`, "/\ufffd", "lone surrogate"},
		{`{"a":1,"b":2,"a":3}`, "/a", "twice"},
		{`{"a":1,"\u0061":3}`, "/a", "twice"},
		{`[{"x/~y":{"b":1,"b":1}}]`, "/0/x~1~0y/b", "twice"},
		{`{"a":["x","\u0000"]}`, "/a/1", "NUL"},
		{`{"a\u0000":1}`, "/a\x00", "NUL"},
		{`{"reading":{"force_n":1e400}}`, "/reading/force_n", "range"},
		{`{"reading":{"force_n":-1e400}}`, "/reading/force_n", "range"},
		{`[0, 9007199254740993]`, "/1", "over 2^53"},
		{`[0, -9007199254740993]`, "/1", "over 2^53"},
		{`9007199254740994.0`, "", "over 2^53"},
		{`1e30`, "", "over 2^53"},
		{`9007199254740992.5`, "", "over 2^53"},
		{`900719925474099.01`, "", "more digits"},
		{`333333333.33333329`, "", "more digits"},
		{`0.1000000000000000055511151231257827`, "", "more digits"},
		{`1e-400`, "", "more digits"},
		{`1e-99999999999999999999`, "", "more digits"},
		{nested(65), strings.Repeat("/0", 64), "deeper than 64"},
		{strings.Repeat("[", 1_000_00), strings.Repeat("/0", 64), "deeper than 64"},
		{strings.Repeat(`{"a":`, 65) + "1" + strings.Repeat("}", 65), strings.Repeat("/a", 64), "deeper than 64"},
		{`"` + strings.Repeat("a", 200_000) + `"`, "", "has 200002 bytes, more than 200000"},
	} {
		got, err := Canonical([]byte(c.in), 200_000)
		var fault *Fault
		if !errors.As(err, &fault) || fault.Pointer != c.pointer || !strings.Contains(err.Error(), c.reason) || len(err.Error()) > 300 {
			t.Errorf("%.60q: %.60q, %v; want a fault at %q with %q", c.in, got, err, c.pointer, c.reason)
		}
	}
}

func TestCanonicalKeepsWhatADoubleHolds(t *testing.T) {
	for in, want := range map[string]string{
		`9007199254740992`:           `9007199254740992`,
		`-9007199254740991`:          `-9007199254740991`,
		`4.50`:                       `4.5`,
		`-0`:                         `0`,
		`0e999999999999999999999999`: `0`,
		`1E2`:                        `100`,
		`100e-2`:                     `1`,
		`0.1`:                        `0.1`,
		`5e-324`:                     `5e-324`,
		`123456789012345.6`:          `123456789012345.6`,
		` "\u00e9\/\u2028<&>" `:      "\"é/\u2028<&>\"",
		`null`:                       `null`,
	} {
		if got, err := Canonical([]byte(in), 100); err != nil || string(got) != want {
			t.Errorf("%s: %s, %v, want %s", in, got, err, want)
		}
	}
	if _, err := Canonical([]byte(strings.Repeat("[", 64)+strings.Repeat("]", 64)), 1000); err != nil {
		t.Errorf("64 levels: %v", err)
	}
	if _, err := Canonical([]byte(`"abc"`), 5); err != nil {
		t.Errorf("exactly as many bytes as allowed: %v", err)
	}
}

func TestMarshalSealsGoValues(t *testing.T) {
	type entry struct {
		Force float64  `json:"force_n"`
		Text  string   `json:"text"`
		Links []string `json:"links"`
	}
	canonical, hash, err := Marshal(entry{Force: 66.5, Text: "<&> \ufffd \\ufffd", Links: []string{}})
	if want := "{\"force_n\":66.5,\"links\":[],\"text\":\"<&> \ufffd \\\\ufffd\"}"; err != nil || string(canonical) != want {
		t.Fatalf("%s, %v, want %s", canonical, err, want)
	}
	if hash != HashOf(canonical) {
		t.Errorf("hash %v is not that of the text", hash)
	}
	for name, v := range map[string]any{
		"NaN":                    math.NaN(),
		"infinite":               math.Inf(1),
		"a whole number of 2^60": int64(1 << 60),
		"not UTF-8":              entry{Text: "\xff"},
		"a name that is not":     map[string]int{"a\xc0": 1},
		"NUL":                    "a\x00",
		"a function":             func() {},
	} {
		if canonical, hash, err := Marshal(v); err == nil || canonical != nil || hash != (Hash{}) {
			t.Errorf("%s was sealed: %s", name, canonical)
		}
	}
}

func TestCanonicalIsItsOwnCanonicalForm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		document := drawDocument(t)
		once, hash, err := Marshal(document)
		if err != nil {
			t.Fatal(err)
		}
		twice, err := Canonical(once, len(once))
		if err != nil || string(twice) != string(once) || HashOf(twice) != hash {
			t.Fatalf("%s becomes %s, %v", once, twice, err)
		}
		if !json.Valid(once) {
			t.Fatalf("not JSON: %s", once)
		}
	})
}

func TestOrderAndLayoutDoNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		document := drawDocument(t)
		want, _, err := Marshal(document)
		if err != nil {
			t.Fatal(err)
		}
		var other strings.Builder
		writeInAnyOrder(t, &other, document)
		got, err := Canonical([]byte(other.String()), other.Len())
		if err != nil || string(got) != string(want) {
			t.Fatalf("%s\nbecomes %s, %v\nwant    %s", other.String(), got, err, want)
		}
		if pointer, ok := Difference(got, want); ok {
			t.Fatalf("the same documents differ at %q", pointer)
		}
	})
}

func FuzzCanonical(f *testing.F) {
	for _, text := range []string{
		`[56,{"d":true,"10":null,"1":[ ]}]`, `{"a":1,"a":2}`, `"\ud83d\ude02"`, `"\ud800"`, `1e400`, `9007199254740993`, `[1,]`, `{} x`,
		"\"\xff\"", `{"":{"":[-0.0,1e-7,4.50]}}`, `"\u0000"`, strings.Repeat("[", 70), ` `, `0e9999999999`, "{\"\u2028\":\"</\"}",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		canonical, err := Canonical(text, 1<<16)
		if err != nil {
			var fault *Fault
			if canonical != nil || !errors.As(err, &fault) || len(err.Error()) > 1000 {
				t.Fatalf("%q: %s, %v", text, canonical, err)
			}
			return
		}
		if !json.Valid(text) || !utf8.Valid(canonical) {
			t.Fatalf("%q was sealed as %q", text, canonical)
		}
		again, err := Canonical(canonical, math.MaxInt)
		if err != nil || string(again) != string(canonical) {
			t.Fatalf("%q becomes %q, then %q, %v", text, canonical, again, err)
		}
		// Numbers are compared as doubles and text as text: the document still says the same.
		var before, after any
		if json.Unmarshal(text, &before) != nil || json.Unmarshal(canonical, &after) != nil {
			t.Fatalf("%q or %q cannot be read", text, canonical)
		}
		if pointer, ok := differ(before, after); ok {
			t.Fatalf("%q and %q differ at %q", text, canonical, pointer)
		}
	})
}

func drawDocument(t *rapid.T) any { return drawValue(t, 4) }

func drawValue(t *rapid.T, depth int) any {
	kinds := 6
	if depth == 0 {
		kinds = 4
	}
	switch rapid.IntRange(0, kinds-1).Draw(t, "kind") {
	case 0:
		return drawText(t)
	case 1:
		return rapid.Int64Range(-1<<53, 1<<53).Draw(t, "whole")
	case 2:
		return rapid.Float64Range(-1e9, 1e9).Draw(t, "number")
	case 3:
		return rapid.SampledFrom([]any{nil, true, false}).Draw(t, "literal")
	case 4:
		list := make([]any, rapid.IntRange(0, 4).Draw(t, "elements"))
		for i := range list {
			list[i] = drawValue(t, depth-1)
		}
		return list
	default:
		object := map[string]any{}
		for range rapid.IntRange(0, 5).Draw(t, "members") {
			object[drawText(t)] = drawValue(t, depth-1)
		}
		return object
	}
}

// drawText prefers characters whose order differs between UTF-8 and UTF-16, or that need an escape somewhere.
func drawText(t *rapid.T) string {
	special := rapid.SampledFrom([]rune("ab/~\"\\<&\u0001\u007f\u2028é€\ufb33\ufffd\U0001F602"))
	return rapid.StringOfN(rapid.OneOf(special, rapid.Rune().Filter(func(r rune) bool { return r != 0 })), 0, 6, -1).Draw(t, "text")
}

func writeInAnyOrder(t *rapid.T, out *strings.Builder, value any) {
	blank := rapid.SampledFrom([]string{"", " ", "\n\t"}).Draw(t, "blank")
	out.WriteString(blank)
	switch v := value.(type) {
	case map[string]any:
		names := make([]string, 0, len(v))
		for name := range v {
			names = append(names, name)
		}
		slices.Sort(names) // a map's own order would make the draws below unrepeatable
		out.WriteString("{")
		for i, name := range rapid.Permutation(names).Draw(t, "order") {
			if i > 0 {
				out.WriteString(",")
			}
			writeInAnyOrder(t, out, name)
			out.WriteString(":")
			writeInAnyOrder(t, out, v[name])
		}
		out.WriteString("}")
	case []any:
		out.WriteString("[")
		for i, element := range v {
			if i > 0 {
				out.WriteString(",")
			}
			writeInAnyOrder(t, out, element)
		}
		out.WriteString("]")
	default:
		text, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		out.Write(text)
	}
	out.WriteString(blank)
}
