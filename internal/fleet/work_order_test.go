package fleet_test

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// callOut is an order as a dispatcher makes it by hand.
func (r *rig) callOut(door uuid.UUID, due string) fleet.WorkOrder {
	o := fleet.WorkOrder{WorkOrderID: r.id(), DoorID: door, Kind: "call_out", Note: "scrapes when it opens"}
	if due != "" {
		o.DueOn = day(due)
	}
	return o
}

func (r *rig) order(t testing.TB, o fleet.WorkOrder) fleet.WorkOrder {
	t.Helper()
	saved, created, err := r.PutWorkOrder(t.Context(), dispatcher, o, 0)
	if err != nil || !created {
		t.Fatal(created, err)
	}
	return saved
}

// anyDoor is a door of a customer's of its own.
func (r *rig) anyDoor(t testing.TB) fleet.Door {
	t.Helper()
	return r.door(t, r.site(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade").SiteID, "Main")
}

// planned gives the door a yearly plan that is due on a day, with the order already made.
func (r *rig) planned(t testing.TB, door uuid.UUID, due string) (fleet.Plan, fleet.WorkOrder) {
	t.Helper()
	plan, _, err := r.PutPlan(t.Context(), dispatcher, fleet.Plan{PlanID: r.id(), DoorID: door, IntervalMonths: 12, Regime: duedate.Anniversary, ToleranceDays: 30, LeadDays: 30,
		AnchorOn: day(due), Active: true}, 0)
	if err != nil {
		t.Fatal(err)
	}
	if made, err := r.OpenDueWorkOrders(t.Context(), day(due)); err != nil || made != 1 {
		t.Fatalf("%d orders, %v", made, err)
	}
	return plan, r.ordersOf(t, fleet.WorkOrderQuery{DoorID: door, Kind: "inspection", State: "open"})[0]
}

func (r *rig) ordersOf(t testing.TB, q fleet.WorkOrderQuery) []fleet.WorkOrder {
	t.Helper()
	if q.Limit == 0 {
		q.Limit = 100
	}
	list, err := r.WorkOrders(t.Context(), dispatcher, q)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// person is somebody who may sign in, unless more columns say otherwise.
func (r *rig) person(t testing.TB, role identity.Role, more string) uuid.UUID {
	t.Helper()
	id := r.id()
	if _, err := r.db.Admin.Exec(t.Context(), `insert into person (person_id, email, name, role, scope_kind, created_at) values ($1, $2, 'Somebody', $3, 'all', now())`,
		id, id.String()+"@lintel.example", string(role)); err != nil {
		t.Fatal(err)
	}
	if more != "" {
		if _, err := r.db.Admin.Exec(t.Context(), `update person set `+more+` where person_id = $1`, id); err != nil {
			t.Fatal(err)
		}
	}
	return id
}

func TestAWorkOrderMadeByHandIsMadeOnceAndChangedKnowingly(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	first := r.callOut(r.anyDoor(t).DoorID, "2026-03-04")
	made := r.order(t, first)
	if again, created, err := r.PutWorkOrder(t.Context(), dispatcher, first, 0); err != nil || created || again.Version != 1 {
		t.Errorf("the same again: %+v, %v, %v", again, created, err)
	}
	later := first
	later.DueOn = day("2026-03-06")
	_, _, err := r.PutWorkOrder(t.Context(), dispatcher, later, 0)
	wantFault(t, err, "version_required")
	if moved, _, err := r.PutWorkOrder(t.Context(), dispatcher, later, made.Version); err != nil || moved.DueOn != later.DueOn || moved.Version != 2 {
		t.Errorf("moved: %+v, %v", moved, err)
	}
	later.Note = "and whines"
	_, _, err = r.PutWorkOrder(t.Context(), dispatcher, later, made.Version)
	wantFault(t, err, "version_differs")
	for _, change := range []func(*fleet.WorkOrder){
		func(o *fleet.WorkOrder) { o.Kind = "service" },
		func(o *fleet.WorkOrder) { o.DoorID = r.anyDoor(t).DoorID },
	} {
		other := first
		change(&other)
		_, _, err = r.PutWorkOrder(t.Context(), dispatcher, other, 2)
		wantFault(t, err, "work_order_differs")
	}
	if n := r.count(t, `select count(*) from change_log where subject_kind = 'work_order' and subject_id = $1`, first.WorkOrderID); n != 2 {
		t.Errorf("%d states on record, want two", n)
	}
}

func TestAWorkOrderThatCannotBeRightChangesNothing(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.anyDoor(t).DoorID
	for name, c := range map[string]struct {
		change func(*fleet.WorkOrder)
		want   []string
	}{
		"nothing said":         {func(o *fleet.WorkOrder) { o.Kind, o.DueOn = "", duedate.Day{} }, []string{"word_unknown at /kind", "date_missing at /due_on"}},
		"a kind of its own":    {func(o *fleet.WorkOrder) { o.Kind = "polish" }, []string{"word_unknown at /kind"}},
		"binary note":          {func(o *fleet.WorkOrder) { o.Note = "a\x00b" }, []string{"text_binary at /note"}},
		"no such door":         {func(o *fleet.WorkOrder) { o.DoorID = r.id() }, []string{"door_not_found at /door_id"}},
		"before there was one": {func(o *fleet.WorkOrder) { o.DueOn = day("2025-12-31") }, []string{"before_the_door at /due_on"}},
	} {
		o := r.callOut(door, "2026-03-04")
		c.change(&o)
		_, _, err := r.PutWorkOrder(t.Context(), dispatcher, o, 0)
		t.Run(name, func(t *testing.T) { wantFault(t, err, c.want...) })
	}
	if n := r.count(t, `select count(*) from work_order`); n != 0 {
		t.Errorf("%d orders were made", n)
	}
}

func TestWorkGoesToTechniciansWhoMaySignIn(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	o := r.order(t, r.callOut(r.anyDoor(t).DoorID, "2026-03-04"))
	on := day("2026-03-04")
	for name, id := range map[string]uuid.UUID{
		"nobody":             r.id(),
		"a dispatcher":       r.person(t, identity.Dispatcher, ""),
		"who was shut out":   r.person(t, identity.Technician, "disabled_at = now()"),
		"whose time is over": r.person(t, identity.Technician, "expires_at = '2026-03-01'"),
	} {
		_, err := r.AssignWorkOrder(t.Context(), dispatcher, o.WorkOrderID, &id, on, o.Version)
		t.Run(name, func(t *testing.T) { wantFault(t, err, "no_technician at /assigned_to") })
	}
	id := r.person(t, identity.Technician, "expires_at = '2026-04-01'")
	_, err := r.AssignWorkOrder(t.Context(), dispatcher, o.WorkOrderID, &id, on, 0)
	wantFault(t, err, "version_required")
	saved, err := r.AssignWorkOrder(t.Context(), dispatcher, o.WorkOrderID, &id, on, o.Version)
	if err != nil || saved.AssignedTo == nil || *saved.AssignedTo != id || saved.PlannedOn != on {
		t.Fatalf("%+v, %v", saved, err)
	}
	if again, err := r.AssignWorkOrder(t.Context(), dispatcher, o.WorkOrderID, &id, on, o.Version); err != nil || again.Version != saved.Version {
		t.Errorf("the same again: %+v, %v", again, err)
	}
	if list := r.ordersOf(t, fleet.WorkOrderQuery{Assigned: id}); len(list) != 1 {
		t.Errorf("%d orders are theirs", len(list))
	}
	back, err := r.AssignWorkOrder(t.Context(), dispatcher, o.WorkOrderID, nil, duedate.Day{}, saved.Version)
	if err != nil || back.AssignedTo != nil || !back.PlannedOn.IsZero() {
		t.Errorf("taken back: %+v, %v", back, err)
	}
	_, err = r.AssignWorkOrder(t.Context(), dispatcher, r.id(), nil, on, 1)
	wantFault(t, err, "work_order_not_found")
}

func TestACancelledOrderKeepsWhyAndIsClosed(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	o := r.order(t, r.callOut(r.anyDoor(t).DoorID, "2026-03-04"))
	_, err := r.CancelWorkOrder(t.Context(), dispatcher, o.WorkOrderID, " ", o.Version)
	wantFault(t, err, "text_missing at /reason")
	ended, err := r.CancelWorkOrder(t.Context(), dispatcher, o.WorkOrderID, "The customer did it.", o.Version)
	if err != nil || ended.State != "cancelled" || ended.StateWhy != "The customer did it." || ended.StateBy == nil || *ended.StateBy != dispatcher.PersonID || ended.Note != "scrapes when it opens" {
		t.Errorf("%+v, %v", ended, err)
	}
	if again, err := r.CancelWorkOrder(t.Context(), dispatcher, o.WorkOrderID, "The customer did it.", 0); err != nil || again.Version != ended.Version {
		t.Errorf("the same again: %+v, %v", again, err)
	}
	_, err = r.CancelWorkOrder(t.Context(), dispatcher, o.WorkOrderID, "Or we did.", ended.Version)
	wantFault(t, err, "work_order_closed")
	_, err = r.AssignWorkOrder(t.Context(), dispatcher, o.WorkOrderID, nil, day("2026-03-05"), ended.Version)
	wantFault(t, err, "work_order_closed")
}

func TestTheDueDayOfADerivedOrderIsNobodysToMove(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	a.append(t, visit, a.at(5, found("deficient", "label gone")))
	for _, o := range a.ordersOf(t, fleet.WorkOrderQuery{State: "open"}) {
		_, _, err := a.PutWorkOrder(t.Context(), dispatcher, fleet.WorkOrder{WorkOrderID: o.WorkOrderID, DoorID: o.DoorID, Kind: o.Kind, DueOn: day("2026-12-31")}, o.Version)
		wantFault(t, err, "due_day_is_derived at /due_on")
		noted, _, err := a.PutWorkOrder(t.Context(), dispatcher, fleet.WorkOrder{WorkOrderID: o.WorkOrderID, DoorID: o.DoorID, Kind: o.Kind, DueOn: o.DueOn, Note: "ring first"}, o.Version)
		if err != nil || noted.Note != "ring first" {
			t.Errorf("%s: %+v, %v", o.Kind, noted, err)
		}
		if o.Kind == "repair" {
			_, err = a.CancelWorkOrder(t.Context(), dispatcher, o.WorkOrderID, "no", noted.Version)
			wantFault(t, err, "repair_is_derived")
		}
	}
	a.append(t, visit, a.at(6, found("unsafe", "closes on people"))) // the repair is due at once, and keeps its note
	if n := a.count(t, `select count(*) from work_order where note = 'ring first'`); n != 2 {
		t.Errorf("%d notes were kept, want two", n)
	}
}

func TestOverdueIsAskedWithTheDayAtTheSite(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	r.now = time.Date(2026, 3, 3, 10, 30, 0, 0, time.UTC) // the 4th on Kiritimati, still the 2nd in Pago Pago
	customer := r.customer(t, "Kestrel Arcades").CustomerID
	var all []uuid.UUID
	for _, zone := range []string{"Pacific/Kiritimati", "Pacific/Pago_Pago"} {
		facts := r.siteFacts(customer, zone)
		facts.TimeZone = zone
		site, _, err := r.PutSite(t.Context(), dispatcher, facts, 0)
		if err != nil {
			t.Fatal(err)
		}
		door := r.door(t, site.SiteID, zone)
		for _, due := range []string{"2026-03-01", "2026-03-02", "2026-03-03", "2026-03-04"} {
			all = append(all, r.order(t, r.callOut(door.DoorID, due)).WorkOrderID)
		}
	}
	var got []uuid.UUID
	for _, o := range r.ordersOf(t, fleet.WorkOrderQuery{Overdue: true}) {
		got = append(got, o.WorkOrderID)
	}
	want := []uuid.UUID{all[0], all[1], all[2], all[4]}
	slices.SortFunc(got, func(a, b uuid.UUID) int { return slices.Index(all, a) - slices.Index(all, b) })
	if !slices.Equal(got, want) {
		t.Errorf("overdue %v, want %v", got, want)
	}
	if _, err := r.CancelWorkOrder(t.Context(), dispatcher, all[0], "bricked up", 1); err != nil {
		t.Fatal(err)
	}
	if n := len(r.ordersOf(t, fleet.WorkOrderQuery{Overdue: true})); n != 3 {
		t.Errorf("%d overdue when one of four is not open any more", n)
	}
}

func TestWorkOrdersPageByKeyAndStayWithinTheirBounds(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	ours, other := r.anyDoor(t), r.anyDoor(t)
	var all []uuid.UUID
	for i := range 7 {
		all = append(all, r.order(t, r.callOut(ours.DoorID, fmt.Sprintf("2026-03-%02d", 4+i/3))).WorkOrderID) // several on one day
	}
	service := r.callOut(other.DoorID, "2026-03-05")
	service.Kind = "service"
	r.order(t, service)

	var seen []uuid.UUID
	q := fleet.WorkOrderQuery{DoorID: ours.DoorID, Limit: 2}
	for {
		page := r.ordersOf(t, q)
		for _, o := range page {
			seen = append(seen, o.WorkOrderID)
		}
		if len(page) < q.Limit {
			break
		}
		q.AfterDay, q.AfterID = page[1].DueOn, page[1].WorkOrderID
	}
	if !slices.Equal(seen, all) {
		t.Errorf("page by page %v, want %v", seen, all)
	}
	for name, c := range map[string]struct {
		q    fleet.WorkOrderQuery
		want int
	}{
		"kind":      {fleet.WorkOrderQuery{Kind: "service"}, 1},
		"state":     {fleet.WorkOrderQuery{State: "done"}, 0},
		"customer":  {fleet.WorkOrderQuery{CustomerID: ours.CustomerID}, 7},
		"site":      {fleet.WorkOrderQuery{SiteID: other.SiteID}, 1},
		"due until": {fleet.WorkOrderQuery{DueUntil: day("2026-03-04")}, 3},
	} {
		if n := len(r.ordersOf(t, c.q)); n != c.want {
			t.Errorf("by %s: %d, want %d", name, n, c.want)
		}
	}
	for name, who := range map[string]identity.Actor{"an agent": agentOf(other.CustomerID), "a tenant": tenantOf(other.SiteID)} {
		list, err := r.WorkOrders(t.Context(), who, fleet.WorkOrderQuery{Limit: 50})
		if err != nil || len(list) != 1 || list[0].WorkOrderID != service.WorkOrderID {
			t.Errorf("%s sees %v, %v", name, list, err)
		}
		if _, err := r.WorkOrders(t.Context(), who, fleet.WorkOrderQuery{Overdue: true, Limit: 50}); err != nil {
			t.Errorf("%s asks what is overdue: %v", name, err)
		}
		_, err = r.WorkOrder(t.Context(), who, all[0])
		wantFault(t, err, "work_order_not_found")
		if list, err := r.Plans(t.Context(), who, ours.DoorID); !fault.Is(err, "door_not_found") {
			t.Errorf("%s sees the plans %v, %v", name, list, err)
		}
	}
}

// A visit names the orders that it serves. Those made by hand are done when it is signed; of two visits the earlier
// counts, whichever is signed first.
func TestASignedVisitEndsTheOrdersMadeByHandThatItServed(t *testing.T) {
	t.Parallel()
	for _, laterFirst := range []bool{false, true} {
		a := newAttended(t)
		other := a.rig.door(t, a.site.SiteID, "Side")
		served, elsewhere := a.order(t, a.callOut(a.door.DoorID, "2026-03-04")), a.order(t, a.callOut(other.DoorID, "2026-03-04"))
		visits := []uuid.UUID{a.id(), a.id()}
		sign := make([]func(), 2)
		for i, visit := range visits {
			att := a.attendance()
			att.Doors[0].WorkOrders = []uuid.UUID{served.WorkOrderID}
			att.Doors = append(att.Doors, fleet.DoorsOfVisit{DoorID: other.DoorID, WorkOrders: []uuid.UUID{elsewhere.WorkOrderID}})
			if _, _, err := a.PutVisit(t.Context(), technician, visit, att); err != nil {
				t.Fatal(err)
			}
			done := a.append(t, visit, a.at(5+i, note("track cleaned"))) // nothing at the other door
			s := a.signOff(t, visit, []piece{done})
			s.LeftAt = s.LeftAt.AddDate(0, 0, i)
			s.SignedAt = s.LeftAt
			sign[i] = func() {
				if _, _, err := a.PutSignOff(t.Context(), technician, visit, s); err != nil {
					t.Fatal(err)
				}
			}
		}
		a.pass(24 * time.Hour)
		if laterFirst {
			slices.Reverse(sign)
		}
		sign[0]()
		sign[1]()
		got, err := a.WorkOrder(t.Context(), dispatcher, served.WorkOrderID)
		if err != nil || got.State != "done" || got.DoneOn != day("2026-03-03") || got.DoneVisitID == nil || *got.DoneVisitID != visits[0] {
			t.Errorf("later first %v: %+v, %v", laterFirst, got, err)
		}
		if got, err := a.WorkOrder(t.Context(), dispatcher, elsewhere.WorkOrderID); err != nil || got.State != "open" {
			t.Errorf("at a door without an entry: %+v, %v", got, err)
		}
	}
}

func TestTheIdOfAnInspectionOrderIsMadeOfItsPlanAndPeriod(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	plan, order := r.planned(t, r.anyDoor(t).DoorID, "2026-03-20")
	sum := sha256.Sum256([]byte(plan.PlanID.String() + "/" + plan.NextDue.String()))
	want := uuid.UUID(sum[:16])
	want[6], want[8] = want[6]&0x0f|0x80, want[8]&0x3f|0x80
	if order.WorkOrderID != want || want.Version() != 8 || order.Period != plan.NextDue || order.DueOn != plan.NextDue {
		t.Errorf("%+v, want id %s", order, want)
	}
}

func TestAnOrderIsMadeOnceItsLeadTimeHasCome(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	plan, _, err := r.PutPlan(t.Context(), dispatcher, fleet.Plan{PlanID: r.id(), DoorID: r.anyDoor(t).DoorID, IntervalMonths: 6, Regime: duedate.FromLast, LeadDays: 10,
		AnchorOn: day("2026-05-11"), Active: true}, 0)
	if err != nil {
		t.Fatal(err)
	}
	on := plan.Rule().OrderOn(plan.NextDue)
	for i, d := range []duedate.Day{on.AddDays(-1), on} {
		if made, err := r.OpenDueWorkOrders(t.Context(), d); err != nil || made != int64(i) {
			t.Errorf("as of %s: %d, %v", d, made, err)
		}
	}
}

func TestAnEndedPlanWantsNothingDone(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	plan, order := r.planned(t, r.anyDoor(t).DoorID, "2026-03-20")
	state := func() string {
		o, err := r.WorkOrder(t.Context(), dispatcher, order.WorkOrderID)
		if err != nil {
			t.Fatal(err)
		}
		return o.State
	}
	plan.Active = false
	ended, _, err := r.PutPlan(t.Context(), dispatcher, plan, plan.Version)
	if err != nil || state() != "superseded" {
		t.Errorf("ended: the order is %s, %v", state(), err)
	}
	ended.Active = true
	if _, _, err := r.PutPlan(t.Context(), dispatcher, ended, ended.Version); err != nil || state() != "open" {
		t.Errorf("active again: the order is %s, %v", state(), err)
	}
}

func TestAnInspectionMovesTheDueDateAndTheNextOrderIsForTheNextPeriod(t *testing.T) {
	t.Parallel()
	a := newAttended(t) // due on 10 March 2026, with its order
	visit := a.open(t)
	var pieces []piece
	for i, body := range passing(madeSafe()) {
		pieces = append(pieces, a.append(t, visit, a.at(i+1, body)))
	}
	due := func() (days []string) {
		for _, o := range a.ordersOf(t, fleet.WorkOrderQuery{Kind: "inspection"}) {
			days = append(days, o.Period.String()+" "+o.State)
		}
		return days
	}
	if got := due(); !slices.Equal(got, []string{"2026-03-10 open"}) {
		t.Fatalf("before the signature: %v", got)
	}
	if _, _, err := a.PutSignOff(t.Context(), technician, visit, a.signOff(t, visit, pieces)); err != nil {
		t.Fatal(err)
	}
	for _, step := range []struct {
		asOf string
		want []string
	}{
		{"2026-03-04", []string{"2026-03-10 done"}},
		{"2027-01-31", []string{"2026-03-10 done"}}, // done on 3 March, and the door's rules allow a year: not the anniversary on 10 March
		{"2027-02-01", []string{"2026-03-10 done", "2027-03-03 open"}},
		{"2028-06-01", []string{"2026-03-10 done", "2027-03-03 open"}}, // missed periods are not stacked
	} {
		a.generate(t, day(step.asOf))
		if got := due(); !slices.Equal(got, step.want) {
			t.Errorf("as of %s: %v, want %v", step.asOf, got, step.want)
		}
	}
}

// waiting waits until somebody's statement waits for a lock, and fails when it ends instead.
func (r *rig) waiting(t *testing.T, statement string, ended <-chan error) {
	t.Helper()
	for began := time.Now(); r.count(t, `select count(*) from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock' and query like '-- ' || $1 || '%'`, statement) == 0; {
		if time.Since(began) > 30*time.Second {
			t.Fatalf("%s never came to wait", statement)
		}
		select {
		case err := <-ended:
			t.Fatalf("%s did not wait: %v", statement, err)
		case <-time.After(5 * time.Millisecond):
		}
	}
}

// An inspection may be signed in the very moment in which the nightly job makes its order: whoever is second sees
// what the first did.
func TestAnInspectionAndItsOrderMayMeet(t *testing.T) {
	t.Parallel()
	for _, signedFirst := range []bool{true, false} {
		a := newAttended(t)
		if _, err := a.db.Admin.Exec(t.Context(), `delete from work_order`); err != nil {
			t.Fatal(err)
		}
		visit := a.open(t)
		var pieces []piece
		for i, body := range passing(madeSafe()) {
			pieces = append(pieces, a.append(t, visit, a.at(i+1, body)))
		}
		s := a.signOff(t, visit, pieces)
		ended := make(chan error, 1)
		err := a.Store.InTx(t.Context(), dispatcher, func(ctx context.Context, tx fleet.Tx) error {
			if !signedFirst {
				if made, _, _, err := tx.InsertDueOrders(ctx, day("2026-03-03"), fleet.PlanKey{}, 10, a.now); err != nil || made != 1 {
					return fmt.Errorf("%d made: %w", made, err)
				}
				go func() {
					_, _, err := a.PutSignOff(context.Background(), technician, visit, s)
					ended <- err
				}()
				a.waiting(t, "hold_plans", ended)
				return nil
			}
			if err := tx.HoldPlans(ctx, a.door.DoorID); err != nil { // as a signature does, before it moves the due date
				return err
			}
			go func() {
				_, err := a.OpenDueWorkOrders(context.Background(), day("2026-03-03"))
				ended <- err
			}()
			a.waiting(t, "insert_due_orders", ended)
			for _, p := range a.plansOf(ctx, t, tx) {
				if err := tx.SetPlanDates(ctx, p.PlanID, fleet.PlanDates{NextDue: day("2027-03-10")}); err != nil {
					return err
				}
			}
			return nil
		})
		if err := errors.Join(err, <-ended); err != nil {
			t.Fatal(err)
		}
		if n := a.count(t, `select count(*) from work_order where state = 'open'`); n != 0 {
			t.Errorf("signed first %v: %d open orders of a due date that was served", signedFirst, n)
		}
	}
}

func (a attended) plansOf(ctx context.Context, t *testing.T, tx fleet.Tx) []fleet.Plan {
	t.Helper()
	plans, err := tx.PlansOfDoor(ctx, a.door.DoorID)
	if err != nil || len(plans) != 1 {
		t.Fatal(plans, err)
	}
	return plans
}

func TestADoorWhoseInspectionOrderWasCancelledIsStillSeenToBeDue(t *testing.T) {
	t.Parallel()
	r, _, plan := noticeWorld(t) // due on 20 March, its order made
	other, _, err := r.PutPlan(t.Context(), dispatcher, fleet.Plan{DoorID: r.newDoor(t).DoorID, PlanID: r.id(), IntervalMonths: 12, Regime: duedate.Anniversary,
		ToleranceDays: 60, LeadDays: 45, AnchorOn: day("2026-03-21"), Active: true}, 0)
	if err != nil {
		t.Fatal(err)
	}
	r.generate(t, day("2026-03-03"))
	order := r.ordersOf(t, fleet.WorkOrderQuery{DoorID: plan.DoorID})[0]
	if _, err := r.CancelWorkOrder(t.Context(), dispatcher, order.WorkOrderID, "shop closed this week", order.Version); err != nil {
		t.Fatal(err)
	}
	seen := func(q fleet.PlanQuery) []uuid.UUID {
		t.Helper()
		q.Limit = 10
		list, err := r.DuePlans(t.Context(), dispatcher, q)
		if err != nil {
			t.Fatal(err)
		}
		ids := make([]uuid.UUID, len(list))
		for i, p := range list {
			ids[i] = p.PlanID
		}
		return ids
	}
	both, cancelled := []uuid.UUID{plan.PlanID, other.PlanID}, []uuid.UUID{plan.PlanID}
	for _, c := range []struct {
		name  string
		after time.Duration
		q     fleet.PlanQuery
		want  []uuid.UUID
	}{
		{"all by their due day", 0, fleet.PlanQuery{}, both},
		{"without an order", 0, fleet.PlanQuery{WithoutOrder: true}, cancelled},
		{"nothing is overdue yet", 0, fleet.PlanQuery{Overdue: true}, nil},
		{"one is overdue", 18 * 24 * time.Hour, fleet.PlanQuery{Overdue: true}, cancelled},
		{"both are overdue", 24 * time.Hour, fleet.PlanQuery{Overdue: true}, both},
		{"one of them without an order", 0, fleet.PlanQuery{Overdue: true, WithoutOrder: true}, cancelled},
		{"of another site", 0, fleet.PlanQuery{SiteID: other.SiteID}, both[1:]},
		{"until a day", 0, fleet.PlanQuery{DueUntil: day("2026-03-20")}, cancelled},
		{"the next page", 0, fleet.PlanQuery{AfterDay: plan.NextDue, AfterID: plan.PlanID}, both[1:]},
	} {
		r.pass(c.after)
		if got := seen(c.q); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
	if list, err := r.DuePlans(t.Context(), agentOf(r.id()), fleet.PlanQuery{Limit: 10}); err != nil || len(list) != 0 {
		t.Errorf("a stranger sees %v, %v", list, err)
	}
}
