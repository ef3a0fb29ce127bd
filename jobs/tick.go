package jobs

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"

	"lintel.example/lintel/internal/fleet"
)

// tick is how often somebody looks what is due.
const tick = time.Minute

// tickArgs is one look at the ledger and at those who work alone, a round of the mail and of the webhooks, and a while of recomputing. The minute is its identity: three servers make one job of it.
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
	jobs := []river.InsertManyParams{{Args: alarmArgs{}}, {Args: sendArgs{}}, {Args: recomputeArgs{}}, {Args: hooksArgs{}}}
	for _, r := range todo {
		jobs = append(jobs, river.InsertManyParams{Args: runArgs{Job: r.Job, ScheduledFor: r.ScheduledFor, AsOf: r.AsOf}})
	}
	_, err = river.ClientFromContext[pgx.Tx](ctx).InsertMany(ctx, jobs)
	return err
}
