package fleet_test

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/rulebook"
)

// fleetOfSix is a fleet whose last inspections are known by heart. The forces at which the leaves stop are, in newtons, with what the
// standard's 133 N (30 lbf) made of them:
//
//	North   90   passed
//	South   70   passed
//	East   400   failed, then 75, passed
//	West    60   passed, then nothing was read: failed by the inspector, incomplete by the rules
//	Attic        never inspected
//	Turn         a swinging door, failed by the inspector, incomplete by the rules
func fleetOfSix(t testing.TB) attended {
	t.Helper()
	a := newAttended(t)
	at := func(name string, change func(*fleet.DoorFacts)) attended {
		put := a.doorFacts(a.site.SiteID, name)
		if change != nil {
			change(&put.Facts)
		}
		door, _, err := a.PutDoor(t.Context(), dispatcher, put)
		if err != nil {
			t.Fatal(err)
		}
		b := a
		b.door = door
		return b
	}
	reading := func(force float64) []fleet.EntryBody {
		list := []fleet.EntryBody{measured("closing_force_n", force)}
		for _, e := range allRead() {
			if e.Reading.Name != "closing_force_n" {
				list = append(list, e)
			}
		}
		return list
	}
	sign := func(b attended, result string, entries ...fleet.EntryBody) {
		if err := b.inspection(t, technician, append(entries, concluded(result))...); err != nil {
			t.Fatal(err)
		}
	}
	north, south, east, west := at("North", nil), at("South", nil), at("East", nil), at("West", nil)
	at("Attic", nil)
	turn := at("Turn", func(d *fleet.DoorFacts) {
		d.Kind, d.RuleBasis.PackID = "swinging", "a156.10@2017"
		for i := range d.Leaves {
			d.Leaves[i].Motion, d.Leaves[i].Hinge, d.Leaves[i].OpensTowards = "swing", "left", "a"
		}
	})
	sign(north, "passed", reading(90)...)
	sign(south, "passed", reading(70)...)
	sign(east, "failed", reading(400)...)
	sign(west, "passed", reading(60)...)
	a.pass(24 * time.Hour)
	sign(east, "passed", reading(75)...)
	sign(west, "failed", note("locked out"))
	sign(turn, "failed", note("locked out"))
	return a
}

func packOf(t testing.TB, text string) *rulebook.Pack {
	t.Helper()
	p, mistakes, err := rulebook.Check([]byte(text))
	if err != nil || p == nil {
		t.Fatal(mistakes, err)
	}
	return p
}

