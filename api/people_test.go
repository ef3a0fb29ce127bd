package api_test

import (
	"net/http"
	"net/http/httptest"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/rulebook"
)

func TestSignInAnswersASecretAndTheSameInACookieThatScriptsCannotRead(t *testing.T) {
	t.Parallel()
	f := newFace(t)
	f.administrator(t)
	got := f.ask(t, "", http.MethodPost, "/v1/sessions", map[string]any{"email": "ada@lintel.example", "password": chosen}).want(t, http.StatusCreated, "")
	cookies := (&http.Response{Header: got.header}).Cookies()
	if len(cookies) != 1 {
		t.Fatalf("cookies %v", got.header["Set-Cookie"])
	}
	c := cookies[0]
	if c.Name != "__Host-lintel" || c.Value != got.member("secret") || !c.HttpOnly || !c.Secure || c.SameSite != http.SameSiteLaxMode || c.Path != "/" || c.Domain != "" {
		t.Errorf("cookie %s", got.header.Get("Set-Cookie"))
	}
	if got.members["must_change_password"] != false || got.member("expires_at") != "2026-03-10T09:00:00Z" {
		t.Errorf("answer %v", got.members)
	}

	r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/v1/me", nil)
	r.AddCookie(&http.Cookie{Name: c.Name, Value: c.Value})
	w := httptest.NewRecorder()
	f.handler.ServeHTTP(w, r)
	if w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "ada@lintel.example") {
		t.Errorf("with the cookie: %d %s", w.Code, w.Body)
	}

	out := f.ask(t, c.Value, http.MethodDelete, "/v1/sessions/current", nil).want(t, http.StatusNoContent, "")
	if gone := (&http.Response{Header: out.header}).Cookies(); len(gone) != 1 || gone[0].Name != c.Name || gone[0].MaxAge >= 0 {
		t.Errorf("the cookie stays: %v", out.header["Set-Cookie"])
	}
	f.ask(t, c.Value, http.MethodGet, "/v1/me", nil).want(t, http.StatusUnauthorized, "session_ended")
}

func TestAOneTimePasswordOpensOnlyTheChangingOfIt(t *testing.T) {
	t.Parallel()
	f := newFace(t)
	oneTime, err := f.people.MakeFirstAdministrator(t.Context(), "ada@lintel.example", "Ada Lindqvist")
	if err != nil {
		t.Fatal(err)
	}
	secret := f.signIn(t, "ada@lintel.example", oneTime)
	me := f.ask(t, secret, http.MethodGet, "/v1/me", nil).want(t, http.StatusOK, "").member("person_id")
	f.ask(t, secret, http.MethodGet, "/v1/people", nil).want(t, http.StatusForbidden, "password_change_needed")
	f.ask(t, secret, http.MethodPost, "/v1/people/"+me+"/tokens", map[string]any{"name": "gate", "scopes": []string{"read"}, "expires_at": f.now.Add(time.Hour)}).
		want(t, http.StatusForbidden, "password_change_needed")
	f.ask(t, secret, http.MethodPut, "/v1/me/password", map[string]any{"present": oneTime, "next": "short"}).want(t, http.StatusUnprocessableEntity, "password_too_short")
	f.ask(t, secret, http.MethodPut, "/v1/me/password", map[string]any{"present": oneTime, "next": chosen}).want(t, http.StatusNoContent, "")
	f.ask(t, secret, http.MethodGet, "/v1/people", nil).want(t, http.StatusOK, "")
}

func TestAPersonIsMadeChangedDisabledAndGivenANewPassword(t *testing.T) {
	t.Parallel()
	f := newFace(t)
	ada := f.administrator(t)
	path := "/v1/people/" + f.id().String()
	bo := map[string]any{"email": "bo@lintel.example", "name": "Bo", "role": "technician", "scope_kind": "all"}
	made := f.ask(t, ada, http.MethodPut, path, bo).want(t, http.StatusCreated, "")
	if made.header.Get("ETag") != `"1"` || made.member("one_time_password") == "" {
		t.Errorf("%v %s", made.header, made.text)
	}
	if again := f.ask(t, ada, http.MethodPut, path, bo).want(t, http.StatusOK, ""); again.member("one_time_password") != "" {
		t.Error("the one-time password was answered twice")
	}
	bo["role"] = "dispatcher"
	f.ask(t, ada, http.MethodPut, path, bo).want(t, http.StatusPreconditionRequired, "version_required")
	f.ask(t, ada, http.MethodPut, path, bo, "If-Match", `"9"`).want(t, http.StatusPreconditionFailed, "version_differs")
	f.ask(t, ada, http.MethodPut, path, bo, "If-Match", `"1"`).want(t, http.StatusOK, "")

	secret := f.settle(t, "bo@lintel.example", made.member("one_time_password"))
	f.ask(t, ada, http.MethodPut, path+"/disabled", map[string]any{"disabled": true}).want(t, http.StatusOK, "")
	f.ask(t, secret, http.MethodGet, "/v1/me", nil).want(t, http.StatusUnauthorized, "session_ended")
	f.ask(t, "", http.MethodPost, "/v1/sessions", map[string]any{"email": "bo@lintel.example", "password": chosen}).want(t, http.StatusUnauthorized, "sign_in_failed")
	f.ask(t, ada, http.MethodPut, path+"/disabled", map[string]any{"disabled": false}).want(t, http.StatusOK, "")
	reset := f.ask(t, ada, http.MethodPost, path+"/password-reset", nil).want(t, http.StatusOK, "")
	f.signIn(t, "bo@lintel.example", reset.member("one_time_password"))
	f.ask(t, ada, http.MethodGet, "/v1/people/"+f.id().String(), nil).want(t, http.StatusNotFound, "person_not_found")
}

