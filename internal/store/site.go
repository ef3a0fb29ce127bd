package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type siteRow struct {
	CustomerID   uuid.UUID
	SiteID       uuid.UUID
	Name         string
	Address      string
	City         string
	Region       string
	PostalCode   string
	Country      string
	Jurisdiction string
	TimeZone     string
	LatitudeDeg  *float64
	LongitudeDeg *float64
	OpeningHours string
	AccessNotes  string
	Version      int
	CreatedAt    time.Time
	CreatedBy    uuid.UUID
}

func (r siteRow) site() fleet.Site {
	s := fleet.Site{CustomerID: r.CustomerID, SiteID: r.SiteID, Name: r.Name, Address: r.Address, City: r.City, Region: r.Region,
		PostalCode: r.PostalCode, Country: r.Country, Jurisdiction: r.Jurisdiction, TimeZone: r.TimeZone,
		OpeningHours: r.OpeningHours, AccessNotes: r.AccessNotes, Version: r.Version, CreatedAt: r.CreatedAt, CreatedBy: r.CreatedBy}
	if r.LatitudeDeg != nil && r.LongitudeDeg != nil {
		s.Position = &fleet.Position{LatitudeDeg: *r.LatitudeDeg, LongitudeDeg: *r.LongitudeDeg}
	}
	return s
}

func siteArgs(s fleet.Site) pgx.StrictNamedArgs {
	args := pgx.StrictNamedArgs{"customer_id": s.CustomerID, "site_id": s.SiteID, "name": s.Name, "address": s.Address, "city": s.City,
		"region": s.Region, "postal_code": s.PostalCode, "country": s.Country, "jurisdiction": s.Jurisdiction, "time_zone": s.TimeZone,
		"latitude_deg": nil, "longitude_deg": nil, "opening_hours": s.OpeningHours, "access_notes": s.AccessNotes, "version": s.Version}
	if s.Position != nil {
		args["latitude_deg"], args["longitude_deg"] = s.Position.LatitudeDeg, s.Position.LongitudeDeg
	}
	return args
}

const sqlSiteByID = `-- site_by_id
select customer_id, site_id, name, address, city, region, postal_code, country, jurisdiction, time_zone, latitude_deg, longitude_deg,
  opening_hours, access_notes, version, created_at, created_by
from site where site_id = @site_id`

// SiteByID gives a site that the actor may see.
func (t *Tx) SiteByID(ctx context.Context, id uuid.UUID) (fleet.Site, error) {
	r, err := queryOne[siteRow](ctx, t, "site_by_id", sqlSiteByID, pgx.StrictNamedArgs{"site_id": id}, "site_not_found")
	return r.site(), err
}

const sqlSitePage = `-- site_page
select customer_id, site_id, name, address, city, region, postal_code, country, jurisdiction, time_zone, latitude_deg, longitude_deg,
  opening_hours, access_notes, version, created_at, created_by
from site
where (lower(name), site_id) > (lower(@after_name), @after_id)
  and (@customer_id::uuid is null or customer_id = @customer_id)
  and (@search::text = '' or lower(name) like @search or lower(address) like @search or lower(city) like @search)
order by lower(name), site_id limit @limit`

// SitePage lists sites by name.
func (t *Tx) SitePage(ctx context.Context, q fleet.SiteQuery) ([]fleet.Site, error) {
	rows, err := query[siteRow](ctx, t, "site_page", sqlSitePage, pgx.StrictNamedArgs{
		"after_name": q.AfterName, "after_id": q.AfterID, "customer_id": optional(q.Customer), "search": containing(q.Search), "limit": q.Limit})
	return each(rows, siteRow.site), err
}

const sqlInsertSite = `-- insert_site
insert into site (customer_id, site_id, name, address, city, region, postal_code, country, jurisdiction, time_zone, latitude_deg, longitude_deg,
  opening_hours, access_notes, version, created_at, created_by)
values (@customer_id, @site_id, @name, @address, @city, @region, @postal_code, @country, @jurisdiction, @time_zone, @latitude_deg, @longitude_deg,
  @opening_hours, @access_notes, @version, @created_at, @created_by)
on conflict do nothing`

// InsertSite adds a site, or answers false when the id is taken.
func (t *Tx) InsertSite(ctx context.Context, s fleet.Site) (bool, error) {
	args := siteArgs(s)
	args["created_at"], args["created_by"] = s.CreatedAt, s.CreatedBy
	return insertOne(ctx, t, "insert_site", sqlInsertSite, args)
}

const sqlUpdateSite = `-- update_site
update site set name = @name, address = @address, city = @city, region = @region, postal_code = @postal_code, country = @country,
  jurisdiction = @jurisdiction, time_zone = @time_zone, latitude_deg = @latitude_deg, longitude_deg = @longitude_deg,
  opening_hours = @opening_hours, access_notes = @access_notes, version = @version
where customer_id = @customer_id and site_id = @site_id and version = @version - 1`

// UpdateSite writes the next version of a site; somebody else's change in between is a conflict.
func (t *Tx) UpdateSite(ctx context.Context, s fleet.Site) error {
	return expectOne(exec(ctx, t, "update_site", sqlUpdateSite, siteArgs(s)))
}

const sqlHandOverSite = `-- hand_over_site
update site set customer_id = @customer_id, version = @version where site_id = @site_id and version = @version - 1`

// HandOverSite puts a site under another customer; the keys of everything below it cascade.
func (t *Tx) HandOverSite(ctx context.Context, s fleet.Site) error {
	return expectOne(exec(ctx, t, "hand_over_site", sqlHandOverSite,
		pgx.StrictNamedArgs{"customer_id": s.CustomerID, "site_id": s.SiteID, "version": s.Version}))
}
