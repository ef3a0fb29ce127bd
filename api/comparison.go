package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
)

type comparisonIn struct {
	DoorPath
	Pack string `path:"pack" maxLength:"80" doc:"The pack to compare with, as name@edition."`
}

type ComparedRuleItem struct {
	rulebook.Verdict
	Basis string `json:"basis" doc:"What the rule of the same id said in the door's rule basis; empty where it has none."`
}

type comparisonOut struct {
	Body struct {
		DoorID      uuid.UUID          `json:"door_id"`
		Pack        string             `json:"pack"`
		RuleBasis   string             `json:"rule_basis" doc:"The pack that judged; empty when nobody has recorded one."`
		InspectedOn string             `json:"inspected_on" doc:"Day of the last signed inspection; empty when there was none."`
		Rules       []ComparedRuleItem `json:"rules" doc:"Every verdict is advice: a comparison changes nothing."`
		Caution     string             `json:"caution"`
	}
}

func (a *API) comparisons() {
	add(a, operation("comparison-get", http.MethodGet, "/v1/doors/{door_id}/comparison/{pack}", identity.ActReadOffice, "What another pack or edition would say of a door's last inspection"), a.comparisonGet)
}

func (a *API) comparisonGet(ctx context.Context, by identity.Actor, in *comparisonIn) (*comparisonOut, error) {
	c, err := a.Fleet.Compare(ctx, by, in.DoorID, in.Pack)
	if err != nil {
		return nil, err
	}
	out := &comparisonOut{}
	out.Body.DoorID, out.Body.Pack, out.Body.RuleBasis, out.Body.InspectedOn = in.DoorID, c.With.ID, c.Basis, c.Inspected.String()
	out.Body.Rules = make([]ComparedRuleItem, len(c.Rules))
	for i, r := range c.Rules {
		out.Body.Rules[i] = ComparedRuleItem{r.Verdict, string(r.Basis)}
	}
	out.Body.Caution = c.With.Caution
	return out, nil
}
