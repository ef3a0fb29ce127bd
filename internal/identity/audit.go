package identity

import (
	"context"
	"time"

	"github.com/google/uuid"
)

// Event is something that must be provable later: who did or read what.
type Event struct {
	AuditID     uuid.UUID
	At          time.Time
	PersonID    *uuid.UUID
	Action      string
	SubjectKind string
	SubjectID   string
	RequestID   string
}

// EventQuery asks for events, the newest first.
type EventQuery struct {
	Subject string    // id of the subject, "" for all
	Person  uuid.UUID // who did it, zero for all
	Page
}

type eventRows interface {
	InsertEvent(ctx context.Context, e Event) error
	EventPage(ctx context.Context, q EventQuery) ([]Event, error)
}

// event writes what was done into the audit, in the transaction that does it.
func (p *People) event(ctx context.Context, tx GateTx, by uuid.UUID, action, kind, subject, requestID string) error {
	return tx.InsertEvent(ctx, Event{AuditID: p.newID(), At: p.now(), PersonID: &by, Action: action, SubjectKind: kind, SubjectID: subject, RequestID: requestID})
}

// RecordRead writes down what an auditor read: the operation, and the address that was asked for.
func (p *People) RecordRead(ctx context.Context, by Actor, operation, address, requestID string) error {
	return p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		return p.event(ctx, tx, by.PersonID, "read", operation, shortened(address, 1000), requestID)
	})
}

// Events lists the audit, the newest first.
func (p *People) Events(ctx context.Context, by Actor, q EventQuery) (list []Event, err error) {
	if err := need(by, ActReadAudit); err != nil {
		return nil, err
	}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		list, err = tx.EventPage(ctx, q)
		return err
	})
	return list, err
}
