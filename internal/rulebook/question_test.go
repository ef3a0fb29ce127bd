package rulebook

import (
	"fmt"
	"slices"
	"strings"
	"testing"
)

// askingPack is a company's pack with a question of each kind. Invented.
const askingPack = `id: house@1
title: House rules
caution: Invented.
standard: House rules
edition: "1"
role: company
jurisdiction: any
applies_to: {kinds: [sliding], energies: [full]}
questions:
  - id: handle-tight
    title: Handle tight
    asks: The handle is tight.
    answer: yes_no
    station: doorway
    required: true
    wanted: ["yes"]
    severity: deficient
    standing: common_practice
    source: {note: we ask it}
  - id: mat-depth
    title: Mat, depth
    asks: The mat is 1 m deep or deeper.
    answer: number
    unit: m
    least: 0
    most: 5
    station: approach
    limit: {at_least: 1000, unit: mm}
    severity: advisory
    standing: common_practice
    source: {note: we ask it}
  - id: glass
    title: State of the glass
    asks: How the glass is.
    answer: choice
    choices: [whole, scratched, "cracked, \"held\""]
    station: doorway
    when: egress
    wanted: [whole, scratched]
    severity: unsafe
    standing: common_practice
    source: {note: we ask it}
  - id: said
    title: What the caretaker said
    asks: What the caretaker says of the door.
    answer: text
    station: papers
    required: true
    severity: none
    standing: common_practice
    source: {note: we ask it}
rules:
  - id: mat-and-handle
    title: Mat or handle
    asks: Both are there.
    pass: reading.own.handle_tight && reading.own.glass in ['whole']
    severity: advisory
    standing: common_practice
    source: {note: we ask it}
`

func asking(t testing.TB, replace ...string) *Pack {
	t.Helper()
	p, mistakes, err := Check([]byte(strings.NewReplacer(replace...).Replace(askingPack)))
	if p == nil {
		t.Fatal(mistakes, err)
	}
	return p
}

func said(name, text string) Used { return Used{Name: name, Reading: Reading{Text: text}} }

func TestAQuestionDeclaresAReadingOfTheCompanysOwn(t *testing.T) {
	p := asking(t)
	var got []string
	for _, k := range p.OwnReadings() {
		got = append(got, fmt.Sprint(k.Name, " ", k.Kind, " ", k.Unit, " ", k.Station, " ", k.Each, " ", k.Title))
		if UnitOf(k.Name) != k.Unit || !IsOwn(k.Name) || !IsReading(k.Name) {
			t.Errorf("%s alone says %q", k.Name, UnitOf(k.Name))
		}
	}
	want := []string{"own.handle_tight yes_no  doorway door Handle tight", "own.mat_depth_m number m approach side Mat, depth", "own.glass choice  doorway door State of the glass",
		"own.said text  papers door What the caretaker said"}
	if !slices.Equal(got, want) {
		t.Errorf("%q\nwant %q", got, want)
	}
}

func TestAnAnswerIsJudgedByWhatIsWanted(t *testing.T) {
	p := asking(t)
	facts, _ := slideDoor()
	facts.Egress = new(bool)
	*facts.Egress = true
	tight, loose := Used{Name: "own.handle_tight", Reading: Answered(true)}, Used{Name: "own.handle_tight", Reading: Answered(false)}
	deep, shallow := Used{Name: "own.mat_depth_m", Reading: Measured(1, "m")}, Used{Name: "own.mat_depth_m", Reading: Measured(0.999, "m")}
	unsure := deep
	unsure.Uncertainty = pointerTo(0.01)
	for name, c := range map[string]struct {
		readings []Used
		want     string // of handle-tight, mat-depth, glass, said
		result   Result
	}{
		"all is right":              {[]Used{tight, deep, said("own.glass", "whole"), said("own.said", "it squeaks")}, "passed passed passed passed", InspectionPassed},
		"the other right one":       {[]Used{tight, deep, said("own.glass", "scratched"), said("own.said", "-")}, "passed passed passed passed", InspectionPassed},
		"loose":                     {[]Used{loose, deep, said("own.glass", "whole"), said("own.said", "-")}, "failed passed passed passed", InspectionFailed},
		"shallow is advice":         {[]Used{tight, shallow, said("own.glass", "whole"), said("own.said", "-")}, "passed failed passed passed", InspectionPassed},
		"at the limit, not surely":  {[]Used{tight, unsure, said("own.glass", "whole"), said("own.said", "-")}, "passed undecided passed passed", InspectionPassed},
		"cracked":                   {[]Used{tight, deep, said("own.glass", `cracked, "held"`), said("own.said", "-")}, "passed passed failed passed", InspectionFailed},
		"no choice":                 {[]Used{tight, deep, said("own.glass", "Whole"), said("own.said", "-")}, "passed passed not_judged passed", InspectionIncomplete},
		"what is required unsaid":   {[]Used{tight, deep, said("own.glass", "whole")}, "passed passed passed not_judged", InspectionIncomplete},
		"and unanswered":            {[]Used{said("own.said", "-")}, "not_judged not_applicable not_applicable passed", InspectionIncomplete},
		"the rest left open":        {[]Used{tight, said("own.said", "-")}, "passed not_applicable not_applicable passed", InspectionPassed},
		"a number instead of words": {[]Used{tight, {Name: "own.said", Reading: Measured(3, "")}}, "passed not_applicable not_applicable not_judged", InspectionIncomplete},
		"a word too long":           {[]Used{tight, said("own.said", strings.Repeat("é", LongestAnswer+1))}, "passed not_applicable not_applicable not_judged", InspectionIncomplete},
	} {
		verdicts := p.Judge(facts, c.readings)
		var got []string
		for _, v := range verdicts[1:] {
			got = append(got, string(v.Outcome))
		}
		if strings.Join(got, " ") != c.want || Conclude(verdicts) != c.result {
			t.Errorf("%s: %s, %s; want %s, %s", name, got, Conclude(verdicts), c.want, c.result)
		}
	}
	*facts.Egress = false
	if v := p.Judge(facts, []Used{said("own.glass", "whole")})[3]; v.Outcome != NotApplicable || v.Reason != RuleDoesNotApply {
		t.Errorf("where it is not asked: %+v", v)
	}
}

