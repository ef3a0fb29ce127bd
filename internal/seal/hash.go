package seal

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
)

// Hash is a SHA-256 sum (FIPS 180-4). Its text, in JSON too, is 64 hexadecimal digits in lower case.
type Hash [sha256.Size]byte

// HashOf is the SHA-256 sum of the bytes.
func HashOf(data []byte) Hash { return sha256.Sum256(data) }

// ParseHash reads 64 hexadecimal digits in lower case and nothing else, so that a hash has one text.
func ParseHash(text string) (Hash, error) {
	var h Hash
	if len(text) != hex.EncodedLen(len(h)) {
		return Hash{}, fmt.Errorf("hash has %d characters, not the %d hexadecimal digits of SHA-256", len(text), hex.EncodedLen(len(h)))
	}
	for i := range len(text) {
		if c := text[i]; (c < '0' || c > '9') && (c < 'a' || c > 'f') {
			return Hash{}, fmt.Errorf("hash holds %q at character %d: not a hexadecimal digit in lower case", c, i+1)
		}
	}
	if _, err := hex.Decode(h[:], []byte(text)); err != nil {
		return Hash{}, fmt.Errorf("hash: %w", err)
	}
	return h, nil
}

func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// MarshalText writes what ParseHash reads.
func (h Hash) MarshalText() ([]byte, error) { return []byte(h.String()), nil }

// UnmarshalText reads what ParseHash reads and leaves h as it was on an error.
func (h *Hash) UnmarshalText(text []byte) error {
	parsed, err := ParseHash(string(text))
	if err != nil {
		return err
	}
	*h = parsed
	return nil
}
