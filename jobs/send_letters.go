package jobs

import (
	"context"
	"time"

	"github.com/riverqueue/river"

	"lintel.example/lintel/internal/fleet"
)

// sendArgs is one round of the mail: letters are written of what is due, and handed over. Rows of the queue hold no
// personal data.
type sendArgs struct{}

// Kind names the job in the queue.
func (sendArgs) Kind() string { return "send_letters" }

// InsertOpts lets one round wait or run at a time, on all servers together; each letter's own row says when it is tried.
func (sendArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{MaxAttempts: 1, UniqueOpts: unlessWaiting()}
}

type sendWorker struct {
	river.WorkerDefaults[sendArgs]
	fleet *fleet.Fleet
}

// Timeout bounds a round; what is left is for the next.
func (w *sendWorker) Timeout(*river.Job[sendArgs]) time.Duration { return 10 * time.Minute }

// Work does a round.
func (w *sendWorker) Work(ctx context.Context, _ *river.Job[sendArgs]) error {
	_, err := SendWaiting(ctx, w.fleet)
	return err
}

// SendWaiting writes the letters whose time has come and hands over every letter that waits, and tells how many were
// tried. It ends early when the mail server cannot be reached.
func SendWaiting(ctx context.Context, f *fleet.Fleet) (tried int, err error) {
	if _, err := f.RemindOfUnsafeDoors(ctx); err != nil {
		return 0, err
	}
	if _, err := f.TellOfPassedDays(ctx); err != nil {
		return 0, err
	}
	if _, err := f.WriteLetters(ctx); err != nil {
		return 0, err
	}
	return f.SendLetters(ctx)
}
