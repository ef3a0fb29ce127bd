package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/identity"
)

var _ identity.GateTx = (*gate)(nil)

// gate is a transaction that sees the identity tables and nothing else.
type gate struct{ *Tx }

// InGate runs f as the role that alone may read password hashes, sessions and tokens.
func (s *Store) InGate(ctx context.Context, f func(context.Context, identity.GateTx) error) error {
	return s.inTx(ctx, pgx.TxOptions{}, scope{role: "gate"}, func(ctx context.Context, tx *Tx) error { return f(ctx, gate{tx}) })
}

type personRow struct {
	PersonID           uuid.UUID
	Email              string
	Name               string
	Role               string
	ScopeKind          string
	PasswordHash       string
	MustChangePassword bool
	Units              string
	Language           string
	ExpiresAt          *time.Time
	DisabledAt         *time.Time
	Version            int
	CreatedAt          time.Time
	CreatedBy          *uuid.UUID
	Customers          []uuid.UUID
	Sites              []uuid.UUID
}

func (r personRow) person() identity.Person {
	return identity.Person{PersonID: r.PersonID, Email: r.Email, Name: r.Name, Role: identity.Role(r.Role), ScopeKind: identity.ScopeKind(r.ScopeKind),
		Customers: r.Customers, Sites: r.Sites, PasswordHash: r.PasswordHash, MustChangePassword: r.MustChangePassword, Units: r.Units, Language: r.Language,
		ExpiresAt: r.ExpiresAt, DisabledAt: r.DisabledAt, Version: r.Version, CreatedAt: r.CreatedAt, CreatedBy: r.CreatedBy}
}

const sqlPersonBy = `-- person_by
select p.person_id, p.email, p.name, p.role, p.scope_kind, coalesce(p.password_hash, '') as password_hash, p.must_change_password, p.units, p.language,
  p.expires_at, p.disabled_at, p.version, p.created_at, p.created_by,
  coalesce((select array_agg(c.customer_id order by c.customer_id) from person_customer c where c.person_id = p.person_id), '{}') as customers,
  coalesce((select array_agg(s.site_id order by s.site_id) from person_site s where s.person_id = p.person_id), '{}') as sites
from person p where p.person_id = @person_id or p.email = @email`

// PersonByEmail gives the person with an address.
func (g gate) PersonByEmail(ctx context.Context, email string) (identity.Person, error) {
	r, err := queryOne[personRow](ctx, g.Tx, "person_by", sqlPersonBy, pgx.StrictNamedArgs{"person_id": nil, "email": email}, "person_not_found")
	return r.person(), err
}

// PersonByID gives one person.
func (g gate) PersonByID(ctx context.Context, id uuid.UUID) (identity.Person, error) {
	r, err := queryOne[personRow](ctx, g.Tx, "person_by", sqlPersonBy, pgx.StrictNamedArgs{"person_id": id, "email": nil}, "person_not_found")
	return r.person(), err
}

const sqlPersonPage = `-- person_page
select p.person_id, p.email, p.name, p.role, p.scope_kind, '' as password_hash, p.must_change_password, p.units, p.language,
  p.expires_at, p.disabled_at, p.version, p.created_at, p.created_by,
  coalesce((select array_agg(c.customer_id order by c.customer_id) from person_customer c where c.person_id = p.person_id), '{}') as customers,
  coalesce((select array_agg(s.site_id order by s.site_id) from person_site s where s.person_id = p.person_id), '{}') as sites
from person p
where (lower(p.name), p.person_id) > (lower(@after_name), @after_id) and (@role::text = '' or p.role = @role)
  and (@search::text = '' or lower(p.name) like @search or p.email like @search)
order by lower(p.name), p.person_id limit @limit`

// PersonPage lists people by name, without their password hashes.
func (g gate) PersonPage(ctx context.Context, q identity.PersonQuery) ([]identity.Person, error) {
	rows, err := query[personRow](ctx, g.Tx, "person_page", sqlPersonPage, pgx.StrictNamedArgs{"after_name": q.AfterName, "after_id": q.AfterID,
		"role": string(q.Role), "search": containing(q.Search), "limit": q.Limit})
	return each(rows, personRow.person), err
}

