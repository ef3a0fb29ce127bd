package fleet_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/trend"
)

// newDrifting is a door whose inspector's certificate never expires and that nobody has changed.
func newDrifting(t testing.TB) attended {
	t.Helper()
	a := newAttended(t)
	if _, err := a.db.Admin.Exec(t.Context(), "update qualification set valid_until = '2060-01-01'"); err != nil {
		t.Fatal(err)
	}
	return a
}

// yearly is one inspection in which the closing force was read as given, before everything else; then a year passes.
func (a attended) yearly(t *testing.T, forces ...fleet.EntryBody) {
	t.Helper()
	rest := slices.DeleteFunc(allRead(), func(b fleet.EntryBody) bool { return b.Reading.Name == "closing_force_n" })
	if err := a.inspection(t, technician, append(append(forces, rest...), concluded("passed"))...); err != nil {
		t.Fatal(err)
	}
	a.pass(365 * 24 * time.Hour)
}

func (a attended) force(t testing.TB) fleet.Series {
	t.Helper()
	return a.series(t, "closing_force_n")
}

func (a attended) series(t testing.TB, reading string) fleet.Series {
	t.Helper()
	trends, err := a.Trends(t.Context(), dispatcher, a.door.DoorID)
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(trends.Series, func(s fleet.Series) bool { return s.Reading == reading })
	if i < 0 {
		t.Fatalf("no series of %s: %+v", reading, trends.Series)
	}
	return trends.Series[i]
}

