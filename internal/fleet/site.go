package fleet

import (
	"context"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// Site is a building or place of a customer.
type Site struct {
	CustomerID, SiteID                uuid.UUID
	Name                              string
	Address, City, Region, PostalCode string
	Country                           string    // ISO 3166-1 alpha-2
	Jurisdiction                      string    // whose law holds: ISO 3166-2, or the country
	TimeZone                          string    // of the IANA time zone database
	Position                          *Position // nil: not known
	OpeningHours, AccessNotes         string
	Version                           int
	CreatedAt                         time.Time
	CreatedBy                         uuid.UUID
}

// Position is a point on the earth, WGS 84.
type Position struct {
	LatitudeDeg, LongitudeDeg float64
}

// Location is the site's zone. A zone that this machine does not know (it was known when the site was put) reads
// as UTC.
func (s Site) Location() *time.Location {
	if loc, err := zoneNamed(s.TimeZone); err == nil {
		return loc
	}
	return time.UTC
}

// SiteQuery asks for sites in the order of their names.
type SiteQuery struct {
	Search    string    // part of the name, the address or the city
	Customer  uuid.UUID // zero for all
	AfterName string
	AfterID   uuid.UUID
	Limit     int
}

type siteRows interface {
	SiteByID(ctx context.Context, id uuid.UUID) (Site, error)
	SitePage(ctx context.Context, q SiteQuery) ([]Site, error)
	// InsertSite answers false when the id is taken, by whomever.
	InsertSite(ctx context.Context, s Site) (bool, error)
	// UpdateSite writes the next version of a site but for its customer.
	UpdateSite(ctx context.Context, s Site) error
	// HandOverSite writes the next version of a site under another customer, with everything below it.
	HandOverSite(ctx context.Context, s Site) error
}

// PutSite makes a site or changes it. A site stays with its customer: it changes hands by HandOverSite.
func (f *Fleet) PutSite(ctx context.Context, by identity.Actor, s Site, ifMatch int) (saved Site, created bool, err error) {
	s.tidy()
	if err := s.check(); err != nil {
		return Site{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		s.Version, s.CreatedAt, s.CreatedBy = 1, f.Now(), by.PersonID
		saved = s
		created, err = tx.InsertSite(ctx, s)
		if err != nil {
			return err
		}
		if !created {
			present, err := tx.SiteByID(ctx, s.SiteID)
			if err != nil {
				return err
			}
			if s.CustomerID != present.CustomerID {
				return &fault.Error{Kind: fault.Conflict, Code: "site_stays_with_customer", Pointer: "/customer_id"}
			}
			saved.Version, saved.CreatedAt, saved.CreatedBy = present.Version, present.CreatedAt, present.CreatedBy
			if saved.same(present) {
				saved = present
				return nil
			}
			if err := checkVersion(ifMatch, present.Version); err != nil {
				return err
			}
			saved.Version++
			if err := tx.UpdateSite(ctx, saved); err != nil {
				return err
			}
		}
		return f.record(ctx, tx, by, "site", saved.SiteID, saved)
	})
	return saved, created, err
}

func (s Site) same(other Site) bool {
	a, b := s.Position, other.Position
	s.Position, other.Position = nil, nil
	return s == other && (a == nil) == (b == nil) && (a == nil || *a == *b)
}

func (s *Site) tidy() {
	for _, text := range []*string{&s.Name, &s.Address, &s.City, &s.Region, &s.PostalCode, &s.Country, &s.Jurisdiction,
		&s.TimeZone, &s.OpeningHours, &s.AccessNotes} {
		tidy(text)
	}
}

func (s Site) check() error {
	var faults fault.List
	checkLine(&faults, "/name", s.Name, 1, 200)
	checkText(&faults, "/address", s.Address, 0, 500)
	checkLine(&faults, "/city", s.City, 0, 100)
	checkLine(&faults, "/region", s.Region, 0, 100)
	checkLine(&faults, "/postal_code", s.PostalCode, 0, 20)
	checkText(&faults, "/opening_hours", s.OpeningHours, 0, 1000)
	checkText(&faults, "/access_notes", s.AccessNotes, 0, 2000)
	if !countryKnown(s.Country) {
		faults.Add("/country", "country_unknown")
	}
	if !jurisdictionOf(s.Jurisdiction, s.Country) {
		faults.Add("/jurisdiction", "jurisdiction_unknown")
	}
	if _, err := zoneNamed(s.TimeZone); err != nil {
		faults.Add("/time_zone", "time_zone_unknown")
	}
	if p := s.Position; p != nil {
		if !(p.LatitudeDeg >= -90 && p.LatitudeDeg <= 90) {
			faults.Add("/latitude_deg", "out_of_range", "least", -90, "greatest", 90)
		}
		if !(p.LongitudeDeg >= -180 && p.LongitudeDeg <= 180) {
			faults.Add("/longitude_deg", "out_of_range", "least", -180, "greatest", 180)
		}
	}
	return faults.Err()
}

// countries are the codes that ISO 3166-1 alpha-2 assigns (FOUND in the data of golang.org/x/text, without what that
// adds to the standard).
const countries = "AD AE AF AG AI AL AM AO AQ AR AS AT AU AW AX AZ BA BB BD BE BF BG BH BI BJ BL BM BN BO BQ BR BS BT BV BW BY BZ CA CC CD " +
	"CF CG CH CI CK CL CM CN CO CR CU CV CW CX CY CZ DE DJ DK DM DO DZ EC EE EG EH ER ES ET FI FJ FK FM FO FR GA GB GD GE GF " +
	"GG GH GI GL GM GN GP GQ GR GS GT GU GW GY HK HM HN HR HT HU ID IE IL IM IN IO IQ IR IS IT JE JM JO JP KE KG KH KI KM KN " +
	"KP KR KW KY KZ LA LB LC LI LK LR LS LT LU LV LY MA MC MD ME MF MG MH MK ML MM MN MO MP MQ MR MS MT MU MV MW MX MY MZ NA " +
	"NC NE NF NG NI NL NO NP NR NU NZ OM PA PE PF PG PH PK PL PM PN PR PS PT PW PY QA RE RO RS RU RW SA SB SC SD SE SG SH SI " +
	"SJ SK SL SM SN SO SR SS ST SV SX SY SZ TC TD TF TG TH TJ TK TL TM TN TO TR TT TV TW TZ UA UG UM US UY UZ VA VC VE VG VI " +
	"VN VU WF WS YE YT ZA ZM ZW"

func countryKnown(text string) bool {
	return len(text) == 2 && slices.Contains(strings.Fields(countries), text)
}

var jurisdictionForm = regexp.MustCompile(`^[A-Z]{2}(-[A-Z0-9]{1,3})?$`) // ISO 3166-2, or the country alone

func jurisdictionOf(text, country string) bool {
	return jurisdictionForm.MatchString(text) && text[:2] == country
}

// zoneForm leaves out what a machine keeps beside the IANA zones: localtime, posixrules, posix/…, right/….
var zoneForm = regexp.MustCompile(`^(UTC|[A-Z][A-Za-z0-9_+-]*(/[A-Z][A-Za-z0-9_+-]*){1,2})$`)

func zoneNamed(name string) (*time.Location, error) {
	if !zoneForm.MatchString(name) {
		return nil, fault.New(fault.Invalid, "time_zone_unknown")
	}
	return time.LoadLocation(name)
}

// HandOver is a site that changes hands on a day.
type HandOver struct {
	SiteID     uuid.UUID
	CustomerID uuid.UUID   // the new one
	Day        duedate.Day // the first of the new customer, not in the future
}

// HandOverSite puts a site under another customer with its doors and their whole history: from then on the new
// customer sees all of it and the old one nothing; what was sealed keeps its bytes. Standings of an owner that began
// before the day end on the eve. Persons who are scoped by sites keep their sites.
func (f *Fleet) HandOverSite(ctx context.Context, by identity.Actor, h HandOver, ifMatch int) (saved Site, err error) {
	var faults fault.List
	if h.Day.IsZero() {
		faults.Add("/day", "date_missing")
	}
	f.checkDay(&faults, "/day", h.Day)
	if err := faults.Err(); err != nil {
		return Site{}, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		present, err := tx.SiteByID(ctx, h.SiteID)
		if err != nil {
			return err
		}
		saved = present
		if present.CustomerID == h.CustomerID {
			return nil
		}
		if err := checkVersion(ifMatch, present.Version); err != nil {
			return err
		}
		if h.Day.After(duedate.DayIn(f.Now(), present.Location())) {
			return fault.At("/day", "hand_over_in_the_future")
		}
		saved.CustomerID, saved.Version = h.CustomerID, present.Version+1
		if err := tx.HandOverSite(ctx, saved); err != nil {
			return err
		}
		if err := f.endOwners(ctx, tx, by, h.SiteID, h.Day); err != nil {
			return err
		}
		if err := tx.RevokeCalendarFeedsOfSite(ctx, h.SiteID, f.Now(), by.PersonID); err != nil { // they are in the hands of the former owner's people
			return err
		}
		return f.record(ctx, tx, by, "site", saved.SiteID, saved)
	})
	return saved, err
}

// endOwners ends the standings of owners that began before a day and are still going on it.
func (f *Fleet) endOwners(ctx context.Context, tx Tx, by identity.Actor, siteID uuid.UUID, day duedate.Day) error {
	owners, err := tx.OwnersOn(ctx, siteID, day)
	if err != nil {
		return err
	}
	for _, s := range owners {
		if !s.FromDay.Before(day) {
			continue // the new owner's own
		}
		s.ToDay, s.Version = day.AddDays(-1), s.Version+1
		if err := tx.UpdateStanding(ctx, s); err != nil {
			return err
		}
		if err := f.record(ctx, tx, by, "standing", s.StandingID, s); err != nil {
			return err
		}
	}
	return nil
}

// Site gives one site.
func (f *Fleet) Site(ctx context.Context, by identity.Actor, id uuid.UUID) (s Site, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		s, err = tx.SiteByID(ctx, id)
		return err
	})
	return s, err
}

// Sites lists sites by name.
func (f *Fleet) Sites(ctx context.Context, by identity.Actor, q SiteQuery) (list []Site, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.SitePage(ctx, q)
		return err
	})
	return list, err
}
