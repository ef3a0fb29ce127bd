package store_test

import (
	"cmp"
	"context"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"
	"golang.org/x/sync/errgroup"

	"lintel.example/lintel/internal/localpg"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
	"lintel.example/lintel/migrations"
)

func TestMigrateReachesTheLatestVersionAndStaysThere(t *testing.T) {
	in := newInstallation(t)
	in.setup(t, "secret")
	in.wantVersion(t, 0, "the database has version 0 of the schema, this program needs version")
	in.migrate(t)
	in.wantVersion(t, store.LatestVersion(), "")
	before := dump(t, in.adminURL)
	in.migrate(t)
	in.wantVersion(t, store.LatestVersion(), "")
	if after := dump(t, in.adminURL); after != before {
		t.Error("a second run changed the schema")
	}
}

func TestThreeMigratorsAtOnceDoTheWorkOnce(t *testing.T) {
	in := newInstallation(t)
	in.setup(t, "secret")
	g, ctx := errgroup.WithContext(t.Context())
	for range 3 {
		g.Go(func() error { return store.Migrate(ctx, in.adminURL, in.prefix) })
	}
	if err := g.Wait(); err != nil {
		t.Fatal(err)
	}
	in.wantVersion(t, store.LatestVersion(), "")
}

func TestSchemaBelongsToTheOwnerUnderItsOwnNames(t *testing.T) {
	in := newInstallation(t)
	in.setup(t, "secret")
	in.migrate(t)
	for what, sql := range map[string]string{
		"tables of others": `select tablename from pg_tables where schemaname = 'public' and tableowner <> $1 || '_owner'`,
		"rights of another installation": `select c.relname || ' ' || a.grantee::regrole from pg_class c, aclexplode(c.relacl) a
			where c.relnamespace = 'public'::regnamespace and a.grantee::regrole::text not like $1 || '\_%'`,
		"policies of another installation": `select tablename || ' ' || r from pg_policies, unnest(roles) r where r not like $1 || '\_%'`,
	} {
		if found := in.column(t, in.adminURL, sql, in.prefix); len(found) > 0 {
			t.Errorf("%s: %v", what, found)
		}
	}
}

func TestMigrateWithoutSetupSaysSo(t *testing.T) {
	in := newInstallation(t)
	in.exec(t, "create database "+in.database)
	err := store.Migrate(t.Context(), in.adminURL, in.prefix)
	if err == nil || !strings.Contains(err.Error(), "the role "+in.prefix+"_owner does not exist: run setup first") {
		t.Errorf("got %v", err)
	}
}

func TestServerRefusesASchemaThatItDoesNotKnow(t *testing.T) {
	in := newInstallation(t)
	in.setup(t, "secret")
	in.migrate(t)
	known := store.LatestVersion()
	for _, c := range []struct {
		version int
		dirty   bool
		want    string
	}{
		{known - 1, false, fmt.Sprintf("has version %d of the schema, this program needs version %d: run migrate", known-1, known)},
		{known + 1, false, fmt.Sprintf("has version %d of the schema, this program knows only version %d: use the newer program", known+1, known)},
		{known, true, fmt.Sprintf("to version %d was cut off: run migrate", known)},
	} {
		in.exec(t, fmt.Sprintf("update schema_migrations set version = %d, dirty = %v", c.version, c.dirty))
		in.wantVersion(t, c.version, c.want)
	}
	in.exec(t, fmt.Sprintf("update schema_migrations set version = %d, dirty = false", known+1))
	if err := store.Migrate(t.Context(), in.adminURL, in.prefix); err == nil || !strings.Contains(err.Error(), "use the newer program") {
		t.Errorf("migrate from a newer version: %v", err)
	}
}

func TestUpDownUpGivesTheSameSchema(t *testing.T) {
	in := newInstallation(t)
	in.setup(t, "secret")
	in.migrate(t)
	first := dump(t, in.adminURL)
	in.migrateDown(t, 0)
	if left := in.column(t, in.adminURL, `select relname::text from pg_class where relnamespace = 'public'::regnamespace
		union all select proname::text from pg_proc where pronamespace = 'public'::regnamespace
		union all select typname::text from pg_type where typnamespace = 'public'::regnamespace and typtype in ('d', 'e')`); !strings.HasPrefix(strings.Join(left, " "), "schema_migrations") || len(left) > 2 {
		t.Errorf("left behind after going all the way down: %v", left)
	}
	in.migrate(t)
	wantSameLines(t, first, dump(t, in.adminURL))
}

