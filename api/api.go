package api

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"math"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humachi"
	"github.com/go-chi/chi/v5"
	"github.com/go-chi/chi/v5/middleware"
	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/words"
)

// Rooms are what the face stands on.
type Rooms struct {
	Fleet   *fleet.Fleet
	People  *identity.People
	Words   *words.Catalogue
	Log     *slog.Logger
	Now     func() time.Time
	NewID   func() uuid.UUID
	Ready   func(context.Context) error                                // nil error: requests can be served
	Observe func(method, route string, status int, took time.Duration) // nil: nobody counts
	Version string
}

// API is the HTTP face.
type API struct {
	Rooms
	mux  *chi.Mux
	huma huma.API
}

// New registers every operation.
func New(rooms Rooms) *API {
	a := &API{Rooms: rooms, mux: chi.NewMux()}
	adaptHuma(rooms.Words)
	a.mux.Use(a.identify, a.logRequests, a.recover, secure, http.NewCrossOriginProtection().Handler, a.readable, middleware.GetHead, a.authenticate)
	a.mux.NotFound(a.plain(fault.New(fault.NotFound, "route_not_found")))
	a.mux.MethodNotAllowed(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Allow", strings.Join(a.methodsOf(r.URL), ", ")) // RFC 9110, 15.5.6
		a.write(w, r, http.StatusMethodNotAllowed, fault.New(fault.Invalid, "method_not_allowed"))
	})
	a.huma = humachi.New(a.mux, config(rooms.Version))
	a.health()
	a.sessions()
	a.people()
	a.customers()
	a.sites()
	a.parties()
	a.codes()
	a.catalogue()
	a.instruments()
	a.doors()
	a.imports()
	a.components()
	a.devices()
	a.findings()
	a.decisions()
	a.trends()
	a.mendTimes()
	a.plans()
	a.workOrders()
	a.rounds()
	a.forecast()
	a.closedDays()
	a.jobRuns()
	a.jobs()
	a.visits()
	a.oddities()
	a.inspectionForms()
	a.photos()
	a.cases()
	a.notices()
	a.ladders()
	a.watches()
	a.letters()
	a.deliveries()
	a.reports()
	a.rulePacks()
	a.comparisons()
	a.advices()
	a.whatIfs()
	a.settingsSheets()
	a.walkTests()
	a.diagnoses()
	a.backups()
	a.webhooks()
	a.calendarFeeds()
	return a
}

// methodsOf gives the methods that an address takes.
func (a *API) methodsOf(u *url.URL) (list []string) {
	for _, method := range []string{http.MethodGet, http.MethodPut, http.MethodPost, http.MethodDelete} {
		if a.mux.Match(chi.NewRouteContext(), method, cmp.Or(u.RawPath, u.Path)) {
			list = append(list, method)
			if method == http.MethodGet {
				list = append(list, http.MethodHead)
			}
		}
	}
	return list
}

// Handler serves the face.
func (a *API) Handler() http.Handler { return a.mux }

// OpenAPI is the contract, generated from the registered operations.
func (a *API) OpenAPI() *huma.OpenAPI { return a.huma.OpenAPI() }

func config(version string) huma.Config {
	c := huma.DefaultConfig("Lintel", version)
	c.Info.Description = "Register, calculator, calendar and proof for a fleet of automatic pedestrian doors. " +
		"Ids are UUIDv7 made by the client; PUT the same again is success. Values are SI, the unit is the suffix of the name. " +
		"Lintel computes and records; it certifies nothing."
	c.DocsPath, c.SchemasPath = "", ""
	c.CreateHooks = nil // its $schema links would be built from the request's Host header
	c.Servers = []*huma.Server{{URL: "/"}}
	c.Formats = map[string]huma.Format{
		"application/json": {Marshal: huma.DefaultJSONFormat.Marshal, Unmarshal: unmarshal},
		"json":             {Marshal: huma.DefaultJSONFormat.Marshal, Unmarshal: unmarshal},
	}
	c.Components.SecuritySchemes = map[string]*huma.SecurityScheme{
		"bearer": {Type: "http", Scheme: "bearer", Description: "A session's or a token's secret."},
	}
	return c
}

