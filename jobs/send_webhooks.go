package jobs

import (
	"context"
	"time"

	"github.com/riverqueue/river"

	"lintel.example/lintel/internal/fleet"
)

// hooksArgs is one round of telling other programs what happened.
type hooksArgs struct{}

// Kind names the job in the queue; rows carry it, so it never changes.
func (hooksArgs) Kind() string { return "send_webhooks" }

// InsertOpts lets one round wait or run at a time, on all servers together; each delivery's own row says when it is tried.
func (hooksArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{MaxAttempts: 1, UniqueOpts: unlessWaiting()}
}

type hooksWorker struct {
	river.WorkerDefaults[hooksArgs]
	fleet *fleet.Fleet
}

// Timeout bounds a round; what is left is for the next.
func (w *hooksWorker) Timeout(*river.Job[hooksArgs]) time.Duration { return 10 * time.Minute }

// Work does a round.
func (w *hooksWorker) Work(ctx context.Context, _ *river.Job[hooksArgs]) error {
	_, err := w.fleet.SendHooks(ctx)
	return err
}
