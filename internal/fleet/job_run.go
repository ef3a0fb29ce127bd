package fleet

import (
	"context"
	"errors"
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
	Since    time.Time // instants before are none of it: another line held then
}

// JobRunQuery asks for runs, the newest first.
type JobRunQuery struct {
	Job       string   // "" for all
	Jobs      []string // nil for all; only these
	State     string   // "" for all
	BeforeAt  time.Time
	BeforeJob string
	Limit     int
}

type jobRunRows interface {
	// LastRun gives the newest due instant of a job in the ledger that has come, the zero time when there is none.
	LastRun(ctx context.Context, job string, now time.Time) (time.Time, error)
	// InsertRuns adds those that are not there.
	InsertRuns(ctx context.Context, list []JobRun) error
	// SupersedeRuns passes over runs of a job from before an instant that nobody began, or that were abandoned.
	SupersedeRuns(ctx context.Context, job string, before, abandoned time.Time) error
	// RunsToDo gives runs that are due, or that somebody began before a moment and did not finish.
	RunsToDo(ctx context.Context, abandoned time.Time, limit int) ([]JobRun, error)
	// ClaimRun marks a run as running that is due, failed or abandoned, or in any state when it is wanted again; false
	// when there is nothing to do.
	ClaimRun(ctx context.Context, job string, scheduledFor, now, abandoned time.Time, again bool) (bool, error)
	RunByKey(ctx context.Context, job string, scheduledFor time.Time) (JobRun, error)
	// FinishRun writes down what came of a claimed run, unless somebody has taken it over.
	FinishRun(ctx context.Context, r JobRun) error
	JobRunPage(ctx context.Context, q JobRunQuery) ([]JobRun, error)
	// DatabaseNow is the clock of the database.
	DatabaseNow(ctx context.Context) (time.Time, error)
}

// RunTimeout is how long a run may take; after that it counts as abandoned, and is done again.
const RunTimeout = 10 * time.Minute

// farthestJump is how far our clock may be ahead of the database's before generation is refused: a clock that
// jumped would make orders of the far future.
const farthestJump = 25 * time.Hour

// EnsureRuns writes every due instant since the last one into the ledger and gives what is to be done. Jobs are
// functions of a civil day, so after a standstill only the latest is run; those passed over are written down as
// superseded. Several servers may do this at once.
func (f *Fleet) EnsureRuns(ctx context.Context, schedules []JobSchedule) (todo []JobRun, err error) {
	err = f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		now, err := f.trustedNow(ctx, tx)
		if err != nil {
			return err
		}
		held, err := schedulesNow(ctx, tx, schedules)
		if err != nil {
			return err
		}
		for _, s := range held {
			if err := ensureRuns(ctx, tx, s, now); err != nil {
				return err
			}
		}
		todo, err = tx.RunsToDo(ctx, now.Add(-RunTimeout), 100)
		return err
	})
	return todo, err
}

// trustedNow is our clock, unless it is too far ahead of the database's.
func (f *Fleet) trustedNow(ctx context.Context, tx Tx) (time.Time, error) {
	now := f.Now()
	database, err := tx.DatabaseNow(ctx)
	if err == nil && now.Sub(database) > farthestJump {
		err = fmt.Errorf("this clock (%s) is more than a day ahead of the database's (%s): no job is run", now.Format(time.RFC3339), database.Format(time.RFC3339))
	}
	return now, err
}

// mostMissed bounds how many missed runs are written down one by one.
const mostMissed = 400

func ensureRuns(ctx context.Context, tx Tx, s JobSchedule, now time.Time) error {
	last, err := tx.LastRun(ctx, s.Job, now)
	if err != nil {
		return err
	}
	latest := s.Schedule.Previous(now)
	if !last.IsZero() && (latest.Before(last) || latest.Before(s.Since)) { // it has run since, by the line that held then
		return tx.SupersedeRuns(ctx, s.Job, last, now.Add(-RunTimeout))
	}
	runs := []JobRun{runOf(s, latest, "due")}
	if !last.IsZero() { // else this is the first time that we look: nothing was missed
		passed, _ := s.Schedule.DueInstants(last, latest.Add(-time.Second), mostMissed)
		for _, at := range passed {
			runs = append(runs, runOf(s, at, "superseded"))
		}
	}
	if err := tx.InsertRuns(ctx, runs); err != nil {
		return err
	}
	return tx.SupersedeRuns(ctx, s.Job, latest, now.Add(-RunTimeout))
}

