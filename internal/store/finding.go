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
	TimeZone      string
	SafeUntil     *time.Time
	Decided       *fleet.Decided // jsonb
	Times         int
	FirstAt       *time.Time
	RecursOf      *uuid.UUID
}

func (r findingRow) finding() fleet.Finding {
	return fleet.Finding{CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, FindingID: r.FindingID, Origin: r.Origin, Severity: r.Severity, Cause: r.Cause,
		What: r.What, State: r.State, OpenedAt: r.OpenedAt, ClosedAt: r.ClosedAt, VisitID: r.VisitID, EntryID: r.EntryID, ClosedByEntry: r.ClosedByEntry,
		RecordedAt: r.RecordedAt, TimeZone: r.TimeZone, SafeUntil: day(r.SafeUntil), Decided: r.Decided, Times: r.Times, FirstAt: r.FirstAt, RecursOf: r.RecursOf}
}

const sqlFindingPage = `-- finding_page
select f.customer_id, f.site_id, f.door_id, f.finding_id, f.origin, f.severity, f.cause, f.what, f.state, f.opened_at, f.closed_at, f.visit_id, f.entry_id,
  f.closed_by_entry, f.recorded_at, s.time_zone, f.safe_until, f.decided, f.times, f.first_at, f.recurs_of
from finding f join site s on s.site_id = f.site_id
where (f.opened_at, f.finding_id) > (@after_at, @after_id)
  and (@door_id::uuid is null or f.door_id = @door_id)
  and (@site_id::uuid is null or f.site_id = @site_id)
  and (@state::text = '' or f.state = @state)
  and (@severity::text = '' or f.severity = @severity)
  and (@origin::text = '' or f.origin = @origin)
order by f.opened_at, f.finding_id limit @limit`

// FindingPage lists findings, the oldest first.
func (t *Tx) FindingPage(ctx context.Context, q fleet.FindingQuery) ([]fleet.Finding, error) {
	rows, err := query[findingRow](ctx, t, "finding_page", sqlFindingPage, pgx.StrictNamedArgs{"after_at": q.AfterAt, "after_id": q.AfterID,
		"door_id": optional(q.DoorID), "site_id": optional(q.SiteID), "state": q.State, "severity": q.Severity, "origin": q.Origin, "limit": q.Limit})
	return each(rows, findingRow.finding), err
}

const sqlFindingByID = `-- finding_by_id
select f.customer_id, f.site_id, f.door_id, f.finding_id, f.origin, f.severity, f.cause, f.what, f.state, f.opened_at, f.closed_at, f.visit_id, f.entry_id,
  f.closed_by_entry, f.recorded_at, s.time_zone, f.safe_until, f.decided, f.times, f.first_at, f.recurs_of
from finding f join site s on s.site_id = f.site_id where f.finding_id = @finding_id`

// FindingByID gives one finding.
func (t *Tx) FindingByID(ctx context.Context, id uuid.UUID) (fleet.Finding, error) {
	r, err := queryOne[findingRow](ctx, t, "finding_by_id", sqlFindingByID, pgx.StrictNamedArgs{"finding_id": id}, "finding_not_found")
	return r.finding(), err
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
