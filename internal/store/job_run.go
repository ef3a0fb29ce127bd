package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type jobRunRow struct {
	Job          string
	ScheduledFor time.Time
	AsOf         time.Time
	State        string
	StartedAt    *time.Time
	FinishedAt   *time.Time
	Result       map[string]any
}

func (r jobRunRow) run() fleet.JobRun {
	return fleet.JobRun{Job: r.Job, ScheduledFor: r.ScheduledFor, AsOf: day(&r.AsOf), State: r.State, StartedAt: r.StartedAt, FinishedAt: r.FinishedAt, Result: r.Result}
}

const sqlLastRun = `-- last_run
select coalesce(max(scheduled_for), '0001-01-01T00:00:00Z'::timestamptz) as at from job_run where job = @job and scheduled_for <= @now`

// LastRun gives the newest due instant of a job in the ledger that has come.
func (t *Tx) LastRun(ctx context.Context, job string, now time.Time) (time.Time, error) {
	r, err := queryOne[struct{ At time.Time }](ctx, t, "last_run", sqlLastRun, pgx.StrictNamedArgs{"job": job, "now": now}, "internal")
	if r.At.Year() == 1 {
		return time.Time{}, err
	}
	return r.At, err
}

const sqlInsertRuns = `-- insert_runs
insert into job_run (job, scheduled_for, as_of, state)
select job, scheduled_for, as_of, state from jsonb_to_recordset(@runs) as r (job text, scheduled_for timestamptz, as_of date, state text)
on conflict (job, scheduled_for) do nothing`

// InsertRuns adds the runs that are not in the ledger.
func (t *Tx) InsertRuns(ctx context.Context, list []fleet.JobRun) error {
	if len(list) == 0 {
		return nil
	}
	runs := make([]map[string]any, len(list))
	for i, r := range list {
		runs[i] = map[string]any{"job": r.Job, "scheduled_for": r.ScheduledFor, "as_of": r.AsOf.String(), "state": r.State}
	}
	_, err := exec(ctx, t, "insert_runs", sqlInsertRuns, pgx.StrictNamedArgs{"runs": runs})
	return err
}

const sqlSupersedeRuns = `-- supersede_runs
update job_run set state = 'superseded'
where job = @job and scheduled_for < @before and (state = 'due' or (state = 'running' and started_at < @abandoned))`

// SupersedeRuns passes over runs that a later one covers.
func (t *Tx) SupersedeRuns(ctx context.Context, job string, before, abandoned time.Time) error {
	_, err := exec(ctx, t, "supersede_runs", sqlSupersedeRuns, pgx.StrictNamedArgs{"job": job, "before": before, "abandoned": abandoned})
	return err
}

const sqlRunsToDo = `-- runs_to_do
select job, scheduled_for, as_of, state, started_at, finished_at, result from job_run
where state = 'due' or (state = 'running' and started_at < @abandoned) order by scheduled_for, job limit @limit`

// RunsToDo gives runs that are due or abandoned.
func (t *Tx) RunsToDo(ctx context.Context, abandoned time.Time, limit int) ([]fleet.JobRun, error) {
	rows, err := query[jobRunRow](ctx, t, "runs_to_do", sqlRunsToDo, pgx.StrictNamedArgs{"abandoned": abandoned, "limit": limit})
	return each(rows, jobRunRow.run), err
}

const sqlClaimRun = `-- claim_run
update job_run set state = 'running', started_at = @now, finished_at = null, result = '{}'
where job = @job and scheduled_for = @scheduled_for
  and (@again or state in ('due', 'failed') or (state = 'running' and started_at < @abandoned))`

// ClaimRun marks a run as running; one that failed may be tried again.
func (t *Tx) ClaimRun(ctx context.Context, job string, scheduledFor, now, abandoned time.Time, again bool) (bool, error) {
	n, err := exec(ctx, t, "claim_run", sqlClaimRun, pgx.StrictNamedArgs{"job": job, "scheduled_for": scheduledFor, "now": now, "abandoned": abandoned, "again": again})
	return n == 1, err
}

const sqlRunByKey = `-- run_by_key
select job, scheduled_for, as_of, state, started_at, finished_at, result from job_run where job = @job and scheduled_for = @scheduled_for`

// RunByKey gives one run.
func (t *Tx) RunByKey(ctx context.Context, job string, scheduledFor time.Time) (fleet.JobRun, error) {
	r, err := queryOne[jobRunRow](ctx, t, "run_by_key", sqlRunByKey, pgx.StrictNamedArgs{"job": job, "scheduled_for": scheduledFor}, "run_not_found")
	return r.run(), err
}

const sqlFinishRun = `-- finish_run
update job_run set state = @state, finished_at = @finished_at, result = coalesce(@result::jsonb, '{}')
where job = @job and scheduled_for = @scheduled_for and state = 'running' and started_at = @started_at`

// FinishRun writes down what came of a run, unless somebody has taken it over.
func (t *Tx) FinishRun(ctx context.Context, r fleet.JobRun) error {
	_, err := exec(ctx, t, "finish_run", sqlFinishRun, pgx.StrictNamedArgs{"job": r.Job, "scheduled_for": r.ScheduledFor, "state": r.State,
		"started_at": r.StartedAt, "finished_at": r.FinishedAt, "result": r.Result})
	return err
}

const sqlJobRunPage = `-- job_run_page
select job, scheduled_for, as_of, state, started_at, finished_at, result from job_run
where (scheduled_for, job) < (@before_at, @before_job) and (@job::text = '' or job = @job)
  and (@jobs::text[] is null or job = any(@jobs)) and (@state::text = '' or state = @state)
order by scheduled_for desc, job desc limit @limit`

// JobRunPage lists the ledger, the newest first.
func (t *Tx) JobRunPage(ctx context.Context, q fleet.JobRunQuery) ([]fleet.JobRun, error) {
	rows, err := query[jobRunRow](ctx, t, "job_run_page", sqlJobRunPage, pgx.StrictNamedArgs{"before_at": bound(q.BeforeAt), "before_job": q.BeforeJob, "job": q.Job, "jobs": q.Jobs, "state": q.State, "limit": q.Limit})
	return each(rows, jobRunRow.run), err
}

const sqlDatabaseNow = `-- database_now
select now() as at`

// DatabaseNow is the clock of the database.
func (t *Tx) DatabaseNow(ctx context.Context) (time.Time, error) {
	r, err := queryOne[struct{ At time.Time }](ctx, t, "database_now", sqlDatabaseNow, pgx.StrictNamedArgs{}, "internal")
	return r.At, err
}
