package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/golang-migrate/migrate/v4"
	"github.com/golang-migrate/migrate/v4/database"
	migratepgx "github.com/golang-migrate/migrate/v4/database/pgx/v5"
	"github.com/golang-migrate/migrate/v4/source/iofs"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"

	"lintel.example/lintel/migrations"
)

// versionTable is golang-migrate's: one row, the number of the last file and whether it was cut off.
const versionTable = "schema_migrations"

// migrateLock is the advisory lock, of the database that is migrated, that keeps migrators apart.
const migrateLock = 0x6c696e74_6d696772

const (
	lockTimeout = 2 * time.Second // longer, and the queries that queue up behind a waiting migration stop the service
	lockTries   = 10
)

// Migrate brings the database that adminURL names to LatestVersion, as the role {prefix}_owner that Setup made.
// Several at once are fine: one works, the others wait and find nothing to do. What an earlier one left half done is
// taken up again. An error names the file, the line and what PostgreSQL said, not the file's text.
func Migrate(ctx context.Context, adminURL, prefix string) error {
	return newMigrator(adminURL, prefix, migrations.Files).run(ctx, up, (*migrate.Migrate).Up)
}

// MigrateDown takes the database down to the version given. For tests only: in production nobody goes back.
func MigrateDown(ctx context.Context, adminURL, prefix string, version int) error {
	return newMigrator(adminURL, prefix, migrations.Files).run(ctx, down, func(m *migrate.Migrate) error {
		if version == 0 {
			return m.Down()
		}
		return m.Migrate(uint(version))
	})
}

// migrator runs files against a database.
type migrator struct {
	adminURL, prefix string
	files            fs.FS
}

func newMigrator(adminURL, prefix string, files fs.FS) migrator {
	return migrator{adminURL, prefix, files}
}

// direction is what a step adds to the version.
type direction int

const (
	up   direction = 1
	down direction = -1
)

func (r migrator) run(ctx context.Context, way direction, move func(*migrate.Migrate) error) error {
	if err := r.locked(ctx, way, move); err != nil {
		return fmt.Errorf("migrate: %w", err)
	}
	return nil
}

func (r migrator) locked(ctx context.Context, way direction, move func(*migrate.Migrate) error) error {
	cfg, err := adminConfig(r.adminURL, r.prefix)
	if err != nil {
		return err
	}
	cfg.RuntimeParams["role"] = r.prefix + "_owner"
	// A role's own settings must not lead elsewhere.
	cfg.RuntimeParams["search_path"] = "public"
	cfg.RuntimeParams["statement_timeout"] = "0"
	cfg.RuntimeParams["lock_timeout"] = strconv.FormatInt(lockTimeout.Milliseconds(), 10)

	lock, err := lockMigrations(ctx, cfg)
	if err != nil {
		return err
	}
	defer lock.Close(context.WithoutCancel(ctx)) // gives the lock back

	for try := 1; ; try++ {
		err := r.once(ctx, cfg, way, move)
		// 55P03: a table that the migration changes is in use. Let the others through and ask again.
		if err == nil || try == lockTries || sqlState(err) != "55P03" {
			return err
		}
		if err := sleep(ctx, time.Duration(try)*200*time.Millisecond); err != nil {
			return err
		}
	}
}

// lockMigrations waits until no other migrator works on the database: none that holds our lock, and none that was
// killed while PostgreSQL goes on with the statement it was sent, under golang-migrate's lock. It asks again and
// again instead of waiting inside PostgreSQL, where the waiting statement would hold a snapshot, for which in turn
// the building of an index (concurrently) waits.
func lockMigrations(ctx context.Context, cfg *pgx.ConnConfig) (*pgx.Conn, error) {
	theirs, err := database.GenerateAdvisoryLockId(cfg.Database, "public", versionTable)
	if err != nil {
		return nil, err
	}
	conn, err := pgx.ConnectConfig(ctx, cfg)
	if sqlState(err) == "22023" { // the role in the parameters
		return nil, fmt.Errorf("the role %s does not exist: run setup first", cfg.RuntimeParams["role"])
	}
	if err != nil {
		return nil, err
	}
	for pause := 10 * time.Millisecond; ; pause = min(2*pause, 500*time.Millisecond) {
		var ours, free bool
		err := conn.QueryRow(ctx, "select pg_try_advisory_lock($1)", int64(migrateLock)).Scan(&ours)
		if err == nil && ours {
			err = conn.QueryRow(ctx, "select case when pg_try_advisory_lock($1::text::bigint) then pg_advisory_unlock($1::text::bigint) else false end", theirs).Scan(&free)
		}
		if err == nil && ours && free {
			return conn, nil
		}
		if err == nil {
			err = sleep(ctx, pause)
		}
		if err != nil {
			conn.Close(context.WithoutCancel(ctx))
			return nil, fmt.Errorf("waiting for another migration: %w", err)
		}
	}
}

func (r migrator) once(ctx context.Context, cfg *pgx.ConnConfig, way direction, move func(*migrate.Migrate) error) error {
	files, err := iofs.New(rendered{r.files, r.prefix}, ".")
	if err != nil {
		return err
	}
	db := stdlib.OpenDB(*cfg)
	driver, err := migratepgx.WithInstance(db, &migratepgx.Config{MigrationsTable: versionTable})
	if err != nil {
		return errors.Join(short(err), db.Close())
	}
	m, err := migrate.NewWithInstance("embedded", files, "pgx5", driver)
	if err != nil {
		return errors.Join(err, db.Close())
	}
	defer m.Close() // the database's connections too

	if err := r.takeUp(m, up); err != nil {
		return err
	}
	if version, _, err := m.Version(); err == nil && int(version) > latest(r.files) {
		return newer(int(version), latest(r.files))
	}
	stopWhenDone := context.AfterFunc(ctx, func() { m.GracefulStop <- true })
	defer stopWhenDone()
	err = move(m)
	if err == nil {
		return context.Cause(ctx) // a graceful stop is no error to golang-migrate
	}
	if errors.Is(err, migrate.ErrNoChange) {
		return nil
	}
	version, _, _ := m.Version()
	err = fmt.Errorf("file %06d: %w", version, short(err))
	return errors.Join(err, r.takeUp(m, way))
}

