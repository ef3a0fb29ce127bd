package api

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/words"
)

// Problem is the answer to everything that fails: RFC 9457 problem details with our stable code.
type Problem struct {
	Type      string        `json:"type,omitempty" format:"uri-reference" doc:"About:blank: the code tells more."`
	Title     string        `json:"title" doc:"The status in words."`
	Status    int           `json:"status"`
	Detail    string        `json:"detail" doc:"What is wrong, for people."`
	Code      string        `json:"code" doc:"What is wrong, for programs; stable."`
	RequestID string        `json:"request_id,omitempty" doc:"Quote it when you ask for help."`
	Errors    []MemberFault `json:"errors,omitempty" doc:"Each member at fault."`

	wait time.Duration // 0: not known
}

// MemberFault is what is wrong with one member of a request.
type MemberFault struct {
	Code      string `json:"code"`
	Detail    string `json:"detail"`
	Pointer   string `json:"pointer,omitempty" doc:"RFC 6901 pointer into the body, as a fragment."`
	Parameter string `json:"parameter,omitempty" doc:"Name of the path, query or header parameter."`
}

// Error implements error.
func (p *Problem) Error() string { return p.Code + ": " + p.Detail }

// GetStatus tells huma the status.
func (p *Problem) GetStatus() int { return p.Status }

// ContentType makes JSON answers problem+json.
func (p *Problem) ContentType(ct string) string {
	if ct == "application/json" {
		return "application/problem+json"
	}
	return ct
}

func statusOf(k fault.Kind) int {
	switch k {
	case fault.Invalid:
		return http.StatusUnprocessableEntity
	case fault.Unauthenticated:
		return http.StatusUnauthorized
	case fault.Forbidden:
		return http.StatusForbidden
	case fault.NotFound:
		return http.StatusNotFound
	case fault.Conflict:
		return http.StatusConflict
	case fault.PreconditionFailed:
		return http.StatusPreconditionFailed
	case fault.PreconditionRequired:
		return http.StatusPreconditionRequired
	case fault.TooLarge:
		return http.StatusRequestEntityTooLarge
	case fault.TooMany:
		return http.StatusTooManyRequests
	case fault.Unavailable:
		return http.StatusServiceUnavailable
	}
	return http.StatusInternalServerError
}

// problem is the one border where errors become answers: a fault is told, anything else is logged and the
// outside gets a fixed sentence.
func (a *API) problem(ctx context.Context, err error) error {
	faults := fault.Of(err)
	if len(faults) == 0 {
		var ours *Problem
		switch {
		case errors.As(err, &ours):
			return ours
		case ctx.Err() != nil:
			a.Log.WarnContext(ctx, "request ended early", "request_id", requestID(ctx), "err", err)
			faults = fault.List{fault.New(fault.Unavailable, "out_of_time")}
		default:
			a.Log.ErrorContext(ctx, "internal", "request_id", requestID(ctx), "err", err)
			return newProblem(ctx, a.Words, http.StatusInternalServerError, fault.List{fault.New(0, "internal")})
		}
	}
	if cause := errors.Unwrap(faults[0]); cause != nil {
		a.Log.InfoContext(ctx, "refused", "request_id", requestID(ctx), "code", faults[0].Code, "err", cause)
	}
	p := newProblem(ctx, a.Words, statusOf(faults[0].Kind), faults)
	if headers := headersOf(p); headers != nil {
		return huma.ErrorWithHeaders(p, headers)
	}
	return p
}

// headersOf gives what a problem says in headers besides.
func headersOf(p *Problem) http.Header {
	switch {
	case p.wait > 0:
		return http.Header{"Retry-After": {strconv.Itoa(int(math.Ceil(p.wait.Seconds())))}}
	case p.Status == http.StatusServiceUnavailable:
		return http.Header{"Retry-After": {"2"}}
	case p.Status == http.StatusUnauthorized: // RFC 9110, 15.5.2
		return http.Header{"Www-Authenticate": {"Bearer"}}
	}
	return nil
}

func newProblem(ctx context.Context, catalogue *words.Catalogue, status int, faults fault.List) *Problem {
	texts := catalogue.Printer("en", words.Metric)
	p := &Problem{Title: http.StatusText(status), Status: status, RequestID: requestID(ctx),
		Code: faults[0].Code, Detail: faultText(texts, faults[0]), wait: faults[0].Wait}
	for _, f := range faults {
		if f.Pointer != "" {
			p.Errors = append(p.Errors, MemberFault{Code: f.Code, Detail: faultText(texts, f), Pointer: "#" + f.Pointer})
		}
	}
	if len(faults) > 1 {
		p.Code, p.Detail = "body_invalid", texts.T("problem.body_invalid", "count", len(faults))
	}
	return p
}

// faultText is what a fault says to people. Lengths that cannot be read have their texts beside the lengths.
func faultText(texts words.Printer, f *fault.Error) string {
	if why, ok := strings.CutPrefix(f.Code, "length_"); ok && f.Code != "length_twice" {
		return texts.T("length." + why)
	}
	return texts.T("problem."+f.Code, f.Args...)
}

