package identity

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"runtime"
	"strings"
	"testing"

	"github.com/alexedwards/argon2id"
	"pgregory.net/rapid"

	"lintel.example/lintel/internal/fault"
)

func TestPasswordIsJudgedByLengthAndExpectation(t *testing.T) {
	const email = "Anna.Berg+doors@example.org"
	for _, c := range []struct {
		name, password string
		factor         bool
		want           string
	}{
		{"a sentence", "my kettle sings flat", false, ""},
		{"fifteen lower case letters", "kettlesingsflat", false, ""},
		{"fourteen", "kettlesingfla1", false, "password_too_short"},
		{"fourteen with a second factor", "kettlesingfla1", true, ""},
		{"eight with a second factor", "kettle4y", true, ""},
		{"seven with a second factor", "kettle4", true, "password_too_short"},
		{"empty", "", false, "password_too_short"},
		{"fifteen Greek letters, thirty bytes", "βραστήραςτραγου", false, ""},
		{"fourteen letters written as letter and accent", strings.Repeat("e\u0301x", 7), false, "password_too_short"},
		{"longest", strings.Repeat("kettle sings fl ", 8), false, ""},
		{"longer", strings.Repeat("kettle sings fl ", 8) + "x", false, "password_too_long"},
		{"not UTF-8", "kettle sings flat\xff", false, "password_unreadable"},
		{"line break", "kettle sings\nflat today", false, "password_unreadable"},
		{"NUL", "kettle sings flat\x00", false, "password_unreadable"},
		{"local part inside", "my anna.berg kettle", false, "password_contains_email"},
		{"local part in capitals", "MY ANNA.BERG KETTLE", false, "password_contains_email"},
		{"listed, with spaces and capitals", "Correct Horse Battery Staple", false, "password_expected"},
		{"listed word twice", "password-password", false, "password_expected"},
		{"listed word, cut short", "passwordpasswor", false, "password_expected"},
		{"one letter", "aaaaaaaaaaaaaaaa", false, "password_expected"},
		{"three letters", "abcabcabcabcabcabc", false, "password_expected"},
		{"digits in order", "123456789012345", false, "password_expected"},
		{"digits backwards", "987654321098765", false, "password_expected"},
		{"alphabet", "defghijklmnopqrst", false, "password_expected"},
		{"keyboard", "qwertyuiopasdfgh", false, "password_expected"},
		{"signs only", "----------------", false, "password_expected"},
		{"a listed word among others is no fault", "the monkey winds my kettle", false, ""},
	} {
		if err := CheckPassword(c.password, email, c.factor); (err == nil) != (c.want == "") || err != nil && !fault.Is(err, c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
	if err := CheckPassword("jo sings flat today", "jo@example.org", false); err != nil {
		t.Errorf("two letters of an address inside a password: %v", err)
	}
}

func newHasher(t *testing.T) *Hasher {
	t.Helper()
	h, err := NewHasher(1)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func TestOnlyTheSamePasswordVerifies(t *testing.T) {
	h, ctx := newHasher(t), t.Context()
	hash, err := h.Hash(ctx, "my kettle sings flat")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(hash, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("hash %s", hash)
	}
	for password, want := range map[string]bool{
		"my kettle sings flat": true, "My kettle sings flat": false, "my kettle sings flat ": false, "": false, "my kettle": false,
		"my kettle sings flat\x00": false, strings.Repeat("k", 1000): false,
	} {
		match, outdated, err := h.Verify(ctx, password, hash)
		if err != nil || match != want || outdated {
			t.Errorf("%.30q: match %v, outdated %v, %v", password, match, outdated, err)
		}
	}
	again, err := h.Hash(ctx, "my kettle sings flat")
	if err != nil || again == hash {
		t.Errorf("no salt: %s twice, %v", again, err)
	}
}

// A password typed on another keyboard arrives with its accents composed in another way.
func TestAccentsVerifyHoweverTheyAreComposed(t *testing.T) {
	h, ctx := newHasher(t), t.Context()
	hash, err := h.Hash(ctx, "caf\u00e9 kettle sings")
	if err != nil {
		t.Fatal(err)
	}
	if match, _, err := h.Verify(ctx, "cafe\u0301 kettle sings", hash); err != nil || !match {
		t.Fatalf("match %v, %v", match, err)
	}
}

func TestOlderHashVerifiesAndIsReportedOutdated(t *testing.T) {
	old, err := argon2id.CreateHash("my kettle sings flat", &argon2id.Params{Memory: 8 << 10, Iterations: 1, Parallelism: 1, SaltLength: 16, KeyLength: 32})
	if err != nil {
		t.Fatal(err)
	}
	match, outdated, err := newHasher(t).Verify(t.Context(), "my kettle sings flat", old)
	if err != nil || !match || !outdated {
		t.Fatalf("match %v, outdated %v, %v", match, outdated, err)
	}
}

// Made by the reference program (Debian package argon2): printf 'my kettle sings flat' | argon2 lintelsalt123456 -id -t 2 -k 19456 -p 1 -l 32 -e
func TestHashOfTheReferenceProgramVerifies(t *testing.T) {
	const reference = "$argon2id$v=19$m=19456,t=2,p=1$bGludGVsc2FsdDEyMzQ1Ng$5r+CC3Uj7kBbGbHu2zjWOcEZ1QMiu+3+O0bgFJ0AiVQ"
	match, outdated, err := newHasher(t).Verify(t.Context(), "my kettle sings flat", reference)
	if err != nil || !match || outdated {
		t.Fatalf("match %v, outdated %v, %v", match, outdated, err)
	}
}

func TestBrokenStoredHashIsAnErrorAndNoPanic(t *testing.T) {
	h, ctx := newHasher(t), t.Context()
	good, err := h.Hash(ctx, "my kettle sings flat")
	if err != nil {
		t.Fatal(err)
	}
	for _, hash := range []string{
		"", "plain", "$argon2i$v=19$m=19456,t=2,p=1$AAAA$AAAA",
		strings.Replace(good, "t=2", "t=0", 1), strings.Replace(good, "p=1", "p=0", 1),
		strings.Replace(good, "m=19456", "m=4000000000", 1), strings.Replace(good, "t=2", "t=4000000000", 1),
	} {
		if match, _, err := h.Verify(ctx, "my kettle sings flat", hash); err == nil || match {
			t.Errorf("%q: match %v, %v", hash, match, err)
		}
	}
}

func TestNobodyIsVerifiedAtTheSameCost(t *testing.T) {
	h := newHasher(t)
	params, _, _, err := argon2id.DecodeHash(h.nobodys)
	if err != nil || *params != hashing {
		t.Fatalf("parameters %+v, %v", params, err)
	}
	if err := h.VerifyNobody(t.Context()); err != nil {
		t.Fatal(err)
	}
	allocated := func(run func()) float64 { // the 19 MiB are what the cost consists of
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		run()
		runtime.ReadMemStats(&after)
		return float64(after.TotalAlloc - before.TotalAlloc)
	}
	hash, err := h.Hash(t.Context(), "my kettle sings flat")
	if err != nil {
		t.Fatal(err)
	}
	somebody := allocated(func() { _, _, _ = h.Verify(t.Context(), "wrong password!", hash) })
	nobody := allocated(func() { _ = h.VerifyNobody(t.Context()) })
	overlong := allocated(func() { _, _, _ = h.Verify(t.Context(), strings.Repeat("k", 600), hash) })
	for name, got := range map[string]float64{"nobody": nobody, "overlong password": overlong} {
		if got < 0.99*somebody || got > 1.01*somebody {
			t.Errorf("%s takes %.0f bytes, a known account %.0f", name, got, somebody)
		}
	}
}

func TestHashingWaitsForItsTurnAndObeysTheContext(t *testing.T) {
	h := newHasher(t)
	if err := h.slots.Acquire(t.Context(), 1); err != nil { // somebody else is hashing
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if hash, err := h.Hash(ctx, "my kettle sings flat"); !errors.Is(err, context.Canceled) || hash != "" {
		t.Errorf("Hash: %q, %v", hash, err)
	}
	if match, _, err := h.Verify(ctx, "x", h.nobodys); !errors.Is(err, context.Canceled) || match {
		t.Errorf("Verify: %v, %v", match, err)
	}
	h.slots.Release(1)
	if _, err := h.Hash(t.Context(), "my kettle sings flat"); err != nil {
		t.Errorf("after the turn came: %v", err)
	}
	if _, err := NewHasher(0); err == nil {
		t.Error("a hasher that never hashes")
	}
}

func TestRandomPasswordCanBeReadOutAndIsAccepted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bytesIn := rapid.SliceOfN(rapid.Byte(), 400, 400).Draw(t, "random")
		password, err := RandomPassword(bytes.NewReader(bytesIn))
		if err != nil {
			return // hardly a usable byte among 400
		}
		groups := strings.Split(password, "-")
		if len(groups) != 4 || len(password) != 19 || strings.ContainsAny(password, "01ilou") {
			t.Fatalf("password %q", password)
		}
	})
	for range 200 {
		password, err := RandomPassword(rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		if err := CheckPassword(password, "anna.berg@example.org", false); err != nil {
			t.Fatalf("our own password %q is refused: %v", password, err)
		}
	}
	if password, err := RandomPassword(strings.NewReader("short")); err == nil {
		t.Errorf("a password of too little randomness: %q", password)
	}
}

// Every byte value once: each of the thirty characters has to come out equally often.
func TestRandomPasswordFavoursNoCharacter(t *testing.T) {
	all := make([]byte, 0, 256*16)
	for i := range 256 * 16 {
		all = append(all, byte(i))
	}
	count, random := map[rune]int{}, bytes.NewReader(all)
	for {
		password, err := RandomPassword(random)
		if err != nil {
			break
		}
		for _, r := range strings.ReplaceAll(password, "-", "") {
			count[r]++
		}
	}
	if len(count) != 30 {
		t.Errorf("%d characters", len(count))
	}
	for r, n := range count {
		if n != 128 { // 16 rounds × 240 fair bytes / 30
			t.Errorf("%c came %d times, not 128", r, n)
		}
	}
}

func TestSecretIsFoundAgainByItsHash(t *testing.T) {
	secret, hash, err := NewSecret(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(secret, "lintel_") || len(secret) != 7+43 || sha256.Sum256([]byte(secret)) != hash {
		t.Errorf("secret %q", secret)
	}
	if again, ok := HashSecret(secret); !ok || again != hash {
		t.Errorf("the secret is not known again")
	}
	for _, text := range []string{"", "lintel_", secret[7:], secret + "A", secret[:len(secret)-1], "lintel_" + strings.Repeat("!", 43), "Lintel_" + secret[7:]} {
		if _, ok := HashSecret(text); ok {
			t.Errorf("%q passes as a secret", text)
		}
	}
	if _, _, err := NewSecret(strings.NewReader("short")); err == nil {
		t.Error("a secret of too little randomness")
	}
}

func FuzzCheckPassword(f *testing.F) {
	f.Add("my kettle sings flat", "anna@example.org", false)
	f.Add("", "", true)
	f.Add("\xff", "@", false)
	f.Add("ﬀﬀﬀﬀﬀﬀﬀﬀ", "ﬀ@x", true)
	f.Add("日本語日本語日本語日本語日本語", "a", false)
	f.Fuzz(func(t *testing.T, password, email string, factor bool) {
		err := CheckPassword(password, email, factor)
		if err != nil && len(fault.Of(err)) != 1 {
			t.Fatalf("%v is no fault", err)
		}
	})
}
