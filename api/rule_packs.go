package api

import (
	"context"
	"net/http"

	"lintel.example/lintel/internal/fault"
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
}

type ruleItem struct {
	ID       string          `json:"id"`
	Title    string          `json:"title"`
	Asks     string          `json:"asks"`
	Standing string          `json:"standing" enum:"found,second_hand,from_memory,common_practice" doc:"How well the limit is known. From memory: advice only."`
	Severity string          `json:"severity" enum:"unsafe,deficient,advisory"`
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

type rulePackPath struct {
	Pack string `path:"pack" maxLength:"80"`
}

type rulePackOut struct {
	Body struct {
		RulePackItem
		Rules []ruleItem `json:"rules"`
	}
}

func (a *API) rulePacks() {
	add(a, operation("rule-pack-list", http.MethodGet, "/v1/rule-packs", identity.ActReadCatalogue, "The rule packs and what can be read"), a.rulePackList)
	add(a, operation("rule-pack-get", http.MethodGet, "/v1/rule-packs/{pack}", identity.ActReadCatalogue, "One rule pack with the source of every limit"), a.rulePackGet)
}

func (a *API) rulePackList(_ context.Context, by identity.Actor, _ *struct{}) (*rulePackListOut, error) {
	out := &rulePackListOut{}
	for _, p := range a.Fleet.Book.Packs() {
		out.Body.RulePacks = append(out.Body.RulePacks, a.newRulePackItem(by, p))
	}
	for _, k := range rulebook.Readings() {
		out.Body.Readings = append(out.Body.Readings, readingItem{Name: k.Name, Title: a.text(by, k.TitleKey()), Kind: string(k.Kind), Unit: k.Unit, Least: k.Min, Most: k.Max, DependsOn: append([]rulebook.Group{}, k.DependsOn...)})
	}
	return out, nil
}

func (a *API) rulePackGet(_ context.Context, by identity.Actor, in *rulePackPath) (*rulePackOut, error) {
	p, ok := a.Fleet.Book.Pack(in.Pack)
	if !ok {
		return nil, fault.New(fault.NotFound, "pack_not_found", "pack", in.Pack)
	}
	out := &rulePackOut{}
	out.Body.RulePackItem = a.newRulePackItem(by, p)
	for _, r := range p.Rules {
		out.Body.Rules = append(out.Body.Rules, ruleItem{ID: r.ID, Title: r.Title, Asks: r.Asks,
			Standing: string(r.Standing), Severity: string(r.Severity), Source: r.Source})
	}
	return out, nil
}

func (a *API) newRulePackItem(by identity.Actor, p *rulebook.Pack) RulePackItem {
	item := RulePackItem{ID: p.ID, Title: p.Title, Standard: p.Standard, Edition: p.Edition, Jurisdiction: p.Jurisdiction,
		Digest: p.Digest, Caution: p.Caution, Kinds: []string{}, Energies: []string{}}
	for _, k := range p.AppliesTo.Kinds {
		item.Kinds = append(item.Kinds, string(k))
	}
	for _, e := range p.AppliesTo.Energies {
		item.Energies = append(item.Energies, string(e))
	}
	return item
}
