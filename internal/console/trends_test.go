package console_test

import (
	"strings"
	"testing"
	"time"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// drift is a gate that was inspected every May since 2018, whose motion was adjusted in 2019, and which closes harder every year since.
func (w *world) drift(t testing.TB) fleet.Door {
	t.Helper()
	ctx := t.Context()
	if _, _, err := w.people.PutQualification(ctx, w.admin.actor, identity.Qualification{PersonID: w.technician.actor.PersonID, QualificationID: w.id(),
		Scheme: "Certified inspector", Number: "CI-1104", ValidFrom: day("2017-01-01"), ValidUntil: day("2024-12-31")}, ""); err != nil {
		t.Fatal(err)
	}
	gate := must[fleet.Door](t)(w.PutDoor(ctx, w.dispatcher.actor, fleet.DoorPut{DoorID: w.id(), SiteID: w.site.SiteID, Name: "Gate", KnownSince: day("2018-01-01"),
		EffectiveAt: time.Date(2018, 1, 2, 12, 0, 0, 0, time.UTC), Reason: "built", Facts: w.door.Facts}))
	sensor := must[fleet.Component](t)(w.PutComponent(ctx, w.dispatcher.actor, fleet.ComponentPut{ComponentID: w.id(), DoorID: gate.DoorID, Kind: "sensor", ModelID: &w.model.ModelID,
		Fitting: fleet.Fitting{State: "fitted", Side: "a", Input: "activate", Contact: "normally_open"}, EffectiveAt: time.Date(2018, 1, 2, 12, 0, 0, 0, time.UTC), Reason: "built"}))
	for i, reach := range []float64{0, -3, -1} {
		must[fleet.Revision](t)(w.PutRevision(ctx, w.dispatcher.actor, fleet.Revision{ComponentID: sensor.ComponentID, RevisionID: w.id(), Standing: "left",
			EffectiveAt: time.Date(2018+2*i, 5, 3, 15, 0, 0, 0, time.UTC), Reason: "set anew", Device: w.facts(reach)}))
	}
	for i, force := range []float64{101, 104, 90, 95, 101, 106, 112, 117} {
		at := time.Date(2018+i, 5, 3+i, 15, 0, 0, 0, time.UTC)
		visit := w.attend(t, at, w.site, gate)
		for k, body := range []fleet.EntryBody{
			{Kind: "safe_work", SafeWork: &fleet.EntrySafeWork{Traffic: "barriered", Power: "isolated", Ladder: "stands_safe", SecondPerson: "there"}},
			{Kind: "reading", Reading: &fleet.EntryReading{Name: "closing_force_n", Value: p(force)}},
			{Kind: "reading", Reading: &fleet.EntryReading{Name: "closing_speed_mps", Value: p(0.3 + 0.01*float64(i%2)), Leaf: 1}},
			{Kind: "conclusion", Conclusion: &fleet.EntryConclusion{Result: "failed"}},
		} {
			w.enter(t, visit, gate, at.Add(time.Duration(2+k)*time.Minute), body)
		}
		w.sign(t, visit, at.Add(30*time.Minute))
		if i == 1 {
			visit := w.attend(t, at.AddDate(0, 1, 0), w.site, gate)
			w.enter(t, visit, gate, at.AddDate(0, 1, 0).Add(time.Minute), fleet.EntryBody{Kind: "adjustment", Adjustment: &fleet.EntryAdjustment{What: "set softer"}})
		}
	}
	return gate
}

// source fails unless all of this is in the page's source.
func (s shown) source(t testing.TB, texts ...string) shown {
	t.Helper()
	for _, text := range texts {
		if !strings.Contains(s.body, text) {
			t.Errorf("%s has no %q", s.path, text)
		}
	}
	return s
}

// 5.4 N a year from 90 N in May 2020: 30 lbf, which is 133.447 N (international pound, standard gravity), is eight years ahead of that.
func TestTheOfficeSeesWhatDriftsAndWhenItIsAtItsLimit(t *testing.T) {
	w := newWorld(t)
	gate := w.drift(t)
	path := "/doors/" + gate.DoorID.String() + "/trends"
	w.dispatcher.get(t, path).want(t, 200, "Gate: readings over the years", "at most 133.4 N", "Likely at its limit of 133.4 N on", "2028", "Changed last on", "something was adjusted",
		"No trend stands out of chance.", "Fenwick Motion 2", "8 values from 3 May 2018 to 10 May 2025", "m²").lacks(t, "⟦").source(t, "<svg", "<desc>", "from when to when the limit is reached")
	w.technician.get(t, path).want(t, 200, "at most 30 lbf", "ft²").lacks(t, "⟦", "133.4 N")
	w.dispatcher.get(t, "/doors/"+gate.DoorID.String()).want(t, 200).source(t, path)
	w.agent.get(t, "/doors/"+gate.DoorID.String()).want(t, 200).lacks(t, path)
	w.dispatcher.get(t, "/doors/"+w.bare.DoorID.String()+"/trends").want(t, 200, "No inspection of this door that is signed has read a number yet.")
	w.dispatcher.get(t, "/trends").want(t, 200, "No reading is likely to reach its limit until").lacks(t, "Gate")
	w.dispatcher.get(t, "/trends?months=60").want(t, 200, "Gate", "117 N", "at most 133.4 N").source(t, path).lacks(t, "⟦")
	w.dispatcher.get(t, "/trends?months=60&site="+w.coast.SiteID.String()).want(t, 200).lacks(t, "Gate")

	b := browse(t, w.desk)
	b.signIn(w.dispatcher)
	b.open(path)
	b.look("trends")
	b.open("/trends?months=60")
	b.look("crossings")
}
