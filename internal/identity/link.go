package identity

import (
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
)

// Links in letters carry a token: the id of a key, and what it was signed for, with an end. Whoever has the letter may use them, without
// signing in; nobody can make another. They are signed (HMAC, RFC 2104, with SHA-256) with a key of their own that is derived (HKDF, RFC 5869)
// from the key that seals codes, so that a token says nothing about that key.

const linkBytes = 16 + 8 + sha256.Size // id, end in seconds since 1970, signature

func linkKey(key []byte) ([]byte, error) {
	return hkdf.Key(sha256.New, key, nil, "lintel links in letters", sha256.Size)
}

// SignLink gives the token by which one thing may be done about id until an end, in whole seconds. The same again is the same token.
func (k *Keyring) SignLink(purpose string, id uuid.UUID, until time.Time) string {
	said := binary.BigEndian.AppendUint64(id[:], uint64(until.Unix()))
	return k.current + "." + base64.RawURLEncoding.EncodeToString(append(said, k.linkProof(k.current, purpose, said)...))
}

// ReadLink gives what a token was signed about. link_unknown: it is none of ours, or for something else; link_ended: its time is over.
func (k *Keyring) ReadLink(purpose, token string, now time.Time) (id uuid.UUID, err error) {
	keyID, text, _ := strings.Cut(token, ".")
	raw, err := base64.RawURLEncoding.Strict().DecodeString(text)
	if err != nil || len(raw) != linkBytes || k == nil || k.links[keyID] == nil {
		return uuid.Nil, fault.New(fault.NotFound, "link_unknown")
	}
	said, proof := raw[:16+8], raw[16+8:]
	if !hmac.Equal(proof, k.linkProof(keyID, purpose, said)) {
		return uuid.Nil, fault.New(fault.NotFound, "link_unknown")
	}
	if until := time.Unix(int64(binary.BigEndian.Uint64(said[16:])), 0); now.After(until) {
		return uuid.Nil, fault.New(fault.NotFound, "link_ended")
	}
	return uuid.UUID(said[:16]), nil
}

// linkProof is the signature: of the purpose, a zero byte that no purpose has, and what is said.
func (k *Keyring) linkProof(keyID, purpose string, said []byte) []byte {
	mac := hmac.New(sha256.New, k.links[keyID])
	mac.Write([]byte(purpose + "\x00"))
	mac.Write(said)
	return mac.Sum(nil)
}
