package identity_test

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

func ringOf(t rapid.TB, lines ...string) *identity.Keyring {
	t.Helper()
	ring, err := identity.ParseKeyring([]byte(strings.Join(lines, "\n")))
	if err != nil {
		t.Fatal(err)
	}
	return ring
}

func keyLine(id string, fill byte) string {
	return id + ":" + base64.StdEncoding.EncodeToString(bytes.Repeat([]byte{fill}, 32))
}

func TestALinkIsGoodForItsPurposeUntilItsEnd(t *testing.T) {
	t.Parallel()
	old, end := ringOf(t, keyLine("old", 1)), time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)
	id := uuid.MustParse("01950000-0000-7000-8000-00000000d15b")
	token := old.SignLink("acknowledge", id, end)
	if token != old.SignLink("acknowledge", id, end) {
		t.Error("the same link again is another token: a letter that is sent again would be another letter")
	}
	for name, c := range map[string]struct {
		ring           *identity.Keyring
		purpose, token string
		now            time.Time
		want           string
	}{
		"in time":                       {old, "acknowledge", token, end, ""},
		"after another key came":        {ringOf(t, keyLine("new", 2), keyLine("old", 1)), "acknowledge", token, end, ""},
		"over":                          {old, "acknowledge", token, end.Add(time.Second), "link_ended"},
		"for something else":            {old, "decline", token, end, "link_unknown"},
		"of another installation":       {ringOf(t, keyLine("old", 3)), "acknowledge", token, end, "link_unknown"},
		"by a key that is gone":         {ringOf(t, keyLine("new", 2)), "acknowledge", token, end, "link_unknown"},
		"where there are no keys":       {nil, "acknowledge", token, end, "link_unknown"},
		"cut short":                     {old, "acknowledge", token[:len(token)-2], end, "link_unknown"},
		"nothing":                       {old, "acknowledge", "", end, "link_unknown"},
		"with the key's name alone":     {old, "acknowledge", "old.", end, "link_unknown"},
		"with padding, as nobody wrote": {old, "acknowledge", token + "=", end, "link_unknown"},
	} {
		got, err := c.ring.ReadLink(c.purpose, c.token, c.now)
		if code := codeOf(err); code != c.want || c.want == "" && got != id {
			t.Errorf("%s: %v %v, want %q", name, got, err, c.want)
		}
	}
}

func codeOf(err error) string {
	for _, f := range fault.Of(err) {
		return f.Code
	}
	return ""
}

// The signature is worked out here once more from the published parts, HKDF of RFC 5869 written out for one block.
func TestALinkIsSignedByHMACWithADerivedKey(t *testing.T) {
	t.Parallel()
	mac := func(key []byte, parts ...[]byte) []byte {
		h := hmac.New(sha256.New, key)
		for _, p := range parts {
			h.Write(p)
		}
		return h.Sum(nil)
	}
	id, end := uuid.MustParse("01950000-0000-7000-8000-00000000d15b"), time.Unix(1777593600, 0)
	extracted := mac(make([]byte, sha256.Size), bytes.Repeat([]byte{7}, 32))    // RFC 5869, 2.2, without salt
	key := mac(extracted, []byte("lintel links in letters"), []byte{1})         // 2.3, the first block
	said := append(id[:], 0, 0, 0, 0, 0x69, 0xf3, 0xed, 0x00)                   // 1777593600
	proof := mac(key, []byte("acknowledge\x00"), said)                          // RFC 2104
	want := "k." + base64.RawURLEncoding.EncodeToString(append(said, proof...)) // RFC 4648, section 5
	if got := ringOf(t, keyLine("k", 7)).SignLink("acknowledge", id, end); got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestNoBitOfALinkCanBeChanged(t *testing.T) {
	t.Parallel()
	ring, now := ringOf(t, keyLine("k", 9)), time.Unix(1_700_000_000, 0)
	rapid.Check(t, func(t *rapid.T) {
		id := uuid.UUID(rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(t, "id"))
		token := ring.SignLink("decline", id, now.Add(time.Duration(rapid.IntRange(0, 1<<30).Draw(t, "seconds"))*time.Second))
		if got, err := ring.ReadLink("decline", token, now); err != nil || got != id {
			t.Fatal(got, err)
		}
		raw, _ := base64.RawURLEncoding.DecodeString(strings.TrimPrefix(token, "k."))
		raw[rapid.IntRange(0, len(raw)-1).Draw(t, "byte")] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
		if _, err := ring.ReadLink("decline", "k."+base64.RawURLEncoding.EncodeToString(raw), now); codeOf(err) != "link_unknown" {
			t.Fatalf("a changed link is read: %v", err)
		}
	})
}
