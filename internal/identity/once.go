package identity

import (
	"context"
	"crypto/aes"
	"crypto/cipher"
	"crypto/hkdf"
	"crypto/sha256"
	"fmt"
	"io"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
)

// Once is a request that takes effect once, however often it is sent (the IETF's draft-ietf-httpapi-idempotency-key-header,
// second-hand). What it was answered is kept sealed by the request itself, because such answers hold secrets: it opens for
// whoever sends the same request with the same secret again, and for nobody else.
type Once struct {
	Key     string // the sender's own
	Secret  string // of the session or token that asks
	Method  string
	Address string // with the query
	Body    []byte
}

// Claim is the right to do a request that is under way.
type Claim struct {
	personID uuid.UUID
	once     Once
	begunAt  time.Time
}

// abandonedAfter is how long after its beginning a request counts as broken off without an answer: longer than any runs.
// Whether it took effect is then not known, and it is done again.
const abandonedAfter = 5 * time.Minute

// runningWait is when to ask again for the answer to a request that is at work.
const runningWait = 2 * time.Second

// answersKeptDays is how many whole days an answer is kept, after the one on which it was given.
const answersKeptDays = 1

type onceRows interface {
	// InsertClaim answers false when there is one of the person under the key.
	InsertClaim(ctx context.Context, personID uuid.UUID, key [32]byte, at time.Time) (bool, error)
	// KeptAnswer gives what was sealed, nil while the request is at work, and when that began; false: there is none any more.
	KeptAnswer(ctx context.Context, personID uuid.UUID, key [32]byte) (sealed []byte, begunAt time.Time, there bool, err error)
	// TakeClaim answers false when somebody else has taken it, or it has been answered.
	TakeClaim(ctx context.Context, personID uuid.UUID, key [32]byte, begunAt, at time.Time) (bool, error)
	// SealAnswer does nothing when the claim was taken by somebody else.
	SealAnswer(ctx context.Context, personID uuid.UUID, key [32]byte, begunAt time.Time, sealed []byte) error
	DropClaim(ctx context.Context, personID uuid.UUID, key [32]byte, begunAt time.Time) error
	// ForgetAnswers deletes what was begun before an instant, and tells how many.
	ForgetAnswers(ctx context.Context, before time.Time) (int64, error)
}

// BeginOnce gives the answer that is kept, or a claim to do the request. While the same is at work: request_running. Another
// request under the same key, or the same under another sign-in: idempotency_key_used.
func (p *People) BeginOnce(ctx context.Context, by Actor, o Once) (kept []byte, claim *Claim, err error) {
	key := sha256.Sum256([]byte(o.Key))
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		kept, claim = nil, &Claim{by.PersonID, o, p.now()}
		inserted, err := tx.InsertClaim(ctx, by.PersonID, key, claim.begunAt)
		if err != nil || inserted {
			return err
		}
		sealed, begunAt, there, err := tx.KeptAnswer(ctx, by.PersonID, key)
		switch {
		case err != nil:
			return err
		case sealed != nil:
			claim = nil
			kept, err = o.open(sealed)
			return err
		case there && claim.begunAt.Sub(begunAt) > abandonedAfter:
			taken, err := tx.TakeClaim(ctx, by.PersonID, key, begunAt, claim.begunAt)
			if err != nil || taken {
				return err
			}
		}
		return &fault.Error{Kind: fault.Conflict, Code: "request_running", Wait: runningWait}
	})
	if err != nil {
		return nil, nil, err
	}
	return kept, claim, nil
}

// EndOnce keeps what was answered.
func (p *People) EndOnce(ctx context.Context, c *Claim, answer []byte) error {
	sealed, err := c.once.seal(p.random, answer)
	if err != nil {
		return err
	}
	return p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		return tx.SealAnswer(ctx, c.personID, sha256.Sum256([]byte(c.once.Key)), c.begunAt, sealed)
	})
}

// DropOnce gives a claim up: the request came to nothing and may be tried again under its key.
func (p *People) DropOnce(ctx context.Context, c *Claim) error {
	return p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		return tx.DropClaim(ctx, c.personID, sha256.Sum256([]byte(c.once.Key)), c.begunAt)
	})
}

// ForgetAnswers forgets what was answered more than a day before a day, and tells how much.
func (p *People) ForgetAnswers(ctx context.Context, day duedate.Day) (forgotten int64, err error) {
	y, m, d := day.AddDays(-answersKeptDays).Date()
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		forgotten, err = tx.ForgetAnswers(ctx, time.Date(y, m, d, 0, 0, 0, 0, time.UTC))
		return err
	})
	return forgotten, err
}

// aead is made of the sender's secret, the key and the body; method and address are proven beside it.
func (o Once) aead() (cipher.AEAD, []byte, error) {
	secret := sha256.Sum256([]byte(o.Secret))
	body := sha256.Sum256(o.Body)
	key, err := hkdf.Key(sha256.New, append(append(secret[:], body[:]...), o.Key...), nil, "lintel kept answer", keyBytes)
	if err != nil {
		return nil, nil, err
	}
	block, err := aes.NewCipher(key)
	if err != nil {
		return nil, nil, err
	}
	aead, err := cipher.NewGCM(block)
	return aead, []byte(o.Method + " " + o.Address), err
}

func (o Once) seal(random io.Reader, answer []byte) ([]byte, error) {
	aead, beside, err := o.aead()
	if err != nil {
		return nil, err
	}
	nonce := make([]byte, aead.NonceSize())
	if _, err := io.ReadFull(random, nonce); err != nil {
		return nil, fmt.Errorf("nonce: %w", err)
	}
	return aead.Seal(nonce, nonce, answer, beside), nil
}

// open gives a kept answer to whoever sends the same request.
func (o Once) open(sealed []byte) ([]byte, error) {
	aead, beside, err := o.aead()
	if err != nil {
		return nil, err
	}
	used := fault.New(fault.Invalid, "idempotency_key_used")
	if len(sealed) < aead.NonceSize() {
		return nil, used
	}
	answer, err := aead.Open(nil, sealed[:aead.NonceSize()], sealed[aead.NonceSize():], beside)
	if err != nil {
		return nil, used
	}
	return answer, nil
}
