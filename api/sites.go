package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type SitePath struct {
	SiteID uuid.UUID `path:"site_id" format:"uuid"`
}

// SiteBody is what a client says of a site.
type SiteBody struct {
	CustomerID   uuid.UUID `json:"customer_id" format:"uuid" doc:"Whose site it is. A site changes hands by site-hand-over."`
	Name         string    `json:"name" minLength:"1" maxLength:"200"`
	Address      string    `json:"address,omitempty" maxLength:"500"`
	City         string    `json:"city,omitempty" maxLength:"100"`
	Region       string    `json:"region,omitempty" maxLength:"100"`
	PostalCode   string    `json:"postal_code,omitempty" maxLength:"20"`
	Country      string    `json:"country" minLength:"2" maxLength:"2" doc:"ISO 3166-1 alpha-2." example:"US"`
	Jurisdiction string    `json:"jurisdiction" minLength:"2" maxLength:"6" doc:"Whose law holds: an ISO 3166-2 code, or the country." example:"US-CA"`
	TimeZone     string    `json:"time_zone" minLength:"1" maxLength:"60" doc:"Name in the IANA time zone database." example:"America/Los_Angeles"`
	LatitudeDeg  *float64  `json:"latitude_deg,omitempty" minimum:"-90" maximum:"90" doc:"WGS 84; with longitude_deg or not at all."`
	LongitudeDeg *float64  `json:"longitude_deg,omitempty" minimum:"-180" maximum:"180"`
	OpeningHours string    `json:"opening_hours,omitempty" maxLength:"1000"`
	AccessNotes  string    `json:"access_notes,omitempty" maxLength:"2000" doc:"How to get in. A code of a key safe does not belong here: it has an operation of its own."`
}

type siteItem struct {
	SiteID uuid.UUID `json:"site_id" format:"uuid"`
	SiteBody
	Version int `json:"version"`
}

func newSiteItem(s fleet.Site) siteItem {
	item := siteItem{SiteID: s.SiteID, Version: s.Version, SiteBody: SiteBody{CustomerID: s.CustomerID, Name: s.Name, Address: s.Address,
		City: s.City, Region: s.Region, PostalCode: s.PostalCode, Country: s.Country, Jurisdiction: s.Jurisdiction, TimeZone: s.TimeZone,
		OpeningHours: s.OpeningHours, AccessNotes: s.AccessNotes}}
	if p := s.Position; p != nil {
		item.LatitudeDeg, item.LongitudeDeg = &p.LatitudeDeg, &p.LongitudeDeg
	}
	return item
}

type sitePutIn struct {
	SitePath
	IfMatch
	Body SiteBody
}

type siteHandOverIn struct {
	SitePath
	IfMatch
	Body struct {
		CustomerID uuid.UUID `json:"customer_id" format:"uuid" doc:"Whose site it is from now on, with everything that was ever recorded of it."`
		Day        string    `json:"day" format:"date" doc:"The new customer's first day, not in the future. Owners' standings that began before it end on the eve."`
	}
}

type siteOut struct {
	Status int
	ETag   string `header:"ETag"`
	Body   siteItem
}

func newSiteOut(s fleet.Site, isNew bool) *siteOut {
	return &siteOut{Status: created(isNew), ETag: etag(s.Version), Body: newSiteItem(s)}
}

type siteListIn struct {
	PageIn
	Search     string `query:"search" maxLength:"100" doc:"Part of the name, the address or the city."`
	CustomerID string `query:"customer_id" format:"uuid"`
}

type siteListOut struct {
	Body struct {
		Sites []siteItem `json:"sites"`
		PageOut
	}
}

func (a *API) sites() {
	add(a, operation("site-list", http.MethodGet, "/v1/sites", identity.ActReadRegister, "Sites by name"), a.siteList)
	add(a, operation("site-get", http.MethodGet, "/v1/sites/{site_id}", identity.ActReadRegister, "One site"), a.siteGet)
	add(a, operation("site-put", http.MethodPut, "/v1/sites/{site_id}", identity.ActWriteRegister, "Make or change a site"), a.sitePut)
	add(a, operation("site-hand-over", http.MethodPut, "/v1/sites/{site_id}/customer", identity.ActWriteRegister, "Put a site under another customer"), a.siteHandOver)
}

func (a *API) siteList(ctx context.Context, by identity.Actor, in *siteListIn) (*siteListOut, error) {
	var after nameKey
	if err := readCursor(in.After, &after); err != nil {
		return nil, err
	}
	list, err := a.Fleet.Sites(ctx, by, fleet.SiteQuery{Search: in.Search, Customer: optionalID(in.CustomerID),
		AfterName: after.Name, AfterID: after.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &siteListOut{}
	out.Body.Sites = make([]siteItem, len(list))
	for i, s := range list {
		out.Body.Sites[i] = newSiteItem(s)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(nameKey{last.Name, last.SiteID})
	}
	return out, nil
}

func (a *API) siteGet(ctx context.Context, by identity.Actor, in *SitePath) (*siteOut, error) {
	s, err := a.Fleet.Site(ctx, by, in.SiteID)
	if err != nil {
		return nil, err
	}
	return newSiteOut(s, false), nil
}

func (a *API) sitePut(ctx context.Context, by identity.Actor, in *sitePutIn) (*siteOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	site, err := in.fleet()
	if err != nil {
		return nil, err
	}
	s, isNew, err := a.Fleet.PutSite(ctx, by, site, version)
	if err != nil {
		return nil, err
	}
	return newSiteOut(s, isNew), nil
}

func (in *sitePutIn) fleet() (fleet.Site, error) {
	b := in.Body
	s := fleet.Site{CustomerID: b.CustomerID, SiteID: in.SiteID, Name: b.Name, Address: b.Address, City: b.City, Region: b.Region,
		PostalCode: b.PostalCode, Country: b.Country, Jurisdiction: b.Jurisdiction, TimeZone: b.TimeZone,
		OpeningHours: b.OpeningHours, AccessNotes: b.AccessNotes}
	var read reader
	switch {
	case b.LatitudeDeg != nil && b.LongitudeDeg != nil:
		s.Position = &fleet.Position{LatitudeDeg: *b.LatitudeDeg, LongitudeDeg: *b.LongitudeDeg}
	case b.LatitudeDeg != nil:
		read.faults.Add("/longitude_deg", "position_half")
	case b.LongitudeDeg != nil:
		read.faults.Add("/latitude_deg", "position_half")
	}
	return s, read.faults.Err()
}

func (a *API) siteHandOver(ctx context.Context, by identity.Actor, in *siteHandOverIn) (*siteOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var read reader
	h := fleet.HandOver{SiteID: in.SiteID, CustomerID: in.Body.CustomerID, Day: read.day("/day", in.Body.Day)}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	s, err := a.Fleet.HandOverSite(ctx, by, h, version)
	if err != nil {
		return nil, err
	}
	return newSiteOut(s, false), nil
}
