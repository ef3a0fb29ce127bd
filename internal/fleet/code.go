package fleet

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// Code is a lock code or a key-safe code in clear. It prints and marshals as nothing that could be used: only
// Reveal gives the text.
type Code struct{ text string }

// NewCode takes a code in.
func NewCode(text string) Code { return Code{text} }

// Reveal gives the code itself, for the answer to somebody whose asking is on record.
func (c Code) Reveal() string { return c.text }

// Format keeps codes out of logs under every verb.
func (Code) Format(f fmt.State, _ rune) { fmt.Fprint(f, "code withheld") }

// MarshalJSON keeps codes out of everything that is recorded.
func (Code) MarshalJSON() ([]byte, error) { return nil, errors.New("a code is never written out") }

// CodeSubject is what a code opens: the key safe of a site, or the programming lock of a component.
type CodeSubject struct {
	Kind string // site, component
	ID   uuid.UUID
}

// KeySafeOf is the key safe of a site.
func KeySafeOf(siteID uuid.UUID) CodeSubject { return CodeSubject{Kind: "site", ID: siteID} }

// LockOf is the lock of a component's programming.
func LockOf(componentID uuid.UUID) CodeSubject {
	return CodeSubject{Kind: "component", ID: componentID}
}

// associated ties a sealed code to its subject: moved to another row it does not open.
func (s CodeSubject) associated() []byte { return []byte(s.Kind + ":" + s.ID.String()) }

// SealedCode is a code as it is kept. The newest of a subject is the one in force.
type SealedCode struct {
	CustomerID, SiteID, CodeID uuid.UUID
	Subject                    CodeSubject
	Sealed                     identity.Sealed
	SetAt                      time.Time
	SetBy                      uuid.UUID
}

// AuditEvent is something done or read that must be provable later.
type AuditEvent struct {
	AuditID     uuid.UUID
	At          time.Time
	PersonID    uuid.UUID
	Action      string
	SubjectKind string
	SubjectID   string
	RequestID   string
}

type codeRows interface {
	// PresentCode gives the newest code of a subject.
	PresentCode(ctx context.Context, subject CodeSubject) (SealedCode, error)
	InsertCode(ctx context.Context, c SealedCode) error
	// EachPresentCode gives the newest code of every subject.
	EachPresentCode(ctx context.Context, each func(SealedCode) error) error
	InsertAuditEvent(ctx context.Context, e AuditEvent) error
}

// SetCode keeps a new code of a site's key safe or of a component's lock, encrypted.
func (f *Fleet) SetCode(ctx context.Context, by identity.Actor, subject CodeSubject, code Code) (set SealedCode, err error) {
	if err := code.check(); err != nil {
		return SealedCode{}, err
	}
	if f.Keys == nil {
		return SealedCode{}, fault.New(fault.Conflict, "keys_missing")
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		customerID, siteID, err := whereIs(ctx, tx, subject)
		if err != nil {
			return err
		}
		set = SealedCode{CustomerID: customerID, SiteID: siteID, CodeID: f.NewID(), Subject: subject,
			Sealed: f.Keys.Seal([]byte(code.text), subject.associated()), SetAt: f.Now(), SetBy: by.PersonID}
		return tx.InsertCode(ctx, set)
	})
	return set, err
}

// check says that a code cannot be one, and nothing of what it is.
func (c Code) check() error {
	var faults fault.List
	checkText(&faults, "/code", c.text, 1, 64)
	if len(faults) > 0 || strings.ContainsAny(c.text, "\n\t") {
		return fault.At("/code", "code_unusable")
	}
	return nil
}

// RevealCode gives the code in force. That it was asked for, by whom and in which request is on record before it
// is given, or it is not given.
func (f *Fleet) RevealCode(ctx context.Context, by identity.Actor, subject CodeSubject, requestID string) (code Code, set SealedCode, err error) {
	if !by.May(identity.ActRevealCode) {
		return Code{}, SealedCode{}, fault.New(fault.Forbidden, "not_allowed", "action", string(identity.ActRevealCode))
	}
	if f.Keys == nil {
		return Code{}, SealedCode{}, fault.New(fault.Conflict, "keys_missing")
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if _, _, err := whereIs(ctx, tx, subject); err != nil {
			return err
		}
		if set, err = tx.PresentCode(ctx, subject); err != nil {
			return err
		}
		text, err := f.Keys.Open(set.Sealed, subject.associated())
		if err != nil {
			var unknown *identity.UnknownKeyError
			if errors.As(err, &unknown) {
				return fault.New(fault.Unavailable, "key_unknown", "key", unknown.KeyID).Because(err)
			}
			return fmt.Errorf("code of %s %s: %w", subject.Kind, subject.ID, err)
		}
		code = Code{string(text)}
		return tx.InsertAuditEvent(ctx, AuditEvent{AuditID: f.NewID(), At: f.Now(), PersonID: by.PersonID,
			Action: string(identity.ActRevealCode), SubjectKind: subject.Kind, SubjectID: subject.ID.String(), RequestID: requestID})
	})
	if err != nil {
		return Code{}, SealedCode{}, err
	}
	return code, set, nil
}

// whereIs finds the site that a subject is on.
func whereIs(ctx context.Context, tx Tx, subject CodeSubject) (customerID, siteID uuid.UUID, err error) {
	switch subject.Kind {
	case "site":
		s, err := tx.SiteByID(ctx, subject.ID)
		return s.CustomerID, s.SiteID, err
	case "component":
		c, err := tx.ComponentByID(ctx, subject.ID, AsOf{})
		return c.CustomerID, c.SiteID, err
	}
	return uuid.Nil, uuid.Nil, fmt.Errorf("no codes for a %q", subject.Kind)
}

// CheckCodes tells how many codes are in force and which of them the keys at hand do not open, without giving any out.
func (f *Fleet) CheckCodes(ctx context.Context) (inForce int, shut []CodeSubject, err error) {
	err = f.Store.InTxReadOnly(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		inForce, shut = 0, nil
		return tx.EachPresentCode(ctx, func(c SealedCode) error {
			inForce++
			if f.Keys == nil {
				shut = append(shut, c.Subject)
			} else if _, err := f.Keys.Open(c.Sealed, c.Subject.associated()); err != nil {
				shut = append(shut, c.Subject)
			}
			return nil
		})
	})
	return inForce, shut, err
}
