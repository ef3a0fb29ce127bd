package fleet

import (
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// JobLine is when a job is due, as somebody has said it. The latest of a job holds, from the moment it was said; running servers
// follow within a minute.
type JobLine struct {
	LineID     uuid.UUID
	Job        string
	Line       string // of duedate.ParseSchedule; "": as the program has it
	Why        string
	RecordedAt time.Time
	RecordedBy uuid.UUID
}

// JobState is how a job stands.
type JobState struct {
	JobSchedule
	Usual    string    // the line that the program has
	Said     JobLine   // the one that holds instead; zero: none
	Next     time.Time // when it is due next
	Last     *JobRun   // its newest run; nil: none yet
	LastDone *time.Time
	// MissedAt is when it should have run and has not; zero: it has. An alarm hangs on it.
	MissedAt time.Time
}

// jobMayBeLate is how long after its instant a run may end before the job counts as missed: longer than a run and its second try take.
const jobMayBeLate = time.Hour

// Bounds of a line. A job is a function of a day, so more often than hourly is no use; what is not done for a week leaves people
// without notices and without backups (common practice, no source).
const (
	jobOftenest  = time.Hour
	jobSeldomest = 7 * 24 * time.Hour
	linesTried   = 200 // instants of a line that are looked at
)

type jobLineRows interface {
	// JobLinesNow gives the line of each job that holds.
	JobLinesNow(ctx context.Context) ([]JobLine, error)
	JobLineByID(ctx context.Context, id uuid.UUID) (JobLine, error)
	// InsertJobLine answers false when the id is taken.
	InsertJobLine(ctx context.Context, l JobLine) (bool, error)
	// JobLinePage gives what was said of a job, the newest first.
	JobLinePage(ctx context.Context, job string, limit int) ([]JobLine, error)
	// LastDone gives when each job last ended well.
	LastDone(ctx context.Context) (map[string]time.Time, error)
	// WantRun makes a run due that is not being worked off, whether it was done or not; false when it is.
	WantRun(ctx context.Context, r JobRun, abandoned time.Time) (bool, error)
}

// schedulesNow gives jobs with the lines that hold.
func schedulesNow(ctx context.Context, tx Tx, usual []JobSchedule) ([]JobSchedule, error) {
	said, err := tx.JobLinesNow(ctx)
	if err != nil {
		return nil, err
	}
	list := slices.Clone(usual)
	for _, l := range said {
		i := slices.IndexFunc(list, func(s JobSchedule) bool { return s.Job == l.Job })
		if i < 0 { // a job of another version of the program
			continue
		}
		list[i].Since = l.RecordedAt
		if l.Line == "" {
			continue
		}
		if list[i].Schedule, err = duedate.ParseSchedule(l.Line); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// checkJobLine says what is wrong with a line, and reads it.
func checkJobLine(faults *fault.List, pointer, line string, now time.Time) (s duedate.Schedule) {
	s, err := duedate.ParseSchedule(line)
	if err != nil {
		faults.Add(pointer, "job_line_unreadable", "reason", err.Error())
		return s
	}
	at := s.Next(now)
	for range linesTried {
		next := s.Next(at)
		if next.Sub(at) < jobOftenest {
			faults.Add(pointer, "job_line_too_often")
			return s
		}
		if next.Sub(at) > jobSeldomest {
			faults.Add(pointer, "job_line_too_seldom", "days", int(jobSeldomest.Hours()/24))
			return s
		}
		at = next
	}
	return s
}

func (f *Fleet) jobKnown(job string) bool {
	return slices.ContainsFunc(f.Schedules, func(s JobSchedule) bool { return s.Job == job })
}

// PutJobLine says when a job is due from now on; an empty line gives it back to the program. The same again changes nothing.
func (f *Fleet) PutJobLine(ctx context.Context, by identity.Actor, l JobLine) (saved JobLine, created bool, err error) {
	tidy(&l.Line)
	tidy(&l.Why)
	var faults fault.List
	checkText(&faults, "/why", l.Why, 1, 500)
	if !f.jobKnown(l.Job) {
		faults.Add("/job", "job_not_found")
	}
	if l.Line != "" {
		checkJobLine(&faults, "/line", l.Line, f.Now())
	}
	if err := faults.Err(); err != nil {
		return l, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		l.RecordedAt, l.RecordedBy = f.Now(), by.PersonID
		saved = l
		if created, err = tx.InsertJobLine(ctx, l); err != nil || created {
			return err
		}
		if saved, err = tx.JobLineByID(ctx, l.LineID); err != nil {
			return err
		}
		if saved.Job != l.Job || saved.Line != l.Line || saved.Why != l.Why {
			return fault.New(fault.Conflict, "job_line_differs")
		}
		return nil
	})
	return saved, created, err
}

// JobLines gives what was said of when a job is due, the newest first.
func (f *Fleet) JobLines(ctx context.Context, by identity.Actor, job string, limit int) (list []JobLine, err error) {
	if !f.jobKnown(job) {
		return nil, fault.New(fault.NotFound, "job_not_found")
	}
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.JobLinePage(ctx, job, limit)
		return err
	})
	return list, err
}

