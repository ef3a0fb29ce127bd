// Package storetest gives every test a database of its own: a clone of one that was set up and migrated once.
//
//	func TestMain(m *testing.M) { os.Exit(storetest.Main(m)) }
//	func TestX(t *testing.T)    { db := storetest.New(t); … }
//
// Where many tests begin with the same data, Filled makes it once and gives each of them a copy.
//
// The server is a private one for the test binary, in memory where there is room, started by the first New. With
// LINTEL_TEST_DATABASE_URL (a superuser's URL) it is that server instead, whose roles lintel_… get a known password:
// name a server for tests.
//
// App logs in as lintel_app, as the program does: whoever tests as a superuser never meets row-level security.
//
// A test that fails keeps its database and prints how to open it. The private server ends with the binary; with
// LINTEL_TEST_KEEP=1 its folder stays, and how to start it again is printed.
//
// To add something that every test's database must hold: a migration. To add data for tests: the tests of the room
// that owns it, through its use-cases.
package storetest

import (
	"context"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"lintel.example/lintel/internal/localpg"
	"lintel.example/lintel/internal/store"
)

const (
	serverEnv = "LINTEL_TEST_DATABASE_URL"
	keepEnv   = "LINTEL_TEST_KEEP"

	appPassword = "lintel-test" // used on the server of serverEnv; the private one asks for none
	folderName  = "lintel-test-"
	keptName    = "lintel-kept-"
	roomNeeded  = 1 << 30 // bytes; the default of a container is 64 MB
)

// DB is one test's database.
type DB struct {
	Name     string
	AppURL   string        // logs in as lintel_app
	AdminURL string        // logs in as the superuser
	App      *pgxpool.Pool // lintel_app: no rights until a transaction takes a role
	Admin    *pgxpool.Pool // superuser: for looking, and for what only an administrator does
}

// binary is the server of this test binary; nil where TestMain does not call Main.
var binary *server

// Main runs the tests and clears away the server behind them. It gives the exit code.
func Main(m *testing.M) int {
	binary = &server{}
	code := m.Run()
	if err := binary.close(); err != nil {
		fmt.Fprintln(os.Stderr, "storetest:", err)
		code = max(code, 1)
	}
	return code
}

// New gives the test a migrated, otherwise empty database, which goes when the test passes.
func New(t testing.TB) DB {
	t.Helper()
	if binary == nil {
		t.Fatal("storetest.New: this package's TestMain must call storetest.Main")
	}
	if err := binary.open(); err != nil {
		t.Fatal(err)
	}
	return copyOf(t, binary.template)
}

// Filled is a database that is filled once, by the first test that needs it. Every test gets a copy of its own.
type Filled struct {
	once sync.Once
	name string // "": it could not be filled
}

// New gives the test a copy, which goes when the test passes. The first test calls fill, with the database that is copied from then on: nothing that
// fill opened on it may stay open.
func (f *Filled) New(t testing.TB, fill func(DB)) DB {
	t.Helper()
	f.once.Do(func() {
		db := New(t)
		fill(db)
		giveBack(t, "App", db.App)
		giveBack(t, "Admin", db.Admin)
		name := db.Name + "_filled"
		if _, err := binary.admin.Exec(t.Context(), fmt.Sprintf("alter database %s rename to %s", db.Name, name)); err != nil {
			t.Fatal(err)
		}
		binary.filled = append(binary.filled, name)
		f.name = name
	})
	if f.name == "" {
		t.Fatal("the database to copy was not filled: see the first test that asked for it")
	}
	return copyOf(t, f.name)
}

func copyOf(t testing.TB, template string) DB {
	t.Helper()
	name, err := binary.clone(t.Context(), template, t.Name())
	if err != nil {
		t.Fatalf("a database for the test: %v", err)
	}
	db := DB{Name: name, AppURL: binary.url("lintel_app", name), AdminURL: binary.url("", name)}
	db.App = pool(t, db.AppURL, 10)
	db.Admin = pool(t, db.AdminURL, 3)
	t.Cleanup(func() {
		giveBack(t, "App", db.App)
		giveBack(t, "Admin", db.Admin)
		if t.Failed() {
			t.Logf("the test's database is kept: psql '%s'%s", db.AdminURL, binary.untilWhen())
			return
		}
		if err := binary.drop(name); err != nil {
			t.Error(err)
		}
	})
	return db
}

// Pool opens another pool on the test's database, with connections of its own, such as a second server process has.
// It is closed after the test.
func (db DB) Pool(t testing.TB, maxConns int32) *pgxpool.Pool {
	t.Helper()
	p := pool(t, db.AppURL, maxConns)
	t.Cleanup(func() { giveBack(t, "another pool", p) })
	return p
}

