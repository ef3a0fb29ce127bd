package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

type partyRow struct {
	PartyID   uuid.UUID
	Name      string
	Email     string
	Telephone string
	Note      string

	FurtherAddresses string
	Language         string
	TimeZone         string

	Version   int
	CreatedAt time.Time
	CreatedBy uuid.UUID
}

func (r partyRow) party() fleet.Party { return fleet.Party(r) }

const sqlPartyByID = `-- party_by_id
select party_id, name, email, telephone, note, further_addresses, language, time_zone, version, created_at, created_by from party where party_id = @party_id`

// PartyByID gives a party that the actor may see.
func (t *Tx) PartyByID(ctx context.Context, id uuid.UUID) (fleet.Party, error) {
	r, err := queryOne[partyRow](ctx, t, "party_by_id", sqlPartyByID, pgx.StrictNamedArgs{"party_id": id}, "party_not_found")
	return r.party(), err
}

const sqlPartyPage = `-- party_page
select party_id, name, email, telephone, note, further_addresses, language, time_zone, version, created_at, created_by from party
where (lower(name), party_id) > (lower(@after_name), @after_id)
  and (@search::text = '' or lower(name) like @search or lower(email) like @search)
order by lower(name), party_id limit @limit`

// PartyPage lists parties by name.
func (t *Tx) PartyPage(ctx context.Context, q fleet.PartyQuery) ([]fleet.Party, error) {
	rows, err := query[partyRow](ctx, t, "party_page", sqlPartyPage, pgx.StrictNamedArgs{
		"after_name": q.AfterName, "after_id": q.AfterID, "search": containing(q.Search), "limit": q.Limit})
	return each(rows, partyRow.party), err
}

const sqlInsertParty = `-- insert_party
insert into party (party_id, name, email, telephone, note, further_addresses, language, time_zone, version, created_at, created_by)
values (@party_id, @name, @email, @telephone, @note, @further_addresses, @language, @time_zone, @version, @created_at, @created_by)
on conflict (party_id) do nothing`

// InsertParty adds a party, or answers false when the id is taken.
func (t *Tx) InsertParty(ctx context.Context, p fleet.Party) (bool, error) {
	n, err := exec(ctx, t, "insert_party", sqlInsertParty, pgx.StrictNamedArgs{"party_id": p.PartyID, "name": p.Name, "email": p.Email,
		"telephone": p.Telephone, "note": p.Note, "further_addresses": p.FurtherAddresses, "language": p.Language, "time_zone": p.TimeZone, "version": p.Version, "created_at": p.CreatedAt, "created_by": p.CreatedBy})
	return n == 1, err
}

const sqlUpdateParty = `-- update_party
update party set name = @name, email = @email, telephone = @telephone, note = @note, further_addresses = @further_addresses,
  language = @language, time_zone = @time_zone, version = @version
where party_id = @party_id and version = @version - 1`

// UpdateParty writes the next version of a party; somebody else's change in between is a conflict.
func (t *Tx) UpdateParty(ctx context.Context, p fleet.Party) error {
	return expectOne(exec(ctx, t, "update_party", sqlUpdateParty, pgx.StrictNamedArgs{"party_id": p.PartyID, "name": p.Name, "email": p.Email,
		"telephone": p.Telephone, "note": p.Note, "further_addresses": p.FurtherAddresses, "language": p.Language, "time_zone": p.TimeZone, "version": p.Version}))
}

type standingRow struct {
	CustomerID uuid.UUID
	SiteID     uuid.UUID
	StandingID uuid.UUID
	PartyID    uuid.UUID
	PartyName  string
	Role       string
	FromDay    time.Time
	ToDay      *time.Time
	Version    int
	RecordedAt time.Time
	RecordedBy uuid.UUID
}

func (r standingRow) standing() fleet.Standing {
	return fleet.Standing{CustomerID: r.CustomerID, SiteID: r.SiteID, StandingID: r.StandingID, PartyID: r.PartyID, PartyName: r.PartyName,
		Role: r.Role, FromDay: day(&r.FromDay), ToDay: day(r.ToDay), Version: r.Version, RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy}
}

