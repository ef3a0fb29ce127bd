package fleet_test

import (
	"testing"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
)

// sensorWorld is a sliding door with a radar on one side whose settings can be changed.
func sensorWorld(t testing.TB) (r *rig, sensor, antenna uuid.UUID) {
	t.Helper()
	r = newFleet(t)
	site := r.site(t, r.customer(t, "Kestrel Arcades").CustomerID, "Arcade")
	door := r.door(t, site.SiteID, "Door")
	antenna = r.id()
	model, _, err := r.PutModel(t.Context(), dispatcher, fleet.Model{ModelID: r.id(), Maker: "Brightmere", Name: "Halden 24", Kind: "sensor", Sensing: "radar",
		Antennas: []fleet.Antenna{{AntennaID: antenna, Name: "wide", AzimuthBeamwidthDeg: 58, ElevationBeamwidthDeg: 38, AttenuationLimitDB: 25, BoresightRangeM: 6, Source: "invented"}}})
	if err != nil {
		t.Fatal(err)
	}
	c, _, err := r.PutComponent(t.Context(), dispatcher, fleet.ComponentPut{ComponentID: r.id(), DoorID: door.DoorID, Kind: "sensor", ModelID: &model.ModelID, Reason: "fitted",
		Fitting: fleet.Fitting{State: "fitted", Side: "a", Input: "activate", Contact: "normally_open"}})
	if err != nil {
		t.Fatal(err)
	}
	return r, c.ComponentID, antenna
}

// reachSet is a change of one setting.
func reachSet(sensor, antenna, id uuid.UUID, reachDB float64) fleet.Revision {
	return fleet.Revision{ComponentID: sensor, RevisionID: id, Standing: "found", Reason: "reach changed", Device: fleet.DeviceFacts{AntennaID: &antenna,
		Mount: fleet.MountFacts{HeightM: fleet.Q(2.3, fleet.Measured), OffsetXM: fleet.Q(0, fleet.Measured), OffsetYM: fleet.Q(0.12, fleet.Measured),
			TiltDeg: fleet.Q(23, fleet.Measured), YawDeg: fleet.Q(0, fleet.Measured)},
		Settings: fleet.Settings{ReachDB: fleet.Q(reachDB, fleet.Measured), MotionDirection: "approach", ConfirmTravelMM: fleet.UnknownQuantity(),
			OutputHoldS: fleet.UnknownQuantity(), OutputContact: "normally_open"}}}
}

func BenchmarkSettingChange(b *testing.B) {
	r, sensor, antenna := sensorWorld(b)
	n := 0
	for b.Loop() {
		n++
		if _, _, err := r.PutRevision(b.Context(), dispatcher, reachSet(sensor, antenna, r.id(), -float64(n%12))); err != nil {
			b.Fatal(err)
		}
	}
}
