package console_test

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"lintel.example/lintel/internal/identity"
)

func TestSigningInAndOut(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.administrator(t)
	n := d.nobody()
	n.get(t, "/doors?kind=sliding").leads(t, "/sign-in?next=%2Fdoors%3Fkind%3Dsliding")
	bad := n.post(t, "/sign-in", url.Values{"/email": {"ada@lintel.example"}, "/password": {"wrong"}}).want(t, 401, "The address or the password is wrong.")
	bad.holds(t, "/email", "ada@lintel.example").lacks(t, "wrong\"")
	in := n.post(t, "/sign-in", url.Values{"/email": {"ada@lintel.example"}, "/password": {chosen}, "next": {"/doors?kind=sliding"}}).leads(t, "/doors?kind=sliding")
	cookie := in.header.Get("Set-Cookie")
	for _, part := range []string{"HttpOnly", "SameSite=Strict", "Path=/", "Max-Age=604800"} {
		if !strings.Contains(cookie, part) {
			t.Errorf("the cookie %q has no %s", cookie, part)
		}
	}
	if strings.Contains(cookie, "Secure") {
		t.Errorf("without TLS a browser would drop %q", cookie)
	}
	n.get(t, "/doors").want(t, 200, "Ada Lindqvist")
	n.post(t, "/sign-out", url.Values{}).leads(t, "/sign-in")
	n.get(t, "/doors").leads(t, "/sign-in?next=%2Fdoors")
}

func TestNobodyIsLedElsewhereAfterSigningIn(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.administrator(t)
	for _, next := range []string{"https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", "doors", "/\t/elsewhere.example"} {
		d.nobody().post(t, "/sign-in", url.Values{"/email": {"ada@lintel.example"}, "/password": {chosen}, "next": {next}}).leads(t, "/")
	}
}

func TestOverTLSTheCookieIsBoundToIt(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.administrator(t)
	r := httptest.NewRequest(http.MethodPost, "https://lintel.example/sign-in", strings.NewReader(url.Values{"/email": {"ada@lintel.example"}, "/password": {chosen}}.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	d.handler.ServeHTTP(w, r)
	if c := w.Header().Get("Set-Cookie"); !strings.HasPrefix(c, "__Host-lintel=") || !strings.Contains(c, "Secure") {
		t.Errorf("the cookie is %q", c)
	}
}

func TestWhoHasAOneTimePasswordChoosesOneFirst(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	admin := d.administrator(t)
	_, oneTime, _, err := d.people.PutPerson(t.Context(), admin.actor, identity.Person{PersonID: d.id(), Email: "bo@lintel.example", Name: "Bo Tanager", Role: identity.Dispatcher, ScopeKind: identity.ScopeAll}, 0, "")
	if err != nil {
		t.Fatal(err)
	}
	n := d.nobody()
	n.post(t, "/sign-in", url.Values{"/email": {"bo@lintel.example"}, "/password": {oneTime}}).leads(t, "/password")
	n.get(t, "/doors").leads(t, "/password")
	n.get(t, "/password").want(t, 200, "You signed in with a one-time password").lacks(t, `href="/doors"`)
	n.post(t, "/password", url.Values{"/present": {oneTime}, "/next": {chosen}, "/again": {"another"}}).want(t, 422, "The two new passwords are not the same.")
	n.post(t, "/password", url.Values{"/present": {oneTime}, "/next": {"short"}, "/again": {"short"}}).want(t, 422, "The password is too short")
	n.post(t, "/password", url.Values{"/present": {oneTime}, "/next": {chosen}, "/again": {chosen}}).leads(t, "/")
	n.get(t, "/").want(t, 200, "Today")
}

func TestFormsOfOtherSitesAreRefused(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	admin := d.administrator(t)
	r := httptest.NewRequest(http.MethodPost, "/me/units", strings.NewReader("/units=us"))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "cross-site")
	r.AddCookie(admin.cookies[0])
	w := httptest.NewRecorder()
	d.handler.ServeHTTP(w, r)
	if w.Code != http.StatusForbidden || !strings.Contains(w.Body.String(), "sent by another site") {
		t.Errorf("got %d: %s", w.Code, w.Body)
	}
	if self, err := d.people.Self(t.Context(), admin.actor); err != nil || self.Units != "metric" {
		t.Errorf("units are %s, %v", self.Units, err)
	}
}

func TestEveryAnswerHasThePolicyAndIsKeptByNobody(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	admin := d.administrator(t)
	for _, path := range []string{"/", "/sign-in", "/doors", "/nowhere", "/doors/none", "/me", "/doors?after=%00", "/doors?site=x"} {
		for _, who := range []*somebody{admin, d.nobody()} {
			h := who.get(t, path).header
			if got := h.Get("Content-Security-Policy"); got != "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'" {
				t.Errorf("%s: policy %q", path, got)
			}
			if h.Get("Cache-Control") != "no-store" || h.Get("X-Content-Type-Options") != "nosniff" || h.Get("X-Request-Id") == "" {
				t.Errorf("%s: headers %v", path, h)
			}
		}
	}
}

func TestFilesAreKeptUnderTheirHashAndNowhereElse(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	_, after, _ := strings.Cut(d.nobody().get(t, "/sign-in").body, `href="/static/console.`)
	name, _, _ := strings.Cut(after, `"`)
	css := d.nobody().get(t, "/static/console."+name)
	if css.status != 200 || !strings.Contains(css.header.Get("Cache-Control"), "immutable") || !strings.HasPrefix(css.header.Get("Content-Type"), "text/css") {
		t.Errorf("got %d %v", css.status, css.header)
	}
	d.nobody().get(t, "/static/console.css").want(t, 404)
}
