package fleet_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/rulebook"
)

// form gives the form of the attended door.
func (a attended) form(t *testing.T, visit uuid.UUID) fleet.InspectionForm {
	t.Helper()
	form, err := a.InspectionForm(t.Context(), technician, a.door.DoorID, visit)
	if err != nil {
		t.Fatal(err)
	}
	return form
}

// lawless moves the site to where no pack of ours is law, so that the rule basis judges alone.
func (a attended) lawless(t *testing.T) {
	t.Helper()
	site := a.site
	site.Country, site.Jurisdiction, site.Region = "NZ", "NZ", ""
	if _, _, err := a.PutSite(t.Context(), dispatcher, site, site.Version); err != nil {
		t.Fatal(err)
	}
}

// nowChanged records other facts of the attended door from this minute on.
func (a attended) nowChanged(t *testing.T, change func(*fleet.DoorFacts)) {
	t.Helper()
	a.pass(time.Minute)
	a.changedFrom(t, a.now.Add(a.late), change)
}

// walked writes a form in one line a station: what is read where.
func walked(form fleet.InspectionForm) (lines []string) {
	for _, s := range form.Stations {
		line := string(s.Station)
		if s.Side != "" {
			line += " " + string(s.Side)
		}
		for _, i := range s.Items {
			line += ", " + i.Kind.Name
			for _, p := range i.Places {
				if p.Leaf > 0 {
					line += fmt.Sprint(" leaf ", p.Leaf)
				}
				if p.Side != "" && p.Side != s.Side {
					line += " side " + string(p.Side)
				}
			}
		}
		lines = append(lines, line)
	}
	return lines
}

// item finds what is asked of a reading.
func item(t *testing.T, form fleet.InspectionForm, name string) fleet.FormItem {
	t.Helper()
	for _, s := range form.Stations {
		for _, i := range s.Items {
			if i.Kind.Name == name {
				return i
			}
		}
	}
	t.Fatalf("the form does not ask for %s", name)
	return fleet.FormItem{}
}

