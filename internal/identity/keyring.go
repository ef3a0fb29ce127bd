package identity

import (
	"bytes"
	"crypto/aes"
	"crypto/cipher"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"
)

const (
	keyBytes        = 32 // AES-256
	longestKeyID    = 32
	longestKeyFile  = 64 << 10
	newKeyIDEntropy = 5 // bytes: enough that two keys of one company never meet
)

// Keyring signs links in letters (SignLink), and seals the few secrets that have to be read again, lock codes and key-safe codes, so that a copy of the
// database alone does not open a door. It is safe for concurrent use and prints no key, whatever the format verb.
type Keyring struct {
	current string
	ciphers map[string]cipher.AEAD
	links   map[string][]byte // keys that sign links in letters
}

// Sealed is a secret as stored: the id of the key and the ciphertext (12 bytes nonce, text, 16 bytes of proof).
type Sealed struct {
	KeyID string
	Bytes []byte
}

// UnknownKeyError says that a secret was sealed with a key that the key file does not (or no longer) hold.
type UnknownKeyError struct{ KeyID string }

func (e *UnknownKeyError) Error() string {
	return fmt.Sprintf("the key file has no key %q: put the key back that sealed this secret", e.KeyID)
}

// ErrSealBroken says that the ciphertext was changed, or belongs to another row than the one it was read from.
var ErrSealBroken = errors.New("the sealed secret was altered or belongs to something else")

// ParseKeyring reads a key file: one "keyid:base64" a line, 32 bytes a key, the first line the current key, older
// keys below it for as long as anything sealed with them is kept. Blank lines and lines that begin with # are
// skipped. Errors name the line and never repeat what stands there.
func ParseKeyring(file []byte) (*Keyring, error) {
	if len(file) > longestKeyFile {
		return nil, fmt.Errorf("key file: longer than %d bytes", longestKeyFile)
	}
	ring := &Keyring{ciphers: map[string]cipher.AEAD{}, links: map[string][]byte{}}
	seen := map[string]string{} // key → id
	for i, line := range strings.Split(string(file), "\n") {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		id, key, err := parseKey(line)
		if err != nil {
			return nil, fmt.Errorf("key file, line %d: %w", i+1, err)
		}
		if _, twice := ring.ciphers[id]; twice {
			return nil, fmt.Errorf("key file, line %d: key id %q stands twice", i+1, id)
		}
		if other, twice := seen[string(key)]; twice {
			return nil, fmt.Errorf("key file, line %d: key %q is the same key as %q", i+1, id, other)
		}
		seen[string(key)] = id
		if ring.ciphers[id], err = newCipher(key); err != nil {
			return nil, fmt.Errorf("key file, line %d: %w", i+1, err)
		}
		if ring.links[id], err = linkKey(key); err != nil {
			return nil, fmt.Errorf("key file, line %d: %w", i+1, err)
		}
		if ring.current == "" {
			ring.current = id
		}
	}
	if ring.current == "" {
		return nil, errors.New("key file: no key in it")
	}
	return ring, nil
}

func parseKey(line string) (id string, key []byte, err error) {
	id, encoded, found := strings.Cut(line, ":")
	if !found {
		return "", nil, errors.New(`not of the form "keyid:base64"`)
	}
	if !validKeyID(id) {
		return "", nil, fmt.Errorf("a key id is 1 to %d of a-z, 0-9 and -", longestKeyID)
	}
	key, err = base64.StdEncoding.Strict().DecodeString(encoded)
	if err != nil {
		return "", nil, fmt.Errorf("key %q is not base64", id)
	}
	if len(key) != keyBytes {
		return "", nil, fmt.Errorf("key %q has %d bytes, not %d", id, len(key), keyBytes)
	}
	if bytes.Equal(key, make([]byte, keyBytes)) {
		return "", nil, fmt.Errorf("key %q is all zeros", id)
	}
	return id, key, nil
}

func validKeyID(id string) bool {
	for _, r := range id {
		if (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '-' {
			return false
		}
	}
	return id != "" && len(id) <= longestKeyID
}

// newCipher makes nonces itself: a nonce used twice would give the key away, so no caller gets to choose one.
func newCipher(key []byte) (cipher.AEAD, error) {
	block, err := aes.NewCipher(key)
	if err != nil {
		return nil, err
	}
	return cipher.NewGCMWithRandomNonce(block)
}

// CheckKeyFileMode refuses a key file that others on the machine can read or change.
func CheckKeyFileMode(mode fs.FileMode) error {
	if !mode.IsRegular() {
		return fmt.Errorf("key file: not a plain file (%s)", mode)
	}
	if mode.Perm()&0o077 != 0 {
		return fmt.Errorf("key file: mode %04o lets others read or change it; make it 0600", mode.Perm())
	}
	return nil
}

// NewKey makes a line for a key file, with an id of its own.
func NewKey(random io.Reader) (string, error) {
	var raw [newKeyIDEntropy + keyBytes]byte
	if _, err := io.ReadFull(random, raw[:]); err != nil {
		return "", fmt.Errorf("new key: %w", err)
	}
	return fmt.Sprintf("k%x:%s", raw[:newKeyIDEntropy], base64.StdEncoding.EncodeToString(raw[newKeyIDEntropy:])), nil
}

// Current is the id of the key that Seal uses; a secret under another id should be sealed again.
func (k *Keyring) Current() string { return k.current }

// Seal encrypts with the current key (AES-256-GCM). associated names the row and column that the secret belongs
// to, for example "component:<id>:lock_code": it is not stored, and Open needs the same.
func (k *Keyring) Seal(plaintext, associated []byte) Sealed {
	return Sealed{KeyID: k.current, Bytes: k.ciphers[k.current].Seal(nil, nil, plaintext, associated)}
}

// Open decrypts. The error is an *UnknownKeyError or ErrSealBroken.
func (k *Keyring) Open(s Sealed, associated []byte) ([]byte, error) {
	aead, known := k.ciphers[s.KeyID]
	if !known {
		return nil, &UnknownKeyError{KeyID: s.KeyID}
	}
	plaintext, err := aead.Open(nil, nil, s.Bytes, associated)
	if err != nil {
		return nil, ErrSealBroken
	}
	return plaintext, nil
}

// Format keeps keys out of logs under every verb.
func (k *Keyring) Format(f fmt.State, _ rune) {
	fmt.Fprintf(f, "keyring of %d, current %s", len(k.ciphers), k.current)
}