const sqlStandingByID = `-- standing_by_id
select s.customer_id, s.site_id, s.standing_id, s.party_id, p.name as party_name, s.role, s.from_day, s.to_day, s.version, s.recorded_at, s.recorded_by
from site_party s join party p on p.party_id = s.party_id
where s.site_id = @site_id and s.standing_id = @standing_id`

// StandingByID gives a standing to one site.
func (t *Tx) StandingByID(ctx context.Context, siteID, id uuid.UUID) (fleet.Standing, error) {
	r, err := queryOne[standingRow](ctx, t, "standing_by_id", sqlStandingByID, pgx.StrictNamedArgs{"site_id": siteID, "standing_id": id}, "standing_not_found")
	return r.standing(), err
}

const sqlStandingPage = `-- standing_page
select s.customer_id, s.site_id, s.standing_id, s.party_id, p.name as party_name, s.role, s.from_day, s.to_day, s.version, s.recorded_at, s.recorded_by
from site_party s join party p on p.party_id = s.party_id
where s.site_id = @site_id
  and (s.from_day, s.standing_id) > (coalesce(@after_day::date, '-infinity'), @after_id)
  and (@on_day::date is null or (s.from_day <= @on_day and (s.to_day is null or s.to_day >= @on_day)))
order by s.from_day, s.standing_id limit @limit`

// StandingPage lists the standings to a site by their first days.
func (t *Tx) StandingPage(ctx context.Context, q fleet.StandingQuery) ([]fleet.Standing, error) {
	rows, err := query[standingRow](ctx, t, "standing_page", sqlStandingPage, pgx.StrictNamedArgs{
		"site_id": q.SiteID, "on_day": date(q.OnDay), "after_day": date(q.AfterDay), "after_id": q.AfterID, "limit": q.Limit})
	return each(rows, standingRow.standing), err
}

const sqlOwnersOn = `-- owners_on
select s.customer_id, s.site_id, s.standing_id, s.party_id, p.name as party_name, s.role, s.from_day, s.to_day, s.version, s.recorded_at, s.recorded_by
from site_party s join party p on p.party_id = s.party_id
where s.site_id = @site_id and s.role = 'owner' and s.from_day <= @day and (s.to_day is null or s.to_day >= @day)
order by s.standing_id`

// OwnersOn gives the standings of owners to a site on a day.
func (t *Tx) OwnersOn(ctx context.Context, siteID uuid.UUID, day duedate.Day) ([]fleet.Standing, error) {
	rows, err := query[standingRow](ctx, t, "owners_on", sqlOwnersOn, pgx.StrictNamedArgs{"site_id": siteID, "day": date(day)})
	return each(rows, standingRow.standing), err
}

const sqlInsertStanding = `-- insert_standing
insert into site_party (customer_id, site_id, standing_id, party_id, role, from_day, to_day, version, recorded_at, recorded_by)
values (@customer_id, @site_id, @standing_id, @party_id, @role, @from_day, @to_day, @version, @recorded_at, @recorded_by)
on conflict do nothing`

// InsertStanding adds a standing, or answers false when the id is taken.
func (t *Tx) InsertStanding(ctx context.Context, s fleet.Standing) (bool, error) {
	args := standingArgs(s)
	args["customer_id"] = s.CustomerID
	n, err := exec(ctx, t, "insert_standing", sqlInsertStanding, args)
	return n == 1, err
}

const sqlUpdateStanding = `-- update_standing
update site_party set party_id = @party_id, role = @role, from_day = @from_day, to_day = @to_day, version = @version,
  recorded_at = @recorded_at, recorded_by = @recorded_by
where site_id = @site_id and standing_id = @standing_id and version = @version - 1`

// UpdateStanding writes the next version of a standing; somebody else's change in between is a conflict.
func (t *Tx) UpdateStanding(ctx context.Context, s fleet.Standing) error {
	return expectOne(exec(ctx, t, "update_standing", sqlUpdateStanding, standingArgs(s)))
}

func standingArgs(s fleet.Standing) pgx.StrictNamedArgs {
	return pgx.StrictNamedArgs{"site_id": s.SiteID, "standing_id": s.StandingID, "party_id": s.PartyID, "role": s.Role,
		"from_day": date(s.FromDay), "to_day": date(s.ToDay), "version": s.Version, "recorded_at": s.RecordedAt, "recorded_by": s.RecordedBy}
}
