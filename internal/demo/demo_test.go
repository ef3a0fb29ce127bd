package demo_test

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/archive"
	"lintel.example/lintel/internal/demo"
	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
	"lintel.example/lintel/internal/words"
)

// made is a history in a database of the test's own.
type made struct {
	demo.Made
	db     storetest.DB
	photos *store.PhotoDir
	texts  *words.Catalogue
	last   duedate.Day
}

// build makes the history of some sites.
func build(t *testing.T, seed uint64, only ...string) made {
	t.Helper()
	db := storetest.New(t)
	book, err := rulebook.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	texts, err := words.Load()
	if err != nil {
		t.Fatal(err)
	}
	hasher, err := identity.NewHasherForTests()
	if err != nil {
		t.Fatal(err)
	}
	photos, err := store.OpenPhotoDir(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = photos.Close() })
	database := store.New(db.App, "lintel")
	last, err := duedate.ParseDay("2026-11-20")
	if err != nil {
		t.Fatal(err)
	}
	parts := demo.Parts{
		Fleet: fleet.Parts{Store: database, Book: book, Words: texts, Photos: photos, Company: fleet.ReportCompany{Name: "Calder & Moss Door Service", Phone: "+1 555 0142"},
			PrintReport: func(fleet.Document, string) ([]fleet.ReportPrint, error) {
				return []fleet.ReportPrint{{Form: "pdf", Bytes: []byte("printed elsewhere")}}, nil
			}},
		People: func(now func() time.Time, newID func() uuid.UUID, random io.Reader) *identity.People {
			return identity.NewPeople(database, hasher, now, newID, random)
		},
		Night: func(ctx context.Context, f *fleet.Fleet, day duedate.Day) error {
			if _, err := f.OpenDueWorkOrders(ctx, day); err != nil {
				return err
			}
			if _, err := f.QueueNotices(ctx, day); err != nil {
				return err
			}
			if _, err := f.WriteLetters(ctx); err != nil {
				return err
			}
			if _, err := f.SendLetters(ctx); err != nil {
				return err
			}
			return nil
		},
	}
	m, err := demo.Build(t.Context(), parts, demo.Options{Seed: seed, LastDay: last, Only: only})
	if err != nil {
		t.Fatal(err)
	}
	return made{m, db, photos, texts, last}
}

// exported gives the sums of all files of an export.
func (m made) exported(t *testing.T) string {
	t.Helper()
	to := filepath.Join(t.TempDir(), "export")
	if _, err := archive.Export(t.Context(), store.New(m.db.App, "lintel"), m.photos, m.texts.Printer("en", words.Metric), to, func(string, int64, bool) {}); err != nil {
		t.Fatal(err)
	}
	sums, err := os.ReadFile(filepath.Join(to, "SHA256SUMS"))
	if err != nil {
		t.Fatal(err)
	}
	return string(sums)
}

func TestTheSameSeedGivesTheSameBytesAndAnotherSeedOthers(t *testing.T) {
	t.Parallel()
	sites := []string{"Quarry Bend store no. 2", "Harbor branch"}
	first := build(t, 11, sites...).exported(t)
	if again := build(t, 11, sites...).exported(t); again != first {
		t.Errorf("made twice, the exports are\n%s\nand\n%s", first, again)
	}
	if other := build(t, 12, sites...).exported(t); other == first {
		t.Error("another seed gave the same bytes")
	}
}

// troublesome are the sites at which something particular happens.
var troublesome = []string{"Pell Harbor store", "Quarry Bend store no. 2", "Day clinic", "Infirmary", "Tower Two", "Harbor branch", "Haus am Quell"}

