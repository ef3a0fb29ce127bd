package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
)

type RulePackItem struct {
	ID           string   `json:"id"`
	Title        string   `json:"title"`
	Standard     string   `json:"standard"`
	Edition      string   `json:"edition"`
	Jurisdiction string   `json:"jurisdiction"`
	Kinds        []string `json:"kinds"`
	Energies     []string `json:"energies"`
	Digest       string   `json:"digest" doc:"SHA-256 of the pack's text: which text has judged."`
	Caution      string   `json:"caution"`
	Role         string   `json:"role" enum:"basis,law,owner,company" doc:"basis: judges doors whose rule basis it is. law: beside it, where it holds. owner: the owner's own checks. company: beside it, while the company has it in force."`
	InForce      bool     `json:"in_force" doc:"Today. What comes with the program always is; when it judges, its role says."`
	// Of a company's pack only.
	Periods []packPeriodItem `json:"periods,omitempty" doc:"When it judges, or judged, by the day at the site of the inspection."`
	Note    string           `json:"note,omitempty"`
	AddedAt *time.Time       `json:"added_at,omitempty"`
	AddedBy *uuid.UUID       `json:"added_by,omitempty" format:"uuid"`
}

type packPeriodItem struct {
	FromDay  string `json:"from_day" format:"date"`
	UntilDay string `json:"until_day,omitempty" format:"date" doc:"The last day; absent while no end is known."`
}

// CompanyPackBody is an edition of a company's pack.
type CompanyPackBody struct {
	Text string `json:"text" doc:"The YAML. It never changes: a correction is a new edition."`
	Note string `json:"note,omitempty" maxLength:"2000" doc:"What is new in it. Whoever's doors it judges can read it."`
}

// PackActivationBody says that from a day on an edition of a company's pack judges, or that none of that name does.
type PackActivationBody struct {
	Name     string `json:"name" minLength:"1" maxLength:"80" doc:"The pack's name, without edition."`
	Edition  string `json:"edition,omitempty" maxLength:"40" doc:"Absent: from that day on no edition of the name judges."`
	FromDay  string `json:"from_day" format:"date" doc:"Today at the earliest. The edition before ends on the day before."`
	UntilDay string `json:"until_day,omitempty" format:"date" doc:"The last day; absent: until the next begins."`
	Why      string `json:"why" minLength:"1" maxLength:"2000" doc:"Whoever's doors it judges can read it."`
}

type packActivationItem struct {
	ActivationID uuid.UUID `json:"activation_id" format:"uuid"`
	PackActivationBody
	SHA256     string    `json:"sha256,omitempty" doc:"Of the edition's text."`
	RecordedAt time.Time `json:"recorded_at"`
	RecordedBy uuid.UUID `json:"recorded_by" format:"uuid"`
}

type rulePackPutIn struct {
	RulePackPath
	Body CompanyPackBody
}

type PackActivationPath struct {
	ActivationID uuid.UUID `path:"activation_id" format:"uuid"`
}

type packActivationPutIn struct {
	PackActivationPath
	Body PackActivationBody
}

type packActivationOut struct {
	Status int
	Body   packActivationItem
}

type packActivationListOut struct {
	Body struct {
		Activations []packActivationItem `json:"activations"`
	}
}

type ruleItem struct {
	ID       string          `json:"id"`
	Title    string          `json:"title"`
	Asks     string          `json:"asks"`
	Standing string          `json:"standing" enum:"found,second_hand,from_memory,common_practice" doc:"How well the limit is known. From memory: advice only."`
	Severity string          `json:"severity" enum:"unsafe,deficient,advisory,none"`
	Source   rulebook.Source `json:"source"`
}

