package api_test

import (
	"bytes"
	"encoding/json"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"lintel.example/lintel/api"
	"lintel.example/lintel/internal/duedate"
)

// newTokenBody is one of the few requests that make something without an id of the client's own.
func (f *face) newTokenBody(name string) map[string]any {
	return map[string]any{"name": name, "scopes": []string{"read"}, "expires_at": f.now.Add(time.Hour)}
}

func (f *face) count(t testing.TB, query string, args ...any) (n int) {
	t.Helper()
	if err := f.db.Admin.QueryRow(t.Context(), query, args...).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func TestARequestUnderAKeyTakesEffectOnceAndIsAnsweredTheSame(t *testing.T) {
	t.Parallel()
	f := newFace(t)
	ada := f.administrator(t)
	path := "/v1/people/" + f.ask(t, ada, http.MethodGet, "/v1/me", nil).member("person_id") + "/tokens"
	key := []string{"Idempotency-Key", `"8e03978e-40d5-43e8-bc93-6894a57f9324"`}
	first := f.ask(t, ada, http.MethodPost, path, f.newTokenBody("gate"), key...).want(t, http.StatusCreated, "")
	again := f.ask(t, ada, http.MethodPost, path, f.newTokenBody("gate"), key...).want(t, http.StatusCreated, "")
	if again.text != first.text || again.header.Get("Content-Type") != first.header.Get("Content-Type") || again.header.Get("X-Request-Id") == first.header.Get("X-Request-Id") {
		t.Errorf("answered %v %s, then %v %s", first.header, first.text, again.header, again.text)
	}
	if again.header.Get("Cache-Control") != "no-store" || again.header.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("the second answer lacks what every answer carries: %v", again.header)
	}
	f.ask(t, again.member("secret"), http.MethodGet, "/v1/doors", nil).want(t, http.StatusOK, "")
	if n := f.count(t, `select count(*) from token`); n != 1 {
		t.Errorf("%d tokens were made", n)
	}
	f.ask(t, ada, http.MethodPost, path, f.newTokenBody("van"), key...).want(t, http.StatusUnprocessableEntity, "idempotency_key_used")
	f.ask(t, ada, http.MethodPost, "/v1/sites/"+f.id().String()+"/key-safe-code/reveal", nil, key...).want(t, http.StatusUnprocessableEntity, "idempotency_key_used")
	f.ask(t, f.signIn(t, "ada@lintel.example", chosen), http.MethodPost, path, f.newTokenBody("gate"), key...).want(t, http.StatusUnprocessableEntity, "idempotency_key_used")
	if n := f.count(t, `select count(*) from token`); n != 1 {
		t.Errorf("%d tokens were made", n)
	}
	f.ask(t, ada, http.MethodPost, path, f.newTokenBody("gate")).want(t, http.StatusCreated, "") // without a key as ever
	if n := f.count(t, `select count(*) from token`); n != 2 {
		t.Errorf("%d tokens were made", n)
	}
}

func TestARefusalUnderAKeyIsKeptAndAFailureIsNot(t *testing.T) {
	t.Parallel()
	f := newFace(t)
	ada := f.administrator(t)
	nowhere := "/v1/people/" + f.id().String() + "/tokens"
	key := []string{"Idempotency-Key", `"the first of march"`}
	first := f.ask(t, ada, http.MethodPost, nowhere, f.newTokenBody("gate"), key...).want(t, http.StatusNotFound, "person_not_found")
	again := f.ask(t, ada, http.MethodPost, nowhere, f.newTokenBody("gate"), key...).want(t, http.StatusNotFound, "person_not_found")
	if again.text != first.text {
		t.Errorf("refused with %s, then with %s", first.text, again.text)
	}
	path := "/v1/people/" + f.ask(t, ada, http.MethodGet, "/v1/me", nil).member("person_id") + "/tokens"
	if _, err := f.db.Admin.Exec(t.Context(), `revoke insert on token from lintel_gate`); err != nil {
		t.Fatal(err)
	}
	key[1] = `"the second"`
	f.ask(t, ada, http.MethodPost, path, f.newTokenBody("gate"), key...).want(t, http.StatusInternalServerError, "internal")
	if _, err := f.db.Admin.Exec(t.Context(), `grant insert on token to lintel_gate`); err != nil {
		t.Fatal(err)
	}
	f.ask(t, ada, http.MethodPost, path, f.newTokenBody("gate"), key...).want(t, http.StatusCreated, "")
}

