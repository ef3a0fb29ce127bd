package fleet_test

import (
	"strings"
	"testing"

	"lintel.example/lintel/internal/fleet"
)

func (r *rig) party(t testing.TB, name string) fleet.Party {
	t.Helper()
	p, _, err := r.PutParty(t.Context(), dispatcher, fleet.Party{PartyID: r.id(), Name: name, Email: "office@example.com"}, 0)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func (r *rig) standing(t testing.TB, site fleet.Site, party fleet.Party, role, from, to string) fleet.Standing {
	t.Helper()
	put := fleet.Standing{SiteID: site.SiteID, StandingID: r.id(), PartyID: party.PartyID, Role: role, FromDay: day(from)}
	if to != "" {
		put.ToDay = day(to)
	}
	s, _, err := r.PutStanding(t.Context(), dispatcher, put, 0)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestAPartyIsMadeOnceAndChangedFromTheVersionLastSeen(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	put := fleet.Party{PartyID: r.id(), Name: "Holm & Daughters", Email: "keys@example.com", Telephone: "+1 555 0100"}
	if made, isNew, err := r.PutParty(t.Context(), dispatcher, put, 0); err != nil || !isNew || made.Version != 1 {
		t.Fatalf("%+v %v %v", made, isNew, err)
	}
	if again, isNew, err := r.PutParty(t.Context(), dispatcher, put, 0); err != nil || isNew || again.Version != 1 {
		t.Fatalf("the same again: %+v %v %v", again, isNew, err)
	}
	put.Telephone = "+1 555 0101"
	_, _, err := r.PutParty(t.Context(), dispatcher, put, 0)
	wantFault(t, err, "version_required")
	if _, _, err := r.PutParty(t.Context(), dispatcher, put, 1); err != nil {
		t.Fatal(err)
	}
	if got, err := r.Party(t.Context(), dispatcher, put.PartyID); err != nil || got.Version != 2 || got.Telephone != put.Telephone {
		t.Errorf("%+v %v", got, err)
	}
	if list, err := r.Parties(t.Context(), dispatcher, fleet.PartyQuery{Search: "KEYS@", Limit: 5}); err != nil || len(list) != 1 {
		t.Errorf("found %v, %v", list, err)
	}
}

func TestBadPartiesAreRefused(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	for name, c := range map[string]struct {
		fleet.Party
		want string
	}{
		"no name":            {fleet.Party{}, "text_missing at /name"},
		"no address":         {fleet.Party{Name: "A", Email: "nobody"}, "email_unreadable at /email"},
		"name and address":   {fleet.Party{Name: "A", Email: "A <a@example.com>"}, "email_unreadable at /email"},
		"two addresses":      {fleet.Party{Name: "A", Email: "a@example.com, b@example.com"}, "email_unreadable at /email"},
		"header in it":       {fleet.Party{Name: "A", Email: "a@example.com\r\nBcc: b@example.com"}, "email_unreadable at /email"},
		"overlong address":   {fleet.Party{Name: "A", Email: strings.Repeat("a", 250) + "@example.com"}, "email_unreadable at /email"},
		"overlong telephone": {fleet.Party{Name: "A", Telephone: strings.Repeat("1", 61)}, "text_length at /telephone"},
	} {
		t.Run(name, func(t *testing.T) {
			c.PartyID = r.id()
			_, _, err := r.PutParty(t.Context(), dispatcher, c.Party, 0)
			wantFault(t, err, c.want)
		})
	}
	if n := r.count(t, `select count(*) from party`); n != 0 {
		t.Errorf("%d parties were made", n)
	}
}

func TestStandingsHoldFromTheirFirstDayToTheirLast(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	customer := r.customer(t, "Brandt Retail")
	site := r.site(t, customer.CustomerID, "Mill")
	holm, ruiz := r.party(t, "Holm & Daughters"), r.party(t, "Ruiz Property Care")
	r.standing(t, site, holm, "managing_agent", "2024-01-01", "2025-06-30")
	r.standing(t, site, ruiz, "managing_agent", "2025-07-01", "")
	for on, want := range map[string]string{"2023-12-31": "", "2024-01-01": "Holm & Daughters", "2025-06-30": "Holm & Daughters",
		"2025-07-01": "Ruiz Property Care", "2040-01-01": "Ruiz Property Care"} {
		list, err := r.Standings(t.Context(), agentOf(customer.CustomerID), fleet.StandingQuery{SiteID: site.SiteID, OnDay: day(on), Limit: 10})
		if err != nil {
			t.Fatal(err)
		}
		names := ""
		for _, s := range list {
			names += s.PartyName
		}
		if names != want {
			t.Errorf("on %s stands %q, want %q", on, names, want)
		}
	}
	first, err := r.Standings(t.Context(), dispatcher, fleet.StandingQuery{SiteID: site.SiteID, Limit: 1})
	if err != nil || len(first) != 1 {
		t.Fatalf("%v %v", first, err)
	}
	rest, err := r.Standings(t.Context(), dispatcher, fleet.StandingQuery{SiteID: site.SiteID, AfterDay: first[0].FromDay, AfterID: first[0].StandingID, Limit: 10})
	if err != nil || len(rest) != 1 || rest[0].PartyName != "Ruiz Property Care" {
		t.Errorf("the next page: %v %v", rest, err)
	}
}

func TestAStandingIsCorrectedFromTheVersionLastSeen(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	customer := r.customer(t, "Brandt Retail").CustomerID
	site := r.site(t, customer, "Mill")
	s := r.standing(t, site, r.party(t, "Holm & Daughters"), "payer", "2024-01-01", "")
	if again, isNew, err := r.PutStanding(t.Context(), dispatcher, s, 0); err != nil || isNew || again.Version != 1 {
		t.Fatalf("the same again: %+v %v %v", again, isNew, err)
	}
	s.ToDay = day("2024-12-31")
	_, _, err := r.PutStanding(t.Context(), dispatcher, s, 0)
	wantFault(t, err, "version_required")
	if saved, _, err := r.PutStanding(t.Context(), dispatcher, s, 1); err != nil || saved.Version != 2 || saved.ToDay != s.ToDay {
		t.Errorf("%+v %v", saved, err)
	}
	s.SiteID = r.site(t, customer, "Kiln").SiteID
	_, _, err = r.PutStanding(t.Context(), dispatcher, s, 2)
	wantFault(t, err, "standing_not_found")
}

func TestBadStandingsAreRefused(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	site := r.site(t, r.customer(t, "Brandt Retail").CustomerID, "Mill")
	party := r.party(t, "Holm & Daughters")
	good := fleet.Standing{SiteID: site.SiteID, PartyID: party.PartyID, Role: "owner", FromDay: day("2024-01-01")}
	for name, c := range map[string]struct {
		change func(*fleet.Standing)
		want   []string
	}{
		"unknown role":     {func(s *fleet.Standing) { s.Role = "landlord" }, []string{"word_unknown at /role"}},
		"no first day":     {func(s *fleet.Standing) { s.FromDay = fleet.Standing{}.FromDay }, []string{"date_missing at /from_day"}},
		"ends too early":   {func(s *fleet.Standing) { s.ToDay = day("2023-12-31") }, []string{"ends_before_it_begins at /to_day"}},
		"unknown party":    {func(s *fleet.Standing) { s.PartyID = r.id() }, []string{"party_not_found at /party_id"}},
		"unknown site":     {func(s *fleet.Standing) { s.SiteID = r.id() }, []string{"site_not_found"}},
		"two at one time":  {func(s *fleet.Standing) { s.Role, s.ToDay = "", day("2020-01-01") }, []string{"word_unknown at /role", "ends_before_it_begins at /to_day"}},
		"one day is right": {func(s *fleet.Standing) { s.ToDay = s.FromDay }, nil},
	} {
		t.Run(name, func(t *testing.T) {
			put := good
			put.StandingID = r.id()
			c.change(&put)
			_, _, err := r.PutStanding(t.Context(), dispatcher, put, 0)
			wantFault(t, err, c.want...)
		})
	}
}

func TestPersonsSeeThePartiesOfTheirSitesOnly(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	a, b := r.customer(t, "Brandt Retail"), r.customer(t, "Ostrowski Homes")
	mine, theirs := r.site(t, a.CustomerID, "Mill"), r.site(t, b.CustomerID, "Kiln")
	holm, ruiz := r.party(t, "Holm & Daughters"), r.party(t, "Ruiz Property Care")
	r.standing(t, mine, holm, "owner", "2024-01-01", "")
	r.standing(t, theirs, ruiz, "owner", "2024-01-01", "")
	if list, err := r.Parties(t.Context(), agentOf(a.CustomerID), fleet.PartyQuery{Limit: 10}); err != nil || len(list) != 1 || list[0].PartyID != holm.PartyID {
		t.Errorf("an agent sees %v, %v", list, err)
	}
	_, err := r.Party(t.Context(), tenantOf(mine.SiteID), ruiz.PartyID)
	wantFault(t, err, "party_not_found")
	_, err = r.Standings(t.Context(), agentOf(a.CustomerID), fleet.StandingQuery{SiteID: theirs.SiteID, Limit: 10})
	wantFault(t, err, "site_not_found")
}