func personArgs(p identity.Person) pgx.StrictNamedArgs {
	var hash *string
	if p.PasswordHash != "" {
		hash = &p.PasswordHash
	}
	return pgx.StrictNamedArgs{"person_id": p.PersonID, "email": p.Email, "name": p.Name, "role": string(p.Role), "scope_kind": string(p.ScopeKind), "password_hash": hash,
		"must_change_password": p.MustChangePassword, "units": p.Units, "language": p.Language, "expires_at": p.ExpiresAt, "disabled_at": p.DisabledAt, "version": p.Version}
}

const sqlInsertPerson = `-- insert_person
insert into person (person_id, email, name, role, scope_kind, password_hash, must_change_password, units, language, expires_at, disabled_at, version, created_at, created_by)
values (@person_id, @email, @name, @role, @scope_kind, @password_hash, @must_change_password, @units, @language, @expires_at, @disabled_at, @version, @created_at, @created_by)
on conflict (person_id) do nothing`

// InsertPerson adds a person, or answers false when the id is taken.
func (g gate) InsertPerson(ctx context.Context, p identity.Person) (bool, error) {
	args := personArgs(p)
	args["created_at"], args["created_by"] = p.CreatedAt, p.CreatedBy
	n, err := exec(ctx, g.Tx, "insert_person", sqlInsertPerson, args)
	return n == 1, err
}

const sqlUpdatePerson = `-- update_person
update person set email = @email, name = @name, role = @role, scope_kind = @scope_kind, password_hash = @password_hash, must_change_password = @must_change_password,
  units = @units, language = @language, expires_at = @expires_at, disabled_at = @disabled_at, version = @version
where person_id = @person_id and version = @version - 1`

// UpdatePerson writes the next version of a person.
func (g gate) UpdatePerson(ctx context.Context, p identity.Person) error {
	return expectOne(exec(ctx, g.Tx, "update_person", sqlUpdatePerson, personArgs(p)))
}

const sqlClearScope = `-- clear_scope
with customers as (delete from person_customer where person_id = @person_id)
delete from person_site where person_id = @person_id`

const sqlSetPersonScope = `-- set_person_scope
with customers as (
  insert into person_customer (person_id, customer_id) select @person_id, c from unnest(@customers::uuid[]) as c)
insert into person_site (person_id, site_id) select @person_id, s from unnest(@sites::uuid[]) as s`

// SetScope writes the set of customers or sites that a person sees.
func (g gate) SetScope(ctx context.Context, p identity.Person) error {
	if _, err := exec(ctx, g.Tx, "clear_scope", sqlClearScope, pgx.StrictNamedArgs{"person_id": p.PersonID}); err != nil {
		return err
	}
	_, err := exec(ctx, g.Tx, "set_person_scope", sqlSetPersonScope, pgx.StrictNamedArgs{"person_id": p.PersonID, "customers": p.Customers, "sites": p.Sites})
	return err
}

const sqlCountAdministrators = `-- count_administrators
select count(*) as n from person where role = 'administrator'`

// CountAdministrators counts them, disabled ones too.
func (g gate) CountAdministrators(ctx context.Context) (int, error) {
	r, err := queryOne[struct{ N int }](ctx, g.Tx, "count_administrators", sqlCountAdministrators, pgx.StrictNamedArgs{}, "internal")
	return r.N, err
}

type sessionRow struct {
	SessionID  uuid.UUID
	PersonID   uuid.UUID
	CreatedAt  time.Time
	LastSeenAt time.Time
	ExpiresAt  time.Time
	EndedAt    *time.Time
	UserAgent  string
}

func (r sessionRow) session() identity.Session { return identity.Session(r) }

const sqlInsertSession = `-- insert_session
insert into session (secret_sha256, session_id, person_id, created_at, last_seen_at, expires_at, user_agent)
values (@secret_sha256, @session_id, @person_id, @created_at, @last_seen_at, @expires_at, @user_agent)`

