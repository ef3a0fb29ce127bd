// Command bench measures a setting change through the use-case against pgbench running the very same statements, in
// turn in one run: only the ratio counts.
//
//	go run ./deploy/bench
//
// It starts a private PostgreSQL that flushes as in earnest, makes a door with a radar through the use-cases, records
// the statements of one setting change, and writes them as a pgbench script with the values written in (prepared, so
// that nothing is planned twice). What the use-case does besides (checking, computing the field and its coverage) is
// what the ratio shows.
//
// To add a measurement: a use-case to trace and a line in main.
package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"
	"github.com/jackc/pgx/v5/pgxpool"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/localpg"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/store"
)

const (
	roundSeconds = 5
	rounds       = 3
)

func main() {
	if err := run(context.Background()); err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context) error {
	dir, err := os.MkdirTemp("/var/tmp", "lintel-bench")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if err := os.Chmod(dir, 0o755); err != nil {
		return err
	}
	server, err := localpg.Start(ctx, localpg.Options{DataDir: filepath.Join(dir, "database"), Durable: true})
	if err != nil {
		return err
	}
	defer func() { _ = server.Stop(ctx) }()
	admin, app := server.URL("postgres", "lintel"), server.URL("lintel_app", "lintel")
	if err := store.Setup(ctx, admin, "lintel", ""); err != nil {
		return err
	}
	if err := store.Migrate(ctx, admin, "lintel"); err != nil {
		return err
	}
	b, err := newBench(ctx, app)
	if err != nil {
		return err
	}
	script := filepath.Join(dir, "setting.sql")
	if err := b.writeScript(ctx, script); err != nil {
		return err
	}
	programs, err := localpg.Find("")
	if err != nil {
		return err
	}
	for _, clients := range []int{1, 4} {
		if err := b.compare(ctx, programs.Path("pgbench"), app, script, clients); err != nil {
			return err
		}
	}
	return nil
}

// bench is a door whose sensor's settings are changed.
type bench struct {
	fleet           *fleet.Fleet
	pool            *pgxpool.Pool
	trace           *tracer
	sensor, antenna uuid.UUID
	n               atomic.Int64
}

func newBench(ctx context.Context, app string) (*bench, error) {
	config, err := pgxpool.ParseConfig(app)
	if err != nil {
		return nil, err
	}
	b := &bench{trace: &tracer{}}
	config.MaxConns = 8
	config.ConnConfig.Tracer = b.trace
	if b.pool, err = pgxpool.NewWithConfig(ctx, config); err != nil {
		return nil, err
	}
	book, err := rulebook.Embedded()
	if err != nil {
		return nil, err
	}
	b.fleet = fleet.New(fleet.Parts{Store: store.New(b.pool, "lintel"), Book: book, NewID: func() uuid.UUID { return uuid.Must(uuid.NewV7()) },
		Now: func() time.Time { return time.Now().UTC().Truncate(time.Microsecond) }})
	return b, b.register(ctx)
}

// by is who does it all.
func by() identity.Actor { return identity.Program() }

func (b *bench) register(ctx context.Context) error {
	id := b.fleet.NewID
	c, _, err := b.fleet.PutCustomer(ctx, by(), fleet.Customer{CustomerID: id(), Name: "Bench"}, 0)
	if err != nil {
		return err
	}
	s, _, err := b.fleet.PutSite(ctx, by(), fleet.Site{CustomerID: c.CustomerID, SiteID: id(), Name: "Bench", Country: "US", Jurisdiction: "US", TimeZone: "UTC"}, 0)
	if err != nil {
		return err
	}
	since, err := duedate.ParseDay("2020-01-01")
	if err != nil {
		return err
	}
	leaf := fleet.Leaf{Motion: "slide", Hinge: "none", OpensTowards: "left", WidthM: fleet.Q(1, fleet.Measured), HeightM: fleet.Q(2.2, fleet.Measured), MassKg: fleet.Q(60, fleet.Told)}
	side := fleet.SideFacts{Label: "side", Activation: "sensor"}
	door, _, err := b.fleet.PutDoor(ctx, by(), fleet.DoorPut{DoorID: id(), SiteID: s.SiteID, Name: "Bench", KnownSince: since, Reason: "bench", Facts: fleet.DoorFacts{
		Kind: "sliding", Energy: "full", Traffic: "two_way", PresenceBy: "overhead_sensor", A: side, B: side, ClearWidthM: fleet.Q(1.8, fleet.Measured),
		HeaderDepthM: fleet.Q(0.2, fleet.Measured), OpeningTimeS: fleet.UnknownQuantity(), ClosingTimeS: fleet.UnknownQuantity(), GuideRails: "none",
		RuleBasis: fleet.RuleBasis{PackID: "us-a156.10-2005", Since: since, Why: "bench"}, Leaves: []fleet.Leaf{leaf}}})
	if err != nil {
		return err
	}
	b.antenna = id()
	m, _, err := b.fleet.PutModel(ctx, by(), fleet.Model{ModelID: id(), Maker: "Bench", Name: "Radar", Kind: "sensor", Sensing: "radar", Antennas: []fleet.Antenna{{AntennaID: b.antenna,
		Name: "wide", AzimuthBeamwidthDeg: 58, ElevationBeamwidthDeg: 38, AttenuationLimitDB: 25, BoresightRangeM: 6, Source: "bench"}}})
	if err != nil {
		return err
	}
	b.sensor = id()
	_, _, err = b.fleet.PutComponent(ctx, by(), fleet.ComponentPut{ComponentID: b.sensor, DoorID: door.DoorID, Kind: "sensor", ModelID: &m.ModelID, Reason: "bench",
		Fitting: fleet.Fitting{State: "fitted", Side: "a", Input: "activate", Contact: "normally_open"}})
	return err
}

