package main

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/jobs"
)

// sendNotices is the one job without a day: what waits in the outbox is handed over whenever it is run.
const sendNotices = "send_notices"

// jobCmd runs a job by hand, through the ledger.
type jobCmd struct {
	settings
	Name  string `arg:"" help:"Name of the job; an unknown one gets a list of all."`
	AsOf  string `name:"as-of" placeholder:"DATE" help:"The day (YYYY-MM-DD) that the run is a function of; today (UTC) if empty."`
	Again bool   `help:"Do the run although it is done or in somebody's hands. Nothing is made twice by it."`
}

// Run does the job if the ledger says that it is not done for that day, and prints what came of it.
func (c *jobCmd) Run(ctx context.Context) error {
	day := duedate.DayIn(now(), time.UTC)
	if c.AsOf != "" {
		var err error
		if day, err = duedate.ParseDay(c.AsOf); err != nil {
			return badInput{fmt.Errorf("--as-of: %w", err)}
		}
	}
	if _, ok := jobs.Find(c.Name); !ok && c.Name != sendNotices {
		return badInput{fmt.Errorf("there is no job %q; there are %s", c.Name, strings.Join(jobNames(), ", "))}
	}
	return c.within(ctx, func(h *house) error {
		if c.Name == sendNotices {
			n, err := jobs.SendWaiting(ctx, h.fleet)
			fmt.Printf("%d notices tried\n", n)
			return err
		}
		run, did, err := jobs.RunOnce(ctx, h.rooms(), c.Name, day, c.Again)
		if err != nil {
			return told(h.words, err)
		}
		return printRun(run, did)
	})
}

func jobNames() []string {
	var names []string
	for _, j := range jobs.Table() {
		names = append(names, j.Name)
	}
	return append(names, sendNotices)
}

func printRun(r fleet.JobRun, did bool) error {
	result, err := json.Marshal(r.Result)
	if err != nil {
		return err
	}
	if did {
		fmt.Printf("%s as of %s: done, %s\n", r.Job, r.AsOf, result)
	} else {
		fmt.Printf("%s as of %s: nothing to do, the ledger has it as %s, %s\n", r.Job, r.AsOf, r.State, result)
	}
	return nil
}
