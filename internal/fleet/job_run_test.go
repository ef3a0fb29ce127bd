package fleet_test

import (
	"context"
	"errors"
	"slices"
	"sync"
	"testing"
	"time"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// nothing is work that does nothing.
func nothing(context.Context, duedate.Day) (map[string]any, error) { return nil, nil }

func (r *rig) ensure(t *testing.T) (days []string) {
	t.Helper()
	todo, err := r.EnsureRuns(t.Context(), nightly(t))
	if err != nil {
		t.Fatal(err)
	}
	for _, run := range todo {
		days = append(days, run.AsOf.String())
	}
	return days
}

// byHand runs the nightly job as of a day and gives the state in which its run then is.
func (r *rig) byHand(t *testing.T, d string, again bool) (state string, did bool) {
	t.Helper()
	run, did, err := r.DoRunByHand(t.Context(), nightly(t)[0], day(d), again, nothing)
	if err != nil {
		t.Fatal(err)
	}
	return run.State, did
}

func TestARunByHandIsInTheLedgerAndIsDoneAgainOnlyWhenAsked(t *testing.T) {
	t.Parallel()
	r := newFleet(t) // 3 March, after the time of the nightly run
	for _, step := range []struct {
		again, did bool
	}{{false, true}, {false, false}, {true, true}} {
		if state, did := r.byHand(t, "2026-03-02", step.again); state != "done" || did != step.did {
			t.Errorf("again %v: %s, %v", step.again, state, did)
		}
	}
	if got, want := r.ledger(t), []string{"2026-03-02 done"}; !slices.Equal(got, want) {
		t.Errorf("ledger %v, want %v", got, want)
	}
}

func TestARunByHandDoesNotStopTheClock(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	r.byHand(t, "2026-02-27", false)
	if got := r.ensure(t); !slices.Equal(got, []string{"2026-03-03"}) {
		t.Errorf("to do %v", got)
	}
	r.byHand(t, "2026-03-03", false)
	if got := r.ensure(t); len(got) != 0 {
		t.Errorf("to do after it was done by hand: %v", got)
	}
	r.now = time.Date(2026, 3, 4, 3, 0, 0, 0, time.UTC)
	r.byHand(t, "2026-03-04", false) // today's, before its time
	r.now = time.Date(2026, 3, 5, 5, 0, 0, 0, time.UTC)
	if got := r.ensure(t); !slices.Equal(got, []string{"2026-03-05"}) {
		t.Errorf("to do on the next day: %v", got)
	}
	want := []string{"2026-03-05 due", "2026-03-04 done", "2026-03-03 done", "2026-03-02 superseded", "2026-03-01 superseded", "2026-02-28 superseded", "2026-02-27 done"}
	if got := r.ledger(t); !slices.Equal(got, want) {
		t.Errorf("ledger %v, want %v", got, want)
	}
}

func TestADayWithoutARunIsRefused(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	weekly, err := duedate.ParseSchedule("15 4 * * 1")
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		s    fleet.JobSchedule
		day  string
		want string
	}{
		"a Tuesday of a job for Mondays": {fleet.JobSchedule{Job: "weekly", Schedule: weekly}, "2026-03-03", "no_run_that_day"},
		"tomorrow":                       {nightly(t)[0], "2026-03-04", "day_to_come"},
	} {
		_, did, err := r.DoRunByHand(t.Context(), c.s, day(c.day), true, nothing)
		t.Run(name, func(t *testing.T) { wantFault(t, err, c.want) })
		if did {
			t.Errorf("%s was run", name)
		}
	}
	if got := r.ledger(t); len(got) != 0 {
		t.Errorf("ledger %v", got)
	}
}

// A server that stopped between writing a run down and doing it leaves it waiting; days later it is not done any
// more: as of that day it would send what the present has overtaken.
func TestARunThatWaitedPastTheNextIsPassedOver(t *testing.T) {
	t.Parallel()
	for name, leave := range map[string]string{
		"nobody began it":         "due",
		"whoever began it died":   "running",
		"it failed, on record so": "failed",
	} {
		r := newFleet(t)
		if got := r.ensure(t); len(got) != 1 {
			t.Fatalf("to do %v", got)
		}
		if _, err := r.db.Admin.Exec(t.Context(), `update job_run set state = $1, started_at = $2`, leave, r.now); err != nil {
			t.Fatal(err)
		}
		r.pass(48 * time.Hour)
		if got := r.ensure(t); !slices.Equal(got, []string{"2026-03-05"}) {
			t.Errorf("%s: to do %v", name, got)
		}
		want := []string{"2026-03-05 due", "2026-03-04 superseded", "2026-03-03 superseded"}
		if leave == "failed" {
			want[2] = "2026-03-03 failed"
		}
		if got := r.ledger(t); !slices.Equal(got, want) {
			t.Errorf("%s: ledger %v, want %v", name, got, want)
		}
	}
}

