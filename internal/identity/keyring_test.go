package identity

import (
	"bytes"
	"crypto/aes"
	"crypto/cipher"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func keyLine(id string, fill byte) string {
	return id + ":" + base64.StdEncoding.EncodeToString(bytes.Repeat([]byte{fill}, keyBytes))
}

func mustParse(t *testing.T, lines ...string) *Keyring {
	t.Helper()
	ring, err := ParseKeyring([]byte(strings.Join(lines, "\n")))
	if err != nil {
		t.Fatal(err)
	}
	return ring
}

func TestFirstKeySealsAndOlderKeysStillOpen(t *testing.T) {
	before := mustParse(t, keyLine("old", 1))
	sealed := before.Seal([]byte("4711"), []byte("component:1"))

	after := mustParse(t, "# turned in March", keyLine("new", 2), "", keyLine("old", 1)+"\r")
	if after.Current() != "new" {
		t.Fatalf("current key is %q", after.Current())
	}
	if plain, err := after.Open(sealed, []byte("component:1")); err != nil || string(plain) != "4711" {
		t.Fatalf("the old secret opens as %q, %v", plain, err)
	}
	if again := after.Seal([]byte("4711"), []byte("component:1")); again.KeyID != "new" {
		t.Fatalf("sealed with %q", again.KeyID)
	}
}

func TestSecretSealedWithMissingKeyNamesThatKey(t *testing.T) {
	sealed := mustParse(t, keyLine("old", 1)).Seal([]byte("4711"), nil)
	_, err := mustParse(t, keyLine("new", 2)).Open(sealed, nil)
	var unknown *UnknownKeyError
	if !errors.As(err, &unknown) || unknown.KeyID != "old" {
		t.Fatalf("error %v", err)
	}
}

func TestSecretOpensOnlyWhereItBelongs(t *testing.T) {
	ring := mustParse(t, keyLine("k1", 1), keyLine("k2", 2))
	rapid.Check(t, func(t *rapid.T) {
		plain := rapid.SliceOfN(rapid.Byte(), 0, 200).Draw(t, "plain")
		row := rapid.SliceOfN(rapid.Byte(), 0, 60).Draw(t, "row")
		sealed := ring.Seal(plain, row)
		if back, err := ring.Open(sealed, row); err != nil || !bytes.Equal(back, plain) {
			t.Fatalf("read back %q, %v", back, err)
		}
		if _, err := ring.Open(sealed, append([]byte("x"), row...)); !errors.Is(err, ErrSealBroken) {
			t.Fatalf("moved to another row: %v", err)
		}
		if _, err := ring.Open(Sealed{KeyID: "k2", Bytes: sealed.Bytes}, row); !errors.Is(err, ErrSealBroken) {
			t.Fatalf("with another key: %v", err)
		}
		altered := bytes.Clone(sealed.Bytes)
		altered[rapid.IntRange(0, len(altered)-1).Draw(t, "at")] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
		if _, err := ring.Open(Sealed{KeyID: sealed.KeyID, Bytes: altered}, row); !errors.Is(err, ErrSealBroken) {
			t.Fatalf("one bit turned: %v", err)
		}
		cut := rapid.IntRange(0, len(sealed.Bytes)-1).Draw(t, "cut")
		if _, err := ring.Open(Sealed{KeyID: sealed.KeyID, Bytes: sealed.Bytes[:cut]}, row); !errors.Is(err, ErrSealBroken) {
			t.Fatalf("cut to %d bytes: %v", cut, err)
		}
		if bytes.Equal(ring.Seal(plain, row).Bytes, sealed.Bytes) {
			t.Fatal("the same nonce twice")
		}
	})
}

// Whoever has the key file has to be able to read the secrets without this program: plain AES-256-GCM, nonce first.
func TestSealedSecretIsPlainAESGCM(t *testing.T) {
	sealed := mustParse(t, keyLine("k1", 7)).Seal([]byte("0815"), []byte("site:9"))
	block, err := aes.NewCipher(bytes.Repeat([]byte{7}, 32))
	if err != nil {
		t.Fatal(err)
	}
	gcm, err := cipher.NewGCM(block)
	if err != nil {
		t.Fatal(err)
	}
	plain, err := gcm.Open(nil, sealed.Bytes[:12], sealed.Bytes[12:], []byte("site:9"))
	if err != nil || string(plain) != "0815" {
		t.Fatalf("opened by hand: %q, %v", plain, err)
	}
}

func TestFaultyKeyFileIsRefusedWithItsLine(t *testing.T) {
	for _, c := range []struct{ name, file, want string }{
		{"empty", "", "no key in it"},
		{"comments only", "# nothing\n\n", "no key in it"},
		{"no colon", "# k\nk1 AAAA", "line 2: not of the form"},
		{"bad id", "K 1:AAAA", "line 1: a key id is"},
		{"no id", ":AAAA", "line 1: a key id is"},
		{"long id", strings.Repeat("k", 33) + ":AAAA", "line 1: a key id is"},
		{"not base64", "k1:!!", `line 1: key "k1" is not base64`},
		{"short", "k1:AAAA", `line 1: key "k1" has 3 bytes, not 32`},
		{"zeros", keyLine("k1", 0), `key "k1" is all zeros`},
		{"id twice", keyLine("k1", 1) + "\n" + keyLine("k1", 2), `line 2: key id "k1" stands twice`},
		{"key twice", keyLine("k1", 1) + "\n" + keyLine("k2", 1), `line 2: key "k2" is the same key as "k1"`},
		{"huge", strings.Repeat("#", longestKeyFile+1), "longer than"},
	} {
		ring, err := ParseKeyring([]byte(c.file))
		if err == nil || ring != nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, %v; want %q", c.name, ring, err, c.want)
		}
	}
}

