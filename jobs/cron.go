package jobs

import (
	"context"
	"fmt"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// Rooms are what jobs work in.
type Rooms struct {
	Fleet  *fleet.Fleet
	People *identity.People
	Backup func(context.Context) (map[string]any, error) // nil: no backups are made here
}

// Job is a line of the cron table: a name that never changes (the ledger carries it), a line in UTC, and the work as
// a function of a civil day.
type Job struct {
	Name string
	Line string
	Work func(context.Context, Rooms, duedate.Day) (map[string]any, error)
}

// Table is everything that runs by the clock. UTC, and outside of 00 to 03 hours: local hours exist twice or never
// when clocks change. What is due is decided by civil dates, not by the trigger.
func Table() []Job {
	return []Job{
		{Name: "due_work_orders", Line: "15 4 * * *", Work: dueWorkOrders},
		{Name: "queue_notices", Line: "45 4 * * *", Work: queueNotices},
		{Name: "backup", Line: "30 3 * * *", Work: backup},
		{Name: "forget_sign_in_failures", Line: "30 5 * * *", Work: forgetSignInFailures},
		{Name: "forget_answers", Line: "35 5 * * *", Work: forgetAnswers},
		{Name: "forget_webhook_events", Line: "40 5 * * *", Work: forgetWebhookEvents},
	}
}

// Schedules reads the lines of the table.
func Schedules() ([]fleet.JobSchedule, error) {
	var list []fleet.JobSchedule
	for _, j := range Table() {
		s, err := j.schedule()
		if err != nil {
			return nil, err
		}
		list = append(list, s)
	}
	return list, nil
}

// Find gives a job of the table.
func Find(name string) (Job, bool) {
	for _, j := range Table() {
		if j.Name == name {
			return j, true
		}
	}
	return Job{}, false
}

func (j Job) schedule() (fleet.JobSchedule, error) {
	s, err := duedate.ParseSchedule(j.Line)
	if err != nil {
		return fleet.JobSchedule{}, fmt.Errorf("job %s: %w", j.Name, err)
	}
	return fleet.JobSchedule{Job: j.Name, Schedule: s}, nil
}

// in is the job's work in rooms.
func (j Job) in(rooms Rooms) fleet.Work {
	return func(ctx context.Context, asOf duedate.Day) (map[string]any, error) { return j.Work(ctx, rooms, asOf) }
}
