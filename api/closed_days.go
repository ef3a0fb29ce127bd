package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// ClosedDayBody is what is said of days on which nobody works.
type ClosedDayBody struct {
	SiteID     *uuid.UUID `json:"site_id,omitempty" format:"uuid" doc:"At this site alone."`
	CustomerID *uuid.UUID `json:"customer_id,omitempty" format:"uuid" doc:"At all sites of this customer; with a site, whose it is."`
	Place      string     `json:"place,omitempty" maxLength:"6" doc:"At all sites of a country or jurisdiction: US, US-CA. With none of the three: everywhere, and nobody of the company works."`
	From       string     `json:"from" format:"date" doc:"The first of the days, by the calendar of the site."`
	Until      string     `json:"until,omitempty" format:"date" doc:"The last of them; from if absent."`
	Name       string     `json:"name" minLength:"1" maxLength:"200" doc:"Such as the holiday's."`
	Cancelled  bool       `json:"cancelled,omitempty" doc:"True: taken back."`
}

type closedDayItem struct {
	ClosedDayID uuid.UUID `json:"closed_day_id" format:"uuid"`
	ClosedDayBody
	Version    int       `json:"version"`
	RecordedAt time.Time `json:"recorded_at"`
	RecordedBy uuid.UUID `json:"recorded_by" format:"uuid"`
}

func newClosedDayItem(c fleet.ClosedDay) closedDayItem {
	return closedDayItem{ClosedDayID: c.ClosedDayID, Version: c.Version, RecordedAt: c.RecordedAt, RecordedBy: c.RecordedBy,
		ClosedDayBody: ClosedDayBody{SiteID: c.SiteID, CustomerID: c.CustomerID, Place: c.Place, From: c.From.String(), Until: c.Until.String(), Name: c.Name, Cancelled: c.Cancelled}}
}

type ClosedDayPath struct {
	ClosedDayID uuid.UUID `path:"closed_day_id" format:"uuid"`
}

type closedDayPutIn struct {
	ClosedDayPath
	IfMatch
	Body ClosedDayBody
}

type closedDayOut struct {
	Status int
	ETag   string `header:"ETag"`
	Body   closedDayItem
}

type closedDayListIn struct {
	PageIn
	SiteID     string `query:"site_id" format:"uuid" doc:"Those that close this site, whomever they were said of."`
	CustomerID string `query:"customer_id" format:"uuid" doc:"Those of this customer and its sites alone."`
	From       string `query:"from" format:"date" doc:"Without those that are over by then."`
	Until      string `query:"until" format:"date" doc:"Without those that begin later."`
}

type closedDayListOut struct {
	Body struct {
		ClosedDays []closedDayItem `json:"closed_days" doc:"Those that hold, by their first days."`
		PageOut
	}
}

// closedDayKey is where a list of closed days goes on.
type closedDayKey struct {
	Day duedate.Day `json:"d,omitzero"`
	ID  uuid.UUID   `json:"i"`
}

func (a *API) closedDays() {
	add(a, operation("closed-day-list", http.MethodGet, "/v1/closed-days", identity.ActReadOffice, "Public holidays and other days on which nobody works"), a.closedDayList)
	add(a, operation("closed-day-get", http.MethodGet, "/v1/closed-days/{closed_day_id}", identity.ActReadOffice, "One closed day, cancelled or not"), a.closedDayGet)
	add(a, operation("closed-day-put", http.MethodPut, "/v1/closed-days/{closed_day_id}", identity.ActPlanWork, "Say when nobody works somewhere. No due date moves, only the day by which something is to be done"), a.closedDayPut)
}

func (a *API) closedDayList(ctx context.Context, by identity.Actor, in *closedDayListIn) (*closedDayListOut, error) {
	var after closedDayKey
	if err := readCursor(in.After, &after); err != nil {
		return nil, err
	}
	var read reader
	q := fleet.ClosedDayQuery{SiteID: optionalID(in.SiteID), CustomerID: optionalID(in.CustomerID), From: read.day("from", in.From), Until: read.day("until", in.Until),
		AfterDay: after.Day, AfterID: after.ID, Limit: in.Limit}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	list, err := a.Fleet.ClosedDays(ctx, by, q)
	if err != nil {
		return nil, err
	}
	out := &closedDayListOut{}
	out.Body.ClosedDays = make([]closedDayItem, len(list))
	for i, c := range list {
		out.Body.ClosedDays[i] = newClosedDayItem(c)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(closedDayKey{last.From, last.ClosedDayID})
	}
	return out, nil
}

func (a *API) closedDayGet(ctx context.Context, by identity.Actor, in *ClosedDayPath) (*closedDayOut, error) {
	c, err := a.Fleet.ClosedDay(ctx, by, in.ClosedDayID)
	if err != nil {
		return nil, err
	}
	return &closedDayOut{Status: http.StatusOK, ETag: etag(c.Version), Body: newClosedDayItem(c)}, nil
}

func (a *API) closedDayPut(ctx context.Context, by identity.Actor, in *closedDayPutIn) (*closedDayOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var read reader
	b := in.Body
	c := fleet.ClosedDay{ClosedDayID: in.ClosedDayID, SiteID: b.SiteID, CustomerID: b.CustomerID, Place: b.Place, Name: b.Name, Cancelled: b.Cancelled,
		Span: duedate.Span{From: read.day("/from", b.From), Until: read.day("/until", b.Until)}}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	saved, isNew, err := a.Fleet.PutClosedDay(ctx, by, c, version)
	if err != nil {
		return nil, err
	}
	return &closedDayOut{Status: created(isNew), ETag: etag(saved.Version), Body: newClosedDayItem(saved)}, nil
}