// Each step down undoes exactly what its step up did. River's version 4 adds a value to an enum type, which
// PostgreSQL cannot take back; so the steps above it are compared.
func TestEachStepDownUndoesItsStepUp(t *testing.T) {
	const first = 3
	in := newInstallation(t)
	in.setup(t, "secret")
	in.migrate(t)
	at := map[int]string{}
	for v := store.LatestVersion(); v >= first; v-- {
		at[v] = dump(t, in.adminURL)
		if v > first {
			in.migrateDown(t, v-1)
		}
	}
	in.migrateDown(t, 0)
	for v := first; v <= store.LatestVersion(); v++ {
		if err := store.MigrateFiles(t.Context(), in.adminURL, in.prefix, filesUpTo(t, v)); err != nil {
			t.Fatal(err)
		}
		t.Run(fmt.Sprintf("%06d", v), func(t *testing.T) {
			if differs := otherLines(dump(t, in.adminURL), at[v]); differs != nil { // a column that comes back comes back as the last
				t.Error(strings.Join(differs, "\n"))
			}
		})
	}
}

func TestRiverFindsTheSchemaThatItWouldMake(t *testing.T) {
	in := newInstallation(t)
	in.setup(t, "secret")
	in.migrate(t)
	own := storetest.New(t)
	if _, err := own.Admin.Exec(t.Context(), "create schema river; set search_path = river"); err != nil {
		t.Fatal(err)
	}
	river, err := rivermigrate.New(riverpgxv5.New(own.Admin), &rivermigrate.Config{Schema: "river"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := river.Migrate(t.Context(), rivermigrate.DirectionUp, nil); err != nil {
		t.Fatal(err)
	}
	describe := `select line from (
		select format('%s.%s %s %s %s', c.relname, a.attname, format_type(a.atttypid, a.atttypmod), a.attnotnull, pg_get_expr(d.adbin, d.adrelid)) line
			from pg_class c join pg_attribute a on a.attrelid = c.oid and a.attnum > 0 and not a.attisdropped left join pg_attrdef d on (d.adrelid, d.adnum) = (c.oid, a.attnum)
			where c.relnamespace = $1::regnamespace and c.relname like 'river%' and c.relkind = 'r'
		union all select format('%s %s persistence %s', c.relname, pg_get_indexdef(c.oid), c.relpersistence) from pg_class c where c.relnamespace = $1::regnamespace and c.relname like 'river%' and c.relkind = 'i'
		union all select format('%s %s', conrelid::regclass, pg_get_constraintdef(oid)) from pg_constraint where connamespace = $1::regnamespace and conrelid::regclass::text like '%river%'
		union all select format('%s %s', t.typname, e.enumlabel) from pg_type t join pg_enum e on e.enumtypid = t.oid where t.typnamespace = $1::regnamespace
		union all select format('%s %s', proname, prosrc) from pg_proc where pronamespace = $1::regnamespace and proname like 'river%'
		) x where line not like '%river_migration%'`
	described := func(url, schema string) string {
		lines := in.column(t, url, describe, schema)
		for i := range lines {
			lines[i] = strings.ReplaceAll(lines[i], schema+".", "")
		}
		slices.Sort(lines)
		return strings.Join(lines, "\n")
	}
	ours, theirs := described(in.adminURL, "public"), described(own.AdminURL, "river")
	if !strings.Contains(ours, "river_job.unique_states bit(8)") {
		t.Errorf("the comparison sees no columns:\n%s", ours)
	}
	wantSameLines(t, theirs, ours)
}

// The tests that follow run files of their own.

func TestFailingFileIsReportedShortAndLeavesTheVersionBefore(t *testing.T) {
	in := newInstallation(t)
	in.setup(t, "secret")
	filler := strings.Repeat("-- what the file says besides\n", 100)
	files := steps("create table one (n int);", "create table two (n int);\n"+filler+"create table one (n int);", "create table three (n int);")
	for range 2 { // and again with the same result
		err := store.MigrateFiles(t.Context(), in.adminURL, in.prefix, files)
		if err == nil || !strings.Contains(err.Error(), `migrate: file 000002: `) || !strings.Contains(err.Error(), `relation "one" already exists (SQLSTATE 42P07)`) {
			t.Fatalf("got %v", err)
		}
		if strings.Contains(err.Error(), "besides") || strings.Contains(err.Error(), "\n") {
			t.Errorf("the error carries the file's text: %v", err)
		}
		in.wantTables(t, 1, "one")
	}
	mended := maps.Clone(files) // the library reads ahead in the first ones, and may do so for a moment after it has answered
	mended["000002_step.up.sql"] = &fstest.MapFile{Data: []byte("create table two (n int);")}
	if err := store.MigrateFiles(t.Context(), in.adminURL, in.prefix, mended); err != nil {
		t.Fatal(err)
	}
	in.wantTables(t, 3, "one", "three", "two")
}

func TestSyntaxErrorNamesItsLine(t *testing.T) {
	in := newInstallation(t)
	in.setup(t, "secret")
	err := store.MigrateFiles(t.Context(), in.adminURL, in.prefix, steps("create table one (n int);\n\ncreate tabel two (n int);"))
	if err == nil || !strings.Contains(err.Error(), `line 3: ERROR: syntax error at or near "tabel"`) {
		t.Errorf("got %v", err)
	}
}

// 50 steps, and a migrator that is killed again and again at odd moments: each step is done once.
func TestKilledMigratorIsTakenUp(t *testing.T) {
	in := newInstallation(t)
	in.setup(t, "secret")
	killed := 0
	for wait := 5 * time.Millisecond; ; wait = wait*5/4 + time.Millisecond {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), killedMigratorEnv+"="+in.adminURL, killedPrefixEnv+"="+in.prefix)
		out := &strings.Builder{}
		cmd.Stdout, cmd.Stderr = out, out
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		kill := time.AfterFunc(wait, func() { _ = cmd.Process.Kill() })
		err := cmd.Wait()
		if kill.Stop() {
			if err != nil {
				t.Fatalf("the migrator failed by itself: %v: %s", err, out)
			}
			break
		}
		killed++
	}
	t.Logf("killed %d times", killed)
	in.wantTables(t, manySteps, "done")
	if wrong := in.column(t, in.adminURL, `select format('step %s done %s times', s, count(d.n)) from generate_series(1, $1::int) s
		left join done d on d.n = s group by s having count(d.n) <> 1`, manySteps); len(wrong) > 0 {
		t.Error(strings.Join(wrong, "\n"))
	}
}

