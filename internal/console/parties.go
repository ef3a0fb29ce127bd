package console

import (
	"context"
	"net/http"
	"strconv"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
)

type partiesData struct {
	Filter filter
	Lines  []fleet.Party
	More   More
}

func (c *Console) parties(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	var key nameKey
	f.key(&key)
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	list, err := c.Fleet.Parties(ctx, q.by, fleet.PartyQuery{Search: f.Value("search"), AfterName: key.Name, AfterID: key.ID, Limit: perPage + 1})
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = nameKey{list[perPage-1].Name, list[perPage-1].PartyID}
	}
	return page{name: "parties", data: partiesData{f, list, q.more(last)}}, nil
}

type partyData struct {
	Party fleet.Party
	New   bool
	Site  string // to which a new one will stand; ""
	Form  form
}

func (c *Console) party(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("party_id")
	if err != nil {
		return nil, err
	}
	return c.partyPage(ctx, q, id, form{}, http.StatusOK)
}

func (c *Console) partyPage(ctx context.Context, q *request, id uuid.UUID, f form, status int) (answer, error) {
	one, err := c.Fleet.Party(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	if f.values == nil {
		f = newForm(map[string]string{"/name": one.Name, "/email": one.Email, "/telephone": one.Telephone, "/note": one.Note, "/further_addresses": one.FurtherAddresses,
			"/language": one.Language, "/time_zone": one.TimeZone, "version": strconv.Itoa(one.Version)})
	}
	return page{name: "party", status: status, data: partyData{Party: one, Form: f}}, nil
}

func (r *reader) party(id uuid.UUID) fleet.Party {
	f := r.form
	return fleet.Party{PartyID: id, Name: f.Value("/name"), Email: f.Value("/email"), Telephone: f.Value("/telephone"), Note: f.Value("/note"),
		FurtherAddresses: f.Value("/further_addresses"), Language: f.Value("/language"), TimeZone: f.Value("/time_zone")}
}

func (c *Console) partyPut(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("party_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	one, version := r.party(id), r.number("version")
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutParty(ctx, q.by, one, version)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.partyPage(ctx, q, id, f, status) })
	}
	return seeOther("/parties/" + id.String()), nil
}

func (c *Console) partyNew(_ context.Context, q *request) (answer, error) {
	f := q.filter()
	site := f.ID("site")
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	fresh := newForm(map[string]string{"party_id": c.NewID().String()})
	if site != uuid.Nil {
		fresh.values.Set("site", site.String())
	}
	return partyNewPage(fresh, http.StatusOK)
}

func partyNewPage(f form, status int) (answer, error) {
	return page{name: "party", status: status, data: partyData{New: true, Site: f.Value("site"), Form: f}}, nil
}

// partyMake makes a party and goes on to what it is to the site for which it was made.
func (c *Console) partyMake(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	one, site := r.party(r.id("party_id")), r.optionalID("site")
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutParty(ctx, q.by, one, 0)
	}
	if err != nil {
		return q.again(f, err, partyNewPage)
	}
	if site != nil {
		return seeOther("/sites/" + site.String() + "/parties/new?party=" + one.PartyID.String()), nil
	}
	return seeOther("/parties/" + one.PartyID.String()), nil
}

type standingData struct {
	Site    fleet.Site
	Parties []option
	Form    form
}

func (c *Console) standingNew(ctx context.Context, q *request) (answer, error) {
	site, err := q.pathID("site_id")
	if err != nil {
		return nil, err
	}
	f := q.filter()
	party := f.ID("party")
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	fresh := newForm(map[string]string{"standing_id": c.NewID().String(), "/to_day": ""})
	if party != uuid.Nil {
		fresh.values.Set("/party_id", party.String())
	}
	return c.standingPage(ctx, q, site, fresh, http.StatusOK)
}

func (c *Console) standingPage(ctx context.Context, q *request, id uuid.UUID, f form, status int) (answer, error) {
	site, err := c.Fleet.Site(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	list, err := c.Fleet.Parties(ctx, q.by, fleet.PartyQuery{Limit: 1000})
	if err != nil {
		return nil, err
	}
	if !f.values.Has("/from_day") {
		f.values.Set("/from_day", duedate.DayIn(c.Now(), site.Location()).String())
	}
	data := standingData{Site: site, Parties: []option{{Text: q.texts.T("console.choose")}}, Form: f}
	for _, p := range list {
		text := p.Name
		if p.Email != "" {
			text += ", " + p.Email
		}
		data.Parties = append(data.Parties, option{Value: p.PartyID.String(), Text: text})
	}
	return page{name: "standing", status: status, data: data}, nil
}

func (c *Console) standingMake(ctx context.Context, q *request) (answer, error) {
	site, f, err := q.formOf("site_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	s := fleet.Standing{SiteID: site, StandingID: r.id("standing_id"), Role: r.chosen("/role"), FromDay: r.day("/from_day"), ToDay: r.day("/to_day")}
	if r.chosen("/party_id") != "" {
		s.PartyID = r.id("/party_id")
	}
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutStanding(ctx, q.by, s, 0)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.standingPage(ctx, q, site, f, status) })
	}
	return seeOther("/sites/" + site.String() + "#parties"), nil
}

type standingEndData struct {
	Site     fleet.Site
	Standing fleet.Standing
	Form     form
}

// standingEndForm asks for the last day. An empty one lets it go on again: that is the way back.
func (c *Console) standingEndForm(ctx context.Context, q *request) (answer, error) {
	return c.standingEndPage(ctx, q, form{}, http.StatusOK)
}

func (c *Console) standingEndPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	site, s, err := c.standingOf(ctx, q)
	if err != nil {
		return nil, err
	}
	if f.values == nil {
		f = newForm(map[string]string{"/to_day": s.ToDay.String(), "version": strconv.Itoa(s.Version)})
		if s.ToDay.IsZero() {
			f.values.Set("/to_day", duedate.DayIn(c.Now(), site.Location()).String())
		}
	}
	return page{name: "standing-end", status: status, data: standingEndData{site, s, f}}, nil
}

// standingOf finds the standing that the address names.
func (c *Console) standingOf(ctx context.Context, q *request) (site fleet.Site, s fleet.Standing, err error) {
	siteID, err := q.pathID("site_id")
	if err != nil {
		return site, s, err
	}
	id, err := q.pathID("standing_id")
	if err != nil {
		return site, s, err
	}
	if site, err = c.Fleet.Site(ctx, q.by, siteID); err != nil {
		return site, s, err
	}
	list, err := c.Fleet.Standings(ctx, q.by, fleet.StandingQuery{SiteID: siteID, Limit: 1000})
	if err != nil {
		return site, s, err
	}
	for _, one := range list {
		if one.StandingID == id {
			return site, one, nil
		}
	}
	return site, s, fault.New(fault.NotFound, "route_not_found")
}

func (c *Console) standingEnd(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	site, s, err := c.standingOf(ctx, q)
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	version := r.number("version")
	s.ToDay = r.day("/to_day")
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutStanding(ctx, q.by, s, version)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.standingEndPage(ctx, q, f, status) })
	}
	return seeOther("/sites/" + site.SiteID.String() + "#parties"), nil
}
