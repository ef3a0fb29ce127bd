package identity

import (
	"context"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/alexedwards/argon2id"
	"golang.org/x/sync/semaphore"
	"golang.org/x/text/unicode/norm"

	"lintel.example/lintel/internal/fault"
)

// Lengths in code points after normalisation. Least lengths: NIST SP 800-63B rev. 4 (15 alone: second-hand; 8 with a second
// factor: from memory). The standard wants at least 64 accepted; more than 128 only feeds the hash function.
const (
	leastPasswordLength           = 15
	leastPasswordLengthWithFactor = 8
	greatestPasswordLength        = 128
	leastLocalPart                = 4 // "jo" in a password of 15 says nothing
)

// CheckPassword judges a password that a person chose. There are no rules of composition and none of age, as NIST
// SP 800-63B rev. 4 demands (second-hand). The error is a fault that never repeats the password: password_unreadable
// (not UTF-8, or with control characters), password_too_short, password_too_long, password_contains_email (the part
// of the address before the @), password_expected (among the first that anybody tries).
func CheckPassword(password, email string, secondFactor bool) error {
	if !readable(password) {
		return fault.New(fault.Invalid, "password_unreadable")
	}
	password = norm.NFKC.String(password)
	least := leastPasswordLength
	if secondFactor {
		least = leastPasswordLengthWithFactor
	}
	switch length := utf8.RuneCountInString(password); {
	case length < least:
		return fault.New(fault.Invalid, "password_too_short", "least", least)
	case length > greatestPasswordLength:
		return fault.New(fault.Invalid, "password_too_long", "greatest", greatestPasswordLength)
	case containsLocalPart(password, email):
		return fault.New(fault.Invalid, "password_contains_email")
	case expected(password):
		return fault.New(fault.Invalid, "password_expected")
	}
	return nil
}

func readable(password string) bool {
	return utf8.ValidString(password) && !strings.ContainsFunc(password, unicode.IsControl)
}

func containsLocalPart(password, email string) bool {
	local, _, _ := strings.Cut(strings.ToLower(norm.NFKC.String(email)), "@")
	local, _, _ = strings.Cut(local, "+") // anna.berg+doors@ is anna.berg
	return utf8.RuneCountInString(local) >= leastLocalPart && strings.Contains(strings.ToLower(password), local)
}

//go:embed blocklist.txt
var blocklist string

// expected tells whether the WHOLE password is one of the listed, one of them over and over, a few characters over
// and over, or a run along the alphabet, the digits or the keyboard.
func expected(password string) bool {
	plain := lettersAndDigits(password)
	unit := repeatedPart(plain)
	if utf8.RuneCountInString(unit) <= 3 {
		return true
	}
	for line := range strings.Lines(blocklist) {
		if line = strings.TrimSpace(line); line != "" && line[0] != '#' && (line == plain || line == unit) {
			return true
		}
	}
	for _, run := range []string{
		"01234567890", "abcdefghijklmnopqrstuvwxyz", "qwertyuiopasdfghjklzxcvbnm", "qwertzuiopasdfghjklyxcvbnm", "azertyuiopqsdfghjklmwxcvbn",
	} {
		twice := run + run
		if strings.Contains(twice, unit) || strings.Contains(reversed(twice), unit) {
			return true
		}
	}
	return false
}

func lettersAndDigits(password string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, password)
}

// repeatedPart gives the shortest string whose repetitions (the last perhaps cut short) make up the text.
func repeatedPart(text string) string {
	for length := 1; length < len(text); length++ {
		if utf8.RuneStart(text[length]) && text[length:] == text[:len(text)-length] {
			return text[:length]
		}
	}
	return text
}

func reversed(ascii string) string {
	b := make([]byte, len(ascii))
	for i := range len(ascii) {
		b[len(ascii)-1-i] = ascii[i]
	}
	return string(b)
}

// hashing is what new hashes cost: argon2id, 19 MiB, 2 passes, 1 lane (OWASP's password storage sheet, from
// memory). Raise it, and Verify reports every older hash as outdated.
var hashing = argon2id.Params{Memory: 19 << 10, Iterations: 2, Parallelism: 1, SaltLength: 16, KeyLength: 32}

// Hasher hashes and verifies passwords, at most so many at a time, so that a flood of sign-ins takes neither all
// memory nor all processors. Safe for concurrent use.
type Hasher struct {
	cost    argon2id.Params
	slots   *semaphore.Weighted
	nobodys string // a hash that no password fits
}

// NewHasher allows atOnce hashes at a time (19 MiB each).
func NewHasher(atOnce int) (*Hasher, error) { return hasherAt(atOnce, hashing) }

// NewHasherForTests hashes at next to no cost: for tests that sign people in by the hundred, and for nothing else.
func NewHasherForTests() (*Hasher, error) {
	return hasherAt(2, argon2id.Params{Memory: 8, Iterations: 1, Parallelism: 1, SaltLength: 16, KeyLength: 16})
}

