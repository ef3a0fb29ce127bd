package jobs_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"
	"go.uber.org/goleak"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/notify"
	"lintel.example/lintel/internal/notify/mailcatcher"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
	"lintel.example/lintel/internal/words"
	"lintel.example/lintel/jobs"
)

// house is a fleet on a database of the test's own with a mail server.
type house struct {
	db      storetest.DB
	fleet   *fleet.Fleet
	rooms   jobs.Rooms
	catcher *mailcatcher.Catcher
	post    post
	site    fleet.Site
	log     lines
}

var began = time.Now().UTC()

// now goes on from noon of yesterday, whatever the hour of the test: hours from every line of the table, so that none fires
// meanwhile, and behind the clock of the database, because the ledger trusts none that is far ahead of it.
func now() time.Time {
	year, month, day := began.AddDate(0, 0, -1).Date()
	return time.Date(year, month, day, 12, 0, 0, 0, time.UTC).Add(time.Since(began)).Truncate(time.Microsecond)
}

func newID() uuid.UUID { return uuid.Must(uuid.NewV7()) }

// today is the day of the latest run of every line of the table.
func today() duedate.Day { return duedate.DayIn(now(), time.UTC) }

func newHouse(t testing.TB) *house {
	t.Helper()
	h := &house{db: storetest.New(t)}
	catalogue, err := loadWords()
	if err != nil {
		t.Fatal(err)
	}
	book, err := loadBook()
	if err != nil {
		t.Fatal(err)
	}
	if h.catcher, err = mailcatcher.Listen("127.0.0.1:0", nil, mailcatcher.Hooks{}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = h.catcher.Close() })
	h.post = newPost(t, h.catcher.Address())
	h.fleet = fleet.New(fleet.Parts{Store: store.New(h.db.App, "lintel"), Book: book, Words: catalogue, Company: fleet.ReportCompany{Name: "Lindqvist Doors"},
		Post: h.post, Now: now, NewID: newID})
	hasher, err := identity.NewHasherForTests()
	if err != nil {
		t.Fatal(err)
	}
	h.rooms = jobs.Rooms{Fleet: h.fleet, People: identity.NewPeople(store.New(h.db.App, "lintel"), hasher, now, newID, rand.Reader)}
	by := identity.Program()
	anyHour := fleet.DefaultLadder()
	anyHour.LadderID, anyHour.EffectiveOn, anyHour.MailFrom, anyHour.MailUntil = newID(), today(), "00:00", "00:00"
	if _, _, err := h.fleet.PutLadder(t.Context(), by, anyHour); err != nil {
		t.Fatal(err)
	}
	customer, _, err := h.fleet.PutCustomer(t.Context(), by, fleet.Customer{CustomerID: newID(), Name: "Kestrel Arcades"}, 0)
	if err != nil {
		t.Fatal(err)
	}
	if h.site, _, err = h.fleet.PutSite(t.Context(), by, fleet.Site{CustomerID: customer.CustomerID, SiteID: newID(), Name: "Arcade", Country: "US", Jurisdiction: "US-CA", TimeZone: "UTC"}, 0); err != nil {
		t.Fatal(err)
	}
	party, _, err := h.fleet.PutParty(t.Context(), by, fleet.Party{PartyID: newID(), Name: "Rosa Imhof", Email: "rosa@kestrel.example"}, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := h.fleet.PutStanding(t.Context(), by, fleet.Standing{SiteID: h.site.SiteID, StandingID: newID(), PartyID: party.PartyID, Role: "owner", FromDay: today().AddDays(-100)}, 0); err != nil {
		t.Fatal(err)
	}
	return h
}

// post hands letters to a mail server.
type post struct{ *notify.Mail }

