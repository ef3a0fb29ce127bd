package jobs

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/riverqueue/river"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// runArgs is one run of the ledger.
type runArgs struct {
	Job          string      `json:"job"`
	ScheduledFor time.Time   `json:"scheduled_for"`
	AsOf         duedate.Day `json:"as_of"`
}

// Kind names the job in the queue.
func (runArgs) Kind() string { return "run" }

// InsertOpts says nothing of being unique: the ledger lets one worker have a run, and what a killed one left behind in
// the queue must not keep the next from taking the run over.
func (runArgs) InsertOpts() river.InsertOpts { return river.InsertOpts{MaxAttempts: 3} }

type runWorker struct {
	river.WorkerDefaults[runArgs]
	rooms Rooms
}

// Timeout bounds a run; the ledger bounds its work a little closer.
func (w *runWorker) Timeout(*river.Job[runArgs]) time.Duration { return fleet.RunTimeout }

// Work does the run if nobody else has.
func (w *runWorker) Work(ctx context.Context, j *river.Job[runArgs]) error {
	job, ok := Find(j.Args.Job)
	if !ok { // of another version of the program: leave it to that one
		return river.JobCancel(fmt.Errorf("job %s is not known here", j.Args.Job))
	}
	_, err := w.rooms.Fleet.DoRun(ctx, fleet.JobRun{Job: j.Args.Job, ScheduledFor: j.Args.ScheduledFor, AsOf: j.Args.AsOf}, job.in(w.rooms))
	return err
}

// ErrUnknown is an unknown name of a job.
var ErrUnknown = errors.New("no such job")

// RunOnce does the run of a job that is due on a day, by hand and through the ledger, and gives the run as it then
// stands. What is done already is done again only when that is asked for.
func RunOnce(ctx context.Context, rooms Rooms, name string, day duedate.Day, again bool) (run fleet.JobRun, did bool, err error) {
	job, ok := Find(name)
	if !ok {
		return fleet.JobRun{}, false, ErrUnknown
	}
	schedule, err := job.schedule()
	if err != nil {
		return fleet.JobRun{}, false, err
	}
	return rooms.Fleet.DoRunByHand(ctx, schedule, day, again, job.in(rooms))
}
