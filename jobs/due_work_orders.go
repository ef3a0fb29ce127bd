package jobs

import (
	"context"

	"lintel.example/lintel/internal/duedate"
)

// dueWorkOrders makes the inspection orders whose lead time has come.
func dueWorkOrders(ctx context.Context, rooms Rooms, day duedate.Day) (map[string]any, error) {
	made, err := rooms.Fleet.OpenDueWorkOrders(ctx, day)
	return map[string]any{"made": made}, err
}
