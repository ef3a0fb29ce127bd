package fleet_test

import (
	"bytes"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

func (r *rig) stateOf(t testing.TB, id uuid.UUID) fleet.WorkOrder {
	t.Helper()
	o, err := r.WorkOrder(t.Context(), dispatcher, id)
	if err != nil {
		t.Fatal(err)
	}
	return o
}

func ok(t testing.TB) func(fleet.WorkOrder, error) fleet.WorkOrder {
	return func(o fleet.WorkOrder, err error) fleet.WorkOrder {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return o
	}
}

func TestWhatACallerSaysIsKept(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	o := r.callOut(r.anyDoor(t).DoorID, "")
	received, respond := r.now.Add(-20*time.Minute), time.Date(2026, 3, 4, 2, 30, 0, 0, time.UTC) // still the 3rd at the site
	o.Kind, o.DueOn, o.ReceivedAt, o.RespondBy, o.Priority = "accident", duedate.Day{}, &received, &respond, "emergency"
	o.Caller = fleet.Caller{Name: "Rosa Imhof", Telephone: "+1 555 0137", Role: "porter"}
	o.Symptom, o.ReportedUnsafe, o.PeopleHurt = "It closed on a child's hand.", true, true
	o.Accident = &fleet.Accident{What: "A hand was caught.", Told: "the owner", KeptAsFound: p(true)}
	o.BillingBasis, o.CustomerOrderNumber = "insurance", "PO-7731"
	made := r.order(t, o)
	if made.DueOn != day("2026-03-03") {
		t.Errorf("due on %s, not on the site's day of the response", made.DueOn)
	}
	got := r.stateOf(t, o.WorkOrderID)
	if got.Caller != o.Caller || got.Symptom != o.Symptom || !got.ReportedUnsafe || !got.PeopleHurt || got.Accident == nil || got.Accident.What != o.Accident.What ||
		got.Accident.KeptAsFound == nil || !*got.Accident.KeptAsFound || got.Priority != "emergency" || !got.RespondBy.Equal(respond) || !got.ReceivedAt.Equal(received) ||
		got.BillingBasis != "insurance" || got.CustomerOrderNumber != "PO-7731" || got.MadeBy == nil || *got.MadeBy != dispatcher.PersonID || got.TimeZone != "America/Los_Angeles" {
		t.Errorf("%+v", got)
	}
	if again, created, err := r.PutWorkOrder(t.Context(), dispatcher, o, 0); err != nil || created || again.Version != 1 {
		t.Errorf("the same again: %+v, %v, %v", again, created, err)
	}
	seen, err := r.WorkOrder(t.Context(), agentOf(got.CustomerID), o.WorkOrderID)
	if err != nil || seen.Caller.Telephone != "" || seen.Caller.Name == "" {
		t.Errorf("an outsider sees the caller as %+v, %v", seen.Caller, err)
	}
	if n := r.count(t, `select count(*) from out_of_service_case`); n != 0 {
		t.Errorf("%d cases by what a caller said", n)
	}
}

func TestWhatACallerCannotHaveSaidIsRefused(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.anyDoor(t).DoorID
	for name, c := range map[string]struct {
		change func(*fleet.WorkOrder)
		want   []string
	}{
		"an accident without what happened": {func(o *fleet.WorkOrder) { o.Kind = "accident" }, []string{"accident_missing at /accident"}},
		"what happened is empty":            {func(o *fleet.WorkOrder) { o.Kind, o.Accident = "accident", &fleet.Accident{What: " "} }, []string{"text_missing at /accident/what"}},
		"an accident of a call-out":         {func(o *fleet.WorkOrder) { o.Accident = &fleet.Accident{What: "A hand."} }, []string{"accident_of_other_kind at /accident"}},
		"people hurt at a call-out":         {func(o *fleet.WorkOrder) { o.PeopleHurt = true }, []string{"hurt_is_accident at /people_hurt"}},
		"priority, billing":                 {func(o *fleet.WorkOrder) { o.Priority, o.BillingBasis = "high", "free" }, []string{"word_unknown at /priority", "word_unknown at /billing_basis"}},
		"received tomorrow":                 {func(o *fleet.WorkOrder) { o.ReceivedAt = p(r.now.Add(24 * time.Hour)) }, []string{"received_in_the_future at /received_at"}},
		"respond before it was received":    {func(o *fleet.WorkOrder) { o.ReceivedAt, o.RespondBy = p(r.now), p(r.now.Add(-time.Hour)) }, []string{"respond_before_received at /respond_by"}},
		"respond in the year 9999":          {func(o *fleet.WorkOrder) { o.RespondBy = p(time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)) }, []string{"date_implausible at /respond_by"}},
		"due before the response":           {func(o *fleet.WorkOrder) { o.RespondBy = p(time.Date(2026, 3, 5, 8, 0, 0, 0, time.UTC)) }, []string{"due_before_response at /due_on"}},
		"the caller is a novel":             {func(o *fleet.WorkOrder) { o.Caller.Telephone = string(make([]byte, 51)) }, []string{"text_length at /caller/telephone"}},
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

func TestAnOrderIsEndedAndOpenedAgainWithWhoWhenAndWhy(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	o := r.order(t, r.callOut(r.anyDoor(t).DoorID, "2026-03-04"))
	_, err := r.ReopenWorkOrder(t.Context(), dispatcher, o.WorkOrderID, "why not", 1)
	wantFault(t, err, "work_order_open")
	_, err = r.EndWorkOrder(t.Context(), dispatcher, o.WorkOrderID, day("2026-03-04"), "tomorrow", 1)
	wantFault(t, err, "done_in_the_future at /done_on")
	_, err = r.EndWorkOrder(t.Context(), dispatcher, o.WorkOrderID, day("2026-03-02"), "", 1)
	wantFault(t, err, "text_missing at /reason")
	r.pass(time.Hour)
	done := ok(t)(r.EndWorkOrder(t.Context(), dispatcher, o.WorkOrderID, day("2026-03-02"), "on paper", 1))
	if done.State != "done" || done.DoneOn != day("2026-03-02") || done.StateWhy != "on paper" || *done.StateBy != dispatcher.PersonID || !done.StateAt.Equal(r.now) || done.Version != 2 {
		t.Errorf("%+v", done)
	}
	if again := ok(t)(r.EndWorkOrder(t.Context(), dispatcher, o.WorkOrderID, day("2026-03-02"), "on paper", 1)); again.Version != 2 {
		t.Errorf("the same again: %+v", again)
	}
	_, err = r.CancelWorkOrder(t.Context(), dispatcher, o.WorkOrderID, "no", 2)
	wantFault(t, err, "work_order_closed")
	_, err = r.ReopenWorkOrder(t.Context(), dispatcher, o.WorkOrderID, "scrapes still", 1)
	wantFault(t, err, "version_differs")
	r.pass(time.Hour)
	open := ok(t)(r.ReopenWorkOrder(t.Context(), dispatcher, o.WorkOrderID, "scrapes still", 2))
	if open.State != "open" || !open.DoneOn.IsZero() || open.StateWhy != "scrapes still" {
		t.Errorf("%+v", open)
	}
	r.pass(time.Hour)
	ok(t)(r.CancelWorkOrder(t.Context(), dispatcher, o.WorkOrderID, "sold", 3))

	bill := o // who pays comes in late
	bill.BillingBasis, bill.CustomerOrderNumber = "warranty", "PO-1"
	if billed, _, err := r.PutWorkOrder(t.Context(), dispatcher, bill, 4); err != nil || billed.BillingBasis != "warranty" || billed.State != "cancelled" {
		t.Errorf("%+v, %v", billed, err)
	}
	bill.Note = "and more"
	_, _, err = r.PutWorkOrder(t.Context(), dispatcher, bill, 5)
	wantFault(t, err, "work_order_closed")

	var states, whys []string
	for q := (fleet.ChangeQuery{SubjectID: o.WorkOrderID, Limit: 2}); ; {
		page, err := r.WorkOrderHistory(t.Context(), dispatcher, q)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range page {
			if (c.Before == nil) != (c.After.Version == 1) || c.Before != nil && c.Before.Version != c.After.Version-1 || c.PersonID != dispatcher.PersonID {
				t.Errorf("version %d is laid beside %+v", c.After.Version, c.Before)
			}
			states, whys = append(states, c.After.State), append(whys, c.After.StateWhy)
		}
		if len(page) < q.Limit {
			break
		}
		q.BeforeAt, q.BeforeID = page[1].At, page[1].ChangeID
	}
	if !slices.Equal(states, []string{"cancelled", "cancelled", "open", "done", "open"}) || whys[2] != "scrapes still" {
		t.Errorf("history %v %v", states, whys)
	}
}

func TestACancelledInspectionIsWantedAgainOnlyIfItsPlanStillSaysSo(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	plan, order := r.planned(t, r.anyDoor(t).DoorID, "2026-03-20")
	_, err := r.EndWorkOrder(t.Context(), dispatcher, order.WorkOrderID, day("2026-03-02"), "on paper", order.Version)
	wantFault(t, err, "ended_by_inspection")
	gone := ok(t)(r.CancelWorkOrder(t.Context(), dispatcher, order.WorkOrderID, "shop is closed", order.Version))
	back := ok(t)(r.ReopenWorkOrder(t.Context(), dispatcher, order.WorkOrderID, "shop has opened", gone.Version))
	if back.State != "open" || back.Period != day("2026-03-20") || back.StateWhy != "shop has opened" {
		t.Errorf("%+v", back)
	}
	gone = ok(t)(r.CancelWorkOrder(t.Context(), dispatcher, order.WorkOrderID, "closed again", back.Version))
	plan.Active = false
	if _, _, err := r.PutPlan(t.Context(), dispatcher, plan, plan.Version); err != nil {
		t.Fatal(err)
	}
	if back := ok(t)(r.ReopenWorkOrder(t.Context(), dispatcher, order.WorkOrderID, "or not", gone.Version)); back.State != "superseded" {
		t.Errorf("of an ended plan: %+v", back)
	}
	_, err = r.ReopenWorkOrder(t.Context(), dispatcher, order.WorkOrderID, "please", r.stateOf(t, order.WorkOrderID).Version)
	wantFault(t, err, "ended_by_inspection")
}

func TestAPlansOrderThatIsMovedKeepsItsPeriod(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	_, order := r.planned(t, r.anyDoor(t).DoorID, "2026-03-20")
	moved := ok(t)(r.AssignWorkOrder(t.Context(), dispatcher, order.WorkOrderID, nil, day("2026-04-02"), order.Version))
	if moved.PlannedOn != day("2026-04-02") || moved.Period != day("2026-03-20") || moved.DueOn != day("2026-03-20") {
		t.Errorf("%+v", moved)
	}
	yes, no := p(true), p(false)
	if a, b := r.ordersOf(t, fleet.WorkOrderQuery{Planned: yes}), r.ordersOf(t, fleet.WorkOrderQuery{Planned: no}); len(a) != 1 || len(b) != 0 {
		t.Errorf("%d planned, %d not", len(a), len(b))
	}
}

// visited is a visit at the door that lists orders, with a note or what else is entered, signed off.
func (a attended) visited(t testing.TB, orders []uuid.UUID, change func(*fleet.SignOff), bodies ...fleet.EntryBody) (visit uuid.UUID, err error) {
	t.Helper()
	visit = a.id()
	att := a.attendance()
	att.Doors[0].WorkOrders = orders
	if _, _, err := a.PutVisit(t.Context(), technician, visit, att); err != nil {
		t.Fatal(err)
	}
	var pieces []piece
	for i, body := range append([]fleet.EntryBody{note("looked at it")}, bodies...) {
		pieces = append(pieces, a.append(t, visit, a.at(i+1, body)))
	}
	s := a.signOff(t, visit, pieces)
	if change != nil {
		change(&s)
	}
	_, _, err = a.PutSignOff(t.Context(), technician, visit, s)
	return visit, err
}

func doneAre(ids ...uuid.UUID) func(*fleet.SignOff) {
	return func(s *fleet.SignOff) { s.DoneOrders = append([]uuid.UUID{}, ids...) }
}

func TestOneOrderOverSeveralVisitsAndSeveralOrdersOnOne(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	long, short := a.order(t, a.callOut(a.door.DoorID, "2026-03-04")).WorkOrderID, a.order(t, a.callOut(a.door.DoorID, "2026-03-04")).WorkOrderID
	first, err := a.visited(t, []uuid.UUID{long, short}, doneAre(short))
	if err != nil || a.stateOf(t, long).State != "open" || a.stateOf(t, short).State != "done" {
		t.Fatalf("%v: %s and %s", err, a.stateOf(t, long).State, a.stateOf(t, short).State)
	}
	a.pass(24 * time.Hour)
	if _, err := a.visited(t, []uuid.UUID{long}, doneAre()); err != nil || a.stateOf(t, long).State != "open" {
		t.Fatalf("%v: %s", err, a.stateOf(t, long).State)
	}
	a.pass(24 * time.Hour)
	last, err := a.visited(t, []uuid.UUID{long}, doneAre(long))
	got := a.stateOf(t, long)
	if err != nil || got.State != "done" || *got.DoneVisitID != last || *got.StateBy != technician.PersonID || got.DoneOn != day("2026-03-05") {
		t.Fatalf("%v: %+v", err, got)
	}
	visits, err := a.Visits(t.Context(), dispatcher, fleet.VisitQuery{WorkOrderID: long, Limit: 10})
	if err != nil || len(visits) != 3 || visits[2].VisitID != first {
		t.Errorf("%d visits of the order, %v", len(visits), err)
	}
	if visits, err = a.Visits(t.Context(), dispatcher, fleet.VisitQuery{WorkOrderID: short, Limit: 10}); err != nil || len(visits) != 1 {
		t.Errorf("%d visits of the other, %v", len(visits), err)
	}
}

func TestOnlyWhatTheVisitCanHaveDoneIsSignedAsDone(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	inspection := a.ordersOf(t, fleet.WorkOrderQuery{Kind: "inspection"})[0].WorkOrderID
	byHand := func(kind string) uuid.UUID {
		o := a.callOut(a.door.DoorID, "2026-03-04")
		o.Kind = kind
		return a.order(t, o).WorkOrderID
	}
	handover, look := byHand("handover"), byHand("inspection")
	all := []uuid.UUID{inspection, handover, look}
	for name, c := range map[string]struct {
		done   []uuid.UUID
		bodies []fleet.EntryBody
		want   string
	}{
		"of a plan":                        {[]uuid.UUID{inspection}, nil, "order_ends_by_entries at /done_orders/0"},
		"that is not listed":               {[]uuid.UUID{a.id()}, nil, "order_not_listed at /done_orders/0"},
		"twice":                            {[]uuid.UUID{look, look}, nil, "order_twice at /done_orders/1"},
		"a handover without inspection":    {[]uuid.UUID{handover}, nil, "handover_without_passed at /done_orders/0"},
		"a handover that did not pass":     {[]uuid.UUID{handover}, []fleet.EntryBody{madeSafe(), concluded("failed")}, "handover_without_passed at /done_orders/0"},
		"an inspection without conclusion": {[]uuid.UUID{look}, nil, "inspection_without_conclusion at /done_orders/0"},
	} {
		_, err := a.visited(t, all, doneAre(c.done...), c.bodies...)
		t.Run(name, func(t *testing.T) { wantFault(t, err, c.want) })
	}
	if _, err := a.visited(t, all, nil, madeSafe(), concluded("failed")); err != nil || a.stateOf(t, look).State != "done" || a.stateOf(t, handover).State != "open" {
		t.Errorf("nothing said: %v, %s, %s", err, a.stateOf(t, look).State, a.stateOf(t, handover).State)
	}
}

func TestAHandoverAnchorsThePlanThatCountsFromIt(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	plans, err := a.Plans(t.Context(), dispatcher, a.door.DoorID)
	if err != nil {
		t.Fatal(err)
	}
	plan := plans[0]
	plan.FromHandover, plan.AnchorOn = true, day("2026-06-01") // expected for the summer
	if plan, _, err = a.PutPlan(t.Context(), dispatcher, plan, plan.Version); err != nil || plan.NextDue != day("2026-06-01") {
		t.Fatalf("%+v, %v", plan, err)
	}
	o := a.callOut(a.door.DoorID, "2026-06-01")
	o.Kind = "handover"
	handover := a.order(t, o).WorkOrderID
	_, err = a.EndWorkOrder(t.Context(), dispatcher, handover, day("2026-03-02"), "they said it is fine", 1)
	wantFault(t, err, "ended_by_inspection")
	if _, err := a.visited(t, []uuid.UUID{handover}, doneAre(handover), passing(madeSafe())...); err != nil {
		t.Fatal(err)
	}
	if plans, err = a.Plans(t.Context(), dispatcher, a.door.DoorID); err != nil || plans[0].NextDue != day("2027-03-03") || a.stateOf(t, handover).State != "done" {
		t.Errorf("%+v, %v", plans, err)
	}
	// Its anchor alone would say 2026-06-01: the reports and the explanation count from the handover as the plan does.
	for _, ask := range []fleet.ReportAsk{{Kind: fleet.KindDoor, DoorID: a.door.DoorID}, {Kind: fleet.KindSite, SiteID: a.door.SiteID}, {Kind: fleet.KindPortfolio, Sites: []uuid.UUID{a.door.SiteID}}} {
		report, _, err := a.MakeReport(t.Context(), dispatcher, a.id(), ask)
		if err != nil || !bytes.Contains(report.Canonical, []byte(`"next_due_on":"2027-03-03"`)) {
			t.Errorf("%s: %v, %s", ask.Kind, err, report.Canonical)
		}
	}
	e, err := a.ExplainDue(t.Context(), dispatcher, a.door.DoorID)
	if err != nil || e.Plans[0].Dates[0].On != day("2027-03-03") {
		t.Errorf("%v %+v", err, e)
	}
}

// What was said may arrive in any order: the state is the same.
func TestAVisitThatArrivesLateCountsByWhenItWas(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		decide func(a attended, id uuid.UUID)
		want   string
	}{
		"cancelled at noon": {func(a attended, id uuid.UUID) { ok(t)(a.CancelWorkOrder(t.Context(), dispatcher, id, "sold", 1)) }, "done"},
		"cancelled and opened at noon": {func(a attended, id uuid.UUID) {
			ok(t)(a.CancelWorkOrder(t.Context(), dispatcher, id, "sold", 1))
			ok(t)(a.ReopenWorkOrder(t.Context(), dispatcher, id, "was not", 2))
		}, "open"},
	} {
		a := newAttended(t)
		id := a.order(t, a.callOut(a.door.DoorID, "2026-03-04")).WorkOrderID
		morning := a.now
		a.pass(3 * time.Hour)
		c.decide(a, id)
		late := a // the technician was there in the morning
		late.rig.now, morning = morning, late.rig.now
		visit := a.id()
		att := a.attendance()
		att.Doors[0].WorkOrders = []uuid.UUID{id}
		piece1 := a.at(5, note("track cleaned"))
		left := a.now.Add(10 * time.Minute)
		a.rig.now = morning.Add(time.Hour)
		if _, _, err := a.PutVisit(t.Context(), technician, visit, att); err != nil {
			t.Fatal(err)
		}
		s := a.signOff(t, visit, []piece{a.append(t, visit, piece1)})
		s.LeftAt, s.SignedAt, s.DoneOrders = left, left, []uuid.UUID{id}
		if _, _, err := a.PutSignOff(t.Context(), technician, visit, s); err != nil {
			t.Fatal(err)
		}
		if got := a.stateOf(t, id); got.State != c.want {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

func TestTheStateOfAnOrderIsAFunctionOfTheSetOfWhatWasSaid(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		kinds := rapid.SliceOfN(rapid.SampledFrom([]string{"done", "cancelled", "reopened"}), 0, 8).Draw(t, "kinds")
		var said []fleet.OrderEvent
		for i, kind := range kinds {
			said = append(said, fleet.OrderEvent{EventID: uuid.UUID{byte(i)}, Kind: kind, At: time.Unix(int64(rapid.IntRange(0, 3).Draw(t, "at")), 0)})
		}
		state, by := fleet.StateOf(said)
		shuffled := rapid.Permutation(said).Draw(t, "arrival")
		if again, other := fleet.StateOf(shuffled); again != state || (by == nil) != (other == nil) || by != nil && by.EventID != other.EventID {
			t.Fatalf("%s in one order of arrival, %s in another", state, again)
		}
		if len(said) == 0 {
			if state != "open" || by != nil {
				t.Fatalf("nothing said: %s", state)
			}
			return
		}
		latest := slices.MaxFunc(said, func(a, b fleet.OrderEvent) int { return a.At.Compare(b.At) }).At
		var counting []string // what was said since the last reopening
		last := time.Unix(-1, 0)
		for _, e := range said {
			if e.Kind == "reopened" && e.At.After(last) {
				last = e.At
			}
		}
		for _, e := range said {
			if e.Kind != "reopened" && e.At.After(last) {
				counting = append(counting, e.Kind)
			}
		}
		want := "open"
		switch {
		case slices.Contains(counting, "done"):
			want = "done"
		case len(counting) > 0:
			want = "cancelled"
		}
		if state != want || by == nil || by.At.After(latest) {
			t.Fatalf("%s, want %s of %v", state, want, said)
		}
	})
}
