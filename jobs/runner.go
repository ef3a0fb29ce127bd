package jobs

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivertype"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// Runner works off the ledger and the outbox.
type Runner struct {
	client *river.Client[pgx.Tx]
}

// tick looks what is due, each minute.
const tick = time.Minute

// New makes a runner. The pool logs in as the role that owns the queue's rights ({prefix}_jobs).
func New(f *fleet.Fleet, pool *pgxpool.Pool, log *slog.Logger, now func() time.Time) (*Runner, error) {
	schedules, err := Schedules()
	if err != nil {
		return nil, err
	}
	workers := river.NewWorkers()
	river.AddWorker(workers, &tickWorker{fleet: f, schedules: schedules})
	river.AddWorker(workers, &runWorker{fleet: f})
	river.AddWorker(workers, &sendWorker{fleet: f})
	client, err := river.NewClient(riverpgxv5.New(pool), &river.Config{
		Logger:               log,
		Queues:               map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: 4}},
		Workers:              workers,
		RescueStuckJobsAfter: fleet.RunTimeout + 10*time.Minute, // longer than any timeout, or a job could run twice at once
		ReindexerIndexNames:  []string{},                        // only the owner of a table may reindex it
		PeriodicJobs: []*river.PeriodicJob{
			river.NewPeriodicJob(river.PeriodicInterval(tick), func() (river.JobArgs, *river.InsertOpts) {
				return tickArgs{Minute: now().UTC().Truncate(tick)}, nil
			}, &river.PeriodicJobOpts{ID: "tick", RunOnStart: true}),
		},
	})
	if err != nil {
		return nil, fmt.Errorf("queue: %w", err)
	}
	return &Runner{client: client}, nil
}

// Start begins to work; it returns at once.
func (r *Runner) Start(ctx context.Context) error { return r.client.Start(ctx) }

// Stop lets running jobs end.
func (r *Runner) Stop(ctx context.Context) error { return r.client.Stop(ctx) }

// tickArgs is one look at the ledger and the outbox. The minute is its identity: three servers make one job of it.
type tickArgs struct {
	Minute time.Time `json:"minute"`
}

// Kind names the job in the queue; rows carry it, so it never changes.
func (tickArgs) Kind() string { return "tick" }

// InsertOpts makes a tick unique by its minute.
func (tickArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{MaxAttempts: 1, UniqueOpts: river.UniqueOpts{ByArgs: true}}
}

type tickWorker struct {
	river.WorkerDefaults[tickArgs]
	fleet     *fleet.Fleet
	schedules []fleet.JobSchedule
}

// Timeout bounds a look.
func (w *tickWorker) Timeout(*river.Job[tickArgs]) time.Duration { return 50 * time.Second }

// Work asks what is due and puts it into the queue.
func (w *tickWorker) Work(ctx context.Context, _ *river.Job[tickArgs]) error {
	todo, err := w.fleet.EnsureRuns(ctx, w.schedules)
	if err != nil {
		return err
	}
	waiting, err := w.fleet.NoticesWaiting(ctx, 500)
	if err != nil {
		return err
	}
	var jobs []river.InsertManyParams
	for _, r := range todo {
		jobs = append(jobs, river.InsertManyParams{Args: runArgs{Job: r.Job, ScheduledFor: r.ScheduledFor, AsOf: r.AsOf}})
	}
	for _, id := range waiting {
		jobs = append(jobs, river.InsertManyParams{Args: sendArgs{NoticeID: id}})
	}
	if len(jobs) == 0 {
		return nil
	}
	_, err = river.ClientFromContext[pgx.Tx](ctx).InsertMany(ctx, jobs)
	return err
}

// runArgs is one run of the ledger.
type runArgs struct {
	Job          string      `json:"job"`
	ScheduledFor time.Time   `json:"scheduled_for"`
	AsOf         duedate.Day `json:"as_of"`
}

// Kind names the job in the queue.
func (runArgs) Kind() string { return "run" }

