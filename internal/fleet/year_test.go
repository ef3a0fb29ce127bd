package fleet_test

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// modelDoor is one seed: a door with a plan that lives a random year, and the oracle beside it.
type modelDoor struct {
	random *rand.Rand
	plan   fleet.Plan
	oracle planOracle
	second *secondPlan // of every third door: service besides the inspections
	open   []fleet.Suspension
	told   []string // what happened, for who reads a failure
}

// secondPlan is a plan of service with an oracle of its own.
type secondPlan struct {
	plan   fleet.Plan
	oracle planOracle
}

// night is what a nightly run makes of a door.
func (d *modelDoor) night(today time.Time) {
	if d.second == nil {
		d.oracle.night(today, nil)
		return
	}
	first := d.oracle
	d.oracle.night(today, &d.second.oracle)
	d.second.oracle.night(today, &first)
}

// A random year of many doors in one database, walked day by day: each hears of inspections (early, late, twice, long after they were
// done), of suspensions and resumptions and of other plans, and the nightly run stands still for days.
func TestAYearOfRandomEventsIsAsTheOracleSays(t *testing.T) {
	t.Parallel()
	seeds := 1000
	if os.Getenv("LINTEL_DRILLS") == "long" {
		seeds = 5000
	}
	r := newFleet(t)
	first := day("2026-01-01")
	began := time.Now()
	all := r.modelDoors(t, seeds, first)
	world := rand.New(rand.NewPCG(1, 2))
	runs, standstill, events := 0, 0, 0
	var counted sync.Mutex
	for n := range 365 {
		today := first.AddDays(n)
		r.now = timeOf(today).Add(20 * time.Hour) // noon at the site
		r.atOnce(t, seeds, func(ctx context.Context, i int) error {
			happened, err := all[i].live(ctx, r, today)
			counted.Lock()
			events += happened
			counted.Unlock()
			return err
		})
		if standstill > 0 {
			standstill--
			continue
		}
		if world.IntN(12) == 0 {
			standstill = world.IntN(12)
		}
		if n == 150 {
			standstill = 40
		}
		for range 1 + world.IntN(2) { // and again, as after a switch of servers
			r.generate(t, today)
			runs++
		}
		for _, d := range all {
			d.night(timeOf(today))
		}
		if n%30 == 0 {
			r.holdAgainst(t, all, today)
		}
	}
	r.holdAgainst(t, all, first.AddDays(364))
	t.Logf("%d doors, %d events, %d nightly runs in %v", seeds, events, runs, time.Since(began).Round(time.Second))
}

// The nights of twenty such years are run by three processes at once, weeks late, of which one is killed in the middle of it.
func TestAYearOfNightsIsAsTheOracleSaysAlthoughProcessesAreKilled(t *testing.T) {
	t.Parallel()
	seeds, weeks := 20, 5
	if os.Getenv("LINTEL_DRILLS") == "long" {
		seeds, weeks = 200, 1
	}
	r := newFleet(t)
	first := day("2026-01-01")
	all := r.modelDoors(t, seeds, first)
	world := rand.New(rand.NewPCG(3, 4))
	killed := 0
	for n := range 365 {
		today := first.AddDays(n)
		r.now = timeOf(today).Add(20 * time.Hour) // noon at the site
		r.atOnce(t, seeds, func(ctx context.Context, i int) error {
			_, err := all[i].live(ctx, r, today)
			return err
		})
		if n%(7*weeks) != 0 {
			continue
		}
		var wait sync.WaitGroup
		for i := range 3 {
			cmd := exec.Command(os.Args[0], "-test.run", "^$")
			cmd.Env = append(os.Environ(), "LINTEL_TEST_GENERATE_ON="+r.db.AppURL, "LINTEL_TEST_GENERATE_DAYS="+strings.Repeat(today.String()+" ", 20))
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			wait.Go(func() {
				if i == 0 {
					time.Sleep(time.Duration(100+world.IntN(400)) * time.Millisecond)
					_ = cmd.Process.Kill()
				}
				err := cmd.Wait()
				switch {
				case i == 0 && err != nil:
					killed++
				case err != nil:
					t.Errorf("a process that nobody killed: %v", err)
				}
			})
		}
		wait.Wait()
		for _, d := range all {
			d.night(timeOf(today))
		}
		r.holdAgainst(t, all, today)
	}
	t.Logf("%d of %d killed before they had ended", killed, (365+7*weeks-1)/(7*weeks))
}

