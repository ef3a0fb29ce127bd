package jobs

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/riverqueue/river"

	"lintel.example/lintel/internal/fleet"
)

// sendArgs is one notice to hand over. It carries the id only: rows of the queue hold no personal data.
type sendArgs struct {
	NoticeID uuid.UUID `json:"notice_id"`
}

// Kind names the job in the queue.
func (sendArgs) Kind() string { return "send_notice" }

// InsertOpts lets a notice wait in the queue once; the notice's own row says when it is tried again.
func (sendArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{MaxAttempts: 1, UniqueOpts: unlessWaiting()}
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
