package fleet_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
)

func fitted(component uuid.UUID, serial string) fleet.EntryBody {
	return fleet.EntryBody{Kind: "part", Part: &fleet.EntryPart{Did: "fitted", ComponentID: &component, Kind: "sensor", ModelText: "motion sensor", Serial: serial,
		Side: "a", Input: "activate", Quantity: 1}}
}

func takenOut(component uuid.UUID) fleet.EntryBody {
	return fleet.EntryBody{Kind: "part", Part: &fleet.EntryPart{Did: "removed", ComponentID: &component, Kind: "sensor", Side: "a", Quantity: 1}}
}

func consumable(what string, quantity int) fleet.EntryBody {
	return fleet.EntryBody{Kind: "part", Part: &fleet.EntryPart{Did: "fitted", Kind: "consumable", ModelText: what, Side: "none", Quantity: quantity}}
}

// sensors tells of the sensors that were in the door so many minutes after the clock's time, and what is missing to say what they watch.
func (a attended) sensors(t testing.TB, minutes int) string {
	t.Helper()
	list, err := a.Components(t.Context(), technician, a.door.DoorID, fleet.AsOf{Effective: a.now.Add(time.Duration(minutes) * time.Minute)})
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for _, c := range list {
		if c.Kind == "sensor" {
			lines = append(lines, c.Serial+" "+c.Fitting.State)
		}
	}
	slices.Sort(lines)
	return strings.Join(lines, ", ")
}

func TestAPartThatIsAComponentActsOnTheRegisterFromTheMomentItWasSeen(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.pass(4 * time.Hour) // the sensor of the register was there before
	visit, fresh := a.open(t), a.id()
	a.append(t, visit, a.at(10, takenOut(a.sensor.ComponentID)))
	a.append(t, visit, a.at(11, fitted(fresh, "S-200")))
	for minutes, want := range map[int]string{9: "S-100 fitted", 10: "S-100 removed", 11: "S-100 removed, S-200 fitted"} {
		if got := a.sensors(t, minutes); got != want {
			t.Errorf("after %d minutes: %s, want %s", minutes, got, want)
		}
	}
	// What nobody has set is unknown, not covered.
	if n := a.count(t, "select count(*) from coverage where door_id = $1 and covered_share is null and 'settings:' || $2 = any (missing)", a.door.DoorID, fresh.String()); n == 0 {
		t.Error("the new sensor's settings are not named as missing")
	}
	set := a.at(12, a.set("left", 0))
	set.Settings.ComponentID = fresh
	set.Settings.Device.AntennaID = nil
	a.append(t, visit, set)
}

