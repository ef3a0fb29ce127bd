package fleet_test

import (
	"testing"
	"time"

	"lintel.example/lintel/internal/fleet"
)

func TestAdviceOnADoorComesFromItsFactsAndTheCatalogueAndChangesNothing(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	put := r.doorFacts(r.site(t, r.customer(t, "Harbour").CustomerID, "East").SiteID, "Main")
	put.Facts.OpeningTimeS = fleet.Q(1.5, fleet.Measured)
	door, _, err := r.PutDoor(t.Context(), dispatcher, put)
	if err != nil {
		t.Fatal(err)
	}
	ask := fleet.AdviceAsk{DoorID: door.DoorID, Side: "a"}
	a, err := r.Advise(t.Context(), dispatcher, ask)
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Missing) == 0 || len(a.Ranked) > 0 {
		t.Errorf("without a model in the catalogue and a height it lacks %v and ranks %d", a.Missing, len(a.Ranked))
	}
	sensor, facts := r.sensorOf(t, door.DoorID)
	if _, _, err := r.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: sensor, RevisionID: r.id(), Standing: "left", Reason: "first", Device: facts}); err != nil {
		t.Fatal(err)
	}
	r.pass(time.Hour)
	before := r.count(t, "select count(*) from revision")
	if a, err = r.Advise(t.Context(), dispatcher, ask); err != nil {
		t.Fatal(err)
	}
	if after := r.count(t, "select count(*) from revision"); after != before {
		t.Errorf("%d revisions, then %d", before, after)
	}
	if len(a.Missing) > 0 || a.Candidates == 0 || len(a.Assumed) == 0 || len(a.Ranked)+len(a.Rejected) == 0 {
		t.Errorf("lacks %v; %d candidates, %d fit, %d do not", a.Missing, a.Candidates, len(a.Ranked), len(a.Rejected))
	}
	for _, c := range a.Ranked {
		if c.Place.HeightM != 2.3 || c.Model != "Fenwick Motion 2" {
			t.Errorf("%+v", c.Candidate)
		}
	}
	height := 99.0
	ask.HeaderHeightM, ask.Side = &height, "c"
	_, err = r.Advise(t.Context(), dispatcher, ask)
	wantFault(t, err, "out_of_range at /header_height_m", "word_unknown at /side")
}
