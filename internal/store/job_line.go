package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type jobLineRow struct {
	LineID     uuid.UUID
	Job        string
	Line       string
	Why        string
	RecordedAt time.Time
	RecordedBy uuid.UUID
}

func (r jobLineRow) line() fleet.JobLine { return fleet.JobLine(r) }

const sqlJobLinesNow = `-- job_lines_now
select distinct on (job) line_id, job, line, why, recorded_at, recorded_by from job_line order by job, recorded_at desc, line_id desc`

// JobLinesNow gives the line of each job that holds.
func (t *Tx) JobLinesNow(ctx context.Context) ([]fleet.JobLine, error) {
	rows, err := query[jobLineRow](ctx, t, "job_lines_now", sqlJobLinesNow, nil)
	return each(rows, jobLineRow.line), err
}

const sqlJobLineByID = `-- job_line_by_id
select line_id, job, line, why, recorded_at, recorded_by from job_line where line_id = @line_id`

// JobLineByID gives one line.
func (t *Tx) JobLineByID(ctx context.Context, id uuid.UUID) (fleet.JobLine, error) {
	r, err := queryOne[jobLineRow](ctx, t, "job_line_by_id", sqlJobLineByID, pgx.StrictNamedArgs{"line_id": id}, "job_line_not_found")
	return r.line(), err
}

const sqlInsertJobLine = `-- insert_job_line
insert into job_line (line_id, job, line, why, recorded_at, recorded_by) values (@line_id, @job, @line, @why, @recorded_at, @recorded_by) on conflict do nothing`

// InsertJobLine adds a line, or answers false when the id is taken.
func (t *Tx) InsertJobLine(ctx context.Context, l fleet.JobLine) (bool, error) {
	return insertOne(ctx, t, "insert_job_line", sqlInsertJobLine, pgx.StrictNamedArgs{"line_id": l.LineID, "job": l.Job, "line": l.Line, "why": l.Why, "recorded_at": l.RecordedAt, "recorded_by": l.RecordedBy})
}

const sqlJobLinePage = `-- job_line_page
select line_id, job, line, why, recorded_at, recorded_by from job_line where job = @job order by recorded_at desc, line_id desc limit @limit`

// JobLinePage gives what was said of a job, the newest first.
func (t *Tx) JobLinePage(ctx context.Context, job string, limit int) ([]fleet.JobLine, error) {
	rows, err := query[jobLineRow](ctx, t, "job_line_page", sqlJobLinePage, pgx.StrictNamedArgs{"job": job, "limit": limit})
	return each(rows, jobLineRow.line), err
}

const sqlLastDone = `-- last_done
select job, max(finished_at) as at from job_run where state = 'done' and finished_at is not null group by job`

// LastDone gives when each job last ended well.
func (t *Tx) LastDone(ctx context.Context) (map[string]time.Time, error) {
	rows, err := query[struct {
		Job string
		At  time.Time
	}](ctx, t, "last_done", sqlLastDone, nil)
	done := make(map[string]time.Time, len(rows))
	for _, r := range rows {
		done[r.Job] = r.At
	}
	return done, err
}

const sqlWantRun = `-- want_run
insert into job_run as present (job, scheduled_for, as_of, state) values (@job, @scheduled_for, @as_of, 'due')
on conflict (job, scheduled_for) do update set state = 'due', started_at = null, finished_at = null, result = '{}'
where present.state <> 'running' or present.started_at < @abandoned`

// WantRun makes a run due that nobody works off.
func (t *Tx) WantRun(ctx context.Context, r fleet.JobRun, abandoned time.Time) (bool, error) {
	n, err := exec(ctx, t, "want_run", sqlWantRun, pgx.StrictNamedArgs{"job": r.Job, "scheduled_for": r.ScheduledFor, "as_of": date(r.AsOf), "abandoned": abandoned})
	return n == 1, err
}
