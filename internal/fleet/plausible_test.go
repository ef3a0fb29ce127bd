package fleet_test

import (
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// Whatever date somebody sends, one that nobody can mean is refused at its member. It is 3 March 2026.
func TestADateThatNobodyCanMeanIsRefusedWhereverItIsSent(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.newDoor(t)
	control := r.control(t, door)
	sensor := r.sensor(t, door, control)
	party := r.party(t, "Holm & Daughters")
	other := r.customer(t, "Next Owner")
	noon := func(d duedate.Day) time.Time { y, m, n := d.Date(); return time.Date(y, m, n, 12, 0, 0, 0, time.UTC) }
	put := map[string]func(duedate.Day) error{
		"/anchor_on": func(d duedate.Day) error {
			_, _, err := r.PutPlan(t.Context(), dispatcher, fleet.Plan{PlanID: r.id(), DoorID: door.DoorID, IntervalMonths: 12, Regime: duedate.Anniversary, AnchorOn: d}, 0)
			return err
		},
		"/due_on": func(d duedate.Day) error {
			_, _, err := r.PutWorkOrder(t.Context(), dispatcher, fleet.WorkOrder{WorkOrderID: r.id(), DoorID: door.DoorID, Kind: "service", DueOn: d}, 0)
			return err
		},
		"/done_on": func(d duedate.Day) error {
			_, err := r.EndWorkOrder(t.Context(), dispatcher, r.id(), d, "done by hand", 1)
			return err
		},
		"/planned_on": func(d duedate.Day) error {
			_, err := r.AssignWorkOrder(t.Context(), dispatcher, r.id(), nil, d, 1)
			return err
		},
		"/known_since": func(d duedate.Day) error {
			facts := r.doorFacts(door.SiteID, "Side")
			facts.KnownSince = d
			_, _, err := r.PutDoor(t.Context(), dispatcher, facts)
			return err
		},
		"/facts/rule_basis/since": func(d duedate.Day) error {
			facts := r.doorFacts(door.SiteID, "Side")
			facts.Facts.RuleBasis.Since = d
			_, _, err := r.PutDoor(t.Context(), dispatcher, facts)
			return err
		},
		"/warranty_until": func(d duedate.Day) error {
			facts := r.sensorFacts(door, control)
			facts.WarrantyUntil = d
			_, _, err := r.PutComponent(t.Context(), dispatcher, facts)
			return err
		},
		"/effective_at": func(d duedate.Day) error {
			_, _, err := r.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: sensor.ComponentID, RevisionID: r.id(), Standing: "intended", Reason: "planned",
				EffectiveAt: noon(d), Device: fleet.DeviceFacts{Settings: fleet.Settings{MotionDirection: "unknown", OutputContact: "unknown"}}})
			return err
		},
		"/from_day": func(d duedate.Day) error {
			_, _, err := r.PutStanding(t.Context(), dispatcher, fleet.Standing{SiteID: door.SiteID, StandingID: r.id(), PartyID: party.PartyID, Role: "payer", FromDay: d}, 0)
			return err
		},
		"/to_day": func(d duedate.Day) error {
			from := day("1900-01-01")
			if d.Before(from) {
				from = d
			}
			_, _, err := r.PutStanding(t.Context(), dispatcher, fleet.Standing{SiteID: door.SiteID, StandingID: r.id(), PartyID: party.PartyID, Role: "occupier", FromDay: from, ToDay: d}, 0)
			return err
		},
		"/day": func(d duedate.Day) error {
			_, err := r.HandOverSite(t.Context(), dispatcher, fleet.HandOver{SiteID: door.SiteID, CustomerID: other.CustomerID, Day: d}, 1)
			return err
		},
		"": func(d duedate.Day) error { // of a job by hand
			schedule, err := duedate.ParseSchedule("15 4 * * *")
			if err != nil {
				t.Fatal(err)
			}
			_, _, err = r.DoRunByHand(t.Context(), fleet.JobSchedule{Job: "tea", Schedule: schedule}, d, false, nil)
			return err
		},
	}
	refused := func(err error, pointer string) bool {
		for _, f := range fault.Of(err) {
			if f.Code == "date_implausible" && f.Pointer == pointer {
				return true
			}
		}
		return false
	}
	for pointer, send := range put {
		for _, far := range []string{"0001-01-01", "1600-02-29", "1899-12-31", "2076-03-04", "9999-12-31"} {
			if err := send(day(far)); !refused(err, pointer) {
				t.Errorf("%q of %s: %v", pointer, far, err)
			}
		}
	}
	delete(put, "") // a night that long ago would be written down
	for pointer, send := range put {
		for _, near := range []string{"1900-01-01", "2076-03-03"} {
			if err := send(day(near)); refused(err, pointer) {
				t.Errorf("%q of %s: %v", pointer, near, err)
			}
		}
	}
}

