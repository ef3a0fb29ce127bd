package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type letterTemplateRow struct {
	TemplateID uuid.UUID
	Kind       string
	Version    int
	Body       string
	WrittenAt  time.Time
	WrittenBy  uuid.UUID
	ApprovedAt *time.Time
	ApprovedBy *uuid.UUID
	ReadBy     string
}

func (r letterTemplateRow) template() fleet.LetterTemplate {
	return fleet.LetterTemplate{TemplateID: r.TemplateID, Kind: r.Kind, Version: r.Version, Text: r.Body, WrittenAt: r.WrittenAt, WrittenBy: r.WrittenBy,
		ApprovedAt: r.ApprovedAt, ApprovedBy: orNil(r.ApprovedBy), ReadBy: r.ReadBy}
}

const sqlLetterTemplates = `-- letter_templates
select t.template_id, t.kind, t.version, t.body, t.written_at, t.written_by, a.approved_at, a.approved_by, coalesce(a.read_by, '') as read_by
from letter_template t left join letter_template_approval a on a.template_id = t.template_id
order by t.kind, t.version desc limit 1000`

// LetterTemplates gives all, by kind, the newest first.
func (t *Tx) LetterTemplates(ctx context.Context) ([]fleet.LetterTemplate, error) {
	rows, err := query[letterTemplateRow](ctx, t, "letter_templates", sqlLetterTemplates, nil)
	return each(rows, letterTemplateRow.template), err
}

const sqlLetterTemplateByID = `-- letter_template_by_id
select t.template_id, t.kind, t.version, t.body, t.written_at, t.written_by, a.approved_at, a.approved_by, coalesce(a.read_by, '') as read_by
from letter_template t left join letter_template_approval a on a.template_id = t.template_id
where t.template_id = @template_id`

// LetterTemplateByID gives one version.
func (t *Tx) LetterTemplateByID(ctx context.Context, id uuid.UUID) (fleet.LetterTemplate, error) {
	r, err := queryOne[letterTemplateRow](ctx, t, "letter_template_by_id", sqlLetterTemplateByID, pgx.StrictNamedArgs{"template_id": id}, "letter_template_not_found")
	return r.template(), err
}

const sqlInsertLetterTemplate = `-- insert_letter_template
insert into letter_template (template_id, kind, version, body, written_at, written_by)
select @template_id, @kind, coalesce(max(version), 0) + 1, @body, @written_at, @written_by from letter_template where kind = @kind
on conflict do nothing`

// InsertLetterTemplate keeps a text as the next version of its kind, or answers false when the id or the version is taken.
func (t *Tx) InsertLetterTemplate(ctx context.Context, l fleet.LetterTemplate) (bool, error) {
	n, err := exec(ctx, t, "insert_letter_template", sqlInsertLetterTemplate, pgx.StrictNamedArgs{"template_id": l.TemplateID, "kind": l.Kind, "body": l.Text,
		"written_at": l.WrittenAt, "written_by": l.WrittenBy})
	return n == 1, err
}

const sqlApproveLetterTemplate = `-- approve_letter_template
insert into letter_template_approval (template_id, approved_at, approved_by, read_by) values (@template_id, @approved_at, @approved_by, @read_by) on conflict do nothing`

// ApproveLetterTemplate answers false when it is approved already.
func (t *Tx) ApproveLetterTemplate(ctx context.Context, id uuid.UUID, at time.Time, by uuid.UUID, readBy string) (bool, error) {
	n, err := exec(ctx, t, "approve_letter_template", sqlApproveLetterTemplate, pgx.StrictNamedArgs{"template_id": id, "approved_at": at, "approved_by": by, "read_by": readBy})
	return n == 1, err
}
