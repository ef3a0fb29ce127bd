package identity

import (
	"context"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
)

// How long a session lasts unused and at most: a technician's day and week, common practice, no source (the first level
// of NIST SP 800-63B allows 30 days, FOUND). And how often it is written that a secret was used.
const (
	sessionIdle = 12 * time.Hour
	sessionMost = 7 * 24 * time.Hour
	touchEvery  = time.Minute
)

// Session is a signed-in browser or device.
type Session struct {
	SessionID  uuid.UUID
	PersonID   uuid.UUID
	CreatedAt  time.Time
	LastSeenAt time.Time // to the minute
	ExpiresAt  time.Time
	UserAgent  string
}

// Bearer is whom a secret stands for, by a session or by a token.
type Bearer struct {
	Person             Person
	SessionID, TokenID uuid.UUID // one of them
	Scopes             []TokenScope
	UsedAt             *time.Time // nil: a token that nobody has used
	ExpiresAt          time.Time
	EndedAt            *time.Time
}

type sessionRows interface {
	// BearerByHash looks among sessions and tokens.
	BearerByHash(ctx context.Context, hash [32]byte) (Bearer, error)
	TouchSession(ctx context.Context, id uuid.UUID, at time.Time) error
	TouchToken(ctx context.Context, id uuid.UUID, at time.Time) error

	InsertSession(ctx context.Context, hash [32]byte, s Session) error
	// SessionPage lists the sessions of a person that have not ended and were seen since.
	SessionPage(ctx context.Context, personID uuid.UUID, seenSince, now time.Time, page Page) ([]Session, error)
	// EndSession answers false when the person has no such session that runs.
	EndSession(ctx context.Context, personID, id uuid.UUID, at time.Time) (bool, error)
	// EndSessions ends those of a person but for one; the zero id keeps none.
	EndSessions(ctx context.Context, personID, keep uuid.UUID, at time.Time) error
}

// Authenticate tells whom a session's or a token's secret stands for. Rights are read anew each time: what an
// administrator takes away is gone at once. The faults are secret_unknown (none of ours) and session_ended (ended,
// expired, unused for too long, revoked, or its person disabled or expired).
func (p *People) Authenticate(ctx context.Context, secret string) (who Actor, err error) {
	hash, ok := HashSecret(secret)
	if !ok {
		return Actor{}, secretUnknown()
	}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		b, err := tx.BearerByHash(ctx, hash)
		if fault.Is(err, "secret_unknown") {
			return secretUnknown()
		}
		if err != nil {
			return err
		}
		now := p.now()
		if !b.holds(now) {
			return fault.New(fault.Unauthenticated, "session_ended")
		}
		who = b.Person.actor(b.SessionID, b.Scopes)
		return b.touch(ctx, tx, now)
	})
	if err != nil {
		return Actor{}, err
	}
	return who, nil
}

func secretUnknown() error { return fault.New(fault.Unauthenticated, "secret_unknown") }

func (b Bearer) holds(now time.Time) bool {
	idle := b.TokenID == uuid.Nil && b.UsedAt != nil && !now.Before(b.UsedAt.Add(sessionIdle))
	return b.EndedAt == nil && now.Before(b.ExpiresAt) && !idle && b.Person.active(now)
}

// touch writes that a secret was used, but not at every request.
func (b Bearer) touch(ctx context.Context, tx GateTx, now time.Time) error {
	if b.UsedAt != nil && now.Sub(*b.UsedAt) < touchEvery {
		return nil
	}
	if b.TokenID != uuid.Nil {
		return tx.TouchToken(ctx, b.TokenID, now)
	}
	return tx.TouchSession(ctx, b.SessionID, now)
}

// Sessions lists the actor's own sessions that run, the newest first.
func (p *People) Sessions(ctx context.Context, by Actor, page Page) (list []Session, err error) {
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		now := p.now()
		list, err = tx.SessionPage(ctx, by.PersonID, now.Add(-sessionIdle), now, page)
		return err
	})
	return list, err
}

// SignOut ends the actor's session.
func (p *People) SignOut(ctx context.Context, by Actor, requestID string) error {
	err := p.endSession(ctx, by, by.SessionID, "signed_out", requestID)
	if fault.Is(err, "session_not_found") {
		return nil // ended meanwhile, which is what was asked for
	}
	return err
}

// EndSession ends one of the actor's own sessions.
func (p *People) EndSession(ctx context.Context, by Actor, id uuid.UUID, requestID string) error {
	return p.endSession(ctx, by, id, "session_ended", requestID)
}

func (p *People) endSession(ctx context.Context, by Actor, id uuid.UUID, action, requestID string) error {
	return p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		ended, err := tx.EndSession(ctx, by.PersonID, id, p.now())
		if err != nil {
			return err
		}
		if !ended {
			return fault.New(fault.NotFound, "session_not_found")
		}
		return p.event(ctx, tx, by.PersonID, action, "session", id.String(), requestID)
	})
}
