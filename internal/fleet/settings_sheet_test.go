package fleet_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/steps"
	"lintel.example/lintel/internal/words"
)

// sheetRow finds a setting on a sheet of one device.
func sheetRow(t testing.TB, d fleet.SheetDevice, setting string) fleet.SheetRow {
	t.Helper()
	for _, r := range d.Rows {
		if r.Setting == setting {
			return r
		}
	}
	t.Fatalf("%s has no row of %s", d.Name, setting)
	return fleet.SheetRow{}
}

func toldSheet(t testing.TB, doc fleet.SettingsSheet) string {
	t.Helper()
	catalogue, err := loadWords()
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Join(doc.Told(catalogue.Printer("en", words.Metric)), "\n")
	if strings.Contains(text, "⟦") {
		t.Error(text)
	}
	return text
}

func TestASheetNamesTheNearestStepAndHowFarTheFieldThereDeparts(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.door(t, r.site(t, r.customer(t, "Harbour").CustomerID, "East").SiteID, "Main")
	sensor, facts := r.steppedSensor(t, door.DoorID, "Wren 27", chart())
	facts.Settings.ReachDB, facts.Steps = fleet.UnknownQuantity(), map[string]string{"reach_db": "4"}
	if _, _, err := r.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: sensor, RevisionID: r.id(), Standing: "found", Reason: "as found", Device: facts}); err != nil {
		t.Fatal(err)
	}
	r.pass(time.Hour)
	before := r.count(t, "select count(*) from revision")
	ask := fleet.SheetAsk{ComponentID: sensor, Changes: []fleet.WhatIfChange{{Name: "reach_db", Value: "-2"}, {Name: "mount.tilt_deg", Value: "30"}, {Name: "output_hold_s", Value: "9"}, {Name: "motion_direction", Value: "departure"}}}
	doc, err := r.SettingsSheet(t.Context(), dispatcher, ask)
	if err != nil {
		t.Fatal(err)
	}
	d := doc.Devices[0]
	reach := sheetRow(t, d, "reach_db")
	if reach.Set == nil || reach.Set.Label != "2" || *reach.Departs != -1 || reach.Beyond || reach.How != "Turn dial R to 2." || reach.Stands != "4, read at the device" || !reach.Cleared || reach.Factory != "2" {
		t.Errorf("%+v", reach)
	}
	if tilt := sheetRow(t, d, "mount.tilt_deg"); tilt.Set.Label != "2" || tilt.Departs != nil || tilt.How != "At screw W, full turns from its stop: 1." || tilt.Cleared {
		t.Errorf("%+v", tilt)
	}
	if hold := sheetRow(t, d, "output_hold_s"); !hold.Beyond || hold.Set.Label != "c" || *hold.Departs != -5 || hold.How != "Press key T 3 times." {
		t.Errorf("%+v", hold)
	}
	if direction := sheetRow(t, d, "motion_direction"); direction.Set != nil || !strings.Contains(direction.Note, "departure") {
		t.Errorf("a word without a step is set: %+v", direction)
	}
	// The field at the steps is what a change to the steps' values would do, worked out by the other use-case.
	same, err := r.WhatIf(t.Context(), dispatcher, sensor, []fleet.WhatIfChange{{Name: "reach_db", Value: "-3"}, {Name: "mount.tilt_deg", Value: "30"}, {Name: "output_hold_s", Value: "4"}})
	if err != nil {
		t.Fatal(err)
	}
	if *d.AtSteps.AreaM2 != *same.After.Extent.AreaM2 || *d.AtSteps.FarM != *same.After.Extent.FarM || *d.Wanted.AreaM2 <= *d.AtSteps.AreaM2 || d.From != "asked" {
		t.Errorf("%+v and %+v, by what-if %+v", d.Wanted, d.AtSteps, same.After.Extent)
	}
	text := toldSheet(t, doc)
	t.Log(text)
	for _, want := range []string{"maker's instructions for the model go before", "second person", "After ANY adjustment", "lies between 2 (-3 dB) and 1 (0 dB); 2 is nearer", "differs by -", "lock code", "the others are covered", "beyond the last step"} {
		if !strings.Contains(text, want) {
			t.Errorf("the sheet does not say %q", want)
		}
	}
	midway, err := r.SettingsSheet(t.Context(), dispatcher, fleet.SheetAsk{ComponentID: sensor, Changes: []fleet.WhatIfChange{{Name: "output_hold_s", Value: "2.5"}}})
	if err != nil {
		t.Fatal(err)
	}
	if hold := sheetRow(t, midway.Devices[0], "output_hold_s"); hold.Set.Label != "b" || !strings.Contains(hold.Note, "midway between b (1 s) and c (4 s)") {
		t.Errorf("%+v", hold)
	}
	if after := r.count(t, "select count(*) from revision"); after != before {
		t.Errorf("%d revisions, then %d", before, after)
	}
}

