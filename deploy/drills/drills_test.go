package drills

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// TestNothingAcknowledgedIsLost lets people upload visits while everything is killed again and again. Afterwards the
// checker must have nothing to complain of, and must complain of everything that is then broken on purpose.
func TestNothingAcknowledgedIsLost(t *testing.T) {
	drills, people := shortDrills(), 3
	long := os.Getenv("LINTEL_DRILLS") == "long"
	if long {
		drills, people = longDrills(), 4
	}
	w := newWorld(t, 2*people, jobs(drills)+1)
	h := newHistory()
	at := w.startWriters(people, h)
	n := &nemesis{world: w, history: h, kills: map[string]int{}}
	begun := time.Now()
	err := n.acknowledged(20)
	for i := 0; i < len(drills) && err == nil; i++ {
		err = n.strike(drills[i])
	}
	if long && err == nil {
		err = n.serversNight()
	}
	problems := at.finish()
	if err != nil {
		t.Error(err)
	}
	for _, p := range problems {
		t.Error(p)
	}
	complaints, err := w.check(h, n.nights)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range complaints {
		t.Error(c)
	}
	n.tell(t, time.Since(begun), len(complaints))
	if t.Failed() {
		return
	}
	if answerless := n.kills[beforeAnswer]; h.found < answerless {
		t.Errorf("%d pieces were there already when they were sent again, after %d kills between commit and answer", h.found, answerless)
	}
	if early := n.kills[beforeTheCommit]; h.made < early {
		t.Errorf("%d pieces were not there when they were sent again, after %d kills before the commit", h.made, early)
	}
	for _, b := range breakages(n) {
		t.Run(b.name+" is reported", func(t *testing.T) { complaints = b.mustBeReported(t, n, complaints) })
	}
}

// tell says what was done.
func (n *nemesis) tell(t *testing.T, took time.Duration, complaints int) {
	total := 0
	for _, kind := range slices.Sorted(maps.Keys(n.kills)) {
		total += n.kills[kind]
		t.Logf("%2d kills %s", n.kills[kind], kind)
	}
	h := n.history
	t.Logf("%2d kills in all within %.0f s; %d acknowledgements of %d pieces in %d signed visits; %d complaints", total, took.Seconds(), h.answers, len(h.acknowledged), len(h.things("sign-off")), complaints)
	t.Logf("sent again after no answer: %d were there, %d were not; instead of an answer: %v", h.found, h.made, h.instead)
	t.Logf("longest time without an acknowledgement %.1f s", h.longestGap.Seconds())
}

// breakage breaks one thing and tells what must then be complained of.
type breakage struct {
	name   string
	breaks func() (named string, err error)
}

// breakages are done one after the other; each leaves the others' traces alone.
func breakages(n *nemesis) []breakage {
	entries, photos := n.history.things("entry"), n.history.things("photo")
	slices.Reverse(entries)
	finding := entries[slices.IndexFunc(entries, func(th thing) bool { return th.repair })]
	slices.Reverse(entries)
	change := func(id string, statements ...string) (string, error) {
		for _, s := range statements {
			if err := n.exec(s, id); err != nil {
				return id, err
			}
		}
		return id, nil
	}
	return []breakage{
		{"a commit that the database forgot", n.forgottenCommit},
		{"a deleted entry", func() (string, error) {
			return change(entries[0].id, "delete from entry_photo where entry_id = $1", "delete from visit_entry where entry_id = $1")
		}},
		{"a changed entry", func() (string, error) {
			return change(entries[1].id, "update visit_entry set canonical = canonical || ' ' where entry_id = $1")
		}},
		{"a deleted signed record", func() (string, error) {
			return change(n.history.things("sign-off")[0].id, "delete from record_log where subject_id = $1")
		}},
		{"a corrective work order that was not made", func() (string, error) {
			return finding.id, n.exec("delete from work_order where origin_visit_id = $1", finding.visit)
		}},
		{"an inspection order that was not made", func() (string, error) {
			return change(n.plans[0].door.String(), "delete from ladder_look where work_order_id in (select work_order_id from work_order where door_id = $1)", "delete from work_order where door_id = $1")
		}},
		{"an inspection order too many", func() (string, error) {
			return change(n.plans[1].door.String(), `insert into work_order (customer_id, site_id, door_id, work_order_id, kind, due_on, state, recorded_at)
				select customer_id, site_id, door_id, gen_random_uuid(), 'inspection', due_on, 'open', recorded_at from work_order where door_id = $1`)
		}},
		{"a photo without its row", func() (string, error) {
			return change(photos[0].id, "delete from photo where sha256 = decode($1, 'hex')")
		}},
		{"a photo without all its bytes", func() (string, error) {
			hash := photos[1].id
			return hash, os.Truncate(filepath.Join(n.dir, "photos", hash[:2], hash[2:]), 100)
		}},
	}
}

// mustBeReported breaks the thing: at least one complaint that was not made earlier must name it. It gives all complaints.
func (b breakage) mustBeReported(t *testing.T, n *nemesis, earlier []string) []string {
	named, err := b.breaks()
	if err != nil {
		t.Fatal(err)
	}
	complaints, err := n.check(n.history, n.nights)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(complaints, func(c string) bool { return strings.Contains(c, named) && !slices.Contains(earlier, c) }) {
		t.Errorf("nothing new is said of %s; the complaints are %q", named, complaints)
	}
	return complaints
}

// forgottenCommit has the proxy roll an entry's transaction back and say that it was committed: the program
// acknowledges what is not there.
func (n *nemesis) forgottenCommit() (string, error) {
	visit, entry := newID(), newID()
	sprung := n.atServer.set(beforeCommit("insert_entry"), func() verdict { return forget })
	w := &writer{world: n.world, history: n.history}
	th, err := w.putJSON(n.ctx, thing{kind: "entry", id: entry, visit: visit}, "/v1/visits/"+visit+"/entries/"+entry, object{"door_id": n.doors[0], "kind": "note",
		"observed_at": time.Now().UTC().Truncate(time.Second), "note": object{"text": "Nobody will ever read this."}})
	if err != nil {
		return entry, err
	}
	if where := <-sprung; th.sha256 == "" {
		return entry, fmt.Errorf("not acknowledged at %s", where)
	}
	return entry, nil
}