// unfinished are the states in which the same job is not put into the queue again; a completed one may be, because
// the ledger decides what is done.
func unfinished() river.UniqueOpts {
	return river.UniqueOpts{ByArgs: true, ByState: []rivertype.JobState{rivertype.JobStateAvailable, rivertype.JobStatePending,
		rivertype.JobStateRunning, rivertype.JobStateScheduled, rivertype.JobStateRetryable}}
}

// InsertOpts makes a run unique while it is not finished.
func (runArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{MaxAttempts: 3, UniqueOpts: unfinished()}
}

type runWorker struct {
	river.WorkerDefaults[runArgs]
	fleet *fleet.Fleet
}

// Timeout bounds a run, below the age at which the ledger calls it abandoned.
func (w *runWorker) Timeout(*river.Job[runArgs]) time.Duration { return fleet.RunTimeout - time.Minute }

// Work does the run if nobody else has.
func (w *runWorker) Work(ctx context.Context, j *river.Job[runArgs]) error {
	job, ok := Find(j.Args.Job)
	if !ok { // of a newer program: leave it to that one
		return river.JobCancel(fmt.Errorf("job %s is not known here", j.Args.Job))
	}
	run := fleet.JobRun{Job: j.Args.Job, ScheduledFor: j.Args.ScheduledFor, AsOf: j.Args.AsOf}
	_, err := w.fleet.DoRun(ctx, run, func(ctx context.Context, day duedate.Day) (map[string]any, error) { return job.Work(ctx, w.fleet, day) })
	return err
}

// sendArgs is one notice to hand over. It carries the id only: rows of the queue hold no personal data.
type sendArgs struct {
	NoticeID uuid.UUID `json:"notice_id"`
}

// Kind names the job in the queue.
func (sendArgs) Kind() string { return "send_notice" }

// InsertOpts makes a sending unique while it is not finished; the notice's own row says when it is tried again.
func (sendArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{MaxAttempts: 1, UniqueOpts: unfinished()}
}

type sendWorker struct {
	river.WorkerDefaults[sendArgs]
	fleet *fleet.Fleet
}

// Timeout bounds one delivery.
func (w *sendWorker) Timeout(*river.Job[sendArgs]) time.Duration { return 2 * time.Minute }

// Work hands the notice over.
func (w *sendWorker) Work(ctx context.Context, j *river.Job[sendArgs]) error {
	return w.fleet.SendNotice(ctx, j.Args.NoticeID)
}

// ErrUnknown is an unknown name of a job.
var ErrUnknown = errors.New("no such job")

// RunOnce runs a job by hand, through the ledger: a day that is done already is not done again.
func RunOnce(ctx context.Context, f *fleet.Fleet, name string, day duedate.Day) (run fleet.JobRun, did bool, err error) {
	job, ok := Find(name)
	if !ok {
		return fleet.JobRun{}, false, ErrUnknown
	}
	schedules, err := Schedules()
	if err != nil {
		return fleet.JobRun{}, false, err
	}
	for _, s := range schedules {
		if s.Job != name {
			continue
		}
		if run, err = f.ScheduleRun(ctx, s, day); err != nil {
			return run, false, err
		}
		var result map[string]any
		did, err = f.DoRun(ctx, run, func(ctx context.Context, day duedate.Day) (map[string]any, error) {
			result, err = job.Work(ctx, f, day)
			return result, err
		})
		if did && err == nil {
			run.State, run.Result = "done", result
		}
	}
	return run, did, err
}

// SendWaiting hands over every notice whose turn has come, without the queue, and tells how many were tried.
func SendWaiting(ctx context.Context, f *fleet.Fleet) (tried int, err error) {
	for {
		ids, err := f.NoticesWaiting(ctx, 100)
		if err != nil || len(ids) == 0 {
			return tried, err
		}
		for _, id := range ids {
			if err := f.SendNotice(ctx, id); err != nil {
				return tried, err
			}
			tried++
		}
	}
}
