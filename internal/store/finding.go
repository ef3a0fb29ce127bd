package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type findingRow struct {
	CustomerID    uuid.UUID
	SiteID        uuid.UUID
	DoorID        uuid.UUID
	FindingID     uuid.UUID
	Origin        string
	Severity      string
	Cause         string
	What          string
	State         string
	OpenedAt      time.Time
	ClosedAt      *time.Time
	VisitID       *uuid.UUID
	EntryID       *uuid.UUID
	ClosedByEntry *uuid.UUID
	RecordedAt    time.Time
}

func (r findingRow) finding() fleet.Finding { return fleet.Finding(r) }

const sqlFindingPage = `-- finding_page
select customer_id, site_id, door_id, finding_id, origin, severity, cause, what, state, opened_at, closed_at, visit_id, entry_id, closed_by_entry, recorded_at
from finding
where (opened_at, finding_id) > (@after_at, @after_id)
  and (@door_id::uuid is null or door_id = @door_id)
  and (@state::text = '' or state = @state)
  and (@severity::text = '' or severity = @severity)
  and (@origin::text = '' or origin = @origin)
order by opened_at, finding_id limit @limit`

// FindingPage lists findings, the oldest first.
func (t *Tx) FindingPage(ctx context.Context, q fleet.FindingQuery) ([]fleet.Finding, error) {
	rows, err := query[findingRow](ctx, t, "finding_page", sqlFindingPage, pgx.StrictNamedArgs{"after_at": q.AfterAt, "after_id": q.AfterID,
		"door_id": optional(q.DoorID), "state": q.State, "severity": q.Severity, "origin": q.Origin, "limit": q.Limit})
	return each(rows, findingRow.finding), err
}

const sqlInsertFindings = `-- insert_findings
insert into finding (customer_id, site_id, door_id, finding_id, origin, severity, cause, what, state, opened_at, recorded_at)
select d.customer_id, d.site_id, d.door_id, f.finding_id, 'computed', 'advisory', f.cause, '', 'open', f.opened_at, f.recorded_at
from door d cross join jsonb_to_recordset(@findings) as f (finding_id uuid, cause text, opened_at timestamptz, recorded_at timestamptz)
where d.door_id = @door_id`

// InsertComputedFindings opens findings that the computation made; they are advisory and internal.
func (t *Tx) InsertComputedFindings(ctx context.Context, doorID uuid.UUID, list []fleet.ComputedFinding) error {
	_, err := exec(ctx, t, "insert_findings", sqlInsertFindings, pgx.StrictNamedArgs{"door_id": doorID, "findings": list})
	return err
}

const sqlClearFindings = `-- clear_findings
update finding set state = 'cleared', closed_at = @closed_at where finding_id = any (@finding_ids) and origin = 'computed' and state = 'open'`

// ClearComputedFindings closes computed findings that the computation no longer makes.
func (t *Tx) ClearComputedFindings(ctx context.Context, ids []uuid.UUID, at time.Time) error {
	_, err := exec(ctx, t, "clear_findings", sqlClearFindings, pgx.StrictNamedArgs{"finding_ids": ids, "closed_at": at})
	return err
}