// bodyProblem turns what huma noticed about the shape of a request into a problem, without the values.
func bodyProblem(ctx context.Context, catalogue *words.Catalogue, status int, message string, errs []error) huma.StatusError {
	texts := catalogue.Printer("en", words.Metric)
	code := map[int]string{
		http.StatusBadRequest: "body_unreadable", http.StatusRequestEntityTooLarge: "body_too_large",
		http.StatusUnsupportedMediaType: "media_type_unsupported", http.StatusNotAcceptable: "not_acceptable",
		http.StatusUnprocessableEntity: "body_invalid", http.StatusRequestTimeout: "out_of_time",
	}[status]
	if code == "" {
		status, code, errs = http.StatusInternalServerError, "internal", nil
	}
	if status == http.StatusUnsupportedMediaType {
		errs = nil // the type is no member
	}
	p := &Problem{Title: http.StatusText(status), Status: status, RequestID: requestID(ctx), Code: code,
		Detail: texts.T("problem."+code, "count", len(errs))}
	for _, err := range errs {
		p.Errors = append(p.Errors, memberFault(texts, code, err))
	}
	if inParameters(p.Errors) {
		p.Code, p.Detail = "parameter_invalid", texts.T("problem.parameter_invalid", "count", len(errs))
	}
	return p
}

func inParameters(faults []MemberFault) bool {
	return len(faults) > 0 && !slices.ContainsFunc(faults, func(m MemberFault) bool { return m.Parameter == "" })
}

// memberFault reads one of huma's findings, none of whose own words and values comes back.
func memberFault(texts words.Printer, code string, err error) MemberFault {
	var d *huma.ErrorDetail
	if !errors.As(err, &d) {
		return MemberFault{Code: code, Detail: texts.T("problem." + code)}
	}
	if u, ok := readUnreadable(d.Message); ok {
		return MemberFault{Code: u.code(), Detail: texts.T("problem." + u.code()), Pointer: "#" + u.Pointer}
	}
	where, rest, _ := strings.Cut(d.Location, ".")
	kind, detail, bound, known := readShape(texts, d.Message)
	if where != "body" {
		if !known {
			kind, detail = "parameter_unreadable", texts.T("problem.parameter_unreadable")
		}
		return MemberFault{Code: kind, Detail: detail, Parameter: rest}
	}
	if !known {
		kind, detail = "member_invalid", texts.T("problem.member_invalid")
	}
	pointer := "#" + pointerOf(rest)
	if kind == "member_missing" { // it stands where it is missing
		pointer += "/" + bound
	}
	return MemberFault{Code: kind, Detail: detail, Pointer: pointer}
}

// unreadable is why a body cannot be read and kept as it is. huma keeps nothing of an error but its text, so this is
// what the text holds.
type unreadable struct {
	Pointer, Reason string
}

// Error implements error.
func (u unreadable) Error() string {
	text, _ := json.Marshal(u)
	return string(text)
}

func readUnreadable(text string) (u unreadable, ok bool) {
	return u, strings.HasPrefix(text, "{") && json.Unmarshal([]byte(text), &u) == nil
}

// code is the reason for programs.
func (u unreadable) code() string {
	for _, known := range []struct{ reason, code string }{
		{"is there twice", "member_twice"}, {"holds a NUL", "text_nul"}, {"holds a lone surrogate", "text_surrogate"}, {"is not valid UTF-8", "text_not_utf8"},
		{"is out of a double's range", "number_not_exact"}, {"is over 2^53", "number_not_exact"}, {"has more digits", "number_not_exact"},
		{"is nested deeper", "nested_too_deep"},
	} {
		if strings.HasPrefix(u.Reason, known.reason) {
			return known.code
		}
	}
	return "not_json"
}

var locationStep = regexp.MustCompile(`[^.\[\]]+`)

// pointerOf turns huma's `leaves[0].width_m` into /leaves/0/width_m.
func pointerOf(location string) string {
	var b strings.Builder
	for _, step := range locationStep.FindAllString(location, -1) {
		b.WriteString("/" + strings.NewReplacer("~", "~0", "/", "~1").Replace(step))
	}
	return b.String()
}

// plain answers a fault where no operation is involved.
func (a *API) plain(f *fault.Error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) { a.write(w, r, statusOf(f.Kind), f) }
}

func (a *API) write(w http.ResponseWriter, r *http.Request, status int, f *fault.Error) {
	send(w, newProblem(r.Context(), a.Words, status, fault.List{f}))
}

// refuse answers an error before there is an operation at work.
func (a *API) refuse(w http.ResponseWriter, r *http.Request, err error) {
	var p *Problem
	errors.As(a.problem(r.Context(), err), &p) // it is one, perhaps within headers
	send(w, p)
}

func send(w http.ResponseWriter, p *Problem) {
	w.Header().Set("Content-Type", "application/problem+json")
	for name, values := range headersOf(p) {
		w.Header()[name] = values
	}
	w.WriteHeader(p.Status)
	_ = json.NewEncoder(w).Encode(p)
}
