// Command bench measures what Lintel does against the database doing the same without it, in turn in one run: only the
// ratios count.
//
//	go run ./deploy/bench            fleets of 10,000 and 100,000 doors; writes deploy/bench/table.json and table.md
//	go run ./deploy/bench -doors N   one fleet of N doors, writes nothing
//	go run ./deploy/bench -only replay   one measurement alone, writes nothing
//
// It starts a private PostgreSQL that flushes as in earnest, makes one door with a radar and its plan through the
// use-cases and copies its rows until the fleet is large. A use-case is measured against pgbench running the statements
// that it was seen to run, prepared, with the values written in: what it does besides (checking, computing the field and
// its coverage, turning rows into values) is what the ratio shows. Generation is measured against a bare INSERT …
// SELECT, a late page of a list against its first, a replay and a recomputation
// against reading the same records.
//
// To add a measurement: a function that gives lines, called in measure.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/localpg"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/words"
)

const (
	roundSeconds = 5
	rounds       = 3
)

func main() {
	doors := flag.Int("doors", 0, "one fleet of so many doors instead of both, and no table")
	only := flag.String("only", "", "one measurement alone: setting, folder, pages, generation, ladder, replay, recomputing or signing")
	flag.Parse()
	fleets := []int{10_000, 100_000}
	if *doors > 0 {
		fleets = []int{*doors}
	}
	var lines []line
	for _, n := range fleets {
		measured, err := run(context.Background(), n, *only)
		if err != nil {
			fmt.Fprintln(os.Stderr, "bench:", err)
			os.Exit(1)
		}
		lines = append(lines, measured...)
	}
	fmt.Print(markdown(lines))
	if *doors == 0 && *only == "" {
		if err := keep(lines); err != nil {
			fmt.Fprintln(os.Stderr, "bench:", err)
			os.Exit(1)
		}
	}
}

// run measures on one fleet, in a folder and a server of its own.
func run(ctx context.Context, doors int, only string) ([]line, error) {
	dir, err := os.MkdirTemp("/var/tmp", "lintel-bench")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	if err := os.Chmod(dir, 0o755); err != nil {
		return nil, err
	}
	server, err := localpg.Start(ctx, localpg.Options{DataDir: filepath.Join(dir, "database"), Durable: true})
	if err != nil {
		return nil, err
	}
	defer func() { _ = server.Stop(ctx) }()
	admin, app := server.URL("postgres", "lintel"), server.URL("lintel_app", "lintel")
	if err := store.Setup(ctx, admin, "lintel", ""); err != nil {
		return nil, err
	}
	if err := store.Migrate(ctx, admin, "lintel"); err != nil {
		return nil, err
	}
	programs, err := localpg.Find("")
	if err != nil {
		return nil, err
	}
	b := &bench{doors: doors, dir: dir, app: app, pgbench: programs.Path("pgbench")}
	if b.admin, err = pgx.Connect(ctx, admin); err != nil {
		return nil, err
	}
	defer func() { _ = b.admin.Close(ctx) }()
	if err := b.open(ctx); err != nil {
		return nil, err
	}
	defer b.pool.Close()
	return b.measure(ctx, only)
}

// bench is a fleet of copies of one door.
type bench struct {
	doors     int
	dir, app  string
	pgbench   string // the program
	admin     *pgx.Conn
	fleet     *fleet.Fleet
	pool      *pgxpool.Pool
	trace     *tracer
	door      uuid.UUID // the one that was not copied
	sensor    uuid.UUID
	antenna   uuid.UUID
	revisions atomic.Int64
	signed    int // inspections
}

func (b *bench) open(ctx context.Context) error {
	config, err := pgxpool.ParseConfig(b.app)
	if err != nil {
		return err
	}
	b.trace = &tracer{}
	config.MaxConns = 8
	config.ConnConfig.Tracer = b.trace
	if b.pool, err = pgxpool.NewWithConfig(ctx, config); err != nil {
		return err
	}
	book, err := rulebook.Embedded()
	if err != nil {
		return err
	}
	texts, err := words.Load()
	if err != nil {
		return err
	}
	b.fleet = fleet.New(fleet.Parts{Store: store.New(b.pool, "lintel"), Book: book, Words: texts, NewID: func() uuid.UUID { return uuid.Must(uuid.NewV7()) },
		Now: func() time.Time { return time.Now().UTC().Truncate(time.Microsecond) }})
	return nil
}

func (b *bench) measure(ctx context.Context, only string) (lines []line, err error) {
	if err := b.register(ctx); err != nil {
		return nil, err
	}
	began := time.Now()
	if err := b.multiply(ctx, only == "generation"); err != nil {
		return nil, err
	}
	fmt.Fprintf(os.Stderr, "a fleet of %d doors, copied in %.0f s\n", b.doors, time.Since(began).Seconds())
	for _, m := range []struct {
		name string
		run  func(context.Context) ([]line, error)
	}{{"setting", b.settingChange}, {"folder", b.folder}, {"pages", b.pages}, {"generation", b.generation}, {"ladder", b.ladder}, {"replay", b.replay}, {"recomputing", b.recomputing}, {"signing", b.signing}} {
		if only != "" && only != m.name {
			continue
		}
		more, err := m.run(ctx)
		if err != nil {
			return nil, err
		}
		for _, l := range more {
			fmt.Fprintln(os.Stderr, l)
		}
		lines = append(lines, more...)
	}
	return lines, nil
}
