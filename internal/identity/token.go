package identity

import (
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
)

// tokenMostDays is how long a token lasts at most: a secret in a file is forgotten there (common practice, no source).
const tokenMostDays = 366

// Token is a secret for a program that acts for a person, within scopes.
type Token struct {
	TokenID    uuid.UUID
	PersonID   uuid.UUID
	Name       string
	Scopes     []TokenScope
	CreatedAt  time.Time
	ExpiresAt  time.Time
	RevokedAt  *time.Time
	LastUsedAt *time.Time // to the minute
}

// TokenScopes lists all scopes of tokens, from the least to the most.
func TokenScopes() []TokenScope {
	return []TokenScope{TokenRead, TokenVisits, TokenRegister, TokenAdministration}
}

type tokenRows interface {
	InsertToken(ctx context.Context, hash [32]byte, t Token) error
	TokenPage(ctx context.Context, personID uuid.UUID, page Page) ([]Token, error)
	// RevokeToken answers false when the person has no such token, or one that is revoked.
	RevokeToken(ctx context.Context, personID, id uuid.UUID, at time.Time) (bool, error)
	RevokeTokens(ctx context.Context, personID uuid.UUID, at time.Time) error
}

// CreateToken makes a token of oneself or, for those who manage people, of anybody. secret is handed out this once.
func (p *People) CreateToken(ctx context.Context, by Actor, t Token, requestID string) (secret string, saved Token, err error) {
	if err := needFor(by, t.PersonID, ActManagePeople); err != nil {
		return "", Token{}, err
	}
	now := p.now()
	if err := t.check(now); err != nil {
		return "", Token{}, err
	}
	secret, hash, err := NewSecret(p.random)
	if err != nil {
		return "", Token{}, err
	}
	t.TokenID, t.CreatedAt, t.RevokedAt, t.LastUsedAt = p.newID(), now, nil, nil
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		if err := lockPerson(ctx, tx, t.PersonID); err != nil {
			return err
		}
		person, err := tx.PersonByID(ctx, t.PersonID)
		if err != nil {
			return err
		}
		if !person.active(now) {
			return fault.New(fault.Conflict, "person_inactive")
		}
		if err := tx.InsertToken(ctx, hash, t); err != nil {
			return err
		}
		return p.event(ctx, tx, by.PersonID, "token_made", "token", t.TokenID.String(), requestID)
	})
	if err != nil {
		return "", Token{}, err
	}
	return secret, t, nil
}

// check also brings the scopes into their order, each once.
func (t *Token) check(now time.Time) error {
	var faults fault.List
	checkText(&faults, "/name", &t.Name, 100)
	var scopes []TokenScope
	for _, s := range TokenScopes() {
		if slices.Contains(t.Scopes, s) {
			scopes = append(scopes, s)
		}
	}
	for _, s := range t.Scopes {
		if !slices.Contains(scopes, s) {
			faults.Add("/scopes", "word_unknown", "word", string(s), "allowed", joined(TokenScopes()))
		}
	}
	if len(t.Scopes) == 0 {
		faults.Add("/scopes", "token_scope_missing")
	}
	t.Scopes, t.ExpiresAt = scopes, t.ExpiresAt.UTC().Truncate(time.Microsecond)
	if !t.ExpiresAt.After(now) || t.ExpiresAt.After(now.Add(tokenMostDays*24*time.Hour)) {
		faults.Add("/expires_at", "token_life", "days", tokenMostDays)
	}
	return faults.Err()
}

// Tokens lists the tokens of a person, without secrets, the newest first.
func (p *People) Tokens(ctx context.Context, by Actor, personID uuid.UUID, page Page) (list []Token, err error) {
	if err := needFor(by, personID, ActManagePeople); err != nil {
		return nil, err
	}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		if _, err := tx.PersonByID(ctx, personID); err != nil {
			return err
		}
		list, err = tx.TokenPage(ctx, personID, page)
		return err
	})
	return list, err
}

// RevokeToken ends a token.
func (p *People) RevokeToken(ctx context.Context, by Actor, personID, id uuid.UUID, requestID string) error {
	if err := needFor(by, personID, ActManagePeople); err != nil {
		return err
	}
	return p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		revoked, err := tx.RevokeToken(ctx, personID, id, p.now())
		if err != nil {
			return err
		}
		if !revoked {
			return fault.New(fault.NotFound, "token_not_found")
		}
		return p.event(ctx, tx, by.PersonID, "token_revoked", "token", id.String(), requestID)
	})
}
