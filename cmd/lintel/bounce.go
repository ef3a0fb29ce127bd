package main

import (
	"context"
	"fmt"
	"io"
	"os"

	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/notify"
)

// bounceCmd takes in what a mail server reports later about a letter. A mail server may run it for the mailbox that takes
// what comes back.
type bounceCmd struct {
	settings
}

// Run reads one message from standard input.
func (c *bounceCmd) Run(ctx context.Context) error {
	message, err := io.ReadAll(io.LimitReader(os.Stdin, notify.MostBounceBytes+1))
	if err != nil {
		return fmt.Errorf("standard input: %w", err)
	}
	return c.within(ctx, func(h *house) error {
		b, err := h.fleet.ReceiveBounce(ctx, identity.Program(), message)
		if err != nil {
			return told(h.words, err)
		}
		fmt.Printf("letter %s: %s %s\n", b.LetterID, b.Action, b.Answer)
		return nil
	})
}
