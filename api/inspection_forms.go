package api

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
)

type inspectionFormIn struct {
	DoorPath
	VisitID string `query:"visit_id" format:"uuid" doc:"What was read in this visit stands beside what is asked; a blank form if absent."`
}

type inspectionFormOut struct {
	Body struct {
		DoorID    uuid.UUID     `json:"door_id" format:"uuid"`
		VisitID   *uuid.UUID    `json:"visit_id,omitempty" format:"uuid"`
		Packs     []formPack    `json:"packs" doc:"What judges the door today, its rule basis first; no basis while nobody has recorded one."`
		Stations  []formStation `json:"stations" doc:"In the order of the walk round the door; only those where something is to be read."`
		FromFacts []formRule    `json:"from_facts" doc:"Rules that are judged by what the register says, and no more."`
		Months    *int          `json:"months_since_inspection,omitempty" doc:"Whole months since the last inspection that was signed here; absent when none was."`
		Wanted    []formFact    `json:"facts_wanted" doc:"Facts of the register for want of which nobody can say whether a rule applies, or what its limit is."`
	}
}

type formPack struct {
	ID      string `json:"id"`
	Title   string `json:"title"`
	Role    string `json:"role" enum:"basis,law,company" doc:"The door's rule basis, the law of the place, or the company's own."`
	Caution string `json:"caution"`
}

type formStation struct {
	Station string     `json:"station" enum:"papers,approach,doorway,opening,closing,escape,by_hand,back_on"`
	Title   string     `json:"title"`
	Side    string     `json:"side,omitempty" enum:"a,b" doc:"Of an approach."`
	Items   []formItem `json:"items"`
}

type formItem struct {
	Reading  string      `json:"reading"`
	Title    string      `json:"title"`
	Kind     string      `json:"kind" enum:"number,yes_no,choice,text"`
	Unit     string      `json:"unit,omitempty"`
	Choices  []string    `json:"choices,omitempty"`
	Question string      `json:"question,omitempty" doc:"Of a company's question: what an entry that answers it says in question."`
	Needed   bool        `json:"needed" doc:"The door cannot pass while it was not read."`
	Rules    []formRule  `json:"rules" doc:"That need the reading."`
	Instead  []formRule  `json:"instead,omitempty" doc:"That work it out of other readings, and prefer it where it was read. It is not asked for."`
	Places   []formPlace `json:"places" doc:"Where it is to be read, and where else it was read in the visit."`
}

type formRule struct {
	Pack     string               `json:"pack"`
	Rule     string               `json:"rule"`
	Title    string               `json:"title"`
	Asks     string               `json:"asks"`
	Method   string               `json:"method,omitempty"`
	Limit    *rulebook.BoundsUsed `json:"limit,omitempty" doc:"Worked out for this door. Absent for a question, and while a fact is wanting that it takes."`
	Applies  bool                 `json:"applies" doc:"False: for want of facts nobody can say whether the rule applies."`
	Facts    []string             `json:"facts,omitempty" doc:"Of the register, on which the verdict rests."`
	Wanted   []rulebook.Gap       `json:"facts_wanted,omitempty"`
	Severity string               `json:"severity" enum:"unsafe,deficient,advisory,none" doc:"What a failure is proposed to be. None: a question to which no answer is wrong."`
	Counts   bool                 `json:"counts" doc:"A failure fails the inspection: the rule is no advice, and its limit is not only recalled."`
	Standing string               `json:"standing" enum:"found,second_hand,from_memory,common_practice"`
	Source   rulebook.Source      `json:"source"`
}

type formPlace struct {
	Leaf    int           `json:"leaf,omitempty" doc:"1 is the first leaf of the door's facts; absent: the door as a whole."`
	Side    string        `json:"side,omitempty" enum:"a,b"`
	Before  *formReading  `json:"before,omitempty" doc:"The newest that was signed in another visit."`
	Entered []formReading `json:"entered,omitempty" doc:"In this visit; what was corrected is left out."`
	LeftOut *formLeftOut  `json:"left_out,omitempty" doc:"Why it was not read in this visit."`
	Covered bool          `json:"covered,omitempty" doc:"Nothing was said of this place in the visit, and something was of one that holds it: of the whole door."`
}

