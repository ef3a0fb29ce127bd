package api

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"maps"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humachi"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// keyHeader is the header of the IETF's draft-ietf-httpapi-idempotency-key-header (a draft of 2025, second-hand).
const keyHeader = "Idempotency-Key"

// longestKey is the greatest length of a key, in characters.
const longestKey = 200

// takeKey lets an operation be sent again under a key of the sender's. What has an id of the client's own is sent with PUT
// and needs none, so that only POST takes it, and nobody has to give one. Signing in takes none: what it would have to keep
// are a password and the secret that it opened, and a session too many ends by itself.
func (a *API) takeKey(op *huma.Operation) {
	longest := longestKey + 2
	op.Middlewares = append(op.Middlewares, a.once)
	op.Parameters = append(op.Parameters, &huma.Param{Name: keyHeader, In: "header", Schema: &huma.Schema{Type: huma.TypeString, MaxLength: &longest},
		Description: "A text in quotation marks that nobody else would choose, such as a UUID. The same request under the same key, by the same sign-in, takes effect once " +
			"and is answered the same again for at least a day; another request under it is refused (422), and the same while it is at work (409 with Retry-After)."})
}

// answerKept is an answer as it is kept, without what every answer carries.
type answerKept struct {
	Status int         `json:"status"`
	Header http.Header `json:"header"`
	Body   []byte      `json:"body"`
}

// once does a request that comes with a key a single time. Faults are answers like others; what fails for a reason that
// passes (5xx, 429) is not kept.
func (a *API) once(ctx huma.Context, next func(huma.Context)) {
	r, w := humachi.Unwrap(ctx)
	keys := r.Header.Values(keyHeader)
	if len(keys) == 0 {
		next(ctx)
		return
	}
	key, ok := readKey(keys)
	if !ok {
		p := newProblem(r.Context(), a.Words, http.StatusBadRequest, fault.List{fault.New(fault.Invalid, "idempotency_key_unreadable", "most", longestKey)})
		p.Errors = []MemberFault{{Code: p.Code, Detail: p.Detail, Parameter: keyHeader}}
		send(w, p)
		return
	}
	body, err := io.ReadAll(io.LimitReader(r.Body, ctx.Operation().MaxBodyBytes+1))
	rest := r.Body
	r.Body = readCloser{io.MultiReader(bytes.NewReader(body), rest), rest}
	if err != nil || int64(len(body)) > ctx.Operation().MaxBodyBytes { // refused by whoever reads it, and before it has any effect
		next(humachi.NewContext(ctx.Operation(), r, w))
		return
	}
	who := r.Context().Value(keyAccess).(access)
	kept, claim, err := a.People.BeginOnce(r.Context(), who.actor, identity.Once{Key: key, Secret: who.secret, Method: r.Method, Address: r.URL.RequestURI(), Body: body})
	if err != nil {
		a.refuse(w, r, err)
		return
	}
	if claim == nil {
		a.answerAgain(w, r, kept)
		return
	}
	a.answerFirst(w, r, claim, func(w http.ResponseWriter) { next(humachi.NewContext(ctx.Operation(), r, w)) })
}

type readCloser struct {
	io.Reader
	io.Closer
}

// readKey reads a string of RFC 8941: printable ASCII in quotation marks, of which it holds none but escaped ones.
func readKey(values []string) (key string, ok bool) {
	if len(values) != 1 {
		return "", false
	}
	text := strings.Trim(values[0], " \t")
	if len(text) < 3 || text[0] != '"' || text[len(text)-1] != '"' {
		return "", false
	}
	var b strings.Builder
	inner := text[1 : len(text)-1]
	for i := 0; i < len(inner); i++ {
		c := inner[i]
		if c == '\\' {
			if i++; i == len(inner) || inner[i] != '"' && inner[i] != '\\' {
				return "", false
			}
			c = inner[i]
		} else if c == '"' || c < ' ' || c > '~' {
			return "", false
		}
		b.WriteByte(c)
	}
	return b.String(), b.Len() <= longestKey
}

// answerFirst does the request, keeps what is answered, and answers. What was done stays done even if the asker has gone: the
// answer is kept without them.
func (a *API) answerFirst(w http.ResponseWriter, r *http.Request, claim *identity.Claim, do func(http.ResponseWriter)) {
	rec := &recorder{header: http.Header{}, status: http.StatusOK}
	done := false
	defer func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(r.Context()), 10*time.Second)
		defer cancel()
		var err error
		if done && rec.status < http.StatusInternalServerError && rec.status != http.StatusTooManyRequests {
			var answer []byte
			if answer, err = json.Marshal(answerKept{rec.status, rec.header, rec.body.Bytes()}); err == nil {
				err = a.People.EndOnce(ctx, claim, answer)
			}
		} else { // also when it panicked
			err = a.People.DropOnce(ctx, claim)
		}
		if err != nil {
			a.Log.ErrorContext(ctx, "the answer under a key is not kept", "request_id", requestID(ctx), "err", err)
		}
		if done {
			rec.answer(w)
		}
	}()
	do(rec)
	done = true
}

func (a *API) answerAgain(w http.ResponseWriter, r *http.Request, kept []byte) {
	var again answerKept
	if err := json.Unmarshal(kept, &again); err != nil {
		a.refuse(w, r, err)
		return
	}
	rec := &recorder{header: again.Header, status: again.Status}
	rec.body.Write(again.Body)
	rec.answer(w)
}

// recorder holds an answer back.
type recorder struct {
	header http.Header
	status int
	body   bytes.Buffer
}

func (r *recorder) Header() http.Header         { return r.header }
func (r *recorder) WriteHeader(status int)      { r.status = status }
func (r *recorder) Write(b []byte) (int, error) { return r.body.Write(b) }

func (r *recorder) answer(w http.ResponseWriter) {
	maps.Copy(w.Header(), r.header)
	w.WriteHeader(r.status)
	_, _ = w.Write(r.body.Bytes())
}
