package jobs

import (
	"context"
	"time"

	"github.com/riverqueue/river"

	"lintel.example/lintel/internal/fleet"
)

// recomputeArgs is a while of computing anew what many doors' devices watch, if there is any to do.
type recomputeArgs struct{}

// Kind names the job in the queue; rows carry it, so it never changes.
func (recomputeArgs) Kind() string { return "recompute" }

// InsertOpts lets one wait or run at a time, on all servers together; how far it is says the recomputation's own row.
func (recomputeArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{MaxAttempts: 1, UniqueOpts: unlessWaiting()}
}

type recomputeWorker struct {
	river.WorkerDefaults[recomputeArgs]
	fleet *fleet.Fleet
}

// Timeout bounds a while; the next tick goes on.
func (w *recomputeWorker) Timeout(*river.Job[recomputeArgs]) time.Duration { return 10 * time.Minute }

// Work goes on with every recomputation that is not finished.
func (w *recomputeWorker) Work(ctx context.Context, _ *river.Job[recomputeArgs]) error {
	if err := w.fleet.EnsureRecomputation(ctx); err != nil {
		return err
	}
	return w.fleet.RecomputeAll(ctx, func(fleet.Recomputation, int) {})
}
