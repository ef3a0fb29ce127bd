package console

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"net/url"
	"runtime/debug"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/words"
)

// request is one request and who makes it.
type request struct {
	*http.Request
	id     string // ours, for the log and for people who ask for help
	by     identity.Actor
	texts  words.Printer
	writer http.ResponseWriter
	cookie *http.Cookie // to set with the answer
}

// answer is what a handler gives back.
type answer interface {
	send(c *Console, q *request) error
}

// maxForm is the greatest size of a form of texts, in bytes.
const maxForm = 256 << 10

// most is the greatest size of what is sent to a route, in bytes.
func (r route) most() int64 {
	switch r.pattern {
	case entryRoute:
		return rulebook.MostForceBytes + maxForm
	case photoRoute:
		return fleet.MostPhotoBytes + maxForm
	case importRoute:
		return mostList*4/3 + maxForm // it comes back in base64
	case packRoute:
		return 4*fleet.MostPackText + maxForm
	}
	return maxForm
}

// serve makes a handler of a route: who asks, may they, the route's steps, one border for errors.
func (c *Console) serve(r route) http.HandlerFunc {
	return func(w http.ResponseWriter, hr *http.Request) {
		q := &request{Request: hr, id: w.Header().Get("X-Request-Id"), writer: w, texts: c.Words.Printer("en", words.Metric)}
		err := c.admit(q, r)
		if err == nil {
			var out answer
			if out, err = r.handle(hr.Context(), q); err == nil {
				err = c.recordRead(q, r)
			}
			if err == nil {
				err = c.send(q, out)
			}
		}
		if err != nil {
			c.refuse(q, err)
		}
	}
}

// admit finds out who asks and whether they may, before anything of the request's body is read.
func (c *Console) admit(q *request, r route) error {
	action := r.action
	if !readable(q.URL) {
		return fault.New(fault.Invalid, "address_unreadable")
	}
	by, err := c.authenticate(q)
	if err != nil && (action != anybody || len(fault.Of(err)) == 0) {
		return err
	}
	if err == nil {
		q.by, q.texts = by, c.Words.Printer(by.Language, words.Units(by.Units))
	}
	if action == anybody || by.May(action) {
		q.Body = http.MaxBytesReader(q.writer, q.Body, r.most())
		return nil
	}
	if by.MustChangePassword {
		return fault.New(fault.Forbidden, "password_change_needed")
	}
	return fault.New(fault.Forbidden, "not_allowed", "action", string(action))
}

// recordRead writes down what an auditor read.
func (c *Console) recordRead(q *request, r route) error {
	if q.by.Role != identity.Auditor || r.action == identity.ActSelf || r.action == anybody {
		return nil
	}
	return c.People.RecordRead(q.Context(), q.by, r.pattern, q.URL.RequestURI(), q.id)
}

func (c *Console) send(q *request, out answer) error {
	if q.cookie != nil {
		http.SetCookie(q.writer, q.cookie)
	}
	return out.send(c, q)
}

// refuse is the one border where errors become pages.
func (c *Console) refuse(q *request, err error) {
	faults := fault.Of(err)
	if len(faults) == 0 {
		var tooLarge *http.MaxBytesError
		switch {
		case errors.As(err, &tooLarge):
			faults = fault.List{fault.New(fault.TooLarge, "body_too_large")}
		case q.Context().Err() != nil:
			c.Log.WarnContext(q.Context(), "request ended early", "request_id", q.id, "err", err)
			faults = fault.List{fault.New(fault.Unavailable, "out_of_time")}
		default:
			c.Log.ErrorContext(q.Context(), "internal", "request_id", q.id, "err", err)
			faults = fault.List{fault.New(0, "internal")}
		}
	}
	var out answer
	switch f := faults[0]; {
	case f.Kind == fault.Unauthenticated && q.Method == http.MethodGet:
		out = seeOther("/sign-in?next=" + url.QueryEscape(q.URL.RequestURI()))
	case f.Kind == fault.Unauthenticated:
		out = signInPage("/", newForm(nil).refused(err), http.StatusUnauthorized)
	case f.Code == "password_change_needed":
		out = seeOther("/password")
	default:
		out = page{name: "fault", status: statusOf(f.Kind), data: faultPage{Faults: faults, RequestID: q.id}}
	}
	if err := c.send(q, out); err != nil {
		c.Log.ErrorContext(q.Context(), "no page", "request_id", q.id, "err", err)
		http.Error(q.writer, q.texts.T("problem.internal"), http.StatusInternalServerError)
	}
}

// faultPage is what a page says that there is instead of what was asked for.
type faultPage struct {
	Faults    fault.List
	RequestID string
}