// unmarshal refuses what encoding/json lets pass and a record must not hold: duplicate members, NUL characters,
// lone surrogates, numbers that would change on the way, nesting without end.
func unmarshal(data []byte, v any) error {
	if _, err := seal.Canonical(data, math.MaxInt); err != nil { // each operation has bounded the size before
		var f *seal.Fault
		if errors.As(err, &f) {
			return unreadable{f.Pointer, f.Reason}
		}
		return err
	}
	return json.Unmarshal(data, v)
}

// adaptHuma sets what huma keeps in package variables, once for the process, before any operation is registered.
var adaptHuma = func() func(*words.Catalogue) {
	var once sync.Once
	return func(catalogue *words.Catalogue) {
		once.Do(func() {
			huma.DefaultArrayNullable = false
			huma.ValidateStrictCasing = true
			speakInCodes()
			huma.NewError = func(status int, message string, _ ...error) huma.StatusError { // also the schema of every error
				return &Problem{Title: http.StatusText(status), Status: status, Detail: message}
			}
			huma.NewErrorWithContext = func(ctx huma.Context, status int, message string, errs ...error) huma.StatusError {
				return bodyProblem(ctx.Context(), catalogue, status, message, errs)
			}
		})
	}
}()

// maxBody is the greatest size of a JSON body, in bytes.
const maxBody = 256 << 10

// operation describes one operation. Every one names the action that it needs.
func operation(id, method, path string, action identity.Action, summary string) huma.Operation {
	op := huma.Operation{
		OperationID: id, Method: method, Path: path, Summary: summary, MaxBodyBytes: maxBody,
		Metadata: map[string]any{"action": action},
		Security: []map[string][]string{{"bearer": {}}},
	}
	if action == actPublic {
		op.Security = nil
	}
	return op
}

// actPublic marks the few operations that need nobody: sign-in and health.
const actPublic identity.Action = "public"

// add registers an operation. Types that are embedded in its input must be exported: huma passes over others in
// silence. In this order: who is asking and may
// they, before anything is read; then the handler's steps; then one border for errors.
func add[I, O any](a *API, op huma.Operation, handle func(context.Context, identity.Actor, *I) (*O, error)) {
	action := op.Metadata["action"].(identity.Action)
	op.Middlewares = append(op.Middlewares, a.admit(action))
	if op.Method == http.MethodPost && action != actPublic {
		a.takeKey(&op)
	}
	if name := chosenID(op); name != "" {
		op.Middlewares = append(op.Middlewares, a.wellChosen(name))
	}
	huma.Register(a.huma, op, func(ctx context.Context, in *I) (*O, error) {
		by, err := a.allow(ctx, action)
		if err != nil {
			return nil, a.problem(ctx, err)
		}
		out, err := handle(ctx, by, in)
		if err != nil {
			return nil, a.problem(ctx, err)
		}
		if by.Role == identity.Auditor {
			if err := a.People.RecordRead(ctx, by, op.OperationID, requestPath(ctx), requestID(ctx)); err != nil {
				return nil, a.problem(ctx, err)
			}
		}
		return out, nil
	})
}

func (a *API) health() {
	a.mux.Get("/healthz", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		_, _ = w.Write([]byte("alive\n"))
	})
	a.mux.Get("/readyz", func(w http.ResponseWriter, r *http.Request) {
		ctx, cancel := context.WithTimeout(r.Context(), 2*time.Second)
		defer cancel()
		if err := a.Ready(ctx); err != nil {
			a.Log.WarnContext(r.Context(), "not ready", "err", err)
			a.write(w, r, http.StatusServiceUnavailable, fault.New(fault.Unavailable, "not_ready"))
			return
		}
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		_, _ = w.Write([]byte("ready\n"))
	})
}