func hasherAt(atOnce int, cost argon2id.Params) (*Hasher, error) {
	if atOnce < 1 {
		return nil, fmt.Errorf("passwords: %d hashes at a time", atOnce)
	}
	// The text cannot come back from a person: control characters are refused before they reach the comparison.
	nobodys, err := argon2id.CreateHash("\x00nobody", &cost)
	if err != nil {
		return nil, fmt.Errorf("passwords: %w", err)
	}
	return &Hasher{cost: cost, slots: semaphore.NewWeighted(int64(atOnce)), nobodys: nobodys}, nil
}

// Hash gives the text to store. It waits for its turn; ctx ends the wait. It does not judge the password (CheckPassword does), but
// refuses what Verify would never accept.
func (h *Hasher) Hash(ctx context.Context, password string) (string, error) {
	if !readable(password) {
		return "", fault.New(fault.Invalid, "password_unreadable")
	}
	password = norm.NFKC.String(password)
	if utf8.RuneCountInString(password) > greatestPasswordLength {
		return "", fault.New(fault.Invalid, "password_too_long", "greatest", greatestPasswordLength)
	}
	if err := h.slots.Acquire(ctx, 1); err != nil {
		return "", err
	}
	defer h.slots.Release(1)
	return argon2id.CreateHash(password, &h.cost)
}

// Verify compares a password with a stored hash. outdated tells that the hash was made with other parameters than
// today's and should be made anew while the password is at hand. An error says that nothing was compared.
func (h *Hasher) Verify(ctx context.Context, password, hash string) (match, outdated bool, err error) {
	if !readable(password) || len(password) > 4*greatestPasswordLength {
		return false, false, h.VerifyNobody(ctx)
	}
	params, _, _, err := argon2id.DecodeHash(hash)
	if err != nil {
		return false, false, fmt.Errorf("stored password hash: %w", err)
	}
	if params.Iterations < 1 || params.Parallelism < 1 || params.Memory > 1<<20 || params.Iterations > 100 {
		return false, false, errors.New("stored password hash: parameters out of reason")
	}
	if err := h.slots.Acquire(ctx, 1); err != nil {
		return false, false, err
	}
	defer h.slots.Release(1)
	match, _, err = argon2id.CheckHash(norm.NFKC.String(password), hash)
	return match, *params != h.cost, err
}

// VerifyNobody takes as long as Verify: call it when no account has the name that was given, so that the clock
// does not tell which accounts exist.
func (h *Hasher) VerifyNobody(ctx context.Context) error {
	_, _, err := h.Verify(ctx, "somebody", h.nobodys)
	return err
}

// RandomPassword makes a one-time password to be read out or copied by hand: four groups of four, no look-alikes
// (no 0, 1, i, l, o, u), 78 bits.
func RandomPassword(random io.Reader) (string, error) {
	const alphabet = "23456789abcdefghjkmnpqrstvwxyz"
	const fair = 256 / len(alphabet) * len(alphabet) // bytes from here on would favour the first letters
	var password []byte
	for letters := 0; letters < 16; {
		var b [1]byte
		if _, err := io.ReadFull(random, b[:]); err != nil {
			return "", fmt.Errorf("one-time password: %w", err)
		}
		if int(b[0]) >= fair {
			continue
		}
		if letters > 0 && letters%4 == 0 {
			password = append(password, '-')
		}
		password = append(password, alphabet[int(b[0])%len(alphabet)])
		letters++
	}
	return string(password), nil
}

const (
	secretPrefix = "lintel_" // lets people, and programs that look for leaked secrets, know one when they see it
	secretBytes  = 32
)

// NewSecret makes a session's or token's secret of 256 bits, to be handed out once, and the hash to keep. A plain
// SHA-256 is enough for it: there is nothing to guess.
func NewSecret(random io.Reader) (secret string, hash [32]byte, err error) {
	var raw [secretBytes]byte
	if _, err := io.ReadFull(random, raw[:]); err != nil {
		return "", hash, fmt.Errorf("new secret: %w", err)
	}
	secret = secretPrefix + base64.RawURLEncoding.EncodeToString(raw[:])
	return secret, sha256.Sum256([]byte(secret)), nil
}

// HashSecret gives the hash under which a presented secret is looked up; ok is false when the text cannot be one of ours.
func HashSecret(secret string) (hash [32]byte, ok bool) {
	encoded, found := strings.CutPrefix(secret, secretPrefix)
	if !found || len(encoded) != base64.RawURLEncoding.EncodedLen(secretBytes) {
		return hash, false
	}
	if _, err := base64.RawURLEncoding.Strict().DecodeString(encoded); err != nil {
		return hash, false
	}
	return sha256.Sum256([]byte(secret)), true
}