func TestAFormAsksWhatAppliesInTheOrderOfTheWalk(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.lawless(t)
	form := a.form(t, uuid.Nil)
	want := []string{ // a full-energy sliding door of two leaves with overhead sensors, in no escape route: ANSI/BHMA A156.10, 2005, as the pack has it
		"papers, months_since_inspection, daily_check_label_present",
		"approach a, signs_present, activation_zone_width_m, activation_zone_depth_m",
		"approach b, signs_present, activation_zone_width_m, activation_zone_depth_m",
		"doorway, stationary_person_held",
		"opening, hold_open_s",
		"closing, closing_speed_mps, latch_check_distance_m, closing_force_n leaf 1 leaf 2",
		"back_on, walk_test_passed",
	}
	if got := walked(form); !slices.Equal(got, want) {
		t.Errorf("the walk is\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if len(form.Packs) != 1 || form.Packs[0].ID != "a156.10@2005" || len(form.Wanted) != 0 {
		t.Errorf("judged by %v, wanting %v", form.Packs, form.Wanted)
	}
	// 30 lbf by the same standard, 10.1.3, as somebody reported it; exactly 133.446648 N (international pound, standard gravity).
	force := item(t, form, "closing_force_n").Rules[0]
	if force.Limit == nil || force.Limit.AtMost.Value != 30 || math.Abs(force.Limit.AtMost.SI-133.446648) > 1e-6 || !force.Counts() || force.Rule.Source.Clause != "10.1.3" {
		t.Errorf("the force is asked as %+v of %+v", force.Limit, force.Rule)
	}
	if !slices.ContainsFunc(form.FromFacts, func(r fleet.FormRule) bool { return r.Rule.ID == "presence-detection" }) {
		t.Error("what is judged from the register alone is not told")
	}

	a.nowChanged(t, func(d *fleet.DoorFacts) { d.Egress = p(true) })
	if got := walked(a.form(t, uuid.Nil)); !slices.Contains(got, "by_hand, breakout_force_n leaf 1 leaf 2") {
		t.Errorf("a door in an escape route is not asked to break out: %v", got)
	}
	a.nowChanged(t, func(d *fleet.DoorFacts) { d.Leaves = d.Leaves[:1] })
	if got := walked(a.form(t, uuid.Nil)); !slices.Contains(got, "by_hand, breakout_force_n") {
		t.Errorf("one leaf is asked for by its number: %v", got)
	}
}

func TestAFormAsksForTheRuleBasisAndForTheLawOfThePlace(t *testing.T) {
	t.Parallel()
	a := newAttended(t) // in California
	a.nowChanged(t, func(d *fleet.DoorFacts) { d.Egress = p(true) })
	form := a.form(t, uuid.Nil)
	var roles []rulebook.Role
	for _, p := range form.Packs {
		roles = append(roles, p.Role)
	}
	if len(roles) < 2 || roles[0] != rulebook.Basis || !slices.Contains(roles, rulebook.Law) {
		t.Fatalf("judged as %v", roles)
	}
	var packs []string
	for _, r := range item(t, form, "breakout_force_n").Rules {
		packs = append(packs, r.Pack.Name())
	}
	if !slices.Equal(packs, []string{"a156.10", "egress-fire"}) {
		t.Errorf("the breakout force is asked for by %v", packs)
	}
}

func TestAnApproachIsAStationOnEachSideThatLetsPeopleIn(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.nowChanged(t, func(d *fleet.DoorFacts) {
		d.Kind, d.RuleBasis.PackID = "swinging", "a156.10@2017"
		for i := range d.Leaves {
			d.Leaves[i] = fleet.Leaf{Motion: "swing", Hinge: "left", OpensTowards: "a", WidthM: fleet.Q(0.9, fleet.Measured), HeightM: fleet.Q(2.1, fleet.Measured), MassKg: fleet.Q(60, fleet.Measured)}
		}
	})
	sides := func() (sides []rulebook.Side) {
		for _, s := range a.form(t, uuid.Nil).Stations {
			if s.Station == rulebook.Approach {
				sides = append(sides, s.Side)
			}
		}
		return sides
	}
	if got := sides(); !slices.Equal(got, []rulebook.Side{"a", "b"}) {
		t.Errorf("approaches on %v: %v", got, walked(a.form(t, uuid.Nil)))
	}
	a.nowChanged(t, func(d *fleet.DoorFacts) { d.A.Activation, d.Traffic = "none", "one_way_out" })
	if got := sides(); !slices.Equal(got, []rulebook.Side{"b"}) {
		t.Errorf("approaches on %v, and nobody is let in from a", got)
	}
}

func TestAFormNamesTheFactsThatItWants(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.lawless(t)
	a.nowChanged(t, func(d *fleet.DoorFacts) { d.Leaves[1].MassKg, d.Egress = fleet.UnknownQuantity(), nil })
	form := a.form(t, uuid.Nil)
	var wanted []string
	for _, f := range form.Wanted {
		for _, r := range f.Rules {
			wanted = append(wanted, f.Name+" for "+r.Rule.ID+": "+f.Title)
		}
	}
	want := []string{"leaves[1].mass_kg for closing-speed: mass of leaf 2", "egress for breakout-force: whether it is part of a way out", "egress for breakout-sign: whether it is part of a way out"}
	if !slices.Equal(wanted, want) {
		t.Errorf("wanted are %v, want %v", wanted, want)
	}
	if speed := item(t, form, "closing_speed_mps").Rules[0]; speed.Limit != nil {
		t.Errorf("a limit that nobody can work out is %+v", speed.Limit)
	}
	if got := walked(form); slices.ContainsFunc(got, func(line string) bool { return strings.Contains(line, "breakout") }) {
		t.Errorf("what may follow from a fact is asked before the fact: %v", got)
	}

	a.nowChanged(t, func(d *fleet.DoorFacts) { d.RuleBasis = fleet.RuleBasis{} })
	if form := a.form(t, uuid.Nil); len(form.Packs)+len(form.Stations)+len(form.Wanted) != 0 {
		t.Errorf("a door that nobody said how to judge is asked %v", walked(form))
	}
}

func TestBesideEachReadingStandsWhatWasReadBeforeAndNow(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	// the year before, when one force was read of leaf 2, and one of the door as a whole
	if err := a.inspection(t, technician, passing(atLeaf(2, measured("closing_force_n", 120)))...); err != nil {
		t.Fatal(err)
	}
	a.pass(300 * 24 * time.Hour)
	visit := a.id()
	if _, _, err := a.PutVisit(t.Context(), technician, visit, a.attendance()); err != nil {
		t.Fatal(err)
	}
	put := func(minute int, body fleet.EntryBody) uuid.UUID {
		t.Helper()
		id := a.id()
		if _, _, err := a.PutEntry(t.Context(), technician, visit, id, a.at(minute, body)); err != nil {
			t.Fatal(err)
		}
		return id
	}
	wrong := put(1, atLeaf(1, measured("closing_force_n", 300)))
	put(2, correcting(wrong, atLeaf(1, measured("closing_force_n", 90))))
	put(3, atLeaf(2, measured("closing_force_n", 60)))
	put(4, measured("hold_open_s", 2.1))
	put(5, measured("closing_force_n", 91))
	put(6, measured("latch_time_s", 2)) // that no rule asks for
	put(7, leftOut("latch_check_distance_m", "not_possible"))
	form := a.form(t, visit)
	var lines []string
	for _, name := range []string{"closing_force_n", "hold_open_s", "closing_speed_mps"} {
		for _, p := range item(t, form, name).Places {
			line := fmt.Sprint(name, " ", p.Leaf, ":")
			if p.Before != nil {
				line += fmt.Sprint(" before ", *p.Before.Value, " on ", p.Before.Day)
			}
			for _, r := range p.Entered {
				line += fmt.Sprint(" now ", *r.Value, " ", r.Doubt)
			}
			lines = append(lines, strings.TrimSpace(line))
		}
	}
	want := []string{
		"closing_force_n 1: before 90 on 2026-03-03 now 90 the_same", // nobody read leaf 1 by itself; corrected now
		"closing_force_n 2: before 120 on 2026-03-03 now 60 far_off",
		"closing_force_n 0: before 90 on 2026-03-03 now 91", // where the form does not ask for it
		"hold_open_s 0: before 2 on 2026-03-03 now 2.1",
		"closing_speed_mps 0: before 0.25 on 2026-03-03",
	}
	if !slices.Equal(lines, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(lines, "\n"), strings.Join(want, "\n"))
	}
	if l := item(t, form, "latch_check_distance_m").Places[0].LeftOut; l == nil || l.Body.LeftOut.Reason != "not_possible" || len(form.Entries) != 6 {
		t.Errorf("left out is %+v; %d entries count", l, len(form.Entries))
	}
	if form.Signed {
		t.Errorf("the visit is signed")
	}
	if blank := a.form(t, uuid.Nil); len(item(t, blank, "closing_force_n").Places) != 2 || item(t, blank, "closing_force_n").Places[0].Entered != nil {
		t.Error("a blank form is filled in")
	}
}