const (
	killedMigratorEnv = "STORE_TEST_KILLED_MIGRATOR_URL"
	killedPrefixEnv   = "STORE_TEST_KILLED_MIGRATOR_PREFIX"
	manySteps         = 50
)

// playKilledMigrator is the program that the test above kills.
func playKilledMigrator() {
	files := []string{"create table done (n int); insert into done values (1); select pg_sleep(0.01);"}
	for n := 2; n <= manySteps; n++ {
		files = append(files, fmt.Sprintf("insert into done values (%d); select pg_sleep(0.01);", n))
	}
	if err := store.MigrateFiles(context.Background(), os.Getenv(killedMigratorEnv), os.Getenv(killedPrefixEnv), steps(files...)); err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
}

// An index that is built beside the running service is no transaction: nobody can tell how far it came.
func TestIndexThatWasCutOffIsLeftToPeople(t *testing.T) {
	in := newInstallation(t)
	in.setup(t, "secret")
	files := steps("create table one (n int); insert into one values (1), (1);", "create unique index concurrently one_n on one (n)")
	if err := store.MigrateFiles(t.Context(), in.adminURL, in.prefix, files); err == nil || !strings.Contains(err.Error(), "could not create unique index") {
		t.Fatalf("got %v", err)
	}
	err := store.MigrateFiles(t.Context(), in.adminURL, in.prefix, files)
	if err == nil || !strings.Contains(err.Error(), "000002_step.up.sql was cut off") || !strings.Contains(err.Error(), "to version 1, not dirty") {
		t.Fatalf("got %v", err)
	}
	// What the message says helps.
	in.exec(t, "drop index one_n")
	in.exec(t, "delete from one")
	in.exec(t, "update schema_migrations set version = 1, dirty = false")
	if err := store.MigrateFiles(t.Context(), in.adminURL, in.prefix, files); err != nil {
		t.Fatal(err)
	}
}

func TestMigratorsWaitingForAnIndexDoNotBlockIt(t *testing.T) {
	in := newInstallation(t)
	in.setup(t, "secret")
	files := steps("create table one (n int);", "create index concurrently one_n on one (n)", "create table two (n int);")
	g, ctx := errgroup.WithContext(t.Context())
	for range 4 {
		g.Go(func() error { return store.MigrateFiles(ctx, in.adminURL, in.prefix, files) })
	}
	if err := g.Wait(); err != nil {
		t.Fatal(err)
	}
	in.wantTables(t, 3, "one", "two")
}

