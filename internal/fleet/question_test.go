package fleet_test

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/rulebook"
)

// askingPack asks one question of each kind at a door that opens by full energy. Invented.
const askingPack = `id: asks@1
title: "Our questions"
caution: "Invented for tests."
standard: "Our questions"
edition: "1"
role: company
jurisdiction: any
applies_to: {kinds: [sliding], energies: [full]}
questions:
  - {id: keys-handed, title: "Keys handed over", asks: "The keys were handed over.", answer: yes_no, station: papers, required: true, wanted: ["yes"], severity: deficient, standing: common_practice, source: {note: we ask}}
  - {id: mat-gap, title: "Gap beside the mat", asks: "The gap is 12 mm or less.", answer: number, unit: m, least: 0, most: 1, station: doorway, limit: {at_most: 12, unit: mm}, severity: unsafe, standing: common_practice, source: {note: we ask}}
  - {id: glass, title: "State of the glass", asks: "How the glass is.", answer: choice, choices: [whole, scratched, cracked], each: leaf, station: doorway, wanted: [whole, scratched], severity: advisory, standing: common_practice, source: {note: we ask}}
  - {id: told, title: "What was told", asks: "What people tell of the door.", answer: text, station: papers, severity: none, standing: common_practice, source: {note: we ask}}
`

func saidOf(name, question, text string) fleet.EntryBody {
	return fleet.EntryBody{Kind: "reading", Reading: &fleet.EntryReading{Name: name, Question: question, Text: text}}
}

func keys(yes bool) fleet.EntryBody {
	e := answered("own.keys_handed", yes)
	e.Reading.Question = "Keys handed over"
	return e
}

func gap(m float64) fleet.EntryBody {
	e := measured("own.mat_gap_m", m)
	e.Reading.Question = "Gap beside the mat"
	return e
}

// withQuestions is a door at which the company asks its own questions.
func withQuestions(t testing.TB) attended {
	a := newAttended(t)
	a.addPack(t, "asks@1", askingPack)
	a.activate(t, "asks@1", "2026-03-03")
	return a
}

func TestACompanysQuestionsStandInTheFormAtTheirStations(t *testing.T) {
	t.Parallel()
	a := withQuestions(t)
	var got []string
	for _, s := range a.form(t, a.open(t)).Stations {
		for _, i := range s.Items {
			if rulebook.IsOwn(i.Kind.Name) {
				got = append(got, fmt.Sprint(s.Station, " ", i.Kind.Title, " ", i.Kind.Kind, " ", len(i.Places), " ", i.Needed()))
			}
		}
	}
	want := []string{"papers Keys handed over yes_no 1 true", "papers What was told text 1 false", "doorway Gap beside the mat number 1 false", "doorway State of the glass choice 2 false"}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("%q\nwant %q", got, want)
	}
}

func TestAnswersToACompanysQuestionsDecideWhetherADoorPasses(t *testing.T) {
	t.Parallel()
	a := withQuestions(t)
	for name, c := range map[string]struct {
		said []fleet.EntryBody
		want string // fault; "" when it passes
		says string
	}{
		"nothing":          {nil, "readings_missing", "own.keys_handed"},
		"what is needed":   {[]fleet.EntryBody{keys(true)}, "", ""},
		"the wrong answer": {[]fleet.EntryBody{keys(false)}, "passed_against_rules", "keys-handed"},
		"too wide":         {[]fleet.EntryBody{keys(true), gap(0.013)}, "passed_against_rules", "mat-gap"},
		"all of it":        {[]fleet.EntryBody{keys(true), gap(0.012), saidOf("own.glass", "State of the glass", "cracked"), saidOf("own.told", "What was told", "It squeaks when it rains.")}, "", ""},
	} {
		err := a.inspection(t, technician, passing(c.said...)...)
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s: %v", name, err)
		case c.want != "" && (!fault.Is(err, c.want) || !strings.Contains(fault.Of(err)[0].Error(), c.says)):
			t.Errorf("%s: %v, want %s of %s", name, err, c.want, c.says)
		}
	}
}