// modelDoors makes the doors of seeds with their first plans.
func (r *rig) modelDoors(t testing.TB, seeds int, first duedate.Day) []*modelDoor {
	t.Helper()
	site := r.site(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade")
	doors := r.copies(t, r.door(t, site.SiteID, "Door"), seeds)
	all := make([]*modelDoor, seeds)
	r.atOnce(t, seeds, func(ctx context.Context, i int) error {
		all[i] = &modelDoor{random: rand.New(rand.NewPCG(uint64(i), 7)), plan: fleet.Plan{DoorID: doors[i], PlanID: r.id(), Active: true}}
		all[i].oracle.off, all[i].oracle.orders, all[i].oracle.most = map[string][2]time.Time{}, map[time.Time]bool{}, 12
		if i%3 == 0 {
			all[i].second = &secondPlan{plan: fleet.Plan{DoorID: doors[i], PlanID: r.id(), Purpose: "service", Active: true}, oracle: planOracle{orders: map[time.Time]bool{}}}
			if err := all[i].plans(ctx, r, &all[i].second.plan, &all[i].second.oracle, first); err != nil {
				return err
			}
		}
		return all[i].replan(ctx, r, first)
	})
	return all
}

// copies makes doors like one.
func (r *rig) copies(t testing.TB, door fleet.Door, n int) (ids []uuid.UUID) {
	t.Helper()
	for i := range n {
		ids = append(ids, uuid.UUID{0: 1, 15: byte(i), 14: byte(i >> 8), 6: 0x70, 8: 0x80})
	}
	for _, table := range []string{"door", "door_version", "door_leaf"} {
		others := map[string]string{"door": `'tag', lpad((60000000 + c.n)::text, 8, '0')`, "door_version": `'version_id', c.id`, "door_leaf": `'version_id', c.id`}[table]
		if _, err := r.db.Admin.Exec(t.Context(), fmt.Sprintf(`insert into %[1]s select copy.* from %[1]s as original cross join unnest($1::uuid[]) with ordinality as c (id, n)
			cross join lateral jsonb_populate_record(original, jsonb_build_object('door_id', c.id, %[2]s)) as copy where original.door_id = $2`, table, others), ids, door.DoorID); err != nil {
			t.Fatal(err)
		}
	}
	return ids
}

// atOnce does something for each of many, some at a time.
func (r *rig) atOnce(t testing.TB, n int, do func(ctx context.Context, i int) error) {
	t.Helper()
	g, ctx := errgroup.WithContext(t.Context())
	g.SetLimit(4)
	for i := range n {
		g.Go(func() error { return do(ctx, i) })
	}
	if err := g.Wait(); err != nil {
		t.Fatal(err)
	}
}

func timeOf(d duedate.Day) time.Time { return dayAt(d.Date()) }

// live is what is heard of a door on a day.
func (d *modelDoor) live(ctx context.Context, r *rig, today duedate.Day) (events int, err error) {
	for _, e := range []struct {
		oneIn int
		do    func(context.Context, *rig, duedate.Day) error
	}{{120, d.inspect}, {400, d.suspend}, {300, d.resume}, {500, d.replan}, {60, d.service}} {
		if d.random.IntN(e.oneIn) == 0 {
			events++
			if err := e.do(ctx, r, today); err != nil {
				return events, fmt.Errorf("%v: %w", d.told, err)
			}
		}
	}
	return events, nil
}

func (d *modelDoor) say(today duedate.Day, format string, args ...any) {
	d.told = append(d.told, today.String()+": "+fmt.Sprintf(format, args...))
}

// inspect keeps an inspection that was done today or some time ago, perhaps two at once.
func (d *modelDoor) inspect(ctx context.Context, r *rig, today duedate.Day) error {
	on := today.AddDays(-max(0, d.random.IntN(80)-40))
	for range 1 + d.random.IntN(5)/4 {
		d.say(today, "inspected on %v", on)
		at := timeOf(on).Add(20 * time.Hour) // noon at the site
		body, err := json.Marshal(fleet.EntryBody{DoorID: d.plan.DoorID, Kind: "conclusion", ObservedAt: at, Conclusion: &fleet.EntryConclusion{Result: "failed"}})
		if err != nil {
			return err
		}
		sum := sha256.Sum256(body)
		visit, entry := r.id(), r.id()
		if _, err := r.db.Admin.Exec(ctx, `with v as (insert into visit (customer_id, site_id, visit_id, received_at, recorded_by)
				select customer_id, site_id, $2, $4, $5 from door where door_id = $1 returning customer_id, site_id),
			e as (insert into visit_entry (customer_id, site_id, door_id, visit_id, entry_id, kind, observed_at, received_at, recorded_by, canonical, sha256)
				select customer_id, site_id, $1, $2, $3, 'conclusion', $4, $4, $5, $6, $7 from v)
			insert into visit_sign_off (customer_id, site_id, visit_id, canonical, sha256, signed_at, received_at, signed_by, record_sha256)
				select customer_id, site_id, $2, $6, $7, $4, $4, $5, $7 from v`, d.plan.DoorID, visit, entry, at, technician.PersonID, body, sum[:]); err != nil {
			return err
		}
		d.oracle.done = append(d.oracle.done, timeOf(on))
		on = on.AddDays(-d.random.IntN(10))
	}
	return r.SettleCalendar(ctx, technician, d.plan.DoorID)
}

func (d *modelDoor) suspend(ctx context.Context, r *rig, today duedate.Day) error {
	from := today.AddDays(d.random.IntN(60) - 15)
	e := fleet.SuspensionEvent{DoorID: d.plan.DoorID, PlanID: d.plan.PlanID, EventID: r.id(), FromOn: from, UntilOn: from.AddDays(d.random.IntN(90)), Reason: "season", Why: "closed"}
	d.say(today, "suspended from %v to %v", e.FromOn, e.UntilOn)
	s, _, err := r.SuspendPlan(ctx, dispatcher, e)
	d.open = append(d.open, s)
	d.oracle.off[e.EventID.String()] = [2]time.Time{timeOf(e.FromOn), timeOf(e.UntilOn)}
	return err
}

func (d *modelDoor) resume(ctx context.Context, r *rig, today duedate.Day) error {
	if len(d.open) == 0 {
		return nil
	}
	s := d.open[d.random.IntN(len(d.open))]
	on := s.FromOn.AddDays(d.random.IntN(s.FromOn.DaysUntil(s.UntilOn) + 1))
	d.say(today, "goes on on %v", on)
	_, _, err := r.ResumePlan(ctx, dispatcher, fleet.SuspensionEvent{DoorID: s.DoorID, PlanID: s.PlanID, SuspensionID: s.EventID, EventID: r.id(), FromOn: on, Why: "open"})
	if span := d.oracle.off[s.EventID.String()]; timeOf(on).AddDate(0, 0, -1).Before(span[1]) {
		d.oracle.off[s.EventID.String()] = [2]time.Time{span[0], timeOf(on).AddDate(0, 0, -1)}
	}
	return err
}

// service says of an order of the second plan that is open that it was done, today or a few days ago, and sometimes that it was not.
func (d *modelDoor) service(ctx context.Context, r *rig, today duedate.Day) error {
	if d.second == nil {
		return nil
	}
	list, err := r.WorkOrders(ctx, dispatcher, fleet.WorkOrderQuery{DoorID: d.plan.DoorID, Kind: "service", State: "open", Limit: 9})
	if err != nil || len(list) != 1 {
		return err
	}
	on := today.AddDays(-d.random.IntN(5))
	if last := d.second.oracle.done; len(last) > 0 && !timeOf(on).After(last[len(last)-1]) || on.Before(day("2026-01-01")) {
		return nil // an order is not done before the one before it was, nor before the door was known
	}
	d.say(today, "serviced on %v for %v", on, list[0].Period)
	o, err := r.EndWorkOrder(ctx, dispatcher, list[0].WorkOrderID, on, "done", list[0].Version)
	if err != nil || d.random.IntN(4) > 0 {
		d.second.oracle.serve(timeOf(list[0].Period), timeOf(on))
		return err
	}
	d.say(today, "which was not so")
	_, err = r.ReopenWorkOrder(ctx, dispatcher, o.WorkOrderID, "was not", o.Version)
	return err
}

// replan gives the door another plan, or its first.
func (d *modelDoor) replan(ctx context.Context, r *rig, today duedate.Day) error {
	return d.plans(ctx, r, &d.plan, &d.oracle, today)
}

// plans draws a plan for a purpose of the door.
func (d *modelDoor) plans(ctx context.Context, r *rig, plan *fleet.Plan, o *planOracle, today duedate.Day) error {
	p, version := *plan, plan.Version
	p.Regime = duedate.CycleRegimes()[d.random.IntN(4)]
	p.IntervalMonths, p.FixedMonth, p.ToleranceDays = []int{1, 3, 6, 12, 24}[d.random.IntN(5)], 0, 0
	if p.Regime == duedate.FixedMonth {
		p.IntervalMonths, p.FixedMonth = 12*(1+d.random.IntN(2)), time.Month(1+d.random.IntN(12))
	}
	p.LeadDays = d.random.IntN(min(14*p.IntervalMonths, 366) + 1)
	if p.Regime == duedate.Anniversary || p.Regime == duedate.FixedMonth {
		p.ToleranceDays = p.LeadDays + d.random.IntN(min(14*p.IntervalMonths, 366)-p.LeadDays+1)
	}
	p.AnchorOn = today.AddDays(d.random.IntN(300) - 100)
	d.say(today, "%s every %d months from %v, month %d, tolerance %d, lead %d", p.Regime, p.IntervalMonths, p.AnchorOn, p.FixedMonth, p.ToleranceDays, p.LeadDays)
	saved, _, err := r.PutPlan(ctx, dispatcher, p, version)
	*plan = saved
	o.regime, o.months, o.tol, o.lead, o.month, o.anchor = string(p.Regime), p.IntervalMonths, p.ToleranceDays, p.LeadDays, p.FixedMonth, timeOf(p.AnchorOn)
	return err
}

// holdAgainst compares every plan of every door with its oracle: the day on which it is due, its orders, and that at most one is open, for that day.
func (r *rig) holdAgainst(t *testing.T, all []*modelDoor, today duedate.Day) {
	t.Helper()
	rows, err := r.db.Admin.Query(t.Context(), `select p.plan_id, p.next_due, coalesce((select array_agg(o.period order by o.period) from work_order o where o.plan_id = p.plan_id), '{}'),
		coalesce((select array_agg(o.period) from work_order o where o.plan_id = p.plan_id and o.state = 'open'), '{}') from inspection_plan p`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	type standing struct {
		next          time.Time
		periods, open []time.Time
	}
	is := map[uuid.UUID]standing{}
	for rows.Next() {
		var id uuid.UUID
		var s standing
		if err := rows.Scan(&id, &s.next, &s.periods, &s.open); err != nil {
			t.Fatal(err)
		}
		is[id] = s
	}
	wrong := 0
	for seed, d := range all {
		for plan, oracle := range d.oracles() {
			var want standing
			want.next, _ = oracle.next()
			for period := range oracle.orders {
				want.periods = append(want.periods, period)
			}
			slices.SortFunc(want.periods, time.Time.Compare)
			if oracle.orders[want.next] {
				want.open = []time.Time{want.next}
			}
			if got := is[plan]; !got.next.Equal(want.next) || !slices.EqualFunc(got.periods, want.periods, time.Time.Equal) || !slices.EqualFunc(got.open, want.open, time.Time.Equal) {
				if wrong++; wrong <= 3 {
					t.Errorf("seed %d on %v:\n%v\nwant\n%v\nafter %q", seed, today, got, want, d.told)
				}
			}
		}
	}
	if wrong > 0 {
		t.Fatalf("%d plans of %d doors are not as the oracle says", wrong, len(all))
	}
}

// oracles are the plans of a door with what must come of them.
func (d *modelDoor) oracles() map[uuid.UUID]*planOracle {
	list := map[uuid.UUID]*planOracle{d.plan.PlanID: &d.oracle}
	if d.second != nil {
		list[d.second.plan.PlanID] = &d.second.oracle
	}
	return list
}