func (c *Console) nowhere(context.Context, *request) (answer, error) {
	return nil, fault.New(fault.NotFound, "route_not_found")
}

func statusOf(k fault.Kind) int {
	status, known := map[fault.Kind]int{
		fault.Invalid: http.StatusUnprocessableEntity, fault.Unauthenticated: http.StatusUnauthorized, fault.Forbidden: http.StatusForbidden,
		fault.NotFound: http.StatusNotFound, fault.Conflict: http.StatusConflict, fault.PreconditionFailed: http.StatusPreconditionFailed,
		fault.PreconditionRequired: http.StatusPreconditionRequired, fault.TooLarge: http.StatusRequestEntityTooLarge,
		fault.TooMany: http.StatusTooManyRequests, fault.Unavailable: http.StatusServiceUnavailable,
	}[k]
	if !known {
		return http.StatusInternalServerError
	}
	return status
}

// seeOther sends the browser on, with GET.
type seeOther string

func (to seeOther) send(_ *Console, q *request) error {
	http.Redirect(q.writer, q.Request, string(to), http.StatusSeeOther)
	return nil
}

// file is bytes to be shown or kept by the browser.
type file struct {
	mediaType, name string
	bytes           []byte
}

func (f file) send(_ *Console, q *request) error {
	h := q.writer.Header()
	h.Set("Content-Type", f.mediaType)
	h.Set("Content-Disposition", "inline; filename="+strconv.Quote(f.name))
	h.Set("Content-Length", strconv.Itoa(len(f.bytes)))
	_, err := q.writer.Write(f.bytes)
	return err
}

// pathID reads an id in the path. One that is none is not there.
func (q *request) pathID(name string) (uuid.UUID, error) {
	id, err := uuid.Parse(q.PathValue(name))
	if err != nil {
		return id, fault.New(fault.NotFound, "route_not_found")
	}
	return id, nil
}

// readable refuses an address that holds what no text has: the database would not take it.
func readable(u *url.URL) bool {
	query, err := url.QueryUnescape(u.RawQuery)
	text := u.Path + query
	return err == nil && utf8.ValidString(text) && !strings.ContainsRune(text, 0)
}

// policy is the content security policy of every page: nothing from elsewhere, no script, no inline style.
const policy = "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"

// around gives every request an id, a line in the log, and an answer whatever happens; and refuses what other sites send.
func (c *Console) around(next http.Handler) http.Handler {
	foreign := http.NewCrossOriginProtection()
	foreign.SetDenyHandler(c.serve(route{pattern: "cross-origin", action: anybody, handle: func(context.Context, *request) (answer, error) {
		return nil, fault.New(fault.Forbidden, "cross_origin")
	}}))
	guarded := foreign.Handler(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		id := c.NewID().String()
		h.Set("X-Request-Id", id)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Content-Security-Policy", policy)
		h.Set("Cache-Control", "no-store")
		began, counted := c.Now(), &counting{ResponseWriter: w, status: http.StatusOK}
		defer func() {
			if p := recover(); p != nil {
				if p == http.ErrAbortHandler {
					panic(p)
				}
				c.Log.ErrorContext(r.Context(), "panic", "request_id", id, "panic", p, "stack", string(debug.Stack()))
				c.refuse(&request{Request: r, id: id, writer: counted, texts: c.Words.Printer("en", words.Metric)}, errors.New("panic"))
			}
			c.logRequest(r, id, counted, c.Now().Sub(began))
		}()
		guarded.ServeHTTP(counted, r)
	})
}

// logRequest writes one line a request: the route's pattern and never the query, which may hold what people search for.
func (c *Console) logRequest(r *http.Request, id string, w *counting, took time.Duration) {
	_, route, found := strings.Cut(r.Pattern, " ")
	if !found {
		route = r.Pattern
	}
	if c.Observe != nil {
		c.Observe(r.Method, route, w.status, took)
	}
	c.Log.LogAttrs(r.Context(), slog.LevelInfo, "request", slog.String("request_id", id), slog.String("method", r.Method), slog.String("route", route),
		slog.Int("status", w.status), slog.Int("bytes", w.bytes), slog.Duration("took", took))
}

// counting remembers what was answered.
type counting struct {
	http.ResponseWriter
	status, bytes int
}

// WriteHeader implements http.ResponseWriter.
func (w *counting) WriteHeader(status int) {
	w.status = status
	w.ResponseWriter.WriteHeader(status)
}

// Write implements http.ResponseWriter.
func (w *counting) Write(b []byte) (int, error) {
	n, err := w.ResponseWriter.Write(b)
	w.bytes += n
	return n, err
}
