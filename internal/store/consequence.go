package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

const sqlPutVisitFindings = `-- put_visit_findings
insert into finding as present (customer_id, site_id, door_id, finding_id, origin, severity, cause, what, state, opened_at, closed_at, visit_id, entry_id, closed_by_entry, recorded_at,
  safe_until, decided, times, first_at, recurs_of)
select d.customer_id, d.site_id, d.door_id, f.finding_id, 'visit', f.severity, f.cause, f.what, f.state, f.opened_at, f.closed_at, f.visit_id, f.finding_id, f.closed_by_entry, f.recorded_at,
  f.safe_until, f.decided, f.times, f.first_at, f.recurs_of
from door d cross join jsonb_to_recordset(@findings) as f (finding_id uuid, visit_id uuid, severity text, cause text, what text, state text,
  opened_at timestamptz, closed_at timestamptz, closed_by_entry uuid, recorded_at timestamptz,
  safe_until date, decided jsonb, times integer, first_at timestamptz, recurs_of uuid)
where d.door_id = @door_id
on conflict (finding_id) do update set state = excluded.state, closed_at = excluded.closed_at, closed_by_entry = excluded.closed_by_entry, decided = excluded.decided,
  times = excluded.times, first_at = excluded.first_at, recurs_of = excluded.recurs_of
where (present.state, present.closed_at, present.closed_by_entry, present.decided, present.times, present.first_at, present.recurs_of)
  is distinct from (excluded.state, excluded.closed_at, excluded.closed_by_entry, excluded.decided, excluded.times, excluded.first_at, excluded.recurs_of)`

// PutVisitFindings writes the findings of a door that come from visits; what they say never changes, what became of them may.
func (t *Tx) PutVisitFindings(ctx context.Context, doorID uuid.UUID, list []fleet.VisitFinding) error {
	_, err := exec(ctx, t, "put_visit_findings", sqlPutVisitFindings, pgx.StrictNamedArgs{"door_id": doorID, "findings": list})
	return err
}

const sqlPutCases = `-- put_cases
insert into out_of_service_case as present (customer_id, site_id, door_id, case_id, finding_id, state, opened_at, secured_at, secured_how, egress_kept, told_name, refused,
  securing_entry, ended_at, ended_by_entry, recorded_at)
select d.customer_id, d.site_id, d.door_id, c.case_id, c.finding_id, c.state, c.opened_at, c.secured_at, c.secured_how, c.egress_kept, c.told_name, c.refused,
  c.securing_entry, c.ended_at, c.ended_by_entry, c.recorded_at
from door d cross join jsonb_to_recordset(@cases) as c (case_id uuid, finding_id uuid, state text, opened_at timestamptz, secured_at timestamptz, secured_how text,
  egress_kept boolean, told_name text, refused boolean, securing_entry uuid, ended_at timestamptz, ended_by_entry uuid, recorded_at timestamptz)
where d.door_id = @door_id
on conflict (case_id) do update set state = excluded.state, secured_at = excluded.secured_at, secured_how = excluded.secured_how, egress_kept = excluded.egress_kept,
  told_name = excluded.told_name, refused = excluded.refused, securing_entry = excluded.securing_entry, ended_at = excluded.ended_at, ended_by_entry = excluded.ended_by_entry
where (present.state, present.secured_at, present.securing_entry, present.refused, present.told_name, present.egress_kept, present.ended_at, present.ended_by_entry)
  is distinct from (excluded.state, excluded.secured_at, excluded.securing_entry, excluded.refused, excluded.told_name, excluded.egress_kept, excluded.ended_at, excluded.ended_by_entry)`

// PutCases writes the out-of-service cases of a door.
func (t *Tx) PutCases(ctx context.Context, doorID uuid.UUID, list []fleet.OutOfServiceCase) error {
	_, err := exec(ctx, t, "put_cases", sqlPutCases, pgx.StrictNamedArgs{"door_id": doorID, "cases": list})
	return err
}

