package console

import (
	"context"
	"net/http"
	"strings"
	"time"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// The cookie holds the secret of a session. Over TLS it has the name that the API reads too, whose prefix binds it to
// https, to this host and to the whole of it; without TLS (on one's own machine) browsers refuse such a name.
const (
	secureCookie = "__Host-lintel"
	plainCookie  = "lintel"
)

// overTLS tells whether the browser came over TLS, here or at the proxy before us. A browser that forges the header harms
// its own cookie only.
func overTLS(r *http.Request) bool {
	return r.TLS != nil || r.Header.Get("X-Forwarded-Proto") == "https"
}

// sessionCookie makes the cookie; its age is counted by the browser, whose clock may be wrong. An age below 0 takes it away.
func sessionCookie(r *http.Request, secret string, age time.Duration) *http.Cookie {
	c := &http.Cookie{Name: plainCookie, Value: secret, Path: "/", MaxAge: int(age.Seconds()), HttpOnly: true, SameSite: http.SameSiteStrictMode}
	if overTLS(r) {
		c.Name, c.Secure = secureCookie, true
	}
	return c
}

// authenticate tells whom the session's cookie stands for.
func (c *Console) authenticate(q *request) (identity.Actor, error) {
	cookie, err := q.Cookie(sessionCookie(q.Request, "", 0).Name)
	if err != nil {
		return identity.Actor{}, fault.New(fault.Unauthenticated, "sign_in_needed")
	}
	return c.People.Authenticate(q.Context(), cookie.Value)
}

type signInData struct {
	Form form
	Next string
}

func signInPage(next string, f form, status int) page {
	return page{name: "sign-in", status: status, data: signInData{Form: f, Next: next}}
}

// here keeps an address to go on to within these pages.
func here(address string) string {
	if !strings.HasPrefix(address, "/") || strings.HasPrefix(address, "//") || strings.ContainsAny(address, "\\\r\n\t") {
		return "/"
	}
	return address
}

func (c *Console) signInForm(_ context.Context, q *request) (answer, error) {
	next := here(q.URL.Query().Get("next"))
	if q.by.PersonID != (identity.Actor{}).PersonID {
		return seeOther(next), nil
	}
	return signInPage(next, newForm(nil), http.StatusOK), nil
}

func (c *Console) signIn(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	next := here(f.Value("next"))
	secret, s, who, err := c.People.SignIn(ctx, f.Value("/email"), f.Secret("/password"), q.UserAgent(), q.id)
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return signInPage(next, f, status), nil })
	}
	q.cookie = sessionCookie(q.Request, secret, s.ExpiresAt.Sub(c.Now()))
	if who.MustChangePassword {
		return seeOther("/password"), nil
	}
	return seeOther(next), nil
}

func (c *Console) signOut(ctx context.Context, q *request) (answer, error) {
	if err := c.People.SignOut(ctx, q.by, q.id); err != nil {
		return nil, err
	}
	q.cookie = sessionCookie(q.Request, "", -time.Second)
	return seeOther("/sign-in"), nil
}

type passwordData struct {
	Form   form
	Needed bool
}

func (c *Console) passwordForm(_ context.Context, q *request) (answer, error) {
	return page{name: "password", data: passwordData{newForm(nil), q.by.MustChangePassword}}, nil
}

func (c *Console) passwordPut(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	if f.Secret("/next") != f.Secret("/again") {
		err = fault.At("/again", "password_not_repeated")
	} else {
		err = c.People.ChangePassword(ctx, q.by, f.Secret("/present"), f.Secret("/next"), q.id)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) {
			return page{name: "password", status: status, data: passwordData{f, q.by.MustChangePassword}}, nil
		})
	}
	return seeOther("/"), nil
}

type meData struct {
	Self     identity.Person
	Form     form
	Sessions []identity.Session
}

func (c *Console) me(ctx context.Context, q *request) (answer, error) {
	self, err := c.People.Self(ctx, q.by)
	if err != nil {
		return nil, err
	}
	sessions, err := c.People.Sessions(ctx, q.by, identity.Page{Limit: 50})
	if err != nil {
		return nil, err
	}
	return page{name: "me", data: meData{self, newForm(map[string]string{"/units": self.Units}), sessions}}, nil
}

func (c *Console) unitsPut(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	if _, err := c.People.SetUnits(ctx, q.by, f.Value("/units")); err != nil {
		return nil, err
	}
	return seeOther("/me"), nil
}

func (c *Console) sessionEnd(ctx context.Context, q *request) (answer, error) {
	id, err := q.pathID("session_id")
	if err != nil {
		return nil, err
	}
	if err := c.People.EndSession(ctx, q.by, id, q.id); err != nil && !fault.Is(err, "session_not_found") {
		return nil, err
	}
	return seeOther("/me"), nil
}