func TestAnInterruptedRunIsDueAgainAndAFailedOneSaysWhy(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	todo, err := r.EnsureRuns(t.Context(), nightly(t))
	if err != nil || len(todo) != 1 {
		t.Fatal(todo, err)
	}
	told, tell := context.WithCancel(t.Context())
	did, err := r.DoRun(told, todo[0], func(ctx context.Context, _ duedate.Day) (map[string]any, error) {
		tell()
		<-ctx.Done()
		return nil, ctx.Err()
	})
	if !did || !errors.Is(err, context.Canceled) {
		t.Errorf("%v, %v", did, err)
	}
	if got := r.ensure(t); len(got) != 1 {
		t.Errorf("to do after the interruption: %v", got)
	}
	if did, err := r.DoRun(t.Context(), todo[0], func(context.Context, duedate.Day) (map[string]any, error) {
		return nil, errors.New("no paper")
	}); !did || err == nil {
		t.Errorf("%v, %v", did, err)
	}
	runs, err := r.JobRuns(t.Context(), dispatcher, fleet.JobRunQuery{Job: "due_work_orders", Limit: 10})
	if err != nil || len(runs) != 1 || runs[0].State != "failed" || runs[0].Result["error"] != "no paper" || runs[0].FinishedAt == nil {
		t.Errorf("%+v, %v", runs, err)
	}
}

func TestWhoLostARunToAnotherDoesNotWriteOverItsResult(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	todo, err := r.EnsureRuns(t.Context(), nightly(t))
	if err != nil || len(todo) != 1 {
		t.Fatal(todo, err)
	}
	says := func(text string) map[string]any { return map[string]any{"says": text} }
	if _, err := r.DoRun(t.Context(), todo[0], func(context.Context, duedate.Day) (map[string]any, error) {
		r.pass(fleet.RunTimeout + time.Minute) // so long that it counts as abandoned
		did, err := r.DoRun(t.Context(), todo[0], func(context.Context, duedate.Day) (map[string]any, error) { return says("second"), nil })
		if !did || err != nil {
			t.Errorf("taken over: %v, %v", did, err)
		}
		return says("first"), nil
	}); err != nil {
		t.Fatal(err)
	}
	runs, err := r.JobRuns(t.Context(), dispatcher, fleet.JobRunQuery{Limit: 10})
	if err != nil || len(runs) != 1 || runs[0].Result["says"] != "second" {
		t.Errorf("%+v, %v", runs, err)
	}
}

func TestSeveralServersWriteOneLedger(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	r.byHand(t, "2026-02-01", false)
	var wait sync.WaitGroup
	for range 6 {
		wait.Go(func() {
			todo, err := r.EnsureRuns(context.Background(), nightly(t))
			if err != nil {
				t.Error(err)
			}
			for _, run := range todo {
				if _, err := r.DoRun(context.Background(), run, nothing); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wait.Wait()
	list := r.ledger(t)
	if len(list) != 31 || list[0] != "2026-03-03 done" || list[30] != "2026-02-01 done" {
		t.Fatalf("ledger %v", list)
	}
	for i, line := range list[1:30] {
		if want := day("2026-03-02").AddDays(-i).String() + " superseded"; line != want {
			t.Errorf("%s, want %s", line, want)
		}
	}
}

func TestTheLedgerPagesByKey(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	for _, d := range []string{"2026-03-01", "2026-03-02", "2026-03-03"} {
		for _, job := range []string{"a_job", "b_job"} {
			s := nightly(t)[0]
			s.Job = job
			if _, _, err := r.DoRunByHand(t.Context(), s, day(d), false, nothing); err != nil {
				t.Fatal(err)
			}
		}
	}
	var got []string
	for q := (fleet.JobRunQuery{Limit: 2}); ; {
		page, err := r.JobRuns(t.Context(), dispatcher, q)
		if err != nil {
			t.Fatal(err)
		}
		for _, run := range page {
			got = append(got, run.AsOf.String()+" "+run.Job)
			q.BeforeAt, q.BeforeJob = run.ScheduledFor, run.Job
		}
		if len(page) < q.Limit {
			break
		}
	}
	want := []string{"2026-03-03 b_job", "2026-03-03 a_job", "2026-03-02 b_job", "2026-03-02 a_job", "2026-03-01 b_job", "2026-03-01 a_job"}
	if !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}
