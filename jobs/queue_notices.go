package jobs

import (
	"context"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// queueNotices queues the notices of open inspection orders whose rung has come. The orders are seen to first: after a
// standstill both jobs are due at once, and nothing says which is worked off first.
func queueNotices(ctx context.Context, f *fleet.Fleet, day duedate.Day) (map[string]any, error) {
	if _, err := f.OpenDueWorkOrders(ctx, day); err != nil {
		return nil, err
	}
	queued, err := f.QueueNotices(ctx, day)
	return map[string]any{"queued": queued}, err
}
