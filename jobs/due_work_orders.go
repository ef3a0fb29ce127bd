package jobs

import (
	"context"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// dueWorkOrders makes the inspection orders whose lead time has come.
func dueWorkOrders(ctx context.Context, f *fleet.Fleet, day duedate.Day) (map[string]any, error) {
	made, err := f.OpenDueWorkOrders(ctx, day)
	return map[string]any{"made": made}, err
}
