package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/identity"
)

type PersonPath struct {
	PersonID uuid.UUID `path:"person_id" format:"uuid"`
}

type PersonBody struct {
	Email     string      `json:"email" minLength:"3" maxLength:"254"`
	Name      string      `json:"name" minLength:"1" maxLength:"200"`
	Role      string      `json:"role" enum:"dispatcher,technician,support,owner_agent,auditor,administrator"`
	ScopeKind string      `json:"scope_kind" enum:"all,customers,sites" doc:"Staff see all; owners, agents and auditors a set of customers or of sites."`
	Customers []uuid.UUID `json:"customers,omitempty" maxItems:"1000"`
	Sites     []uuid.UUID `json:"sites,omitempty" maxItems:"1000"`
	ExpiresAt *time.Time  `json:"expires_at,omitempty" doc:"An auditor must have one."`
}

type PersonItem struct {
	PersonID uuid.UUID `json:"person_id" format:"uuid"`
	PersonBody
	Disabled           bool `json:"disabled"`
	MustChangePassword bool `json:"must_change_password"`
	Version            int  `json:"version"`
}

func newPersonItem(p identity.Person) PersonItem {
	return PersonItem{PersonID: p.PersonID, Disabled: p.DisabledAt != nil, MustChangePassword: p.MustChangePassword, Version: p.Version,
		PersonBody: PersonBody{Email: p.Email, Name: p.Name, Role: string(p.Role), ScopeKind: string(p.ScopeKind), Customers: p.Customers, Sites: p.Sites, ExpiresAt: p.ExpiresAt}}
}

type personListIn struct {
	PageIn
	Search string `query:"search" maxLength:"100"`
	Role   string `query:"role" enum:"dispatcher,technician,support,owner_agent,auditor,administrator"`
}

type personListOut struct {
	Body struct {
		People []PersonItem `json:"people"`
		PageOut
	}
}

type personPutIn struct {
	PersonPath
	IfMatch
	Body PersonBody
}

type personOut struct {
	Status int
	ETag   string `header:"ETag"`
	Body   struct {
		PersonItem
		OneTimePassword string `json:"one_time_password,omitempty" doc:"For a new person, answered this once; it opens a session for 72 hours."`
	}
}

type personDisableIn struct {
	PersonPath
	Body struct {
		Disabled bool `json:"disabled"`
	}
}

type passwordResetOut struct {
	Body struct {
		OneTimePassword string `json:"one_time_password" doc:"Answered this once; it opens a session for 72 hours."`
	}
}

type TokenItem struct {
	TokenID    uuid.UUID  `json:"token_id" format:"uuid"`
	Name       string     `json:"name"`
	Scopes     []string   `json:"scopes"`
	CreatedAt  time.Time  `json:"created_at"`
	ExpiresAt  time.Time  `json:"expires_at"`
	RevokedAt  *time.Time `json:"revoked_at,omitempty"`
	LastUsedAt *time.Time `json:"last_used_at,omitempty"`
}

func newTokenItem(t identity.Token) TokenItem {
	item := TokenItem{TokenID: t.TokenID, Name: t.Name, CreatedAt: t.CreatedAt, ExpiresAt: t.ExpiresAt, RevokedAt: t.RevokedAt, LastUsedAt: t.LastUsedAt, Scopes: []string{}}
	for _, s := range t.Scopes {
		item.Scopes = append(item.Scopes, string(s))
	}
	return item
}

type tokenCreateIn struct {
	PersonPath
	Body struct {
		Name      string    `json:"name" minLength:"1" maxLength:"100"`
		Scopes    []string  `json:"scopes" minItems:"1" maxItems:"4" enum:"read,visits,register,administration"`
		ExpiresAt time.Time `json:"expires_at" doc:"At most 366 days ahead."`
	}
}

type tokenCreateOut struct {
	Status int
	Body   struct {
		TokenItem
		Secret string `json:"secret" doc:"Answered this once."`
	}
}

type tokenListIn struct {
	PersonPath
	PageIn
}

type tokenListOut struct {
	Body struct {
		Tokens []TokenItem `json:"tokens"`
		PageOut
	}
}

type tokenPath struct {
	PersonID uuid.UUID `path:"person_id" format:"uuid"`
	TokenID  uuid.UUID `path:"token_id" format:"uuid"`
}

