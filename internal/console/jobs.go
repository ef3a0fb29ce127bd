package console

import (
	"context"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
)

// jobInstant is when a job is due, by two clocks.
type jobInstant struct {
	UTC, Local string // Local is "" where the office's clock is UTC
	Moved      bool   // by the clock of the office at another hour than the one before, because that clock has changed
}

// jobLine is who said when a job is due.
type jobLine struct {
	fleet.JobLine
	Who string
}

type jobData struct {
	State fleet.JobState
	Zone  string // of the office
	Look  form   // at a line, without saying it
	Next  []jobInstant
	Form  form
	Said  []jobLine
}

const (
	previewed = 10 // instants of a line
	saidShown = 50
)

// job shows one job: when it is due next by the line that holds, or by one that somebody tries, and who said what of it.
func (c *Console) job(ctx context.Context, q *request) (answer, error) {
	return c.jobPage(ctx, q, newForm(map[string]string{"line_id": c.NewID().String()}), http.StatusOK)
}

func (c *Console) jobPage(ctx context.Context, q *request, sent form, status int) (answer, error) {
	states, err := c.Fleet.JobStates(ctx, q.by)
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(states, func(s fleet.JobState) bool { return s.Job == q.PathValue("job") })
	if i < 0 {
		return nil, fault.New(fault.NotFound, "job_not_found")
	}
	data := jobData{State: states[i], Form: sent, Look: newForm(map[string]string{"line": states[i].Schedule.String()})}
	if q.Method == http.MethodGet { // whoever only writes a reason changes nothing
		data.Form.values.Set("/line", states[i].Said.Line)
	}
	if tried := q.filter(); tried.Value("line") != "" {
		data.Look.values.Set("line", tried.Value("line"))
		if q.Method == http.MethodGet {
			data.Form.values.Set("/line", tried.Value("line"))
		}
	}
	next, zone, err := c.Fleet.JobPreview(ctx, q.by, data.State.Job, data.Look.Value("line"), previewed)
	switch faults := fault.Of(err); {
	case len(faults) > 0:
		for _, f := range faults {
			data.Look.faults.Add("line", f.Code, f.Args...)
		}
		if zone, err = c.officeZone(ctx, q); err != nil {
			return nil, err
		}
	case err != nil:
		return nil, err
	}
	data.Zone, data.Next = zone.String(), writer{q.texts}.instants(next, zone)
	said, err := c.Fleet.JobLines(ctx, q.by, data.State.Job, saidShown)
	if err != nil {
		return nil, err
	}
	var people []uuid.UUID
	for _, l := range said {
		people = append(people, l.RecordedBy)
	}
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{People: people})
	if err != nil {
		return nil, err
	}
	for _, l := range said {
		data.Said = append(data.Said, jobLine{l, writer{q.texts}.person(names, l.RecordedBy)})
	}
	return page{name: "job", status: status, data: data}, nil
}

// took writes how long a run took; nothing while it is going on.
func (w writer) took(from, until *time.Time) string {
	if from == nil || until == nil {
		return w.T("console.none")
	}
	return w.T("console.jobs.seconds", "seconds", strconv.FormatFloat(until.Sub(*from).Seconds(), 'f', 1, 64))
}

// instants writes instants by the clock of UTC and by that of the office.
func (w writer) instants(list []time.Time, zone *time.Location) (written []jobInstant) {
	for i, at := range list {
		one := jobInstant{UTC: w.weekday(at, "UTC")}
		if at.In(zone).Format("-0700 MST") != at.UTC().Format("-0700 MST") {
			one.Local = w.weekday(at, zone.String())
		}
		if i > 0 {
			_, before := list[i-1].In(zone).Zone()
			_, now := at.In(zone).Zone()
			one.Moved = before != now
		}
		written = append(written, one)
	}
	return written
}

// weekday writes an instant with its day of the week before it.
func (w writer) weekday(at time.Time, zone string) string {
	return w.T("console.job.instant", "weekday", w.Enum("weekday", strconv.Itoa((int(at.In(location(zone)).Weekday())+6)%7+1)), "instant", w.instant(at, zone))
}

func (c *Console) jobLinePut(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	l := fleet.JobLine{LineID: r.id("line_id"), Job: q.PathValue("job"), Line: f.Value("/line"), Why: f.Value("/why")}
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutJobLine(ctx, q.by, l)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.jobPage(ctx, q, f, status) })
	}
	return seeOther("/jobs/" + l.Job), nil
}

func (c *Console) jobAsk(ctx context.Context, q *request) (answer, error) {
	if _, err := c.Fleet.JobLines(ctx, q.by, q.PathValue("job"), 1); err != nil {
		return nil, err
	}
	path := "/jobs/" + q.PathValue("job")
	return c.sure(q.texts.T("console.jobs.run.sure", "job", writer{q.texts}.job(q.PathValue("job"))), q.texts.T("console.jobs.run"), path+"/run", path), nil
}

func (c *Console) jobRun(ctx context.Context, q *request) (answer, error) {
	if _, err := c.Fleet.RunJobNow(ctx, q.by, q.PathValue("job")); err != nil {
		return nil, err
	}
	return seeOther("/jobs"), nil
}