type questionItem struct {
	ID       string   `json:"id" doc:"Of the rule that judges it."`
	Reading  string   `json:"reading" doc:"The name under which an entry answers it, with its title as question."`
	Title    string   `json:"title"`
	Asks     string   `json:"asks"`
	Answer   string   `json:"answer" enum:"yes_no,number,choice,text"`
	Unit     string   `json:"unit,omitempty"`
	Least    float64  `json:"least,omitempty"`
	Most     float64  `json:"most,omitempty"`
	Choices  []string `json:"choices,omitempty"`
	Station  string   `json:"station" enum:"papers,approach,doorway,opening,closing,escape,by_hand,back_on" doc:"Of the walk round the door."`
	Each     string   `json:"each" enum:"door,side,leaf,swing"`
	Required bool     `json:"required" doc:"A door cannot pass without an answer."`
}

type computedItem struct {
	ID       string          `json:"id"`
	Title    string          `json:"title"`
	Unit     string          `json:"unit"`
	Value    string          `json:"value" doc:"The formula, over readings, facts of the door and other computed readings."`
	Prefers  string          `json:"prefers,omitempty" doc:"The reading that is the value wherever somebody took it."`
	Standing string          `json:"standing" enum:"found,second_hand,from_memory,common_practice" doc:"How well the formula is known. From memory: advice only."`
	Source   rulebook.Source `json:"source"`
}

type readingItem struct {
	Name      string           `json:"name"`
	Title     string           `json:"title"`
	Kind      string           `json:"kind" enum:"number,yes_no"`
	Unit      string           `json:"unit,omitempty"`
	Least     float64          `json:"least"`
	Most      float64          `json:"most"`
	DependsOn []rulebook.Group `json:"depends_on" enum:"sensing,motion,latch,fabric,signs" doc:"Once one of these was touched, it must be read again to pass."`
}

type rulePackListOut struct {
	Body struct {
		RulePacks []RulePackItem `json:"rule_packs"`
		Readings  []readingItem  `json:"readings" doc:"Everything that can be read at a door."`
	}
}

type RulePackPath struct {
	Pack string `path:"pack" maxLength:"80"`
}

type rulePackOut struct {
	Status int
	Body   rulePackWhole
}

type rulePackWhole struct {
	RulePackItem
	Rules     []ruleItem     `json:"rules"`
	Computed  []computedItem `json:"computed" doc:"Readings that nobody takes: they are worked out for the rules."`
	Questions []questionItem `json:"questions,omitempty" doc:"Of a company's pack: what it asks beside what is read for rules. Each is judged by a rule of its id."`
	Text      string         `json:"text,omitempty" doc:"Of a company's pack: the YAML as it was given."`
}

type packReplayIn struct {
	RulePackPath
	Last int `query:"last" minimum:"1" maximum:"2000" default:"2000" doc:"How many of the newest signed inspections are looked at."`
}

type packReplayOut struct {
	Body struct {
		Pack     string                     `json:"pack"`
		Until    time.Time                  `json:"until" doc:"Inspections whose signature had arrived by then."`
		LookedAt int                        `json:"looked_at" doc:"How many inspections were looked at, the newest first."`
		Of       int                        `json:"of,omitempty" doc:"How many signed inspections there are; absent when the time was up before they were counted."`
		TimeUp   bool                       `json:"time_up" doc:"Fewer were looked at than were asked for, because a preview may take ten seconds. The command line looks at all."`
		Judged   int                        `json:"judged" doc:"By the pack."`
		Others   int                        `json:"others" doc:"At doors that the pack is not for."`
		Changed  int                        `json:"changed" doc:"Inspections that would come to something else."`
		Results  []replayStepItem           `json:"results" doc:"What they came to, and would come to."`
		Rules    []replayRuleItem           `json:"rules" doc:"Those that say otherwise, each with the inspections in which it bears on the result."`
		Doors    []fleet.ReplayedInspection `json:"doors" doc:"The inspections that would come to something else, the newest first. Results: passed, failed, incomplete, or unjudged where no rule said anything. A rule's outcome is absent where it did not judge then, or would not."`
		Caution  string                     `json:"caution"`
	}
}

type replayStepItem struct {
	Then        rulebook.Result `json:"then" enum:"passed,failed,incomplete,unjudged"`
	Now         rulebook.Result `json:"now" enum:"passed,failed,incomplete,unjudged"`
	Inspections int             `json:"inspections"`
}

