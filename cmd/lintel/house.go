package main

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/mail"
	"path/filepath"
	"runtime"
	"strings"
	"sync/atomic"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/prometheus/client_golang/prometheus"

	"lintel.example/lintel/api"
	"lintel.example/lintel/internal/console"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/localpg"
	"lintel.example/lintel/internal/notify"
	"lintel.example/lintel/internal/report"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/words"
	"lintel.example/lintel/jobs"
)

// deliverWithin bounds one delivery of a notice.
const deliverWithin = 60 * time.Second

// house is the wired program.
type house struct {
	log     *slog.Logger
	pool    *pgxpool.Pool    // logs in as {prefix}_app
	jobPool *pgxpool.Pool    // the same, as {prefix}_jobs
	now     func() time.Time // the machine's, but for the year of the demo
	fleet   *fleet.Fleet
	people  *identity.People
	words   *words.Catalogue
	metrics *prometheus.Registry
	backup  func(context.Context) (map[string]any, error) // every night; nil: not from here
	private *localpg.Server                               // nil with a database of somebody else's
	left    atomic.Bool                                   // told to stop: answers, but is not ready for more
	closers []func(context.Context) error
}

// now is the clock of the program, as fine as the database keeps it.
func now() time.Time { return time.Now().UTC().Truncate(time.Microsecond) }

// newID makes a UUIDv7.
func newID() uuid.UUID {
	id, err := uuid.NewV7()
	if err != nil {
		panic(err) // the machine has no randomness
	}
	return id
}

// standing is how a process comes to a private database.
type standing int

const (
	asHost  standing = iota // runs it
	asGuest                 // runs it, or uses the one that another process runs
)

// open wires the house with the machine's clock. What it has opened is closed by close, also after an error.
func open(ctx context.Context, s *settings, as standing, log *slog.Logger) (h *house, err error) {
	return openAt(ctx, s, as, log, now)
}

// openAt is open with another clock: nothing that is served for real has one.
func openAt(ctx context.Context, s *settings, as standing, log *slog.Logger, clock func() time.Time) (h *house, err error) {
	h = &house{log: log, now: clock}
	defer func() {
		if err != nil {
			err = errors.Join(err, h.close(context.WithoutCancel(ctx)))
		}
	}()
	url, err := h.database(ctx, s, as)
	if err != nil {
		return h, err
	}
	if err := h.openPools(ctx, url, s.RolePrefix); err != nil {
		return h, err
	}
	if err := store.CheckVersion(ctx, h.pool); err != nil {
		return h, err
	}
	if err := h.useCases(s); err != nil {
		return h, err
	}
	h.backup = h.nightly(s)
	h.newMetrics()
	return h, nil
}

// database gives the address of the database: the one that is named, or that of a private server, which is set up
// and migrated here because nobody else can. A guest takes the one that a host has set up.
func (h *house) database(ctx context.Context, s *settings, as standing) (string, error) {
	if s.DatabaseURL != "" {
		return s.DatabaseURL, nil
	}
	dir := filepath.Join(s.DataDir, "database")
	server, err := localpg.Start(ctx, localpg.Options{DataDir: dir, BinDir: s.PostgresBin, Durable: true})
	if errors.Is(err, localpg.ErrInUse) && as == asGuest {
		return localpg.Neighbour(dir, s.RolePrefix+"_app", "lintel")
	}
	if err != nil {
		return "", err
	}
	h.private = server
	h.closers = append(h.closers, server.Stop)
	admin := server.URL("postgres", "lintel")
	if err := store.Setup(ctx, admin, s.RolePrefix, ""); err != nil {
		return "", err
	}
	if err := store.Migrate(ctx, admin, s.RolePrefix); err != nil {
		return "", err
	}
	return server.URL(s.RolePrefix+"_app", "lintel"), nil
}

// errDatabaseEnded ends a process whose private PostgreSQL has died: whoever started the process starts it again, and
// PostgreSQL recovers everything that was committed.
var errDatabaseEnded = errors.New("the private PostgreSQL has ended: start again, and it recovers")

// whileDatabaseLives gives a context that also ends when the private PostgreSQL does.
func (h *house) whileDatabaseLives(ctx context.Context) (context.Context, context.CancelFunc) {
	living, end := context.WithCancelCause(ctx)
	if h.private != nil {
		go func() {
			select {
			case <-h.private.Done():
				h.log.Error("the private PostgreSQL has ended", "its_log", h.private.Log())
				end(errDatabaseEnded)
			case <-living.Done():
			}
		}()
	}
	return living, func() { end(nil) }
}

