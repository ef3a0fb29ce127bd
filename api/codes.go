package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// codeBody holds a code on its way in. It is taken out of here at once: see fleet.Code.
type codeBody struct {
	Code string `json:"code" minLength:"1" maxLength:"64" writeOnly:"true" doc:"Kept encrypted; given back by the reveal operation only."`
}

type keySafeCodePutIn struct {
	SitePath
	Body codeBody
}

type lockCodePutIn struct {
	ComponentPath
	Body codeBody
}

// CodeSet is who set a code and when.
type CodeSet struct {
	SetAt time.Time `json:"set_at"`
	SetBy uuid.UUID `json:"set_by" format:"uuid"`
}

type codeSetOut struct {
	Body CodeSet
}

type codeRevealOut struct {
	Body struct {
		Code string `json:"code" doc:"In clear. That it was asked for is on record."`
		CodeSet
	}
}

func (a *API) codes() {
	add(a, operation("key-safe-code-put", http.MethodPut, "/v1/sites/{site_id}/key-safe-code", identity.ActSetCode, "Set the code of a site's key safe"), a.keySafeCodePut)
	add(a, operation("key-safe-code-reveal", http.MethodPost, "/v1/sites/{site_id}/key-safe-code/reveal", identity.ActRevealCode, "Reveal the code of a site's key safe, on record"), a.keySafeCodeReveal)
	add(a, operation("lock-code-put", http.MethodPut, "/v1/components/{component_id}/lock-code", identity.ActSetCode, "Set the lock code of a component"), a.lockCodePut)
	add(a, operation("lock-code-reveal", http.MethodPost, "/v1/components/{component_id}/lock-code/reveal", identity.ActRevealCode, "Reveal the lock code of a component, on record"), a.lockCodeReveal)
}

func (a *API) keySafeCodePut(ctx context.Context, by identity.Actor, in *keySafeCodePutIn) (*codeSetOut, error) {
	return a.codeSet(ctx, by, fleet.KeySafeOf(in.SiteID), in.Body)
}

func (a *API) lockCodePut(ctx context.Context, by identity.Actor, in *lockCodePutIn) (*codeSetOut, error) {
	return a.codeSet(ctx, by, fleet.LockOf(in.ComponentID), in.Body)
}

func (a *API) codeSet(ctx context.Context, by identity.Actor, subject fleet.CodeSubject, body codeBody) (*codeSetOut, error) {
	set, err := a.Fleet.SetCode(ctx, by, subject, fleet.NewCode(body.Code))
	if err != nil {
		return nil, err
	}
	return &codeSetOut{Body: CodeSet{set.SetAt, set.SetBy}}, nil
}

func (a *API) keySafeCodeReveal(ctx context.Context, by identity.Actor, in *SitePath) (*codeRevealOut, error) {
	return a.codeReveal(ctx, by, fleet.KeySafeOf(in.SiteID))
}

func (a *API) lockCodeReveal(ctx context.Context, by identity.Actor, in *ComponentPath) (*codeRevealOut, error) {
	return a.codeReveal(ctx, by, fleet.LockOf(in.ComponentID))
}

func (a *API) codeReveal(ctx context.Context, by identity.Actor, subject fleet.CodeSubject) (*codeRevealOut, error) {
	code, set, err := a.Fleet.RevealCode(ctx, by, subject, requestID(ctx))
	if err != nil {
		return nil, err
	}
	out := &codeRevealOut{}
	out.Body.Code, out.Body.CodeSet = code.Reveal(), CodeSet{set.SetAt, set.SetBy}
	return out, nil
}