// takeUp makes a database ready again in which a file was cut off, by a fault of its own or by the death of the
// migrator. golang-migrate marks the version before it runs the file and unmarks it afterwards, and then cannot
// know which of the two happened; our files unmark it themselves, as part of their own transaction (see rendered).
// A mark that stands therefore says for certain that nothing of the file is in the database.
func (r migrator) takeUp(m *migrate.Migrate, way direction) error {
	version, dirty, err := m.Version()
	if errors.Is(err, migrate.ErrNilVersion) || err == nil && !dirty {
		return nil
	}
	if err != nil {
		return short(err)
	}
	name, text, err := r.fileUp(int(version))
	if err != nil {
		return err
	}
	if !isOneTransaction(text) {
		return fmt.Errorf("%s was cut off and cannot be taken up by itself: drop the index that it builds, then set the row of %s to version %d, not dirty", name, versionTable, version-1)
	}
	before := int(version) - int(way)
	if before == 0 {
		before = database.NilVersion
	}
	return m.Force(before)
}

// short takes the file's text, which golang-migrate adds, out of an error.
func short(err error) error {
	var e database.Error
	if p := (*database.Error)(nil); errors.As(err, &p) {
		e = *p
	} else if !errors.As(err, &e) {
		return err
	}
	var pg *pgconn.PgError
	if !errors.As(e.OrigErr, &pg) {
		return e.OrigErr
	}
	said := error(pg)
	if pg.Detail != "" {
		said = fmt.Errorf("%w: %s", said, pg.Detail)
	}
	if e.Line > 0 {
		said = fmt.Errorf("line %d: %w", e.Line, said)
	}
	return said
}

// LatestVersion is the version of the schema that this program is made for: the highest number of its files.
func LatestVersion() int { return latest(migrations.Files) }

func latest(files fs.FS) int {
	names, _ := fs.Glob(files, "*.up.sql") // sorted; the pattern is right
	if len(names) == 0 {
		return 0
	}
	version, _ := strconv.Atoi(names[len(names)-1][:6])
	return version
}

func newer(version, known int) error {
	return fmt.Errorf("the database has version %d of the schema, this program knows only version %d: use the newer program", version, known)
}

// fileUp gives the name and the text of the file that leads up to a version.
func (r migrator) fileUp(version int) (name, text string, err error) {
	names, err := fs.Glob(r.files, fmt.Sprintf("%06d_*.up.sql", version))
	if err != nil || len(names) != 1 {
		return "", "", fmt.Errorf("version %d was cut off, and this program does not know it: use the program that it belongs to", version)
	}
	b, err := fs.ReadFile(r.files, names[0])
	return names[0], string(b), err
}

// Version is the version of the database's schema, 0 before the first migration. dirty: a file was cut off; Migrate
// takes it up again.
func Version(ctx context.Context, pool *pgxpool.Pool) (version int, dirty bool, err error) {
	err = pool.QueryRow(ctx, "select version, dirty from "+versionTable).Scan(&version, &dirty)
	if errors.Is(err, pgx.ErrNoRows) || sqlState(err) == "42P01" { // undefined table
		return 0, false, nil
	}
	if err != nil {
		return 0, false, fmt.Errorf("version of the schema: %w", err)
	}
	return version, dirty, nil
}

// CheckVersion refuses a database whose schema is older or newer than this program knows, or half migrated.
func CheckVersion(ctx context.Context, pool *pgxpool.Pool) error {
	version, dirty, err := Version(ctx, pool)
	if err != nil {
		return err
	}
	known := LatestVersion()
	switch {
	case dirty:
		return fmt.Errorf("the migration of the database to version %d was cut off: run migrate", version)
	case version < known:
		return fmt.Errorf("the database has version %d of the schema, this program needs version %d: run migrate", version, known)
	case version > known:
		return newer(version, known)
	}
	return nil
}

// rendered are the migrations as they are sent: with the installation's names of the roles, and with one more
// statement that unmarks the version in the file's own transaction.
type rendered struct {
	files  fs.FS
	prefix string
}

var roleName = regexp.MustCompile(`\blintel_(owner|app|staff|customer|site|gate|jobs)\b`)

// Open implements fs.FS.
func (r rendered) Open(name string) (fs.File, error) {
	f, err := r.files.Open(name)
	if err != nil || !strings.HasSuffix(name, ".sql") {
		return f, err
	}
	b, err := io.ReadAll(f)
	if err != nil {
		f.Close()
		return nil, err
	}
	text := roleName.ReplaceAllString(string(b), r.prefix+"_$1")
	if isOneTransaction(text) {
		text += "\n;update public." + versionTable + " set dirty = false;\n"
	}
	return renderedFile{File: f, text: strings.NewReader(text)}, nil
}

type renderedFile struct {
	fs.File
	text *strings.Reader
}

// Read implements fs.File.
func (f renderedFile) Read(b []byte) (int, error) { return f.text.Read(b) }

var (
	comment      = regexp.MustCompile(`--[^\n]*`)
	concurrently = regexp.MustCompile(`(?i)\bindex\s+concurrently\b`)
)

// isOneTransaction: every file is, but one that builds or drops an index beside the running service.
func isOneTransaction(sql string) bool {
	return !concurrently.MatchString(comment.ReplaceAllString(sql, ""))
}
