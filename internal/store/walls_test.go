package store_test

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/store"
)

// outsider is somebody who is not of the company, and what of each table that person sees: a condition with the
// person's customers or sites as $1. A table that is not named is refused.
type outsider struct {
	who  string
	by   identity.Actor
	sees map[string]string
}

func agentOf(customers ...uuid.UUID) identity.Actor {
	return identity.Actor{PersonID: idOf("agent 1"), Role: identity.OwnerAgent, ScopeKind: identity.ScopeCustomers, Customers: customers}
}

func tenantOf(sites ...uuid.UUID) identity.Actor {
	return identity.Actor{PersonID: idOf("tenant 1 1"), Role: identity.OwnerAgent, ScopeKind: identity.ScopeSites, Sites: sites}
}

func auditorOf(customers ...uuid.UUID) identity.Actor {
	return identity.Actor{PersonID: idOf("auditor"), Role: identity.Auditor, ScopeKind: identity.ScopeCustomers, Customers: customers}
}

var staff = identity.Actor{PersonID: idOf("technician"), Role: identity.Technician, ScopeKind: identity.ScopeAll}

// own are the ids that bound the person's sight.
func (o outsider) own() []uuid.UUID {
	if o.by.ScopeKind == identity.ScopeCustomers {
		return append([]uuid.UUID{}, o.by.Customers...)
	}
	return append([]uuid.UUID{}, o.by.Sites...)
}

func outsiders() []outsider {
	c1, c2, s11, s12, s22 := idOf("customer 1"), idOf("customer 2"), idOf("site 1 1"), idOf("site 1 2"), idOf("site 2 2")
	nowhere := identity.Actor{Role: identity.OwnerAgent, ScopeKind: identity.ScopeAll, Customers: []uuid.UUID{c1}, Sites: nil}
	half := staff
	half.ScopeKind, half.Customers = identity.ScopeCustomers, []uuid.UUID{c1}
	return []outsider{
		{"agent of one customer", agentOf(c1), seenIn("customer_id")},
		{"agent of two customers", agentOf(c2, c1), seenIn("customer_id")},
		{"agent of no customer", agentOf(), seenIn("customer_id")},
		{"agent of a customer that is not there", agentOf(idOf("nobody"), s11), seenIn("customer_id")},
		{"auditor of one customer", auditorOf(c2), seenIn("customer_id")},
		{"tenant of one site", tenantOf(s11), seenIn("site_id")},
		{"tenant of another site of the same customer", tenantOf(s12), seenIn("site_id")},
		{"tenant of sites of two customers", tenantOf(s22, s11), seenIn("site_id")},
		{"tenant of no site", tenantOf(), seenIn("site_id")},
		{"tenant of a site that is not there", tenantOf(idOf("nobody"), c1), seenIn("site_id")},
		{"outsider whose scope is said to be everything", nowhere, seenIn("site_id")},
		{"technician who is said to have a scope", half, seenIn("customer_id")},
	}
}

// seenIn says which rows of which table somebody sees whose scope is a set in that column.
func seenIn(column string) map[string]string {
	mine := column + " = any ($1)"
	sees := map[string]string{
		"customer": "customer_id in (select customer_id from site where " + mine + ")",
		"party":    "party_id in (select party_id from site_party where " + mine + ")",
		"photo":    "sha256 in (select sha256 from entry_photo where " + mine + ")",
		"finding":  mine + " and origin = 'visit'",
		"person":   "scope_kind = 'all' or person_id in (select signed_by from visit_sign_off where " + mine + " union select recorded_by from visit_entry where " + mine + ")",
	}
	sees["qualification"] = "person_id in (select signed_by from visit_sign_off where " + mine + ")"
	sees["qualification_end"], sees["certificate"] = sees["qualification"], sees["qualification"]
	for _, table := range sharedTables() {
		sees[table] = "$1::uuid[] is not null" // every row
	}
	for _, table := range []string{"site", "site_party", "door", "door_version", "door_leaf", "kept_clear_zone", "component", "component_version", "revision", "revision_accessory",
		"extent", "inspection_plan", "plan_suspension_event", "work_order", "visit", "visit_entry", "visit_sign_off", "entry_photo", "out_of_service_case", "report_site", "shown_text", "force_series", "calendar_feed"} {
		sees[table] = mine
	}
	sees["calendar_feed_end"] = "feed_id in (select feed_id from calendar_feed where " + mine + ")"
	sees["letter_template"], sees["letter_template_approval"] = "$1::uuid[] is null", "$1::uuid[] is null" // asked, and never seen
	sees["company_pack"] = "pack_id = 'house@1' and exists (select from site where " + mine + ")"          // not the draft, nor what is planned
	sees["company_pack_activation"] = "from_day < '2900-01-01' and exists (select from site where " + mine + ")"
	sees["record_log"] = "kind = 'visit' and subject_id in (select visit_id from visit_sign_off where " + mine + ")"
	sees["report"] = mine + " or kind = 'portfolio' and not exists (select from report_site s where s.report_id = x.report_id and not s." + mine + ")"
	return sees
}