func TestTokensOfOthersAreForThoseWhoManagePeople(t *testing.T) {
	t.Parallel()
	f := newFace(t)
	ada := f.administrator(t)
	adaID := f.ask(t, ada, http.MethodGet, "/v1/me", nil).member("person_id")
	boID := f.id().String()
	made := f.ask(t, ada, http.MethodPut, "/v1/people/"+boID, map[string]any{"email": "bo@lintel.example", "name": "Bo", "role": "technician", "scope_kind": "all"})
	bo := f.settle(t, "bo@lintel.example", made.member("one_time_password"))
	token := map[string]any{"name": "van", "scopes": []string{"read", "visits"}, "expires_at": f.now.Add(time.Hour)}
	own := f.ask(t, bo, http.MethodPost, "/v1/people/"+boID+"/tokens", token).want(t, http.StatusCreated, "")
	f.ask(t, ada, http.MethodPost, "/v1/people/"+boID+"/tokens", token).want(t, http.StatusCreated, "")
	f.ask(t, bo, http.MethodPost, "/v1/people/"+adaID+"/tokens", token).want(t, http.StatusNotFound, "person_not_found")
	f.ask(t, bo, http.MethodGet, "/v1/people/"+adaID+"/tokens", nil).want(t, http.StatusNotFound, "person_not_found")
	f.ask(t, own.member("secret"), http.MethodGet, "/v1/customers", nil).want(t, http.StatusOK, "")
	f.ask(t, own.member("secret"), http.MethodGet, "/v1/me", nil).want(t, http.StatusForbidden, "not_allowed")
	f.ask(t, ada, http.MethodDelete, "/v1/people/"+boID+"/tokens/"+own.member("token_id"), nil).want(t, http.StatusNoContent, "")
	f.ask(t, own.member("secret"), http.MethodGet, "/v1/customers", nil).want(t, http.StatusUnauthorized, "session_ended")
}

