package api

import (
	"context"
	"net/http"
	"time"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type jobRunItem struct {
	Job          string         `json:"job"`
	Title        string         `json:"title" doc:"What the job does."`
	ScheduledFor time.Time      `json:"scheduled_for"`
	AsOf         string         `json:"as_of" format:"date" doc:"The civil day that the run is a function of."`
	State        string         `json:"state" enum:"due,running,done,failed,superseded" doc:"Superseded: passed over after a standstill, because a later run covers it."`
	StartedAt    *time.Time     `json:"started_at,omitempty"`
	FinishedAt   *time.Time     `json:"finished_at,omitempty"`
	Result       map[string]any `json:"result"`
}

type jobRunListIn struct {
	PageIn
	Job string `query:"job" maxLength:"60"`
}

type jobRunListOut struct {
	Body struct {
		JobRuns []jobRunItem `json:"job_runs"`
		PageOut
	}
}

// runKey is the cursor of the ledger.
type runKey struct {
	At  time.Time `json:"a"`
	Job string    `json:"j"`
}

func (a *API) jobRuns() {
	add(a, operation("job-run-list", http.MethodGet, "/v1/job-runs", identity.ActReadOffice, "What ran when, the newest first"), a.jobRunList)
}

func (a *API) jobRunList(ctx context.Context, by identity.Actor, in *jobRunListIn) (*jobRunListOut, error) {
	var key runKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, err := a.Fleet.JobRuns(ctx, by, fleet.JobRunQuery{Job: in.Job, BeforeAt: key.At, BeforeJob: key.Job, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &jobRunListOut{}
	out.Body.JobRuns = make([]jobRunItem, len(list))
	for i, r := range list {
		out.Body.JobRuns[i] = a.newJobRunItem(by, r)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(runKey{last.ScheduledFor, last.Job})
	}
	return out, nil
}
