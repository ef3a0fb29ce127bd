package console

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// closedLine is a closed day as people read it.
type closedLine struct {
	fleet.ClosedDay
	Days, Where string
}

type closedDaysData struct {
	Filter filter
	Name   string // of the site or customer that the page is of
	Lines  []closedLine
	More   More
	Form   form
}

// closedDays lists public holidays and other days on which nobody works, everywhere, or of one site or customer, with the form that enters more.
func (c *Console) closedDays(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	return c.closedDaysPage(ctx, q, newForm(map[string]string{"closed_day_id": c.NewID().String(), "site": f.Value("site"), "customer": f.Value("customer")}), http.StatusOK)
}

func (c *Console) closedDaysPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	list := q.filter()
	for _, name := range []string{"site", "customer"} { // a form that was refused says what its page is of
		list.values.Set(name, f.Value(name))
	}
	query := fleet.ClosedDayQuery{SiteID: list.ID("site"), CustomerID: list.ID("customer"), From: duedate.DayIn(c.Now(), time.UTC), Limit: perPage + 1}
	var key dayKey
	list.key(&key)
	if err := list.faults.Err(); err != nil {
		return nil, err
	}
	query.AfterDay, query.AfterID = key.Day, key.ID
	days, err := c.Fleet.ClosedDays(ctx, q.by, query)
	if err != nil {
		return nil, err
	}
	var last any
	if len(days) > perPage {
		days = days[:perPage]
		last = dayKey{days[perPage-1].From, days[perPage-1].ClosedDayID}
	}
	names, err := c.closedNames(ctx, q, days, query.SiteID, query.CustomerID)
	if err != nil {
		return nil, err
	}
	data := closedDaysData{Filter: list, More: q.more(last), Form: f, Name: names[query.CustomerID].Text}
	if query.SiteID != uuid.Nil {
		data.Name = names[query.SiteID].Text
	}
	for _, one := range days {
		data.Lines = append(data.Lines, closedLineOf(q, one, names))
	}
	return page{name: "closed-days", status: status, data: data}, nil
}

func (c *Console) closedNames(ctx context.Context, q *request, days []fleet.ClosedDay, sites ...uuid.UUID) (fleet.Names, error) {
	ids := fleet.Named{Sites: sites[:1:1], Customers: sites[1:]}
	for _, one := range days {
		if one.SiteID != nil {
			ids.Sites = append(ids.Sites, *one.SiteID)
		} else if one.CustomerID != nil {
			ids.Customers = append(ids.Customers, *one.CustomerID)
		}
	}
	return c.Fleet.Names(ctx, q.by, ids)
}

func closedLineOf(q *request, one fleet.ClosedDay, names fleet.Names) closedLine {
	w := writer{q.texts}
	line := closedLine{ClosedDay: one, Days: w.day(one.From), Where: one.Place}
	if one.Until != one.From {
		line.Days = q.texts.T("console.closed.span", "from", w.day(one.From), "until", w.day(one.Until))
	}
	switch {
	case one.SiteID != nil:
		line.Where = names[*one.SiteID].Text
	case one.CustomerID != nil:
		line.Where = names[*one.CustomerID].Text
	case one.Place == "":
		line.Where = q.texts.T("console.closed.everywhere")
	}
	return line
}

// closedPath is the page of closed days of a site, a customer, or all.
func closedPath(site, customer string) string {
	switch {
	case site != "":
		return "/closed-days?site=" + site
	case customer != "":
		return "/closed-days?customer=" + customer
	}
	return "/closed-days"
}

func (c *Console) closedDayMake(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	one := fleet.ClosedDay{ClosedDayID: r.id("closed_day_id"), SiteID: r.optionalID("site"), CustomerID: r.optionalID("customer"), Place: f.Value("/place"), Name: f.Value("/name"),
		Span: duedate.Span{From: r.day("/from"), Until: r.day("/until")}}
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutClosedDay(ctx, q.by, one, 0)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.closedDaysPage(ctx, q, f, status) })
	}
	return seeOther(closedPath(f.Value("site"), f.Value("customer"))), nil
}

// closedDayOf gives the closed day of the address, and the page that it stands on.
func (c *Console) closedDayOf(ctx context.Context, q *request) (one fleet.ClosedDay, back string, err error) {
	id, err := q.pathID("closed_day_id")
	if err != nil {
		return one, "", err
	}
	one, err = c.Fleet.ClosedDay(ctx, q.by, id)
	return one, closedPath(optionalText(one.SiteID), optionalText(one.CustomerID)), err
}

func (c *Console) closedDaySure(ctx context.Context, q *request) (answer, error) {
	one, back, err := c.closedDayOf(ctx, q)
	if err != nil {
		return nil, err
	}
	names, err := c.closedNames(ctx, q, []fleet.ClosedDay{one}, uuid.Nil, uuid.Nil)
	if err != nil {
		return nil, err
	}
	line := closedLineOf(q, one, names)
	ask := q.texts.T("console.closed.cancel.ask", "name", one.Name, "days", line.Days, "where", line.Where)
	return c.sure(ask, q.texts.T("console.closed.cancel"), "/closed-days/"+one.ClosedDayID.String()+"/cancel", back), nil
}

func (c *Console) closedDayCancel(ctx context.Context, q *request) (answer, error) {
	one, back, err := c.closedDayOf(ctx, q)
	if err != nil {
		return nil, err
	}
	version := one.Version
	one.Cancelled = true
	if _, _, err := c.Fleet.PutClosedDay(ctx, q.by, one, version); err != nil {
		return nil, err
	}
	return seeOther(back), nil
}