func pool(t testing.TB, url string, maxConns int32) *pgxpool.Pool {
	t.Helper()
	cfg, err := pgxpool.ParseConfig(url)
	if err != nil {
		t.Fatal(err)
	}
	cfg.MaxConns = maxConns
	p, err := pgxpool.NewWithConfig(context.Background(), cfg) // connects when it is used
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// giveBack closes a pool. A connection that the test never gave back would make that wait for ever.
func giveBack(t testing.TB, name string, p *pgxpool.Pool) {
	closed := make(chan struct{})
	go func() { p.Close(); close(closed) }()
	select {
	case <-closed:
	case <-time.After(5 * time.Second):
		t.Errorf("a connection of %s was never given back: a transaction or rows left open", name)
	}
}

// server is the PostgreSQL of one test binary and the template in it.
type server struct {
	once     sync.Once
	err      error
	local    *localpg.Server // nil: the server of serverEnv
	folder   string          // of the private server
	admin    *pgxpool.Pool   // superuser, on the database "postgres"
	template string
	filled   []string // databases that are copied, too
	clones   atomic.Int64
}

// open starts the server and makes the template, the first time.
func (s *server) open() error {
	s.once.Do(func() {
		if err := s.begin(context.Background()); err != nil {
			s.err = fmt.Errorf("storetest: %w", err)
		}
	})
	return s.err
}

func (s *server) begin(ctx context.Context) error {
	if os.Getenv(serverEnv) == "" {
		if err := s.startPrivate(ctx); err != nil {
			return err
		}
	}
	s.template = fmt.Sprintf("lintel_template_%d_%d", os.Getpid(), time.Now().UnixNano())
	if err := store.Setup(ctx, s.url("", s.template), store.DefaultPrefix, s.password()); err != nil {
		return err
	}
	if err := store.Migrate(ctx, s.url("", s.template), store.DefaultPrefix); err != nil {
		return err
	}
	var err error
	if s.admin, err = pgxpool.New(ctx, s.url("", "postgres")); err != nil {
		return err
	}
	// Nobody may be connected to a database that is copied.
	_, err = s.admin.Exec(ctx, "alter database "+s.template+" with is_template true allow_connections false")
	return err
}

func (s *server) startPrivate(ctx context.Context) error {
	parent := roomyFolder()
	sweep(ctx, parent)
	name := folderName
	if os.Getenv(keepEnv) != "" {
		name = keptName
	}
	var err error
	if s.folder, err = os.MkdirTemp(parent, name); err != nil {
		return err
	}
	s.local, err = localpg.Start(ctx, localpg.Options{DataDir: s.folder, ExtraConf: map[string]string{
		"autovacuum":      "off", // would hold databases that are to be dropped
		"wal_level":       "minimal",
		"max_wal_senders": "0",
		"jit":             "off",
	}})
	return err
}

// roomyFolder is the folder for the server's data: memory where there is room, because most of the cost of a clone is
// making files.
func roomyFolder() string {
	const memory = "/dev/shm"
	var fs syscall.Statfs_t
	if err := syscall.Statfs(memory, &fs); err == nil && fs.Bavail*uint64(fs.Bsize) >= roomNeeded {
		return memory
	}
	return os.TempDir()
}

// sweep removes what killed test binaries left behind. Those in use are locked; one that is just being made may not
// be yet, so young ones are left alone.
func sweep(ctx context.Context, parent string) {
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	left, _ := filepath.Glob(filepath.Join(parent, folderName+"*"))
	for _, folder := range left {
		if info, err := os.Stat(folder); err == nil && time.Since(info.ModTime()) > time.Minute {
			_ = localpg.Discard(ctx, folder)
		}
	}
}

func (s *server) password() string {
	if s.local != nil {
		return ""
	}
	return appPassword
}

// url addresses a database of the server; no user is the superuser.
func (s *server) url(user, database string) string {
	if s.local != nil {
		if user == "" {
			user = "postgres"
		}
		return s.local.URL(user, database)
	}
	u, err := url.Parse(os.Getenv(serverEnv))
	if err != nil {
		return os.Getenv(serverEnv) // whoever uses it says what is wrong with it
	}
	u.Path = "/" + database
	if user != "" {
		u.User = url.UserPassword(user, appPassword)
	}
	return u.String()
}

var notInName = regexp.MustCompile(`[^a-z0-9]+`)

// clone copies a database. The copy's name tells the test; PostgreSQL cuts names at 63 bytes.
func (s *server) clone(ctx context.Context, template, test string) (string, error) {
	slug := strings.Trim(notInName.ReplaceAllString(strings.ToLower(test), "_"), "_")
	name := fmt.Sprintf("lintel_%d_%d_%.36s", os.Getpid(), s.clones.Add(1), slug)
	if _, err := s.admin.Exec(ctx, fmt.Sprintf("create database %s owner lintel_owner template %s strategy file_copy", name, template)); err != nil {
		return "", err
	}
	// Rights on the database itself are not copied.
	_, err := s.admin.Exec(ctx, fmt.Sprintf("revoke all on database %[1]s from public; grant connect on database %[1]s to lintel_app", name))
	return name, err
}

func (s *server) drop(name string) error {
	_, err := s.admin.Exec(context.Background(), "drop database if exists "+pgx.Identifier{name}.Sanitize()+" with (force)")
	return err
}

func (s *server) untilWhen() string {
	switch {
	case s.local == nil:
		return ""
	case os.Getenv(keepEnv) == "":
		return " (while the test binary runs; " + keepEnv + "=1 keeps it longer)"
	}
	return " (after the test binary's end: once its server is started again, see below)"
}

// close ends what open began.
func (s *server) close() error {
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	if s.admin != nil {
		if s.local == nil {
			if _, err := s.admin.Exec(ctx, "alter database "+s.template+" is_template false"); err != nil {
				return err
			}
			for _, name := range append(s.filled, s.template) {
				if err := s.drop(name); err != nil {
					return err
				}
			}
		}
		s.admin.Close()
	}
	if s.local == nil {
		return nil
	}
	if err := s.local.Stop(ctx); err != nil {
		return err
	}
	if os.Getenv(keepEnv) == "" {
		return localpg.Discard(ctx, s.folder)
	}
	programs, err := localpg.Find("")
	if err != nil {
		return err
	}
	as := ""
	if os.Geteuid() == 0 {
		as = "runuser -u postgres -- "
	}
	fmt.Fprintf(os.Stderr, "storetest: the server's folder is kept. To start it:\n\t%s%s -D %[3]s/data -c listen_addresses= -c unix_socket_directories=%[3]s/socket\n", as, programs.Path("postgres"), s.folder)
	return nil
}