func TestARequiredQuestionIsWantedWhateverItsSeverity(t *testing.T) {
	p := asking(t, "station: approach\n", "station: approach\n    required: true\n")
	facts, _ := slideDoor()
	verdicts := p.Judge(facts, []Used{{Name: "own.handle_tight", Reading: Answered(true)}, said("own.said", "-")})
	v := verdicts[2]
	if v.RuleID != "mat-depth" || v.Outcome != NotJudged || !v.Counts() || v.Severity != NoSeverity || !slices.Contains(v.Gaps, Gap{"own.mat_depth_m", Missing, "Mat, depth"}) {
		t.Errorf("%+v", v)
	}
	if Conclude(verdicts) != InspectionIncomplete {
		t.Error("passed without it")
	}
}

func TestAsksGivesTheQuestionsThatApply(t *testing.T) {
	p := asking(t)
	facts, _ := slideDoor()
	facts.Egress = new(bool)
	var got []string
	for _, a := range p.Asks(facts) {
		for _, k := range a.Readings {
			got = append(got, a.Rule.ID+" "+k.Name+" "+string(k.Station))
		}
	}
	want := []string{"mat-and-handle own.handle_tight doorway", "mat-and-handle own.glass doorway", "handle-tight own.handle_tight doorway", "mat-depth own.mat_depth_m approach", "said own.said papers"}
	if !slices.Equal(got, want) {
		t.Errorf("%q", got)
	}
}

