package fleet_test

import (
	"strings"
	"testing"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/rulebook"
)

// madeSafe is the work place made safe as it usually is.
func madeSafe() fleet.EntryBody {
	return fleet.EntryBody{Kind: "safe_work", SafeWork: &fleet.EntrySafeWork{Traffic: "barriered", Power: "isolated", Ladder: "stands_safe", SecondPerson: "there"}}
}

// tried is a function test of a door that latches nowhere, with one answer for everything else.
func tried(answer string) fleet.EntryBody {
	return fleet.EntryBody{Kind: "function_test", FunctionTest: &fleet.EntryFunctionTest{Activation: answer, Presence: answer, Contact: answer, ByHand: answer, Modes: answer,
		Latching: "does_not_apply", FreeOfNoise: answer}}
}

func leftOut(name, reason string) fleet.EntryBody {
	return fleet.EntryBody{Kind: "left_out", LeftOut: &fleet.EntryLeftOut{Name: name, Reason: reason, Why: "the header is bricked in"}}
}

func adjusted(touched ...rulebook.Group) fleet.EntryBody {
	return fleet.EntryBody{Kind: "adjustment", Adjustment: &fleet.EntryAdjustment{What: "set it slower", Touched: touched}}
}

func TestAPieceOfAnInspectionThatCannotBeRightChangesNothing(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	before := a.everything(t)
	safe := func(change func(*fleet.EntrySafeWork)) fleet.EntryBody {
		b := madeSafe()
		change(b.SafeWork)
		return b
	}
	read := func(body fleet.EntryBody, change func(*fleet.EntryReading)) fleet.EntryBody {
		change(body.Reading)
		return body
	}
	for name, c := range map[string]struct {
		body fleet.EntryBody
		want []string
	}{
		"nothing said of safe work": {fleet.EntryBody{Kind: "safe_work", SafeWork: &fleet.EntrySafeWork{}}, []string{"word_unknown at /safe_work/traffic",
			"word_unknown at /safe_work/power", "word_unknown at /safe_work/ladder", "word_unknown at /safe_work/second_person"}},
		"power on for no reason":     {safe(func(s *fleet.EntrySafeWork) { s.Power = "stayed_on" }), []string{"text_missing at /safe_work/power_why"}},
		"alone for no reason":        {safe(func(s *fleet.EntrySafeWork) { s.SecondPerson = "not_needed" }), []string{"text_missing at /safe_work/second_person_why"}},
		"going on among people":      {safe(func(s *fleet.EntrySafeWork) { s.Traffic = "not_kept_away" }), []string{"unsafe_not_stopped at /safe_work/traffic"}},
		"going on as it is not safe": {safe(func(s *fleet.EntrySafeWork) { s.Ladder, s.SecondPerson = "not_safe", "missing" }), []string{"unsafe_not_stopped at /safe_work/ladder", "unsafe_not_stopped at /safe_work/second_person"}},
		"stopped at great length":    {safe(func(s *fleet.EntrySafeWork) { s.Stopped = strings.Repeat("x", 2001) }), []string{"text_length at /safe_work/stopped"}},
		"left out for no reason":     {fleet.EntryBody{Kind: "left_out", LeftOut: &fleet.EntryLeftOut{Name: "hold_open_s", Reason: "no_time"}}, []string{"word_unknown at /left_out/reason", "text_missing at /left_out/why"}},
		"left out what nobody reads": {leftOut("temperature_k", "refused"), []string{"reading_unknown at /left_out/name"}},
		"left out at no such leaf": {func() fleet.EntryBody { b := leftOut("hold_open_s", "refused"); b.LeftOut.Leaf = 3; return b }(),
			[]string{"leaf_not_of_door at /left_out/leaf"}},
		"adjusted in no words":      {fleet.EntryBody{Kind: "adjustment", Adjustment: &fleet.EntryAdjustment{}}, []string{"text_missing at /adjustment/what"}},
		"adjusted what is no group": {adjusted("paint", "motion", "motion"), []string{"word_unknown at /adjustment/touched/0", "named_twice at /adjustment/touched/2"}},
		"mended what is no group": {func() fleet.EntryBody { b := mended(a.id()); b.Mending.Touched = []rulebook.Group{"paint"}; return b }(),
			[]string{"word_unknown at /mending/touched/0"}},
		"a test with one answer missing": {func() fleet.EntryBody { b := tried("yes"); b.FunctionTest.Modes = ""; return b }(), []string{"word_unknown at /function_test/modes"}},
		"a test of nothing":              {tried("does_not_apply"), []string{"nothing_tried at /function_test"}},
		"an uncertainty of nothing":      {read(measured("hold_open_s", 2), func(r *fleet.EntryReading) { r.Uncertainty = p(0.0) }), []string{"uncertainty_impossible at /reading/uncertainty"}},
		"an uncertainty beyond reading":  {read(measured("hold_open_s", 2), func(r *fleet.EntryReading) { r.Uncertainty = p(301.0) }), []string{"uncertainty_impossible at /reading/uncertainty"}},
		"an uncertain answer":            {read(answered("walk_test_passed", true), func(r *fleet.EntryReading) { r.Uncertainty = p(0.1) }), []string{"uncertainty_impossible at /reading/uncertainty"}},
		"an instrument that nobody knows": {read(measured("hold_open_s", 2), func(r *fleet.EntryReading) { r.InstrumentID = p(a.id()) }),
			[]string{"instrument_not_found at /reading/instrument_id"}},
		"an answer read off an instrument": {read(answered("walk_test_passed", true), func(r *fleet.EntryReading) { r.InstrumentID = p(a.id()) }),
			[]string{"instrument_of_answer at /reading/instrument_id"}},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := a.PutEntry(t.Context(), technician, visit, a.id(), a.at(5, c.body))
			wantFault(t, err, c.want...)
			if a.everything(t) != before {
				t.Error("something changed")
			}
		})
	}
}

func TestWhatAnInspectorDoesAtADoorIsKeptAsItWasSaid(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	stopped := madeSafe()
	stopped.SafeWork = &fleet.EntrySafeWork{Traffic: "not_kept_away", Power: "stayed_on", PowerWhy: "nobody has the key", Ladder: "not_safe", SecondPerson: "missing", Stopped: "the hall is full"}
	uncertain := measured("closing_force_n", 90)
	uncertain.Reading.Uncertainty = p(4.5)
	sent := []fleet.EntryBody{stopped, madeSafe(), uncertain, leftOut("breakout_force_n", "not_possible"), adjusted(rulebook.Motion), tried("yes")}
	for i, body := range sent {
		a.append(t, visit, a.at(1+i, body))
	}
	_, entries, err := a.Visit(t.Context(), technician, visit)
	if err != nil || len(entries) != len(sent) {
		t.Fatal(len(entries), err)
	}
	for i, e := range entries {
		if said, is := string(e.Canonical), sent[i].Kind; !strings.Contains(said, `"kind":"`+is+`"`) {
			t.Errorf("%s was kept as %s", is, said)
		}
	}
	if got := entries[0].Body.SafeWork; *got != *stopped.SafeWork {
		t.Errorf("kept is %+v", *got)
	}
	if got := entries[2].Body.Reading.Uncertainty; got == nil || *got != 4.5 {
		t.Error("the uncertainty is gone")
	}
}