func TestAFormIsOfAVisitToTheDoorsSite(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	other := a.rig.site(t, a.site.CustomerID, "Weir")
	visit := a.id()
	if _, _, err := a.PutVisit(t.Context(), technician, visit, fleet.Attendance{SiteID: other.SiteID, ArrivedAt: a.now, People: []uuid.UUID{technician.PersonID},
		Doors: []fleet.DoorsOfVisit{{DoorID: a.rig.door(t, other.SiteID, "Side").DoorID, WorkOrders: []uuid.UUID{}}}}); err != nil {
		t.Fatal(err)
	}
	_, err := a.InspectionForm(t.Context(), technician, a.door.DoorID, visit)
	wantFault(t, err, "door_of_other_site at /door_id")
	_, err = a.InspectionForm(t.Context(), technician, a.door.DoorID, a.id())
	wantFault(t, err, "visit_not_found")
	_, err = a.InspectionForm(t.Context(), agentOf(a.id()), a.door.DoorID, uuid.Nil)
	wantFault(t, err, "door_not_found")
}

func TestWhoeverAttendsAVisitAnswersWhatNobodyKnewOfTheDoor(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.lawless(t)
	a.nowChanged(t, func(d *fleet.DoorFacts) { d.Leaves[1].MassKg, d.Egress = fleet.UnknownQuantity(), nil })
	visit := a.id()
	if _, _, err := a.PutVisit(t.Context(), technician, visit, a.attendance()); err != nil {
		t.Fatal(err)
	}
	answers := []fleet.FactAnswer{{Pointer: "/facts/egress", Word: "yes"}, {Pointer: "/facts/leaves/1/mass_kg", Value: p(81.5)}}
	pass := func(list []fleet.FactAnswer, want string) {
		t.Helper()
		_, err := a.AnswerFacts(t.Context(), technician, a.door.DoorID, visit, list)
		wantFault(t, err, want)
	}
	pass([]fleet.FactAnswer{{Pointer: "/facts/energy", Word: "low"}}, "fact_not_wanted at /facts/energy") // that is known
	pass([]fleet.FactAnswer{{Pointer: "/facts/egress", Word: "perhaps"}}, "choice_missing at /facts/egress")
	pass([]fleet.FactAnswer{{Pointer: "/facts/name", Word: "mine"}}, "fact_not_wanted at /facts/name")
	_, err := a.AnswerFacts(t.Context(), dispatcher, a.door.DoorID, visit, answers)
	wantFault(t, err, "not_present")
	door, err := a.AnswerFacts(t.Context(), technician, a.door.DoorID, visit, answers)
	if err != nil {
		t.Fatal(err)
	}
	if door.Facts.Egress == nil || !*door.Facts.Egress || *door.Facts.Leaves[1].MassKg.Value != 81.5 || door.Facts.Leaves[1].MassKg.Basis != fleet.Measured {
		t.Errorf("the door is %+v", door.Facts)
	}
	form := a.form(t, visit)
	if len(form.Wanted) != 0 {
		t.Errorf("still wanted are %v", form.Wanted)
	}
	item(t, form, "breakout_force_n")
	again, err := a.AnswerFacts(t.Context(), technician, a.door.DoorID, visit, answers)
	if err != nil || again.Version.VersionID != door.Version.VersionID {
		t.Errorf("the same again made version %s after %s: %v", again.Version.VersionID, door.Version.VersionID, err)
	}
	pass([]fleet.FactAnswer{{Pointer: "/facts/egress", Word: "no"}}, "fact_not_wanted at /facts/egress")
}

