package console_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/base64"
	"encoding/binary"
	"html"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/console"
	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/notify"
	"lintel.example/lintel/internal/report"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
	"lintel.example/lintel/internal/words"
)

// desk is the console on a database of the test's own, with a clock that stands until it is moved and ids that are the
// same in every run.
type desk struct {
	*fleet.Fleet
	db      storetest.DB
	photos  string // their folder
	people  *identity.People
	keys    *identity.Keyring
	rooms   console.Rooms
	handler http.Handler
	log     bytes.Buffer
	now     time.Time
	ids     atomic.Uint64
}

// newDesk begins on the morning of 3 March 2026.
func newDesk(t testing.TB) *desk {
	t.Helper()
	return newDeskOn(t, storetest.New(t))
}

func newDeskOn(t testing.TB, db storetest.DB) *desk {
	t.Helper()
	d := &desk{db: db, photos: t.TempDir(), now: time.Date(2026, 3, 3, 17, 0, 0, 0, time.UTC)}
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("the log:\n%s", &d.log)
		}
	})
	d.open(t, store.New(d.db.App, "lintel"))
	return d
}

// open wires the rooms to a store.
func (d *desk) open(t testing.TB, database *store.Store) {
	t.Helper()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	catalogue, err := loadWords()
	must(err)
	book, err := loadBook()
	must(err)
	hasher, err := identity.NewHasherForTests()
	must(err)
	photos, err := store.OpenPhotoDir(d.photos)
	must(err)
	t.Cleanup(func() { _ = photos.Close() })
	now := func() time.Time { return d.now }
	d.keys, err = identity.ParseKeyring([]byte("test:" + base64.StdEncoding.EncodeToString([]byte("a key of thirty-two bytes for it"))))
	must(err)
	d.Fleet = fleet.New(fleet.Parts{Store: database, Keys: d.keys, PublicURL: "https://doors.example", Photos: photos, Book: book, Words: catalogue, Now: now, NewID: d.id, Random: rand.Reader, Schedules: someJobs(), Hooks: hookWay{notify.NewHooks(true)}, WriteCalendar: report.Calendar,
		Company: fleet.ReportCompany{Name: "Calder Moss Doors", Phone: "+1 555 0100"},
		PrintReport: func(doc fleet.Document, sha256 string) ([]fleet.ReportPrint, error) {
			return report.Print(doc, sha256, func(language string) report.Texts { return catalogue.Printer(language, words.Metric) })
		}})
	d.people = identity.NewPeople(database, hasher, now, d.id, rand.Reader)
	d.rooms = console.Rooms{Fleet: d.Fleet, People: d.people, Words: catalogue, Log: slog.New(slog.NewTextHandler(&d.log, nil)), Now: now, NewID: d.id,
		Ready: func(context.Context) error { return nil }, Version: "0"}
	c, err := console.New(d.rooms)
	must(err)
	d.handler = c.Handler()
}

// hookWay tells other programs for real; those of the tests are on this machine.
type hookWay struct{ *notify.Hooks }

func (h hookWay) Deliver(ctx context.Context, m fleet.Hook) fleet.HookAnswer {
	return fleet.HookAnswer(h.Hooks.Deliver(ctx, notify.HookMessage(m)))
}

// id gives the next UUIDv7: the clock's milliseconds and a counter.
func (d *desk) id() (id uuid.UUID) {
	binary.BigEndian.PutUint64(id[:8], uint64(d.now.UnixMilli())<<16)
	binary.BigEndian.PutUint64(id[8:], d.ids.Add(1))
	id[6], id[8] = 0x70, 0x80
	return id
}

// somebody is a person with a browser.
type somebody struct {
	*desk
	actor   identity.Actor
	email   string
	cookies []*http.Cookie
}

// chosen is the password that everybody chose.
const chosen = "seven quiet geese at the lock"

// administrator makes the first one.
func (d *desk) administrator(t testing.TB) *somebody {
	t.Helper()
	if _, err := d.people.MakeFirstAdministrator(t.Context(), "ada@lintel.example", "Ada Lindqvist"); err != nil {
		t.Fatal(err)
	}
	return d.settle(t, "ada@lintel.example")
}

// hire makes a person, who signs in and chooses a password.
func (d *desk) hire(t testing.TB, admin *somebody, p identity.Person) *somebody {
	t.Helper()
	p.PersonID = d.id()
	if p.ScopeKind == "" {
		p.ScopeKind = identity.ScopeAll
	}
	if _, _, _, err := d.people.PutPerson(t.Context(), admin.actor, p, 0, ""); err != nil {
		t.Fatal(err)
	}
	who := d.settle(t, p.Email)
	if p.Units != "" {
		if _, err := d.people.SetUnits(t.Context(), who.actor, p.Units); err != nil {
			t.Fatal(err)
		}
	}
	return who
}

// hashed is the hash of that password, made once: it costs on purpose.
var hashed = sync.OnceValues(func() (string, error) {
	hasher, err := identity.NewHasherForTests()
	if err != nil {
		return "", err
	}
	return hasher.Hash(context.Background(), chosen)
})