func TestADoorWithoutATagGetsTheNextOneThatIsFree(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	first := r.newDoor(t)
	number := r.count(t, "select last_value from door_number")
	for ahead := 1; ahead <= 3; ahead++ { // given by hand
		facts := r.doorFacts(first.SiteID, "Side")
		var err error
		if facts.Tag, err = fleet.TagFor(int64(number + ahead)); err != nil {
			t.Fatal(err)
		}
		if _, _, err := r.PutDoor(t.Context(), dispatcher, facts); err != nil {
			t.Fatal(err)
		}
	}
	next, _, err := r.PutDoor(t.Context(), dispatcher, r.doorFacts(first.SiteID, "Back"))
	if err != nil {
		t.Fatal(err)
	}
	if want, _ := fleet.TagFor(int64(number + 4)); next.Tag != want {
		t.Errorf("tag %s, want %s", next.Tag, want)
	}
}

func TestWhatReadsAsSomethingElseIsNoName(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	for text, want := range map[string]string{
		"Rest\u202eroom": "text_turned at /name", "\u2067Mill": "text_turned at /name", "Mill\nHall": "text_of_lines at /name", "Mill\tHall": "text_of_lines at /name",
		"Mill\u2028Hall": "text_of_lines at /name", "Mill\x07": "text_binary at /name",
	} {
		_, _, err := r.PutCustomer(t.Context(), dispatcher, fleet.Customer{CustomerID: r.id(), Name: text}, 0)
		wantFault(t, err, want)
	}
	if _, _, err := r.PutCustomer(t.Context(), dispatcher, fleet.Customer{CustomerID: r.id(), Name: "אבן", Note: "one\ntwo"}, 0); err != nil {
		t.Error(err)
	}
}

func TestAnEntryTakesNoFindingsPlace(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	a.append(t, visit, a.at(5, a.set("found", -40)))
	computed, err := a.Findings(t.Context(), technician, fleet.FindingQuery{DoorID: a.door.DoorID, Origin: "computed", State: "open", Limit: 10})
	if err != nil || len(computed) == 0 {
		t.Fatal(computed, err)
	}
	before := a.everything(t)
	_, _, err = a.PutEntry(t.Context(), technician, visit, computed[0].FindingID, a.at(6, found("deficient", "worn")))
	wantFault(t, err, "entry_id_taken")
	if a.everything(t) != before {
		t.Error("something changed")
	}
}

func TestAReportIsMadeInSomebodysName(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.newDoor(t)
	_, _, err := r.MakeReport(t.Context(), dispatcher, r.id(), fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: door.DoorID})
	wantFault(t, err, "company_not_set")
	if n := r.count(t, "select count(*) from report"); n != 0 {
		t.Errorf("%d reports", n)
	}
}

func TestAWorkOrderOfAPersonsHasAPersonsId(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.newDoor(t)
	own := r.id()
	own[6] = 0x80 // as those that the program makes
	for _, id := range []uuid.UUID{own, uuid.Nil} {
		_, _, err := r.PutWorkOrder(t.Context(), dispatcher, fleet.WorkOrder{WorkOrderID: id, DoorID: door.DoorID, Kind: "service", DueOn: day("2026-04-01")}, 0)
		wantFault(t, err, "id_not_v7")
	}
	if list, err := r.WorkOrders(t.Context(), identity.Program(), fleet.WorkOrderQuery{Limit: 10}); err != nil || len(list) != 0 {
		t.Errorf("%+v, %v", list, err)
	}
}
