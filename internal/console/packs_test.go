package console_test

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"lintel.example/lintel/internal/fleet"
)

// housePack asks for less than the 133 N (30 lbf) of the standard. Invented.
const housePack = `id: house@1
title: "House rules"
caution: "Stricter than the standard; invented for tests."
standard: "House rules"
edition: "1"
role: company
jurisdiction: any
applies_to: {kinds: [sliding], energies: [full]}
rules:
  - id: soft-closing
    title: "Closes softly"
    asks: "The closing leaf stops at 80 N or less."
    measured: reading.closing_force_n
    limit: {at_most: 80, unit: N}
    severity: deficient
    standing: common_practice
    source: {note: "rule of the house"}
`

func houseEdition(edition, limit string) string {
	return strings.NewReplacer("house@1", "house@"+edition, `edition: "1"`, `edition: "`+edition+`"`, "at_most: 80", "at_most: "+limit, "80 N or", limit+" N or").Replace(housePack)
}

// ownRules has the company write two editions of a pack: the first will judge from the new year on, the second waits.
func (w *world) ownRules(t testing.TB) {
	t.Helper()
	must[fleet.CompanyPack](t)(w.PutCompanyPack(t.Context(), w.admin.actor, fleet.CompanyPack{PackID: "house@1", Text: housePack, Note: "Agreed with the service partners."}))
	w.now = w.now.Add(time.Minute)
	must[fleet.CompanyPack](t)(w.PutCompanyPack(t.Context(), w.admin.actor, fleet.CompanyPack{PackID: "house@2", Text: houseEdition("2", "70")}))
	must[fleet.PackActivation](t)(w.PutPackActivation(t.Context(), w.admin.actor, fleet.PackActivation{ActivationID: w.id(), PackName: "house", PackID: "house@1", From: day("2027-01-01"), Why: "Agreed for the new year."}))
}

func TestAPackOfTheCompanysIsAddedActivatedAndEndedOnPages(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.admin
	a.get(t, "/rule-packs").want(t, 200, "house@1", "will judge", "house@2", "not activated", "never yet")
	a.get(t, "/rule-packs/house@2").want(t, 200, "What differs from house@1", "The closing leaf stops at 70 N or less.", "common practice, no standard", "rule of the house", "Agreed for the new year.", "at_most: 70").lacks(t, "/house@2/end")

	before := w.count(t, "select count(*) from company_pack")
	a.upload(t, "/rule-packs", url.Values{}, "house.yaml", nil).want(t, 422, "Choose a file with a pack.")
	broken := strings.Replace(houseEdition("3", "60"), "severity: deficient", "severity: dreadful", 1)
	a.upload(t, "/rule-packs", url.Values{"/note": {"Stricter again."}}, "house.yaml", []byte(broken)).want(t, 422, "Line 15, column ", "dreadful", "Stricter again.")
	a.upload(t, "/rule-packs", url.Values{}, "house.yaml", []byte(strings.Replace(housePack, "at_most: 80", "at_most: 81", 1))).want(t, 409, "the text of a pack never changes")
	if n := w.count(t, "select count(*) from company_pack"); n != before {
		t.Fatalf("what was refused left %d packs, %d before", n, before)
	}
	w.now = w.now.Add(time.Minute)
	a.upload(t, "/rule-packs", url.Values{"/note": {"Stricter again."}}, "house.yaml", []byte(houseEdition("3", "60"))).leads(t, "/rule-packs/house@3")
	a.get(t, "/rule-packs/house@3").want(t, 200, "Stricter again.", "What differs from house@2", "Ada Lindqvist", "not activated")

	form := a.get(t, "/rule-packs/house@3/activate").want(t, 200, "its one rule counts").filled()
	a.post(t, "/rule-packs/house@3/activate", form).want(t, 422)
	form.Set("/from_day", "2020-01-01")
	form.Set("/why", "Tried for a year.")
	a.post(t, "/rule-packs/house@3/activate", form).want(t, 422, "today on at the earliest").holds(t, "/from_day", "2020-01-01")
	today := w.now.Format("2006-01-02")
	form.Set("/from_day", today)
	a.post(t, "/rule-packs/house@3/activate", form).leads(t, "/rule-packs/house@3")
	a.post(t, "/rule-packs/house@3/activate", form).leads(t, "/rule-packs/house@3") // pressed twice
	a.get(t, "/rule-packs/house@3").want(t, 200, "Tried for a year.", "End it")
	if n := w.count(t, "select count(*) from company_pack_activation"); n != 2 {
		t.Errorf("%d activations", n)
	}

	end := a.get(t, "/rule-packs/house@3/end").want(t, 200, "no edition of house judges").filled()
	end.Set("/from_day", "2026-06-01")
	end.Set("/why", "It was enough.")
	a.post(t, "/rule-packs/house@3/end", end).leads(t, "/rule-packs/house@3")
	a.get(t, "/rule-packs/house@3").want(t, 200, "none judges", "It was enough.")
	a.get(t, "/rule-packs/a156.10@2017").want(t, 404)
	a.get(t, "/rule-packs/a156.10@2017/end").want(t, 404)
	a.get(t, "/rule-packs/house@3/burn").want(t, 404)
	w.dispatcher.get(t, "/").lacks(t, `href="/rule-packs"`)
}