type caseRow struct {
	CustomerID    uuid.UUID
	SiteID        uuid.UUID
	DoorID        uuid.UUID
	CaseID        uuid.UUID
	FindingID     uuid.UUID
	State         string
	OpenedAt      time.Time
	SecuredAt     *time.Time
	SecuredHow    string
	EgressKept    *bool
	ToldName      string
	Refused       bool
	SecuringEntry *uuid.UUID
	EndedAt       *time.Time
	EndedByEntry  *uuid.UUID
	RecordedAt    time.Time
	What          string
}

func (r caseRow) outOfService() fleet.OutOfServiceCase { return fleet.OutOfServiceCase(r) }

const sqlComputedFindingExists = `-- computed_finding_exists
select exists (select from finding where finding_id = @finding_id and door_id = @door_id and origin = 'computed') as there`

// ComputedFindingExists tells whether computation ever made the finding at the door.
func (t *Tx) ComputedFindingExists(ctx context.Context, doorID, findingID uuid.UUID) (bool, error) {
	r, err := queryOne[struct{ There bool }](ctx, t, "computed_finding_exists", sqlComputedFindingExists,
		pgx.StrictNamedArgs{"door_id": doorID, "finding_id": findingID}, "finding_not_found")
	return r.There, err
}

const sqlIsComputedFinding = `-- is_computed_finding
select exists (select from finding where finding_id = @finding_id and origin = 'computed') as there`

// IsComputedFinding tells whether computation ever made a finding under the id, at whatever door.
func (t *Tx) IsComputedFinding(ctx context.Context, findingID uuid.UUID) (bool, error) {
	r, err := queryOne[struct{ There bool }](ctx, t, "is_computed_finding", sqlIsComputedFinding, pgx.StrictNamedArgs{"finding_id": findingID}, "finding_not_found")
	return r.There, err
}

const sqlCaseByID = `-- case_by_id
select c.customer_id, c.site_id, c.door_id, c.case_id, c.finding_id, c.state, c.opened_at, c.secured_at, c.secured_how, c.egress_kept, c.told_name, c.refused,
  c.securing_entry, c.ended_at, c.ended_by_entry, c.recorded_at, f.what
from out_of_service_case c join finding f on f.finding_id = c.finding_id where c.case_id = @case_id`

// CaseByID gives one out-of-service case.
func (t *Tx) CaseByID(ctx context.Context, id uuid.UUID) (fleet.OutOfServiceCase, error) {
	r, err := queryOne[caseRow](ctx, t, "case_by_id", sqlCaseByID, pgx.StrictNamedArgs{"case_id": id}, "case_not_found")
	return r.outOfService(), err
}

const sqlCasePage = `-- case_page
select c.customer_id, c.site_id, c.door_id, c.case_id, c.finding_id, c.state, c.opened_at, c.secured_at, c.secured_how, c.egress_kept, c.told_name, c.refused,
  c.securing_entry, c.ended_at, c.ended_by_entry, c.recorded_at, f.what
from out_of_service_case c join finding f on f.finding_id = c.finding_id
where (c.opened_at, c.case_id) > (@after_at, @after_id) and (@door_id::uuid is null or c.door_id = @door_id) and (not @open::boolean or c.state <> 'ended')
order by c.opened_at, c.case_id limit @limit`

// CasePage lists out-of-service cases, the oldest first.
func (t *Tx) CasePage(ctx context.Context, q fleet.CaseQuery) ([]fleet.OutOfServiceCase, error) {
	rows, err := query[caseRow](ctx, t, "case_page", sqlCasePage, pgx.StrictNamedArgs{"after_at": q.AfterAt, "after_id": q.AfterID,
		"door_id": optional(q.DoorID), "open": q.Open, "limit": q.Limit})
	return each(rows, caseRow.outOfService), err
}
