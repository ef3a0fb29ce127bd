package jobs

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivertype"

	"lintel.example/lintel/internal/fleet"
)

// Runner works off the ledger and the outbox.
type Runner struct {
	client *river.Client[pgx.Tx]
}

// stopWithin is how long running jobs may take after the program is told to stop; then they are cancelled, and done
// again by whoever starts next.
const stopWithin = 20 * time.Second

// New makes a runner. The pool logs in as the role that has the rights on the queue ({prefix}_jobs).
func New(rooms Rooms, pool *pgxpool.Pool, log *slog.Logger, now func() time.Time) (*Runner, error) {
	schedules, err := Schedules()
	if err != nil {
		return nil, err
	}
	workers := river.NewWorkers()
	river.AddWorker(workers, &tickWorker{fleet: rooms.Fleet, schedules: schedules})
	river.AddWorker(workers, &runWorker{rooms: rooms})
	river.AddWorker(workers, &alarmWorker{fleet: rooms.Fleet})
	river.AddWorker(workers, &sendWorker{fleet: rooms.Fleet})
	river.AddWorker(workers, &recomputeWorker{fleet: rooms.Fleet})
	river.AddWorker(workers, &hooksWorker{fleet: rooms.Fleet})
	client, err := river.NewClient(riverpgxv5.New(pool), &river.Config{
		Logger:               log,
		Queues:               map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: 4}},
		Workers:              workers,
		SoftStopTimeout:      stopWithin,
		RescueStuckJobsAfter: 2 * fleet.RunTimeout, // longer than any worker's timeout, or a job could run twice at once
		ReindexerIndexNames:  []string{},           // only the owner of a table may reindex it
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

// Stop lets running jobs end, for a while.
func (r *Runner) Stop(ctx context.Context) error { return r.client.Stop(ctx) }

// unlessWaiting keeps the same job from being put into the queue again until it has ended. One that has ended may be:
// the ledger and the outbox decide what is done, not the queue.
func unlessWaiting() river.UniqueOpts {
	return river.UniqueOpts{ByArgs: true, ByState: []rivertype.JobState{rivertype.JobStateAvailable, rivertype.JobStatePending,
		rivertype.JobStateRunning, rivertype.JobStateScheduled, rivertype.JobStateRetryable}}
}