func (a attended) expected(t testing.TB) []fleet.ExpectedCrossing {
	t.Helper()
	list, err := a.ExpectedCrossings(t.Context(), dispatcher, fleet.CrossingQuery{Until: day("2060-01-01"), Limit: 10})
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// Five newtons a year from 90 N: 30 lbf, which is 133.447 N (international pound, standard gravity), is reached 8.689 years of 365 days after the first reading.
func TestADriftTowardsALimitIsToldWithItsDay(t *testing.T) {
	t.Parallel()
	a := newDrifting(t)
	for i := range 4 {
		a.yearly(t, measured("closing_force_n", 90+5*float64(i)))
	}
	if s := a.force(t); s.Trend.Reason != trend.FewPoints || s.Trend.Line != nil || len(s.Points) != 4 || len(a.expected(t)) != 0 {
		t.Errorf("after four: %q of %d points, %v", s.Trend.Reason, len(s.Points), a.expected(t))
	}
	a.yearly(t, measured("closing_force_n", 110))
	s := a.force(t)
	want := day("2026-03-03").AddDays(3172)
	c := s.Trend.Crossing
	if c == nil || c.Likely != want || !c.AtMost || math.Abs(c.Bound-133.447) > 0.0005 || s.Limit.Advice || len(s.Limit.Rules) != 1 || s.Limit.Rules[0].RuleID == "" {
		t.Fatalf("%q %+v of %+v, want %s", s.Trend.Reason, c, s.Limit, want)
	}
	list := a.expected(t)
	if len(list) != 1 || list[0].LikelyOn != want || list[0].DoorName != "Main" || list[0].SiteName != "Mill" || list[0].LastValue != 110 || list[0].Tag != a.door.Tag {
		t.Errorf("the office's list: %+v", list)
	}
	for q, n := range map[fleet.CrossingQuery]int{{Until: want, Limit: 10}: 1, {Until: want.AddDays(-1), Limit: 10}: 0, {Until: want, SiteID: a.id(), Limit: 10}: 0,
		{Until: want, Limit: 10, After: fleet.CrossingKey{Likely: want, DoorID: a.door.DoorID, Reading: "closing_force_n"}}: 0} {
		if list, err := a.ExpectedCrossings(t.Context(), dispatcher, q); err != nil || len(list) != n {
			t.Errorf("%+v: %d lines, %v; want %d", q, len(list), err, n)
		}
	}
}

func TestWhatTheOfficeExpectsIsNotForOutsiders(t *testing.T) {
	t.Parallel()
	a := newDrifting(t)
	for i := range 5 {
		a.yearly(t, measured("closing_force_n", 90+5*float64(i)))
	}
	if len(a.expected(t)) != 1 {
		t.Fatal("nothing is expected")
	}
	if list, err := a.ExpectedCrossings(t.Context(), agentOf(a.site.CustomerID), fleet.CrossingQuery{Until: day("2060-01-01"), Limit: 10}); err == nil || len(list) != 0 {
		t.Errorf("an agent was shown %v, %v", list, err)
	}
}

// A sensor that is set otherwise watches another piece of floor, and the door closes as hard as before.
func TestAChangeOfTheDoorEndsWhatWasExpectedOfWhatItTouched(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		first, change []fleet.EntryBody
		force, zone   bool // the change is one of the force, of the zone
	}{
		"settings left as they were found change nothing":    {nil, []fleet.EntryBody{newSet(0, "found"), newSet(0, "left")}, false, false},
		"settings left otherwise":                            {[]fleet.EntryBody{newSet(0, "found")}, []fleet.EntryBody{newSet(-3, "left")}, false, true},
		"settings found otherwise than they were left":       {[]fleet.EntryBody{newSet(0, "found")}, []fleet.EntryBody{newSet(-3, "found")}, false, true},
		"settings of which nobody knows how they were found": {nil, []fleet.EntryBody{newSet(0, "left")}, false, true},
		"an operator":         {nil, []fleet.EntryBody{newPart("operator")}, true, false},
		"a control":           {nil, []fleet.EntryBody{newPart("control")}, true, true},
		"a safety device":     {nil, []fleet.EntryBody{newPart("safety_device")}, false, true},
		"seals and rollers":   {nil, []fleet.EntryBody{newPart("consumable")}, true, false},
		"the motion adjusted": {nil, []fleet.EntryBody{adjusted(rulebook.Motion)}, true, false},
		"something adjusted":  {nil, []fleet.EntryBody{adjusted()}, true, true},
		"a note":              {nil, []fleet.EntryBody{note("swept")}, false, false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			a := newDrifting(t)
			own := func(list []fleet.EntryBody) []fleet.EntryBody {
				list = slices.Clone(list)
				for i, b := range list {
					switch {
					case b.Settings != nil:
						list[i] = a.set(b.Settings.Standing, *b.Settings.Device.Settings.ReachDB.Value)
					case b.Part != nil && b.Part.Kind != "consumable":
						part := *b.Part
						part.ComponentID = p(a.id())
						list[i].Part = &part
					}
				}
				return list
			}
			a.yearly(t, append(own(c.first), measured("closing_force_n", 90), measured("presence_zone_depth_m", 1.5))...)
			for i := range 4 {
				a.yearly(t, measured("closing_force_n", 95+5*float64(i)), measured("presence_zone_depth_m", 1.5))
			}
			if len(a.expected(t)) != 1 {
				t.Fatal("nothing was expected before")
			}
			visit := a.open(t) // entries act when accepted
			for i, b := range own(c.change) {
				a.append(t, visit, a.at(1+i, b))
			}
			for reading, changed := range map[string]bool{"closing_force_n": c.force, "presence_zone_depth_m": c.zone} {
				if s := a.series(t, reading); (len(s.Changes) == 1) != changed || (s.Trend.Reason == trend.FewPoints) != changed || len(s.Points) != 5 {
					t.Errorf("%s: changes %+v, %q, %d points", reading, s.Changes, s.Trend.Reason, len(s.Points))
				}
			}
			if list := a.expected(t); (len(list) == 0) != c.force {
				t.Errorf("expected: %+v", list)
			}
		})
	}
}

// newSet and newPart stand for a change until the door is there whose device it is of.
func newSet(reachDB float64, standing string) fleet.EntryBody {
	return fleet.EntryBody{Kind: "settings", Settings: &fleet.EntrySettings{Standing: standing, Device: fleet.DeviceFacts{Settings: fleet.Settings{ReachDB: fleet.Q(reachDB, fleet.Measured)}}}}
}

func newPart(kind string) fleet.EntryBody {
	return fleet.EntryBody{Kind: "part", Part: &fleet.EntryPart{Did: "fitted", Kind: kind, ModelText: "K2", Side: "none", Quantity: 1}}
}

func TestAnInspectionCountsWithItsWorstReadingAndEachPlaceByItself(t *testing.T) {
	t.Parallel()
	a := newDrifting(t)
	a.yearly(t, measured("closing_force_n", 88), measured("closing_force_n", 92), measured("closing_force_n", 90), atLeaf(1, measured("closing_force_n", 70)))
	if s := a.force(t); len(s.Points) != 1 || s.Points[0].Value != 92 || s.Points[0].Day != day("2026-03-03") {
		t.Errorf("%+v", s.Points)
	}
	trends, err := a.Trends(t.Context(), dispatcher, a.door.DoorID)
	if err != nil {
		t.Fatal(err)
	}
	var leaves []int
	for _, s := range trends.Series {
		if s.Reading == "closing_force_n" {
			leaves = append(leaves, s.Leaf)
		}
	}
	if !slices.Equal(leaves, []int{0, 1}) {
		t.Errorf("series at leaves %v", leaves)
	}
}

