package fleet_test

import (
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
)

// sensor fits a radar over side A of a door.
func (r *rig) sensorOf(t testing.TB, door uuid.UUID) (component uuid.UUID, facts fleet.DeviceFacts) {
	t.Helper()
	model, _, err := r.PutModel(t.Context(), dispatcher, fleet.Model{ModelID: r.id(), Kind: "sensor", Maker: "Fenwick", Name: "Motion 2", Sensing: "radar",
		Antennas: []fleet.Antenna{{AntennaID: r.id(), Name: "wide", AzimuthBeamwidthDeg: 60, ElevationBeamwidthDeg: 36, AttenuationLimitDB: 25, BoresightRangeM: 5, Source: "data sheet"}}})
	if err != nil {
		t.Fatal(err)
	}
	c, _, err := r.PutComponent(t.Context(), dispatcher, fleet.ComponentPut{ComponentID: r.id(), DoorID: door, Kind: "sensor", ModelID: &model.ModelID,
		Fitting: fleet.Fitting{State: "fitted", Side: "a", Input: "activate", Contact: "normally_open"}, Reason: "seen"})
	if err != nil {
		t.Fatal(err)
	}
	return c.ComponentID, fleet.DeviceFacts{AntennaID: &model.Antennas[0].AntennaID, Accessories: []uuid.UUID{},
		Mount:    fleet.MountFacts{HeightM: fleet.Q(2.3, fleet.Measured), OffsetXM: fleet.Q(0, fleet.Measured), OffsetYM: fleet.Q(0.12, fleet.Measured), TiltDeg: fleet.Q(28, fleet.Measured), YawDeg: fleet.Q(0, fleet.Measured)},
		Settings: fleet.Settings{ReachDB: fleet.Q(-1, fleet.Measured), MotionDirection: "either", ConfirmTravelMM: fleet.UnknownQuantity(), OutputHoldS: fleet.UnknownQuantity(), OutputContact: "unknown"}}
}

// What a change is said to do beforehand is what it does.
func TestAPreviewForetellsWhatRecordingDoesAndRecordsNothing(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.door(t, r.site(t, r.customer(t, "Harbour").CustomerID, "East").SiteID, "Main")
	sensor, facts := r.sensorOf(t, door.DoorID)
	if _, _, err := r.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: sensor, RevisionID: r.id(), Standing: "left", Reason: "first", Device: facts}); err != nil {
		t.Fatal(err)
	}
	r.pass(time.Hour)
	facts.Settings.ReachDB = fleet.Q(-15, fleet.Measured)
	before := r.count(t, "select count(*) from revision")
	p, err := r.PreviewSettings(t.Context(), dispatcher, sensor, facts)
	if err != nil {
		t.Fatal(err)
	}
	if after := r.count(t, "select count(*) from revision"); after != before {
		t.Errorf("%d revisions, then %d", before, after)
	}
	if *p.After.Extent.AreaM2 >= *p.Before.Extent.AreaM2 || len(p.After.Causes) == 0 {
		t.Errorf("less reach: %v m² after %v, falls short: %v", *p.After.Extent.AreaM2, *p.Before.Extent.AreaM2, p.After.Causes)
	}
	if _, _, err := r.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: sensor, RevisionID: r.id(), Standing: "left", Reason: "second", Device: facts}); err != nil {
		t.Fatal(err)
	}
	folder, err := r.Folder(t.Context(), dispatcher, fleet.FolderQuery{DoorID: door.DoorID})
	if err != nil {
		t.Fatal(err)
	}
	open := map[string]bool{}
	for _, f := range folder.Findings {
		if f.State == "open" && f.Origin == "computed" {
			open[f.Cause] = true
		}
	}
	for _, cause := range p.After.Causes {
		if !open[cause] {
			t.Errorf("%s was foretold and is not open", cause)
		}
		delete(open, cause)
	}
	if len(open) > 0 {
		t.Errorf("open and not foretold: %v", open)
	}
	facts.Mount.HeightM = fleet.Q(99, fleet.Measured)
	_, err = r.PreviewSettings(t.Context(), dispatcher, sensor, facts)
	wantFault(t, err, "out_of_range at /device/mount/height_m/value")
}

// A folder of a past day holds what was true then; asked for that day's knowledge, it leaves out what came later.
func TestAFolderKnowsTwoTimes(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	site := r.site(t, r.customer(t, "Harbour").CustomerID, "East")
	put := r.doorFacts(site.SiteID, "Main")
	put.EffectiveAt = time.Date(2026, 1, 5, 12, 0, 0, 0, time.UTC)
	door, _, err := r.PutDoor(t.Context(), dispatcher, put)
	if err != nil {
		t.Fatal(err)
	}
	r.pass(48 * time.Hour) // on 5 March somebody says what was true from 4 March on
	put.IfMatch, put.EffectiveAt, put.Reason, put.Facts.GuideRails = door.Version.VersionID, time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC), "rails put up", "fitted"
	if _, _, err := r.PutDoor(t.Context(), dispatcher, put); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		query fleet.FolderQuery
		rails string
	}{
		{fleet.FolderQuery{}, "fitted"}, {fleet.FolderQuery{On: day("2026-03-04")}, "fitted"}, {fleet.FolderQuery{On: day("2026-03-03")}, "none"},
		{fleet.FolderQuery{On: day("2026-03-04"), Then: true}, "none"},
	} {
		c.query.DoorID = door.DoorID
		folder, err := r.Folder(t.Context(), dispatcher, c.query)
		if err != nil || folder.Door.Facts.GuideRails != c.rails {
			t.Errorf("%+v: rails %q, want %q: %v", c.query, folder.Door.Facts.GuideRails, c.rails, err)
		}
	}
	_, err = r.Folder(t.Context(), dispatcher, fleet.FolderQuery{DoorID: door.DoorID, On: day("2025-12-31")})
	wantFault(t, err, "before_the_door at /as_of")
	_, err = r.Folder(t.Context(), dispatcher, fleet.FolderQuery{DoorID: door.DoorID, On: day("2026-02-01"), Then: true})
	wantFault(t, err, "door_not_known_then at /as_of")
	_, err = r.Folder(t.Context(), agentOf(r.id()), fleet.FolderQuery{DoorID: door.DoorID, On: day("2026-03-04")})
	wantFault(t, err, "door_not_found")
}
