package jobs

import (
	"context"

	"lintel.example/lintel/internal/duedate"
)

// queueNotices queues the notices of open inspection orders whose rung has come. The orders are seen to first: after a
// standstill both jobs are due at once, and nothing says which is worked off first.
func queueNotices(ctx context.Context, rooms Rooms, day duedate.Day) (map[string]any, error) {
	if _, err := rooms.Fleet.OpenDueWorkOrders(ctx, day); err != nil {
		return nil, err
	}
	made, err := rooms.Fleet.QueueNotices(ctx, day)
	return map[string]any{"made": made}, err
}