func TestWhatIsNoAnswerToAQuestionIsRefusedAndChangesNothing(t *testing.T) {
	t.Parallel()
	a := withQuestions(t)
	visit := a.open(t)
	before := a.everything(t)
	for name, c := range map[string]struct {
		body fleet.EntryBody
		want string
	}{
		"without the question":       {answered("own.keys_handed", true), "text_missing at /reading/question"},
		"a question of the standard": {fleet.EntryBody{Kind: "reading", Reading: &fleet.EntryReading{Name: "signs_present", Question: "Signs?", Yes: p(true)}}, "question_of_none at /reading/question"},
		"asked otherwise":            {saidOf("own.told", "What was said", "x"), "question_unknown at /reading/question"},
		"nobody's question":          {saidOf("own.nothing", "Nothing", "x"), "question_unknown at /reading/question"},
		"no choice":                  {saidOf("own.glass", "State of the glass", "Whole"), "reading_impossible at /reading/text"},
		"a text for yes or no":       {saidOf("own.keys_handed", "Keys handed over", "yes"), "reading_impossible at /reading/yes"},
		"no number of a door":        {gap(1.5), "reading_impossible at /reading/value"},
		"nothing said":               {saidOf("own.told", "What was told", " \n"), "text_missing at /reading/text"},
		"too much said":              {saidOf("own.told", "What was told", strings.Repeat("x", 1001)), "text_length at /reading/text"},
		"a text of the catalogue":    {fleet.EntryBody{Kind: "reading", Reading: &fleet.EntryReading{Name: "signs_present", Text: "yes"}}, "reading_impossible at /reading/yes"},
		"left out, asked otherwise":  {fleet.EntryBody{Kind: "left_out", LeftOut: &fleet.EntryLeftOut{Name: "own.told", Question: "x", Reason: "refused", Why: "x"}}, "question_unknown at /left_out/question"},
		"left out, not asked":        {fleet.EntryBody{Kind: "left_out", LeftOut: &fleet.EntryLeftOut{Name: "own.told", Reason: "refused", Why: "x"}}, "text_missing at /left_out/question"},
	} {
		_, _, err := a.PutEntry(t.Context(), technician, visit, a.id(), a.at(1, c.body))
		var got []string
		for _, f := range fault.Of(err) {
			got = append(got, f.Code+" at "+f.Pointer)
		}
		if len(got) == 0 || got[0] != c.want {
			t.Errorf("%s: %q %v, want %s", name, got, err, c.want)
		}
	}
	if after := a.everything(t); after != before {
		t.Error("something was kept")
	}
	for _, body := range []fleet.EntryBody{saidOf("own.glass", "State of the glass", "cracked"), {Kind: "left_out", LeftOut: &fleet.EntryLeftOut{Name: "own.mat_gap_m", Question: "Gap beside the mat", Reason: "not_possible", Why: "A carpet lies there."}}} {
		a.append(t, visit, a.at(1, body))
	}
}