type replayRuleItem struct {
	Rule        string `json:"rule"`
	Title       string `json:"title" doc:"Empty for a rule that the pack does not have any more."`
	Inspections int    `json:"inspections"`
}

func (a *API) rulePacks() {
	add(a, operation("rule-pack-list", http.MethodGet, "/v1/rule-packs", identity.ActReadCatalogue, "The rule packs and what can be read"), a.rulePackList)
	add(a, operation("rule-pack-get", http.MethodGet, "/v1/rule-packs/{pack}", identity.ActReadCatalogue, "One rule pack with the source of every limit"), a.rulePackGet)
	add(a, operation("rule-pack-put", http.MethodPut, "/v1/rule-packs/{pack}", identity.ActSetRules, "Add an edition of a pack of the company's own; it judges nothing before it is activated"), a.rulePackPut)
	add(a, operation("rule-pack-replay", http.MethodGet, "/v1/rule-packs/{pack}/replay", identity.ActSetRules, "What the newest inspections would have come to by a pack; nothing is written, and one goes on at a time"), a.rulePackReplay)
	add(a, operation("rule-pack-activation-list", http.MethodGet, "/v1/rule-pack-activations", identity.ActReadCatalogue, "Every activation of a company's pack, the one recorded last first"), a.packActivationList)
	add(a, operation("rule-pack-activation-put", http.MethodPut, "/v1/rule-pack-activations/{activation_id}", identity.ActSetRules, "Have an edition of a company's pack judge from a day on, or none"), a.packActivationPut)
}

func (a *API) rulePackList(ctx context.Context, by identity.Actor, _ *struct{}) (*rulePackListOut, error) {
	packs, err := a.Fleet.RulePacks(ctx, by)
	if err != nil {
		return nil, err
	}
	out := &rulePackListOut{}
	for _, p := range packs {
		out.Body.RulePacks = append(out.Body.RulePacks, newRulePackItem(p))
	}
	for _, k := range rulebook.Readings() {
		out.Body.Readings = append(out.Body.Readings, readingItem{Name: k.Name, Title: a.text(by, k.TitleKey()), Kind: string(k.Kind), Unit: k.Unit, Least: k.Min, Most: k.Max, DependsOn: append([]rulebook.Group{}, k.DependsOn...)})
	}
	return out, nil
}

func (a *API) rulePackGet(ctx context.Context, by identity.Actor, in *RulePackPath) (*rulePackOut, error) {
	p, err := a.Fleet.RulePack(ctx, by, in.Pack)
	if err != nil {
		return nil, err
	}
	return &rulePackOut{Status: http.StatusOK, Body: newRulePackWhole(p)}, nil
}

func (a *API) rulePackPut(ctx context.Context, by identity.Actor, in *rulePackPutIn) (*rulePackOut, error) {
	_, isNew, err := a.Fleet.PutCompanyPack(ctx, by, fleet.CompanyPack{PackID: in.Pack, Text: in.Body.Text, Note: in.Body.Note})
	if err != nil {
		return nil, err
	}
	p, err := a.Fleet.RulePack(ctx, by, in.Pack)
	if err != nil {
		return nil, err
	}
	return &rulePackOut{Status: created(isNew), Body: newRulePackWhole(p)}, nil
}

func (a *API) rulePackReplay(ctx context.Context, by identity.Actor, in *packReplayIn) (*packReplayOut, error) {
	p, err := a.Fleet.PreviewPack(ctx, by, in.Pack, in.Last)
	if err != nil {
		return nil, err
	}
	out := &packReplayOut{}
	b := &out.Body
	b.Pack, b.Until, b.LookedAt, b.Of, b.TimeUp, b.Caution = p.Pack.ID, p.Until, p.Looked, p.Of, p.TimeUp, p.Pack.Caution
	b.Judged, b.Others, b.Changed = p.Sum.Judged, p.Sum.Others, p.Sum.Changed()
	b.Results, b.Rules, b.Doors = []replayStepItem{}, []replayRuleItem{}, append([]fleet.ReplayedInspection{}, p.Changed...)
	for _, step := range p.Sum.Steps() {
		b.Results = append(b.Results, replayStepItem{step.Then, step.Now, p.Sum.Changes[step]})
	}
	for _, rule := range p.Rules() {
		b.Rules = append(b.Rules, replayRuleItem{rule.ID, rule.Title, rule.Inspections})
	}
	return out, nil
}

