package jobs

import (
	"context"
	"time"

	"github.com/riverqueue/river"

	"lintel.example/lintel/internal/fleet"
)

// alarmArgs is one look at those who work alone. It is a job of its own: a round of the mail may take minutes.
type alarmArgs struct{}

// Kind names the job in the queue.
func (alarmArgs) Kind() string { return "alarm" }

// InsertOpts lets one look wait or run at a time, on all servers together.
func (alarmArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{MaxAttempts: 1, UniqueOpts: unlessWaiting()}
}

type alarmWorker struct {
	river.WorkerDefaults[alarmArgs]
	fleet *fleet.Fleet
}

// Timeout bounds a look.
func (w *alarmWorker) Timeout(*river.Job[alarmArgs]) time.Duration { return 5 * time.Minute }

// Work tells of everybody who is late.
func (w *alarmWorker) Work(ctx context.Context, _ *river.Job[alarmArgs]) error {
	_, err := w.fleet.AlarmWatches(ctx)
	return err
}