// A later edition asks otherwise; what was answered before stays an answer to what was asked, and may be sent again.
func TestAnAnswerIsSealedWithTheQuestionAsItWasAsked(t *testing.T) {
	t.Parallel()
	a := withQuestions(t)
	visit := a.open(t)
	sent := a.append(t, visit, a.at(1, keys(true)))
	a.pass(1)
	a.addPack(t, "asks@2", strings.NewReplacer("asks@1", "asks@2", `edition: "1"`, `edition: "2"`, `"Keys handed over"`, `"Keys and cards handed over"`).Replace(askingPack))
	if _, created, err := a.PutEntry(t.Context(), technician, visit, sent.entry, sent.body); err != nil || created {
		t.Error("sent again:", created, err)
	}
	if _, _, err := a.PutEntry(t.Context(), technician, visit, a.id(), a.at(2, keys(true))); err != nil {
		t.Error("the first edition still judges:", err)
	}
	if err := a.inspection(t, technician, passing(keys(true), saidOf("own.told", "What was told", "Nothing."))...); err != nil {
		t.Fatal(err)
	}
	var record struct {
		Entries []struct {
			Entry struct {
				Reading *fleet.EntryReading
			}
		}
		Judged []struct {
			Beside   string
			Verdicts []rulebook.Verdict
		}
	}
	var canonical []byte
	if err := a.db.Admin.QueryRow(t.Context(), "select canonical from record_log where kind = 'visit'").Scan(&canonical); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(canonical, &record); err != nil {
		t.Fatal(err)
	}
	asked := map[string]string{}
	for _, e := range record.Entries {
		if r := e.Entry.Reading; r != nil && rulebook.IsOwn(r.Name) {
			asked[r.Name] = r.Question + " " + r.Text
		}
	}
	if asked["own.keys_handed"] != "Keys handed over " || asked["own.told"] != "What was told Nothing." {
		t.Errorf("%q", asked)
	}
	var verdicts []string
	for _, j := range record.Judged {
		for _, v := range j.Verdicts {
			if j.Beside == "company" {
				verdicts = append(verdicts, fmt.Sprint(v.RuleID, " ", v.Outcome, " ", v.Reason, len(v.Readings)))
			}
		}
	}
	if got, want := strings.Join(verdicts, ", "), "keys-handed passed 1, told passed 1"; got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
}

func TestAnswersStandInReportAndCertificate(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	a.addPack(t, "asks@1", askingPack)
	a.activate(t, "asks@1", "2026-03-03")
	a.inspected(t, passing(keys(true), gap(0.01), saidOf("own.glass", "State of the glass", "scratched"), saidOf("own.told", "What was told", "It squeaks."))...)
	for _, kind := range []string{fleet.KindDoor, fleet.KindCertificate} {
		r := a.make(t, dispatcher, fleet.ReportAsk{Kind: kind, DoorID: a.door.DoorID})
		text := string(r.Canonical)
		for _, part := range []string{`"title":"What was told"`, `"text":"It squeaks."`, `"text":"scratched"`, `"title":"Keys handed over"`, `"title":"Our questions"`} {
			if !strings.Contains(text, part) {
				t.Errorf("%s: no %s", kind, part)
			}
		}
		for _, print := range r.Prints {
			if print.Form == "pdf" {
				continue
			}
			for _, part := range []string{"It squeaks.", "scratched", "What was told", "answered"} {
				if text := string(print.Bytes); len(text) > 0 && !strings.Contains(text, part) && !(print.Form == "csv" && (part == "What was told" || part == "answered")) {
					t.Errorf("%s as %s: no %s", kind, print.Form, part)
				}
			}
		}
	}
}

func TestAQuestionUnderTheNameOfAnotherPacksIsRefused(t *testing.T) {
	t.Parallel()
	a := withQuestions(t)
	text := strings.NewReplacer("asks@1", "more@1", "Our questions", "More questions").Replace(askingPack)
	_, _, err := a.PutCompanyPack(t.Context(), administrator, fleet.CompanyPack{PackID: "more@1", Text: text})
	if list := fault.Of(err); len(list) != 4 || list[0].Code != "question_taken" || list[0].Pointer != "/text" {
		t.Errorf("%v", err)
	}
}

func TestAReplaySaysWhatAQuestionWouldHaveWanted(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	if err := a.inspection(t, technician, passing()...); err != nil {
		t.Fatal(err)
	}
	_, sum, changed := a.replay(t, fleet.ReplayAsk{Pack: packOf(t, askingPack)}, fleet.ReplayCursor{})
	if sum.Judged != 1 || len(changed) != 1 || !strings.Contains(changed[0], "passed>incomplete keys-handed not_judged[own.keys_handed]") {
		t.Errorf("%+v %q", sum, changed)
	}
}