func TestPartsInAnyOrderAndTwiceGiveTheSameRegister(t *testing.T) {
	t.Parallel()
	var first string
	for round := range 8 {
		a := newAttended(t)
		a.pass(4 * time.Hour)
		visit := a.id()
		b, c, d := a.id(), a.id(), a.id()
		var pieces []piece
		add := func(minutes int, body fleet.EntryBody) uuid.UUID {
			p := piece{visit, a.id(), a.at(minutes, body)}
			pieces = append(pieces, p)
			return p.entry
		}
		// The serial number is replaced twice in one visit; the last was misread at first, and corrected twice.
		add(10, takenOut(a.sensor.ComponentID))
		add(11, fitted(b, "S-200"))
		add(20, takenOut(b))
		wrong := add(21, fitted(c, "S-30O"))
		again := add(30, correcting(wrong, fitted(d, "S-300")))
		side := fitted(d, "S-300")
		side.Part.Side = "b"
		add(31, correcting(again, side))
		mistaken := add(40, takenOut(d))
		add(41, correcting(mistaken, note("it is still there")))
		add(42, consumable("belt", 1))
		if round > 0 {
			rand.New(rand.NewPCG(uint64(round), 7)).Shuffle(len(pieces), func(i, j int) { pieces[i], pieces[j] = pieces[j], pieces[i] })
		}
		for range 2 {
			for _, p := range pieces {
				if _, _, err := a.PutEntry(t.Context(), technician, p.visit, p.entry, p.body); err != nil {
					t.Fatalf("round %d: %v", round, err)
				}
			}
		}
		var told strings.Builder
		for _, minutes := range []int{9, 10, 11, 20, 21, 30, 60} {
			fmt.Fprintf(&told, "%d: %s\n", minutes, a.sensors(t, minutes))
		}
		list, err := a.Components(t.Context(), technician, a.door.DoorID, fleet.AsOf{})
		if err != nil {
			t.Fatal(err)
		}
		for _, one := range list {
			if one.ComponentID == d {
				fmt.Fprintf(&told, "side %s\n", one.Fitting.Side)
			}
		}
		const want = "9: S-100 fitted\n10: S-100 removed\n11: S-100 removed, S-200 fitted\n20: S-100 removed, S-200 removed\n" +
			"21: S-100 removed, S-200 removed, S-300 fitted\n30: S-100 removed, S-200 removed, S-300 fitted\n60: S-100 removed, S-200 removed, S-300 fitted\nside b\n"
		if told.String() != want {
			t.Fatalf("round %d:\n%s\nwant:\n%s", round, told.String(), want)
		}
		versions := fmt.Sprint(a.count(t, "select count(*) from component_version where reason = 'visit'"), a.count(t, "select count(*) from component"))
		if first == "" {
			first = versions
		}
		if versions != first {
			t.Fatalf("round %d: %s versions and components, %s at first", round, versions, first)
		}
	}
}

func TestAPartThatCannotBeRightChangesNothing(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	elsewhere := a.newDoor(t)
	control := a.control(t, elsewhere)
	there := a.id()
	present := a.append(t, visit, a.at(5, fitted(there, "S-200")))
	said := a.append(t, visit, a.at(6, note("hello")))
	a.append(t, visit, a.at(7, correcting(present.entry, fitted(there, "S-200"))))
	order, _, err := a.PutWorkOrder(t.Context(), dispatcher, fleet.WorkOrder{WorkOrderID: a.id(), DoorID: elsewhere.DoorID, Kind: "service", DueOn: day("2026-03-10")}, 0)
	if err != nil {
		t.Fatal(err)
	}
	versions := a.count(t, "select count(*) from component_version")
	for name, c := range map[string]struct {
		change func(*fleet.EntryBody)
		want   string
	}{
		"neither in nor out":            {func(b *fleet.EntryBody) { b.Part.Did = "polished" }, "word_unknown at /part/did"},
		"a kind that is none":           {func(b *fleet.EntryBody) { b.Part.Kind = "horse" }, "word_unknown at /part/kind"},
		"a side that is none":           {func(b *fleet.EntryBody) { b.Part.Side = "" }, "word_unknown at /part/side"},
		"a basis that is none":          {func(b *fleet.EntryBody) { b.Part.BillingBasis = "free" }, "word_unknown at /part/billing_basis"},
		"no model":                      {func(b *fleet.EntryBody) { b.Part.ModelText = " " }, "model_missing at /part/model_text"},
		"a model that nobody knows":     {func(b *fleet.EntryBody) { b.Part.ModelText, b.Part.ModelID = "", p(a.id()) }, "model_not_found at /part/model_id"},
		"a model of another kind":       {func(b *fleet.EntryBody) { b.Part.ModelText, b.Part.ModelID, b.Part.Kind = "", &a.model.ModelID, "lock" }, "kind_of_other_model at /part/kind"},
		"a sensor that is no component": {func(b *fleet.EntryBody) { b.Part.ComponentID = nil }, "part_is_component at /part/component_id"},
		"a consumable in the register":  {func(b *fleet.EntryBody) { b.Part.Kind = "consumable" }, "consumable_no_component at /part/component_id"},
		"two of one":                    {func(b *fleet.EntryBody) { b.Part.Quantity = 2 }, "component_is_one at /part/quantity"},
		"none of it":                    {func(b *fleet.EntryBody) { b.Part.ComponentID, b.Part.Kind, b.Part.Quantity = nil, "battery", 0 }, "count_out_of_range at /part/quantity"},
		"a leaf that the door has not":  {func(b *fleet.EntryBody) { b.Part.Leaf = 8 }, "leaf_not_of_door at /part/leaf"},
		"another door's component":      {func(b *fleet.EntryBody) { b.Part.ComponentID = &control.ComponentID }, "component_not_on_door at /part/component_id"},
		"another door's order":          {func(b *fleet.EntryBody) { b.Part.WorkOrderID = &order.WorkOrderID }, "work_order_of_other_door at /part/work_order_id"},
		"an order that nobody knows":    {func(b *fleet.EntryBody) { b.Part.WorkOrderID = p(a.id()) }, "work_order_of_other_door at /part/work_order_id"},
		"another serial of the same":    {func(b *fleet.EntryBody) { b.Part.ComponentID = &there }, "component_differs at /part/component_id"},
		"in and out in one moment":      {func(b *fleet.EntryBody) { *b = a.at(5, takenOut(there)) }, "part_same_moment at /observed_at"},
		"corrected a second time":       {func(b *fleet.EntryBody) { *b = a.at(20, correcting(present.entry, fitted(a.id(), "S-9"))) }, "part_corrected_already at /corrects"},
		"in place of a note":            {func(b *fleet.EntryBody) { *b = a.at(20, correcting(said.entry, fitted(a.id(), "S-9"))) }, "part_corrects_part at /corrects"},
	} {
		t.Run(name, func(t *testing.T) {
			body := a.at(20, fitted(a.id(), "S-900"))
			c.change(&body)
			_, _, err := a.PutEntry(t.Context(), technician, visit, a.id(), body)
			wantFault(t, err, c.want)
			if a.count(t, "select count(*) from component_version") != versions {
				t.Error("something changed")
			}
		})
	}
	_, _, err = a.PutEntry(t.Context(), tenantOf(a.site.SiteID), visit, a.id(), a.at(30, consumable("belt", 1)))
	if err == nil {
		t.Error("a tenant fitted a part")
	}
}

