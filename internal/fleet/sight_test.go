package fleet_test

import (
	"strings"
	"testing"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/words"
)

// turning is a door with one leaf of 0.9 m that turns into side A, hinged on the left of who stands there and looks at it.
func (r *rig) turning(t *testing.T) fleet.Door {
	t.Helper()
	put := r.doorFacts(r.site(t, r.customer(t, "Quay").CustomerID, "West").SiteID, "Side door")
	put.Facts.Kind, put.Facts.ClearWidthM, put.Facts.OpeningTimeS = "swinging", fleet.Q(0.9, fleet.Measured), fleet.Q(3, fleet.Measured)
	put.Facts.Leaves = []fleet.Leaf{{Motion: "swing", Hinge: "left", OpensTowards: "a", WidthM: fleet.Q(0.9, fleet.Measured), HeightM: fleet.Q(2.1, fleet.Measured), MassKg: fleet.Q(40, fleet.Measured)}}
	put.Facts.RuleBasis.PackID = "a156.10@2005"
	put.Facts.A.KeptClear = []fleet.KeptClearZone{{What: "pavement", X0M: -3, X1M: 3, Y0M: 0.5, Y1M: 1.5}}
	door, _, err := r.PutDoor(t.Context(), dispatcher, put)
	if err != nil {
		t.Fatal(err)
	}
	return door
}

func TestWhichAnglesOfItsOwnLeafADeviceOfAnyKindSeesIsSaid(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.turning(t)
	curtain, mat := kinds()["laser_curtain"], kinds()["mat"]
	curtain.FromDeg, curtain.ToDeg = p(-12.0), p(12.0)
	carried := curtain
	carried.OnLeaf = p(true)
	for name, c := range map[string]struct {
		sensing string
		senses  fleet.Senses
		mount   fleet.MountFacts
		own     string
		seen    bool
		onIt    bool
	}{
		"a curtain on the header":       {"laser_curtain", curtain, at(2.2, 0, 0.1, 10), "seen", true, false},
		"the same on the leaf":          {"laser_curtain", carried, at(2.0, 0, 0.1, 10), "not_seen", false, true},
		"a mat that the leaf goes over": {"mat", mat, at(2, 0, 0.05, 0), "not_seen", false, false},
	} {
		_, w := r.watching(t, door, c.sensing, &c.senses, "protect", c.mount)
		if w.OwnLeaf != c.own || len(w.Leaves) != 1 || w.Leaves[0].Seen != c.seen || w.Leaves[0].OnIt != c.onIt {
			t.Errorf("%s: %s, %+v", name, w.OwnLeaf, w.Leaves)
			continue
		}
		if l := w.Leaves[0]; c.seen && (l.FromDeg < 5 || l.FromDeg > 40 || l.ToDeg < 60) {
			t.Errorf("%s: seen from %g° to %g°", name, l.FromDeg, l.ToDeg)
		}
	}
	if n := r.count(t, `select count(*) from finding where cause like 'own_leaf_seen:%'`); n != 1 {
		t.Errorf("%d findings; the curtain on the header alone sees the leaf", n)
	}
}

func TestWhatIfKnowsEveryWayOfSensing(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.turning(t)
	catalogue, err := loadWords()
	if err != nil {
		t.Fatal(err)
	}
	curtain := kinds()["laser_curtain"]
	id, _ := r.watching(t, door, "laser_curtain", &curtain, "protect", at(2.2, 0, 0.1, 10))
	whatIf := func(id uuid.UUID, changes ...fleet.WhatIfChange) (fleet.WhatIf, string) {
		t.Helper()
		w, err := r.WhatIf(t.Context(), dispatcher, id, changes)
		if err != nil {
			t.Fatal(err)
		}
		return w, strings.Join(w.Told(catalogue.Printer("en", words.Metric)), "\n")
	}
	w, text := whatIf(id, fleet.WhatIfChange{Name: "mount.offset_y_m", Value: "1.6"})
	if !strings.Contains(text, "It tells of a grown person in") || !strings.Contains(text, "It is seen between") || !strings.Contains(text, "Better. Now: NOT MET: It sees the leaf") || strings.Contains(text, "⟦") {
		t.Error(text)
	}
	for _, e := range w.Effects {
		if e.Of == "in_time" || e.Of == "let_pass" {
			t.Errorf("a device that protects is asked for %+v", e)
		}
	}
	mat := kinds()["mat"]
	id, _ = r.watching(t, door, "mat", &mat, "activate", at(2, 0, 0.6, 0))
	_, text = whatIf(id, fleet.WhatIfChange{Name: "mount.offset_y_m", Value: "1.7"})
	if !strings.Contains(text, "coming straight, is noticed with 0.60 m left to go") || !strings.Contains(text, "of the straight paths through “pavement”") {
		t.Error(text)
	}
	_, text = whatIf(id, fleet.WhatIfChange{Name: "mount.offset_y_m", Value: "-2"})
	if !strings.Contains(text, "it would in nothing at all.") || strings.Contains(text, "0.00 m by 0.00 m") {
		t.Error(text)
	}
	_, err = r.WhatIf(t.Context(), dispatcher, id, []fleet.WhatIfChange{{Name: "reach_db", Value: "-3"}, {Name: "antenna", Value: "wide"}})
	wantFault(t, err, "change_of_radar at /changes/0/name", "change_of_radar at /changes/1/name")
}

func TestWhyADeviceDoesNotCountForAZoneStandsWithIt(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	door := r.newDoor(t)
	short := kinds()["infrared_presence"]
	short.StillS = p(20.0)
	act := kinds()["knowing_act"]
	grid, _ := r.watching(t, door, "infrared_presence", &short, "protect", at(2.2, 0, 0.1, 0))
	plate, _ := r.watching(t, door, "knowing_act", &act, "activate", at(1, 1.2, 0.9, 0))
	folder, err := r.Folder(t.Context(), dispatcher, fleet.FolderQuery{DoorID: door.DoorID})
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]fleet.ReportUnfit{}
	for _, d := range folder.Document.Devices {
		for _, u := range d.Unfit {
			got[d.ID] = u
		}
	}
	if u := got[grid.String()]; u.Reason != "lets_go" || u.StillS != 20 || u.AskedS < 25 || u.Purpose != "presence" {
		t.Errorf("%+v", u)
	}
	if u := got[plate.String()]; u.Reason != "other_purpose" || u.Tells != "knowing_act" || u.Purpose != "activation" {
		t.Errorf("%+v", u)
	}
}
