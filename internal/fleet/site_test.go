package fleet_test

import (
	"bytes"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/seal"
)

func TestASiteIsMadeOnceAndChangedFromTheVersionLastSeen(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	put := r.siteFacts(r.customer(t, "Brandt Retail").CustomerID, "  Cafe\u0301 Mill ")
	put.Position = &fleet.Position{LatitudeDeg: 38.58, LongitudeDeg: -121.49}
	made, isNew, err := r.PutSite(t.Context(), dispatcher, put, 0)
	if err != nil || !isNew || made.Version != 1 || made.Name != "Caf\u00e9 Mill" {
		t.Fatalf("%+v %v %v", made, isNew, err)
	}
	r.pass(time.Hour)
	again, isNew, err := r.PutSite(t.Context(), dispatcher, put, 0)
	if err != nil || isNew || again.Version != 1 {
		t.Fatalf("the same again: %+v %v %v", again, isNew, err)
	}
	changed := put
	changed.Position = nil
	_, _, err = r.PutSite(t.Context(), dispatcher, changed, 0)
	wantFault(t, err, "version_required")
	_, _, err = r.PutSite(t.Context(), dispatcher, changed, 2)
	wantFault(t, err, "version_differs")
	second, isNew, err := r.PutSite(t.Context(), dispatcher, changed, 1)
	if err != nil || isNew || second.Version != 2 || second.Position != nil {
		t.Fatalf("%+v %v %v", second, isNew, err)
	}
	got, err := r.Site(t.Context(), dispatcher, put.SiteID)
	if err != nil || got.Version != 2 || got.Position != nil || got.Name != made.Name || !got.CreatedAt.Equal(made.CreatedAt) {
		t.Fatalf("%+v %v", got, err)
	}
	if n := r.count(t, `select count(*) from change_log where subject_kind = 'site' and subject_id = $1`, put.SiteID); n != 2 {
		t.Errorf("%d states in the log of changes, want 2", n)
	}
}

func TestOfTwoWhoChangeASiteAtOnceOneHearsOfTheOther(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	put := r.siteFacts(r.customer(t, "Brandt Retail").CustomerID, "Mill")
	var made, won, late atomic.Int32
	together(t, 4, func(int) error {
		_, isNew, err := r.PutSite(t.Context(), dispatcher, put, 0)
		if isNew {
			made.Add(1)
		}
		return err
	})
	together(t, 4, func(i int) error {
		mine := put
		mine.City = fmt.Sprint("City ", i)
		_, _, err := r.PutSite(t.Context(), dispatcher, mine, 1)
		switch {
		case err == nil:
			won.Add(1)
		case fault.Is(err, "version_differs"):
			late.Add(1)
		default:
			return err
		}
		return nil
	})
	if made.Load() != 1 || won.Load() != 1 || late.Load() != 3 {
		t.Errorf("made %d times, %d won, %d heard that they were late; want 1, 1 and 3", made.Load(), won.Load(), late.Load())
	}
	if n := r.count(t, `select count(*) from change_log where subject_id = $1`, put.SiteID); n != 2 {
		t.Errorf("%d states in the log of changes, want 2", n)
	}
}

func TestASiteDoesNotChangeHandsByAnOrdinaryChange(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	s := r.site(t, r.customer(t, "Brandt Retail").CustomerID, "Mill")
	s.CustomerID = r.customer(t, "Ostrowski Homes").CustomerID
	_, _, err := r.PutSite(t.Context(), dispatcher, s, 1)
	wantFault(t, err, "site_stays_with_customer at /customer_id")
}

func TestASiteNeedsACustomerThatIsThere(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	_, _, err := r.PutSite(t.Context(), dispatcher, r.siteFacts(r.id(), "Nowhere"), 0)
	wantFault(t, err, "customer_not_found at /customer_id")
}

