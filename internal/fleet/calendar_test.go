package fleet_test

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// calendarWorld is 60 doors with plans of both regimes and all leads, some without a plan or with an ended one. It
// is the same, ids and all, on every database.
func calendarWorld(t *testing.T) *rig {
	t.Helper()
	r := newFleet(t)
	site := r.site(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade")
	for i := range 60 {
		d := r.door(t, site.SiteID, "Door")
		p := fleet.Plan{DoorID: d.DoorID, PlanID: r.id(), IntervalMonths: []int{1, 3, 6, 12}[i%4], Regime: duedate.Anniversary, ToleranceDays: 14, LeadDays: i % 15,
			AnchorOn: day("2026-02-10").AddDays(i * 2), Active: i%9 != 0}
		if i%2 == 0 {
			p.Regime, p.ToleranceDays = duedate.FromLast, 0
		}
		if i%11 == 0 {
			continue // no plan
		}
		if _, _, err := r.PutPlan(t.Context(), dispatcher, p, 0); err != nil {
			t.Fatal(err)
		}
	}
	return r
}

// orders is the whole table but for when each row was recorded.
func (r *rig) orders(t *testing.T) []string {
	t.Helper()
	rows, err := r.db.Admin.Query(context.Background(), `select (to_jsonb(o) - 'recorded_at')::text from work_order o order by work_order_id`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var list []string
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			t.Fatal(err)
		}
		list = append(list, line)
	}
	return list
}

func fortyDays() []duedate.Day {
	var days []duedate.Day
	for i := range 40 {
		days = append(days, day("2026-03-05").AddDays(i))
	}
	return days
}

func TestTheNightlyJobMakesTheSameOrdersHoweverOftenAndLateItRuns(t *testing.T) {
	t.Parallel()
	days := fortyDays()
	daily, late, twice, crowd := calendarWorld(t), calendarWorld(t), calendarWorld(t), calendarWorld(t)
	for _, d := range days {
		daily.generate(t, d)
		twice.generate(t, d)
		twice.generate(t, d)
	}
	late.generate(t, days[len(days)-1])
	crowd.generateByProcesses(t, 3, days[0], days[10], days[39])
	want := daily.orders(t)
	if len(want) < 20 || len(want) > 59 {
		t.Fatalf("%d orders: the world shows too little", len(want))
	}
	for name, r := range map[string]*rig{"once after 40 days": late, "twice a day": twice, "three processes at once": crowd} {
		if got := r.orders(t); !slices.Equal(got, want) {
			t.Errorf("%s: %d orders, want the same %d as by running daily", name, len(got), len(want))
		}
	}
}

func (r *rig) generate(t *testing.T, d duedate.Day) {
	t.Helper()
	if _, err := r.OpenDueWorkOrders(t.Context(), d); err != nil {
		t.Fatal(err)
	}
}

// generateByProcesses runs the same days in several processes at once.
func (r *rig) generateByProcesses(t *testing.T, n int, days ...duedate.Day) {
	t.Helper()
	texts := make([]string, len(days))
	for i, d := range days {
		texts[i] = d.String()
	}
	var wait sync.WaitGroup
	problems := make([]error, n)
	for i := range n {
		wait.Go(func() {
			cmd := exec.Command(os.Args[0], "-test.run", "^$")
			cmd.Env = append(os.Environ(), "LINTEL_TEST_GENERATE_ON="+r.db.AppURL, "LINTEL_TEST_GENERATE_DAYS="+strings.Join(texts, " "))
			if out, err := cmd.CombinedOutput(); err != nil {
				problems[i] = errors.Join(err, errors.New(string(out)))
			}
		})
	}
	wait.Wait()
	if err := errors.Join(problems...); err != nil {
		t.Fatal(err)
	}
}

