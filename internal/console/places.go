package console

import (
	"context"
	"net/http"
	"strconv"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

type customersData struct {
	Filter filter
	Lines  []fleet.Customer
	More   More
}

func (c *Console) customers(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	var key nameKey
	f.key(&key)
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	list, err := c.Fleet.Customers(ctx, q.by, fleet.CustomerQuery{Search: f.Value("search"), AfterName: key.Name, AfterID: key.ID, Limit: perPage + 1})
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = nameKey{list[perPage-1].Name, list[perPage-1].CustomerID}
	}
	return page{name: "customers", data: customersData{f, list, q.more(last)}}, nil
}

type customerNewData struct{ Form form }

func (c *Console) customerNew(context.Context, *request) (answer, error) {
	f := newForm(map[string]string{"customer_id": c.NewID().String()})
	return page{name: "customer-new", data: customerNewData{f}}, nil
}

func (c *Console) customerMake(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	one := fleet.Customer{CustomerID: r.id("customer_id"), Name: f.Value("/name"), Account: f.Value("/account"), Note: f.Value("/note")}
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutCustomer(ctx, q.by, one, 0)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) {
			return page{name: "customer-new", status: status, data: customerNewData{f}}, nil
		})
	}
	return seeOther("/customers/" + one.CustomerID.String()), nil
}

type customerData struct {
	Customer fleet.Customer
	Sites    []fleet.Site
	Form     form
}

func (c *Console) customer(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("customer_id")
	if err != nil {
		return nil, err
	}
	return c.customerPage(ctx, q, id, form{}, http.StatusOK)
}

func (c *Console) customerPage(ctx context.Context, q *request, id uuid.UUID, f form, status int) (answer, error) {
	one, err := c.Fleet.Customer(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	sites, err := c.Fleet.Sites(ctx, q.by, fleet.SiteQuery{Customer: id, Limit: 200})
	if err != nil {
		return nil, err
	}
	if f.values == nil {
		f = newForm(map[string]string{"/name": one.Name, "/account": one.Account, "/note": one.Note, "version": strconv.Itoa(one.Version)})
	}
	return page{name: "customer", status: status, data: customerData{one, sites, f}}, nil
}

func (c *Console) customerPut(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("customer_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	version := r.number("version")
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutCustomer(ctx, q.by, fleet.Customer{CustomerID: id, Name: f.Value("/name"), Account: f.Value("/account"), Note: f.Value("/note")}, version)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.customerPage(ctx, q, id, f, status) })
	}
	return seeOther("/customers/" + id.String()), nil
}

type sitesData struct {
	Filter filter
	Lines  []siteLine
	More   More
}

type siteLine struct {
	fleet.Site
	Customer string
}

func (c *Console) sites(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	var key nameKey
	f.key(&key)
	query := fleet.SiteQuery{Search: f.Value("search"), Customer: f.ID("customer"), AfterName: key.Name, AfterID: key.ID, Limit: perPage + 1}
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	list, err := c.Fleet.Sites(ctx, q.by, query)
	if err != nil {
		return nil, err
	}
	var last any
	if len(list) > perPage {
		list = list[:perPage]
		last = nameKey{list[perPage-1].Name, list[perPage-1].SiteID}
	}
	var ids fleet.Named
	for _, s := range list {
		ids.Customers = append(ids.Customers, s.CustomerID)
	}
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return nil, err
	}
	data := sitesData{Filter: f, More: q.more(last)}
	for _, s := range list {
		data.Lines = append(data.Lines, siteLine{s, names[s.CustomerID].Text})
	}
	return page{name: "sites", data: data}, nil
}

type siteData struct {
	Site      fleet.Site
	Customer  fleet.Customer
	Standings []standingLine // of all times
	Today     duedate.Day
	Doors     []doorLine
	MoreDoors bool
	Orders    []orderLine
}

// standingLine is what a party is to a site, and where letters reach it now; Over tells that its last day has passed.
type standingLine struct {
	fleet.Standing
	Party fleet.Party
	Over  bool
}

// standings tells who stands to a site. The addresses of those of the past are nobody's business any more.
func (c *Console) standings(ctx context.Context, q *request, site uuid.UUID, today duedate.Day) (lines []standingLine, err error) {
	list, err := c.Fleet.Standings(ctx, q.by, fleet.StandingQuery{SiteID: site, Limit: 200})
	if err != nil {
		return nil, err
	}
	known := map[uuid.UUID]fleet.Party{}
	for _, s := range list {
		line := standingLine{Standing: s, Over: !s.ToDay.IsZero() && s.ToDay.Before(today)}
		if _, ok := known[s.PartyID]; !ok && !line.Over {
			if known[s.PartyID], err = c.Fleet.Party(ctx, q.by, s.PartyID); err != nil {
				return nil, err
			}
		}
		line.Party = known[s.PartyID]
		lines = append(lines, line)
	}
	return lines, nil
}

// doorsOfSite is how many doors a site's page shows.
const doorsOfSite = 50

func (c *Console) site(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("site_id")
	if err != nil {
		return nil, err
	}
	site, err := c.Fleet.Site(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	customer, err := c.Fleet.Customer(ctx, q.by, site.CustomerID)
	if err != nil {
		return nil, err
	}
	data := siteData{Site: site, Customer: customer, Today: duedate.DayIn(c.Now(), site.Location())}
	if data.Standings, err = c.standings(ctx, q, id, data.Today); err != nil {
		return nil, err
	}
	doors, err := c.Fleet.Doors(ctx, q.by, fleet.DoorQuery{Site: id, Limit: doorsOfSite + 1})
	if err != nil {
		return nil, err
	}
	if data.MoreDoors = len(doors) > doorsOfSite; data.MoreDoors {
		doors = doors[:doorsOfSite]
	}
	data.Doors = c.doorLines(doors)
	orders, err := c.Fleet.WorkOrders(ctx, q.by, fleet.WorkOrderQuery{SiteID: id, State: "open", Limit: perPage})
	if err != nil {
		return nil, err
	}
	names, err := c.Fleet.Names(ctx, q.by, named(nil, orders))
	if err != nil {
		return nil, err
	}
	data.Orders = c.orderLines(q, orders, names)
	return page{name: "site", data: data}, nil
}
