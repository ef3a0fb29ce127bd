package identity

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"strings"
	"time"

	"github.com/google/uuid"
	"golang.org/x/text/unicode/norm"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
)

// Whoever fails to sign in waits longer and longer. NIST SP 800-63B limits failures in a row to 100 per account
// (FOUND); the free ones and the waits are common practice, no source.
const (
	freeFailures = 3                // without a wait: everybody mistypes
	longestWait  = 15 * time.Minute // after 1 s, 2 s, 4 s, …
	mostFailures = 100              // then only a new password helps
)

// OneTimeFor is how long a one-time password opens a session: common practice, no source.
const OneTimeFor = 72 * time.Hour

// failuresKeptDays is after how many days without another one an account's failures are forgotten: it bounds what is kept of
// guesses at names that nobody has, and 100 guesses in so long a time are none. Common practice, no source.
const failuresKeptDays = 90

// Credentials are what a sign-in is compared with.
type Credentials struct {
	PersonID     uuid.UUID
	PasswordHash string     // "": no password fits
	OneTimeUntil *time.Time // nil: the password is the person's own
}

type signInRows interface {
	// CredentialsByEmail looks by the address in lower case.
	CredentialsByEmail(ctx context.Context, email string) (Credentials, error)
	// SetPassword writes a hash; an end says that it is of a one-time password.
	SetPassword(ctx context.Context, personID uuid.UUID, hash string, oneTimeUntil *time.Time) error
	// RehashPassword writes a new hash of the same password, unless the password has changed from old meanwhile.
	RehashPassword(ctx context.Context, personID uuid.UUID, old, hash string) error

	InsertFailure(ctx context.Context, id uuid.UUID, account [32]byte, at time.Time) error
	// Failures tells how many there were in a row, and when the last one was.
	Failures(ctx context.Context, account [32]byte) (count int, last time.Time, err error)
	ClearFailures(ctx context.Context, account [32]byte) error
	// ForgetFailures deletes those of accounts whose last one was before an instant, and tells how many.
	ForgetFailures(ctx context.Context, before time.Time) (int64, error)
}

// SignIn opens a session. secret is handed out this once. An unknown account, a wrong password, a disabled and an
// expired person cost the same and read the same: sign_in_failed. Too many failures: sign_in_wait with seconds, or
// sign_in_locked, for accounts that exist and for those that do not. one_time_password_ended is for who knows it only.
func (p *People) SignIn(ctx context.Context, email, password, userAgent, requestID string) (secret string, s Session, who Actor, err error) {
	proven, err := p.prove(ctx, email, password)
	if err != nil {
		return "", Session{}, Actor{}, err
	}
	secret, hash, err := NewSecret(p.random)
	if err != nil {
		return "", Session{}, Actor{}, err
	}
	now := p.now()
	s = Session{SessionID: p.newID(), PersonID: proven.PersonID, CreatedAt: now, LastSeenAt: now, ExpiresAt: now.Add(sessionMost), UserAgent: shortened(userAgent, 200)}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		if err := lockPerson(ctx, tx, proven.PersonID); err != nil {
			return err
		}
		person, err := tx.PersonByID(ctx, proven.PersonID)
		if err != nil {
			return err
		}
		// A password that was reset, or a person disabled, while the hash was computed opens nothing.
		present, err := tx.CredentialsByEmail(ctx, person.Email)
		if err != nil {
			return err
		}
		if !person.active(now) || present.PasswordHash != proven.PasswordHash {
			return signInFailed()
		}
		if proven.newHash != "" {
			if err := tx.RehashPassword(ctx, person.PersonID, proven.PasswordHash, proven.newHash); err != nil {
				return err
			}
		}
		if err := tx.ClearFailures(ctx, accountOf(email)); err != nil {
			return err
		}
		if err := tx.InsertSession(ctx, hash, s); err != nil {
			return err
		}
		who = person.actor(s.SessionID, nil)
		return p.event(ctx, tx, person.PersonID, "signed_in", "session", s.SessionID.String(), requestID)
	})
	if err != nil {
		return "", Session{}, Actor{}, err
	}
	return secret, s, who, nil
}