// change changes one setting and lets follow what follows.
func (b *bench) change(ctx context.Context, id uuid.UUID) error {
	reach := -float64(b.n.Add(1)%8) / 2 // changes the field each time; the zone stays covered, so that findings do not come and go
	_, _, err := b.fleet.PutRevision(ctx, by(), fleet.Revision{ComponentID: b.sensor, RevisionID: id, Standing: "found", Reason: "bench", Device: fleet.DeviceFacts{AntennaID: &b.antenna,
		Mount: fleet.MountFacts{HeightM: fleet.Q(2.3, fleet.Measured), OffsetXM: fleet.Q(0, fleet.Measured), OffsetYM: fleet.Q(0.12, fleet.Measured),
			TiltDeg: fleet.Q(23, fleet.Measured), YawDeg: fleet.Q(0, fleet.Measured)},
		Settings: fleet.Settings{ReachDB: fleet.Q(reach, fleet.Measured), MotionDirection: "approach", ConfirmTravelMM: fleet.UnknownQuantity(),
			OutputHoldS: fleet.UnknownQuantity(), OutputContact: "normally_open"}}})
	return err
}

// tracer records statements with their arguments while it is on.
type tracer struct {
	mu         sync.Mutex
	on         bool
	statements []pgx.TraceQueryStartData
}

// TraceQueryStart implements pgx.QueryTracer.
func (t *tracer) TraceQueryStart(ctx context.Context, conn *pgx.Conn, data pgx.TraceQueryStartData) context.Context {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.on {
		if len(data.Args) == 1 {
			if named, ok := data.Args[0].(pgx.QueryRewriter); ok {
				sql, args, err := named.RewriteQuery(ctx, conn, data.SQL, data.Args)
				if err == nil {
					data.SQL, data.Args = sql, args
				}
			}
		}
		t.statements = append(t.statements, data)
	}
	return ctx
}

// TraceQueryEnd implements pgx.QueryTracer.
func (t *tracer) TraceQueryEnd(context.Context, *pgx.Conn, pgx.TraceQueryEndData) {}

// writeScript records the statements of one change and writes them for pgbench.
func (b *bench) writeScript(ctx context.Context, path string) error {
	for range 20 { // warm
		if err := b.change(ctx, b.fleet.NewID()); err != nil {
			return err
		}
	}
	id := b.fleet.NewID()
	b.trace.on = true
	err := b.change(ctx, id)
	b.trace.on = false
	if err != nil {
		return err
	}
	conn, err := b.pool.Acquire(ctx)
	if err != nil {
		return err
	}
	defer conn.Release()
	var script strings.Builder
	script.WriteString("\\set n random(1, 999999999999)\n")
	for i, s := range b.trace.statements {
		text, err := written(ctx, conn.Conn(), fmt.Sprintf("bench_%d", i), s, id)
		if err != nil {
			return err
		}
		script.WriteString(text + ";\n")
	}
	fmt.Printf("a setting change is %d statements\n", len(b.trace.statements))
	return os.WriteFile(path, []byte(script.String()), 0o644)
}

var (
	place    = regexp.MustCompile(`\$(\d+)`)
	variable = regexp.MustCompile(`:([A-Za-z_])`)
)

