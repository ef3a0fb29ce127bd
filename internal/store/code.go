package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type codeRow struct {
	CustomerID  uuid.UUID
	SiteID      uuid.UUID
	CodeID      uuid.UUID
	SubjectKind string
	SubjectID   uuid.UUID
	KeyID       string
	Sealed      []byte
	SetAt       time.Time
	SetBy       uuid.UUID
}

func (r codeRow) code() fleet.SealedCode {
	return fleet.SealedCode{CustomerID: r.CustomerID, SiteID: r.SiteID, CodeID: r.CodeID, Subject: fleet.CodeSubject{Kind: r.SubjectKind, ID: r.SubjectID},
		Sealed: identity.Sealed{KeyID: r.KeyID, Bytes: r.Sealed}, SetAt: r.SetAt, SetBy: r.SetBy}
}

const sqlPresentCode = `-- present_code
select customer_id, site_id, code_id, subject_kind, subject_id, key_id, sealed, set_at, set_by from sealed_code
where subject_kind = @subject_kind and subject_id = @subject_id order by set_at desc, code_id desc limit 1`

// PresentCode gives the newest code of a subject.
func (t *Tx) PresentCode(ctx context.Context, subject fleet.CodeSubject) (fleet.SealedCode, error) {
	r, err := queryOne[codeRow](ctx, t, "present_code", sqlPresentCode,
		pgx.StrictNamedArgs{"subject_kind": subject.Kind, "subject_id": subject.ID}, "code_not_found")
	return r.code(), err
}

const sqlEachPresentCode = `-- each_present_code
select distinct on (subject_kind, subject_id) customer_id, site_id, code_id, subject_kind, subject_id, key_id, sealed, set_at, set_by from sealed_code
order by subject_kind, subject_id, set_at desc, code_id desc`

// EachPresentCode gives the newest code of every subject.
func (t *Tx) EachPresentCode(ctx context.Context, each func(fleet.SealedCode) error) error {
	rows, err := query[codeRow](ctx, t, "each_present_code", sqlEachPresentCode, pgx.StrictNamedArgs{})
	for _, r := range rows {
		if err := each(r.code()); err != nil {
			return err
		}
	}
	return err
}

const sqlInsertCode = `-- insert_code
insert into sealed_code (customer_id, site_id, code_id, subject_kind, subject_id, key_id, sealed, set_at, set_by)
values (@customer_id, @site_id, @code_id, @subject_kind, @subject_id, @key_id, @sealed, @set_at, @set_by)`

// InsertCode adds a code.
func (t *Tx) InsertCode(ctx context.Context, c fleet.SealedCode) error {
	_, err := exec(ctx, t, "insert_code", sqlInsertCode, pgx.StrictNamedArgs{
		"customer_id": c.CustomerID, "site_id": c.SiteID, "code_id": c.CodeID, "subject_kind": c.Subject.Kind, "subject_id": c.Subject.ID,
		"key_id": c.Sealed.KeyID, "sealed": c.Sealed.Bytes, "set_at": c.SetAt, "set_by": c.SetBy})
	return err
}

const sqlInsertAuditEvent = `-- insert_audit_event
insert into audit_event (audit_id, at, person_id, action, subject_kind, subject_id, request_id)
values (@audit_id, @at, @person_id, @action, @subject_kind, @subject_id, @request_id)`

// InsertAuditEvent adds to what must be provable later.
func (t *Tx) InsertAuditEvent(ctx context.Context, e fleet.AuditEvent) error {
	_, err := exec(ctx, t, "insert_audit_event", sqlInsertAuditEvent, pgx.StrictNamedArgs{
		"audit_id": e.AuditID, "at": e.At, "person_id": e.PersonID, "action": e.Action, "subject_kind": e.SubjectKind,
		"subject_id": e.SubjectID, "request_id": e.RequestID})
	return err
}