func runOf(s JobSchedule, at time.Time, state string) JobRun {
	return JobRun{Job: s.Job, ScheduledFor: at, AsOf: duedate.DayIn(at, time.UTC), State: state}
}

// Work is what a job does as of a civil day; what it gives is kept in the ledger.
type Work func(ctx context.Context, asOf duedate.Day) (map[string]any, error)

// DoRun claims a run, does its work, and writes down what came of it. did is false when somebody else has it or it
// is done already.
func (f *Fleet) DoRun(ctx context.Context, r JobRun, work Work) (did bool, err error) {
	err = f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		did, err = f.claim(ctx, tx, &r, false)
		return err
	})
	if err != nil || !did {
		return false, err
	}
	return true, f.do(ctx, &r, work)
}

// DoRunByHand does the run of a job that is due on a day, through the ledger, and gives the run as it then stands.
// What is done, or in somebody's hands, is left alone unless it is asked for again; doing it again is harmless,
// because what a job makes has keys of its own.
func (f *Fleet) DoRunByHand(ctx context.Context, s JobSchedule, day duedate.Day, again bool, work Work) (r JobRun, did bool, err error) {
	err = f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		if r, err = f.scheduleRun(ctx, tx, s, day); err != nil {
			return err
		}
		did, err = f.claim(ctx, tx, &r, again)
		return err
	})
	if err != nil || !did {
		return r, false, err
	}
	return r, true, f.do(ctx, &r, work)
}

// scheduleRun writes the run of a day into the ledger and gives it as it stands. A day that has not come has no run:
// it would count as done when the day comes, although nothing of what is entered until then was in it.
func (f *Fleet) scheduleRun(ctx context.Context, tx Tx, s JobSchedule, day duedate.Day) (JobRun, error) {
	now, err := f.trustedNow(ctx, tx)
	if err != nil {
		return JobRun{}, err
	}
	var faults fault.List
	if f.checkDay(&faults, "", day); faults != nil {
		return JobRun{}, faults
	}
	if day.After(duedate.DayIn(now, time.UTC)) {
		return JobRun{}, fault.New(fault.Invalid, "day_to_come", "day", day.String())
	}
	held, err := schedulesNow(ctx, tx, []JobSchedule{s})
	if err != nil {
		return JobRun{}, err
	}
	s = held[0]
	y, m, d := day.Date()
	at := s.Schedule.Next(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Add(-time.Second))
	if duedate.DayIn(at, time.UTC) != day {
		return JobRun{}, fault.New(fault.Invalid, "no_run_that_day", "day", day.String())
	}
	if err := tx.InsertRuns(ctx, []JobRun{runOf(s, at, "due")}); err != nil {
		return JobRun{}, err
	}
	return tx.RunByKey(ctx, s.Job, at)
}

func (f *Fleet) claim(ctx context.Context, tx Tx, r *JobRun, again bool) (bool, error) {
	now := f.Now().Truncate(time.Microsecond) // as fine as it is kept: it tells our claim from another's
	claimed, err := tx.ClaimRun(ctx, r.Job, r.ScheduledFor, now, now.Add(-RunTimeout), again)
	if claimed {
		r.State, r.StartedAt = "running", &now
	}
	return claimed, err
}

// do works a claimed run off, within RunTimeout, and writes down what came of it even when the caller has given up
// meanwhile. A run that was interrupted because the program is told to stop is due again.
func (f *Fleet) do(ctx context.Context, r *JobRun, work Work) error {
	bounded, cancel := context.WithTimeout(ctx, RunTimeout-time.Minute)
	defer cancel()
	result, workErr := work(bounded, r.AsOf)
	finished := f.Now()
	switch {
	case workErr == nil:
		r.State, r.FinishedAt, r.Result = "done", &finished, result
	case ctx.Err() != nil:
		r.State = "due"
	default:
		r.State, r.FinishedAt, r.Result = "failed", &finished, map[string]any{"error": workErr.Error()}
	}
	err := f.Store.InTx(context.WithoutCancel(ctx), identity.Program(), func(ctx context.Context, tx Tx) error { return tx.FinishRun(ctx, *r) })
	return errors.Join(workErr, err)
}

// JobRuns lists the ledger, the newest first.
func (f *Fleet) JobRuns(ctx context.Context, by identity.Actor, q JobRunQuery) (list []JobRun, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.JobRunPage(ctx, q)
		return err
	})
	return list, err
}