func (a *API) packActivationList(ctx context.Context, by identity.Actor, _ *struct{}) (*packActivationListOut, error) {
	list, err := a.Fleet.PackActivations(ctx, by)
	if err != nil {
		return nil, err
	}
	out := &packActivationListOut{}
	out.Body.Activations = make([]packActivationItem, len(list))
	for i, one := range list {
		out.Body.Activations[i] = newPackActivationItem(one)
	}
	return out, nil
}

func (a *API) packActivationPut(ctx context.Context, by identity.Actor, in *packActivationPutIn) (*packActivationOut, error) {
	var read reader
	b := in.Body
	one := fleet.PackActivation{ActivationID: in.ActivationID, PackName: b.Name, From: read.day("/from_day", b.FromDay), Why: b.Why}
	if b.Edition != "" {
		one.PackID = b.Name + "@" + b.Edition
	}
	if b.UntilDay != "" {
		one.Until = read.day("/until_day", b.UntilDay)
	}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	saved, isNew, err := a.Fleet.PutPackActivation(ctx, by, one)
	if err != nil {
		return nil, err
	}
	return &packActivationOut{Status: created(isNew), Body: newPackActivationItem(saved)}, nil
}

func newPackActivationItem(a fleet.PackActivation) packActivationItem {
	item := packActivationItem{ActivationID: a.ActivationID, RecordedAt: a.RecordedAt, RecordedBy: a.RecordedBy,
		PackActivationBody: PackActivationBody{Name: a.PackName, Edition: a.Edition(), FromDay: a.From.String(), UntilDay: a.Until.String(), Why: a.Why}}
	if a.PackID != "" {
		item.SHA256 = a.SHA256.String()
	}
	return item
}

func newRulePackWhole(p fleet.RulePack) rulePackWhole {
	out := rulePackWhole{RulePackItem: newRulePackItem(p), Computed: []computedItem{}}
	for _, c := range p.Computed {
		out.Computed = append(out.Computed, computedItem{ID: c.ID, Title: c.Title, Unit: c.Unit, Value: string(c.Value), Prefers: c.Prefers,
			Standing: string(c.Standing), Source: c.Source})
	}
	for _, r := range p.Rules {
		out.Rules = append(out.Rules, ruleItem{ID: r.ID, Title: r.Title, Asks: r.Asks,
			Standing: string(r.Standing), Severity: string(r.Severity), Source: r.Source})
	}
	for _, q := range p.Questions {
		k := q.Reading()
		out.Questions = append(out.Questions, questionItem{ID: q.ID, Reading: k.Name, Title: q.Title, Asks: q.Asks, Answer: string(k.Kind), Unit: k.Unit, Least: k.Min, Most: k.Max, Choices: k.Choices,
			Station: string(k.Station), Each: string(k.Each), Required: q.Required})
	}
	if p.Company != nil {
		out.Text = p.Company.Text
	}
	return out
}

func newRulePackItem(p fleet.RulePack) RulePackItem {
	item := RulePackItem{ID: p.ID, Title: p.Title, Standard: p.Standard, Edition: p.Edition, Jurisdiction: p.Jurisdiction,
		Digest: p.Digest, Caution: p.Caution, Kinds: []string{}, Energies: []string{}, Role: string(p.Role), InForce: p.InForce}
	for _, k := range p.AppliesTo.Kinds {
		item.Kinds = append(item.Kinds, string(k))
	}
	for _, e := range p.AppliesTo.Energies {
		item.Energies = append(item.Energies, string(e))
	}
	for _, period := range p.Periods {
		item.Periods = append(item.Periods, packPeriodItem{period.From.String(), period.Until.String()})
	}
	if c := p.Company; c != nil {
		item.Note, item.AddedAt, item.AddedBy = c.Note, &c.AddedAt, &c.AddedBy
	}
	return item
}
