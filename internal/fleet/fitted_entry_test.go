package fleet_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
)

func TestAnAntennaOfOneHeightIsMarkedSoWhereverItIsShown(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.newDoor(t)
	m := fleet.Model{ModelID: r.id(), Kind: "sensor", Maker: "Fenwick", Name: "Motion 9", Sensing: "radar", Antennas: []fleet.Antenna{
		{AntennaID: r.id(), Name: "guessed", AzimuthBeamwidthDeg: 40, ElevationBeamwidthDeg: 30, AttenuationLimitDB: 25, BoresightRangeM: 5, Source: "card, at one height", FittedAtOneHeight: true},
		{AntennaID: r.id(), Name: "known", AzimuthBeamwidthDeg: 40, ElevationBeamwidthDeg: 30, AttenuationLimitDB: 25, BoresightRangeM: 5, Source: "card, at three heights"}}}
	for range 2 {
		saved, _, err := r.PutModel(t.Context(), dispatcher, m)
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range saved.Antennas {
			if a.FittedAtOneHeight != (a.Name == "guessed") {
				t.Errorf("%s is marked %v", a.Name, a.FittedAtOneHeight)
			}
		}
	}
	other := m
	other.Antennas = slices.Clone(m.Antennas)
	other.Antennas[1].FittedAtOneHeight = true
	_, _, err := r.PutModel(t.Context(), dispatcher, other)
	wantFault(t, err, "model_differs at /antennas/1/fitted_at_one_height")
	c, _, err := r.PutComponent(t.Context(), dispatcher, fleet.ComponentPut{ComponentID: r.id(), DoorID: door.DoorID, Kind: "sensor", ModelID: &m.ModelID,
		Fitting: fleet.Fitting{State: "fitted", Side: "a", Input: "activate", Contact: "normally_open"}, Reason: "seen"})
	if err != nil {
		t.Fatal(err)
	}
	r.pass(time.Minute)
	_, facts := r.sensorOf(t, door.DoorID)
	facts.AntennaID, facts.Accessories = &m.Antennas[0].AntennaID, nil
	put := func() fleet.ReportDevice {
		t.Helper()
		r.pass(time.Minute)
		if _, _, err := r.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: c.ComponentID, RevisionID: r.id(), Standing: "left", Reason: "mounted", Device: facts}); err != nil {
			t.Fatal(err)
		}
		folder, err := r.Folder(t.Context(), dispatcher, fleet.FolderQuery{DoorID: door.DoorID})
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(folder.Document.Devices, func(d fleet.ReportDevice) bool { return d.ID == c.ComponentID.String() })
		return folder.Document.Devices[i]
	}
	bare := put()
	if !bare.OneHeight {
		t.Error("the report does not say so")
	}
	// A mask before it: the beamwidth is the mask's, so the field is as narrow as that of an antenna of 15°.
	mask, _, err := r.PutAccessory(t.Context(), dispatcher, fleet.Accessory{AccessoryID: r.id(), Kind: "mask", Name: "slit", Effect: fleet.Effect{AzimuthBeamwidthDeg: p(15.0)}})
	if err != nil {
		t.Fatal(err)
	}
	facts.Accessories = []uuid.UUID{mask.AccessoryID}
	if masked := put(); masked.Field == nil || masked.Field.WidthM > 0.6*bare.Field.WidthM || masked.Field.FarM < bare.Field.FarM-0.05 {
		t.Errorf("%+v behind the mask, %+v without", masked.Field, bare.Field)
	}
}

func TestAdviceTakesWhatTheEntrySaysOfShakingAndSaysWhereItSaysNothing(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.turning(t)
	sensor, facts := r.sensorOf(t, door.DoorID)
	r.pass(time.Minute)
	if _, _, err := r.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: sensor, RevisionID: r.id(), Standing: "left", Reason: "mounted", Device: facts}); err != nil {
		t.Fatal(err)
	}
	assumed := func() []string {
		t.Helper()
		a, err := r.Advise(t.Context(), dispatcher, fleet.AdviceAsk{DoorID: door.DoorID, Side: "b", ShakeMM: p(1.0), ShakeHz: p(10.0), HeaderHeightM: p(2.2)})
		if err != nil {
			t.Fatal(err)
		}
		return a.Assumed
	}
	put := func(name string, e fleet.Effect) {
		t.Helper()
		if _, _, err := r.PutAccessory(t.Context(), dispatcher, fleet.Accessory{AccessoryID: r.id(), Kind: "spacer", Name: name, Effect: e}); err != nil {
			t.Fatal(err)
		}
	}
	put("stiff spacer", fleet.Effect{OutM: p(0.05), ShakeShare: p(0.2)})
	if list := assumed(); slices.Contains(list, "shake_share") {
		t.Errorf("every entry says it: %v", list)
	}
	put("spacer", fleet.Effect{OutM: p(0.05)})
	if list := assumed(); !slices.Contains(list, "shake_share") {
		t.Errorf("one entry says nothing: %v", list)
	}
}

func TestAdviceHasWhatWatchesThoseWhoStand(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	put := r.doorFacts(r.site(t, r.customer(t, "Wharf").CustomerID, "North").SiteID, "Hall")
	put.Facts.OpeningTimeS = fleet.Q(1.5, fleet.Measured)
	door, _, err := r.PutDoor(t.Context(), dispatcher, put)
	if err != nil {
		t.Fatal(err)
	}
	sensor, facts := r.sensorOf(t, door.DoorID)
	r.pass(time.Minute)
	if _, _, err := r.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: sensor, RevisionID: r.id(), Standing: "left", Reason: "mounted", Device: facts}); err != nil {
		t.Fatal(err)
	}
	ask := fleet.AdviceAsk{DoorID: door.DoorID, Side: "a", HeaderHeightM: p(2.2)}
	grid, act := kinds()["infrared_presence"], kinds()["knowing_act"]
	for sensing, s := range map[string]*fleet.Senses{"infrared_presence": &grid, "knowing_act": &act} {
		if _, _, err := r.PutModel(t.Context(), dispatcher, fleet.Model{ModelID: r.id(), Kind: "sensor", Maker: "Fenwick", Name: sensing, Sensing: sensing, Senses: s}); err != nil {
			t.Fatal(err)
		}
	}
	a, err := r.Advise(t.Context(), dispatcher, ask)
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Missing) > 0 {
		t.Fatalf("missing %v", a.Missing)
	}
	if len(a.Presence) != 1 || a.Presence[0].Model != "Fenwick infrared_presence" || a.Presence[0].Covered < 0.5 || a.Presence[0].YawDeg != 180 {
		t.Errorf("%+v", a.Presence)
	}
	if a.Presence[0].Holds || a.Presence[0].Checks[0].Value != 1 {
		t.Errorf("what watches the threshold sees the panels close: %+v", a.Presence)
	}
	ask.Inhibited = true
	if a, err = r.Advise(t.Context(), dispatcher, ask); err != nil || !a.Presence[0].Holds || !a.Presence[0].Checks[0].Masked {
		t.Errorf("the control ignores it meanwhile: %+v, %v", a.Presence, err)
	}
}