// settle gives somebody that password and a session, past the pages and past what hashing costs.
func (d *desk) settle(t testing.TB, email string) *somebody {
	t.Helper()
	hash, err := hashed()
	if err != nil {
		t.Fatal(err)
	}
	secret, sum, err := identity.NewSecret(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := d.db.Admin.Exec(t.Context(), `with settled as (update person set password_hash = $1, must_change_password = false where email = $2 returning person_id)
		insert into session (secret_sha256, session_id, person_id, created_at, last_seen_at, expires_at) select $3, $4, person_id, $5, $5, $5::timestamptz + interval '7 days' from settled`,
		hash, email, sum[:], d.id(), d.now); err != nil {
		t.Fatal(err)
	}
	who, err := d.people.Authenticate(t.Context(), secret)
	if err != nil {
		t.Fatal(err)
	}
	return &somebody{desk: d, actor: who, email: email, cookies: []*http.Cookie{{Name: "lintel", Value: secret}}}
}

// shown is what the browser got.
type shown struct {
	status int
	header http.Header
	body   string
	path   string // that was asked for
}

// get asks for a page.
func (s *somebody) get(t testing.TB, path string) shown { return s.send(t, http.MethodGet, path, nil) }

// post sends a form as a browser of the same site does.
func (s *somebody) post(t testing.TB, path string, values url.Values) shown {
	return s.send(t, http.MethodPost, path, values)
}

func (s *somebody) send(t testing.TB, method, path string, values url.Values) shown {
	t.Helper()
	return s.sendWith(t, method, path, values, nil)
}

// sendWith is send with more headers.
func (s *somebody) sendWith(t testing.TB, method, path string, values url.Values, headers http.Header) shown {
	t.Helper()
	var body io.Reader
	if values != nil {
		body = strings.NewReader(values.Encode())
	}
	r := httptest.NewRequestWithContext(t.Context(), method, path, body)
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	if values != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for name, values := range headers {
		r.Header[name] = values
	}
	for _, c := range s.cookies {
		r.AddCookie(c)
	}
	w := httptest.NewRecorder()
	s.handler.ServeHTTP(w, r)
	for _, c := range w.Result().Cookies() {
		s.cookies = []*http.Cookie{c}
		if c.MaxAge < 0 {
			s.cookies = nil
		}
	}
	return shown{w.Code, w.Header(), w.Body.String(), path}
}

// nobody is a browser in which nobody has signed in.
func (d *desk) nobody() *somebody { return &somebody{desk: d} }

// want fails unless the page has this status and says all of this.
func (s shown) want(t testing.TB, status int, says ...string) shown {
	t.Helper()
	if s.status != status {
		t.Fatalf("%s: got %d, want %d: %s", s.path, s.status, status, s.text())
	}
	for _, text := range says {
		if !strings.Contains(s.text(), text) {
			t.Errorf("%s does not say %q: %s", s.path, text, s.text())
		}
	}
	return s
}

// lacks fails when the page says any of this.
func (s shown) lacks(t testing.TB, texts ...string) shown {
	t.Helper()
	for _, text := range texts {
		if strings.Contains(s.body, text) {
			t.Errorf("%s says %q", s.path, text)
		}
	}
	return s
}

// leads fails unless the browser is sent on to an address.
func (s shown) leads(t testing.TB, to string) shown {
	t.Helper()
	if s.status != http.StatusSeeOther || s.header.Get("Location") != to {
		t.Fatalf("%s: got %d to %q, want to be sent to %q: %s", s.path, s.status, s.header.Get("Location"), to, s.text())
	}
	return s
}

var tags = regexp.MustCompile(`(?s)<[^>]*>|<style.*?</style>`)

// text is what a person reads.
func (s shown) text() string {
	return strings.Join(strings.Fields(html.UnescapeString(tags.ReplaceAllString(s.body, " "))), " ")
}

var inputs = regexp.MustCompile(`<input[^>]* name="([^"]*)"[^>]*>`)
var valueOf = regexp.MustCompile(` value="([^"]*)"`)

// hidden gives the value of a field of the page.
func (s shown) hidden(t testing.TB, name string) string {
	t.Helper()
	for _, m := range inputs.FindAllStringSubmatch(s.body, -1) {
		if html.UnescapeString(m[1]) == name {
			if v := valueOf.FindStringSubmatch(m[0]); v != nil {
				return html.UnescapeString(v[1])
			}
		}
	}
	t.Fatalf("%s has no field %s", s.path, name)
	return ""
}

// holds fails unless a field of the page still has what was typed.
func (s shown) holds(t testing.TB, name, value string) shown {
	t.Helper()
	if got := s.hidden(t, name); got != value {
		t.Errorf("%s has %q in %s, want %q", s.path, got, name, value)
	}
	return s
}

func day(text string) duedate.Day {
	d, err := duedate.ParseDay(text)
	if err != nil {
		panic(err)
	}
	return d
}

func p[T any](v T) *T { return &v }

// count looks with a superuser's eyes.
func (d *desk) count(t testing.TB, query string) (n int) {
	t.Helper()
	if err := d.db.Admin.QueryRow(context.Background(), query).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// Words and packs are read once for all tests: nobody changes them, and reading them takes as long as many a test.
var (
	loadWords = sync.OnceValues(words.Load)
	loadBook  = sync.OnceValues(rulebook.Embedded)
)