type QualificationBody struct {
	Kind       string `json:"kind,omitempty" enum:"general,full_energy,low_energy,revolving,european,fire" doc:"Which inspections it allows: rule packs name the kinds that sign by them. Left out: general."`
	Scheme     string `json:"scheme" minLength:"1" maxLength:"100"`
	Number     string `json:"number" minLength:"1" maxLength:"100"`
	Issuer     string `json:"issuer,omitempty" maxLength:"200" doc:"Who issued it."`
	ValidFrom  string `json:"valid_from" format:"date"`
	ValidUntil string `json:"valid_until,omitempty" format:"date" doc:"The last day, as it stands."`
}

type QualificationItem struct {
	QualificationID uuid.UUID `json:"qualification_id" format:"uuid"`
	QualificationBody
	StatedUntil string `json:"stated_until,omitempty" format:"date" doc:"The last day that it names itself, where it was ended earlier."`
	Renewed     bool   `json:"renewed" doc:"Another one of the kind goes on from its last day: nobody is warned."`
}

func newQualificationItem(q identity.Qualification) QualificationItem {
	item := QualificationItem{QualificationID: q.QualificationID, Renewed: q.Renewed,
		QualificationBody: QualificationBody{q.Kind, q.Scheme, q.Number, q.Issuer, q.ValidFrom.String(), q.ValidUntil.String()}}
	if q.StatedUntil != q.ValidUntil {
		item.StatedUntil = q.StatedUntil.String()
	}
	return item
}

type expiryListIn struct {
	PageIn
	From  string `query:"from" format:"date" doc:"Last days from this one on."`
	Until string `query:"until" format:"date" doc:"Last days until this one."`
}

type expiryItem struct {
	QualificationItem
	PersonID uuid.UUID `json:"person_id" format:"uuid"`
	Name     string    `json:"name"`
}

type expiryListOut struct {
	Body struct {
		Qualifications []expiryItem `json:"qualifications"`
		PageOut
	}
}

// expiryKey is the cursor of certificates by their last days.
type expiryKey struct {
	Day    duedate.Day `json:"d"`
	Person uuid.UUID   `json:"p"`
	ID     uuid.UUID   `json:"i"`
}

type qualificationPutIn struct {
	PersonID        uuid.UUID `path:"person_id" format:"uuid"`
	QualificationID uuid.UUID `path:"qualification_id" format:"uuid"`
	Body            QualificationBody
}

type qualificationOut struct {
	Status int
	Body   QualificationItem
}

type qualificationListIn struct {
	PersonPath
	PageIn
}

type qualificationListOut struct {
	Body struct {
		Qualifications []QualificationItem `json:"qualifications"`
		PageOut
	}
}

type auditListIn struct {
	PageIn
	Subject  string `query:"subject" maxLength:"300" doc:"Id of the subject."`
	PersonID string `query:"person_id" format:"uuid"`
}

type auditItem struct {
	AuditID     uuid.UUID  `json:"audit_id" format:"uuid"`
	At          time.Time  `json:"at"`
	PersonID    *uuid.UUID `json:"person_id,omitempty" format:"uuid"`
	Action      string     `json:"action"`
	SubjectKind string     `json:"subject_kind"`
	SubjectID   string     `json:"subject_id"`
	RequestID   string     `json:"request_id,omitempty"`
}

type auditListOut struct {
	Body struct {
		Events []auditItem `json:"events"`
		PageOut
	}
}

