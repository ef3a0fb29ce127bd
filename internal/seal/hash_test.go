package seal

import (
	"encoding/json"
	"strings"
	"testing"
)

func TestHashIsSHA256(t *testing.T) {
	for data, want := range map[string]string{ // FIPS 180-4 examples
		"":    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
		"abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
	} {
		if got := HashOf([]byte(data)).String(); got != want {
			t.Errorf("%q: %s, want %s", data, got, want)
		}
	}
}

func TestHashHasOneText(t *testing.T) {
	const text = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	h, err := ParseHash(text)
	if err != nil || h != HashOf([]byte("abc")) {
		t.Fatalf("%v, %v", h, err)
	}
	for _, c := range []struct{ text, want string }{
		{"", "0 characters"},
		{text[:63], "63 characters"},
		{text + "0", "65 characters"},
		{strings.ToUpper(text), "lower case"},
		{"g" + text[1:], "'g' at character 1"},
		{text[:63] + "\n", `'\n' at character 64`},
	} {
		if got, err := ParseHash(c.text); err == nil || got != (Hash{}) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v, %v; want an error with %q", c.text, got, err, c.want)
		}
	}
	written, err := json.Marshal(map[Hash]Hash{h: h})
	if err != nil || string(written) != `{"`+text+`":"`+text+`"}` {
		t.Errorf("%s, %v", written, err)
	}
	kept := h
	if err := json.Unmarshal([]byte(`"00"`), &kept); err == nil || kept != h {
		t.Errorf("a short hash: %v, value %v; want an error and the old value", err, kept)
	}
	if err := json.Unmarshal([]byte(`"`+text+`"`), &kept); err != nil || kept != h {
		t.Errorf("%v, %v", kept, err)
	}
}

func FuzzParseHash(f *testing.F) {
	for _, text := range []string{"", strings.Repeat("0", 64), strings.Repeat("F", 64), strings.Repeat("é", 32)} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if h, err := ParseHash(text); err == nil && h.String() != text {
			t.Fatalf("%q reads as %v", text, h)
		}
	})
}