func TestMigrationWaitsForATableInUse(t *testing.T) {
	in := newInstallation(t)
	in.setup(t, "secret")
	files := steps("create table one (n int);", "alter table one add column m int;")
	if err := store.MigrateFiles(t.Context(), in.adminURL, in.prefix, fstest.MapFS{"000001_step.up.sql": files["000001_step.up.sql"]}); err != nil {
		t.Fatal(err)
	}
	user := in.connect(t, in.adminURL)
	tx, err := user.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := tx.Exec(t.Context(), "select * from one"); err != nil {
		t.Fatal(err)
	}
	done := make(chan error)
	go func() { done <- store.MigrateFiles(t.Context(), in.adminURL, in.prefix, files) }()
	time.Sleep(3 * time.Second) // longer than it waits for a lock at a time
	if err := tx.Commit(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	in.wantTables(t, 2, "one")
}

func TestMigrateStopsWithItsContext(t *testing.T) {
	in := newInstallation(t)
	in.setup(t, "secret")
	ctx, cancel := context.WithCancelCause(t.Context())
	other := in.connect(t, in.adminURL)
	if _, err := other.Exec(t.Context(), "select pg_advisory_lock(x'6c696e746d696772'::bigint)"); err != nil {
		t.Fatal(err)
	}
	done := make(chan error)
	go func() { done <- store.Migrate(ctx, in.adminURL, in.prefix) }()
	cancel(fmt.Errorf("asked to end"))
	if err := <-done; err == nil {
		t.Error("it went on while another migrator holds the lock")
	}
	in.wantTables(t, 0)
}

// The pieces of the tests.

func (in installation) migrate(t *testing.T) {
	t.Helper()
	if err := store.Migrate(t.Context(), in.adminURL, in.prefix); err != nil {
		t.Fatal(err)
	}
}

func (in installation) migrateDown(t *testing.T, version int) {
	t.Helper()
	if err := store.MigrateDown(t.Context(), in.adminURL, in.prefix, version); err != nil {
		t.Fatal(err)
	}
}

// wantVersion looks at the version as the login role does; refusal is what CheckVersion must say, "" for nothing.
func (in installation) wantVersion(t *testing.T, want int, refusal string) {
	t.Helper()
	pool, err := pgxpool.New(t.Context(), in.appURL)
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	got, _, err := store.Version(t.Context(), pool)
	if err != nil || got != want {
		t.Errorf("version %d (%v), want %d", got, err, want)
	}
	if err := store.CheckVersion(t.Context(), pool); refusal == "" && err != nil || refusal != "" && (err == nil || !strings.Contains(err.Error(), refusal)) {
		t.Errorf("got %v, want %q", err, refusal)
	}
}

// wantTables looks at what files of a test's own have made.
func (in installation) wantTables(t *testing.T, version int, want ...string) {
	t.Helper()
	got := in.column(t, in.adminURL, "select tablename::text from pg_tables where schemaname = 'public' and tablename <> 'schema_migrations' order by 1")
	if strings.Join(got, " ") != strings.Join(want, " ") {
		t.Errorf("tables %v, want %v", got, want)
	}
	if version == 0 {
		return
	}
	if at := in.column(t, in.adminURL, "select version || ' ' || dirty from schema_migrations"); len(at) != 1 || at[0] != fmt.Sprintf("%d false", version) {
		t.Errorf("version %v, want %d", at, version)
	}
}

// steps are files 000001_step.up.sql and so on.
func steps(sql ...string) fstest.MapFS {
	files := fstest.MapFS{}
	for i, text := range sql {
		files[fmt.Sprintf("%06d_step.up.sql", i+1)] = &fstest.MapFile{Data: []byte(text)}
	}
	return files
}

// filesUpTo are the program's own files up to a version.
func filesUpTo(t *testing.T, version int) fstest.MapFS {
	t.Helper()
	files := fstest.MapFS{}
	names, err := fs.Glob(migrations.Files, "*.sql")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		if name[:6] <= fmt.Sprintf("%06d", version) {
			text, err := fs.ReadFile(migrations.Files, name)
			if err != nil {
				t.Fatal(err)
			}
			files[name] = &fstest.MapFile{Data: text}
		}
	}
	return files
}

// dump is the database's schema as text, without what differs from one database to the next.
func dump(t *testing.T, url string) string {
	t.Helper()
	programs, err := localpg.Find("")
	if err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(programs.Path("pg_dump"), "--schema-only", url).CombinedOutput()
	if err != nil {
		t.Fatalf("pg_dump: %v: %s", err, out)
	}
	var lines []string
	for line := range strings.Lines(string(out)) {
		// A key that is new in each dump.
		if !strings.HasPrefix(line, "\\restrict") && !strings.HasPrefix(line, "\\unrestrict") {
			lines = append(lines, line)
		}
	}
	return strings.Join(lines, "")
}

func wantSameLines(t *testing.T, want, got string) {
	t.Helper()
	if want != got {
		t.Error(cmp.Or(strings.Join(otherLines(want, got), "\n"), "only the order of the lines differs"))
	}
}

// otherLines tells which lines are more or fewer, in whatever order.
func otherLines(want, got string) (differs []string) {
	count := map[string]int{}
	each := func(text string, n int) { // the comma after the last column tells of its place only
		for line := range strings.Lines(text) {
			count[strings.TrimSuffix(strings.TrimSpace(line), ",")] += n
		}
	}
	each(want, -1)
	each(got, 1)
	for line, n := range count {
		if n != 0 {
			differs = append(differs, fmt.Sprintf("%+d %s", n, line))
		}
	}
	return differs
}