func (a *API) people() {
	manage := identity.ActManagePeople
	add(a, operation("person-list", http.MethodGet, "/v1/people", identity.ActReadOffice, "People by name"), a.personList)
	add(a, operation("person-get", http.MethodGet, "/v1/people/{person_id}", identity.ActReadOffice, "One person"), a.personGet)
	add(a, operation("person-put", http.MethodPut, "/v1/people/{person_id}", manage, "Make or change a person"), a.personPut)
	add(a, operation("person-disable", http.MethodPut, "/v1/people/{person_id}/disabled", manage, "Take or give back the right to sign in"), a.personDisable)
	add(a, operation("person-password-reset", http.MethodPost, "/v1/people/{person_id}/password-reset", manage, "Give a new one-time password"), a.personPasswordReset)
	add(a, operation("token-list", http.MethodGet, "/v1/people/{person_id}/tokens", identity.ActSelf, "Tokens of oneself, or of anybody as administrator"), a.tokenList)
	add(a, operation("token-create", http.MethodPost, "/v1/people/{person_id}/tokens", identity.ActSelf, "Make a token"), a.tokenCreate)
	add(a, operation("token-revoke", http.MethodDelete, "/v1/people/{person_id}/tokens/{token_id}", identity.ActSelf, "End a token"), a.tokenRevoke)
	add(a, operation("qualification-list", http.MethodGet, "/v1/people/{person_id}/qualifications", identity.ActReadOffice, "Certificates of a person"), a.qualificationList)
	add(a, operation("qualification-put", http.MethodPut, "/v1/people/{person_id}/qualifications/{qualification_id}", identity.ActPlanWork, "Record a certificate"), a.qualificationPut)
	add(a, operation("expiry-list", http.MethodGet, "/v1/qualifications", identity.ActReadOffice, "Certificates that run out and are not renewed, by their last days"), a.expiryList)
	add(a, operation("audit-list", http.MethodGet, "/v1/audit", identity.ActReadAudit, "Who did or read what, the newest first"), a.auditList)
}

func (a *API) personList(ctx context.Context, by identity.Actor, in *personListIn) (*personListOut, error) {
	var after nameKey
	if err := readCursor(in.After, &after); err != nil {
		return nil, err
	}
	list, err := a.People.Persons(ctx, by, identity.PersonQuery{Search: in.Search, Role: identity.Role(in.Role), AfterName: after.Name, AfterID: after.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &personListOut{}
	out.Body.People = make([]PersonItem, len(list))
	for i, p := range list {
		out.Body.People[i] = newPersonItem(p)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(nameKey{last.Name, last.PersonID})
	}
	return out, nil
}

func newPersonOut(p identity.Person, oneTime string, isNew bool) *personOut {
	out := &personOut{Status: created(isNew), ETag: etag(p.Version)}
	out.Body.PersonItem, out.Body.OneTimePassword = newPersonItem(p), oneTime
	return out
}

func (a *API) personGet(ctx context.Context, by identity.Actor, in *PersonPath) (*personOut, error) {
	p, err := a.People.Person(ctx, by, in.PersonID)
	if err != nil {
		return nil, err
	}
	return newPersonOut(p, "", false), nil
}

func (a *API) personPut(ctx context.Context, by identity.Actor, in *personPutIn) (*personOut, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	b := in.Body
	p, oneTime, isNew, err := a.People.PutPerson(ctx, by, identity.Person{PersonID: in.PersonID, Email: b.Email, Name: b.Name, Role: identity.Role(b.Role),
		ScopeKind: identity.ScopeKind(b.ScopeKind), Customers: b.Customers, Sites: b.Sites, ExpiresAt: b.ExpiresAt}, version, requestID(ctx))
	if err != nil {
		return nil, err
	}
	return newPersonOut(p, oneTime, isNew), nil
}

func (a *API) personDisable(ctx context.Context, by identity.Actor, in *personDisableIn) (*personOut, error) {
	p, err := a.People.DisablePerson(ctx, by, in.PersonID, in.Body.Disabled, requestID(ctx))
	if err != nil {
		return nil, err
	}
	return newPersonOut(p, "", false), nil
}

func (a *API) personPasswordReset(ctx context.Context, by identity.Actor, in *PersonPath) (*passwordResetOut, error) {
	oneTime, err := a.People.ResetPassword(ctx, by, in.PersonID, requestID(ctx))
	if err != nil {
		return nil, err
	}
	out := &passwordResetOut{}
	out.Body.OneTimePassword = oneTime
	return out, nil
}

func (a *API) tokenList(ctx context.Context, by identity.Actor, in *tokenListIn) (*tokenListOut, error) {
	page, err := newestFirst(in.PageIn)
	if err != nil {
		return nil, err
	}
	list, err := a.People.Tokens(ctx, by, in.PersonID, page)
	if err != nil {
		return nil, err
	}
	out := &tokenListOut{}
	out.Body.Tokens = make([]TokenItem, len(list))
	for i, t := range list {
		out.Body.Tokens[i] = newTokenItem(t)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.CreatedAt, last.TokenID})
	}
	return out, nil
}

