package api_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/api"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/notify"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
	"lintel.example/lintel/internal/words"
)

// face is the API on a database of the test's own, with a clock that stands until it is moved.
type face struct {
	db      storetest.DB
	people  *identity.People
	handler http.Handler
	log     bytes.Buffer
	now     time.Time
	ids     atomic.Uint64
}

// newFace begins on the morning of 3 March 2026.
func newFace(t testing.TB) *face {
	t.Helper()
	f := &face{db: storetest.New(t), now: time.Date(2026, 3, 3, 9, 0, 0, 0, time.UTC)}
	now := func() time.Time { return f.now }
	catalogue, err := loadWords()
	if err != nil {
		t.Fatal(err)
	}
	book, err := loadBook()
	if err != nil {
		t.Fatal(err)
	}
	hasher, err := identity.NewHasherForTests()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("the log:\n%s", &f.log)
		}
	})
	database := store.New(f.db.App, "lintel")
	photos, err := store.OpenPhotoDir(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = photos.Close() })
	f.people = identity.NewPeople(database, hasher, now, f.id, rand.Reader)
	f.handler = api.New(api.Rooms{
		Fleet:  fleet.New(fleet.Parts{Store: database, Photos: photos, Book: book, Words: catalogue, Now: now, NewID: f.id, ReadBounce: readBounce}),
		People: f.people, Words: catalogue, Log: slog.New(slog.NewJSONHandler(&f.log, nil)), Now: now, NewID: f.id,
		Ready: func(context.Context) error { return nil }, Version: "0"}).Handler()
	return f
}

// id gives the next UUIDv7: the clock's milliseconds and a counter.
func (f *face) id() (id uuid.UUID) {
	binary.BigEndian.PutUint64(id[:8], uint64(f.now.UnixMilli())<<16)
	binary.BigEndian.PutUint64(id[8:], f.ids.Add(1))
	id[6], id[8] = 0x70, 0x80
	return id
}

// answer is what came back; its members are those of a JSON object.
type answer struct {
	status  int
	header  http.Header
	text    string
	members map[string]any
}

func (a answer) member(name string) string { text, _ := a.members[name].(string); return text }

// ask sends a request with a secret ("" for nobody's) and a body (nil for none). headers are name, value pairs.
func (f *face) ask(t testing.TB, secret, method, path string, body any, headers ...string) answer {
	t.Helper()
	var in io.Reader
	if body != nil {
		text, err := json.Marshal(body)
		if err != nil {
			t.Fatal(err)
		}
		in = bytes.NewReader(text)
	}
	r := httptest.NewRequestWithContext(t.Context(), method, path, in)
	if body != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	if secret != "" {
		r.Header.Set("Authorization", "Bearer "+secret)
	}
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	f.handler.ServeHTTP(w, r)
	got := answer{status: w.Code, header: w.Header(), text: w.Body.String()}
	if strings.Contains(w.Header().Get("Content-Type"), "json") {
		if err := json.Unmarshal(w.Body.Bytes(), &got.members); err != nil {
			t.Fatalf("%s %s: %v in %s", method, path, err, got.text)
		}
	}
	return got
}

// want fails unless the answer has this status and, for a problem, this code.
func (a answer) want(t testing.TB, status int, code string) answer {
	t.Helper()
	if a.status != status || a.member("code") != code {
		t.Errorf("got %d %q, want %d %q: %s", a.status, a.member("code"), status, code, a.text)
	}
	return a
}

// chosen is the password that every settled person chose.
const chosen = "seven quiet geese at the lock"

// administrator is the first one, settled: the secret of a session.
func (f *face) administrator(t testing.TB) string {
	t.Helper()
	oneTime, err := f.people.MakeFirstAdministrator(t.Context(), "ada@lintel.example", "Ada Lindqvist")
	if err != nil {
		t.Fatal(err)
	}
	return f.settle(t, "ada@lintel.example", oneTime)
}

// settle signs somebody in with a one-time password and changes it.
func (f *face) settle(t testing.TB, email, oneTime string) string {
	t.Helper()
	secret := f.signIn(t, email, oneTime)
	f.ask(t, secret, http.MethodPut, "/v1/me/password", map[string]any{"present": oneTime, "next": chosen}).want(t, http.StatusNoContent, "")
	return secret
}

func (f *face) signIn(t testing.TB, email, password string) string {
	t.Helper()
	return f.ask(t, "", http.MethodPost, "/v1/sessions", map[string]any{"email": email, "password": password}).want(t, http.StatusCreated, "").member("secret")
}

// readBounce is as the program has it.
func readBounce(message []byte) (fleet.Bounce, error) {
	b, err := notify.ReadBounce(message)
	return fleet.Bounce{LetterID: b.MessageID, SHA256: sha256.Sum256(message), Action: b.Action, Status: b.Status, Answer: b.Answer}, err
}

// Words and packs are read once for all tests: nobody changes them, and reading them takes as long as many a test.
var (
	loadWords = sync.OnceValues(words.Load)
	loadBook  = sync.OnceValues(rulebook.Embedded)
)