func TestBadSitesAreRefusedMemberByMember(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	customer := r.customer(t, "Brandt Retail").CustomerID
	for name, c := range map[string]struct {
		change func(*fleet.Site)
		want   []string
	}{
		"no name":                     {func(s *fleet.Site) { s.Name = "  " }, []string{"text_missing at /name"}},
		"overlong name":               {func(s *fleet.Site) { s.Name = strings.Repeat("a", 201) }, []string{"text_length at /name"}},
		"binary text":                 {func(s *fleet.Site) { s.Address = "1 Mill\x00Road" }, []string{"text_binary at /address"}},
		"text that is not UTF-8":      {func(s *fleet.Site) { s.City = "\xff" }, []string{"text_not_utf8 at /city"}},
		"country in small letters":    {func(s *fleet.Site) { s.Country = "us" }, []string{"country_unknown at /country", "jurisdiction_unknown at /jurisdiction"}},
		"three letters":               {func(s *fleet.Site) { s.Country = "USA" }, []string{"country_unknown at /country", "jurisdiction_unknown at /jurisdiction"}},
		"number of a country":         {func(s *fleet.Site) { s.Country, s.Jurisdiction = "84", "84" }, []string{"country_unknown at /country", "jurisdiction_unknown at /jurisdiction"}},
		"union of countries":          {func(s *fleet.Site) { s.Country, s.Jurisdiction = "EU", "EU" }, []string{"country_unknown at /country"}},
		"alias of a country":          {func(s *fleet.Site) { s.Country, s.Jurisdiction = "UK", "UK" }, []string{"country_unknown at /country"}},
		"user-assigned code":          {func(s *fleet.Site) { s.Country, s.Jurisdiction = "ZZ", "ZZ" }, []string{"country_unknown at /country"}},
		"jurisdiction of another":     {func(s *fleet.Site) { s.Jurisdiction = "CA-ON" }, []string{"jurisdiction_unknown at /jurisdiction"}},
		"jurisdiction in words":       {func(s *fleet.Site) { s.Jurisdiction = "California" }, []string{"jurisdiction_unknown at /jurisdiction"}},
		"no zone":                     {func(s *fleet.Site) { s.TimeZone = "" }, []string{"time_zone_unknown at /time_zone"}},
		"the machine's zone":          {func(s *fleet.Site) { s.TimeZone = "Local" }, []string{"time_zone_unknown at /time_zone"}},
		"the machine's zone file":     {func(s *fleet.Site) { s.TimeZone = "localtime" }, []string{"time_zone_unknown at /time_zone"}},
		"zone with leap seconds":      {func(s *fleet.Site) { s.TimeZone = "right/Europe/Berlin" }, []string{"time_zone_unknown at /time_zone"}},
		"zone by its letters":         {func(s *fleet.Site) { s.TimeZone = "PST" }, []string{"time_zone_unknown at /time_zone"}},
		"path for a zone":             {func(s *fleet.Site) { s.TimeZone = "../../etc/passwd" }, []string{"time_zone_unknown at /time_zone"}},
		"beyond the pole":             {func(s *fleet.Site) { s.Position = &fleet.Position{LatitudeDeg: 90.1} }, []string{"out_of_range at /latitude_deg"}},
		"beyond the antimeridian":     {func(s *fleet.Site) { s.Position = &fleet.Position{LongitudeDeg: -180.5} }, []string{"out_of_range at /longitude_deg"}},
		"several members at one time": {func(s *fleet.Site) { s.Name, s.TimeZone = "", "Mars/Olympus" }, []string{"text_missing at /name", "time_zone_unknown at /time_zone"}},
	} {
		t.Run(name, func(t *testing.T) {
			put := r.siteFacts(customer, "Mill")
			c.change(&put)
			_, _, err := r.PutSite(t.Context(), dispatcher, put, 0)
			wantFault(t, err, c.want...)
		})
	}
	if n := r.count(t, `select count(*) from site`); n != 0 {
		t.Errorf("%d sites were made", n)
	}
}

func TestEveryCountryCodeInUseIsKnownAndTheirZonesToo(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	customer := r.customer(t, "Brandt Retail").CustomerID
	for _, where := range []string{"US US-CA America/Los_Angeles", "CA CA-QC America/Toronto", "GB GB-ENG Europe/London", "DE DE-BY Europe/Berlin",
		"PR PR America/Puerto_Rico", "AR AR-B America/Argentina/Buenos_Aires", "TL TL Asia/Dili", "HT HT America/Port-au-Prince", "IS IS UTC"} {
		f := strings.Fields(where)
		put := r.siteFacts(customer, f[0])
		put.Country, put.Jurisdiction, put.TimeZone = f[0], f[1], f[2]
		if _, _, err := r.PutSite(t.Context(), dispatcher, put, 0); err != nil {
			t.Errorf("%s: %v", where, err)
		}
	}
}

