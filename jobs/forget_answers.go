package jobs

import (
	"context"

	"lintel.example/lintel/internal/duedate"
)

// forgetAnswers keeps what was answered to requests under a key from staying longer than anybody asks again.
func forgetAnswers(ctx context.Context, rooms Rooms, day duedate.Day) (map[string]any, error) {
	forgotten, err := rooms.People.ForgetAnswers(ctx, day)
	return map[string]any{"forgotten": forgotten}, err
}
