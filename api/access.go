package api

import (
	"context"
	"errors"
	"log/slog"
	"maps"
	"net/http"
	"net/url"
	"regexp"
	"runtime/debug"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humachi"
	"github.com/go-chi/chi/v5"
	"github.com/go-chi/chi/v5/middleware"
	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

type contextKey int

const (
	keyRequestID contextKey = iota
	keyPath
	keyAccess
)

// access is what the request's secret led to: an actor, or why there is none.
type access struct {
	actor  identity.Actor
	err    error
	secret string // for sealing what was answered to it; in no log
}

// sessionCookie is the name of the cookie that holds a session's secret. The __Host- prefix binds it to https,
// to this host and to the whole of it.
const sessionCookie = "__Host-lintel"

// authenticate finds out who is asking. It refuses nothing: each operation says what it needs.
func (a *API) authenticate(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var who access
		secret, found := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
		if !found {
			if c, err := r.Cookie(sessionCookie); err == nil {
				secret, found = c.Value, true
			}
		}
		if found {
			who.actor, who.err = a.People.Authenticate(r.Context(), secret)
			who.secret = secret
		} else {
			who.err = fault.New(fault.Unauthenticated, "sign_in_needed")
		}
		next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), keyAccess, who)))
	})
}

// allow gives the actor of the request when the action is theirs to do.
func (a *API) allow(ctx context.Context, action identity.Action) (identity.Actor, error) {
	if action == actPublic {
		return identity.Actor{}, nil
	}
	who, ok := ctx.Value(keyAccess).(access)
	if !ok {
		return identity.Actor{}, errors.New("no access in the context: the middleware is missing")
	}
	if who.err != nil {
		return identity.Actor{}, who.err
	}
	if !who.actor.May(action) {
		if who.actor.MustChangePassword {
			return identity.Actor{}, fault.New(fault.Forbidden, "password_change_needed")
		}
		return identity.Actor{}, fault.New(fault.Forbidden, "not_allowed", "action", string(action))
	}
	return who.actor, nil
}

// admit refuses whoever may not do the action before their body is read: 15 MB of a photo are not for nobody to send, and
// what is wrong with a body is not for nobody to know.
func (a *API) admit(action identity.Action) func(huma.Context, func(huma.Context)) {
	return func(ctx huma.Context, next func(huma.Context)) {
		if _, err := a.allow(ctx.Context(), action); err != nil {
			r, w := humachi.Unwrap(ctx)
			a.refuse(w, r, err)
			return
		}
		if name, known := knownParameters(ctx); !known {
			a.refuseParameter(ctx, name, "parameter_unknown")
			return
		}
		next(ctx)
	}
}

var lastID = regexp.MustCompile(`\{(\w+_id)\}$`)

// chosenID names the parameter of a PUT that is an id of the client's choice, "" when there is none.
func chosenID(op huma.Operation) string {
	if m := lastID.FindStringSubmatch(op.Path); m != nil && op.Method == http.MethodPut {
		return m[1]
	}
	return ""
}

// wellChosen refuses an id that is no UUIDv7, nil among them. One of version 8 may be the program's own, of a work order
// that exists: the use-case makes none under it.
func (a *API) wellChosen(name string) func(huma.Context, func(huma.Context)) {
	return func(ctx huma.Context, next func(huma.Context)) {
		id, err := uuid.Parse(ctx.Param(name))
		if err == nil && !(id.Variant() == uuid.RFC4122 && (id.Version() == 7 || id.Version() == 8 && name == "work_order_id")) {
			a.refuseParameter(ctx, name, "id_not_v7")
			return
		}
		next(ctx) // what cannot be read is told with the rest
	}
}

func (a *API) refuseParameter(ctx huma.Context, name, code string) {
	r, w := humachi.Unwrap(ctx)
	send(w, a.parameterProblem(r.Context(), name, fault.New(fault.Invalid, code)))
}

