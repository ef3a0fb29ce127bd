package console

import (
	"cmp"
	"context"
	"net/http"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/rulebook"
)

// packRoute takes an edition of a rule pack of the company's own.
const packRoute = "POST /rule-packs"

type packsData struct {
	Lines []packLine
	Form  form
}

// packLine is an edition of a company's pack and how it stands today, UTC.
type packLine struct {
	fleet.RulePack
	State string // running, coming, ended or waiting (it never judged)
}

func newPackLine(p fleet.RulePack, today duedate.Day) packLine {
	state := "waiting"
	for _, period := range p.Periods {
		switch {
		case period.From.After(today):
			state = "coming"
		case state == "waiting":
			state = "ended"
		}
	}
	if p.InForce {
		state = "running"
	}
	return packLine{p, state}
}

func (c *Console) packs(ctx context.Context, q *request) (answer, error) {
	return c.packsPage(ctx, q, newForm(nil), http.StatusOK)
}

func (c *Console) packsPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	own, err := c.ownPacks(ctx, q)
	if err != nil {
		return nil, err
	}
	data, today := packsData{Form: f}, duedate.DayIn(c.Now(), time.UTC)
	for _, p := range own {
		data.Lines = append(data.Lines, newPackLine(p, today))
	}
	return page{name: "packs", status: status, data: data}, nil
}

// ownPacks are the company's packs, the one added last first.
func (c *Console) ownPacks(ctx context.Context, q *request) ([]fleet.RulePack, error) {
	list, err := c.Fleet.RulePacks(ctx, q.by)
	if err != nil {
		return nil, err
	}
	own := slices.DeleteFunc(list, func(p fleet.RulePack) bool { return p.Company == nil })
	slices.SortStableFunc(own, func(a, b fleet.RulePack) int { return b.Company.AddedAt.Compare(a.Company.AddedAt) })
	return own, nil
}

// packAdd keeps an edition, or says of every mistake where it is.
func (c *Console) packAdd(ctx context.Context, q *request) (answer, error) {
	f, text, err := q.formWithFile("file")
	if err != nil {
		return nil, err
	}
	again := func(f form, status int) (answer, error) { return c.packsPage(ctx, q, f, status) }
	if len(text) == 0 {
		return q.again(f, fault.At("file", "pack_file_none"), again)
	}
	pack, err := c.Fleet.CheckCompanyPack(string(text))
	if err != nil {
		return q.again(f, atField("file", err), again)
	}
	if _, _, err = c.Fleet.PutCompanyPack(ctx, q.by, fleet.CompanyPack{PackID: pack.ID, Text: string(text), Note: f.Value("/note")}); err != nil {
		return q.again(f, err, again)
	}
	return seeOther("/rule-packs/" + pack.ID), nil
}

type packData struct {
	Pack        packLine
	By          string
	Before      string   // the id of the edition of its name that was added before; "" when it is the first
	Changes     []string // since that one, in words
	Activations []packActivationLine
}

type packActivationLine struct {
	fleet.PackActivation
	By string
}

func (c *Console) pack(ctx context.Context, q *request) (answer, error) {
	own, err := c.ownPacks(ctx, q)
	if err != nil {
		return nil, err
	}
	at := slices.IndexFunc(own, func(p fleet.RulePack) bool { return p.ID == q.PathValue("pack") })
	if at < 0 {
		return nil, fault.New(fault.NotFound, "pack_not_found", "pack", q.PathValue("pack"))
	}
	pack := own[at]
	data := packData{Pack: newPackLine(pack, duedate.DayIn(c.Now(), time.UTC))}
	earlier := own[at+1:]
	if i := slices.IndexFunc(earlier, func(p fleet.RulePack) bool { return p.Name() == pack.Name() }); i >= 0 {
		data.Before = earlier[i].ID
		for _, change := range rulebook.Diff(earlier[i].Pack, pack.Pack) {
			data.Changes = append(data.Changes, fleet.ChangeText(q.texts, change))
		}
	}
	activations, err := c.Fleet.PackActivations(ctx, q.by)
	if err != nil {
		return nil, err
	}
	activations = slices.DeleteFunc(activations, func(a fleet.PackActivation) bool { return a.PackName != pack.Name() })
	people := []uuid.UUID{pack.Company.AddedBy}
	for _, a := range activations {
		people = append(people, a.RecordedBy)
	}
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{People: people})
	if err != nil {
		return nil, err
	}
	w := writer{q.texts}
	data.By = w.person(names, pack.Company.AddedBy)
	for _, a := range activations {
		data.Activations = append(data.Activations, packActivationLine{a, w.person(names, a.RecordedBy)})
	}
	return page{name: "pack", data: data}, nil
}