func newPost(t testing.TB, address string) post {
	t.Helper()
	host, port, _ := strings.Cut(address, ":")
	smtp := notify.SMTP{Host: host, TLS: notify.TLSNone, From: "service@lindqvist.example", HELO: "localhost", Timeout: 30 * time.Second}
	if _, err := fmt.Sscan(port, &smtp.Port); err != nil {
		t.Fatal(err)
	}
	m := notify.NewMail(smtp)
	t.Cleanup(func() { _ = m.Close() })
	return post{m}
}

func (p post) Deliver(ctx context.Context, l fleet.Letter) (string, error) {
	receipt, err := p.Mail.Deliver(ctx, notify.Message{ID: l.LetterID, To: l.Address, Subject: l.Subject, Text: l.Text, HTML: l.HTML, Date: l.MadeAt})
	return receipt.Answer, err
}

// slidingDoor is a door of which nothing is measured.
func slidingDoor(site uuid.UUID, since duedate.Day) fleet.DoorPut {
	leaf := fleet.Leaf{Motion: "slide", Hinge: "none", OpensTowards: "left", WidthM: fleet.UnknownQuantity(), HeightM: fleet.UnknownQuantity(), MassKg: fleet.UnknownQuantity()}
	return fleet.DoorPut{DoorID: newID(), SiteID: site, Name: "Main", KnownSince: since, Reason: "taken over",
		Facts: fleet.DoorFacts{Kind: "sliding", Energy: "full", Traffic: "two_way", PresenceBy: "both", Modes: []string{"day"}, GuideRails: "none",
			A: fleet.SideFacts{Label: "street", Activation: "sensor"}, B: fleet.SideFacts{Label: "hall", Activation: "sensor"},
			ClearWidthM: fleet.UnknownQuantity(), HeaderDepthM: fleet.UnknownQuantity(), OpeningTimeS: fleet.UnknownQuantity(), ClosingTimeS: fleet.UnknownQuantity(),
			RuleBasis: fleet.RuleBasis{PackID: "us-a156.10-2005", Since: since, Why: "in force then"}, Leaves: []fleet.Leaf{leaf}}}
}

// due makes a door whose inspection is due today.
func (h *house) due(t testing.TB) {
	t.Helper()
	door, _, err := h.fleet.PutDoor(t.Context(), identity.Program(), slidingDoor(h.site.SiteID, today().AddDays(-50)))
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := h.fleet.PutPlan(t.Context(), identity.Program(), fleet.Plan{DoorID: door.DoorID, PlanID: newID(), IntervalMonths: 12, Regime: duedate.Anniversary, ToleranceDays: 60, LeadDays: 45,
		AnchorOn: today(), Active: true}, 0); err != nil {
		t.Fatal(err)
	}
}

