package storetest_test

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
)

func TestMain(m *testing.M) { os.Exit(storetest.Main(m)) }

func TestNewGivesAMigratedDatabase(t *testing.T) {
	db := storetest.New(t)
	if err := store.CheckVersion(t.Context(), db.App); err != nil {
		t.Error(err)
	}
}

func TestAppHasNoRightsOfItsOwn(t *testing.T) {
	db := storetest.New(t)
	for _, sql := range []string{
		"select count(*) from river_job",
		"create table mine (n int)",
		"create temporary table mine (n int)",
		"create schema mine",
		"set role lintel_owner",
		"set role postgres",
	} {
		_, err := db.App.Exec(t.Context(), sql)
		var e *pgconn.PgError
		if !errors.As(err, &e) || e.Code != "42501" {
			t.Errorf("%s: got %v, want permission denied (42501)", sql, err)
		}
	}
}

func TestDatabasesAreSeparate(t *testing.T) {
	one, other := storetest.New(t), storetest.New(t)
	if _, err := one.Admin.Exec(t.Context(), "create table only_here (n int)"); err != nil {
		t.Fatal(err)
	}
	if found := exists(t, other, "select to_regclass('only_here') is not null"); found {
		t.Error("what one test made is in the other test's database")
	}
}

func TestPassedTestDropsItsDatabaseAndAFailedOneKeepsIt(t *testing.T) {
	look := storetest.New(t)
	for _, failed := range []bool{false, true} {
		inner := &playedTest{TB: t, failed: failed}
		db := storetest.New(inner)
		inner.end()
		if kept := exists(t, look, "select exists (select from pg_database where datname = '"+db.Name+"')"); kept != failed {
			t.Errorf("failed %v: kept %v", failed, kept)
		}
		if told := strings.Contains(inner.said, "psql '"+db.AdminURL+"'"); told != failed {
			t.Errorf("failed %v: told how to open it %v: %q", failed, told, inner.said)
		}
	}
}

func TestATransactionLeftOpenIsReported(t *testing.T) {
	inner := &playedTest{TB: t}
	db := storetest.New(inner)
	tx, err := db.App.BeginTx(t.Context(), pgx.TxOptions{})
	if err != nil {
		t.Fatal(err)
	}
	inner.end()
	if !inner.failed || !strings.Contains(inner.said, "never given back") {
		t.Errorf("got %q", inner.said)
	}
	_ = tx.Rollback(t.Context())
}

func exists(t *testing.T, db storetest.DB, sql string) bool {
	t.Helper()
	var yes bool
	if err := db.Admin.QueryRow(t.Context(), sql).Scan(&yes); err != nil {
		t.Fatal(err)
	}
	return yes
}

// playedTest is a test inside the test, which ends when it is told to, and in the way that it is told to.
type playedTest struct {
	testing.TB
	failed   bool
	said     string
	cleanups []func()
}

func (p *playedTest) Failed() bool     { return p.failed }
func (p *playedTest) Cleanup(f func()) { p.cleanups = append(p.cleanups, f) }
func (p *playedTest) Logf(format string, args ...any) {
	p.said += fmt.Sprintf(format, args...)
}
func (p *playedTest) Errorf(format string, args ...any) {
	p.failed = true
	p.said += fmt.Sprintf(format, args...)
}
func (p *playedTest) end() {
	for i := len(p.cleanups) - 1; i >= 0; i-- {
		p.cleanups[i]()
	}
}
