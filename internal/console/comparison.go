package console

import (
	"context"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/rulebook"
)

type comparisonData struct {
	Door      doorName
	Filter    filter
	Packs     []option
	With      *rulebook.Pack // nil until one is chosen
	Basis     string
	Inspected duedate.Day
	Rules     []fleet.ComparedRule // those that the other pack judges differently, or that it alone has
	Same      int                  // rules with the same verdict in both
}

// comparison shows what another pack or edition would say of a door's last inspection.
func (c *Console) comparison(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("door_id")
	if err != nil {
		return nil, err
	}
	door, err := c.Fleet.Door(ctx, q.by, id, fleet.AsOf{})
	if err != nil {
		return nil, err
	}
	f := q.filter()
	data := comparisonData{Door: doorName{id, fleet.Name{Text: door.Name, Tag: door.Tag}}, Filter: f, Packs: []option{{Text: q.texts.T("console.choose")}}}
	for _, p := range c.Fleet.Book.Packs() {
		if p.ID != door.Facts.RuleBasis.PackID && p.IsFor(rulebook.DoorKind(door.Facts.Kind), rulebook.Energy(door.Facts.Energy)) {
			data.Packs = append(data.Packs, option{Value: p.ID, Text: p.Title, Chosen: p.ID == f.Value("pack")})
		}
	}
	if f.Value("pack") == "" {
		return page{name: "comparison", data: data}, nil
	}
	compared, err := c.Fleet.Compare(ctx, q.by, id, f.Value("pack"))
	if err != nil {
		return nil, err
	}
	data.With, data.Basis, data.Inspected = compared.With, compared.Basis, compared.Inspected
	for _, r := range compared.Rules {
		switch {
		case r.Outcome == rulebook.NotApplicable && r.Basis == "":
		case r.Outcome == r.Basis:
			data.Same++
		default:
			data.Rules = append(data.Rules, r)
		}
	}
	return page{name: "comparison", data: data}, nil
}