func TestTheFormTellsEverythingThatASignOffWouldRefuse(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.id()
	if _, _, err := a.PutVisit(t.Context(), technician, visit, a.attendance()); err != nil {
		t.Fatal(err)
	}
	wants := func() (list []string) {
		t.Helper()
		wants, err := a.Wanting(t.Context(), technician, a.door.DoorID, visit)
		if err != nil {
			t.Fatal(err)
		}
		for _, w := range wants {
			list = append(list, strings.TrimSpace(fmt.Sprint(w.Fault.Code, " ", w.Name, " ", w.Step, w.Station)))
		}
		return list
	}
	put := func(body fleet.EntryBody) {
		t.Helper()
		if _, _, err := a.PutEntry(t.Context(), technician, visit, a.id(), body); err != nil {
			t.Fatal(err)
		}
	}
	bare := wants()
	for _, want := range []string{"safe_work_missing  safe_work", "readings_missing closing_force_n closing", "readings_missing hold_open_s opening", "readings_missing walk_test_passed back_on"} {
		if !slices.Contains(bare, want) {
			t.Errorf("a visit without entries does not want %q: %q", want, bare)
		}
	}
	put(a.at(0, madeSafe()))
	for i, body := range passing() {
		if body.Conclusion == nil {
			put(a.at(i+1, body))
		}
	}
	if got := wants(); len(got) != 0 {
		t.Errorf("everything was read, and there is wanting %q", got)
	}
	put(a.at(40, fleet.EntryBody{Kind: "adjustment", Adjustment: &fleet.EntryAdjustment{What: "Slower.", Touched: []rulebook.Group{rulebook.Motion}}}))
	put(a.at(41, fleet.EntryBody{Kind: "finding", Finding: &fleet.EntryFinding{Severity: "unsafe", What: "Glass cracked."}}))
	got := wants()
	for _, want := range []string{"as_left_missing closing_force_n closing", "function_test_missing  function_test", "passed_while_unsafe  finding"} {
		if !slices.Contains(got, want) {
			t.Errorf("after an adjustment and an unsafe finding it does not want %q: %q", want, got)
		}
	}
	for _, s := range a.form(t, visit).Stations {
		for _, i := range s.Items {
			for _, p := range i.Places {
				for _, r := range p.Entered {
					if motion := slices.Contains(i.Kind.DependsOn, rulebook.Motion); r.Stale != motion || len(r.Verdicts) == 0 {
						t.Errorf("%s depends on what was touched: %v, and is stale: %v, with %d verdicts", i.Kind.Name, motion, r.Stale, len(r.Verdicts))
					}
				}
			}
		}
	}
}

func TestMonthsSinceTheLastInspectionAreCounted(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	if form := a.form(t, uuid.Nil); form.Months != nil {
		t.Errorf("%d months since an inspection that was not", *form.Months)
	}
	if err := a.inspection(t, technician, passing()...); err != nil {
		t.Fatal(err)
	}
	a.pass(300 * 24 * time.Hour) // from 3 March to 28 December
	if form := a.form(t, uuid.Nil); form.Months == nil || *form.Months != 9 || form.LastDay.String() != "2026-03-03" {
		t.Errorf("%v months since %s", form.Months, form.LastDay)
	}
}