func TestGenerationIntoAnEmptyAnalysedTableDoesNotTakeForever(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	site := r.site(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade")
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	for _, statement := range []string{
		`insert into door (customer_id, site_id, door_id, tag, name, known_since, recorded_at, recorded_by)
			select customer_id, site_id, gen_random_uuid(), lpad(i::text, 8, '0'), 'Door', '2026-01-01', now(), gen_random_uuid() from site, generate_series(1, 25000) i where site_id = '` + site.SiteID.String() + `'`,
		`insert into inspection_plan (customer_id, site_id, door_id, plan_id, interval_months, regime, tolerance_days, lead_days, anchor_on, next_due, recorded_at, recorded_by)
			select customer_id, site_id, door_id, gen_random_uuid(), 12, 'anniversary', 30, 30, '2026-04-01', '2026-04-01', now(), gen_random_uuid() from door`,
		`analyze`,
	} {
		if _, err := r.db.Admin.Exec(ctx, statement); err != nil {
			t.Fatal(err)
		}
	}
	made, err := r.OpenDueWorkOrders(ctx, day("2026-03-10"))
	if err != nil || made != 25000 { // more than one page
		t.Fatalf("made %d, %v", made, err)
	}
	if again, err := r.OpenDueWorkOrders(ctx, day("2026-03-10")); err != nil || again != 0 {
		t.Errorf("again %d, %v", again, err)
	}
}

func nightly(t *testing.T) []fleet.JobSchedule {
	t.Helper()
	s, err := duedate.ParseSchedule("15 4 * * *")
	if err != nil {
		t.Fatal(err)
	}
	return []fleet.JobSchedule{{Job: "due_work_orders", Schedule: s}}
}

// ledger is the runs of the ledger, the newest first, as "day state".
func (r *rig) ledger(t *testing.T) []string {
	t.Helper()
	runs, err := r.JobRuns(t.Context(), dispatcher, fleet.JobRunQuery{Limit: 100})
	if err != nil {
		t.Fatal(err)
	}
	var list []string
	for _, run := range runs {
		list = append(list, run.AsOf.String()+" "+run.State)
	}
	return list
}

func TestAfterAStandstillOnlyTheLatestRunIsDoneAndTheOthersAreWrittenDown(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	r.now = time.Now().UTC().AddDate(0, 0, -10) // the database has its own clock
	work := func(context.Context, duedate.Day) (map[string]any, error) { return map[string]any{"made": 0}, nil }
	step := func() (done int) {
		todo, err := r.EnsureRuns(t.Context(), nightly(t))
		if err != nil {
			t.Fatal(err)
		}
		for _, run := range todo {
			did, err := r.DoRun(t.Context(), run, work)
			if err != nil {
				t.Fatal(err)
			}
			if did {
				done++
			}
		}
		return done
	}
	if got := step(); got != 1 {
		t.Fatalf("%d runs at the first start", got)
	}
	if got := step(); got != 0 {
		t.Errorf("%d runs a moment later", got)
	}
	r.pass(5 * 24 * time.Hour)
	if got := step(); got != 1 {
		t.Errorf("%d runs after five days", got)
	}
	list := r.ledger(t)
	if len(list) != 6 || !strings.HasSuffix(list[0], " done") || !strings.HasSuffix(list[5], " done") {
		t.Fatalf("ledger %v", list)
	}
	for _, line := range list[1:5] {
		if !strings.HasSuffix(line, " superseded") {
			t.Errorf("%s", line)
		}
	}
}

func TestARunIsDoneByOneOfSeveralAndAgainWhenItFailedOrWasAbandoned(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	todo, err := r.EnsureRuns(t.Context(), nightly(t))
	if err != nil || len(todo) != 1 {
		t.Fatal(todo, err)
	}
	run := todo[0]
	fail := errors.New("no")
	if did, err := r.DoRun(t.Context(), run, func(context.Context, duedate.Day) (map[string]any, error) { return nil, fail }); !did || !errors.Is(err, fail) {
		t.Fatalf("%v, %v", did, err)
	}
	began, release := make(chan struct{}), make(chan struct{})
	first := make(chan bool)
	go func() {
		did, _ := r.DoRun(context.Background(), run, func(context.Context, duedate.Day) (map[string]any, error) { close(began); <-release; return nil, nil })
		first <- did
	}()
	<-began
	never := func(context.Context, duedate.Day) (map[string]any, error) {
		t.Error("done twice at once")
		return nil, nil
	}
	if did, err := r.DoRun(t.Context(), run, never); did || err != nil {
		t.Errorf("a second worker: %v, %v", did, err)
	}
	close(release)
	if !<-first {
		t.Error("the first did not do it")
	}
	if did, err := r.DoRun(t.Context(), run, never); did || err != nil {
		t.Errorf("after it was done: %v, %v", did, err)
	}
	// A worker that died leaves its run running: after the timeout somebody else takes it over.
	if _, err := r.db.Admin.Exec(t.Context(), `update job_run set state = 'running', started_at = $1`, r.now); err != nil {
		t.Fatal(err)
	}
	r.pass(fleet.RunTimeout + time.Second)
	if did, err := r.DoRun(t.Context(), run, func(context.Context, duedate.Day) (map[string]any, error) { return nil, nil }); !did || err != nil {
		t.Errorf("taken over: %v, %v", did, err)
	}
}

func TestAClockThatJumpedAheadRunsNothing(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	r.now = time.Now().UTC().Add(26 * time.Hour)
	if todo, err := r.EnsureRuns(t.Context(), nightly(t)); err == nil {
		t.Errorf("%d runs", len(todo))
	}
	if n := r.count(t, `select count(*) from job_run`); n != 0 {
		t.Errorf("%d runs in the ledger", n)
	}
}

// letters is a mail server that the test plays.
type letters struct {
	mu      sync.Mutex
	taken   []fleet.Letter
	answers []error // the next ones; then everything is taken
}

func (l *letters) Deliver(_ context.Context, letter fleet.Letter) (string, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.taken = append(l.taken, letter)
	if len(l.answers) > 0 {
		err := l.answers[0]
		l.answers = l.answers[1:]
		return "", err
	}
	return "250 taken", nil
}

// noticeWorld has a door that is due on 20 March, an owner and an agent who are to be told, and one who was.
func noticeWorld(t *testing.T) (*rig, *letters, fleet.Plan) {
	t.Helper()
	r := newFleet(t)
	catalogue, err := loadWords()
	if err != nil {
		t.Fatal(err)
	}
	post := &letters{}
	r.Words, r.Post, r.Company = catalogue, post, fleet.ReportCompany{Name: "Lindqvist Doors", Phone: "+1 555 0100"}
	site := r.site(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade")
	for _, p := range []struct{ name, role, from, to string }{
		{"owner", "owner", "2020-01-01", ""}, {"agent", "managing_agent", "2020-01-01", ""}, {"former", "owner", "2020-01-01", "2025-12-31"}} {
		party, _, err := r.PutParty(t.Context(), dispatcher, fleet.Party{PartyID: r.id(), Name: p.name, Email: p.name + "@kestrel.example"}, 0)
		if err != nil {
			t.Fatal(err)
		}
		s := fleet.Standing{SiteID: site.SiteID, StandingID: r.id(), PartyID: party.PartyID, Role: p.role, FromDay: day(p.from)}
		if p.to != "" {
			s.ToDay = day(p.to)
		}
		if _, _, err := r.PutStanding(t.Context(), dispatcher, s, 0); err != nil {
			t.Fatal(err)
		}
	}
	plan, _, err := r.PutPlan(t.Context(), dispatcher, fleet.Plan{DoorID: r.door(t, site.SiteID, "Door").DoorID, PlanID: r.id(), IntervalMonths: 12, Regime: duedate.Anniversary,
		ToleranceDays: 60, LeadDays: 45, AnchorOn: day("2026-03-20"), Active: true}, 0)
	if err != nil {
		t.Fatal(err)
	}
	r.now = time.Date(2026, 3, 3, 17, 0, 0, 0, time.UTC) // nine in the morning at the site
	r.generate(t, day("2026-03-03"))
	return r, post, plan
}

func (r *rig) queue(t *testing.T, d string) int64 {
	t.Helper()
	n, err := r.QueueNotices(t.Context(), day(d))
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func (r *rig) send(t *testing.T) {
	t.Helper()
	if _, err := r.RemindOfUnsafeDoors(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := r.WriteLetters(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := r.SendLetters(t.Context()); err != nil {
		t.Fatal(err)
	}
}

func TestNoticesAreQueuedOnceForThoseWhoStandToTheSite(t *testing.T) {
	t.Parallel()
	r, post, _ := noticeWorld(t)
	if n := r.queue(t, "2026-03-03"); n != 2 {
		t.Fatalf("%d notices queued", n)
	}
	if n := r.queue(t, "2026-03-03"); n != 0 {
		t.Errorf("%d notices queued again", n)
	}
	r.send(t)
	r.send(t)
	var to []string
	for _, l := range post.taken {
		to = append(to, l.Address)
		if strings.Contains(l.Text+l.Subject, "⟦") {
			t.Errorf("a text is missing: %s\n%s", l.Subject, l.Text)
		}
	}
	slices.Sort(to)
	if !slices.Equal(to, []string{"agent@kestrel.example", "owner@kestrel.example"}) {
		t.Errorf("told %v", to)
	}
}

func TestAfterAStandstillOnlyTheHighestRungIsSent(t *testing.T) {
	t.Parallel()
	r, post, _ := noticeWorld(t)
	r.now = r.now.AddDate(0, 0, 22)
	if n := r.queue(t, "2026-03-25"); n != 8 { // overdue to two, and six superseded
		t.Fatalf("%d notices", n)
	}
	r.send(t)
	if len(post.taken) != 2 {
		t.Errorf("%d letters", len(post.taken))
	}
	for _, l := range post.taken {
		if !strings.HasPrefix(l.Subject, "OVERDUE") {
			t.Errorf("sent %s", l.Subject)
		}
	}
	if n := r.count(t, `select count(*) from notice where rung in ('due_in_30', 'due_in_7', 'due_today') and state = 'superseded' and because = 'higher_rung'`); n != 6 {
		t.Errorf("%d superseded notices", n)
	}
}

func TestALetterThatCouldNotBeHandedOverIsTriedAgainUnderTheSameId(t *testing.T) {
	t.Parallel()
	r, post, _ := noticeWorld(t)
	r.queue(t, "2026-03-03")
	post.answers = []error{&fleet.PostFailure{Answer: "451 later", Err: errors.New("later")}, &fleet.PostFailure{Permanent: true, Answer: "550 unknown", Err: errors.New("no")}}
	r.send(t)
	r.send(t) // not before its time
	if len(post.taken) != 2 {
		t.Fatalf("%d tries", len(post.taken))
	}
	r.pass(time.Hour)
	r.send(t)
	if len(post.taken) != 3 || post.taken[2].LetterID != post.taken[0].LetterID && post.taken[2].LetterID != post.taken[1].LetterID {
		t.Errorf("tries %v", post.taken)
	}
	if n := r.count(t, `select count(*) from notice where state = 'sent'`); n != 1 {
		t.Errorf("%d sent", n)
	}
	if n := r.count(t, `select count(*) from notice where state = 'failed' and because = 'refused'`); n != 1 {
		t.Errorf("%d failed", n)
	}
	if n := r.count(t, `select count(*) from letter_attempt where (outcome, answer) in (('temporary', '451 later'), ('permanent', '550 unknown'), ('sent', '250 taken'))`); n != 3 {
		t.Errorf("%d attempts on record", n)
	}
}

func TestSeveralSendersHandOverEachLetterOnce(t *testing.T) {
	t.Parallel()
	r, post, _ := noticeWorld(t)
	r.queue(t, "2026-03-03")
	var wait sync.WaitGroup
	for range 8 {
		wait.Go(func() {
			if _, err := r.WriteLetters(context.Background()); err != nil {
				t.Error(err)
			}
			if _, err := r.SendLetters(context.Background()); err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
	if len(post.taken) != 2 {
		t.Errorf("%d handed over", len(post.taken))
	}
}

func TestAnOrderThatIsNotOpenAnyMoreIsNoReasonForANotice(t *testing.T) {
	t.Parallel()
	r, _, _ := noticeWorld(t)
	list, err := r.WorkOrders(t.Context(), dispatcher, fleet.WorkOrderQuery{Limit: 10})
	if err != nil || len(list) != 1 {
		t.Fatal(list, err)
	}
	if _, err := r.CancelWorkOrder(t.Context(), dispatcher, list[0].WorkOrderID, "The door is bricked up.", list[0].Version); err != nil {
		t.Fatal(err)
	}
	if n := r.queue(t, "2026-03-25"); n != 0 {
		t.Errorf("%d notices", n)
	}
	r.generate(t, day("2026-03-25"))
	if n := r.count(t, `select count(*) from work_order`); n != 1 {
		t.Errorf("%d orders: what a dispatcher cancelled was made again", n)
	}
}

func TestAPlanSaysWhatMakesNoSense(t *testing.T) {
	t.Parallel()
	r, _, plan := noticeWorld(t)
	for name, c := range map[string]struct {
		change func(*fleet.Plan)
		want   string
	}{
		"no anchor":           {func(p *fleet.Plan) { p.AnchorOn = duedate.Day{} }, "date_missing at /anchor_on"},
		"no interval":         {func(p *fleet.Plan) { p.IntervalMonths = 0 }, "out_of_range at /interval_months"},
		"unknown regime":      {func(p *fleet.Plan) { p.Regime = "whenever" }, "regime_unknown at /regime"},
		"tolerance too long":  {func(p *fleet.Plan) { p.ToleranceDays = 300 }, "out_of_range at /tolerance_days"},
		"lead over tolerance": {func(p *fleet.Plan) { p.LeadDays = 61 }, "lead_over_tolerance at /lead_days"},
		"second active plan":  {func(p *fleet.Plan) { p.PlanID = uuid.MustParse("01950000-0000-7000-8000-0000000000aa") }, "plan_exists"},
		"no version named":    {func(p *fleet.Plan) { p.LeadDays = 3 }, "version_required"},
		"unknown door":        {func(p *fleet.Plan) { p.DoorID = r.id() }, "door_not_found"},
	} {
		changed := plan
		c.change(&changed)
		_, _, err := r.PutPlan(t.Context(), dispatcher, changed, 0)
		t.Run(name, func(t *testing.T) { wantFault(t, err, c.want) })
	}
	moved := plan
	moved.AnchorOn = day("2026-06-01")
	saved, _, err := r.PutPlan(t.Context(), dispatcher, moved, plan.Version)
	if err != nil || saved.NextDue != day("2026-06-01") {
		t.Errorf("next due %s, %v", saved.NextDue, err)
	}
	list, err := r.WorkOrders(t.Context(), dispatcher, fleet.WorkOrderQuery{Limit: 10})
	if err != nil || len(list) != 1 || list[0].State != "superseded" {
		t.Errorf("the order of the old due date: %+v, %v", list, err)
	}
}