// replay runs a whole replay in parts of a size, from a cursor on.
func (r *rig) replay(t testing.TB, ask fleet.ReplayAsk, from fleet.ReplayCursor) (pages []fleet.ReplayPage, sum fleet.ReplaySum, changed []string) {
	t.Helper()
	ask.Until = r.Now()
	err := r.Replay(t.Context(), administrator, ask, from, func(p fleet.ReplayPage) error {
		pages = append(pages, p)
		sum.Add(p.Sum)
		for _, c := range p.Changed {
			var rules []string
			for _, rule := range c.Rules {
				rules = append(rules, fmt.Sprintf("%s %s%v", rule.ID, rule.Now, rule.Lacks))
			}
			changed = append(changed, fmt.Sprintf("%s %s>%s %s", c.Name, c.Then, c.Now, strings.Join(rules, ", ")))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return pages, sum, changed
}

func TestAReplayCountsWhatIsCountedByHand(t *testing.T) {
	t.Parallel()
	a := fleetOfSix(t)
	shipped, _ := a.Book.Pack("a156.10@2017")
	steps := func(counts ...any) map[fleet.ReplayStep]int {
		m := map[fleet.ReplayStep]int{}
		for i := 0; i < len(counts); i += 3 {
			m[fleet.ReplayStep{Then: rulebook.Result(counts[i].(string)), Now: rulebook.Result(counts[i+1].(string))}] = counts[i+2].(int)
		}
		return m
	}
	for name, c := range map[string]struct {
		ask     fleet.ReplayAsk
		judged  int
		others  int
		changes map[fleet.ReplayStep]int
		changed []string
	}{
		"80 N at each door's last": {fleet.ReplayAsk{Pack: packOf(t, housePack)}, 4, 1,
			steps("passed", "passed", 2, "passed", "failed", 1, "incomplete", "incomplete", 1), []string{"North passed>failed soft-closing failed[]"}},
		"72 N at each door's last": {fleet.ReplayAsk{Pack: packOf(t, edition("2", "72"))}, 4, 1,
			steps("passed", "passed", 1, "passed", "failed", 2, "incomplete", "incomplete", 1),
			[]string{"North passed>failed soft-closing failed[]", "East passed>failed soft-closing failed[]"}},
		"72 N at the newest six": {fleet.ReplayAsk{Pack: packOf(t, edition("2", "72")), Last: 6}, 5, 1,
			steps("passed", "passed", 2, "passed", "failed", 1, "failed", "failed", 1, "incomplete", "incomplete", 1), []string{"East passed>failed soft-closing failed[]"}},
		"80 N at all that were ever": {fleet.ReplayAsk{Pack: packOf(t, housePack), Last: 2000}, 6, 1,
			steps("passed", "passed", 3, "passed", "failed", 1, "failed", "failed", 1, "incomplete", "incomplete", 1), []string{"North passed>failed soft-closing failed[]"}},
		"something that nobody read": {fleet.ReplayAsk{Pack: packOf(t, strings.NewReplacer("closing_force_n", "changing_gap_m", "at_most: 80, unit: N", "at_most: 25, unit: mm").Replace(housePack))}, 4, 1,
			steps("passed", "incomplete", 3, "incomplete", "incomplete", 1),
			[]string{"North passed>incomplete soft-closing not_judged[changing_gap_m]", "South passed>incomplete soft-closing not_judged[changing_gap_m]", "East passed>incomplete soft-closing not_judged[changing_gap_m]"}},
		"advice": {fleet.ReplayAsk{Pack: packOf(t, strings.Replace(housePack, "deficient", "advisory", 1))}, 4, 1, steps("passed", "passed", 3, "incomplete", "incomplete", 1), nil},
	} {
		for _, part := range []int{0, 1, 2} {
			c.ask.Part = part
			_, sum, changed := a.replay(t, c.ask, fleet.ReplayCursor{})
			if sum.Judged != c.judged || sum.Others != c.others || !reflect.DeepEqual(sum.Changes, c.changes) || !reflect.DeepEqual(changed, c.changed) {
				t.Errorf("%s in parts of %d: %+v\n%q\nwant %d, %d, %v\n%q", name, part, sum, changed, c.judged, c.others, c.changes, c.changed)
			}
		}
	}
	// A newer edition of the basis judges every door whose basis is an edition of it; each lacks what the older one did not ask.
	_, sum, changed := a.replay(t, fleet.ReplayAsk{Pack: shipped}, fleet.ReplayCursor{})
	if sum.Judged != 5 || sum.Others != 0 {
		t.Errorf("%+v %q", sum, changed)
	}
	if n := a.count(t, "select count(*) from company_pack"); n != 0 {
		t.Error("a replay wrote something")
	}
}

func TestAReplayTakesThePlaceOfTheEditionThatJudged(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.addPack(t, "house@1", housePack)
	a.activate(t, "house@1", "2026-03-03")
	if err := a.inspection(t, technician, append(allRead(), concluded("failed"))...); err != nil { // 90 N
		t.Fatal(err)
	}
	_, sum, changed := a.replay(t, fleet.ReplayAsk{Pack: packOf(t, edition("2", "100"))}, fleet.ReplayCursor{})
	if sum.Judged != 1 || len(changed) != 1 || changed[0] != "Main failed>passed soft-closing passed[]" {
		t.Errorf("%+v, %q", sum, changed)
	}
}

func TestAReplayTakenUpAtAnyPartGoesOnAsItWouldHave(t *testing.T) {
	t.Parallel()
	a := fleetOfSix(t)
	for _, last := range []int{0, 5} {
		ask := fleet.ReplayAsk{Pack: packOf(t, edition("2", "72")), Last: last, Part: 1}
		whole, _, _ := a.replay(t, ask, fleet.ReplayCursor{})
		for i := range whole {
			text, err := json.Marshal(whole[i].Next)
			if err != nil {
				t.Fatal(err)
			}
			var from fleet.ReplayCursor
			if err := json.Unmarshal(text, &from); err != nil {
				t.Fatal(err)
			}
			rest, _, _ := a.replay(t, ask, from)
			if !reflect.DeepEqual(append([]fleet.ReplayPage{}, whole[i+1:]...), append([]fleet.ReplayPage{}, rest...)) {
				t.Errorf("last %d, from part %d: %+v, want %+v", last, i, rest, whole[i+1:])
			}
		}
	}
}

func TestAReplayReadsOfARecordWhatTheWholeRecordHolds(t *testing.T) {
	t.Parallel()
	a := fleetOfSix(t)
	first := measured("closing_speed_mps", 2.5)
	visit := a.open(t)
	pieces := []piece{a.append(t, visit, a.at(1, madeSafe())), a.append(t, visit, a.at(2, first))}
	for i, body := range []fleet.EntryBody{a.set("left", 0), correcting(pieces[1].entry, measured("closing_speed_mps", 0.25)), atLeaf(2, measured("closing_force_n", 88)), tried("yes"), concluded("failed")} {
		pieces = append(pieces, a.append(t, visit, a.at(3+i, body)))
	}
	if _, _, err := a.PutSignOff(t.Context(), technician, visit, a.signOff(t, visit, pieces)); err != nil {
		t.Fatal(err)
	}
	rows, err := a.db.Admin.Query(t.Context(), "select r.canonical, e.door_id, e.observed_at from record_log r join visit_entry e on e.visit_id = r.subject_id and e.kind = 'conclusion'")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for rows.Next() {
		var canonical []byte
		var door uuid.UUID
		var at time.Time
		if err := rows.Scan(&canonical, &door, &at); err != nil {
			t.Fatal(err)
		}
		n++
		gotReadings, gotOutcomes, err := fleet.ReplayReads(canonical, door, at)
		wantReadings, wantOutcomes, err2 := fleet.RecordHolds(canonical, door, at)
		if err != nil || err2 != nil || !reflect.DeepEqual(gotReadings, wantReadings) || !reflect.DeepEqual(gotOutcomes, wantOutcomes) || len(wantOutcomes) == 0 {
			t.Errorf("%v %v\n%v\n%v\nwant\n%v\n%v", err, err2, gotReadings, gotOutcomes, wantReadings, wantOutcomes)
		}
	}
	if rows.Err() != nil || n != 8 {
		t.Error(n, rows.Err())
	}
}
