package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/identity"
)

type sessionCreateIn struct {
	UserAgent string `header:"User-Agent"`
	Body      struct {
		Email    string `json:"email" minLength:"3" maxLength:"254"`
		Password string `json:"password" minLength:"1" maxLength:"400"`
	}
}

type sessionCreateOut struct {
	Status    int
	SetCookie http.Cookie `header:"Set-Cookie"`
	Body      struct {
		Secret             string    `json:"secret" doc:"Send it as Authorization: Bearer. It is answered this once."`
		SessionID          uuid.UUID `json:"session_id" format:"uuid"`
		PersonID           uuid.UUID `json:"person_id" format:"uuid"`
		Role               string    `json:"role"`
		ExpiresAt          time.Time `json:"expires_at"`
		MustChangePassword bool      `json:"must_change_password" doc:"Signed in with a one-time password: until it is changed nothing else is allowed."`
	}
}

type sessionItem struct {
	SessionID  uuid.UUID `json:"session_id" format:"uuid"`
	CreatedAt  time.Time `json:"created_at"`
	LastSeenAt time.Time `json:"last_seen_at"`
	ExpiresAt  time.Time `json:"expires_at"`
	UserAgent  string    `json:"user_agent"`
	Current    bool      `json:"current"`
}

type sessionListOut struct {
	Body struct {
		Sessions []sessionItem `json:"sessions"`
		PageOut
	}
}

type sessionPath struct {
	SessionID uuid.UUID `path:"session_id" format:"uuid"`
}

type meOut struct {
	Body struct {
		PersonID           uuid.UUID   `json:"person_id" format:"uuid"`
		Email              string      `json:"email"`
		Name               string      `json:"name"`
		Role               string      `json:"role"`
		ScopeKind          string      `json:"scope_kind"`
		Customers          []uuid.UUID `json:"customers"`
		Sites              []uuid.UUID `json:"sites"`
		Units              string      `json:"units" enum:"metric,us"`
		MustChangePassword bool        `json:"must_change_password"`
	}
}

type passwordPutIn struct {
	Body struct {
		Present string `json:"present" minLength:"1" maxLength:"400"`
		Next    string `json:"next" minLength:"1" maxLength:"400"`
	}
}

type unitsPutIn struct {
	Body struct {
		Units string `json:"units" enum:"metric,us"`
	}
}

// signedOut takes the cookie away as well.
type signedOut struct {
	Status    int
	SetCookie http.Cookie `header:"Set-Cookie"`
}

// noContent answers that it is done.
type noContent struct{ Status int }

func (a *API) sessions() {
	add(a, operation("session-create", http.MethodPost, "/v1/sessions", actPublic, "Sign in"), a.sessionCreate)
	add(a, operation("session-list", http.MethodGet, "/v1/sessions", identity.ActSelf, "One's own sessions"), a.sessionList)
	add(a, operation("session-end", http.MethodDelete, "/v1/sessions/current", identity.ActSelf, "Sign out"), a.sessionEnd)
	add(a, operation("session-end-other", http.MethodDelete, "/v1/sessions/{session_id}", identity.ActSelf, "End one of one's own sessions"), a.sessionEndOther)
	add(a, operation("me-get", http.MethodGet, "/v1/me", identity.ActSelf, "Who one is here"), a.meGet)
	add(a, operation("me-password-put", http.MethodPut, "/v1/me/password", identity.ActSelf, "Change one's password; other sessions end"), a.mePasswordPut)
	add(a, operation("me-units-put", http.MethodPut, "/v1/me/units", identity.ActSelf, "Choose metres or feet and inches"), a.meUnitsPut)
}

func (a *API) sessionCreate(ctx context.Context, _ identity.Actor, in *sessionCreateIn) (*sessionCreateOut, error) {
	secret, s, who, err := a.People.SignIn(ctx, in.Body.Email, in.Body.Password, in.UserAgent, requestID(ctx))
	if err != nil {
		return nil, err
	}
	out := &sessionCreateOut{Status: http.StatusCreated, SetCookie: cookie(secret, s.ExpiresAt)}
	out.Body.Secret, out.Body.SessionID, out.Body.PersonID, out.Body.Role = secret, s.SessionID, who.PersonID, string(who.Role)
	out.Body.ExpiresAt, out.Body.MustChangePassword = s.ExpiresAt, who.MustChangePassword
	return out, nil
}

func cookie(secret string, expires time.Time) http.Cookie {
	return http.Cookie{Name: sessionCookie, Value: secret, Path: "/", Expires: expires, Secure: true, HttpOnly: true, SameSite: http.SameSiteLaxMode}
}

func (a *API) sessionList(ctx context.Context, by identity.Actor, in *PageIn) (*sessionListOut, error) {
	page, err := newestFirst(*in)
	if err != nil {
		return nil, err
	}
	list, err := a.People.Sessions(ctx, by, page)
	if err != nil {
		return nil, err
	}
	out := &sessionListOut{}
	out.Body.Sessions = make([]sessionItem, len(list))
	for i, s := range list {
		out.Body.Sessions[i] = sessionItem{SessionID: s.SessionID, CreatedAt: s.CreatedAt, LastSeenAt: s.LastSeenAt, ExpiresAt: s.ExpiresAt, UserAgent: s.UserAgent,
			Current: s.SessionID == by.SessionID}
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.CreatedAt, last.SessionID})
	}
	return out, nil
}

// newestFirst reads which part of a list is asked for that begins with the newest.
func newestFirst(in PageIn) (identity.Page, error) {
	var key instantKey
	if err := readCursor(in.After, &key); err != nil {
		return identity.Page{}, err
	}
	return identity.Page{BeforeAt: key.At, BeforeID: key.ID, Limit: in.Limit}, nil
}

func (a *API) sessionEnd(ctx context.Context, by identity.Actor, _ *struct{}) (*signedOut, error) {
	gone := cookie("", time.Time{})
	gone.MaxAge = -1
	return &signedOut{http.StatusNoContent, gone}, a.People.SignOut(ctx, by, requestID(ctx))
}

func (a *API) sessionEndOther(ctx context.Context, by identity.Actor, in *sessionPath) (*noContent, error) {
	return &noContent{http.StatusNoContent}, a.People.EndSession(ctx, by, in.SessionID, requestID(ctx))
}

func (a *API) meGet(ctx context.Context, by identity.Actor, _ *struct{}) (*meOut, error) {
	p, err := a.People.Self(ctx, by)
	if err != nil {
		return nil, err
	}
	return newMeOut(p), nil
}

func newMeOut(p identity.Person) *meOut {
	out := &meOut{}
	out.Body.PersonID, out.Body.Email, out.Body.Name, out.Body.Role, out.Body.ScopeKind = p.PersonID, p.Email, p.Name, string(p.Role), string(p.ScopeKind)
	out.Body.Customers, out.Body.Sites, out.Body.Units, out.Body.MustChangePassword = p.Customers, p.Sites, p.Units, p.MustChangePassword
	return out
}

func (a *API) mePasswordPut(ctx context.Context, by identity.Actor, in *passwordPutIn) (*noContent, error) {
	return &noContent{http.StatusNoContent}, a.People.ChangePassword(ctx, by, in.Body.Present, in.Body.Next, requestID(ctx))
}

func (a *API) meUnitsPut(ctx context.Context, by identity.Actor, in *unitsPutIn) (*meOut, error) {
	p, err := a.People.SetUnits(ctx, by, in.Body.Units)
	if err != nil {
		return nil, err
	}
	return newMeOut(p), nil
}
