package jobs

import (
	"context"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// queueNotices queues the notices of open inspection orders whose rung has come.
func queueNotices(ctx context.Context, f *fleet.Fleet, day duedate.Day) (map[string]any, error) {
	queued, err := f.QueueNotices(ctx, day)
	return map[string]any{"queued": queued}, err
}