// InsertSession adds a session under the hash of its secret.
func (g gate) InsertSession(ctx context.Context, hash [32]byte, s identity.Session) error {
	_, err := exec(ctx, g.Tx, "insert_session", sqlInsertSession, pgx.StrictNamedArgs{"secret_sha256": hash[:], "session_id": s.SessionID, "person_id": s.PersonID,
		"created_at": s.CreatedAt, "last_seen_at": s.LastSeenAt, "expires_at": s.ExpiresAt, "user_agent": s.UserAgent})
	return err
}

const sqlSessionByHash = `-- session_by_hash
select session_id, person_id, created_at, last_seen_at, expires_at, ended_at, user_agent from session where secret_sha256 = @secret_sha256`

// SessionByHash gives the session of a secret.
func (g gate) SessionByHash(ctx context.Context, hash [32]byte) (identity.Session, error) {
	r, err := queryOne[sessionRow](ctx, g.Tx, "session_by_hash", sqlSessionByHash, pgx.StrictNamedArgs{"secret_sha256": hash[:]}, "session_not_found")
	return r.session(), err
}

const sqlSessionsOf = `-- sessions_of
select session_id, person_id, created_at, last_seen_at, expires_at, ended_at, user_agent from session
where person_id = @person_id and ended_at is null and expires_at > @now order by created_at desc, session_id`

// SessionsOf lists the sessions of a person that still run.
func (g gate) SessionsOf(ctx context.Context, personID uuid.UUID, now time.Time) ([]identity.Session, error) {
	rows, err := query[sessionRow](ctx, g.Tx, "sessions_of", sqlSessionsOf, pgx.StrictNamedArgs{"person_id": personID, "now": now})
	return each(rows, sessionRow.session), err
}

const sqlTouchSession = `-- touch_session
update session set last_seen_at = @at where session_id = @session_id`

// TouchSession writes that a session was used.
func (g gate) TouchSession(ctx context.Context, id uuid.UUID, at time.Time) error {
	_, err := exec(ctx, g.Tx, "touch_session", sqlTouchSession, pgx.StrictNamedArgs{"session_id": id, "at": at})
	return err
}

const sqlEndSessions = `-- end_sessions
update session set ended_at = @at where person_id = @person_id and session_id <> @keep and ended_at is null`

// EndSessions ends the sessions of a person but for one.
func (g gate) EndSessions(ctx context.Context, personID, keep uuid.UUID, at time.Time) error {
	_, err := exec(ctx, g.Tx, "end_sessions", sqlEndSessions, pgx.StrictNamedArgs{"person_id": personID, "keep": keep, "at": at})
	return err
}

const sqlEndSession = `-- end_session
update session set ended_at = @at where person_id = @person_id and session_id = @session_id and ended_at is null`

// EndSession ends one session of a person.
func (g gate) EndSession(ctx context.Context, personID, id uuid.UUID, at time.Time) (bool, error) {
	n, err := exec(ctx, g.Tx, "end_session", sqlEndSession, pgx.StrictNamedArgs{"person_id": personID, "session_id": id, "at": at})
	return n == 1, err
}

type tokenRow struct {
	TokenID    uuid.UUID
	PersonID   uuid.UUID
	Name       string
	Scopes     []string
	CreatedAt  time.Time
	ExpiresAt  time.Time
	RevokedAt  *time.Time
	LastUsedAt *time.Time
}

func (r tokenRow) token() identity.Token {
	return identity.Token{TokenID: r.TokenID, PersonID: r.PersonID, Name: r.Name, CreatedAt: r.CreatedAt, ExpiresAt: r.ExpiresAt, RevokedAt: r.RevokedAt, LastUsedAt: r.LastUsedAt,
		Scopes: each(r.Scopes, func(s string) identity.TokenScope { return identity.TokenScope(s) })}
}

const sqlInsertToken = `-- insert_token
insert into token (secret_sha256, token_id, person_id, name, scopes, created_at, expires_at)
values (@secret_sha256, @token_id, @person_id, @name, @scopes, @created_at, @expires_at)`