// runner is a server of its own, as far as the jobs are concerned.
func (h *house) runner(t testing.TB) *jobs.Runner {
	t.Helper()
	cfg, err := pgxpool.ParseConfig(h.db.AppURL)
	if err != nil {
		t.Fatal(err)
	}
	cfg.ConnConfig.RuntimeParams["role"] = "lintel_jobs"
	pool, err := pgxpool.NewWithConfig(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(pool.Close)
	r, err := jobs.New(h.rooms, pool, slog.New(slog.NewTextHandler(&h.log, &slog.HandlerOptions{Level: slog.LevelWarn})), now)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// count looks with a superuser's eyes.
func (h *house) count(t testing.TB, query string) (n int) {
	t.Helper()
	if err := h.db.Admin.QueryRow(t.Context(), query).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// lines is a log that several goroutines write.
type lines struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// Two servers find, after a standstill, a notice that waits and a night that nobody worked off.
func TestTwoServersDoWhatIsDueOnceAndLeaveNothingBehind(t *testing.T) {
	h := newHouse(t)
	h.due(t)
	for _, name := range []string{"due_work_orders", "queue_notices"} {
		if _, did, err := jobs.RunOnce(t.Context(), h.rooms, name, today().AddDays(-2), false); err != nil || !did {
			t.Fatal(did, err)
		}
	}
	h.due(t) // in the meantime

	servers := []*jobs.Runner{h.runner(t), h.runner(t)}
	afterPools := goleak.IgnoreCurrent()
	for _, s := range servers {
		if err := s.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	waited, cancel := context.WithTimeout(t.Context(), 90*time.Second)
	defer cancel()
	if _, err := h.catcher.Wait(waited, func(m mailcatcher.Message) bool { return m.To == "rosa@kestrel.example" }); err != nil {
		t.Errorf("no mail: %v", err)
	}
	for h.count(t, `select count(*) from job_run where state = 'done'`) < 2+len(jobs.Table()) && waited.Err() == nil {
		time.Sleep(20 * time.Millisecond)
	}
	for _, s := range servers {
		if err := s.Stop(t.Context()); err != nil {
			t.Error(err)
		}
	}
	if err := h.post.Close(); err != nil {
		t.Error(err)
	}
	goleak.VerifyNone(t, afterPools)

	for what, c := range map[string]struct {
		query string
		want  int
	}{
		"orders":                       {`select count(*) from work_order`, 2},
		"nights done":                  {`select count(*) from job_run where state = 'done'`, 2 + len(jobs.Table())},
		"nights passed over":           {`select count(*) from job_run where state = 'superseded'`, 2},
		"nights in any other state":    {`select count(*) from job_run where state not in ('done', 'superseded')`, 0},
		"letters tried more than once": {`select count(*) from letter where attempts > 1`, 0},
	} {
		if n := h.count(t, c.query); n != c.want {
			t.Errorf("%d %s, want %d", n, what, c.want)
		}
	}
	if sent, mails := h.count(t, `select count(*) from letter where state = 'sent'`), len(h.catcher.Messages()); sent != mails || sent < 1 {
		t.Errorf("%d letters are sent, %d mails arrived", sent, mails)
	}
	if said := h.log.String(); said != "" {
		t.Errorf("the queue complains: %s", said)
	}
}

func TestAJobByHandIsDoneOnceAndAgainWhenAsked(t *testing.T) {
	h := newHouse(t)
	h.due(t)
	d := today()
	for _, step := range []struct {
		again, did bool
		made       float64
	}{{false, true, 1}, {false, false, 1}, {true, true, 0}, {false, false, 0}} {
		run, did, err := jobs.RunOnce(t.Context(), h.rooms, "due_work_orders", d, step.again)
		if err != nil || did != step.did || run.State != "done" || run.AsOf != d {
			t.Fatalf("%+v: %+v, %v, %v", step, run, did, err)
		}
		if made := fmt.Sprint(run.Result["made"]); made != fmt.Sprint(step.made) {
			t.Errorf("%+v: made %s", step, made)
		}
	}
	if n := h.count(t, `select count(*) from work_order`); n != 1 {
		t.Errorf("%d orders", n)
	}
	if _, _, err := jobs.RunOnce(t.Context(), h.rooms, "tidy_up", d, false); !errors.Is(err, jobs.ErrUnknown) {
		t.Errorf("an unknown job: %v", err)
	}
}

func TestNoticesAreOfTheOrdersOfTheSameNight(t *testing.T) {
	h := newHouse(t)
	h.due(t)
	run, did, err := jobs.RunOnce(t.Context(), h.rooms, "queue_notices", today(), false) // before the job that makes the orders
	if err != nil || !did || fmt.Sprint(run.Result["made"]) != "3" {
		t.Fatalf("%+v, %v, %v", run, did, err)
	}
	if n, err := jobs.SendWaiting(t.Context(), h.fleet); err != nil || n != 1 {
		t.Errorf("%d sent, %v", n, err)
	}
	if n, err := jobs.SendWaiting(t.Context(), h.fleet); err != nil || n != 0 {
		t.Errorf("%d sent again, %v", n, err)
	}
}

// Words and packs are read once for all tests: nobody changes them, and reading them takes as long as many a test.
var (
	loadWords = sync.OnceValues(words.Load)
	loadBook  = sync.OnceValues(rulebook.Embedded)
)
