package fleet

import (
	"context"
	"net/mail"
	"slices"
	"time"

	"github.com/google/uuid"
	"golang.org/x/text/language"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// Party is a person or firm that stands to sites, of whichever customer.
type Party struct {
	PartyID                uuid.UUID
	Name                   string
	Email, Telephone, Note string
	FurtherAddresses       string // for mail that the first address refuses, in order: an address list (RFC 5322)
	Language               string // of letters, BCP 47; "": English
	TimeZone               string // in which the party's day begins; "": that of most of its sites
	Version                int
	CreatedAt              time.Time
	CreatedBy              uuid.UUID
}

// Standing is what a party is to a site from one day to another, both included.
type Standing struct {
	CustomerID, SiteID, StandingID uuid.UUID
	PartyID                        uuid.UUID
	PartyName                      string // as it is now; not part of the standing
	Role                           string // owner, occupier, managing_agent, payer; named_person: whom the owner has named for what stays undone
	FromDay                        duedate.Day
	ToDay                          duedate.Day `json:",omitzero"` // zero: open
	Version                        int
	RecordedAt                     time.Time
	RecordedBy                     uuid.UUID
}

// PartyQuery asks for parties in the order of their names.
type PartyQuery struct {
	Search    string // part of the name or the e-mail address
	AfterName string
	AfterID   uuid.UUID
	Limit     int
}

// StandingQuery asks for the standings of a site in the order of their first days.
type StandingQuery struct {
	SiteID   uuid.UUID
	OnDay    duedate.Day // zero: of all times
	AfterDay duedate.Day
	AfterID  uuid.UUID
	Limit    int
}

// standingRoles are what a party may be to a site.
func standingRoles() []string {
	return []string{"owner", "managing_agent", "occupier", "payer", "named_person"}
}

type partyRows interface {
	PartyByID(ctx context.Context, id uuid.UUID) (Party, error)
	PartyPage(ctx context.Context, q PartyQuery) ([]Party, error)
	// InsertParty answers false when the id is taken.
	InsertParty(ctx context.Context, p Party) (bool, error)
	UpdateParty(ctx context.Context, p Party) error
	// StandingByID looks on one site only.
	StandingByID(ctx context.Context, siteID, id uuid.UUID) (Standing, error)
	StandingPage(ctx context.Context, q StandingQuery) ([]Standing, error)
	// OwnersOn gives the owners' standings that hold on a day.
	OwnersOn(ctx context.Context, siteID uuid.UUID, day duedate.Day) ([]Standing, error)
	// InsertStanding answers false when the id is taken, on whichever site.
	InsertStanding(ctx context.Context, s Standing) (bool, error)
	UpdateStanding(ctx context.Context, s Standing) error
}

// PutParty makes a party or changes it.
func (f *Fleet) PutParty(ctx context.Context, by identity.Actor, p Party, ifMatch int) (saved Party, created bool, err error) {
	for _, text := range []*string{&p.Name, &p.Email, &p.Telephone, &p.Note, &p.FurtherAddresses, &p.Language, &p.TimeZone} {
		tidy(text)
	}
	if err := p.check(); err != nil {
		return Party{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		p.Version, p.CreatedAt, p.CreatedBy = 1, f.Now(), by.PersonID
		saved = p
		created, err = tx.InsertParty(ctx, p)
		if err != nil {
			return err
		}
		if !created {
			present, err := tx.PartyByID(ctx, p.PartyID)
			if err != nil {
				return err
			}
			saved.Version, saved.CreatedAt, saved.CreatedBy = present.Version, present.CreatedAt, present.CreatedBy
			if saved == present {
				return nil
			}
			if err := checkVersion(ifMatch, present.Version); err != nil {
				return err
			}
			saved.Version++
			if err := tx.UpdateParty(ctx, saved); err != nil {
				return err
			}
		}
		return f.record(ctx, tx, by, "party", saved.PartyID, saved)
	})
	return saved, created, err
}

func (p Party) check() error {
	var faults fault.List
	checkLine(&faults, "/name", p.Name, 1, 200)
	if p.Email != "" && !emailKnown(p.Email) {
		faults.Add("/email", "email_unreadable")
	}
	checkLine(&faults, "/telephone", p.Telephone, 0, 60)
	checkText(&faults, "/note", p.Note, 0, 2000)
	if list, err := mail.ParseAddressList(p.FurtherAddresses); p.FurtherAddresses != "" && (err != nil || len(p.FurtherAddresses) > 1000 ||
		slices.ContainsFunc(list, func(a *mail.Address) bool { return !emailKnown(a.Address) })) {
		faults.Add("/further_addresses", "addresses_unreadable")
	}
	if _, err := language.Parse(p.Language); p.Language != "" && err != nil {
		faults.Add("/language", "language_unknown")
	}
	if _, err := zoneNamed(p.TimeZone); p.TimeZone != "" && err != nil {
		faults.Add("/time_zone", "time_zone_unknown")
	}
	return faults.Err()
}

// emailKnown tells whether a text is one bare address (RFC 5322) of a length that mail servers take (RFC 5321).
func emailKnown(text string) bool {
	a, err := mail.ParseAddress(text)
	return err == nil && a.Name == "" && a.Address == text && len(text) <= 254
}

// PutStanding says what a party is to a site, or corrects it.
func (f *Fleet) PutStanding(ctx context.Context, by identity.Actor, s Standing, ifMatch int) (saved Standing, created bool, err error) {
	if err := f.checkStanding(s); err != nil {
		return Standing{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		site, err := tx.SiteByID(ctx, s.SiteID)
		if err != nil {
			return err
		}
		party, err := tx.PartyByID(ctx, s.PartyID)
		if err != nil {
			return asMember(err, "/party_id")
		}
		s.CustomerID, s.PartyName = site.CustomerID, party.Name
		s.Version, s.RecordedAt, s.RecordedBy = 1, f.Now(), by.PersonID
		saved = s
		created, err = tx.InsertStanding(ctx, s)
		if err != nil {
			return err
		}
		if !created {
			present, err := tx.StandingByID(ctx, s.SiteID, s.StandingID)
			if err != nil {
				return err
			}
			saved.Version, saved.RecordedAt, saved.RecordedBy = present.Version, present.RecordedAt, present.RecordedBy
			if saved == present {
				return nil
			}
			if err := checkVersion(ifMatch, present.Version); err != nil {
				return err
			}
			saved.Version, saved.RecordedAt, saved.RecordedBy = present.Version+1, s.RecordedAt, s.RecordedBy
			if err := tx.UpdateStanding(ctx, saved); err != nil {
				return err
			}
		}
		return f.record(ctx, tx, by, "standing", saved.StandingID, saved)
	})
	return saved, created, err
}

func (f *Fleet) checkStanding(s Standing) error {
	var faults fault.List
	checkOneOf(&faults, "/role", s.Role, standingRoles()...)
	if s.FromDay.IsZero() {
		faults.Add("/from_day", "date_missing")
	}
	f.checkDay(&faults, "/from_day", s.FromDay)
	f.checkDay(&faults, "/to_day", s.ToDay)
	if !s.ToDay.IsZero() && s.ToDay.Before(s.FromDay) {
		faults.Add("/to_day", "ends_before_it_begins", "day", s.FromDay.String())
	}
	return faults.Err()
}

// asMember turns "no such thing" into a fault of the member that named the thing.
func asMember(err error, pointer string) error {
	for _, e := range fault.Of(err) {
		if e.Kind == fault.NotFound {
			return fault.At(pointer, e.Code, e.Args...)
		}
	}
	return err
}

// Party gives one party.
func (f *Fleet) Party(ctx context.Context, by identity.Actor, id uuid.UUID) (p Party, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		p, err = tx.PartyByID(ctx, id)
		return err
	})
	return p, err
}

// Parties lists parties by name.
func (f *Fleet) Parties(ctx context.Context, by identity.Actor, q PartyQuery) (list []Party, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.PartyPage(ctx, q)
		return err
	})
	return list, err
}

// Standings lists who stands to a site.
func (f *Fleet) Standings(ctx context.Context, by identity.Actor, q StandingQuery) (list []Standing, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if _, err := tx.SiteByID(ctx, q.SiteID); err != nil {
			return err
		}
		list, err = tx.StandingPage(ctx, q)
		return err
	})
	return list, err
}
