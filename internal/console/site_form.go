package console

import (
	"context"
	"net/http"
	"strconv"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// siteFormData is the form of a site that is made, or changed.
type siteFormData struct {
	New      bool
	SiteID   string
	Customer fleet.Customer
	Form     form
}

func (c *Console) siteNew(ctx context.Context, q *request) (answer, error) {
	f := q.filter()
	customer := f.ID("customer")
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	return c.siteNewPage(ctx, q, newForm(map[string]string{"site_id": c.NewID().String(), "/customer_id": customer.String()}), http.StatusOK)
}

func (c *Console) siteNewPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	id, _ := uuid.Parse(f.Value("/customer_id"))
	customer, err := c.Fleet.Customer(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	return page{name: "site-form", status: status, data: siteFormData{New: true, Customer: customer, Form: f}}, nil
}

func (c *Console) siteMake(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	site := r.site(r.id("site_id"), r.id("/customer_id"))
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutSite(ctx, q.by, site, 0)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.siteNewPage(ctx, q, f, status) })
	}
	return seeOther("/sites/" + site.SiteID.String()), nil
}

func (c *Console) siteChange(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("site_id")
	if err != nil {
		return nil, err
	}
	return c.siteChangePage(ctx, q, id, form{}, http.StatusOK)
}

func (c *Console) siteChangePage(ctx context.Context, q *request, id uuid.UUID, f form, status int) (answer, error) {
	site, err := c.Fleet.Site(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	customer, err := c.Fleet.Customer(ctx, q.by, site.CustomerID)
	if err != nil {
		return nil, err
	}
	if f.values == nil {
		f = siteForm(site)
	}
	return page{name: "site-form", status: status, data: siteFormData{SiteID: id.String(), Customer: customer, Form: f}}, nil
}

func (c *Console) sitePut(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("site_id")
	if err != nil {
		return nil, err
	}
	present, err := c.Fleet.Site(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	site, version := r.site(id, present.CustomerID), r.number("version")
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutSite(ctx, q.by, site, version)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.siteChangePage(ctx, q, id, f, status) })
	}
	return seeOther("/sites/" + id.String()), nil
}

func siteForm(s fleet.Site) form {
	f := newForm(map[string]string{"/name": s.Name, "/address": s.Address, "/city": s.City, "/region": s.Region, "/postal_code": s.PostalCode, "/country": s.Country,
		"/jurisdiction": s.Jurisdiction, "/time_zone": s.TimeZone, "/opening_hours": s.OpeningHours, "/access_notes": s.AccessNotes, "version": strconv.Itoa(s.Version)})
	if p := s.Position; p != nil {
		f.values.Set("/latitude_deg", strconv.FormatFloat(p.LatitudeDeg, 'f', -1, 64))
		f.values.Set("/longitude_deg", strconv.FormatFloat(p.LongitudeDeg, 'f', -1, 64))
	}
	return f
}

// site reads what the form says of a site.
func (r *reader) site(id, customer uuid.UUID) fleet.Site {
	f := r.form
	s := fleet.Site{CustomerID: customer, SiteID: id, Name: f.Value("/name"), Address: f.Value("/address"), City: f.Value("/city"), Region: f.Value("/region"), PostalCode: f.Value("/postal_code"),
		Country: f.Value("/country"), Jurisdiction: f.Value("/jurisdiction"), TimeZone: f.Value("/time_zone"), OpeningHours: f.Value("/opening_hours"), AccessNotes: f.Value("/access_notes")}
	switch lat, long := r.degrees("/latitude_deg"), r.degrees("/longitude_deg"); {
	case lat != nil && long != nil:
		s.Position = &fleet.Position{LatitudeDeg: *lat, LongitudeDeg: *long}
	case lat != nil && f.Value("/longitude_deg") == "":
		r.faults.Add("/longitude_deg", "position_half")
	case long != nil && f.Value("/latitude_deg") == "":
		r.faults.Add("/latitude_deg", "position_half")
	}
	return s
}

// degrees reads a decimal number to its last digit: a place on the earth is not rounded.
func (r *reader) degrees(name string) *float64 {
	text := r.form.Value(name)
	if text == "" {
		return nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		r.faults.Add(name, "value_unreadable", "unit", "°")
		return nil
	}
	return &v
}

type handOverData struct {
	Site      fleet.Site
	Customer  fleet.Customer
	Customers []option
	Form      form
}

// handOverForm asks who has the site from which day on: it is the way in which a site leaves a customer.
func (c *Console) handOverForm(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("site_id")
	if err != nil {
		return nil, err
	}
	return c.handOverPage(ctx, q, id, form{}, http.StatusOK)
}

func (c *Console) handOverPage(ctx context.Context, q *request, id uuid.UUID, f form, status int) (answer, error) {
	site, err := c.Fleet.Site(ctx, q.by, id)
	if err != nil {
		return nil, err
	}
	customer, err := c.Fleet.Customer(ctx, q.by, site.CustomerID)
	if err != nil {
		return nil, err
	}
	list, err := c.Fleet.Customers(ctx, q.by, fleet.CustomerQuery{Limit: 500})
	if err != nil {
		return nil, err
	}
	if f.values == nil {
		f = newForm(map[string]string{"/day": duedate.DayIn(c.Now(), site.Location()).String(), "version": strconv.Itoa(site.Version)})
	}
	data := handOverData{Site: site, Customer: customer, Customers: []option{{Text: q.texts.T("console.choose")}}, Form: f}
	for _, one := range list {
		if one.CustomerID != site.CustomerID {
			data.Customers = append(data.Customers, option{Value: one.CustomerID.String(), Text: one.Name})
		}
	}
	return page{name: "site-hand-over", status: status, data: data}, nil
}

func (c *Console) handOver(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("site_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	h, version := fleet.HandOver{SiteID: id, Day: r.day("/day")}, r.number("version")
	if r.chosen("/customer_id") != "" {
		h.CustomerID = r.id("/customer_id")
	}
	if err = r.faults.Err(); err == nil {
		_, err = c.Fleet.HandOverSite(ctx, q.by, h, version)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.handOverPage(ctx, q, id, f, status) })
	}
	return seeOther("/sites/" + id.String()), nil
}
