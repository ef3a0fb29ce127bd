package fleet

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/rulebook"
)

// checkInspected holds each conclusion of a visit against how the inspection was done: that the work place was made safe first, that the work
// was not stopped, that what was changed was tried and read again, and that instruments were in calibration. Only this visit is looked at, as in checkConclusions.
func checkInspected(doors []uuid.UUID, entries []Entry, judged []judgedDoor, used instruments) error {
	var faults fault.List
	for _, id := range doors {
		conclusion, ok, err := conclusionOf(id, entries)
		if err != nil {
			return err
		}
		if ok {
			faults = append(faults, wantingOf(conclusion, entries, judged, used)...)
		}
	}
	return faults.Err()
}

// wantingOf tells what a conclusion wants of how the inspection was done. A failed one wants the work place made safe and nothing else:
// nobody is kept from saying that a door failed.
func wantingOf(conclusion Entry, entries []Entry, judged []judgedDoor, used instruments) (faults fault.List) {
	done := doneAt(conclusion, entries)
	faults = append(faults, safeWorkWanting(done)...)
	if conclusion.Body.Conclusion.Result != "passed" {
		return faults
	}
	judged = slices.DeleteFunc(slices.Clone(judged), func(j judgedDoor) bool { return j.DoorID != conclusion.DoorID })
	faults = append(faults, stoppedWanting(done)...)
	faults = append(faults, leftOutWanting(done, judged)...)
	faults = append(faults, placesWanting(done, judged)...)
	faults = append(faults, asLeftWanting(done, judged)...)
	faults = append(faults, calibrationWanting(done, judged, used)...)
	return append(faults, functionTestWanting(done)...)
}

// doneEntry is an entry that counts with the moment since when it holds.
type doneEntry struct {
	EntryBody
	id uuid.UUID
	at time.Time
}

// compare orders what was done; ids break ties, as everywhere.
func (d doneEntry) compare(o doneEntry) int {
	return cmp.Or(d.at.Compare(o.at), strings.Compare(d.id.String(), o.id.String()))
}

// doneAt gives what counts of the visit's entries at the door of a conclusion until then, in order. A correction holds since what it corrects
// was said to be: that a slip of the pen is put right at the end does not make an as-found reading an as-left one.
func doneAt(conclusion Entry, entries []Entry) (done []doneEntry) {
	byID := map[uuid.UUID]Entry{}
	for _, e := range entries {
		byID[e.EntryID] = e
	}
	for _, e := range live(entries) {
		root := e
		for root.Body.Corrects != nil {
			wrong, here := byID[*root.Body.Corrects]
			if !here || wrong.Body.Kind != e.Body.Kind || !after(wrong, root) {
				break
			}
			root = wrong
		}
		if e.DoorID == conclusion.DoorID && !root.ObservedAt.After(conclusion.ObservedAt) {
			done = append(done, doneEntry{e.Body, e.EntryID, root.ObservedAt})
		}
	}
	slices.SortFunc(done, doneEntry.compare)
	return done
}

// changesDoor tells whether something of the door was changed by what the entry says.
func (b EntryBody) changesDoor() bool {
	return b.Mending != nil || b.Adjustment != nil || b.Part != nil || b.Settings != nil && b.Settings.Standing == "left"
}

// touched gives the groups of parts that a change touched; none: whatever can be read at a door.
func (b EntryBody) touched() []rulebook.Group {
	switch {
	case b.Mending != nil:
		return b.Mending.Touched
	case b.Adjustment != nil:
		return b.Adjustment.Touched
	case b.Settings != nil: // of a device
		return []rulebook.Group{rulebook.Sensing}
	}
	switch b.Part.Kind {
	case "sensor", "activation", "safety_device":
		return []rulebook.Group{rulebook.Sensing}
	case "operator", "power_supply", "battery":
		return []rulebook.Group{rulebook.Motion, rulebook.Latch}
	case "mode_selector":
		return []rulebook.Group{rulebook.Motion}
	case "lock":
		return []rulebook.Group{rulebook.Latch}
	case "leaf_hardware":
		return []rulebook.Group{rulebook.Motion, rulebook.Latch, rulebook.Fabric}
	case "consumable": // seals, rollers, glazing tape
		return []rulebook.Group{rulebook.Motion, rulebook.Fabric}
	}
	return nil // a control drives everything
}