func TestTheHistoryHasTheTroublesOfRealFleets(t *testing.T) {
	t.Parallel()
	sites := troublesome
	if os.Getenv("LINTEL_DRILLS") == "long" {
		sites = nil // all forty
	}
	m := build(t, 7, sites...)
	if sites == nil && (m.Sites != 40 || m.Doors != 401) { // one was entered twice
		t.Errorf("%d sites, %d doors", m.Sites, m.Doors)
	}
	for what, count := range map[string]string{
		"doors":          `select count(*) from door`,
		"kinds of doors": `select count(distinct kind) / 4 from door_version`,
		"a computed finding that somebody walking past is seen": `select count(*) from finding where origin = 'computed' and cause like 'kept_clear_watched:%'`,
		"one that an antenna was changed for":                   `select count(*) from finding where origin = 'computed' and cause like 'kept_clear_watched:%' and state <> 'open'`,
		"a sensor that sees its own leaf":                       `select count(*) from finding where cause like 'own_leaf_seen:%' and state = 'open'`,
		"a mount that had drifted":                              `select count(*) from revision f join revision l on l.component_id = f.component_id and l.visit_id = f.visit_id and l.standing = 'left' where f.standing = 'found' and f.tilt_deg < l.tilt_deg`,
		"values from paper":                                     `select count(*) from door_version where clear_width_basis = 'from_paper'`,
		"values that nobody knows":                              `select count(*) from door_version where header_depth_m is null`,
		"doors without a rule basis":                            `select count(*) from door_version where coalesce(rule_pack, '') = ''`,
		"doors whose basis was recorded later":                  `select count(*) from (select door_id from door_version group by door_id having min(coalesce(rule_pack, '')) = '' and max(rule_pack) <> '') x`,
		"overdue inspections":                                   `select count(*) from work_order where kind = 'inspection' and state = 'open' and due_on < '` + m.last.String() + `'`,
		"inspections done":                                      `select count(*) from work_order where kind = 'inspection' and state = 'done'`,
		"notices that they are overdue":                         `select count(*) from notice where rung like 'overdue%' and state = 'sent'`,
		"a site that changed hands":                             `select count(*) from site_party a join site_party b on a.site_id = b.site_id and a.role = 'owner' and b.role = 'owner' and a.to_day < b.from_day`,
		"a customer that was entered twice":                     `select count(*) from customer a join customer b on b.name = a.name || ', Inc.'`,
		"a door that was entered twice":                         `select count(*) from door a join door b on a.site_id = b.site_id and b.name = a.name || ' (street)'`,
		"unsafe doors that were mended":                         `select count(*) from out_of_service_case where state = 'ended'`,
		"an unsafe door whose owner refused":                    `select count(*) from out_of_service_case where state = 'unsecured' and refused`,
		"a certificate that has run out":                        `select count(*) from qualification where valid_until < '` + m.last.String() + `'`,
		"a visit that nobody has signed":                        `select count(*) from visit v where not exists (select from visit_sign_off s where s.visit_id = v.visit_id)`,
		"a sensor that was replaced":                            `select count(*) from component_version where state = 'removed'`,
		"deficient findings, open and mended":                   `select count(distinct state) / 2 from finding where severity = 'deficient'`,
		"photos":                                                `select count(*) from photo`,
		"reports":                                               `select count(*) from report`,
	} {
		var n int
		if err := m.db.Admin.QueryRow(t.Context(), count).Scan(&n); err != nil {
			t.Errorf("%s: %v", what, err)
		} else if n == 0 {
			t.Errorf("%s: none", what)
		}
		t.Logf("%s: %d", what, n)
	}
}

func TestNothingIsDatedBeforeOrAfterTheHistory(t *testing.T) {
	t.Parallel()
	m := build(t, 3, "Harbor branch")
	rows, err := m.db.Admin.Query(t.Context(), `select format('select %L, min(%I), max(%I) from %I having count(%I) > 0', table_name || '.' || column_name, column_name, column_name, table_name, column_name)
		from information_schema.columns where table_schema = 'public' and table_name not like 'river%' and column_name in ('recorded_at', 'made_at', 'created_at', 'received_at', 'at')`)
	if err != nil {
		t.Fatal(err)
	}
	statements, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	looked := 0
	for _, statement := range statements {
		var column string
		var first, last time.Time
		switch err := m.db.Admin.QueryRow(t.Context(), statement).Scan(&column, &first, &last); {
		case errors.Is(err, pgx.ErrNoRows):
			continue
		case err != nil:
			t.Fatalf("%s: %v", statement, err)
		}
		looked++
		begin := duedate.DayIn(first, time.UTC)
		if end := duedate.DayIn(last, time.UTC); begin.Before(m.last.AddYears(-3)) || end.After(m.last) {
			t.Errorf("%s runs from %s to %s", column, begin, end)
		}
	}
	if looked < 15 {
		t.Errorf("only %d columns were looked at", looked)
	}
}