func TestOnlyWhatSignedInspectionsReadCounts(t *testing.T) {
	t.Parallel()
	a := newDrifting(t)
	for i := range 5 {
		a.yearly(t, measured("closing_force_n", 90+5*float64(i)))
	}
	last := a.expected(t)
	visit := a.open(t)
	pieces := []piece{a.append(t, visit, a.at(0, madeSafe()))}
	wrong := a.append(t, visit, a.at(1, measured("closing_force_n", 20)))
	if s := a.force(t); len(s.Points) != 5 || !slices.Equal(a.expected(t), last) {
		t.Errorf("a reading that nobody signed counts: %+v", s.Points)
	}
	pieces = append(pieces, wrong)
	for i, b := range []fleet.EntryBody{correcting(wrong.entry, measured("closing_force_n", 115)), note("mistyped")} {
		pieces = append(pieces, a.append(t, visit, a.at(2+i, b)))
	}
	for i, b := range passing() {
		if b.Reading != nil && b.Reading.Name == "closing_force_n" {
			continue
		}
		pieces = append(pieces, a.append(t, visit, a.at(4+i, b)))
	}
	if _, _, err := a.PutSignOff(t.Context(), technician, visit, a.signOff(t, visit, pieces)); err != nil {
		t.Fatal(err)
	}
	if s := a.force(t); len(s.Points) != 6 || s.Points[5].Value != 115 {
		t.Errorf("%+v", s.Points)
	}
	if now := a.expected(t); len(now) != 1 || now[0].LastValue != 115 {
		t.Errorf("%+v", now)
	}
}

func TestAnotherRuleBasisMovesTheDay(t *testing.T) {
	t.Parallel()
	a := newDrifting(t)
	for i := range 5 {
		a.yearly(t, measured("closing_force_n", 90+5*float64(i)))
	}
	if len(a.expected(t)) != 1 {
		t.Fatal("nothing was expected")
	}
	a.changed(t, func(d *fleet.DoorFacts) { d.RuleBasis = fleet.RuleBasis{} })
	if s := a.force(t); s.Trend.Reason != trend.NoLimit || s.Trend.Line == nil || len(a.expected(t)) != 0 {
		t.Errorf("without a basis: %q, %+v", s.Trend.Reason, a.expected(t))
	}
}

func TestWhatADeviceWatchedIsShownOverTheYears(t *testing.T) {
	t.Parallel()
	a := newDrifting(t)
	visit := a.open(t)
	a.append(t, visit, a.at(1, a.set("found", 0)))
	a.append(t, visit, a.at(2, a.set("left", -6)))
	trends, err := a.Trends(t.Context(), dispatcher, a.door.DoorID)
	if err != nil {
		t.Fatal(err)
	}
	if len(trends.Fields) != 1 || trends.Fields[0].ComponentID != a.sensor.ComponentID || len(trends.Fields[0].Points) != 2 {
		t.Fatalf("%+v", trends.Fields)
	}
	was, is := trends.Fields[0].Points[0], trends.Fields[0].Points[1]
	if was.AreaM2 == nil || is.AreaM2 == nil || *is.AreaM2 >= *was.AreaM2 || was.Standing != "found" || is.Standing != "left" || !was.EffectiveAt.Before(is.EffectiveAt) {
		t.Errorf("with full reach %+v, with less %+v", was, is)
	}
}

func TestADayInTheSitesZoneIsThePointsDay(t *testing.T) {
	t.Parallel()
	a := newDrifting(t)
	a.now = time.Date(2026, 4, 2, 2, 0, 0, 0, time.UTC) // the evening before in California
	a.yearly(t, measured("closing_force_n", 90))
	if s := a.force(t); len(s.Points) != 1 || s.Points[0].Day != day("2026-04-01") {
		t.Errorf("%+v", s.Points)
	}
}