// outdates tells whether what was read of a kind is of another door once a change was made.
func (b EntryBody) outdates(k rulebook.ReadingKind) bool {
	touched := b.touched()
	return len(k.DependsOn) > 0 && (touched == nil || slices.ContainsFunc(k.DependsOn, func(g rulebook.Group) bool { return slices.Contains(touched, g) }))
}

// safeWorkWanting asks that the work place was made safe before anything was read or changed.
func safeWorkWanting(done []doneEntry) fault.List {
	safe := slices.IndexFunc(done, func(d doneEntry) bool { return d.SafeWork != nil })
	if safe < 0 {
		return fault.List{fault.New(fault.Conflict, "safe_work_missing")}
	}
	for _, d := range done {
		if (d.Readings() != nil || d.Settings != nil || d.changesDoor()) && d.at.Before(done[safe].at) {
			return fault.List{fault.New(fault.Conflict, "safe_work_late")}
		}
	}
	return nil
}

// stoppedWanting asks that the work was not stopped last.
func stoppedWanting(done []doneEntry) fault.List {
	stopped := ""
	for _, d := range done {
		if d.SafeWork != nil {
			stopped = d.SafeWork.Stopped
		}
	}
	if stopped == "" {
		return nil
	}
	return fault.List{fault.New(fault.Conflict, "passed_though_stopped")}
}

// leftOutWanting names what was left out and is asked by a rule for want of which the door cannot pass.
func leftOutWanting(done []doneEntry, judged []judgedDoor) fault.List {
	var names []string
	for _, j := range judged {
		for _, v := range j.Verdicts {
			if j.Beside == rulebook.Law || !v.Counts() || v.Outcome != rulebook.NotJudged {
				continue
			}
			for _, g := range v.Gaps {
				if g.Problem == rulebook.Missing && slices.ContainsFunc(done, func(d doneEntry) bool { return d.LeftOut != nil && rulebook.NameNow(d.LeftOut.Name) == g.Name }) {
					names = append(names, g.Name)
				}
			}
		}
	}
	if names == nil {
		return nil
	}
	slices.Sort(names)
	return fault.List{fault.New(fault.Conflict, "left_out_needed", "readings", strings.Join(slices.Compact(names), ", "))}
}

// placesWanting names the places at which something is still to be read that was read elsewhere: a rule that takes a reading of each side, or of
// each leaf, is not met by one of them.
func placesWanting(done []doneEntry, judged []judgedDoor) fault.List {
	needed := map[string]DoorFacts{}
	for _, j := range judged {
		for _, v := range j.Verdicts {
			for _, r := range v.Readings {
				if j.Beside != rulebook.Law && v.Counts() {
					needed[r.Name] = j.facts
				}
			}
		}
	}
	var unread, leftOut []string
	for _, k := range rulebook.Readings() {
		facts, is := needed[k.Name]
		places := placesOf(k, "", facts)
		if !is || len(places) < 2 || !readAnywhere(done, k.Name) {
			continue
		}
		for _, p := range places {
			here := EntryReading{Name: k.Name, Leaf: p.Leaf, Side: string(p.Side)}
			switch {
			case slices.ContainsFunc(done, func(d doneEntry) bool {
				return slices.ContainsFunc(d.Readings(), func(r EntryReading) bool { return r.covers(here) })
			}):
			case slices.ContainsFunc(done, func(d doneEntry) bool {
				return d.LeftOut != nil && EntryReading{Name: d.LeftOut.Name, Leaf: d.LeftOut.Leaf, Side: d.LeftOut.Side}.covers(here)
			}):
				leftOut = append(leftOut, k.Name+here.spot())
			default:
				unread = append(unread, k.Name+here.spot())
			}
		}
	}
	var faults fault.List
	if leftOut != nil {
		faults = append(faults, fault.New(fault.Conflict, "left_out_needed", "readings", strings.Join(leftOut, ", ")))
	}
	if unread != nil {
		faults = append(faults, fault.New(fault.Conflict, "readings_missing", "readings", strings.Join(unread, ", ")))
	}
	return faults
}