type packTurnData struct {
	Pack fleet.RulePack
	End  bool // no edition of the name is to judge any more
	Form form
}

func (c *Console) packTurnForm(ctx context.Context, q *request) (answer, error) {
	return c.packTurnPage(ctx, q, newForm(map[string]string{"activation_id": c.NewID().String()}), http.StatusOK)
}

func (c *Console) packTurnPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	pack, err := c.packToTurn(ctx, q)
	if err != nil {
		return nil, err
	}
	return page{name: "pack-turn", status: status, data: packTurnData{pack, q.PathValue("what") == "end", f}}, nil
}

// packToTurn finds the company's pack that is to be activated or ended.
func (c *Console) packToTurn(ctx context.Context, q *request) (fleet.RulePack, error) {
	if what := q.PathValue("what"); what != "activate" && what != "end" {
		return fleet.RulePack{}, fault.New(fault.NotFound, "route_not_found")
	}
	pack, err := c.Fleet.RulePack(ctx, q.by, q.PathValue("pack"))
	if err == nil && pack.Company == nil {
		err = fault.New(fault.NotFound, "route_not_found") // what comes with the program is not switched
	}
	return pack, err
}

func (c *Console) packTurn(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	pack, err := c.packToTurn(ctx, q)
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	a := fleet.PackActivation{ActivationID: r.id("activation_id"), PackName: pack.Name(), From: r.day("/from_day"), Why: f.Value("/why")}
	if q.PathValue("what") == "activate" {
		a.PackID, a.Until = pack.ID, r.day("/until_day")
	}
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutPackActivation(ctx, q.by, a)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.packTurnPage(ctx, q, f, status) })
	}
	return seeOther("/rule-packs/" + pack.ID), nil
}

// replayData is what a pack would change.
type replayData struct {
	fleet.ReplayPreview
	Steps []replayStep
	Lines []replayLine
	Sort  string // door, site, inspected, then, now or because
}

type replayStep struct {
	fleet.ReplayStep
	Inspections int
}

// replayLine is an inspection that would come to something else.
type replayLine struct {
	fleet.ReplayedInspection
	Because string
}

// Heads are the columns that the list may be sorted by.
func (replayData) Heads() []string {
	return []string{"door", "site", "inspected", "then", "now", "because"}
}

// packReplay shows what a pack would change of the newest inspections.
func (c *Console) packReplay(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	pack, err := c.Fleet.RulePack(ctx, q.by, q.PathValue("pack"))
	if err == nil && pack.Company == nil {
		err = fault.New(fault.NotFound, "route_not_found")
	}
	if err != nil {
		return nil, err
	}
	p, err := c.Fleet.PreviewPack(ctx, q.by, pack.ID, fleet.MostPreviewed)
	if err != nil {
		return nil, err
	}
	data := replayData{ReplayPreview: p, Sort: "door"}
	if by := f.Value("sort"); slices.Contains(data.Heads(), by) {
		data.Sort = by
	}
	for _, step := range p.Sum.Steps() {
		data.Steps = append(data.Steps, replayStep{step, p.Sum.Changes[step]})
	}
	for _, one := range p.Changed {
		data.Lines = append(data.Lines, replayLine{one, fleet.BecauseText(q.texts, one.Rules)})
	}
	slices.SortStableFunc(data.Lines, func(a, b replayLine) int { return cmp.Or(a.compare(b, data.Sort), cmp.Compare(a.Tag, b.Tag)) })
	return page{name: "pack-replay", data: data}, nil
}

// compare by one column; days the newest first.
func (a replayLine) compare(b replayLine, by string) int {
	switch by {
	case "site":
		return cmp.Compare(a.SiteName, b.SiteName)
	case "inspected":
		return b.ConcludedAt.Compare(a.ConcludedAt)
	case "then":
		return cmp.Compare(a.Then, b.Then)
	case "now":
		return cmp.Compare(a.Now, b.Now)
	case "because":
		return cmp.Compare(a.Because, b.Because)
	}
	return 0
}