type formLeftOut struct {
	EntryID uuid.UUID `json:"entry_id" format:"uuid"`
	Reason  string    `json:"reason" enum:"not_applicable,not_possible,refused,unsafe_to_try"`
	Why     string    `json:"why"`
}

type formReading struct {
	EntryID    uuid.UUID     `json:"entry_id" format:"uuid"`
	Value      *float64      `json:"value,omitempty"`
	Yes        *bool         `json:"yes,omitempty"`
	Text       string        `json:"text,omitempty"`
	ObservedAt time.Time     `json:"observed_at"`
	Day        string        `json:"day" format:"date" doc:"At the site."`
	Stale      bool          `json:"stale,omitempty" doc:"Something on which it depends was changed in the visit since, and nobody has read it again."`
	AsFound    bool          `json:"as_found,omitempty" doc:"The same, and it was read again."`
	Verdicts   []formVerdict `json:"verdicts,omitempty" doc:"Of what was read in this visit: what the rules of the item say of it, with what else was read there. A sign-off judges anew."`
	Doubt      string        `json:"doubt,omitempty" enum:"far_off,the_same" doc:"A question to whoever took the reading; it refuses nothing. Far off: more than a third away from before. The same: to the last digit."`
}

type formVerdict struct {
	Pack     string               `json:"pack"`
	Rule     string               `json:"rule"`
	Outcome  string               `json:"outcome" enum:"passed,failed,undecided,not_judged,not_applicable"`
	Severity string               `json:"severity" enum:"unsafe,deficient,advisory,none" doc:"What a failure is proposed to be. None: a question to which no answer is wrong."`
	Counts   bool                 `json:"counts" doc:"A failure fails the inspection."`
	Limit    *rulebook.BoundsUsed `json:"limit,omitempty"`
	Gaps     []rulebook.Gap       `json:"gaps,omitempty" doc:"For want of which it was not judged."`
	Finding  *uuid.UUID           `json:"finding,omitempty" format:"uuid" doc:"Entered in this visit under the rule."`
}

type wantingIn struct {
	VisitID uuid.UUID `path:"visit_id" format:"uuid"`
	DoorPath
}

type wantingOut struct {
	Body struct {
		Wanting []wantItem `json:"wanting" doc:"Empty: the door can be concluded as passed, and be signed off."`
	}
}

type wantItem struct {
	Code    string `json:"code" doc:"Of the fault that a sign-off would answer."`
	Detail  string `json:"detail"`
	Name    string `json:"name,omitempty" doc:"Of the reading, fact, rule or trial that it is about."`
	Title   string `json:"title,omitempty" doc:"The same in words."`
	Station string `json:"station,omitempty" enum:"papers,approach,doorway,opening,closing,escape,by_hand,back_on" doc:"Of the walk round the door, where it is put right."`
	Side    string `json:"side,omitempty" enum:"a,b"`
	Leaf    int    `json:"leaf,omitempty"`
	Step    string `json:"step,omitempty" enum:"visit,facts,safe_work,finding,photo,function_test,certificate" doc:"Where it is put right otherwise."`
}

type factsAnswerIn struct {
	VisitID uuid.UUID `path:"visit_id" format:"uuid"`
	DoorPath
	Body struct {
		Answers []factAnswer `json:"answers" minItems:"1" maxItems:"60"`
	}
}

type factAnswer struct {
	Pointer string   `json:"pointer" maxLength:"100" doc:"Of the member of the door, as inspection-form names it: /facts/egress, /facts/leaves/0/mass_kg."`
	Word    string   `json:"word,omitempty" maxLength:"40" doc:"One of the member's words; of what is one or the other, yes or no."`
	Value   *float64 `json:"value,omitempty" doc:"Of a measured fact, in the unit that ends the member's name."`
}