func (a *API) tokenCreate(ctx context.Context, by identity.Actor, in *tokenCreateIn) (*tokenCreateOut, error) {
	t := identity.Token{PersonID: in.PersonID, Name: in.Body.Name, ExpiresAt: in.Body.ExpiresAt}
	for _, s := range in.Body.Scopes {
		t.Scopes = append(t.Scopes, identity.TokenScope(s))
	}
	secret, saved, err := a.People.CreateToken(ctx, by, t, requestID(ctx))
	if err != nil {
		return nil, err
	}
	out := &tokenCreateOut{Status: http.StatusCreated}
	out.Body.TokenItem, out.Body.Secret = newTokenItem(saved), secret
	return out, nil
}

func (a *API) tokenRevoke(ctx context.Context, by identity.Actor, in *tokenPath) (*noContent, error) {
	return &noContent{http.StatusNoContent}, a.People.RevokeToken(ctx, by, in.PersonID, in.TokenID, requestID(ctx))
}

func (a *API) qualificationList(ctx context.Context, by identity.Actor, in *qualificationListIn) (*qualificationListOut, error) {
	page, err := newestFirst(in.PageIn)
	if err != nil {
		return nil, err
	}
	list, err := a.People.Qualifications(ctx, by, in.PersonID, page)
	if err != nil {
		return nil, err
	}
	out := &qualificationListOut{}
	out.Body.Qualifications = make([]QualificationItem, len(list))
	for i, q := range list {
		out.Body.Qualifications[i] = newQualificationItem(q)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.RecordedAt, last.QualificationID})
	}
	return out, nil
}

func (a *API) qualificationPut(ctx context.Context, by identity.Actor, in *qualificationPutIn) (*qualificationOut, error) {
	var read reader
	q := identity.Qualification{PersonID: in.PersonID, QualificationID: in.QualificationID, Kind: in.Body.Kind, Scheme: in.Body.Scheme, Number: in.Body.Number, Issuer: in.Body.Issuer,
		ValidFrom: read.day("/valid_from", in.Body.ValidFrom), ValidUntil: read.day("/valid_until", in.Body.ValidUntil)}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	saved, isNew, err := a.People.PutQualification(ctx, by, q, requestID(ctx))
	if err != nil {
		return nil, err
	}
	return &qualificationOut{Status: created(isNew), Body: newQualificationItem(saved)}, nil
}

func (a *API) expiryList(ctx context.Context, by identity.Actor, in *expiryListIn) (*expiryListOut, error) {
	var key expiryKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	var read reader
	q := identity.ExpiryQuery{From: read.day("", in.From), Until: read.day("", in.Until), AfterDay: key.Day, AfterPerson: key.Person, AfterID: key.ID, Limit: in.Limit}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	list, err := a.People.Expiries(ctx, by, q)
	if err != nil {
		return nil, err
	}
	out := &expiryListOut{}
	out.Body.Qualifications = make([]expiryItem, len(list))
	for i, e := range list {
		out.Body.Qualifications[i] = expiryItem{QualificationItem: newQualificationItem(e.Qualification), PersonID: e.PersonID, Name: e.Name}
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(expiryKey{last.ValidUntil, last.PersonID, last.QualificationID})
	}
	return out, nil
}

func (a *API) auditList(ctx context.Context, by identity.Actor, in *auditListIn) (*auditListOut, error) {
	page, err := newestFirst(in.PageIn)
	if err != nil {
		return nil, err
	}
	list, err := a.People.Events(ctx, by, identity.EventQuery{Subject: in.Subject, Person: optionalID(in.PersonID), Page: page})
	if err != nil {
		return nil, err
	}
	out := &auditListOut{}
	out.Body.Events = make([]auditItem, len(list))
	for i, e := range list {
		out.Body.Events[i] = auditItem{AuditID: e.AuditID, At: e.At, PersonID: e.PersonID, Action: e.Action, SubjectKind: e.SubjectKind, SubjectID: e.SubjectID, RequestID: e.RequestID}
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.At, last.AuditID})
	}
	return out, nil
}
