package fleet_test

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

const nightlyJob = "due_work_orders" // of nightly

// jobsOf gives the nightly job to the rig.
func jobsOf(t *testing.T) *rig {
	t.Helper()
	r := newFleet(t) // 3 March 2026, 09:00, after the time of the nightly run
	r.Schedules = nightly(t)
	return r
}

func (r *rig) line(t *testing.T, line string) fleet.JobLine {
	t.Helper()
	l, created, err := r.PutJobLine(t.Context(), administrator, fleet.JobLine{LineID: r.id(), Job: nightlyJob, Line: line, Why: "the backup is on the disk by night"})
	if err != nil || !created {
		t.Fatal(created, err)
	}
	return l
}

func (r *rig) jobState(t *testing.T) fleet.JobState {
	t.Helper()
	states, err := r.JobStates(t.Context(), dispatcher)
	if err != nil || len(states) != 1 {
		t.Fatal(states, err)
	}
	return states[0]
}

func TestAJobIsDueByTheLineThatWasSaidLastAndNothingBeforeItIsMadeUpFor(t *testing.T) {
	t.Parallel()
	r := jobsOf(t)
	if s := r.jobState(t); s.Usual != "15 4 * * *" || s.Said.Line != "" || !s.Next.Equal(time.Date(2026, 3, 4, 4, 15, 0, 0, time.UTC)) || s.Last != nil || s.LastDone != nil {
		t.Errorf("%+v", s)
	}
	r.ensure(t)
	r.byHand(t, "2026-03-03", false)
	said := r.line(t, "0 6,18 * * *")
	if s := r.jobState(t); s.Said.LineID != said.LineID || !s.Next.Equal(time.Date(2026, 3, 3, 18, 0, 0, 0, time.UTC)) || s.LastDone == nil {
		t.Errorf("%+v", s)
	}
	if got := r.ensure(t); len(got) != 0 { // six o'clock was before the line was said
		t.Errorf("to do %v", got)
	}
	r.now = time.Date(2026, 3, 3, 18, 1, 0, 0, time.UTC)
	if got := r.ensure(t); !slices.Equal(got, []string{"2026-03-03"}) {
		t.Errorf("to do %v", got)
	}
	if again, created, err := r.PutJobLine(t.Context(), administrator, said); err != nil || created || !again.RecordedAt.Equal(said.RecordedAt) {
		t.Errorf("the same again: %+v, %v, %v", again, created, err)
	}
	said.Why = "for another reason"
	_, _, err := r.PutJobLine(t.Context(), administrator, said)
	wantFault(t, err, "job_line_differs")
	r.pass(time.Minute)
	r.line(t, "") // as the program has it
	if s := r.jobState(t); s.Said.Line != "" || !s.Next.Equal(time.Date(2026, 3, 4, 4, 15, 0, 0, time.UTC)) {
		t.Errorf("%+v", s)
	}
	if list, err := r.JobLines(t.Context(), dispatcher, nightlyJob, 10); err != nil || len(list) != 2 || list[0].Line != "" || list[1].Line != "0 6,18 * * *" {
		t.Errorf("%+v, %v", list, err)
	}
}

func TestALineThatWouldLeaveThingsUndoneIsRefused(t *testing.T) {
	t.Parallel()
	r := jobsOf(t)
	for line, want := range map[string]string{
		"whenever":                "job_line_unreadable",
		"CRON_TZ=UTC 0 5 * *":     "job_line_unreadable",
		"TZ=Asia/Tokyo 0 5 * * *": "job_line_unreadable",
		"* 5 * * *":               "job_line_too_often",
		"0 5 1 * *":               "job_line_too_seldom",
		"0 5 29 2 *":              "job_line_too_seldom",
	} {
		_, _, err := r.PutJobLine(t.Context(), administrator, fleet.JobLine{LineID: r.id(), Job: nightlyJob, Line: line, Why: "tried"})
		wantFault(t, err, want+" at /line")
		_, _, err = r.JobPreview(t.Context(), dispatcher, nightlyJob, line, 10)
		wantFault(t, err, want+" at /line")
	}
	_, _, err := r.PutJobLine(t.Context(), administrator, fleet.JobLine{LineID: r.id(), Job: "tidy_up", Line: "0 5 * * *", Why: "tried"})
	wantFault(t, err, "job_not_found at /job")
	if list, err := r.JobLines(t.Context(), dispatcher, nightlyJob, 10); err != nil || len(list) != 0 {
		t.Errorf("refused, and %v, %v is there", list, err)
	}
}

// Lines are in UTC, so that a day on which the office's clock jumps has neither two runs nor none.
func TestThePreviewGivesEveryInstantOnceAcrossAChangeOfClocks(t *testing.T) {
	t.Parallel()
	r := jobsOf(t)
	r.now = time.Date(2026, 3, 27, 12, 0, 0, 0, time.UTC) // in the European Union clocks change on 29 March 2026, 01:00 UTC (Directive 2000/84/EC)
	list, _, err := r.JobPreview(t.Context(), dispatcher, nightlyJob, "30 1 * * *", 10)
	if err != nil || len(list) != 10 {
		t.Fatal(list, err)
	}
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	for i, at := range list {
		if want := time.Date(2026, 3, 28+i, 1, 30, 0, 0, time.UTC); !at.Equal(want) {
			t.Errorf("%d: %s, want %s", i, at, want)
		}
	}
	if before, after := list[0].In(berlin).Format("15:04"), list[1].In(berlin).Format("15:04"); before != "02:30" || after != "03:30" {
		t.Errorf("in Berlin %s, then %s", before, after)
	}
}

