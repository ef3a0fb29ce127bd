package console

import (
	"context"
	"net/http"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// oddityLine is something unusual about entries as lists show it.
type oddityLine struct {
	fleet.Oddity
	Site   fleet.Name
	Person string
	Doors  []doorName
	By     string // who explained it
}

type odditiesData struct {
	Filter filter
	Narrow []string // what the list is narrowed down to by the address
	Lines  []oddityLine
	More   More
}

// oddities lists what is unusual about entries. Those that nobody has explained come first to mind, so they are what is shown at first.
func (c *Console) oddities(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	if !f.values.Has("state") {
		f.values.Set("state", "open")
	}
	query := fleet.OddityQuery{State: f.Value("state"), Kind: f.Value("kind"), VisitID: f.ID("visit"), DoorID: f.ID("door"), SiteID: f.ID("site"), PersonID: f.ID("person"),
		Oldest: f.Value("sort") == "oldest", Limit: perPage + 1}
	var key instantKey
	f.key(&key)
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	query.AfterAt, query.AfterID = key.At, key.ID
	list, err := c.Fleet.Oddities(ctx, q.by, query)
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = instantKey{list[perPage-1].NoticedAt, list[perPage-1].OddityID}
	}
	data := odditiesData{Filter: f, More: q.more(last)}
	var names fleet.Names
	if data.Lines, names, err = c.oddityLines(ctx, q, list, fleet.Named{Sites: []uuid.UUID{query.SiteID}, Doors: []uuid.UUID{query.DoorID}, People: []uuid.UUID{query.PersonID}}); err != nil {
		return nil, err
	}
	for _, id := range []uuid.UUID{query.SiteID, query.DoorID, query.PersonID} {
		if n, ok := names[id]; ok {
			data.Narrow = append(data.Narrow, n.Text)
		}
	}
	return page{name: "oddities", data: data}, nil
}

// oddityLines gives oddities their names; ids are what else is to be named.
func (c *Console) oddityLines(ctx context.Context, q *request, list []fleet.Oddity, ids fleet.Named) ([]oddityLine, fleet.Names, error) {
	for _, o := range list {
		ids.Sites, ids.Doors, ids.People = append(ids.Sites, o.SiteID), append(ids.Doors, o.Doors...), append(ids.People, o.PersonID)
		if o.Explained != nil {
			ids.People = append(ids.People, o.Explained.By)
		}
	}
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return nil, nil, err
	}
	w, lines := writer{q.texts}, make([]oddityLine, len(list))
	for i, o := range list {
		lines[i] = oddityLine{Oddity: o, Site: names[o.SiteID], Person: w.person(names, o.PersonID)}
		for _, d := range o.Doors {
			lines[i].Doors = append(lines[i].Doors, doorName{d, names[d]})
		}
		if o.Explained != nil {
			lines[i].By = w.person(names, o.Explained.By)
		}
	}
	return lines, names, nil
}

// mostAsked is how many oddities the page of a visit shows, and how far the first page counts.
const mostAsked = 100

// odditiesOf gives what is unusual about a visit to whoever may see it.
func (c *Console) odditiesOf(ctx context.Context, q *request, visit uuid.UUID) ([]oddityLine, error) {
	if !q.by.May(identity.ActReadOddities) {
		return nil, nil
	}
	list, err := c.Fleet.Oddities(ctx, q.by, fleet.OddityQuery{VisitID: visit, Limit: mostAsked})
	if err != nil {
		return nil, err
	}
	lines, _, err := c.oddityLines(ctx, q, list, fleet.Named{})
	return lines, err
}

type oddityData struct {
	Line  oddityLine
	Form  form
	Check string // what may well be behind it
}

func (c *Console) oddity(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("oddity_id")
	if err != nil {
		return nil, err
	}
	return c.oddityPage(ctx, q, id, newForm(nil), http.StatusOK)
}

func (c *Console) oddityPage(ctx context.Context, q *request, id uuid.UUID, f form, status int) (answer, error) {
	o, err := c.Fleet.Oddity(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	lines, _, err := c.oddityLines(ctx, q, []fleet.Oddity{o}, fleet.Named{})
	if err != nil {
		return nil, err
	}
	return page{name: "oddity", status: status, data: oddityData{Line: lines[0], Form: f, Check: q.texts.T("oddity." + o.Kind + ".check")}}, nil
}

// oddityExplain keeps what somebody found out.
func (c *Console) oddityExplain(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("oddity_id")
	if err != nil {
		return nil, err
	}
	if _, err = c.Fleet.ExplainOddity(ctx, q.by, id, f.Value("/why")); err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.oddityPage(ctx, q, id, f, status) })
	}
	return seeOther("/oddities/" + id.String()), nil
}
