package jobs

import (
	"context"

	"lintel.example/lintel/internal/duedate"
)

// forgetSignInFailures keeps what is counted of failed sign-ins from growing without end.
func forgetSignInFailures(ctx context.Context, rooms Rooms, day duedate.Day) (map[string]any, error) {
	forgotten, err := rooms.People.ForgetFailures(ctx, day)
	return map[string]any{"forgotten": forgotten}, err
}