func TestEveryReadOfAnAuditorIsInTheAudit(t *testing.T) {
	t.Parallel()
	f := newFace(t)
	ada := f.administrator(t)
	customer := f.id().String()
	f.ask(t, ada, http.MethodPut, "/v1/customers/"+customer, map[string]any{"name": "Harbour Row"}).want(t, http.StatusCreated, "")
	id := f.id().String()
	made := f.ask(t, ada, http.MethodPut, "/v1/people/"+id, map[string]any{"email": "cy@insurer.example", "name": "Cy", "role": "auditor", "scope_kind": "customers",
		"customers": []string{customer}, "expires_at": f.now.Add(24 * time.Hour)}).want(t, http.StatusCreated, "")
	cy := f.settle(t, "cy@insurer.example", made.member("one_time_password"))
	f.ask(t, cy, http.MethodGet, "/v1/customers/"+customer, nil).want(t, http.StatusOK, "")
	f.ask(t, cy, http.MethodGet, "/v1/customers?search=Harbour", nil).want(t, http.StatusOK, "")
	f.ask(t, cy, http.MethodGet, "/v1/audit", nil).want(t, http.StatusForbidden, "not_allowed")

	audit := f.ask(t, ada, http.MethodGet, "/v1/audit?person_id="+id, nil).want(t, http.StatusOK, "")
	var got []string
	for _, e := range audit.members["events"].([]any) {
		if event := e.(map[string]any); event["action"] == "read" && strings.HasPrefix(event["subject_kind"].(string), "customer") {
			got = append(got, event["subject_kind"].(string)+" "+event["subject_id"].(string))
		}
	}
	if want := []string{"customer-list /v1/customers?search=Harbour", "customer-get /v1/customers/" + customer}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

// What is secret stands in the one answer that hands it out: not in a list, a problem or the log.
func TestSecretsStandNowhereButInTheAnswerThatHandsThemOut(t *testing.T) {
	t.Parallel()
	f := newFace(t)
	ada := f.administrator(t)
	id := f.id().String()
	path := "/v1/people/" + id
	made := f.ask(t, ada, http.MethodPut, path, map[string]any{"email": "bo@lintel.example", "name": "Bo", "role": "technician", "scope_kind": "all"})
	token := f.ask(t, ada, http.MethodPost, path+"/tokens", map[string]any{"name": "van", "scopes": []string{"read"}, "expires_at": f.now.Add(time.Hour)})
	secrets := []string{ada, made.member("one_time_password"), token.member("secret"), chosen, "argon2id"}
	var told strings.Builder
	for _, list := range []string{"/v1/people", path, path + "/tokens", "/v1/sessions", "/v1/me", "/v1/audit"} {
		told.WriteString(f.ask(t, ada, http.MethodGet, list, nil).want(t, http.StatusOK, "").text)
	}
	told.WriteString(f.ask(t, "", http.MethodPost, "/v1/sessions", map[string]any{"email": "bo@lintel.example", "password": chosen}).want(t, http.StatusUnauthorized, "sign_in_failed").text)
	told.WriteString(f.ask(t, "", http.MethodPost, "/v1/sessions", map[string]any{"email": "bo@lintel.example", "password": chosen + strings.Repeat("x", 400)}).want(t, http.StatusUnprocessableEntity, "body_invalid").text)
	told.WriteString(f.ask(t, ada, http.MethodPut, "/v1/me/password", map[string]any{"present": chosen, "next": chosen}).want(t, http.StatusUnprocessableEntity, "password_same").text)
	told.WriteString(f.ask(t, token.member("secret")+"x", http.MethodGet, "/v1/me", nil).want(t, http.StatusUnauthorized, "secret_unknown").text)
	told.WriteString(f.log.String())
	for _, secret := range secrets {
		if secret == "" || strings.Contains(told.String(), secret) {
			t.Errorf("the secret %q stands in an answer or in the log", secret)
		}
	}
}

func TestWhoeverGuessesIsToldHowLongToWait(t *testing.T) {
	t.Parallel()
	f := newFace(t)
	f.administrator(t)
	for _, email := range []string{"ada@lintel.example", "nobody@lintel.example"} {
		guess := func() answer {
			return f.ask(t, "", http.MethodPost, "/v1/sessions", map[string]any{"email": email, "password": "some guess of theirs"})
		}
		for n := range 5 { // three are free, then one second, then two
			guess().want(t, http.StatusUnauthorized, "sign_in_failed")
			if n >= 2 {
				wait := 1 << (n - 2)
				if got := guess().want(t, http.StatusTooManyRequests, "sign_in_wait").header.Get("Retry-After"); got != strconv.Itoa(wait) {
					t.Errorf("%s: Retry-After %q after %d failures, want %d", email, got, n+1, wait)
				}
				f.now = f.now.Add(time.Duration(wait) * time.Second)
			}
		}
	}
}

func TestACertificateSaysWhatItAllowsAndRunsOutInItsOrder(t *testing.T) {
	t.Parallel()
	f := newFace(t)
	secret := f.administrator(t)
	me := f.ask(t, secret, http.MethodGet, "/v1/me", nil).want(t, http.StatusOK, "").member("person_id")
	path := "/v1/people/" + me + "/qualifications/"
	for i, kind := range rulebook.CertificateKinds() {
		body := map[string]any{"kind": kind, "scheme": "guild", "number": kind, "issuer": "Guild of the North", "valid_from": "2025-01-01", "valid_until": "2026-12-0" + strconv.Itoa(9-i)}
		id := uuid.Must(uuid.NewV7()).String()
		got := f.ask(t, secret, http.MethodPut, path+id, body).want(t, http.StatusCreated, "")
		if got.member("kind") != kind || got.member("issuer") != "Guild of the North" || got.members["renewed"] != false {
			t.Errorf("%v", got.members)
		}
		f.ask(t, secret, http.MethodPut, path+id, body).want(t, http.StatusOK, "")
		delete(body, "kind")
		if kind != rulebook.GeneralCertificate {
			f.ask(t, secret, http.MethodPut, path+id, body).want(t, http.StatusConflict, "qualification_differs")
		} else {
			f.ask(t, secret, http.MethodPut, path+id, body).want(t, http.StatusOK, "") // left out: the general one
		}
	}
	f.ask(t, secret, http.MethodPut, path+uuid.Must(uuid.NewV7()).String(), map[string]any{"kind": "lifts", "scheme": "guild", "number": "1", "valid_from": "2025-01-01"}).want(t, http.StatusUnprocessableEntity, "body_invalid")
	var order []string
	for next := ""; ; {
		got := f.ask(t, secret, http.MethodGet, "/v1/qualifications?from=2026-12-05&limit=2"+next, nil).want(t, http.StatusOK, "")
		for _, q := range got.members["qualifications"].([]any) {
			order = append(order, q.(map[string]any)["kind"].(string))
		}
		if got.member("next") == "" {
			break
		}
		next = "&after=" + got.member("next")
	}
	if want := []string{"european", "revolving", "low_energy", "full_energy", "general"}; !slices.Equal(order, want) {
		t.Errorf("%v, want %v", order, want)
	}
}
