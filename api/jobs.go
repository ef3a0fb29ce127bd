package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type jobItem struct {
	Job       string      `json:"job"`
	Title     string      `json:"title" doc:"What the job does."`
	Line      string      `json:"line" doc:"When it is due: minute, hour, day of month, month, day of week, in UTC."`
	UsualLine string      `json:"usual_line" doc:"As the program has it."`
	Next      time.Time   `json:"next"`
	Last      *jobRunItem `json:"last,omitempty" doc:"Its newest run."`
	LastDone  *time.Time  `json:"last_done,omitempty"`
	MissedAt  *time.Time  `json:"missed_at,omitempty" doc:"When it should have run and has not, an hour later. The metric lintel_job_missed is 1 then."`
}

type jobListOut struct {
	Body struct {
		Jobs []jobItem `json:"jobs"`
	}
}

type JobPath struct {
	Job string `path:"job" maxLength:"60"`
}

type jobRunOut struct {
	Body jobRunItem
}

type jobPreviewIn struct {
	JobPath
	Line string `query:"line" maxLength:"512" doc:"Without it, the one that holds."`
}

type jobInstant struct {
	At    time.Time `json:"at"`
	Local string    `json:"local" doc:"By the clock of the office, with its zone. Lines are in UTC, so no instant is missed or doubled when that clock changes."`
}

type jobPreviewOut struct {
	Body struct {
		Zone string       `json:"zone" doc:"Of the office."`
		Next []jobInstant `json:"next" doc:"The next ten."`
	}
}

// JobLineBody is when a job is due.
type JobLineBody struct {
	Job  string `json:"job" minLength:"1" maxLength:"60"`
	Line string `json:"line" maxLength:"512" doc:"Minute, hour, day of month, month, day of week, in UTC; at most hourly, at least weekly. Empty: as the program has it."`
	Why  string `json:"why" minLength:"1" maxLength:"500"`
}

type jobLineItem struct {
	LineID uuid.UUID `json:"line_id" format:"uuid"`
	JobLineBody
	RecordedAt time.Time `json:"recorded_at"`
	RecordedBy uuid.UUID `json:"recorded_by" format:"uuid"`
}

func newJobLineItem(l fleet.JobLine) jobLineItem {
	return jobLineItem{l.LineID, JobLineBody{l.Job, l.Line, l.Why}, l.RecordedAt, l.RecordedBy}
}

type jobLinePutIn struct {
	LineID uuid.UUID `path:"line_id" format:"uuid"`
	Body   JobLineBody
}

type jobLineOut struct {
	Status int
	Body   jobLineItem
}

type jobLineListOut struct {
	Body struct {
		Lines []jobLineItem `json:"lines" doc:"The newest first; the first holds."`
	}
}

func (a *API) jobs() {
	add(a, operation("job-list", http.MethodGet, "/v1/jobs", identity.ActReadOffice, "How each job stands: when it is due, when it last ran, and whether it should have and has not"), a.jobList)
	add(a, operation("job-run-now", http.MethodPost, "/v1/jobs/{job}/run", identity.ActSetJobs, "Have the latest run of a job done again, within a minute; nothing is made twice by it"), a.jobRunNow)
	add(a, operation("job-preview", http.MethodGet, "/v1/jobs/{job}/preview", identity.ActReadOffice, "The next ten instants of a line"), a.jobPreview)
	add(a, operation("job-line-put", http.MethodPut, "/v1/job-lines/{line_id}", identity.ActSetJobs, "Say when a job is due from now on; running servers follow within a minute"), a.jobLinePut)
	add(a, operation("job-line-list", http.MethodGet, "/v1/jobs/{job}/lines", identity.ActReadOffice, "Who said when a job is due, the newest first"), a.jobLineList)
}

func (a *API) newJobRunItem(by identity.Actor, r fleet.JobRun) jobRunItem {
	return jobRunItem{Job: r.Job, Title: a.text(by, "job."+r.Job+".title"), ScheduledFor: r.ScheduledFor, AsOf: r.AsOf.String(), State: r.State, StartedAt: r.StartedAt, FinishedAt: r.FinishedAt, Result: r.Result}
}

func (a *API) jobList(ctx context.Context, by identity.Actor, _ *struct{}) (*jobListOut, error) {
	list, err := a.Fleet.JobStates(ctx, by)
	if err != nil {
		return nil, err
	}
	out := &jobListOut{}
	out.Body.Jobs = make([]jobItem, len(list))
	for i, s := range list {
		item := jobItem{Job: s.Job, Title: a.text(by, "job."+s.Job+".title"), Line: s.Schedule.String(), UsualLine: s.Usual, Next: s.Next, LastDone: s.LastDone}
		if s.Last != nil {
			last := a.newJobRunItem(by, *s.Last)
			item.Last = &last
		}
		if !s.MissedAt.IsZero() {
			item.MissedAt = &s.MissedAt
		}
		out.Body.Jobs[i] = item
	}
	return out, nil
}

func (a *API) jobRunNow(ctx context.Context, by identity.Actor, in *JobPath) (*jobRunOut, error) {
	r, err := a.Fleet.RunJobNow(ctx, by, in.Job)
	if err != nil {
		return nil, err
	}
	return &jobRunOut{Body: a.newJobRunItem(by, r)}, nil
}

// previewed is how many instants of a line are shown.
const previewed = 10

func (a *API) jobPreview(ctx context.Context, by identity.Actor, in *jobPreviewIn) (*jobPreviewOut, error) {
	list, zone, err := a.Fleet.JobPreview(ctx, by, in.Job, in.Line, previewed)
	if err != nil {
		return nil, err
	}
	out := &jobPreviewOut{}
	out.Body.Zone = zone.String()
	for _, at := range list {
		out.Body.Next = append(out.Body.Next, jobInstant{at, at.In(zone).Format("Mon 2006-01-02 15:04 MST")})
	}
	return out, nil
}

func (a *API) jobLinePut(ctx context.Context, by identity.Actor, in *jobLinePutIn) (*jobLineOut, error) {
	saved, isNew, err := a.Fleet.PutJobLine(ctx, by, fleet.JobLine{LineID: in.LineID, Job: in.Body.Job, Line: in.Body.Line, Why: in.Body.Why})
	if err != nil {
		return nil, err
	}
	return &jobLineOut{Status: created(isNew), Body: newJobLineItem(saved)}, nil
}

type jobLineListIn struct {
	JobPath
	Limit int `query:"limit" minimum:"1" maximum:"200" default:"50"`
}

func (a *API) jobLineList(ctx context.Context, by identity.Actor, in *jobLineListIn) (*jobLineListOut, error) {
	list, err := a.Fleet.JobLines(ctx, by, in.Job, in.Limit)
	if err != nil {
		return nil, err
	}
	out := &jobLineListOut{}
	out.Body.Lines = make([]jobLineItem, len(list))
	for i, l := range list {
		out.Body.Lines[i] = newJobLineItem(l)
	}
	return out, nil
}