// walk begins a visit to the attended door and gives what enters into it, and what a sign-off would still want, as "code name leaf side step".
func (a attended) walk(t *testing.T) (visit uuid.UUID, put func(minute int, body fleet.EntryBody) uuid.UUID, wants func() []fleet.Want) {
	t.Helper()
	visit = a.id()
	if _, _, err := a.PutVisit(t.Context(), technician, visit, a.attendance()); err != nil {
		t.Fatal(err)
	}
	put = func(minute int, body fleet.EntryBody) uuid.UUID {
		t.Helper()
		id := a.id()
		if _, _, err := a.PutEntry(t.Context(), technician, visit, id, a.at(minute, body)); err != nil {
			t.Fatal(err)
		}
		return id
	}
	wants = func() []fleet.Want {
		t.Helper()
		list, err := a.Wanting(t.Context(), technician, a.door.DoorID, visit)
		if err != nil {
			t.Fatal(err)
		}
		return list
	}
	return visit, put, wants
}

func wanted(list []fleet.Want, code, name string, at rulebook.Place) *fleet.Want {
	for _, w := range list {
		if w.Fault.Code == code && w.Name == name && w.Place == at {
			return &w
		}
	}
	return nil
}

func TestAReadingFromBeforeAChangeSaysWhenThatWas(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit, put, wants := a.walk(t)
	put(0, madeSafe())
	put(1, measured("closing_force_n", 90))
	put(9, fleet.EntryBody{Kind: "adjustment", Adjustment: &fleet.EntryAdjustment{What: "Slower.", Touched: []rulebook.Group{rulebook.Motion}}})
	put(10, fleet.EntryBody{Kind: "adjustment", Adjustment: &fleet.EntryAdjustment{What: "Slower still.", Touched: []rulebook.Group{rulebook.Motion}}})
	changed := a.at(9, fleet.EntryBody{}).ObservedAt
	reading := func() fleet.FormReading {
		for _, p := range item(t, a.form(t, visit), "closing_force_n").Places {
			if p.Entered != nil {
				return p.Entered[0]
			}
		}
		t.Fatal("nothing was read")
		return fleet.FormReading{}
	}
	if r := reading(); !r.Stale || r.AsFound || !r.ChangedAt.Equal(changed) {
		t.Errorf("stale %v, as found %v, changed at %s", r.Stale, r.AsFound, r.ChangedAt)
	}
	if w := wanted(wants(), "as_left_missing", "closing_force_n", rulebook.Place{}); w == nil || !w.ChangedAt.Equal(changed) {
		t.Errorf("it is wanted as %+v", w)
	}
	put(11, measured("closing_force_n", 95))
	if r := reading(); r.Stale || !r.AsFound {
		t.Errorf("read again, the first one is stale %v, as found %v", r.Stale, r.AsFound)
	}
	if w := wanted(wants(), "as_left_missing", "closing_force_n", rulebook.Place{}); w != nil {
		t.Errorf("read again, it is wanted: %+v", w)
	}
}

func TestWhatFailsHidesNothingThatIsStillToBeRead(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.lawless(t)
	_, put, wants := a.walk(t)
	put(0, madeSafe())
	put(1, measured("closing_force_n", 400))
	found := put(2, fleet.EntryBody{Kind: "finding", Finding: &fleet.EntryFinding{Severity: "unsafe", What: "Glass cracked."}})
	list := wants()
	if !slices.ContainsFunc(list, func(w fleet.Want) bool { return w.Fault.Code == "passed_against_rules" }) {
		t.Errorf("400 N do not fail: %+v", list)
	}
	for _, name := range []string{"latch_check_distance_m", "hold_open_s", "walk_test_passed"} {
		if !slices.ContainsFunc(list, func(w fleet.Want) bool { return w.Fault.Code == "readings_missing" && w.Name == name }) {
			t.Errorf("%s is not wanted while the force fails", name)
		}
	}
	for _, w := range list {
		if strings.Contains(w.Title, found.String()) || w.Title == w.Name && w.Name != "" {
			t.Errorf("%s is called %q", w.Fault.Code, w.Title)
		}
		if w.Fault.Code == "passed_while_unsafe" && w.Title != "Glass cracked." {
			t.Errorf("the finding is called %q", w.Title)
		}
	}
}

