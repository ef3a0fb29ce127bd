package seal

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestDifferenceNamesTheFirstPlace(t *testing.T) {
	for _, c := range []struct {
		a, b, pointer string
		differ        bool
	}{
		{`{"a":1}`, `{"a":1}`, "", false},
		{`{"a":1}`, `{"a":2}`, "/a", true},
		{`{"a":1,"b":2}`, `{"a":2,"b":3}`, "/a", true},
		{`{"a":1}`, `{"a":1,"b":2}`, "/b", true},
		{`{"b":1}`, `{"a":1,"b":2}`, "/a", true},
		{`{"a":null}`, `{}`, "/a", true},
		{`{"a":null}`, `{"a":false}`, "/a", true},
		{`{"a":1}`, `{"a":"1"}`, "/a", true},
		{`{"a":[1,2,3]}`, `{"a":[1,2,4]}`, "/a/2", true},
		{`{"a":[1,2,3]}`, `{"a":[1,2]}`, "/a/2", true},
		{`{"a":[]}`, `{"a":{}}`, "/a", true},
		{`{"a":{}}`, `{"a":1}`, "/a", true},
		{`{"a":1}`, `{"a":[1]}`, "/a", true},
		{`{"reading":{"force_n":66.5,"leaf":"A"}}`, `{"reading":{"force_n":66.5,"leaf":"B"}}`, "/reading/leaf", true},
		{`{"m~n":{"a/b":1}}`, `{"m~n":{"a/b":2}}`, "/m~0n/a~1b", true},
		{`{"":1}`, `{"":2}`, "/", true},
		{`1`, `2`, "", true},
		{`[]`, `{}`, "", true},
		{`{"a":`, `{"a":1}`, "", true}, // one of them is no document
		{"{\"\U0001F602\":1,\"\ufb33\":1}", "{\"\U0001F602\":2,\"\ufb33\":2}", "/\U0001F602", true}, // in canonical order
	} {
		for _, turn := range [][2]string{{c.a, c.b}, {c.b, c.a}} {
			if pointer, ok := Difference([]byte(turn[0]), []byte(turn[1])); pointer != c.pointer || ok != c.differ {
				t.Errorf("%s and %s: %q (%v), want %q (%v)", turn[0], turn[1], pointer, ok, c.pointer, c.differ)
			}
		}
	}
}

// A pointer that Difference gives leads to a place where the two documents are really unlike.
func TestDifferenceLeadsToUnlikeValues(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, _, errA := Marshal(drawDocument(t))
		b, _, errB := Marshal(drawDocument(t))
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		pointer, ok := Difference(a, b)
		if ok == (string(a) == string(b)) {
			t.Fatalf("%s and %s: differ %v", a, b, ok)
		}
		if !ok {
			return
		}
		left, inA := lookUp(t, a, pointer)
		right, inB := lookUp(t, b, pointer)
		if inA == inB && left == right {
			t.Fatalf("at %q both %s and %s hold %s", pointer, a, b, left)
		}
	})
}

// lookUp evaluates a JSON Pointer (RFC 6901, section 4) and gives the canonical text of what is there.
func lookUp(t *rapid.T, document []byte, pointer string) (text string, found bool) {
	value, err := decoded(document)
	if err != nil {
		t.Fatal(err)
	}
	for _, step := range strings.Split(pointer, "/")[1:] { // the empty pointer has no step
		step = strings.ReplaceAll(strings.ReplaceAll(step, "~1", "/"), "~0", "~")
		switch v := value.(type) {
		case map[string]any:
			if value, found = v[step]; !found {
				return "", false
			}
		case []any:
			i := 0
			for _, digit := range step {
				i = i*10 + int(digit-'0')
			}
			if i >= len(v) {
				return "", false
			}
			value = v[i]
		default:
			t.Fatalf("%q leads into the scalar %v of %s", pointer, value, document)
		}
	}
	canonical, _, err := Marshal(value)
	if err != nil {
		t.Fatal(err)
	}
	return string(canonical), true
}