func TestSitesAreListedByNameInPagesWithoutGapOrDouble(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	mine, other := r.customer(t, "Brandt Retail"), r.customer(t, "Ostrowski Homes")
	var want []string
	for i := range 7 {
		name := fmt.Sprintf("Mill %d", i/2) // two of a name
		if i%2 == 1 {
			name = strings.ToUpper(name)
		}
		want = append(want, strings.ToLower(name))
		r.site(t, mine.CustomerID, name)
	}
	r.site(t, other.CustomerID, "Mill elsewhere")
	r.site(t, mine.CustomerID, "Kiln")
	q := fleet.SiteQuery{Search: "mILL", Customer: mine.CustomerID, Limit: 2}
	var got []string
	seen := map[uuid.UUID]bool{}
	for {
		list, err := r.Sites(t.Context(), dispatcher, q)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range list {
			if seen[s.SiteID] {
				t.Errorf("%s came twice", s.Name)
			}
			seen[s.SiteID] = true
			got = append(got, strings.ToLower(s.Name))
			q.AfterName, q.AfterID = s.Name, s.SiteID
		}
		if len(list) < q.Limit {
			break
		}
	}
	if strings.Join(got, ",") != strings.Join(want, ",") {
		t.Errorf("got %v, want %v", got, want)
	}
	for _, search := range []string{"%", "_", `\`} {
		if list, err := r.Sites(t.Context(), dispatcher, fleet.SiteQuery{Search: search, Limit: 10}); err != nil || len(list) != 0 {
			t.Errorf("%q is a pattern: %d sites, %v", search, len(list), err)
		}
	}
}

func TestPersonsSeeTheSitesOfTheirScopeOnly(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	a, b := r.customer(t, "Brandt Retail"), r.customer(t, "Ostrowski Homes")
	a1, a2, b1 := r.site(t, a.CustomerID, "A1"), r.site(t, a.CustomerID, "A2"), r.site(t, b.CustomerID, "B1")
	names := func(list []fleet.Site) (s string) {
		for _, x := range list {
			s += x.Name + " "
		}
		return s
	}
	q := fleet.SiteQuery{Limit: 10}
	for _, c := range []struct {
		who  string
		list func() ([]fleet.Site, error)
		want string
	}{
		{"agent of one", func() ([]fleet.Site, error) { return r.Sites(t.Context(), agentOf(a.CustomerID), q) }, "A1 A2 "},
		{"agent of both", func() ([]fleet.Site, error) { return r.Sites(t.Context(), agentOf(a.CustomerID, b.CustomerID), q) }, "A1 A2 B1 "},
		{"agent of none", func() ([]fleet.Site, error) { return r.Sites(t.Context(), agentOf(), q) }, ""},
		{"tenant", func() ([]fleet.Site, error) { return r.Sites(t.Context(), tenantOf(a2.SiteID, b1.SiteID), q) }, "A2 B1 "},
	} {
		if list, err := c.list(); err != nil || names(list) != c.want {
			t.Errorf("%s sees %q (%v), want %q", c.who, names(list), err, c.want)
		}
	}
	_, foreign := r.Site(t.Context(), agentOf(b.CustomerID), a1.SiteID)
	_, unknown := r.Site(t.Context(), agentOf(b.CustomerID), r.id())
	wantFault(t, foreign, "site_not_found")
	if foreign.Error() != unknown.Error() {
		t.Errorf("a foreign site answers %q, an unknown one %q", foreign, unknown)
	}
}

// A site that changes hands takes everything along, and what was sealed keeps its bytes.
func TestASiteThatChangesHandsKeepsItsHistory(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	before, after := r.customer(t, "Brandt Retail"), r.customer(t, "Ostrowski Homes")
	site := r.site(t, before.CustomerID, "Mill")
	elsewhere := r.site(t, before.CustomerID, "Kiln")
	door, kept := r.door(t, site.SiteID, "Main"), r.door(t, elsewhere.SiteID, "Yard")
	control := r.control(t, door)
	r.sensor(t, door, control)
	if _, err := r.SetCode(t.Context(), dispatcher, fleet.KeySafeOf(site.SiteID), fleet.NewCode("4711")); err != nil {
		t.Fatal(err)
	}
	owner, next := r.party(t, "Brandt Holding"), r.party(t, "Ostrowski Family Trust")
	old := r.standing(t, site, owner, "owner", "2020-01-01", "")
	fresh := r.standing(t, site, next, "owner", "2026-03-01", "")
	occupier := r.standing(t, site, owner, "occupier", "2020-01-01", "")
	r.seal(t, site, door)

	h := fleet.HandOver{SiteID: site.SiteID, CustomerID: after.CustomerID, Day: day("2026-03-01")}
	_, err := r.HandOverSite(t.Context(), dispatcher, h, 0)
	wantFault(t, err, "version_required")
	_, err = r.HandOverSite(t.Context(), dispatcher, h, 9)
	wantFault(t, err, "version_differs")
	saved, err := r.HandOverSite(t.Context(), dispatcher, h, site.Version)
	if err != nil || saved.CustomerID != after.CustomerID || saved.Version != site.Version+1 {
		t.Fatalf("%+v %v", saved, err)
	}
	if again, err := r.HandOverSite(t.Context(), dispatcher, h, 0); err != nil || again.Version != saved.Version {
		t.Errorf("the same again: %+v %v", again, err)
	}

	// The old customer's person sees nothing of it any more, and still the rest.
	was, is := agentOf(before.CustomerID), agentOf(after.CustomerID)
	_, err = r.Site(t.Context(), was, site.SiteID)
	wantFault(t, err, "site_not_found")
	_, err = r.Door(t.Context(), was, door.DoorID, fleet.AsOf{})
	wantFault(t, err, "door_not_found")
	_, err = r.Components(t.Context(), was, door.DoorID, fleet.AsOf{})
	wantFault(t, err, "door_not_found")
	if _, err := r.Door(t.Context(), was, kept.DoorID, fleet.AsOf{}); err != nil {
		t.Errorf("a door elsewhere: %v", err)
	}
	// The new one's sees all of it.
	if history, err := r.DoorHistory(t.Context(), is, door.DoorID); err != nil || len(history) != 1 {
		t.Errorf("the door's history: %d versions, %v", len(history), err)
	}
	if list, err := r.Components(t.Context(), is, door.DoorID, fleet.AsOf{}); err != nil || len(list) != 2 || list[1].CustomerID != after.CustomerID {
		t.Errorf("components: %+v, %v", list, err)
	}
	if code, _, err := r.RevealCode(t.Context(), dispatcher, fleet.KeySafeOf(site.SiteID), ""); err != nil || code.Reveal() != "4711" {
		t.Errorf("the key safe's code: %v", err)
	}
	r.checkSeal(t, site)
	// No row below the site is left behind.
	for _, table := range r.below(t) {
		if table == "record_log" {
			continue // says for ever whose it was when it was sealed; the company's own people alone read it
		}
		if n := r.count(t, `select count(*) from `+table+` where site_id = $1 and customer_id <> $2`, site.SiteID, after.CustomerID); n != 0 {
			t.Errorf("%d rows of %s are still the old customer's", n, table)
		}
		if n := r.count(t, `select count(*) from `+table+` where site_id = $1 and customer_id <> $2`, elsewhere.SiteID, before.CustomerID); n != 0 {
			t.Errorf("%d rows of %s of another site went along", n, table)
		}
	}
	// The old owner's standing ends on the eve; the new owner's and the occupier's go on.
	for _, c := range []struct {
		what string
		fleet.Standing
		want string
	}{{"old owner", old, "2026-02-28"}, {"new owner", fresh, ""}, {"occupier", occupier, ""}} {
		list, err := r.Standings(t.Context(), is, fleet.StandingQuery{SiteID: site.SiteID, Limit: 10})
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range list {
			if s.StandingID == c.StandingID && s.ToDay.String() != c.want {
				t.Errorf("the %s stands until %q, want %q", c.what, s.ToDay, c.want)
			}
		}
		if len(list) != 3 {
			t.Errorf("%d standings, want 3", len(list))
		}
	}
	if n := r.count(t, `select count(*) from change_log where subject_kind = 'site' and subject_id = $1 and body->>'CustomerID' = $2`,
		site.SiteID, after.CustomerID.String()); n != 1 {
		t.Errorf("%d states of the new customer in the log of changes, want 1", n)
	}
}

func TestHandingOverIsRefusedWhenItCannotBeRight(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	site := r.site(t, r.customer(t, "Brandt Retail").CustomerID, "Mill")
	after := r.customer(t, "Ostrowski Homes").CustomerID
	r.now = time.Date(2026, 3, 4, 7, 30, 0, 0, time.UTC) // still 3 March at the site
	for name, c := range map[string]struct {
		fleet.HandOver
		want string
	}{
		"no day":           {fleet.HandOver{SiteID: site.SiteID, CustomerID: after}, "date_missing at /day"},
		"tomorrow there":   {fleet.HandOver{SiteID: site.SiteID, CustomerID: after, Day: day("2026-03-04")}, "hand_over_in_the_future at /day"},
		"unknown customer": {fleet.HandOver{SiteID: site.SiteID, CustomerID: r.id(), Day: day("2026-03-03")}, "customer_not_found at /customer_id"},
		"unknown site":     {fleet.HandOver{SiteID: r.id(), CustomerID: after, Day: day("2026-03-03")}, "site_not_found"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := r.HandOverSite(t.Context(), dispatcher, c.HandOver, site.Version)
			wantFault(t, err, c.want)
		})
	}
	if got, err := r.Site(t.Context(), dispatcher, site.SiteID); err != nil || got.CustomerID != site.CustomerID || got.Version != site.Version {
		t.Errorf("something changed: %+v %v", got, err)
	}
}

// Whatever hangs below a site must follow it to another customer: each such table is tied to it, directly or through
// its parents, by keys that cascade.
func TestEveryTableBelowASiteFollowsIt(t *testing.T) {
	t.Parallel()
	r := newFleet(t)
	for _, table := range r.below(t) {
		if table == "site" || table == "record_log" { // the log says for ever whose it was when it was sealed
			continue
		}
		if n := r.count(t, `select count(*) from pg_constraint c where c.conrelid = $1::regclass and c.contype = 'f' and c.confupdtype = 'c'
			and (select count(*) from pg_attribute a where a.attrelid = c.conrelid and a.attnum = any (c.conkey) and a.attname in ('customer_id', 'site_id')) = 2`, table); n == 0 {
			t.Errorf("%s keeps the old customer when its site changes hands", table)
		}
	}
}

// below names every table that has rows below a site.
func (r *rig) below(t testing.TB) (tables []string) {
	t.Helper()
	rows, err := r.db.Admin.Query(t.Context(), `select table_name from information_schema.columns where table_schema = 'public'
		and column_name in ('customer_id', 'site_id') group by table_name having count(*) = 2 order by 1`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		tables = append(tables, name)
	}
	if len(tables) < 20 {
		t.Fatalf("only %v are below a site", tables)
	}
	return tables
}

var signed = []byte(`{"entries":["one","two"],"name":"Mill"}`)

// seal puts a signed-off visit with one entry under a site, as the rows that the log of a visit leaves.
func (r *rig) seal(t testing.TB, site fleet.Site, door fleet.Door) {
	t.Helper()
	visit, hash := r.id(), seal.HashOf(signed)
	for _, statement := range []struct {
		sql  string
		args []any
	}{
		{`insert into visit (customer_id, site_id, visit_id, received_at, recorded_by) values ($1, $2, $3, $4, $5)`,
			[]any{site.CustomerID, site.SiteID, visit, r.now, dispatcher.PersonID}},
		{`insert into visit_entry (customer_id, site_id, door_id, visit_id, entry_id, kind, observed_at, received_at, recorded_by, canonical, sha256)
			values ($1, $2, $6, $3, $7, 'note', $4, $4, $5, $8, $9)`,
			[]any{site.CustomerID, site.SiteID, visit, r.now, dispatcher.PersonID, door.DoorID, r.id(), signed, hash[:]}},
		{`insert into visit_sign_off (customer_id, site_id, visit_id, canonical, sha256, signed_at, received_at, signed_by, record_sha256) values ($1, $2, $3, $6, $7, $4, $4, $5, $7)`,
			[]any{site.CustomerID, site.SiteID, visit, r.now, dispatcher.PersonID, signed, hash[:]}},
		{`insert into record_log (kind, customer_id, site_id, subject_id, canonical, sha256, recorded_at, recorded_by) values ('visit', $1, $2, $3, $6, $7, $4, $5)`,
			[]any{site.CustomerID, site.SiteID, visit, r.now, dispatcher.PersonID, signed, hash[:]}},
	} {
		if _, err := r.db.Admin.Exec(t.Context(), statement.sql, statement.args...); err != nil {
			t.Fatal(err)
		}
	}
}

func (r *rig) checkSeal(t testing.TB, site fleet.Site) {
	t.Helper()
	for _, table := range []string{"visit_sign_off", "visit_entry", "record_log"} {
		var canonical, hash []byte
		if err := r.db.Admin.QueryRow(t.Context(), `select canonical, sha256 from `+table+` where site_id = $1`, site.SiteID).Scan(&canonical, &hash); err != nil {
			t.Fatal(err)
		}
		if want := seal.HashOf(signed); !bytes.Equal(canonical, signed) || !bytes.Equal(hash, want[:]) {
			t.Errorf("the sealed bytes of %s changed: %s", table, canonical)
		}
	}
}
