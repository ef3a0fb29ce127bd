package fleet_test

import (
	"strings"
	"testing"
	"time"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/words"
)

func TestWhatIfSaysWhatGetsBetterAndWhatWorseAndRecordsNothing(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	put := r.doorFacts(r.site(t, r.customer(t, "Harbour").CustomerID, "East").SiteID, "Main")
	put.Facts.OpeningTimeS = fleet.Q(1.5, fleet.Measured)
	put.Facts.A.KeptClear = []fleet.KeptClearZone{{What: "pavement", X0M: -3, X1M: 3, Y0M: 1.5, Y1M: 2.5}}
	door, _, err := r.PutDoor(t.Context(), dispatcher, put)
	if err != nil {
		t.Fatal(err)
	}
	sensor, facts := r.sensorOf(t, door.DoorID)
	if _, _, err := r.PutRevision(t.Context(), dispatcher, fleet.Revision{ComponentID: sensor, RevisionID: r.id(), Standing: "left", Reason: "first", Device: facts}); err != nil {
		t.Fatal(err)
	}
	r.pass(time.Hour)
	before := r.count(t, "select count(*) from revision")
	w, err := r.WhatIf(t.Context(), dispatcher, sensor, []fleet.WhatIfChange{{Name: "reach_db", Value: "-12"}, {Name: "mount.tilt_deg", Value: "40"}})
	if err != nil {
		t.Fatal(err)
	}
	if after := r.count(t, "select count(*) from revision"); after != before {
		t.Errorf("%d revisions, then %d", before, after)
	}
	turns := map[string]string{}
	for _, e := range w.Effects {
		turns[string(e.Of)+" "+e.Name] = e.Turn
	}
	if turns["in_time "] != "worse" || turns["let_pass pavement"] != "better" || *w.After.Extent.AreaM2 >= *w.Before.Extent.AreaM2 {
		t.Errorf("%v; %v m² after %v", turns, *w.After.Extent.AreaM2, *w.Before.Extent.AreaM2)
	}
	catalogue, err := loadWords()
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Join(w.Told(catalogue.Printer("en", words.Metric)), "\n")
	t.Log(text)
	if !strings.Contains(text, "WORSE") || !strings.Contains(text, "Better") || strings.Contains(text, "⟦") {
		t.Error(text)
	}
	same, err := r.WhatIf(t.Context(), dispatcher, sensor, []fleet.WhatIfChange{{Name: "reach_db", Value: "-1"}})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range same.Effects {
		if e.Turn != "same" {
			t.Errorf("set as it is, %+v", e)
		}
	}
	_, err = r.WhatIf(t.Context(), dispatcher, sensor, []fleet.WhatIfChange{{Name: "reach", Value: "-1"}, {Name: "mount.tilt_deg", Value: "steep"}, {Name: "antenna", Value: "narrow"}, {Name: "accessories", Value: "umbrella"}})
	wantFault(t, err, "change_accessory_unknown at /changes/3/value", "change_antenna_unknown at /changes/2/value", "change_no_number at /changes/1/value", "change_unknown at /changes/0/name")
	_, err = r.WhatIf(t.Context(), dispatcher, sensor, []fleet.WhatIfChange{{Name: "mount.tilt_deg", Value: "95"}})
	wantFault(t, err, "out_of_range at /device/mount/tilt_deg/value")
	_, err = r.WhatIf(t.Context(), dispatcher, sensor, nil)
	wantFault(t, err, "change_none at /changes")
}