func signInFailed() error { return fault.New(fault.Unauthenticated, "sign_in_failed") }

// accountName is how an address is looked up and counted.
func accountName(email string) string { return strings.ToLower(strings.TrimSpace(email)) }

// accountOf is under what failures are counted: whatever was typed, so that accounts that do not exist are counted too.
func accountOf(email string) [32]byte { return sha256.Sum256([]byte(accountName(email))) }

// proven is whose password was given.
type proven struct {
	Credentials
	newHash string // when the stored one was made with parameters of former days
}

// prove compares an account's password. The attempt counts as failed before anything is compared, under a lock, so
// that many at once get no more guesses than one after the other; whoever succeeds clears the count.
func (p *People) prove(ctx context.Context, email, password string) (proven, error) {
	var against Credentials
	err := p.store.InGate(ctx, func(ctx context.Context, tx GateTx) (err error) {
		against, err = p.attempt(ctx, tx, email)
		return err
	})
	if err != nil {
		return proven{}, err
	}
	if against.PasswordHash == "" {
		if err := p.hasher.VerifyNobody(ctx); err != nil {
			return proven{}, err
		}
		return proven{}, signInFailed()
	}
	match, outdated, err := p.hasher.Verify(ctx, password, against.PasswordHash)
	if err != nil {
		return proven{}, err
	}
	switch {
	case !match:
		return proven{}, signInFailed()
	case against.OneTimeUntil != nil && !p.now().Before(*against.OneTimeUntil):
		return proven{}, fault.New(fault.Unauthenticated, "one_time_password_ended")
	}
	found := proven{Credentials: against}
	if outdated {
		if found.newHash, err = p.hasher.Hash(ctx, password); err != nil {
			return proven{}, err
		}
	}
	return found, nil
}

// attempt counts an attempt, or refuses it, and gives what to compare with: nothing for an unknown account.
func (p *People) attempt(ctx context.Context, tx GateTx, email string) (Credentials, error) {
	account := accountOf(email)
	if err := tx.Lock(ctx, "sign-in "+hex.EncodeToString(account[:])); err != nil {
		return Credentials{}, err
	}
	count, last, err := tx.Failures(ctx, account)
	if err != nil {
		return Credentials{}, err
	}
	now := p.now()
	if err := mayTry(count, last, now); err != nil {
		return Credentials{}, err
	}
	if err := tx.InsertFailure(ctx, p.newID(), account, now); err != nil {
		return Credentials{}, err
	}
	name := accountName(email)
	if !readable(name) { // PostgreSQL takes neither; nobody has such an address
		name = ""
	}
	found, err := tx.CredentialsByEmail(ctx, name)
	if fault.Is(err, "person_not_found") {
		return Credentials{}, nil
	}
	return found, err
}

// mayTry refuses an attempt after count failures in a row, the last one at that instant.
func mayTry(count int, last, now time.Time) error {
	switch {
	case count >= mostFailures:
		return fault.New(fault.TooMany, "sign_in_locked")
	case count < freeFailures:
		return nil
	}
	wait := min(time.Second<<min(count-freeFailures, 20), longestWait)
	if left := last.Add(wait).Sub(now); left > 0 {
		seconds := int((left + time.Second - 1) / time.Second)
		f := fault.New(fault.TooMany, "sign_in_wait", "seconds", seconds)
		f.Wait = time.Duration(seconds) * time.Second
		return f
	}
	return nil
}