// Without what is asked, a sheet is of what the office planned last, and where nothing is planned since, of what is on record.
func TestASheetIsOfWhatIsPlannedAndElseOfWhatIsOnRecord(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.door(t, r.site(t, r.customer(t, "Harbour").CustomerID, "East").SiteID, "Main")
	sensor, facts := r.steppedSensor(t, door.DoorID, "Wren 28", chart())
	of := func() fleet.SheetDevice {
		doc, err := r.SettingsSheet(t.Context(), dispatcher, fleet.SheetAsk{DoorID: door.DoorID})
		if err != nil || len(doc.Devices) != 1 {
			t.Fatal(len(doc.Devices), err)
		}
		toldSheet(t, doc)
		return doc.Devices[0]
	}
	put := func(standing string, reach float64) {
		r.pass(time.Hour)
		facts.Settings.ReachDB = fleet.Q(reach, fleet.Measured)
		if _, _, err := r.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: sensor, RevisionID: r.id(), Standing: standing, Reason: "test", Device: facts}); err != nil {
			t.Fatal(err)
		}
	}
	if d := of(); d.From != "nothing" || d.Wanted != nil || sheetRow(t, d, "reach_db").Set != nil {
		t.Errorf("of nothing: %+v", d)
	}
	_, err := r.SettingsSheet(t.Context(), dispatcher, fleet.SheetAsk{ComponentID: sensor, Changes: []fleet.WhatIfChange{{Name: "reach_db", Value: "-2"}}})
	wantFault(t, err, "settings_not_recorded")
	put("intended", -6)
	if d := of(); d.From != "planned" || sheetRow(t, d, "reach_db").Set.Label != "3" || sheetRow(t, d, "reach_db").Stands != "not on record" {
		t.Errorf("planned: %+v", d)
	}
	put("found", -9)
	if d := of(); d.From != "recorded" || sheetRow(t, d, "reach_db").Set.Label != "4" || sheetRow(t, d, "reach_db").Stands != "4, by the recorded value" {
		t.Errorf("recorded: %+v", d)
	}
	put("intended", -6)
	if d := of(); d.From != "planned" || sheetRow(t, d, "reach_db").Set.Label != "3" || sheetRow(t, d, "reach_db").Stands != "4, by the recorded value" {
		t.Errorf("planned anew: %+v", d)
	}
	_, err = r.SettingsSheet(t.Context(), dispatcher, fleet.SheetAsk{ComponentID: sensor, Changes: []fleet.WhatIfChange{{Name: "reach", Value: "-2"}, {Name: "mount.tilt_deg", Value: "steep"}}})
	wantFault(t, err, "change_unknown at /changes/0/name", "change_no_number at /changes/1/value")
	bare := r.door(t, door.SiteID, "Side")
	_, err = r.SettingsSheet(t.Context(), dispatcher, fleet.SheetAsk{DoorID: bare.DoorID})
	wantFault(t, err, "settings_sheet_of_no_device")
}

