package jobs

import (
	"context"

	"lintel.example/lintel/internal/duedate"
)

// forgetWebhookEvents keeps what webhooks were told from staying longer than anybody has it told again.
func forgetWebhookEvents(ctx context.Context, rooms Rooms, day duedate.Day) (map[string]any, error) {
	forgotten, err := rooms.Fleet.ForgetHookEvents(ctx, day)
	return map[string]any{"forgotten": forgotten}, err
}