// failed has a door inspected, found to close too hard and signed off.
func (w *world) failed(t testing.TB, door fleet.Door, site fleet.Site, force float64) {
	t.Helper()
	at := w.now.Add(-time.Hour)
	visit := w.attend(t, at, site, door)
	w.enter(t, visit, door, at.Add(time.Minute), fleet.EntryBody{Kind: "safe_work", SafeWork: &fleet.EntrySafeWork{Traffic: "barriered", Power: "isolated", Ladder: "not_used", SecondPerson: "there"}})
	w.enter(t, visit, door, at.Add(2*time.Minute), fleet.EntryBody{Kind: "reading", Reading: &fleet.EntryReading{Name: "closing_force_n", Value: p(force)}})
	w.enter(t, visit, door, at.Add(5*time.Minute), fleet.EntryBody{Kind: "conclusion", Conclusion: &fleet.EntryConclusion{Result: "failed"}})
	w.sign(t, visit, at.Add(10*time.Minute))
}

func TestThePageOfAPackSaysWhatItWouldChangeBeforeItIsActivated(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.admin
	const preview = "/rule-packs/house@2/replay"
	for _, path := range []string{"/rule-packs/house@2", "/rule-packs/house@2/activate"} {
		if !strings.Contains(a.get(t, path).want(t, 200).body, `href="`+preview+`"`) {
			t.Errorf("%s leads not to %s", path, preview)
		}
	}
	a.get(t, preview).want(t, 200, "No inspection was signed yet.")
	w.failed(t, w.door, w.site, 118)
	w.failed(t, w.bare, w.site, 60)
	first := a.get(t, preview).want(t, 200, "Looked at all 2 inspections that there are. 2 inspections are judged by it; 0 are of doors", "One inspection that would come to something else", "Rules that say otherwise", "Closes softly soft-closing 1",
		"incomplete failed soft-closing is not met")
	for _, part := range []string{`href="/doors/` + w.door.DoorID.String() + `"`, `aria-sort="ascending">Door`, `href="` + preview + `?sort=site"`} {
		if !strings.Contains(first.body, part) {
			t.Errorf("%s has not %s", preview, part)
		}
	}
	first.lacks(t, w.bare.DoorID.String())
	if inspected := a.get(t, preview+"?sort=inspected").want(t, 200).body; !strings.Contains(inspected, `aria-sort="descending">Inspected`) || !strings.Contains(inspected, preview+"?sort=door") {
		t.Error("it is not sorted by the day")
	}
	if again := a.get(t, preview+"?sort=nonsense"); again.body != first.body {
		t.Error("sorted by nonsense it shows something else")
	}
	a.get(t, "/rule-packs/house@9/replay").want(t, 404)
	a.get(t, "/rule-packs/a156.10@2017/replay").want(t, 404)
}

func TestTheListOfWhatAPackWouldChangeCanBeUsedByEverybody(t *testing.T) {
	w := newWorld(t)
	w.failed(t, w.door, w.site, 118)
	w.failed(t, w.bare, w.site, 95)
	b := browse(t, w.desk)
	b.signIn(w.admin)
	b.open("/rule-packs/house@2/replay?sort=site")
	b.look("pack-replay-changed")
}