func TestOfManyAtOnceUnderOneKeyOneTakesEffect(t *testing.T) {
	t.Parallel()
	f := newFace(t)
	ada := f.administrator(t)
	path := "/v1/people/" + f.ask(t, ada, http.MethodGet, "/v1/me", nil).member("person_id") + "/tokens"
	var wait sync.WaitGroup
	answers := make([]answer, 12)
	for i := range answers {
		wait.Go(func() {
			answers[i] = f.ask(t, ada, http.MethodPost, path, f.newTokenBody("gate"), "Idempotency-Key", `"at once"`)
		})
	}
	wait.Wait()
	secrets := map[string]bool{}
	for _, a := range answers {
		switch a.status {
		case http.StatusCreated:
			secrets[a.member("secret")] = true
		case http.StatusConflict:
			if seconds, err := strconv.Atoi(a.header.Get("Retry-After")); err != nil || seconds < 1 || a.member("code") != "request_running" {
				t.Errorf("to wait: %v %s", a.header, a.text)
			}
		default:
			t.Errorf("%d: %s", a.status, a.text)
		}
	}
	if n := f.count(t, `select count(*) from token`); n != 1 || len(secrets) != 1 {
		t.Errorf("%d tokens, %d secrets answered", n, len(secrets))
	}
}

func TestARequestThatWasBrokenOffIsRefusedWhileItMayRunAndThenDone(t *testing.T) {
	t.Parallel()
	f := newFace(t)
	ada := f.administrator(t)
	me := f.ask(t, ada, http.MethodGet, "/v1/me", nil).member("person_id")
	if _, err := f.db.Admin.Exec(t.Context(), `insert into kept_answer (person_id, key_sha256, begun_at) values ($1, sha256('cut off'), $2)`, me, f.now); err != nil {
		t.Fatal(err) // as a server that was killed leaves it
	}
	body, key := f.newTokenBody("gate"), []string{"Idempotency-Key", `"cut off"`}
	for _, minutes := range []int{0, 5} {
		f.now = f.now.Add(time.Duration(minutes) * time.Minute)
		if got := f.ask(t, ada, http.MethodPost, "/v1/people/"+me+"/tokens", body, key...).want(t, http.StatusConflict, "request_running"); got.header.Get("Retry-After") != "2" {
			t.Errorf("Retry-After %q", got.header.Get("Retry-After"))
		}
	}
	f.now = f.now.Add(time.Second)
	f.ask(t, ada, http.MethodPost, "/v1/people/"+me+"/tokens", body, key...).want(t, http.StatusCreated, "")
}

