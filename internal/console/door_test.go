package console_test

import (
	"strings"
	"testing"

	"lintel.example/lintel/internal/fleet"
)

func TestTheFirstPageShowsTheGravestFirst(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	page := w.dispatcher.get(t, "/").want(t, 200, "One door is unsafe and not yet secured", "Closes on a standing person.", "Gil Marsh", "refused",
		"Safety beam dead.", "Staff entrance", "47 days overdue", "Ambulance bay", "North doors")
	at := -1
	for _, text := range []string{"Closes on a standing person.", "47 days overdue", "Safety beam dead.", "Due by"} {
		next := strings.Index(page.text(), text)
		if next <= at {
			t.Errorf("%q is not after what is graver", text)
		}
		at = next
	}
	w.agent.get(t, "/").want(t, 200, "Closes on a standing person.").lacks(t, "North doors", "Arcade")
}

func TestADoorIsShownAsItIsAndAsItWas(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/doors/" + w.door.DoorID.String()
	w.dispatcher.get(t, path).want(t, 200, "Main entrance", "1.80 m (measured)", "Fenwick Motion 2", "opened too late for wheelchairs", "Cato Wren", "Weather seal torn", "Harbour Estates", "footpath")
	past := w.dispatcher.get(t, path+"?as_of=2025-06-30").want(t, 200, "As it was at the end of 30 June 2025", "from the old card", "-6 dB")
	past.lacks(t, "opened too late for wheelchairs", "Weather seal torn")
	w.dispatcher.get(t, path+"?as_of=2024-06-30").want(t, 422, "2025-01-01")
	w.technician.get(t, path).want(t, 200, "5 ft 10 7/8 in (measured)")
	w.agent.get(t, "/doors/"+w.away.DoorID.String()).want(t, 404)
}

func TestDoorsAreFoundByNameTagKindAndState(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for query, want := range map[string]string{"search=garden": "Garden door", "search=" + string(w.late.Tag): "Staff entrance", "state=unsecured": "Ambulance bay",
		"state=secured": "Pharmacy", "state=overdue&sort=due": "Staff entrance", "state=unplanned&site=" + w.site.SiteID.String(): "Garden door", "sort=due": "Main entrance"} {
		w.dispatcher.get(t, "/doors?"+query).want(t, 200, want)
	}
	w.dispatcher.get(t, "/doors?search=zzz").want(t, 200, "No door is like that.")
	w.dispatcher.get(t, "/doors?kind=swinging").want(t, 200, "No door is like that.")
}

// A cancelled order leaves its door due: it must not vanish from the first page.
func TestAnOverdueDoorWhoseOrderWasCancelledStaysOnTheFirstPage(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.dispatcher.get(t, "/").want(t, 200).lacks(t, "nobody is on the way")
	orders, err := w.WorkOrders(t.Context(), w.dispatcher.actor, fleet.WorkOrderQuery{DoorID: w.late.DoorID, State: "open", Limit: 1})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.CancelWorkOrder(t.Context(), w.dispatcher.actor, orders[0].WorkOrderID, "called off", orders[0].Version); err != nil {
		t.Fatal(err)
	}
	w.dispatcher.get(t, "/").want(t, 200, "Overdue, and nobody is on the way", "Staff entrance", "47 days overdue")
}

func TestATagIsPrintedOfWhatHoldsNowAndNotOfAPastDay(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/doors/" + w.unsafe.DoorID.String()
	w.dispatcher.get(t, path).want(t, 200).source(t, "/tag.pdf")
	w.dispatcher.get(t, path+"?as_of="+w.now.Format("2006-01-02")).want(t, 200, "not yet secured").lacks(t, "/tag.pdf")
}