func TestAWorkOrderShowsItsPartsWithTheirSerials(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	make := func() fleet.WorkOrder {
		o, _, err := a.PutWorkOrder(t.Context(), dispatcher, fleet.WorkOrder{WorkOrderID: a.id(), DoorID: a.door.DoorID, Kind: "service", DueOn: day("2026-03-10")}, 0)
		if err != nil {
			t.Fatal(err)
		}
		return o
	}
	only, other := make(), make()
	visit := a.id()
	att := a.attendance()
	att.Doors[0].WorkOrders = []uuid.UUID{only.WorkOrderID}
	if _, _, err := a.PutVisit(t.Context(), technician, visit, att); err != nil {
		t.Fatal(err)
	}
	a.append(t, visit, a.at(10, takenOut(a.sensor.ComponentID)))
	wrong := a.append(t, visit, a.at(11, fitted(a.id(), "S-20O")))
	a.append(t, visit, a.at(12, correcting(wrong.entry, fitted(a.id(), "S-200"))))
	belts := consumable("belt", 2)
	belts.Part.WorkOrderID = &other.WorkOrderID
	a.append(t, visit, a.at(13, belts))
	of := func(o fleet.WorkOrder) (lines []string) {
		list, err := a.PartsOfWorkOrder(t.Context(), technician, o.WorkOrderID)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range list {
			lines = append(lines, fmt.Sprint(l.Entry.Body.Part.Did, " ", l.Entry.Body.Part.Quantity, " ", l.Model, " ", l.Serial))
		}
		return lines
	}
	if got, want := of(only), []string{"removed 1 " + a.model.Name + " S-100", "fitted 1 motion sensor S-200"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	if got, want := of(other), []string{"fitted 2 belt "}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	stranger := a.customer(t, "Kessler Estates")
	if _, err := a.PartsOfWorkOrder(t.Context(), agentOf(stranger.CustomerID), only.WorkOrderID); !fault.Is(err, "work_order_not_found") {
		t.Errorf("a stranger: %v", err)
	}
}