// questionMistakes spoil askingPack in one place each.
var questionMistakes = []struct {
	name, from, to string
	line, column   int
	what, hint     string // begin so
}{
	{"questions of a standard's pack", "role: company", "role: basis", 10, 3, "questions: only a company's pack asks", "role: company, or take"},
	{"no question", "  - id: handle-tight", "  -\n  - id: handle-tight", 10, 4, "questions: an empty question", "take out the lone -"},
	{"no answer", "    answer: yes_no\n", "", 10, 5, "question handle-tight: answer: required", "add what is missing"},
	{"unknown member", "    title: Handle tight", "    titel: Handle tight", 11, 5, "there is no member titel", "did you mean title?"},
	{"unknown answer", "answer: yes_no", "answer: maybe", 13, 13, `question handle-tight: answer: "maybe": want yes_no, number, choice or text`, "take one of these words"},
	{"unknown station", "station: doorway\n    required", "station: door\n    required", 14, 14, `question handle-tight: station: "door": want papers, approach,`, "take one of these words"},
	{"unknown each", "    required: true\n    wanted", "    each: wing\n    required: true\n    wanted", 15, 11, `question handle-tight: each: "wing": want door, side, leaf or swing`, "take one of these words"},
	{"required a word", "required: true\n    wanted", "required: sometimes\n    wanted", 15, 15, "a text where true or false is wanted", "see the packs"},
	{"id with a capital", "id: handle-tight", "id: Handle", 10, 9, `question Handle: id: id "Handle": want lower-case words, joined by -, the first`, "as in handle-tight"},
	{"id begins with a number", "id: handle-tight", "id: 3-points", 10, 9, `question 3-points: id: id "3-points": want lower-case words, joined by -, the first`, "as in handle-tight"},
	{"id a word of CEL", "id: handle-tight", "id: in", 10, 9, "question in: id: id in: a word of the language", "another id, of two"},
	{"id of a number", "id: handle-tight", "id: handle-s", 10, 9, "question handle-s: id: id handle-s: ends as the name of a number in s does", "another last word"},
	{"id of another rule", "id: mat-and-handle", "id: handle-tight", 10, 9, "question handle-tight: id: id handle-tight: twice in this pack", "every rule"},
	{"asked twice", "id: glass", "id: handle-tight", 32, 9, "question handle-tight: own.handle_tight: twice in this pack", "every rule"},
	{"no unit", "    unit: m\n", "", 20, 5, "question mat-depth: unit: required", "add what is missing"},
	{"no bounds", "    least: 0\n", "", 20, 5, "question mat-depth: least, most: required", "add what is missing"},
	{"unit unknown", "unit: m\n", "unit: ell\n", 24, 11, `question mat-depth: unit: unknown unit "ell"`, "one of s, m"},
	{"unit not of the SI", "unit: m\n", "unit: ft\n", 24, 11, "question mat-depth: unit: ft is no SI unit: write m", "facts and readings are in SI"},
	{"least above most", "least: 0", "least: 6", 25, 12, "question mat-depth: least: 6 to 5: want less than most", "least and most bound"},
	{"least a word", "least: 0", "least: low", 25, 12, "a text where a number is wanted", "see the packs"},
	{"most without end", "most: 5", "most: .inf", 25, 12, "question mat-depth: least: 0 to +Inf: want less than most", "least and most bound"},
	{"at the approach once a door", "station: approach", "station: approach\n    each: door", 28, 11, "question mat-depth: each: at the approach everything is asked once a side", "each: side"},
	{"a limit in seconds", "unit: mm}", "unit: s}", 20, 5, "question mat-depth: measured: is in m, the limit in s", "facts and readings are in SI"},
	{"a limit that nothing breaks", "at_least: 1000", "at_least: 0", 28, 23, "question mat-depth: limit: at_least: own.mat_depth_m is read from 0 to 5000 mm", "look at the number"},
	{"wanted of a number", "limit: {at_least: 1000, unit: mm}", "wanted: [deep]", 28, 13, "question mat-depth: wanted: only yes or no, and a choice, have wanted answers", "limit with at_least"},
	{"a choice without choices", `    choices: [whole, scratched, "cracked, \"held\""]` + "\n", "", 32, 5, "question glass: choices: 0: want 2 to 30", "choices: [good, worn]"},
	{"one choice", `[whole, scratched, "cracked, \"held\""]`, "[whole]", 36, 14, "question glass: choices: 1: want 2 to 30", "choices: [good, worn]"},
	{"a choice twice", `[whole, scratched, "cracked, \"held\""]`, "[whole, scratched, whole]", 36, 33, `question glass: choices: "whole": twice`, "each once"},
	{"an empty choice", `[whole, scratched, "cracked, \"held\""]`, `[whole, ""]`, 36, 22, `question glass: choices: "": want one line of 1 to 80`, "a short text"},
	{"a condition of nothing", "when: egress", "when: true", 38, 11, "question glass: when: names no fact", "leave when out"},
	{"a condition by a reading", "when: egress", "when: reading.own.handle_tight", 38, 11, "question glass: when: undeclared reference to 'reading.own.handle_tight'", "a reading stands in measured or pass"},
	{"a condition misspelt", "when: egress", "when: egres", 38, 11, "question glass: when: undeclared reference to 'egres'", "did you mean egress?"},
	{"wanted that is no choice", "wanted: [whole, scratched]", "wanted: [whole, dirty]", 39, 21, `question glass: wanted: "dirty" is none of the answers: whole, scratched`, "as it stands in choices"},
	{"wanted twice", "wanted: [whole, scratched]", "wanted: [whole, whole]", 39, 21, `question glass: wanted: "whole": twice`, "each once"},
	{"wanted nothing", "wanted: [whole, scratched]", "wanted: []", 39, 13, "question glass: wanted: names no answer", "wanted: [yes]"},
	{"wanted a word", "wanted: [whole, scratched]", "wanted: whole", 39, 13, "a text where a list is wanted", "see the packs"},
	{"all is wanted", "wanted: [whole, scratched]", `wanted: [whole, scratched, "cracked, \"held\""]`, 39, 13, "question glass: wanted: every answer is wanted", "take wanted out"},
	{"wanted and none", "severity: unsafe", "severity: none", 40, 15, "question glass: severity: none, although another answer", "unsafe, deficient"},
	{"unknown severity", "severity: unsafe", "severity: bad", 40, 15, `question glass: severity: "bad": want unsafe, deficient, advisory or none`, "take one of these words"},
	{"recalled", "severity: unsafe\n    standing: common_practice", "severity: unsafe\n    standing: from_memory", 41, 15, "question glass: standing: from_memory: a question", "common_practice, with"},
	{"choices of a text", "answer: text", "answer: text\n    choices: [a, b]", 47, 14, "question said: choices: only a choice has choices", "answer: choice"},
	{"unit of a text", "answer: text", "answer: text\n    unit: m", 47, 11, "question said: unit: only a number has unit", "answer: number"},
	{"limit of a text", "answer: text", "answer: text\n    limit: {at_most: 3, unit: m}", 47, 12, "question said: limit: only a number has a limit", "wanted: [yes]"},
	{"a severity and nothing wrong", "severity: none", "severity: unsafe", 49, 15, "question said: severity: unsafe, although no answer is wrong", "severity: none"},
	{"practice without a note", "severity: none\n    standing: common_practice\n    source: {note: we ask it}", "severity: none\n    standing: common_practice\n    source: {}", 51, 13, "question said: source: note: required", "note: who does it so"},
	{"none of a rule", "    severity: advisory\n    standing: common_practice\n    source: {note: we ask it}\n!", "    severity: none\n    standing: common_practice\n    source: {note: we ask it}\n", 57, 15, "rule mat-and-handle: severity: none is for questions", "unsafe, deficient or advisory"},
	{"a question that is not there", "reading.own.handle_tight &&", "reading.own.handle_tigth &&", 56, 22, "rule mat-and-handle: pass: undeclared reference to 'reading.own.handle_tigth'", "did you mean reading.own.handle_tight?"},
	{"a choice that is not there", "in ['whole']", "in ['broken']", 56, 61, `rule mat-and-handle: pass: reading.own.glass is never "broken"; its values: whole, scratched`, "take one of its values"},
	{"a choice not compared", "in ['whole']", ".startsWith('w')", 56, 50, "rule mat-and-handle: pass: reading.own.glass may only be compared", "write NAME =="},
	{"what was written, judged", "reading.own.glass in ['whole']", "reading.own.said == 'fine'", 56, 59, `rule mat-and-handle: pass: text "fine" is compared with no fact`, "compare a fact with it"},
}