func TestARunThatDidNotHappenIsMissedUntilOneIsDone(t *testing.T) {
	t.Parallel()
	r := jobsOf(t)
	r.byHand(t, "2026-03-03", false)
	r.now = time.Date(2026, 3, 4, 5, 14, 0, 0, time.UTC)
	if s := r.jobState(t); !s.MissedAt.IsZero() {
		t.Errorf("within the hour: %+v", s)
	}
	r.now = time.Date(2026, 3, 4, 5, 16, 0, 0, time.UTC)
	if s := r.jobState(t); !s.MissedAt.Equal(time.Date(2026, 3, 4, 4, 15, 0, 0, time.UTC)) {
		t.Errorf("missed %s", s.MissedAt)
	}
	r.byHand(t, "2026-03-04", false)
	if s := r.jobState(t); !s.MissedAt.IsZero() {
		t.Errorf("done, and %+v", s)
	}
}

func TestAJobIsDoneAgainOnceHoweverManyAskAndWorkItOff(t *testing.T) {
	t.Parallel()
	r := jobsOf(t)
	r.byHand(t, "2026-03-03", false)
	for range 3 {
		run, err := r.RunJobNow(t.Context(), administrator, nightlyJob)
		if err != nil || run.State != "due" || run.AsOf != day("2026-03-03") {
			t.Fatalf("%+v, %v", run, err)
		}
	}
	done := 0
	for range 3 {
		todo, err := r.EnsureRuns(t.Context(), r.Schedules)
		if err != nil {
			t.Fatal(err)
		}
		for _, run := range todo {
			did, err := r.DoRun(t.Context(), run, func(ctx context.Context, d duedate.Day) (map[string]any, error) {
				_, err := r.RunJobNow(ctx, administrator, nightlyJob)
				wantFault(t, err, "job_running")
				return map[string]any{"day": d.String()}, nil
			})
			if err != nil {
				t.Fatal(err)
			}
			if did {
				done++
			}
		}
	}
	if done != 1 {
		t.Errorf("done %d times", done)
	}
	if got, want := r.ledger(t), []string{"2026-03-03 done"}; !slices.Equal(got, want) {
		t.Errorf("ledger %v, want %v", got, want)
	}
	_, err := r.RunJobNow(t.Context(), administrator, "tidy_up")
	wantFault(t, err, "job_not_found")
}

func TestWhatWebhooksWereToldIsForgottenAfterAHundredDaysAndNotBefore(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	ctx := t.Context()
	today := time.Now().UTC().Truncate(24 * time.Hour) // the database holds to its own clock that nothing younger goes
	hook := r.id()
	exec := func(sql string, args ...any) {
		t.Helper()
		if _, err := r.db.Admin.Exec(ctx, sql, args...); err != nil {
			t.Fatal(err)
		}
	}
	exec(`insert into webhook (webhook_id, address, types, note, state, key_id, sealed, version, recorded_at, recorded_by) values ($1, 'https://hooks.example/', '{door.opened}', '', 'enabled', 'test', '\x00', 1, now(), $2)`, hook, administrator.PersonID)
	for _, age := range []int{101, 95, 89} {
		event := r.id()
		exec(`insert into webhook_event (event_id, type, subject_id, data, happened_at) values ($1, 'work_order.opened', $1, '{}', $2)`, event, today.AddDate(0, 0, -age))
		exec(`insert into webhook_delivery (webhook_id, event_id, happened_at, state) values ($1, $2, $3, 'delivered')`, hook, event, today.AddDate(0, 0, -age))
		exec(`insert into webhook_attempt (attempt_id, webhook_id, event_id, at, status, answer, took_ms) values ($1, $2, $3, $4, 200, '', 3)`, r.id(), hook, event, today.AddDate(0, 0, -age))
	}
	left := func() (counts string) {
		var events, deliveries, attempts int
		if err := r.db.Admin.QueryRow(ctx, `select (select count(*) from webhook_event), (select count(*) from webhook_delivery), (select count(*) from webhook_attempt)`).Scan(&events, &deliveries, &attempts); err != nil {
			t.Fatal(err)
		}
		return fmt.Sprint(events, deliveries, attempts)
	}
	asOf := duedate.DayIn(today, time.UTC)
	if n, err := r.ForgetHookEvents(ctx, asOf); err != nil || n != 1 || left() != "2 2 2" {
		t.Errorf("%d, %v, left %s", n, err, left())
	}
	if n, err := r.ForgetHookEvents(ctx, asOf.AddDays(3000)); err != nil || n != 1 || left() != "1 1 1" { // by a clock gone wrong only what is older than 90 days
		t.Errorf("%d, %v, left %s", n, err, left())
	}
}
