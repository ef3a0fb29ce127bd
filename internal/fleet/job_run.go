package fleet

import (
	"context"
	"fmt"
	"time"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// JobRun is one row of the ledger: a job and one of its due instants. The row, not the trigger, is what is worked off.
type JobRun struct {
	Job          string
	ScheduledFor time.Time
	AsOf         duedate.Day // the civil day (UTC) that the run is a function of
	State        string      // due, running, done, failed, superseded
	StartedAt    *time.Time
	FinishedAt   *time.Time
	Result       map[string]any
}

// JobSchedule is a job of the cron table with its line.
type JobSchedule struct {
	Job      string
	Schedule duedate.Schedule
}

// JobRunQuery asks for runs, the newest first.
type JobRunQuery struct {
	Job       string // "" for all
	BeforeAt  time.Time
	BeforeJob string
	Limit     int
}

type jobRunRows interface {
	// LastRun gives the newest due instant of a job in the ledger, the zero time when there is none.
	LastRun(ctx context.Context, job string) (time.Time, error)
	// InsertRuns adds those that are not there.
	InsertRuns(ctx context.Context, list []JobRun) error
	// RunsToDo gives runs that are due, or that somebody began before a moment and did not finish.
	RunsToDo(ctx context.Context, abandoned time.Time, limit int) ([]JobRun, error)
	// ClaimRun marks such a run as running; false when somebody else has it or it is done.
	ClaimRun(ctx context.Context, job string, scheduledFor, now, abandoned time.Time) (bool, error)
	RunByKey(ctx context.Context, job string, scheduledFor time.Time) (JobRun, error)
	FinishRun(ctx context.Context, r JobRun) error
	JobRunPage(ctx context.Context, q JobRunQuery) ([]JobRun, error)
	// DatabaseNow is the clock of the database.
	DatabaseNow(ctx context.Context) (time.Time, error)
}

// RunTimeout is how long a run may take; after that it counts as abandoned, and is done again.
const RunTimeout = 30 * time.Minute

// farthestJump is how far our clock may be ahead of the database's before generation is refused: a clock that
// jumped would make orders of the far future.
const farthestJump = 25 * time.Hour

// EnsureRuns writes every due instant since the last one into the ledger and gives what is to be done. Jobs are
// functions of a civil day, so after a standstill only the latest is run; those passed over are written down as
// superseded. Several servers may do this at once.
func (f *Fleet) EnsureRuns(ctx context.Context, schedules []JobSchedule) (todo []JobRun, err error) {
	now := f.Now()
	err = f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		database, err := tx.DatabaseNow(ctx)
		if err != nil {
			return err
		}
		if now.Sub(database) > farthestJump {
			return fmt.Errorf("this clock (%s) is more than a day ahead of the database's (%s): no job is run", now.Format(time.RFC3339), database.Format(time.RFC3339))
		}
		for _, s := range schedules {
			runs, err := dueRuns(ctx, tx, s, now)
			if err != nil {
				return err
			}
			if err := tx.InsertRuns(ctx, runs); err != nil {
				return err
			}
		}
		todo, err = tx.RunsToDo(ctx, now.Add(-RunTimeout), 100)
		return err
	})
	return todo, err
}

// mostMissed bounds how many missed runs are written down one by one.
const mostMissed = 400

func dueRuns(ctx context.Context, tx Tx, s JobSchedule, now time.Time) ([]JobRun, error) {
	last, err := tx.LastRun(ctx, s.Job)
	if err != nil {
		return nil, err
	}
	latest, ok := s.Schedule.Latest(last, now)
	if last.IsZero() {
		latest, ok = s.Schedule.Previous(now), true
	}
	if !ok || !latest.After(last) {
		return nil, nil
	}
	runs := []JobRun{{Job: s.Job, ScheduledFor: latest, AsOf: duedate.DayIn(latest, time.UTC), State: "due", Result: map[string]any{}}}
	if last.IsZero() {
		return runs, nil
	}
	passed, _ := s.Schedule.DueInstants(last, latest.Add(-time.Second), mostMissed)
	for _, at := range passed {
		runs = append(runs, JobRun{Job: s.Job, ScheduledFor: at, AsOf: duedate.DayIn(at, time.UTC), State: "superseded", Result: map[string]any{}})
	}
	return runs, nil
}

// ScheduleRun writes a run of a day into the ledger by hand and gives it, as it stands.
func (f *Fleet) ScheduleRun(ctx context.Context, s JobSchedule, day duedate.Day) (r JobRun, err error) {
	y, m, d := day.Date()
	begin := time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
	at := s.Schedule.Next(begin.Add(-time.Second))
	if duedate.DayIn(at, time.UTC) != day {
		return JobRun{}, fault.New(fault.Invalid, "no_run_that_day", "day", day.String())
	}
	err = f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		run := JobRun{Job: s.Job, ScheduledFor: at, AsOf: day, State: "due", Result: map[string]any{}}
		if err := tx.InsertRuns(ctx, []JobRun{run}); err != nil {
			return err
		}
		r, err = tx.RunByKey(ctx, s.Job, at)
		return err
	})
	return r, err
}

// DoRun claims a run, does its work, and writes down what came of it. done is false when somebody else has it or it
// is done already.
func (f *Fleet) DoRun(ctx context.Context, r JobRun, work func(context.Context, duedate.Day) (map[string]any, error)) (done bool, err error) {
	err = f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		done, err = tx.ClaimRun(ctx, r.Job, r.ScheduledFor, f.Now(), f.Now().Add(-RunTimeout))
		return err
	})
	if err != nil || !done {
		return false, err
	}
	result, workErr := work(ctx, r.AsOf)
	finished := f.Now()
	r.State, r.FinishedAt, r.Result = "done", &finished, result
	if result == nil {
		r.Result = map[string]any{}
	}
	if workErr != nil {
		r.State, r.Result = "failed", map[string]any{"error": workErr.Error()}
	}
	// What came of it is written down even when the caller has given up meanwhile.
	err = f.Store.InTx(context.WithoutCancel(ctx), identity.Program(), func(ctx context.Context, tx Tx) error { return tx.FinishRun(ctx, r) })
	if workErr != nil {
		return true, workErr
	}
	return true, err
}

// JobRuns lists the ledger, the newest first.
func (f *Fleet) JobRuns(ctx context.Context, by identity.Actor, q JobRunQuery) (list []JobRun, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.JobRunPage(ctx, q)
		return err
	})
	return list, err
}