type formFact struct {
	Name    string   `json:"name"`
	Title   string   `json:"title"`
	Pointer string   `json:"pointer,omitempty" doc:"Of the member of the door that says it; absent where it follows from several."`
	Problem string   `json:"problem" enum:"missing,unknown,not_finite,out_of_range"`
	Rules   []string `json:"rules"`
}

func (a *API) inspectionForms() {
	add(a, operation("inspection-form-get", http.MethodGet, "/v1/doors/{door_id}/inspection-form", identity.ActReadWork, "What the rules ask of a door, in the order of the walk round it"), a.inspectionFormGet)
	for _, f := range reportForms()[:2] { // on paper and as a page
		add(a, answering(f.mediaType, operation("inspection-form-"+f.name, http.MethodGet, "/v1/doors/{door_id}/inspection-form."+f.name, identity.ActReadWork, "The inspection form of a door for the pen, where there is no signal, as "+strings.ToUpper(f.name))),
			func(ctx context.Context, by identity.Actor, in *DoorPath) (*bytesOut, error) {
				return a.inspectionFormPrint(ctx, by, in.DoorID, f)
			})
	}
	add(a, operation("facts-answer", http.MethodPut, "/v1/visits/{visit_id}/doors/{door_id}/facts", identity.ActLogVisit,
		"Record facts of the door that nobody knew and rules want, as seen in a visit; the same again is success, what is known otherwise is refused"), a.factsAnswer)
	add(a, operation("wanting-get", http.MethodGet, "/v1/visits/{visit_id}/doors/{door_id}/wanting", identity.ActLogVisit, "What a sign-off by whoever asks still wants before the door may be called passed"), a.wantingGet)
}

func (a *API) inspectionFormPrint(ctx context.Context, by identity.Actor, door uuid.UUID, f reportForm) (*bytesOut, error) {
	print, err := a.Fleet.PrintInspectionForm(ctx, by, door, f.name)
	if err != nil {
		return nil, err
	}
	return &bytesOut{ContentType: f.mediaType + f.parameters, ContentDisposition: `inline; filename="inspection-form-` + door.String() + "." + f.name + `"`, ContentSecurityPolicy: cmp.Or(f.policy, "default-src 'none'"), Body: print}, nil
}

func (a *API) factsAnswer(ctx context.Context, by identity.Actor, in *factsAnswerIn) (*doorOut, error) {
	var answers []fleet.FactAnswer
	for _, one := range in.Body.Answers {
		answers = append(answers, fleet.FactAnswer{Pointer: one.Pointer, Word: one.Word, Value: one.Value})
	}
	door, err := a.Fleet.AnswerFacts(ctx, by, in.DoorID, in.VisitID, answers)
	if err != nil {
		return nil, atAnswers(err, answers)
	}
	return newDoorOut(by, door, false), nil
}

// atAnswers turns the faults of facts into those of the answers that said them.
func atAnswers(err error, answers []fleet.FactAnswer) error {
	var list fault.List
	for _, one := range fault.Of(err) {
		moved := *one
		for i, a := range answers {
			if one.Pointer == a.Pointer || strings.HasPrefix(one.Pointer, a.Pointer+"/") {
				moved.Pointer = fmt.Sprintf("/answers/%d", i)
			}
		}
		list = append(list, &moved)
	}
	if list == nil {
		return err
	}
	return list
}

func (a *API) wantingGet(ctx context.Context, by identity.Actor, in *wantingIn) (*wantingOut, error) {
	wants, err := a.Fleet.Wanting(ctx, by, in.DoorID, in.VisitID)
	if err != nil {
		return nil, err
	}
	out := &wantingOut{}
	out.Body.Wanting = []wantItem{}
	for _, w := range wants {
		out.Body.Wanting = append(out.Body.Wanting, wantItem{Code: w.Fault.Code, Detail: a.text(by, "problem."+w.Fault.Code, w.Fault.Args...), Name: w.Name, Title: w.Title, Station: string(w.Station), Side: string(w.Side), Leaf: w.Leaf, Step: w.Step})
	}
	return out, nil
}