// The nearest step is not the step to set when a required zone would fall short there and does not at its neighbour. Its twins: where the nearest
// keeps the zone, it is set; and where no step keeps it, the nearest is, and the sheet says so.
func TestANearestStepThatLeavesARequiredZoneShortGivesWayToItsNeighbour(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	site := r.site(t, r.customer(t, "Harbour").CustomerID, "East").SiteID
	sheetAt := func(name string, db float64, values ...float64) (fleet.SettingsSheet, fleet.SheetRow) {
		door := r.door(t, site, name)
		sensor, facts := r.steppedSensor(t, door.DoorID, name, &steps.Chart{Scales: []steps.Scale{{Setting: "reach_db", Way: steps.Dial, Control: "dial R", Steps: numbers("123456789", values...)}}})
		facts.Settings.ReachDB = fleet.Q(db, fleet.Measured)
		if _, _, err := r.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: sensor, RevisionID: r.id(), Standing: "intended", Reason: "test", Device: facts}); err != nil {
			t.Fatal(err)
		}
		doc, err := r.SettingsSheet(t.Context(), dispatcher, fleet.SheetAsk{DoorID: door.DoorID})
		if err != nil || len(doc.Zones) != 1 {
			t.Fatal(doc.Zones, err)
		}
		return doc, sheetRow(t, doc.Devices[0], "reach_db")
	}
	// The least reach, to half a decibel, at which the zone is covered.
	least := 0.0
	for db := 0.0; ; db -= 0.5 {
		if doc, _ := sheetAt(fmt.Sprint("scan ", db), db, db, -60); strings.Contains(doc.Zones[0].Says, "falls short as intended") {
			break
		}
		least = db
	}
	if least > -1 || least < -20 {
		t.Fatalf("covered down to %g dB", least)
	}
	doc, row := sheetAt("gives way", least, 0, least-0.6)
	if row.Set.Label != "1" || !row.Kept || *row.Departs != -least || doc.Zones[0].Short || !strings.Contains(row.Note, "The nearer, 2, would leave a required zone short; 1 does not.") {
		t.Errorf("gives way: %+v, %+v", row, doc.Zones)
	}
	doc, row = sheetAt("keeps", least, least+0.4, -30)
	if row.Set.Label != "1" || row.Kept || doc.Zones[0].Short || doc.Zones[0].Says != "stays covered at these steps" {
		t.Errorf("keeps: %+v, %+v", row, doc.Zones)
	}
	doc, row = sheetAt("none keeps", least, least-0.6, -30)
	if row.Set.Label != "1" || row.Kept || !row.Beyond || !doc.Zones[0].Short || !strings.Contains(doc.Zones[0].Says, "FALLS SHORT at these steps, and would not as intended") {
		t.Errorf("none keeps: %+v, %+v", row, doc.Zones)
	}
	doc, row = sheetAt("short already", least-1, least-1.2, 0)
	if row.Set.Label != "1" || row.Kept || !doc.Zones[0].Short || !strings.Contains(doc.Zones[0].Says, "falls short as intended, and at these steps") {
		t.Errorf("short already: %+v, %+v", row, doc.Zones)
	}
}

func TestSeveralDevicesOfOneMakerAreToldHowEachIsAddressedAlone(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.door(t, r.site(t, r.customer(t, "Harbour").CustomerID, "East").SiteID, "Main")
	r.steppedSensor(t, door.DoorID, "Wren 30", chart())
	silent := chart()
	silent.Address, silent.Reset = nil, nil
	r.steppedSensor(t, door.DoorID, "Wren 31", silent)
	r.sensorOf(t, door.DoorID) // of another maker, without steps
	doc, err := r.SettingsSheet(t.Context(), dispatcher, fleet.SheetAsk{DoorID: door.DoorID})
	if err != nil || len(doc.Devices) != 3 {
		t.Fatal(len(doc.Devices), err)
	}
	for _, d := range doc.Devices {
		notes := strings.Join(d.Notes, "\n")
		switch {
		case strings.Contains(d.Name, "Wren 30"):
			if len(d.Beside) != 1 || !strings.Contains(notes, "Address this one alone (the others are covered): Cover the other sensors with the hand.") {
				t.Errorf("%v %s", d.Beside, notes)
			}
		case strings.Contains(d.Name, "Wren 31"):
			if len(d.Beside) != 1 || !strings.Contains(notes, "does not say how this model is addressed alone") || strings.Contains(notes, "Reset:") {
				t.Errorf("%v %s", d.Beside, notes)
			}
		default:
			if len(d.Beside) != 0 || len(d.Rows) != 0 || !strings.Contains(notes, "does not say in which steps") {
				t.Errorf("%v %s", d.Beside, notes)
			}
		}
	}
}

// Less reach never watches more: what the sheet computes at the steps, from the last to the first (the radar equation, range as the fourth root of
// what comes back: M. Skolnik, Introduction to Radar Systems, chapter 1; here only its direction, from memory).
func TestAlongTheStepsOfReachTheFieldOnlyGrows(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.door(t, r.site(t, r.customer(t, "Harbour").CustomerID, "East").SiteID, "Main")
	sensor, facts := r.steppedSensor(t, door.DoorID, "Wren 32", chart())
	if _, _, err := r.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: sensor, RevisionID: r.id(), Standing: "left", Reason: "test", Device: facts}); err != nil {
		t.Fatal(err)
	}
	r.pass(time.Hour)
	last := math.Inf(1)
	for _, db := range []string{"0", "-3", "-6", "-9", "-12"} {
		doc, err := r.SettingsSheet(t.Context(), dispatcher, fleet.SheetAsk{ComponentID: sensor, Changes: []fleet.WhatIfChange{{Name: "reach_db", Value: db}, {Name: "mount.tilt_deg", Value: "30"}}})
		if err != nil {
			t.Fatal(err)
		}
		d := doc.Devices[0]
		if *d.AtSteps.AreaM2 >= last || *d.AtSteps.AreaM2 != *d.Wanted.AreaM2 || sheetRow(t, d, "reach_db").Departs != nil {
			t.Errorf("at %s dB %v m² after %v", db, *d.AtSteps.AreaM2, last)
		}
		last = *d.AtSteps.AreaM2
	}
}