// sharedTables are the same for everybody: what can be fitted.
func sharedTables() []string {
	return []string{"device_model", "antenna", "accessory", "catalogue_correction"}
}

// rowsOf are the rows of a table as text. Of people, outsiders may read two columns.
func rowsOf(table string) string {
	if table == "person" {
		return "select person_id || name from person x"
	}
	return "select x::text from " + table + " x"
}

// The statements have no condition of their own: what is not seen is hidden by PostgreSQL alone.
func TestWithoutAnyFilterOutsidersSeeTheirOwnRowsAlone(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	s := store.New(db.App, "lintel")
	all := append(tables(t, db), "river_job", "river_queue", "river_leader", "river_notification", "schema_migrations", "certificate")
	for _, o := range outsiders() {
		t.Run(o.who, func(t *testing.T) {
			for _, table := range all {
				var got []string
				err := s.InRawTx(t.Context(), o.by, func(tx pgx.Tx) (err error) {
					rows, _ := tx.Query(t.Context(), rowsOf(table))
					got, err = pgx.CollectRows(rows, pgx.RowTo[string])
					return err
				})
				condition, may := o.sees[table]
				if !may {
					if stateOf(err) != "42501" {
						t.Errorf("%s: %d rows and %v, want permission denied", table, len(got), err)
					}
					continue
				}
				if err != nil {
					t.Errorf("%s: %v", table, err)
					continue
				}
				slices.Sort(got)
				if want := lines(t, db, rowsOf(table)+" where "+condition, o.own()); !slices.Equal(got, want) {
					t.Errorf("%s: sees %d rows, want %d:\n%s\nwant\n%s", table, len(got), len(want), strings.Join(got, "\n"), strings.Join(want, "\n"))
				}
			}
		})
	}
}

// The test above compares with what it computes from the same words; this one with numbers counted by hand.
func TestWhatOutsidersSeeIsCountedByHand(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	s := store.New(db.App, "lintel")
	for _, c := range []struct {
		who  string
		by   identity.Actor
		want string
	}{
		{"staff", staff, "customer 2, site 4, door 4, party 5, person 8, photo 5, entry_photo 8, finding 8, work_order 4, notice 5"},
		{"agent of one customer", agentOf(idOf("customer 1")), "customer 1, site 2, door 2, party 3, person 2, photo 3, entry_photo 4, finding 2, work_order 2, notice refused"},
		{"tenant of one site", tenantOf(idOf("site 1 2")), "customer 1, site 1, door 1, party 1, person 1, photo 2, entry_photo 2, finding 1, work_order 1, notice refused"},
		{"nobody", tenantOf(), "customer 0, site 0, door 0, party 0, person 1, photo 0, entry_photo 0, finding 0, work_order 0, notice refused"},
	} {
		var got []string
		for _, one := range strings.Split(c.want, ", ") {
			table, _, _ := strings.Cut(one, " ")
			number := -1
			err := s.InRawTx(t.Context(), c.by, func(tx pgx.Tx) error {
				return tx.QueryRow(t.Context(), "select count(*) from "+table).Scan(&number)
			})
			switch {
			case err == nil:
				got = append(got, fmt.Sprint(table, " ", number))
			case stateOf(err) == "42501":
				got = append(got, table+" refused")
			default:
				t.Error(err)
			}
		}
		if strings.Join(got, ", ") != c.want {
			t.Errorf("%s sees\n%s, want\n%s", c.who, strings.Join(got, ", "), c.want)
		}
	}
}