func TestEveryMistakeOfAQuestionIsToldWithItsPlaceAndWhatToDo(t *testing.T) {
	for _, c := range questionMistakes {
		from := strings.TrimSuffix(c.from, "!")
		at := strings.Index(askingPack, from)
		if strings.HasSuffix(c.from, "!") {
			at = strings.LastIndex(askingPack, from)
		}
		if at < 0 {
			t.Errorf("%s: the pack has not %q", c.name, from)
			continue
		}
		p, mistakes, err := Check([]byte(askingPack[:at] + c.to + askingPack[at+len(from):]))
		if p != nil || err != nil || len(mistakes) == 0 {
			t.Errorf("%s: %v %v", c.name, mistakes, err)
			continue
		}
		if m := mistakes[0]; m.Line != c.line || m.Column != c.column || !strings.HasPrefix(m.What, c.what) || !strings.HasPrefix(m.Hint, c.hint) {
			t.Errorf("%s: %d:%d: %s (%s)", c.name, m.Line, m.Column, m.What, m.Hint)
		}
	}
}

func TestTheDifferenceOfTwoPacksNamesEveryQuestionThatCameWentOrIsAskedOtherwise(t *testing.T) {
	a := asking(t)
	if got := Diff(a, asking(t)); got != nil {
		t.Errorf("of a pack and itself: %v", got)
	}
	got := Diff(a, asking(t, "at_least: 1000", "at_least: 900", "title: Handle tight", "title: Handle firm", "id: said", "id: told", "most: 5", "most: 6", "wanted: [whole, scratched]", "wanted: [whole]", "required: true\n    wanted", "required: false\n    wanted"))
	want := []Change{
		{"handle-tight", Changed, "title", "Handle tight", "Handle firm"},
		{"handle-tight", Changed, "required", "true", "false"},
		{"mat-depth", Changed, "answer", "number in m from 0 to 5", "number in m from 0 to 6"},
		{"mat-depth", Changed, "limit", "≥ 1000.0 mm", "≥ 900.0 mm"},
		{"glass", Changed, "wanted", "whole, scratched", "whole"},
		{Rule: "told", Kind: QuestionAdded, To: "What the caretaker said"},
		{Rule: "said", Kind: QuestionRemoved, From: "What the caretaker said"},
	}
	if !slices.Equal(got, want) {
		t.Errorf("%v\nwant %v", got, want)
	}
}