// ChangePassword needs the present password, and ends all other sessions. What may be wrong stands at /present or /next.
// Wrong present passwords count as failed sign-ins.
func (p *People) ChangePassword(ctx context.Context, by Actor, present, next, requestID string) error {
	if !by.May(ActSelf) {
		return fault.New(fault.Forbidden, "not_allowed", "action", string(ActSelf))
	}
	self, err := p.Self(ctx, by)
	if err != nil {
		return err
	}
	if err := CheckPassword(next, self.Email, false); err != nil {
		return atMember(err, "/next")
	}
	if norm.NFKC.String(next) == norm.NFKC.String(present) { // as they are hashed
		return fault.At("/next", "password_same")
	}
	before, err := p.prove(ctx, self.Email, present)
	if fault.Is(err, "sign_in_failed") {
		return fault.At("/present", "password_differs")
	}
	if err != nil {
		return err
	}
	hash, err := p.hasher.Hash(ctx, next)
	if err != nil {
		return err
	}
	return p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		if err := lockPerson(ctx, tx, by.PersonID); err != nil {
			return err
		}
		now, err := tx.CredentialsByEmail(ctx, self.Email)
		if err != nil {
			return err
		}
		if now.PasswordHash != before.PasswordHash {
			return fault.At("/present", "password_differs")
		}
		if err := tx.SetPassword(ctx, by.PersonID, hash, nil); err != nil {
			return err
		}
		if err := tx.ClearFailures(ctx, accountOf(self.Email)); err != nil {
			return err
		}
		if err := tx.EndSessions(ctx, by.PersonID, by.SessionID, p.now()); err != nil {
			return err
		}
		return p.event(ctx, tx, by.PersonID, "password_changed", "person", by.PersonID.String(), requestID)
	})
}

// ResetPassword gives a person a new one-time password, ends every session and forgets failed sign-ins. Tokens stay:
// they have no password, and are revoked one by one.
func (p *People) ResetPassword(ctx context.Context, by Actor, id uuid.UUID, requestID string) (oneTime string, err error) {
	if err := need(by, ActManagePeople); err != nil {
		return "", err
	}
	oneTime, hash, err := p.oneTimePassword(ctx)
	if err != nil {
		return "", err
	}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		until := p.now().Add(OneTimeFor)
		if err := lockPerson(ctx, tx, id); err != nil {
			return err
		}
		person, err := tx.PersonByID(ctx, id)
		if err != nil {
			return err
		}
		if err := tx.SetPassword(ctx, id, hash, &until); err != nil {
			return err
		}
		if err := tx.ClearFailures(ctx, accountOf(person.Email)); err != nil {
			return err
		}
		if err := tx.EndSessions(ctx, id, uuid.Nil, p.now()); err != nil {
			return err
		}
		return p.event(ctx, tx, by.PersonID, "password_reset", "person", id.String(), requestID)
	})
	if err != nil {
		return "", err
	}
	return oneTime, nil
}

// ResetPasswordOn is ResetPassword by address, for who sits at the machine itself because nobody can sign in any more. It
// refuses a person whom no password would let in.
func (p *People) ResetPasswordOn(ctx context.Context, email string) (oneTime string, err error) {
	var id uuid.UUID
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		found, err := tx.CredentialsByEmail(ctx, accountName(email))
		if err != nil {
			return err
		}
		person, err := tx.PersonByID(ctx, found.PersonID)
		if err == nil && !person.active(p.now()) {
			err = fault.New(fault.Conflict, "person_inactive")
		}
		id = person.PersonID
		return err
	})
	if err != nil {
		return "", err
	}
	return p.ResetPassword(ctx, Program(), id, "")
}

// ForgetFailures forgets the failed sign-ins of every account that has seen none for a long time before a day, and tells
// how many they were.
func (p *People) ForgetFailures(ctx context.Context, day duedate.Day) (forgotten int64, err error) {
	y, m, d := day.AddDays(-failuresKeptDays).Date()
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		forgotten, err = tx.ForgetFailures(ctx, time.Date(y, m, d, 0, 0, 0, 0, time.UTC))
		return err
	})
	return forgotten, err
}

func (p *People) oneTimePassword(ctx context.Context) (password, hash string, err error) {
	if password, err = RandomPassword(p.random); err != nil {
		return "", "", err
	}
	hash, err = p.hasher.Hash(ctx, password)
	return password, hash, err
}