// InsertToken adds a token under the hash of its secret.
func (g gate) InsertToken(ctx context.Context, hash [32]byte, t identity.Token) error {
	_, err := exec(ctx, g.Tx, "insert_token", sqlInsertToken, pgx.StrictNamedArgs{"secret_sha256": hash[:], "token_id": t.TokenID, "person_id": t.PersonID, "name": t.Name,
		"scopes": each(t.Scopes, func(s identity.TokenScope) string { return string(s) }), "created_at": t.CreatedAt, "expires_at": t.ExpiresAt})
	return err
}

const sqlTokenByHash = `-- token_by_hash
select token_id, person_id, name, scopes, created_at, expires_at, revoked_at, last_used_at from token where secret_sha256 = @secret_sha256`

// TokenByHash gives the token of a secret.
func (g gate) TokenByHash(ctx context.Context, hash [32]byte) (identity.Token, error) {
	r, err := queryOne[tokenRow](ctx, g.Tx, "token_by_hash", sqlTokenByHash, pgx.StrictNamedArgs{"secret_sha256": hash[:]}, "token_not_found")
	return r.token(), err
}

const sqlTokensOf = `-- tokens_of
select token_id, person_id, name, scopes, created_at, expires_at, revoked_at, last_used_at from token where person_id = @person_id order by created_at desc, token_id`

// TokensOf lists the tokens of a person.
func (g gate) TokensOf(ctx context.Context, personID uuid.UUID) ([]identity.Token, error) {
	rows, err := query[tokenRow](ctx, g.Tx, "tokens_of", sqlTokensOf, pgx.StrictNamedArgs{"person_id": personID})
	return each(rows, tokenRow.token), err
}

const sqlTouchToken = `-- touch_token
update token set last_used_at = @at where token_id = @token_id`

// TouchToken writes that a token was used.
func (g gate) TouchToken(ctx context.Context, id uuid.UUID, at time.Time) error {
	_, err := exec(ctx, g.Tx, "touch_token", sqlTouchToken, pgx.StrictNamedArgs{"token_id": id, "at": at})
	return err
}

const sqlRevokeToken = `-- revoke_token
update token set revoked_at = @at where person_id = @person_id and token_id = @token_id and revoked_at is null`

// RevokeToken ends a token of a person.
func (g gate) RevokeToken(ctx context.Context, personID, id uuid.UUID, at time.Time) (bool, error) {
	n, err := exec(ctx, g.Tx, "revoke_token", sqlRevokeToken, pgx.StrictNamedArgs{"person_id": personID, "token_id": id, "at": at})
	return n == 1, err
}

const sqlInsertFailure = `-- insert_failure
insert into sign_in_failure (failure_id, account_sha256, at) values (@failure_id, @account_sha256, @at)`

// InsertFailure counts a failed sign-in.
func (g gate) InsertFailure(ctx context.Context, id uuid.UUID, account [32]byte, at time.Time) error {
	_, err := exec(ctx, g.Tx, "insert_failure", sqlInsertFailure, pgx.StrictNamedArgs{"failure_id": id, "account_sha256": account[:], "at": at})
	return err
}

const sqlFailures = `-- failures
select count(*) as count, max(at) as last from sign_in_failure where account_sha256 = @account_sha256 and at > @since`

// Failures tells how many sign-ins failed since, and when the last one did.
func (g gate) Failures(ctx context.Context, account [32]byte, since time.Time) (int, time.Time, error) {
	r, err := queryOne[struct {
		Count int
		Last  *time.Time
	}](ctx, g.Tx, "failures", sqlFailures, pgx.StrictNamedArgs{"account_sha256": account[:], "since": since}, "internal")
	if r.Last == nil {
		return r.Count, time.Time{}, err
	}
	return r.Count, *r.Last, err
}

const sqlClearFailures = `-- clear_failures
delete from sign_in_failure where account_sha256 = @account_sha256`

// ClearFailures forgets failed sign-ins after one that succeeded.
func (g gate) ClearFailures(ctx context.Context, account [32]byte) error {
	_, err := exec(ctx, g.Tx, "clear_failures", sqlClearFailures, pgx.StrictNamedArgs{"account_sha256": account[:]})
	return err
}