// written writes the values of a statement into its text; the id of the revision becomes one that is new each time.
func written(ctx context.Context, conn *pgx.Conn, name string, s pgx.TraceQueryStartData, id uuid.UUID) (string, error) {
	if len(s.Args) == 0 {
		return s.SQL, nil
	}
	described, err := conn.Prepare(ctx, name, s.SQL)
	if err != nil {
		// a statement outside of its role cannot be prepared here; its text arguments are enough
		described = nil
	}
	var failed error
	text := place.ReplaceAllStringFunc(s.SQL, func(p string) string {
		i, _ := strconv.Atoi(p[1:])
		oid := uint32(pgtype.TextOID)
		if described != nil {
			oid = described.ParamOIDs[i-1]
		}
		encoded, err := conn.TypeMap().Encode(oid, pgtype.TextFormatCode, s.Args[i-1], nil)
		switch {
		case err != nil:
			failed = fmt.Errorf("%s: %w", p, err)
		case encoded == nil:
			return "null"
		}
		// pgbench would take :false within JSON for a variable of its own.
		literal := "'" + variable.ReplaceAllString(strings.ReplaceAll(string(encoded), "'", "''"), ": $1") + "'"
		if strings.Contains(literal, id.String()) {
			literal = "(" + strings.ReplaceAll(literal, id.String(), "' || '00000000-0000-7000-8000-' || lpad((:n)::text, 12, '0') || '") + ")"
		}
		if t, ok := conn.TypeMap().TypeForOID(oid); ok && described != nil {
			literal += "::" + strings.Replace(t.Name, "_", "", 1) + map[bool]string{true: "[]"}[strings.HasPrefix(t.Name, "_")]
		}
		return literal
	})
	_, comment, _ := strings.Cut(text, "\n")
	if comment != "" && strings.HasPrefix(text, "--") {
		text = comment
	}
	return strings.ReplaceAll(text, "\n", " "), failed
}

// result is one comparison.
type result struct {
	Clients                 int
	Lintel, Pgbench, Ratios []float64
	Median                  float64
}

// compare runs the use-case and pgbench in turn and prints the ratios.
func (b *bench) compare(ctx context.Context, pgbench, app, script string, clients int) error {
	r := result{Clients: clients}
	for range rounds {
		ours, err := b.rate(ctx, clients)
		if err != nil {
			return err
		}
		theirs, err := pgbenchRate(ctx, pgbench, app, script, clients)
		if err != nil {
			return err
		}
		r.Lintel, r.Pgbench, r.Ratios = append(r.Lintel, ours), append(r.Pgbench, theirs), append(r.Ratios, ours/theirs)
	}
	sorted := slices.Sorted(slices.Values(r.Ratios))
	r.Median = sorted[len(sorted)/2]
	line, err := json.Marshal(r)
	if err != nil {
		return err
	}
	fmt.Printf("%s\n| setting change, %d clients | median ratio to pgbench of the same statements | %.2f |\n", line, clients, r.Median)
	return nil
}

func (b *bench) rate(ctx context.Context, clients int) (float64, error) {
	ctx, cancel := context.WithTimeout(ctx, roundSeconds*time.Second)
	defer cancel()
	var done atomic.Int64
	var problem atomic.Value
	var wait sync.WaitGroup
	began := time.Now()
	for range clients {
		wait.Go(func() {
			for ctx.Err() == nil {
				if err := b.change(ctx, b.fleet.NewID()); err == nil {
					done.Add(1)
				} else if ctx.Err() == nil {
					problem.Store(err)
					return
				}
			}
		})
	}
	wait.Wait()
	if err, ok := problem.Load().(error); ok {
		return 0, err
	}
	return float64(done.Load()) / time.Since(began).Seconds(), nil
}

// slow finds statements that take a millisecond or more in pgbench's own report.
var slow = regexp.MustCompile(`(?m)^ +[1-9][0-9]*\.[0-9]+ .*$`)

var tps = regexp.MustCompile(`tps = ([0-9.]+)`)

func pgbenchRate(ctx context.Context, pgbench, app, script string, clients int) (float64, error) {
	out, err := exec.CommandContext(ctx, pgbench, "-n", "-r", "-M", "prepared", "-c", strconv.Itoa(clients), "-j", strconv.Itoa(min(clients, 2)),
		"-T", strconv.Itoa(roundSeconds), "-f", script, app).CombinedOutput()
	found := tps.FindSubmatch(out)
	if err != nil || found == nil || strings.Contains(string(out), "ERROR") {
		return 0, fmt.Errorf("pgbench: %w: %.2000s", err, out)
	}
	for _, line := range slow.FindAllString(string(out), -1) {
		fmt.Printf("    slow: %.100s\n", strings.TrimSpace(line))
	}
	return strconv.ParseFloat(string(found[1]), 64)
}