// JobPreview gives the next instants of a line, or of the one of a job that holds, and the zone of the office in which people read
// them: by the clock there an instant of UTC moves when clocks change, and none is missed or doubled.
func (f *Fleet) JobPreview(ctx context.Context, by identity.Actor, job, line string, n int) (instants []time.Time, office *time.Location, err error) {
	states, err := f.JobStates(ctx, by)
	if err != nil {
		return nil, nil, err
	}
	i := slices.IndexFunc(states, func(s JobState) bool { return s.Job == job })
	if i < 0 {
		return nil, nil, fault.New(fault.NotFound, "job_not_found")
	}
	s := states[i].Schedule
	if tidy(&line); line != "" {
		var faults fault.List
		s = checkJobLine(&faults, "/line", line, f.Now())
		if err := faults.Err(); err != nil {
			return nil, nil, err
		}
	}
	l, err := f.LadderOn(ctx, by, duedate.Day{}, uuid.Nil)
	if err != nil {
		return nil, nil, err
	}
	at := f.Now()
	for range n {
		at = s.Next(at)
		instants = append(instants, at)
	}
	return instants, l.office(), nil
}

// JobStates gives how each job stands, in the order of the program's table.
func (f *Fleet) JobStates(ctx context.Context, by identity.Actor) (list []JobState, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list = nil
		schedules, err := schedulesNow(ctx, tx, f.Schedules)
		if err != nil {
			return err
		}
		said, err := tx.JobLinesNow(ctx)
		if err != nil {
			return err
		}
		done, err := tx.LastDone(ctx)
		if err != nil {
			return err
		}
		for i, s := range schedules {
			state := JobState{JobSchedule: s, Usual: f.Schedules[i].Schedule.String(), Next: s.Schedule.Next(f.Now())}
			if at, ok := done[s.Job]; ok {
				state.LastDone = &at
			}
			if j := slices.IndexFunc(said, func(l JobLine) bool { return l.Job == s.Job && l.Line != "" }); j >= 0 {
				state.Said = said[j]
			}
			runs, err := tx.JobRunPage(ctx, JobRunQuery{Job: s.Job, Limit: runsLookedAt})
			if err != nil {
				return err
			}
			if len(runs) > 0 {
				state.Last = &runs[0]
			}
			state.MissedAt = s.missed(runs, f.Now())
			list = append(list, state)
		}
		return nil
	})
	return list, err
}

// runsLookedAt is how many of a job's runs are looked at for one that is done: there is one a day, or one an hour.
const runsLookedAt = 30

// missed gives the instant that should be done by now and is not, with none after it either; zero: none.
func (s JobSchedule) missed(runs []JobRun, now time.Time) time.Time {
	due := s.Schedule.Previous(now.Add(-jobMayBeLate))
	if due.Before(s.Since) { // of a line that did not hold yet
		return time.Time{}
	}
	if slices.ContainsFunc(runs, func(r JobRun) bool { return r.State == "done" && !r.ScheduledFor.Before(due) }) {
		return time.Time{}
	}
	return due
}

// RunJobNow has the latest run of a job done again, or first, by whichever server looks next: within a minute, and through the ledger
// as every run, so that no two servers do it at once. Doing it again is harmless, because what a job makes has keys of its own.
func (f *Fleet) RunJobNow(ctx context.Context, by identity.Actor, job string) (r JobRun, err error) {
	if !f.jobKnown(job) {
		return r, fault.New(fault.NotFound, "job_not_found")
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		now, err := f.trustedNow(ctx, tx)
		if err != nil {
			return err
		}
		last, err := tx.LastRun(ctx, job, now)
		if err != nil {
			return err
		}
		schedules, err := schedulesNow(ctx, tx, f.Schedules)
		if err != nil {
			return err
		}
		s := schedules[slices.IndexFunc(schedules, func(s JobSchedule) bool { return s.Job == job })]
		if latest := s.Schedule.Previous(now); latest.After(last) {
			last = latest
		}
		wanted, err := tx.WantRun(ctx, runOf(s, last, "due"), now.Add(-RunTimeout))
		if err != nil {
			return err
		}
		if !wanted {
			return fault.New(fault.Conflict, "job_running")
		}
		if r, err = tx.RunByKey(ctx, job, last); err != nil {
			return err
		}
		return f.record(ctx, tx, by, "job_run", f.NewID(), struct {
			Job          string
			ScheduledFor time.Time
		}{job, last})
	})
	return r, err
}
