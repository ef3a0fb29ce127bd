package seal

import (
	"bytes"
	"encoding/json"
	"maps"
	"slices"
	"strconv"
	"unicode/utf16"
)

// Difference gives the JSON Pointer (RFC 6901) of the first value, in canonical order, in which two canonical documents
// differ: a member or an element that only one of them has, or two values that are not the same. The empty pointer is
// the whole document. ok is false where they do not differ. It names the place and tells no value.
func Difference(a, b []byte) (pointer string, ok bool) {
	if bytes.Equal(a, b) {
		return "", false
	}
	left, errLeft := decoded(a)
	right, errRight := decoded(b)
	if errLeft != nil || errRight != nil {
		return "", true
	}
	return differ(left, right)
}

func decoded(text []byte) (value any, err error) {
	tokens := json.NewDecoder(bytes.NewReader(text))
	tokens.UseNumber()
	err = tokens.Decode(&value)
	return value, err
}

func differ(a, b any) (pointer string, ok bool) {
	switch left := a.(type) {
	case map[string]any:
		if right, same := b.(map[string]any); same {
			return differingMember(left, right)
		}
		return "", true
	case []any:
		if right, same := b.([]any); same {
			return differingElement(left, right)
		}
		return "", true
	default:
		switch b.(type) {
		case map[string]any, []any: // not comparable with ==
			return "", true
		}
		return "", a != b
	}
}

func differingMember(a, b map[string]any) (pointer string, ok bool) {
	both := maps.Clone(a)
	maps.Copy(both, b)
	for _, name := range slices.SortedFunc(maps.Keys(both), canonicalOrder) {
		left, inA := a[name]
		right, inB := b[name]
		if inA != inB {
			return "/" + escaped(name), true
		}
		if within, ok := differ(left, right); ok {
			return "/" + escaped(name) + within, true
		}
	}
	return "", false
}

func differingElement(a, b []any) (pointer string, ok bool) {
	for i := range max(len(a), len(b)) {
		if i >= len(a) || i >= len(b) {
			return "/" + strconv.Itoa(i), true
		}
		if within, ok := differ(a[i], b[i]); ok {
			return "/" + strconv.Itoa(i) + within, true
		}
	}
	return "", false
}

// canonicalOrder is that of RFC 8785, section 3.2.3: by UTF-16 code units.
func canonicalOrder(a, b string) int {
	return slices.Compare(utf16.Encode([]rune(a)), utf16.Encode([]rune(b)))
}