// endedBy is nil when the context ended because the process was told to stop.
func endedBy(ctx context.Context) error {
	if err := context.Cause(ctx); errors.Is(err, errDatabaseEnded) {
		return err
	}
	return nil
}

func (h *house) openPools(ctx context.Context, url, prefix string) error {
	open := func(size int32, parameters map[string]string) (*pgxpool.Pool, error) {
		c, err := pgxpool.ParseConfig(url)
		if err != nil {
			return nil, errors.New("the database address cannot be read") // the driver's error would print it
		}
		c.MaxConns = size
		for k, v := range parameters {
			c.ConnConfig.RuntimeParams[k] = v
		}
		pool, err := pgxpool.NewWithConfig(ctx, c)
		if err != nil {
			return nil, fmt.Errorf("database: %w", err)
		}
		h.closers = append(h.closers, func(context.Context) error { pool.Close(); return nil })
		return pool, nil
	}
	bounds := map[string]string{"application_name": "lintel " + version, "lock_timeout": "10s", "statement_timeout": "30s", "idle_in_transaction_session_timeout": "30s"}
	var err error
	if h.pool, err = open(int32(max(8, 4*runtime.NumCPU())), bounds); err != nil {
		return err
	}
	h.jobPool, err = open(4, map[string]string{"application_name": "lintel jobs " + version, "role": prefix + "_jobs"})
	return err
}

func (h *house) useCases(s *settings) error {
	var err error
	if h.words, err = words.Load(); err != nil {
		return err
	}
	book, err := rulebook.Embedded()
	if err != nil {
		return err
	}
	keys, err := s.keys()
	if err != nil {
		return err
	}
	if keys == nil {
		h.log.Warn("no key file: lock and key-safe codes can be neither kept nor revealed", "setting", "LINTEL_KEY_FILE")
	}
	if s.company().Name == "" {
		h.log.Warn("no company name: no report is made, and notices do not say from whom they are", "setting", "LINTEL_COMPANY_NAME")
	}
	photos, err := store.OpenPhotoDir(s.photoDir())
	if err != nil {
		return err
	}
	h.closers = append(h.closers, func(context.Context) error { return photos.Close() })
	hasher, err := identity.NewHasher(max(2, runtime.NumCPU()))
	if err != nil {
		return err
	}
	schedules, err := jobs.Schedules()
	if err != nil {
		return err
	}
	database := store.New(h.pool, s.RolePrefix)
	h.fleet = fleet.New(fleet.Parts{PublicURL: s.PublicURL, Store: database, Book: book, Keys: keys, Now: h.now, NewID: newID, Words: h.words, Company: s.company(),
		Post: h.post(s), Hooks: hooks{notify.NewHooks(s.WebhooksInside)}, ReadBounce: readBounce, Photos: photos, PrintReport: h.print, Random: rand.Reader, Schedules: schedules, WriteCalendar: report.Calendar})
	h.people = identity.NewPeople(database, hasher, h.now, newID, rand.Reader)
	return nil
}

// post opens the way to the mail server.
func (h *house) post(s *settings) post {
	if s.SMTPHost == "" {
		return post{}
	}
	m := notify.NewMail(s.smtp())
	h.closers = append(h.closers, func(context.Context) error { return m.Close() })
	return post{m}
}

// print prints the document of a report in every form.
func (h *house) print(doc fleet.Document, sha256 string) ([]fleet.ReportPrint, error) {
	return report.Print(doc, sha256, func(language string) report.Texts { return h.words.Printer(language, words.Metric) })
}

// face makes the HTTP face: the API at its own addresses, the pages at all others.
func (h *house) face() (http.Handler, error) {
	observe := h.requests()
	pages, err := console.New(console.Rooms{Fleet: h.fleet, People: h.people, Words: h.words, Log: h.log, Now: h.now, NewID: newID, Ready: h.ready, Observe: observe, Version: version})
	if err != nil {
		return nil, err
	}
	forPeople := pages.Handler()
	forPrograms := api.New(api.Rooms{Fleet: h.fleet, People: h.people, Words: h.words, Log: h.log, Now: h.now, NewID: newID, Version: version,
		Ready: h.ready, Observe: observe,
	}).Handler()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if p := r.URL.Path; strings.HasPrefix(p, "/v1/") || strings.HasPrefix(p, "/openapi") || p == "/healthz" || p == "/readyz" || p == "/metrics" {
			forPrograms.ServeHTTP(w, r)
			return
		}
		forPeople.ServeHTTP(w, r)
	}), nil
}