// Staff is one role, but those whose entries are asked about do not see what is asked.
func TestOdditiesAreSeenByTheOfficeAlone(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	s := store.New(db.App, "lintel")
	as := func(role identity.Role) identity.Actor {
		return identity.Actor{PersonID: idOf("technician"), Role: role, ScopeKind: identity.ScopeAll}
	}
	withToken := as(identity.Dispatcher)
	withToken.TokenScopes = []identity.TokenScope{identity.TokenVisits}
	for who, c := range map[string]struct {
		by   identity.Actor
		want int
	}{
		"technician": {as(identity.Technician), 0}, "dispatcher": {as(identity.Dispatcher), 4}, "support": {as(identity.Support), 4}, "administrator": {as(identity.Administrator), 4},
		"the program": {identity.Program(), 4}, "a dispatcher's token that may not read": {withToken, 0},
	} {
		for what, sql := range map[string]string{"sees": "select from oddity", "changes": "update oddity set state = 'withdrawn'"} {
			err := s.InRawTx(t.Context(), c.by, func(tx pgx.Tx) error {
				tag, err := tx.Exec(t.Context(), sql)
				if err == nil && tag.RowsAffected() != int64(c.want) {
					t.Errorf("%s %s %d, want %d", who, what, tag.RowsAffected(), c.want)
				}
				return errors.Join(err, errRolledBack)
			})
			if !errors.Is(err, errRolledBack) || stateOf(err) != "" {
				t.Errorf("%s: %v", who, err)
			}
		}
	}
	// What a technician's signature leads to is written, and the technician's sight is closed again behind it.
	err := s.InTx(t.Context(), as(identity.Technician), func(ctx context.Context, tx fleet.Tx) error {
		if err := tx.PutOddities(ctx, idOf("visit 1 1"), nil); err != nil {
			return err
		}
		if list, err := tx.OddityPage(ctx, fleet.OddityQuery{Limit: 10}); len(list) != 0 || err != nil {
			t.Error("the technician sees", list, err)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if got := lines(t, db, "select state from oddity"); !slices.Equal(got, []string{"open", "open", "open", "withdrawn"}) {
		t.Error(got)
	}
}

var errRolledBack = errors.New("taken back")

// A foreign id and one that nobody has are answered alike, so that ids cannot be tried out.
func TestForeignIdsAreAnsweredLikeUnknownOnes(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	s := store.New(db.App, "lintel")
	ask := map[string]func(ctx context.Context, tx fleet.Tx, of string) error{
		"customer %c": func(ctx context.Context, tx fleet.Tx, of string) error {
			_, err := tx.CustomerByID(ctx, idOf(of))
			return err
		},
		"site %c %s": func(ctx context.Context, tx fleet.Tx, of string) error {
			_, err := tx.SiteByID(ctx, idOf(of))
			return err
		},
		"door %c %s": func(ctx context.Context, tx fleet.Tx, of string) error {
			_, err := tx.DoorByID(ctx, idOf(of), fleet.AsOf{})
			return err
		},
		"sensor %c %s": func(ctx context.Context, tx fleet.Tx, of string) error {
			_, err := tx.ComponentByID(ctx, idOf(of), fleet.AsOf{})
			return err
		},
		"revision %c %s": func(ctx context.Context, tx fleet.Tx, of string) error {
			_, err := tx.RevisionByID(ctx, idOf(of))
			return err
		},
		"plan %c %s": func(ctx context.Context, tx fleet.Tx, of string) error {
			_, err := tx.PlanByID(ctx, idOf(of))
			return err
		},
		"order %c %s": func(ctx context.Context, tx fleet.Tx, of string) error {
			_, err := tx.WorkOrderByID(ctx, idOf(of))
			return err
		},
		"visit %c %s": func(ctx context.Context, tx fleet.Tx, of string) error {
			_, err := tx.VisitByID(ctx, idOf(of))
			return err
		},
		"entry %c %s": func(ctx context.Context, tx fleet.Tx, of string) error {
			_, err := tx.EntryByID(ctx, idOf(of))
			return err
		},
		"report %c %s": func(ctx context.Context, tx fleet.Tx, of string) error {
			_, err := tx.ReportByID(ctx, idOf(of))
			return err
		},
		"party %c %s": func(ctx context.Context, tx fleet.Tx, of string) error {
			_, err := tx.PartyByID(ctx, idOf(of))
			return err
		},
		"photo %c %s": func(ctx context.Context, tx fleet.Tx, of string) error {
			_, err := tx.PhotoByHash(ctx, seal.HashOf([]byte(of)))
			return err
		},
	}
	for what, f := range ask {
		of := func(c, site string) string { return strings.NewReplacer("%c", c, "%s", site).Replace(what) }
		answer := func(by identity.Actor, of string) string {
			err := s.InTxReadOnly(t.Context(), by, func(ctx context.Context, tx fleet.Tx) error { return f(ctx, tx, of) })
			return fmt.Sprint(err)
		}
		for _, by := range []identity.Actor{agentOf(idOf("customer 1")), tenantOf(idOf("site 1 1"))} {
			if got := answer(by, of("1", "1")); got != "<nil>" {
				t.Errorf("%s: %s sees not even what is theirs: %s", what, by.ScopeKind, got)
			}
			foreign, unknown := answer(by, of("2", "2")), answer(by, of("9", "9"))
			if foreign != unknown || !strings.HasSuffix(foreign, "_not_found") {
				t.Errorf("%s: a foreign one answers %q, an unknown one %q", what, foreign, unknown)
			}
		}
	}
}

// A role without a scope sees no row of a customer: neither where nothing was ever set on the connection, nor where
// the setting is empty or is no set of ids.
func TestARoleWithoutAScopeSeesNothing(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	for _, setting := range []string{"never set", "", "{}", "{NULL}", "no ids", "*"} {
		for _, role := range []string{"lintel_customer", "lintel_site"} {
			conn, err := pgx.Connect(t.Context(), db.AppURL) // a new one: no setting was ever there
			if err != nil {
				t.Fatal(err)
			}
			for _, table := range append(slices.Sorted(maps.Keys(seenIn("site_id"))), "notice") {
				if slices.Contains(append(sharedTables(), "person"), table) {
					continue
				}
				tx, err := conn.Begin(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				if setting != "never set" {
					if _, err := tx.Exec(t.Context(), "select set_config('lintel.customers', $1, true), set_config('lintel.sites', $1, true)", setting); err != nil {
						t.Fatal(err)
					}
				}
				if _, err := tx.Exec(t.Context(), "select set_config('role', $1, true)", role); err != nil {
					t.Fatal(err)
				}
				var n int
				if err := tx.QueryRow(t.Context(), "select count(*) from "+table).Scan(&n); err == nil && n != 0 {
					t.Errorf("%s with %q sees %d rows of %s", role, setting, n, table)
				}
				if err := tx.Rollback(t.Context()); err != nil {
					t.Fatal(err)
				}
			}
			if err := conn.Close(t.Context()); err != nil {
				t.Fatal(err)
			}
		}
	}
}

func TestAStatementOutsideAScopeIsRefusedAloud(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	for _, table := range tables(t, db) {
		if _, err := db.App.Exec(t.Context(), "select count(*) from "+table); stateOf(err) != "42501" {
			t.Errorf("%s: %v, want permission denied (42501)", table, err)
		}
	}
}

func TestTheScopeEndsWithItsTransaction(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	pool := db.Pool(t, 1) // the next statement comes over the same connection
	s := store.New(pool, "lintel")
	seen := func() string {
		var who, customers, sites string
		if err := pool.QueryRow(t.Context(), `select current_user, coalesce(current_setting('lintel.customers', true), ''), coalesce(current_setting('lintel.sites', true), '')`).Scan(&who, &customers, &sites); err != nil {
			t.Fatal(err)
		}
		return who + customers + sites
	}
	count := func(by identity.Actor) (n int) {
		if err := s.InRawTx(t.Context(), by, func(tx pgx.Tx) error { return tx.QueryRow(t.Context(), "select count(*) from door").Scan(&n) }); err != nil {
			t.Fatal(err)
		}
		return n
	}
	failed := fmt.Errorf("given up")
	for _, end := range []struct {
		how string
		run func()
	}{
		{"commit", func() {
			if n := count(agentOf(idOf("customer 1"))); n != 2 {
				t.Errorf("the agent sees %d doors, want 2", n)
			}
		}},
		{"rollback", func() {
			if err := s.InRawTx(t.Context(), tenantOf(idOf("site 2 2")), func(pgx.Tx) error { return failed }); err != failed {
				t.Error(err)
			}
		}},
		{"error of PostgreSQL", func() {
			err := s.InRawTx(t.Context(), staff, func(tx pgx.Tx) error { _, err := tx.Exec(t.Context(), "select 1/0"); return err })
			if stateOf(err) != "22012" {
				t.Error(err)
			}
		}},
		{"panic", func() {
			defer func() { _ = recover() }()
			_ = s.InRawTx(t.Context(), staff, func(pgx.Tx) error { panic("in the middle") })
		}},
	} {
		end.run()
		if got := seen(); got != "lintel_app" {
			t.Errorf("after %s the connection is still %q", end.how, got)
		}
		if _, err := pool.Exec(t.Context(), "select count(*) from door"); stateOf(err) != "42501" {
			t.Errorf("after %s: %v, want permission denied", end.how, err)
		}
		if n := count(tenantOf()); n != 0 {
			t.Errorf("after %s the next person sees %d doors of the one before", end.how, n)
		}
	}
}

func TestOutsidersChangeAndDeleteNothing(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	s := store.New(db.App, "lintel")
	for _, by := range []identity.Actor{agentOf(idOf("customer 1")), tenantOf(idOf("site 1 1"))} {
		for _, table := range tables(t, db) {
			column := lines(t, db, `select attname from pg_attribute where attrelid = $1::text::regclass and attnum > 0 and attidentity = '' order by attnum limit 1`, table)[0]
			for _, sql := range []string{
				fmt.Sprintf("update %[1]s set %[2]s = %[2]s", table, column),
				"delete from " + table,
				"truncate " + table,
			} {
				err := s.InRawTx(t.Context(), by, func(tx pgx.Tx) error { _, err := tx.Exec(t.Context(), sql); return err })
				if stateOf(err) != "42501" {
					t.Errorf("%s by scope of %s: %v, want permission denied", sql, by.ScopeKind, err)
				}
			}
			if table == "report" || table == "report_site" || table == "record_log" {
				continue // see below
			}
			err := s.InRawTx(t.Context(), by, func(tx pgx.Tx) error {
				_, err := tx.Exec(t.Context(), fmt.Sprintf("insert into %[1]s (%[2]s) values (null)", table, column))
				return err
			})
			if stateOf(err) != "42501" {
				t.Errorf("insert into %s by scope of %s: %v, want permission denied", table, by.ScopeKind, err)
			}
		}
	}
}

// The one thing that outsiders may add is a report of what they see, and its record.
func TestOutsidersAddReportsOfTheirOwnDoorsOnly(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	s := store.New(db.App, "lintel")
	const (
		report = `insert into report (customer_id, site_id, door_id, report_id, canonical, sha256, pdf, pdf_sha256, made_at, made_by)
			values ($1, $2, $3, $4, 'r', sha256('r'), 'p', sha256('p'), now(), $5)`
		record = `insert into record_log (kind, customer_id, site_id, subject_id, canonical, sha256, recorded_at, recorded_by)
			values ($1, $2, $3, $4, 'r', sha256('r'), now(), $5)`
	)
	for _, by := range []identity.Actor{agentOf(idOf("customer 1")), tenantOf(idOf("site 1 1"))} {
		try := func(sql string, args ...any) error {
			return s.InRawTx(t.Context(), by, func(tx pgx.Tx) error { _, err := tx.Exec(t.Context(), sql, append(args, by.PersonID)...); return err })
		}
		mine := idOf("mine of " + string(by.ScopeKind))
		if err := try(report, idOf("customer 1"), idOf("site 1 1"), idOf("door 1 1"), mine); err != nil {
			t.Errorf("a report of one's own door: %v", err)
		}
		for what, err := range map[string]error{
			"a record of a report that is not there":     try(record, "report", idOf("customer 1"), idOf("site 1 1"), idOf("unwritten")),
			"a record of another customer's report":      try(record, "report", idOf("customer 2"), idOf("site 2 1"), idOf("report 2 1")),
			"another's report under one's own customer":  try(record, "report", idOf("customer 1"), idOf("site 1 1"), idOf("report 2 1")),
			"one's own report under another's customer":  try(record, "report", idOf("customer 2"), idOf("site 1 1"), mine),
			"one's own report under another's site":      try(record, "report", idOf("customer 1"), idOf("site 2 1"), mine),
			"a record of a visit":                        try(record, "visit", idOf("customer 1"), idOf("site 1 1"), idOf("visit 1 1")),
			"a record that calls a report a visit":       try(record, "visit", idOf("customer 1"), idOf("site 1 1"), mine),
			"a report of another customer's door":        try(report, idOf("customer 2"), idOf("site 2 1"), idOf("door 2 1"), idOf("theirs")),
			"a report of an own site, other's customer":  try(report, idOf("customer 2"), idOf("site 1 1"), idOf("door 1 1"), idOf("mixed 1")),
			"a report of other's site, an own customer":  try(report, idOf("customer 1"), idOf("site 2 1"), idOf("door 2 1"), idOf("mixed 2")),
			"a report of other's door on an own site":    try(report, idOf("customer 1"), idOf("site 1 1"), idOf("door 2 1"), idOf("mixed 3")),
			"a report of another site's door, own site":  try(report, idOf("customer 1"), idOf("site 1 1"), idOf("door 1 2"), idOf("mixed 4")),
			"a report that is there already, once again": try(report, idOf("customer 1"), idOf("site 1 1"), idOf("door 1 1"), mine),
		} {
			if err == nil {
				t.Errorf("%s was taken from scope of %s", what, by.ScopeKind)
			}
		}
		if err := try(record, "report", idOf("customer 1"), idOf("site 1 1"), mine); err != nil {
			t.Errorf("the record of one's own report: %v", err)
		}
	}
	if got := lines(t, db, "select 'report' from report union all select 'record' from record_log"); len(got) != 4+5+2+8+2 {
		t.Errorf("%d reports and records, want 21", len(got))
	}
}

// A portfolio is seen by whoever sees all of its sites, and outsiders add one of sites that they see.
func TestAPortfolioIsSeenByWhoeverSeesAllOfItsSites(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	s := store.New(db.App, "lintel")
	c1, c2, s11, s22 := idOf("customer 1"), idOf("customer 2"), idOf("site 1 1"), idOf("site 2 2")
	for _, c := range []struct {
		who  string
		by   identity.Actor
		sees bool
	}{
		{"agent of both customers", agentOf(c1, c2), true}, {"agent of one customer", agentOf(c1), false}, {"tenant of both sites", tenantOf(s11, s22), true},
		{"tenant of one site", tenantOf(s11), false}, {"staff", staff, true}, {"nobody", tenantOf(), false},
	} {
		err := s.InTx(t.Context(), c.by, func(ctx context.Context, tx fleet.Tx) error {
			_, err := tx.ReportByID(ctx, idOf("portfolio of two"))
			return err
		})
		if c.sees && err != nil || !c.sees && !fault.Is(err, "report_not_found") {
			t.Errorf("%s: %v", c.who, err)
		}
	}
	put := func(by identity.Actor, id uuid.UUID, sites ...fleet.ReportedSite) error {
		return s.InTx(t.Context(), by, func(ctx context.Context, tx fleet.Tx) error {
			r := fleet.Report{ReportID: id, Kind: fleet.KindPortfolio, Sites: sites, Canonical: []byte("r"), SHA256: seal.HashOf([]byte("r")),
				Prints: []fleet.ReportPrint{{Form: "pdf", Bytes: []byte("p"), SHA256: seal.HashOf([]byte("p"))}}, MadeAt: time.Now(), MadeBy: by.PersonID}
			if _, err := tx.InsertReport(ctx, r); err != nil {
				return err
			}
			return tx.InsertRecord(ctx, fleet.Record{Kind: "report", SubjectID: id, Canonical: r.Canonical, SHA256: r.SHA256, RecordedAt: r.MadeAt, RecordedBy: r.MadeBy})
		})
	}
	mine, theirs := fleet.ReportedSite{CustomerID: c1, SiteID: s11}, fleet.ReportedSite{CustomerID: c2, SiteID: s22}
	for _, by := range []identity.Actor{agentOf(c1), tenantOf(s11)} {
		if err := put(by, idOf("own of "+string(by.ScopeKind)), mine); err != nil {
			t.Errorf("a portfolio of one's own site by scope of %s: %v", by.ScopeKind, err)
		}
		if err := put(by, idOf("foreign of "+string(by.ScopeKind)), mine, theirs); stateOf(err) != "42501" {
			t.Errorf("a portfolio of a foreign site by scope of %s: %v", by.ScopeKind, err)
		}
		if err := put(by, idOf("mixed of "+string(by.ScopeKind)), fleet.ReportedSite{CustomerID: c1, SiteID: s22}); err == nil {
			t.Errorf("a foreign site under one's own customer was taken from scope of %s", by.ScopeKind)
		}
	}
	handOver(t, s, s11) // to the second customer
	if err := s.InTx(t.Context(), agentOf(c1), func(ctx context.Context, tx fleet.Tx) error {
		_, err := tx.ReportByID(ctx, idOf("own of customers"))
		return err
	}); !fault.Is(err, "report_not_found") {
		t.Errorf("the old customer still sees a portfolio of a site that changed hands: %v", err)
	}
}

// Not even a superuser's statement puts a row under another customer or site than the row above it has.
func TestARowCannotHangUnderAnotherCustomersRow(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	d11, d21 := []any{idOf("customer 1"), idOf("site 1 1"), idOf("door 1 1")}, []any{idOf("customer 2"), idOf("site 2 1"), idOf("door 2 1")}
	for _, c := range []struct {
		what, constraint, sql string
		args                  []any
	}{
		{"a door of customer 1 on the site of customer 2", "door_site_fk",
			`insert into door values ($1, $2, $3, '99999999', 'Main', '2026-01-01', now(), $3)`, []any{idOf("customer 1"), idOf("site 2 1"), idOf("new")}},
		{"a component of customer 1 in the door of customer 2", "component_door_fk",
			`insert into component (customer_id, site_id, door_id, component_id, kind, model_text, recorded_at, recorded_by) values ($1, $2, $3, $4, 'lock', 'x', now(), $4)`,
			[]any{d11[0], d11[1], d21[2], idOf("new")}},
		{"a sensor wired to the control of another door", "component_version_wired_fk",
			`update component_version set wired_to = $2 where component_id = $1`, []any{idOf("sensor 1 1"), idOf("control 2 1")}},
		{"a work order for the plan of another door", "work_order_plan_fk",
			`update work_order set plan_id = $2 where door_id = $1`, []any{idOf("door 1 1"), idOf("plan 1 2")}},
		{"an entry at a door of another site", "visit_entry_door_fk",
			`insert into visit_entry values ($1, $2, $3, $4, $5, 'note', now(), now(), $5, null, 'x', sha256('x'))`, []any{d11[0], d11[1], idOf("door 1 2"), idOf("visit 1 1"), idOf("new")}},
		{"an entry in a visit of another site", "visit_entry_visit_fk",
			`insert into visit_entry values ($1, $2, $3, $4, $5, 'note', now(), now(), $5, null, 'x', sha256('x'))`, append(slices.Clone(d11), idOf("visit 2 1"), idOf("new"))},
		{"a case for a finding of another door", "out_of_service_case_finding_fk",
			`update out_of_service_case set finding_id = $2 where door_id = $1`, []any{idOf("door 1 1"), idOf("computed 2 1")}},
		{"a site of a customer who is not there", "site_customer_fk",
			`update site set customer_id = $2 where site_id = $1`, []any{idOf("site 1 1"), idOf("nobody")}},
	} {
		_, err := db.Admin.Exec(t.Context(), c.sql, c.args...)
		if e := pgErrorOf(err); e == nil || e.Code != "23503" || e.ConstraintName != c.constraint {
			t.Errorf("%s: %v, want it refused by %s (23503)", c.what, err, c.constraint)
		}
	}
	// And every table of the schema, also those to come.
	for _, table := range lines(t, db, `select c.relname from pg_class c where `+ours+` and 2 = (select count(*) from pg_attribute a where a.attrelid = c.oid and a.attname in ('customer_id', 'site_id'))`) {
		if table == "site" || table == "record_log" {
			continue // the one is what changes hands, the other says for ever whose a record was
		}
		for column, other := range map[string]uuid.UUID{"customer_id": idOf("customer 2"), "site_id": idOf("site 2 1")} {
			sql := "update " + table + " set " + column + " = $2 where site_id = $1"
			_, err := db.Admin.Exec(t.Context(), sql, idOf("site 1 1"), other)
			if e := pgErrorOf(err); e == nil || e.Code != "23503" || !regexp.MustCompile(`^`+table+`_[a-z]+_fk$`).MatchString(e.ConstraintName) {
				t.Errorf("%s: %v, want it refused by a foreign key of its own", sql, err)
			}
		}
	}
}

// With some thousand work orders, what a customer sees is found by an index although the wall is part of the plan.
func TestTheWallUsesAnIndex(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	if _, err := db.Admin.Exec(t.Context(), `
		insert into customer (customer_id, name, created_at, created_by) select md5('many ' || n)::uuid, n::text, now(), md5('x')::uuid from generate_series(1, 400) n;
		insert into site (customer_id, site_id, name, country, jurisdiction, time_zone, created_at, created_by)
			select customer_id, customer_id, name, 'US', 'US', 'UTC', now(), created_by from customer where name ~ '^[0-9]+$';
		insert into door select customer_id, site_id, site_id, (20000000 + name::int)::text, name, '2026-01-01', now(), created_by from site where name ~ '^[0-9]+$';
		insert into work_order (customer_id, site_id, door_id, work_order_id, kind, due_on, state, recorded_at)
			select customer_id, site_id, door_id, md5(name || ' ' || n)::uuid, 'service', date '2026-01-01' + n, 'open', now() from door, generate_series(1, 12) n where name ~ '^[0-9]+$';
		analyze`); err != nil {
		t.Fatal(err)
	}
	s := store.New(db.App, "lintel")
	for _, c := range []struct {
		by    identity.Actor
		index string
	}{{agentOf(idOf("many 7")), "work_order_customer_idx"}, {tenantOf(idOf("many 7")), "work_order_site_idx"}} {
		var plan []string
		if err := s.InRawTx(t.Context(), c.by, func(tx pgx.Tx) (err error) {
			rows, _ := tx.Query(t.Context(), "explain select work_order_id from work_order where (due_on, work_order_id) > ('2026-01-01', $1) order by due_on, work_order_id limit 50", uuid.Nil)
			plan, err = pgx.CollectRows(rows, pgx.RowTo[string])
			return err
		}); err != nil {
			t.Fatal(err)
		}
		if text := strings.Join(plan, "\n"); strings.Contains(text, "Seq Scan") || !strings.Contains(text, c.index) {
			t.Errorf("scope of %s:\n%s\nwant %s", c.by.ScopeKind, text, c.index)
		}
	}
}

func pgErrorOf(err error) *pgconn.PgError {
	var e *pgconn.PgError
	if !errors.As(err, &e) {
		return nil
	}
	return e
}

// stateOf is PostgreSQL's code of an error, "" for none and for every other error.
func stateOf(err error) string {
	if e := pgErrorOf(err); e != nil {
		return e.Code
	}
	return ""
}

// What an import made may go again while that import is being undone, and nothing else ever.
func TestStaffDeleteOnlyWhatAnUndoneImportMade(t *testing.T) {
	t.Parallel()
	db := newWorld(t)
	s := store.New(db.App, "lintel")
	deleted := func(where string) (n int64) {
		err := s.InRawTx(t.Context(), staff, func(tx pgx.Tx) error {
			tag, err := tx.Exec(t.Context(), "delete from coverage"+where)
			n = tag.RowsAffected()
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	if n := deleted(""); n != 0 {
		t.Errorf("%d rows of coverage are gone although nothing is being undone", n)
	}
	if _, err := db.Admin.Exec(t.Context(), "update import_run set undone_at = now(), undone_by = person_id where run_id = $1", idOf("door 1 1")); err != nil {
		t.Fatal(err)
	}
	if n := deleted(""); n != 1 {
		t.Errorf("%d rows of coverage are gone, want that of the one door", n)
	}
	if left := lines(t, db, "select door_id::text from coverage where door_id = $1", idOf("door 1 1")); len(left) != 0 {
		t.Error("the row of another door is gone")
	}
}