func TestAKeyThatIsNoTextInQuotationMarksIsRefused(t *testing.T) {
	t.Parallel()
	f := newFace(t)
	ada := f.administrator(t)
	path := "/v1/people/" + f.ask(t, ada, http.MethodGet, "/v1/me", nil).member("person_id") + "/tokens"
	for _, key := range []string{"8e03978e", `""`, `"`, `"a"b"`, `"a\b"`, `"a\"`, "\"a\tb\"", `"ä"`, `"` + strings.Repeat("x", 201) + `"`, `"a";b=c`, `"a", "b"`} {
		f.ask(t, ada, http.MethodPost, path, f.newTokenBody("gate"), "Idempotency-Key", key).want(t, http.StatusBadRequest, "idempotency_key_unreadable")
	}
	if n := f.count(t, `select (select count(*) from token) + (select count(*) from kept_answer)`); n != 0 {
		t.Errorf("%d things were kept", n)
	}
	f.ask(t, ada, http.MethodPost, path, f.newTokenBody("gate"), "Idempotency-Key", ` "a \"b\" \\" `).want(t, http.StatusCreated, "")
	if n := f.count(t, `select count(*) from kept_answer where key_sha256 = sha256($1::bytea)`, []byte(`a "b" \`)); n != 1 {
		t.Error("the key was read as another")
	}
}

func TestWhoMayNotDoItGetsNoAnswerThatIsKept(t *testing.T) {
	t.Parallel()
	f := newFace(t)
	ada := f.administrator(t)
	path := "/v1/people/" + f.ask(t, ada, http.MethodGet, "/v1/me", nil).member("person_id") + "/tokens"
	key := []string{"Idempotency-Key", `"shared"`}
	f.ask(t, ada, http.MethodPost, path, f.newTokenBody("gate"), key...).want(t, http.StatusCreated, "")
	f.ask(t, "", http.MethodPost, path, f.newTokenBody("gate"), key...).want(t, http.StatusUnauthorized, "sign_in_needed")
	boID := f.id().String()
	made := f.ask(t, ada, http.MethodPut, "/v1/people/"+boID, map[string]any{"email": "bo@lintel.example", "name": "Bo", "role": "dispatcher", "scope_kind": "all"}).want(t, http.StatusCreated, "")
	bo := f.settle(t, "bo@lintel.example", made.member("one_time_password"))
	f.ask(t, bo, http.MethodPost, path, f.newTokenBody("gate"), key...).want(t, http.StatusNotFound, "person_not_found") // the key is theirs alone
}

func TestWhatIsKeptOpensForNobodyWhoHasTheDatabase(t *testing.T) {
	t.Parallel()
	f := newFace(t)
	ada := f.administrator(t)
	path := "/v1/people/" + f.ask(t, ada, http.MethodGet, "/v1/me", nil).member("person_id") + "/tokens"
	made := f.ask(t, ada, http.MethodPost, path, f.newTokenBody("gate"), "Idempotency-Key", `"a key of mine"`).want(t, http.StatusCreated, "")
	var row []byte
	if err := f.db.Admin.QueryRow(t.Context(), `select key_sha256 || sealed from kept_answer`).Scan(&row); err != nil {
		t.Fatal(err)
	}
	for _, secret := range []string{made.member("secret"), ada, "a key of mine", "gate"} {
		if bytes.Contains(row, []byte(secret)) {
			t.Errorf("%q is kept as it is", secret)
		}
	}
}

func TestAnswersAreKeptForADayAndThenForgotten(t *testing.T) {
	t.Parallel()
	f := newFace(t)
	ada := f.administrator(t)
	path := "/v1/people/" + f.ask(t, ada, http.MethodGet, "/v1/me", nil).member("person_id") + "/tokens"
	f.ask(t, ada, http.MethodPost, path, f.newTokenBody("gate"), "Idempotency-Key", `"k"`).want(t, http.StatusCreated, "")
	today := duedate.DayIn(f.now, time.UTC)
	for days, want := range []int64{0, 0, 1, 0} { // the job runs in the morning: not within a day
		if n, err := f.people.ForgetAnswers(t.Context(), today.AddDays(days)); err != nil || n != want {
			t.Errorf("%d days later %d were forgotten, %v, want %d", days, n, err, want)
		}
	}
}

func TestTheSameRequestIDLeadsThroughAnswerProblemAndLog(t *testing.T) {
	t.Parallel()
	f := newFace(t)
	for sent, taken := range map[string]bool{
		"8e03978e-40d5-43e8-bc93-6894a57f9324": true, "proxy.7_a-1234": true, "short": false, "-begins-odd": false, "has a space 12": false,
		`quo"te-12345`: false, "line\nbreak-12": false, strings.Repeat("a", 64): true, strings.Repeat("a", 65): false, "ünïcode-12345": false,
	} {
		got := f.ask(t, "", http.MethodGet, "/v1/doors", nil, "X-Request-Id", sent).want(t, http.StatusUnauthorized, "sign_in_needed")
		id := got.header.Get("X-Request-Id")
		if (id == sent) != taken || id == "" || got.member("request_id") != id {
			t.Errorf("sent %q: the header says %q, the problem %q", sent, id, got.member("request_id"))
		}
		found := false
		for line := range strings.Lines(f.log.String()) {
			var said map[string]any
			if err := json.Unmarshal([]byte(line), &said); err != nil {
				t.Fatalf("%v in the log line %s", err, line)
			}
			found = found || said["msg"] == "request" && said["request_id"] == id
		}
		if !found {
			t.Errorf("no line of the log has %q", id)
		}
	}
}

func FuzzKeysAreReadAsTheyWereWritten(f *testing.F) {
	for _, seed := range []string{`"a"`, `""`, `"a\"b"`, `"\\"`, "a", `"a" `, `"` + "\x80" + `"`} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		key, ok := api.ReadKey([]string{text})
		if !ok {
			return
		}
		if key == "" || len(key) > 200 {
			t.Fatalf("a key of %d characters", len(key))
		}
		written := `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(key) + `"`
		if again, ok := api.ReadKey([]string{written}); !ok || again != key || written != strings.Trim(text, " \t") {
			t.Fatalf("%q is read as %q, and written as %q", text, key, written)
		}
	})
}
