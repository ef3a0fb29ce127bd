package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type PartyPath struct {
	PartyID uuid.UUID `path:"party_id" format:"uuid"`
}

// PartyBody is what a client says of a party.
type PartyBody struct {
	Name      string `json:"name" minLength:"1" maxLength:"200"`
	Email     string `json:"email,omitempty" maxLength:"254"`
	Telephone string `json:"telephone,omitempty" maxLength:"60"`
	Note      string `json:"note,omitempty" maxLength:"2000"`
	// For mail only.
	FurtherAddresses string `json:"further_addresses,omitempty" maxLength:"1000" doc:"For mail that the first address refuses, in order: an address list (RFC 5322), such as Anna Berg <anna@example.org>, keys@example.org."`
	Language         string `json:"language,omitempty" maxLength:"35" doc:"Of letters, BCP 47; English if absent."`
	TimeZone         string `json:"time_zone,omitempty" maxLength:"60" doc:"IANA zone in which the party's day begins; that of most of its sites if absent."`
}

func (b PartyBody) party(id uuid.UUID) fleet.Party {
	return fleet.Party{PartyID: id, Name: b.Name, Email: b.Email, Telephone: b.Telephone, Note: b.Note, FurtherAddresses: b.FurtherAddresses, Language: b.Language, TimeZone: b.TimeZone}
}

type partyItem struct {
	PartyID uuid.UUID `json:"party_id" format:"uuid"`
	PartyBody
	Version int `json:"version"`
}

func newPartyItem(p fleet.Party) partyItem {
	return partyItem{PartyID: p.PartyID, Version: p.Version, PartyBody: PartyBody{Name: p.Name, Email: p.Email, Telephone: p.Telephone, Note: p.Note,
		FurtherAddresses: p.FurtherAddresses, Language: p.Language, TimeZone: p.TimeZone}}
}

type partyPutIn struct {
	PartyPath
	IfMatch
	Body PartyBody
}

type partyOut struct {
	Status int
	ETag   string `header:"ETag"`
	Body   partyItem
}

type partyListIn struct {
	PageIn
	Search string `query:"search" maxLength:"100" doc:"Part of the name or the e-mail address."`
}

type partyListOut struct {
	Body struct {
		Parties []partyItem `json:"parties"`
		PageOut
	}
}

// StandingBody is what a client says of a party's standing to a site.
type StandingBody struct {
	PartyID uuid.UUID `json:"party_id" format:"uuid"`
	Role    string    `json:"role" enum:"owner,occupier,managing_agent,payer,named_person"`
	FromDay string    `json:"from_day" format:"date" doc:"The first day."`
	ToDay   string    `json:"to_day,omitempty" format:"date" doc:"The last day; absent while it goes on."`
}

type standingItem struct {
	StandingID uuid.UUID `json:"standing_id" format:"uuid"`
	SiteID     uuid.UUID `json:"site_id" format:"uuid"`
	StandingBody
	PartyName string `json:"party_name" doc:"As it is now."`
	Version   int    `json:"version"`
}

func newStandingItem(s fleet.Standing) standingItem {
	return standingItem{StandingID: s.StandingID, SiteID: s.SiteID, PartyName: s.PartyName, Version: s.Version,
		StandingBody: StandingBody{PartyID: s.PartyID, Role: s.Role, FromDay: s.FromDay.String(), ToDay: s.ToDay.String()}}
}

type standingPutIn struct {
	SitePath
	StandingID uuid.UUID `path:"standing_id" format:"uuid"`
	IfMatch
	Body StandingBody
}

type standingOut struct {
	Status int
	ETag   string `header:"ETag"`
	Body   standingItem
}

type standingListIn struct {
	SitePath
	PageIn
	OnDay string `query:"on_day" format:"date" doc:"Only those that hold on this day."`
}

type standingListOut struct {
	Body struct {
		Standings []standingItem `json:"standings"`
		PageOut
	}
}

// standingKey is the cursor of the list of standings.
type standingKey struct {
	Day duedate.Day `json:"d"`
	ID  uuid.UUID   `json:"i"`
}

func (a *API) parties() {
	add(a, operation("party-list", http.MethodGet, "/v1/parties", identity.ActReadRegister, "Parties by name"), a.partyList)
	add(a, operation("party-get", http.MethodGet, "/v1/parties/{party_id}", identity.ActReadRegister, "One party"), a.partyGet)
	add(a, operation("party-put", http.MethodPut, "/v1/parties/{party_id}", identity.ActWriteRegister, "Make or change a party"), a.partyPut)
	add(a, operation("standing-list", http.MethodGet, "/v1/sites/{site_id}/parties", identity.ActReadRegister, "Who stands to a site, and since when"), a.standingList)
	add(a, operation("standing-put", http.MethodPut, "/v1/sites/{site_id}/parties/{standing_id}", identity.ActWriteRegister, "Say what a party is to a site"), a.standingPut)
}

func (a *API) partyList(ctx context.Context, by identity.Actor, in *partyListIn) (*partyListOut, error) {
	var after nameKey
	if err := readCursor(in.After, &after); err != nil {
		return nil, err
	}
	list, err := a.Fleet.Parties(ctx, by, fleet.PartyQuery{Search: in.Search, AfterName: after.Name, AfterID: after.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &partyListOut{}
	out.Body.Parties = make([]partyItem, len(list))
	for i, p := range list {
		out.Body.Parties[i] = newPartyItem(p)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(nameKey{last.Name, last.PartyID})
	}
	return out, nil
}

func (a *API) partyGet(ctx context.Context, by identity.Actor, in *PartyPath) (*partyOut, error) {
	p, err := a.Fleet.Party(ctx, by, in.PartyID)
	if err != nil {
		return nil, err
	}
	return &partyOut{Status: http.StatusOK, ETag: etag(p.Version), Body: newPartyItem(p)}, nil
}

func (a *API) partyPut(ctx context.Context, by identity.Actor, in *partyPutIn) (*partyOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	p, isNew, err := a.Fleet.PutParty(ctx, by, in.Body.party(in.PartyID), version)
	if err != nil {
		return nil, err
	}
	return &partyOut{Status: created(isNew), ETag: etag(p.Version), Body: newPartyItem(p)}, nil
}

func (a *API) standingList(ctx context.Context, by identity.Actor, in *standingListIn) (*standingListOut, error) {
	var after standingKey
	if err := readCursor(in.After, &after); err != nil {
		return nil, err
	}
	var read reader
	q := fleet.StandingQuery{SiteID: in.SiteID, OnDay: read.day("", in.OnDay), AfterDay: after.Day, AfterID: after.ID, Limit: in.Limit}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	list, err := a.Fleet.Standings(ctx, by, q)
	if err != nil {
		return nil, err
	}
	out := &standingListOut{}
	out.Body.Standings = make([]standingItem, len(list))
	for i, s := range list {
		out.Body.Standings[i] = newStandingItem(s)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(standingKey{last.FromDay, last.StandingID})
	}
	return out, nil
}

func (a *API) standingPut(ctx context.Context, by identity.Actor, in *standingPutIn) (*standingOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var read reader
	b := in.Body
	put := fleet.Standing{SiteID: in.SiteID, StandingID: in.StandingID, PartyID: b.PartyID, Role: b.Role,
		FromDay: read.day("/from_day", b.FromDay), ToDay: read.day("/to_day", b.ToDay)}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	s, isNew, err := a.Fleet.PutStanding(ctx, by, put, version)
	if err != nil {
		return nil, err
	}
	return &standingOut{Status: created(isNew), ETag: etag(s.Version), Body: newStandingItem(s)}, nil
}