func TestKeyFileThatOthersCanReadIsRefused(t *testing.T) {
	for mode, ok := range map[fs.FileMode]bool{
		0o600: true, 0o400: true, 0o640: false, 0o604: false, 0o620: false, 0o602: false, 0o777: false,
		fs.ModeDir | 0o700: false, fs.ModeNamedPipe | 0o600: false,
	} {
		if err := CheckKeyFileMode(mode); (err == nil) != ok {
			t.Errorf("mode %s: %v", mode, err)
		}
	}
}

func TestNewKeyIsALineForTheKeyFile(t *testing.T) {
	first, err := NewKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	second, err := NewKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	ring := mustParse(t, second, first)
	if id, _, _ := strings.Cut(second, ":"); ring.Current() != id {
		t.Fatalf("current key %q of %q", ring.Current(), id)
	}
	if line, err := NewKey(strings.NewReader("too little")); err == nil {
		t.Fatalf("a key of too little randomness: %q", line)
	}
}

func TestKeyringPrintsNoKey(t *testing.T) {
	ring := mustParse(t, keyLine("k1", 0xAB))
	for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%q", "%x", "%d"} {
		if got := fmt.Sprintf(verb, ring); got != "keyring of 1, current k1" {
			t.Errorf("%s prints %q", verb, got)
		}
	}
}

func FuzzParseKeyring(f *testing.F) {
	f.Add([]byte(keyLine("k1", 1) + "\n# old\n" + keyLine("k0", 2)))
	f.Add([]byte("k1:AAAA"))
	f.Add([]byte(""))
	f.Add([]byte(":\n:\n"))
	f.Add([]byte("\xff:\x00"))
	f.Fuzz(func(t *testing.T, file []byte) {
		ring, err := ParseKeyring(file)
		if err != nil {
			if ring != nil {
				t.Fatal("an error and a keyring")
			}
			return
		}
		sealed := ring.Seal([]byte("x"), file)
		if plain, err := ring.Open(sealed, file); err != nil || string(plain) != "x" {
			t.Fatalf("keyring of %q does not open what it sealed: %v", file, err)
		}
	})
}