func readAnywhere(done []doneEntry, name string) bool {
	return slices.ContainsFunc(done, func(d doneEntry) bool {
		return slices.ContainsFunc(d.Readings(), func(r EntryReading) bool { return rulebook.NameNow(r.Name) == name })
	})
}

// asLeftWanting names what a rule that counts rests on and was read only before something that it depends on was touched.
func asLeftWanting(done []doneEntry, judged []judgedDoor) fault.List {
	needed := map[string]bool{}
	for _, j := range judged {
		for _, v := range j.Verdicts {
			for _, r := range v.Readings {
				needed[r.Name] = needed[r.Name] || v.Counts()
			}
		}
	}
	var names []string
	outdated := outdatedAmong(done)
	for _, d := range done {
		for _, r := range d.Readings() {
			if o, is := outdated[takenOf(d.id, r)]; is && !o.again && needed[rulebook.NameNow(r.Name)] {
				names = append(names, rulebook.NameNow(r.Name)+r.spot())
			}
		}
	}
	if names == nil {
		return nil
	}
	slices.Sort(names)
	return fault.List{fault.New(fault.Conflict, "as_left_missing", "readings", strings.Join(slices.Compact(names), ", "))}
}

// takenReading is one reading of an entry.
type takenReading struct {
	entry uuid.UUID
	name  string // as it is called today
	at    rulebook.Place
}

func takenOf(entry uuid.UUID, r EntryReading) takenReading {
	return takenReading{entry, rulebook.NameNow(r.Name), r.Place()}
}

// outdating is how a reading became one of another door.
type outdating struct {
	since time.Time // when something that it depends on was touched first
	again bool      // it was read again after the last time
}

// outdatedAmong names the readings of which something that they depend on was touched afterwards.
func outdatedAmong(done []doneEntry) map[takenReading]outdating {
	kinds := map[string]rulebook.ReadingKind{}
	for _, k := range rulebook.Readings() {
		kinds[k.Name] = k
	}
	outdated := map[takenReading]outdating{}
	for i, d := range done {
		for _, r := range d.Readings() {
			one := takenOf(d.id, r)
			for _, later := range done[i+1:] {
				o, is := outdated[one]
				switch {
				case later.changesDoor() && later.outdates(kinds[one.name]):
					if !is {
						o.since = later.at
					}
					outdated[one] = outdating{o.since, false}
				case is && slices.ContainsFunc(later.Readings(), func(again EntryReading) bool { return again.covers(r) }):
					outdated[one] = outdating{o.since, true}
				}
			}
		}
	}
	return outdated
}

// covers tells whether r is of the same thing as o, at its place or of the whole door.
func (r EntryReading) covers(o EntryReading) bool {
	return rulebook.NameNow(r.Name) == rulebook.NameNow(o.Name) && (r.Leaf == 0 || r.Leaf == o.Leaf) && (r.Side == "" || r.Side == o.Side)
}

// spot names where something was read, as faults do.
func (r EntryReading) spot() string {
	var at []string
	if r.Leaf > 0 {
		at = append(at, fmt.Sprintf("leaf=%d", r.Leaf))
	}
	if r.Side != "" {
		at = append(at, "side="+r.Side)
	}
	if at == nil {
		return ""
	}
	return "[" + strings.Join(at, " ") + "]"
}

// functionTestWanting asks for a function test after the last change, and that what was tried since then did what it should.
func functionTestWanting(done []doneEntry) fault.List {
	changed, tested := false, false
	var failed []string
	for _, d := range done {
		switch {
		case d.changesDoor():
			changed, tested, failed = true, false, nil
		case d.FunctionTest != nil:
			tested = true
			for _, one := range d.FunctionTest.tried() {
				if one.answer == "no" && !slices.Contains(failed, one.name) {
					failed = append(failed, one.name)
				}
			}
		}
	}
	switch {
	case failed != nil:
		return fault.List{fault.New(fault.Conflict, "function_test_failed", "tests", strings.Join(failed, ", "))}
	case changed && !tested:
		return fault.List{fault.New(fault.Conflict, "function_test_missing")}
	}
	return nil
}