// parameterProblem says what is wrong with a parameter.
func (a *API) parameterProblem(ctx context.Context, name string, f *fault.Error) *Problem {
	p := newProblem(ctx, a.Words, http.StatusUnprocessableEntity, fault.List{f})
	p.Errors = []MemberFault{{Code: p.Code, Detail: p.Detail, Parameter: name}}
	return p
}

// knownParameters names a parameter in the address that the operation does not have: a filter that is misspelled must not
// answer with everything.
func knownParameters(ctx huma.Context) (unknown string, ok bool) {
	u := ctx.URL()
	for _, name := range slices.Sorted(maps.Keys(u.Query())) {
		if !slices.ContainsFunc(ctx.Operation().Parameters, func(p *huma.Param) bool { return p.In == "query" && p.Name == name }) {
			return name, false
		}
	}
	return "", true
}

func requestID(ctx context.Context) string {
	id, _ := ctx.Value(keyRequestID).(string)
	return id
}

// requestPath is what was asked for, with the query: which page or search it was is part of what was read.
func requestPath(ctx context.Context) string {
	path, _ := ctx.Value(keyPath).(string)
	return path
}

// saneID is a request id that a proxy or a client may give: long enough to tell requests apart, and nothing but letters.
var saneID = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{7,63}$`)

// identify gives every request an id: the one that it came with, so that one id leads through the logs of everything on
// the way, or one of ours where that has none or looks odd. It finds lines and proves nothing.
func (a *API) identify(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		id := r.Header.Get("X-Request-Id")
		if !saneID.MatchString(id) || len(r.Header.Values("X-Request-Id")) > 1 {
			id = a.NewID().String()
		}
		w.Header().Set("X-Request-Id", id)
		ctx := context.WithValue(context.WithValue(r.Context(), keyRequestID, id), keyPath, r.URL.RequestURI())
		next.ServeHTTP(w, r.WithContext(ctx))
	})
}

// logRequests writes one line a request: the route's pattern and never the query, which may hold what people search for.
func (a *API) logRequests(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		began := a.Now()
		ww := middleware.NewWrapResponseWriter(w, r.ProtoMajor)
		next.ServeHTTP(ww, r)
		took, route := a.Now().Sub(began), chi.RouteContext(r.Context()).RoutePattern()
		if a.Observe != nil {
			a.Observe(r.Method, route, ww.Status(), took)
		}
		a.Log.LogAttrs(r.Context(), slog.LevelInfo, "request", slog.String("request_id", requestID(r.Context())),
			slog.String("method", r.Method), slog.String("route", route),
			slog.Int("status", ww.Status()), slog.Int("bytes", ww.BytesWritten()), slog.Duration("took", took))
	})
}

// recover answers a panic with a problem and logs where it came from.
func (a *API) recover(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			if p := recover(); p != nil {
				if p == http.ErrAbortHandler {
					panic(p)
				}
				a.Log.ErrorContext(r.Context(), "panic", "request_id", requestID(r.Context()), "panic", p, "stack", string(debug.Stack()))
				a.write(w, r, http.StatusInternalServerError, fault.New(0, "internal"))
			}
		}()
		next.ServeHTTP(w, r)
	})
}

// readable refuses an address that holds what no text has: the database would not take it.
func (a *API) readable(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		query, err := url.ParseQuery(r.URL.RawQuery)
		texts := []string{r.URL.Path}
		for name, values := range query {
			texts = append(append(texts, name), values...)
		}
		if err != nil || slices.ContainsFunc(texts, func(s string) bool { return !utf8.ValidString(s) || strings.ContainsRune(s, 0) }) {
			a.write(w, r, http.StatusUnprocessableEntity, fault.New(fault.Invalid, "address_unreadable"))
			return
		}
		next.ServeHTTP(w, r)
	})
}

// secure sets the headers that every answer carries.
func secure(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'")
		h.Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}