func TestWhatWasReadAtOneLeafIsNotReadAtBoth(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.lawless(t)
	_, put, wants := a.walk(t)
	put(0, madeSafe())
	for i, body := range passing() {
		switch {
		case body.Conclusion != nil:
		case body.Reading != nil && body.Reading.Name == "closing_force_n":
			put(i+1, atLeaf(1, body))
		default:
			put(i+1, body)
		}
	}
	list := wants()
	if wanted(list, "readings_missing", "closing_force_n", rulebook.Place{Leaf: 2}) == nil || len(list) != 1 {
		t.Errorf("after the first leaf is wanting %+v", list)
	}
	put(50, fleet.EntryBody{Kind: "left_out", LeftOut: &fleet.EntryLeftOut{Name: "closing_force_n", Leaf: 2, Reason: "not_possible", Why: "A fence."}})
	if list := wants(); len(list) != 1 || wanted(list, "left_out_needed", "closing_force_n", rulebook.Place{Leaf: 2}) == nil {
		t.Errorf("left out at the second leaf, there is wanting %+v", list)
	}
	put(51, atLeaf(2, measured("closing_force_n", 90)))
	if list := wants(); len(list) != 0 {
		t.Errorf("after both leaves there is wanting %+v", list)
	}
}

func TestWhatAPassedWouldWantIsToldWhateverWasConcluded(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit, put, wants := a.walk(t)
	put(0, madeSafe())
	put(1, concluded("failed"))
	if list := wants(); len(list) != 0 {
		t.Errorf("a failed one wants %+v", list)
	}
	toPass := func() int {
		t.Helper()
		list, err := a.WantingToPass(t.Context(), technician, a.door.DoorID, visit)
		if err != nil {
			t.Fatal(err)
		}
		return len(list)
	}
	if toPass() == 0 {
		t.Error("a passed one wants nothing of a door of which nothing was read")
	}
	for i, body := range passing() {
		if body.Conclusion == nil {
			put(i+3, body)
		}
	}
	if got := toPass(); got != 0 {
		t.Errorf("everything was read, and %d things are wanting", got)
	}
}

func TestWhatWasReadOfTheWholeDoorIsReadAtEachOfItsLeavesAndSides(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.lawless(t)
	visit, put, wants := a.walk(t)
	put(0, madeSafe())
	for i, body := range passing() { // of the whole door, as the client of a device may send it
		if body.Conclusion == nil {
			put(i+1, body)
		}
	}
	several := 0
	for _, s := range a.form(t, visit).Stations {
		for _, i := range s.Items {
			for _, p := range i.Places {
				if i.Needed() && (p.Leaf > 0 || p.Side != "") {
					if several++; !p.Covered || !p.Said() {
						t.Errorf("%s of leaf %d, side %q counts as not read", i.Kind.Name, p.Leaf, p.Side)
					}
				}
			}
		}
	}
	if list := wants(); several == 0 || len(list) != 0 {
		t.Errorf("of %d places, there is wanting %+v", several, list)
	}
}

func TestAReadingThatIsTakenInsteadOfAComputedOneIsOfferedAndJudged(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.lawless(t)
	a.nowChanged(t, func(d *fleet.DoorFacts) {
		d.Kind, d.Energy, d.RuleBasis.PackID = "swinging", "low", "a156.19@2013"
		d.A.Activation, d.B.Activation, d.PresenceBy = "knowing_act", "knowing_act", "none"
		for i := range d.Leaves {
			d.Leaves[i].Motion, d.Leaves[i].Hinge, d.Leaves[i].OpensTowards = "swing", "left", "b"
		}
	})
	visit, put, _ := a.walk(t)
	put(0, madeSafe())
	energy := item(t, a.form(t, visit), "kinetic_energy_j")
	if energy.Rules != nil || len(energy.Instead) == 0 || energy.Needed() {
		t.Fatalf("the energy is offered as %+v", energy)
	}
	r := measured("kinetic_energy_j", 40) // far above every limit that any of the packs has for a closing leaf
	put(5, r)
	said := item(t, a.form(t, visit), "kinetic_energy_j").Places
	if len(said) == 0 || !slices.ContainsFunc(said, func(p fleet.FormPlace) bool {
		return slices.ContainsFunc(p.Entered, func(r fleet.FormReading) bool {
			return slices.ContainsFunc(r.Verdicts, func(v fleet.FormVerdict) bool { return v.Outcome == rulebook.Failed })
		})
	}) {
		t.Errorf("an energy of 40 J is judged %+v", said)
	}
}