// ready tells whether requests can be served.
func (h *house) ready(ctx context.Context) error {
	if h.left.Load() {
		return errors.New("told to stop")
	}
	return store.CheckVersion(ctx, h.pool)
}

// rooms are what the jobs work in.
func (h *house) rooms() jobs.Rooms {
	return jobs.Rooms{Fleet: h.fleet, People: h.people, Backup: h.backup}
}

// worker starts to work off the jobs.
func (h *house) worker(ctx context.Context) error {
	runner, err := jobs.New(h.rooms(), h.jobPool, h.log, h.now)
	if err != nil {
		return err
	}
	if err := runner.Start(context.WithoutCancel(ctx)); err != nil {
		return err
	}
	h.closers = append(h.closers, runner.Stop)
	return nil
}

// close lets go of everything, the last opened first.
func (h *house) close(ctx context.Context) error {
	var err error
	for i := len(h.closers) - 1; i >= 0; i-- {
		err = errors.Join(err, h.closers[i](ctx))
	}
	h.closers = nil
	return err
}

// post hands the domain's letters to the mail server.
type post struct {
	mail *notify.Mail // nil: none is configured
}

// Deliver implements fleet.Post.
func (p post) Deliver(ctx context.Context, l fleet.Letter) (string, error) {
	if p.mail == nil {
		return "", &fleet.PostFailure{Unreachable: true, Err: errors.New("no mail server is configured (LINTEL_SMTP_HOST)")}
	}
	message := notify.Message{ID: l.LetterID, To: (&mail.Address{Name: l.Name, Address: l.Address}).String(), Subject: l.Subject, Text: l.Text, HTML: l.HTML, Date: l.MadeAt, Unsubscribe: l.DeclineLink}
	if l.Calendar != "" {
		message.Enclosed = &notify.Enclosure{Name: "due.ics", MediaType: "text/calendar; charset=UTF-8; method=PUBLISH", Bytes: []byte(l.Calendar)}
	}
	if l.Enclosed != nil {
		message.Enclosed = &notify.Enclosure{Name: "letter-" + l.ReportID.String() + ".pdf", MediaType: "application/pdf", Bytes: l.Enclosed}
	}
	receipt, err := p.mail.Deliver(ctx, message)
	var failure *notify.Failure
	if errors.As(err, &failure) {
		return "", &fleet.PostFailure{Stage: string(failure.Stage), Unreachable: failure.Stage == notify.StageConnect, Permanent: !failure.Temporary,
			BadAddress: failure.BadAddress(), Uncertain: failure.Uncertain, Code: failure.Code, Answer: failure.Answer, RetryAfter: failure.RetryAfter, Err: err}
	}
	return receipt.Answer, err
}

// hooks hands the domain's messages to other programs.
type hooks struct{ *notify.Hooks }

// Deliver implements fleet.Hooks.
func (h hooks) Deliver(ctx context.Context, m fleet.Hook) fleet.HookAnswer {
	return fleet.HookAnswer(h.Hooks.Deliver(ctx, notify.HookMessage(m)))
}

// readBounce reads a mail server's report.
func readBounce(message []byte) (fleet.Bounce, error) {
	b, err := notify.ReadBounce(message)
	return fleet.Bounce{LetterID: b.MessageID, SHA256: sha256.Sum256(message), Action: b.Action, Status: b.Status, Answer: b.Answer}, err
}

// told puts a fault into words for somebody at the command line.
func told(catalogue *words.Catalogue, err error) error { return toldOf(catalogue, nil, err) }

// toldOf is told with the flag before what is wrong with it; flags are by the pointers of faults.
func toldOf(catalogue *words.Catalogue, flags map[string]string, err error) error {
	faults := fault.Of(err)
	if len(faults) == 0 {
		return err
	}
	lines := make([]string, len(faults))
	for i, f := range faults {
		lines[i] = catalogue.Printer("en", words.Metric).T("problem."+f.Code, f.Args...)
		if flag, ok := flags[f.Pointer]; ok {
			lines[i] = flag + ": " + lines[i]
		}
	}
	return badInput{errors.New(strings.Join(lines, " "))}
}
