package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"text/tabwriter"
	"time"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// recomputeCmd computes anew what is watched at every door.
type recomputeCmd struct {
	settings
	Everything string `placeholder:"WHY" help:"Ask for every door to be computed, also where nothing is known to have changed; WHY is kept."`
	List       bool   `help:"Only list what was asked for and how far it is."`
}

// Run works off what is not finished; cut off, the same command or the server goes on. Progress goes to standard error.
func (c *recomputeCmd) Run(ctx context.Context) error {
	return c.within(ctx, func(h *house) error {
		if !c.List {
			if err := c.do(ctx, h); err != nil {
				return told(h.words, err)
			}
		}
		list, err := h.fleet.Recomputations(ctx, identity.Program(), 20)
		if err != nil {
			return err
		}
		return printRecomputations(os.Stdout, list)
	})
}

func (c *recomputeCmd) do(ctx context.Context, h *house) error {
	if c.Everything != "" {
		if _, err := h.fleet.AskRecomputation(ctx, identity.Program(), newID(), c.Everything); err != nil {
			return err
		}
	}
	if err := h.fleet.EnsureRecomputation(ctx); err != nil {
		return err
	}
	began, from := time.Now(), -1
	return h.fleet.RecomputeAll(ctx, func(r fleet.Recomputation, doors int) {
		if from < 0 {
			from = r.Done
		}
		rate := float64(r.Done-from) / time.Since(began).Seconds()
		fmt.Fprintf(os.Stderr, "lintel: %s: %d of %d doors, %.0f a second\n", r.Detail, r.Done, max(doors, r.Done), rate)
	})
}

func printRecomputations(w io.Writer, list []fleet.Recomputation) error {
	t := tabwriter.NewWriter(w, 0, 8, 2, ' ', 0)
	fmt.Fprintln(t, "ASKED\tBECAUSE OF\tDOORS\tCOMPUTED\tFINDINGS OPENED\tCLEARED\tFINISHED")
	for _, r := range list {
		finished := "not yet"
		if r.FinishedAt != nil {
			finished = r.FinishedAt.Format(time.RFC3339)
		}
		fmt.Fprintf(t, "%s\t%s: %s\t%d\t%d\t%d\t%d\t%s\n", r.AskedAt.Format(time.RFC3339), r.Why, r.Detail, r.Done, r.Changed, r.Opened, r.Cleared, finished)
	}
	return t.Flush()
}