// work is what the server does each minute with what is to be computed anew.
func (r *rig) work(t testing.TB) {
	t.Helper()
	if err := r.EnsureRecomputation(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := r.RecomputeAll(t.Context(), quietly); err != nil {
		t.Fatal(err)
	}
}

// recomputedFor tells what was asked for because of the company's packs, oldest first.
func (r *rig) recomputedFor(t *testing.T) (list []string) {
	t.Helper()
	for _, one := range slices.Backward(r.recomputations(t)) {
		if one.Why == fleet.RecomputePacks {
			list = append(list, one.Detail)
		}
	}
	return list
}

// Five newtons a year from 90 N, so 110 N after the fifth: the house allows 120 N from a day on, which is reached before 30 lbf is.
func TestTheOfficesListFollowsAPackOfTheCompanysFromTheDayOnThatItJudges(t *testing.T) {
	t.Parallel()
	a := newDrifting(t)
	for i := range 5 {
		a.yearly(t, measured("closing_force_n", 90+5*float64(i)))
	}
	a.work(t)
	bound := func() float64 {
		t.Helper()
		list := a.expected(t)
		if len(list) != 1 {
			t.Fatalf("%+v", list)
		}
		return list[0].Bound
	}
	shipped := bound()
	if math.Abs(shipped-133.447) > 0.0005 || len(a.recomputedFor(t)) != 0 {
		t.Fatalf("%g N, asked for %q", shipped, a.recomputedFor(t))
	}

	// 2 March 2031, nine in the morning UTC, one at night in Los Angeles; the pack judges from the third on.
	a.now = time.Date(2031, 3, 2, 9, 0, 0, 0, time.UTC)
	a.late = 0
	a.addPack(t, "house@1", edition("1", "120"))
	a.activate(t, "house@1", "2031-03-03")
	a.work(t)
	if got := bound(); got != shipped || len(a.recomputedFor(t)) != 0 {
		t.Errorf("before its day: %g N, asked for %q", got, a.recomputedFor(t))
	}
	a.now = time.Date(2031, 3, 3, 7, 59, 0, 0, time.UTC) // a minute before midnight there
	a.work(t)
	if got := bound(); got != shipped {
		t.Errorf("before midnight at the site: %g N", got)
	}
	a.pass(2 * time.Minute)
	a.work(t)
	if got := bound(); got != 120 {
		t.Errorf("on its day: %g N", got)
	}
	a.work(t) // nothing new
	if got := a.recomputedFor(t); !slices.Equal(got, []string{"house@1"}) {
		t.Errorf("asked for %q", got)
	}

	// It ends, and the limit of the standard is what the door drifts to again.
	if _, _, err := a.PutPackActivation(t.Context(), administrator, fleet.PackActivation{ActivationID: a.id(), PackName: "house", From: day("2031-03-04"), Why: "tried"}); err != nil {
		t.Fatal(err)
	}
	a.pass(24 * time.Hour)
	a.work(t)
	if got := bound(); got != shipped || !slices.Equal(a.recomputedFor(t), []string{"house@1", "none"}) {
		t.Errorf("after its end: %g N, asked for %q", got, a.recomputedFor(t))
	}

	// Another site lives by another clock: the day of an edition begins there first.
	a.siteIn(t, a.site.CustomerID, "Quay", "Pacific/Auckland")
	a.addPack(t, "house@2", edition("2", "121"))
	a.activate(t, "house@2", "2031-03-05")
	a.now = time.Date(2031, 3, 4, 12, 0, 0, 0, time.UTC) // one at night of the fifth in Auckland
	a.work(t)
	if got := bound(); got != shipped {
		t.Errorf("before midnight at the site: %g N", got)
	}
	a.now = time.Date(2031, 3, 5, 8, 1, 0, 0, time.UTC)
	a.work(t)
	if got := bound(); got != 121 {
		t.Errorf("after midnight at the site: %g N", got)
	}
	if got := a.recomputedFor(t); !slices.Equal(got, []string{"house@1", "none", "house@2 in Pacific/Auckland; none in America/Los_Angeles", "house@2"}) {
		t.Errorf("asked for %q", got)
	}
}

// What another program, with other packs, wrote into the office's list is written anew by this one.
func TestTheOfficesListIsWrittenAnewByAProgramWithOtherPacks(t *testing.T) {
	t.Parallel()
	a := newDrifting(t)
	for i := range 5 {
		a.yearly(t, measured("closing_force_n", 90+5*float64(i)))
	}
	want := a.expected(t)
	if _, err := a.db.Admin.Exec(t.Context(), "update expected_crossing set bound = 99, likely_on = '2059-01-01', latest_on = null"); err != nil {
		t.Fatal(err)
	}
	a.work(t)
	got := a.expected(t)
	if len(got) != 1 || got[0].Bound != want[0].Bound || got[0].LikelyOn != want[0].LikelyOn || got[0].LatestOn != want[0].LatestOn {
		t.Errorf("%+v\nwant\n%+v", got, want)
	}
}