type qualificationRow struct {
	PersonID        uuid.UUID
	QualificationID uuid.UUID
	Scheme          string
	Number          string
	ValidFrom       time.Time
	ValidUntil      *time.Time
	RecordedAt      time.Time
}

func (r qualificationRow) qualification() identity.Qualification {
	return identity.Qualification{PersonID: r.PersonID, QualificationID: r.QualificationID, Scheme: r.Scheme, Number: r.Number,
		ValidFrom: day(&r.ValidFrom).String(), ValidUntil: day(r.ValidUntil).String(), RecordedAt: r.RecordedAt}
}

const sqlPutQualification = `-- put_qualification
insert into qualification (person_id, qualification_id, scheme, number, valid_from, valid_until, recorded_at)
values (@person_id, @qualification_id, @scheme, @number, @valid_from, @valid_until, @recorded_at)
on conflict (person_id, qualification_id) do update set scheme = excluded.scheme, number = excluded.number, valid_from = excluded.valid_from,
  valid_until = excluded.valid_until, recorded_at = excluded.recorded_at`

// PutQualification records a certificate.
func (g gate) PutQualification(ctx context.Context, q identity.Qualification) error {
	from, err := duedate.ParseDay(q.ValidFrom)
	if err != nil {
		return err
	}
	var until duedate.Day
	if q.ValidUntil != "" {
		if until, err = duedate.ParseDay(q.ValidUntil); err != nil {
			return err
		}
	}
	_, err = exec(ctx, g.Tx, "put_qualification", sqlPutQualification, pgx.StrictNamedArgs{"person_id": q.PersonID, "qualification_id": q.QualificationID,
		"scheme": q.Scheme, "number": q.Number, "valid_from": date(from), "valid_until": date(until), "recorded_at": q.RecordedAt})
	return err
}

const sqlQualificationsOf = `-- qualifications_of
select person_id, qualification_id, scheme, number, valid_from, valid_until, recorded_at from qualification where person_id = @person_id order by valid_from desc, qualification_id`

// QualificationsOf lists the certificates of a person.
func (g gate) QualificationsOf(ctx context.Context, personID uuid.UUID) ([]identity.Qualification, error) {
	rows, err := query[qualificationRow](ctx, g.Tx, "qualifications_of", sqlQualificationsOf, pgx.StrictNamedArgs{"person_id": personID})
	return each(rows, qualificationRow.qualification), err
}

const sqlInsertEvent = `-- insert_event
insert into audit_event (audit_id, at, person_id, action, subject_kind, subject_id, request_id)
values (@audit_id, @at, @person_id, @action, @subject_kind, @subject_id, @request_id)`

// InsertEvent adds to the audit.
func (g gate) InsertEvent(ctx context.Context, e identity.Event) error {
	_, err := exec(ctx, g.Tx, "insert_event", sqlInsertEvent, pgx.StrictNamedArgs{"audit_id": e.AuditID, "at": e.At, "person_id": e.PersonID, "action": e.Action,
		"subject_kind": e.SubjectKind, "subject_id": e.SubjectID, "request_id": e.RequestID})
	return err
}

type eventRow struct {
	AuditID     uuid.UUID
	At          time.Time
	PersonID    *uuid.UUID
	Action      string
	SubjectKind string
	SubjectID   string
	RequestID   string
}

func (r eventRow) event() identity.Event { return identity.Event(r) }

const sqlEventPage = `-- event_page
select audit_id, at, person_id, action, subject_kind, subject_id, request_id from audit_event
where (at, audit_id) < (@before_at, @before_id) and (@subject::text = '' or subject_id = @subject) and (@person_id::uuid is null or person_id = @person_id)
order by at desc, audit_id desc limit @limit`

// EventPage lists the audit, the newest first.
func (g gate) EventPage(ctx context.Context, q identity.EventQuery) ([]identity.Event, error) {
	rows, err := query[eventRow](ctx, g.Tx, "event_page", sqlEventPage, pgx.StrictNamedArgs{"before_at": bound(q.BeforeAt), "before_id": q.BeforeID,
		"subject": q.Subject, "person_id": optional(q.Person), "limit": q.Limit})
	return each(rows, eventRow.event), err
}