func (a *API) inspectionFormGet(ctx context.Context, by identity.Actor, in *inspectionFormIn) (*inspectionFormOut, error) {
	form, err := a.Fleet.InspectionForm(ctx, by, in.DoorID, optionalID(in.VisitID))
	if err != nil {
		return nil, err
	}
	out := &inspectionFormOut{}
	b := &out.Body
	b.Months = form.Months
	b.DoorID, b.Packs, b.Stations, b.FromFacts, b.Wanted = in.DoorID, []formPack{}, []formStation{}, newFormRules(form.FromFacts), []formFact{}
	if form.VisitID != uuid.Nil {
		b.VisitID = &form.VisitID
	}
	for _, p := range form.Packs {
		b.Packs = append(b.Packs, formPack{p.ID, p.Title, string(p.Role), p.Caution})
	}
	for _, s := range form.Stations {
		station := formStation{Station: string(s.Station), Title: a.text(by, s.Station.TitleKey()), Side: string(s.Side)}
		for _, i := range s.Items {
			station.Items = append(station.Items, a.newFormItem(by, i))
		}
		b.Stations = append(b.Stations, station)
	}
	for _, w := range form.Wanted {
		fact := formFact{Name: w.Name, Title: w.Title, Pointer: w.Pointer, Problem: string(w.Problem)}
		for _, r := range w.Rules {
			fact.Rules = append(fact.Rules, r.Rule.ID)
		}
		b.Wanted = append(b.Wanted, fact)
	}
	return out, nil
}

func (a *API) newFormItem(by identity.Actor, i fleet.FormItem) formItem {
	item := formItem{Reading: i.Kind.Name, Title: fleet.KindTitle(a.printer(by), i.Kind), Kind: string(i.Kind.Kind), Unit: i.Kind.Unit, Choices: i.Kind.Choices, Question: i.Kind.Title, Needed: i.Needed(), Rules: newFormRules(i.Rules)}
	if len(i.Instead) > 0 {
		item.Instead = newFormRules(i.Instead)
	}
	for _, p := range i.Places {
		place := formPlace{Leaf: p.Leaf, Side: string(p.Side), Covered: p.Covered}
		if p.Before != nil {
			before := newFormReading(*p.Before)
			place.Before = &before
		}
		for _, r := range p.Entered {
			place.Entered = append(place.Entered, newFormReading(r))
		}
		if l := p.LeftOut; l != nil {
			place.LeftOut = &formLeftOut{l.EntryID, l.Body.LeftOut.Reason, l.Body.LeftOut.Why}
		}
		item.Places = append(item.Places, place)
	}
	return item
}

func newFormReading(r fleet.FormReading) formReading {
	reading := formReading{EntryID: r.EntryID, Value: r.Value, Yes: r.Yes, Text: r.Text, ObservedAt: r.ObservedAt, Day: r.Day.String(), Stale: r.Stale, AsFound: r.AsFound, Doubt: string(r.Doubt)}
	for _, v := range r.Verdicts {
		one := formVerdict{Pack: v.Pack.ID, Rule: v.RuleID, Outcome: string(v.Outcome), Severity: string(v.Verdict.Severity), Counts: v.Verdict.Counts(), Limit: v.Verdict.Limit, Gaps: v.Gaps}
		if v.Finding != nil {
			one.Finding = &v.Finding.EntryID
		}
		reading.Verdicts = append(reading.Verdicts, one)
	}
	return reading
}

func newFormRules(rules []fleet.FormRule) []formRule {
	list := []formRule{}
	for _, r := range rules {
		list = append(list, formRule{Pack: r.Pack.ID, Rule: r.Rule.ID, Title: r.Rule.Title, Asks: r.Rule.Asks, Method: r.Rule.Method, Limit: r.Limit, Applies: r.Applies, Facts: r.Facts, Wanted: r.Wanted,
			Severity: string(r.Rule.Severity), Counts: r.Counts(), Standing: string(r.Rule.Standing), Source: r.Rule.Source})
	}
	return list
}
