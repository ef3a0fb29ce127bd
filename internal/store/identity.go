package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

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
		Customers: r.Customers, Sites: r.Sites, MustChangePassword: r.MustChangePassword, Units: r.Units, Language: r.Language,
		ExpiresAt: r.ExpiresAt, DisabledAt: r.DisabledAt, Version: r.Version, CreatedAt: r.CreatedAt, CreatedBy: r.CreatedBy}
}

const sqlPersonByID = `-- person_by_id
select p.person_id, p.email, p.name, p.role, p.scope_kind, p.must_change_password, p.units, p.language,
  p.expires_at, p.disabled_at, p.version, p.created_at, p.created_by,
  coalesce((select array_agg(c.customer_id order by c.customer_id) from person_customer c where c.person_id = p.person_id), '{}') as customers,
  coalesce((select array_agg(s.site_id order by s.site_id) from person_site s where s.person_id = p.person_id), '{}') as sites
from person p where p.person_id = @person_id`

// PersonByID gives one person.
func (g gate) PersonByID(ctx context.Context, id uuid.UUID) (identity.Person, error) {
	r, err := queryOne[personRow](ctx, g.Tx, "person_by_id", sqlPersonByID, pgx.StrictNamedArgs{"person_id": id}, "person_not_found")
	return r.person(), err
}

const sqlPersonPage = `-- person_page
select p.person_id, p.email, p.name, p.role, p.scope_kind, p.must_change_password, p.units, p.language,
  p.expires_at, p.disabled_at, p.version, p.created_at, p.created_by,
  coalesce((select array_agg(c.customer_id order by c.customer_id) from person_customer c where c.person_id = p.person_id), '{}') as customers,
  coalesce((select array_agg(s.site_id order by s.site_id) from person_site s where s.person_id = p.person_id), '{}') as sites
from person p
where (lower(p.name), p.person_id) > (lower(@after_name), @after_id) and (@role::text = '' or p.role = @role)
  and (@search::text = '' or lower(p.name) like @search or p.email like @search)
order by lower(p.name), p.person_id limit @limit`

// PersonPage lists people by name.
func (g gate) PersonPage(ctx context.Context, q identity.PersonQuery) ([]identity.Person, error) {
	rows, err := query[personRow](ctx, g.Tx, "person_page", sqlPersonPage, pgx.StrictNamedArgs{"after_name": q.AfterName, "after_id": q.AfterID,
		"role": string(q.Role), "search": containing(q.Search), "limit": q.Limit})
	return each(rows, personRow.person), err
}

const sqlInsertPerson = `-- insert_person
insert into person (person_id, email, name, role, scope_kind, password_hash, must_change_password, one_time_until, units, language, expires_at, version, created_at, created_by)
values (@person_id, @email, @name, @role, @scope_kind, @password_hash, true, @one_time_until, @units, @language, @expires_at, @version, @created_at, @created_by)
on conflict (person_id) do nothing`

// InsertPerson adds a person with a one-time password, or answers false when the id is taken.
func (g gate) InsertPerson(ctx context.Context, p identity.Person, passwordHash string, oneTimeUntil time.Time) (bool, error) {
	n, err := exec(ctx, g.Tx, "insert_person", sqlInsertPerson, pgx.StrictNamedArgs{"person_id": p.PersonID, "email": p.Email, "name": p.Name, "role": string(p.Role),
		"scope_kind": string(p.ScopeKind), "password_hash": passwordHash, "one_time_until": oneTimeUntil, "units": p.Units, "language": p.Language, "expires_at": p.ExpiresAt, "version": p.Version,
		"created_at": p.CreatedAt, "created_by": p.CreatedBy})
	return n == 1, err
}

const sqlUpdatePerson = `-- update_person
update person set email = @email, name = @name, role = @role, scope_kind = @scope_kind, units = @units, language = @language,
  expires_at = @expires_at, disabled_at = @disabled_at, version = @version
where person_id = @person_id and version = @version - 1`

// UpdatePerson writes the next version of a person, all but the password.
func (g gate) UpdatePerson(ctx context.Context, p identity.Person) error {
	return expectOne(exec(ctx, g.Tx, "update_person", sqlUpdatePerson, pgx.StrictNamedArgs{"person_id": p.PersonID, "email": p.Email, "name": p.Name, "role": string(p.Role),
		"scope_kind": string(p.ScopeKind), "units": p.Units, "language": p.Language, "expires_at": p.ExpiresAt, "disabled_at": p.DisabledAt, "version": p.Version}))
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

const sqlLastingAdministrators = `-- lasting_administrators
select count(*) as n from person where role = 'administrator' and disabled_at is null and expires_at is null`

// LastingAdministrators counts those who are neither disabled nor will expire.
func (g gate) LastingAdministrators(ctx context.Context) (int, error) {
	r, err := queryOne[struct{ N int }](ctx, g.Tx, "lasting_administrators", sqlLastingAdministrators, pgx.StrictNamedArgs{}, "internal")
	return r.N, err
}

type bearerRow struct {
	personRow
	SessionID       *uuid.UUID
	TokenID         *uuid.UUID
	Scopes          []string
	UsedAt          *time.Time
	BearerExpiresAt time.Time
	EndedAt         *time.Time
}

func (r bearerRow) bearer() identity.Bearer {
	b := identity.Bearer{Person: r.person(), Scopes: tokenScopes(r.Scopes), UsedAt: r.UsedAt, ExpiresAt: r.BearerExpiresAt, EndedAt: r.EndedAt}
	if r.SessionID != nil {
		b.SessionID, b.Scopes = *r.SessionID, nil // everything that the role may
	}
	if r.TokenID != nil {
		b.TokenID = *r.TokenID
	}
	return b
}

const sqlBearerByHash = `-- bearer_by_hash
with bearer as (
  select person_id, session_id, null::uuid as token_id, null::text[] as scopes, last_seen_at as used_at, expires_at, ended_at
  from session where secret_sha256 = @secret_sha256
  union all
  select person_id, null, token_id, scopes, last_used_at, expires_at, revoked_at
  from token where secret_sha256 = @secret_sha256)
select b.session_id, b.token_id, b.scopes, b.used_at, b.expires_at as bearer_expires_at, b.ended_at,
  p.person_id, p.email, p.name, p.role, p.scope_kind, p.must_change_password, p.units, p.language,
  p.expires_at, p.disabled_at, p.version, p.created_at, p.created_by,
  coalesce((select array_agg(c.customer_id order by c.customer_id) from person_customer c where c.person_id = p.person_id), '{}') as customers,
  coalesce((select array_agg(s.site_id order by s.site_id) from person_site s where s.person_id = p.person_id), '{}') as sites
from bearer b join person p on p.person_id = b.person_id`

// BearerByHash gives the person whom a session or a token stands for.
func (g gate) BearerByHash(ctx context.Context, hash [32]byte) (identity.Bearer, error) {
	r, err := queryOne[bearerRow](ctx, g.Tx, "bearer_by_hash", sqlBearerByHash, pgx.StrictNamedArgs{"secret_sha256": hash[:]}, "secret_unknown")
	return r.bearer(), err
}

type sessionRow struct {
	SessionID  uuid.UUID
	PersonID   uuid.UUID
	CreatedAt  time.Time
	LastSeenAt time.Time
	ExpiresAt  time.Time
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

const sqlSessionPage = `-- session_page
select session_id, person_id, created_at, last_seen_at, expires_at, user_agent from session
where person_id = @person_id and ended_at is null and expires_at > @now and last_seen_at > @seen_since and (created_at, session_id) < (@before_at, @before_id)
order by created_at desc, session_id desc limit @limit`

// SessionPage lists the sessions of a person that run and were seen since, the newest first.
func (g gate) SessionPage(ctx context.Context, personID uuid.UUID, seenSince, now time.Time, page identity.Page) ([]identity.Session, error) {
	rows, err := query[sessionRow](ctx, g.Tx, "session_page", sqlSessionPage, pgx.StrictNamedArgs{"person_id": personID, "now": now, "seen_since": seenSince,
		"before_at": bound(page.BeforeAt), "before_id": page.BeforeID, "limit": page.Limit})
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
		Scopes: tokenScopes(r.Scopes)}
}

func tokenScopes(texts []string) []identity.TokenScope {
	return each(texts, func(s string) identity.TokenScope { return identity.TokenScope(s) })
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

const sqlTokenPage = `-- token_page
select token_id, person_id, name, scopes, created_at, expires_at, revoked_at, last_used_at from token
where person_id = @person_id and (created_at, token_id) < (@before_at, @before_id)
order by created_at desc, token_id desc limit @limit`

// TokenPage lists the tokens of a person, the newest first.
func (g gate) TokenPage(ctx context.Context, personID uuid.UUID, page identity.Page) ([]identity.Token, error) {
	rows, err := query[tokenRow](ctx, g.Tx, "token_page", sqlTokenPage, pgx.StrictNamedArgs{"person_id": personID,
		"before_at": bound(page.BeforeAt), "before_id": page.BeforeID, "limit": page.Limit})
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

const sqlRevokeTokens = `-- revoke_tokens
update token set revoked_at = @at where person_id = @person_id and revoked_at is null`

// RevokeTokens ends all tokens of a person.
func (g gate) RevokeTokens(ctx context.Context, personID uuid.UUID, at time.Time) error {
	_, err := exec(ctx, g.Tx, "revoke_tokens", sqlRevokeTokens, pgx.StrictNamedArgs{"person_id": personID, "at": at})
	return err
}

const sqlLockName = `-- lock_name
select pg_advisory_xact_lock(hashtextextended(@name, 0))`

// Lock makes transactions that name the same thing wait for each other.
func (g gate) Lock(ctx context.Context, name string) error {
	_, err := exec(ctx, g.Tx, "lock_name", sqlLockName, pgx.StrictNamedArgs{"name": name})
	return err
}

type credentialsRow struct {
	PersonID     uuid.UUID
	PasswordHash string
	OneTimeUntil *time.Time
}

const sqlCredentialsByEmail = `-- credentials_by_email
select person_id, coalesce(password_hash, '') as password_hash, one_time_until from person where email = @email`

// CredentialsByEmail gives what a sign-in is compared with.
func (g gate) CredentialsByEmail(ctx context.Context, email string) (identity.Credentials, error) {
	r, err := queryOne[credentialsRow](ctx, g.Tx, "credentials_by_email", sqlCredentialsByEmail, pgx.StrictNamedArgs{"email": email}, "person_not_found")
	return identity.Credentials(r), err
}

const sqlSetPassword = `-- set_password
update person set password_hash = @password_hash, must_change_password = @one_time_until::timestamptz is not null, one_time_until = @one_time_until, version = version + 1
where person_id = @person_id`

// SetPassword writes the hash of a new password: the person's own, or a one-time password that ends.
func (g gate) SetPassword(ctx context.Context, personID uuid.UUID, hash string, oneTimeUntil *time.Time) error {
	return expectOne(exec(ctx, g.Tx, "set_password", sqlSetPassword, pgx.StrictNamedArgs{"person_id": personID, "password_hash": hash, "one_time_until": oneTimeUntil}))
}

const sqlRehashPassword = `-- rehash_password
update person set password_hash = @password_hash where person_id = @person_id and password_hash = @old`

// RehashPassword writes a new hash of the same password, unless the password has changed meanwhile.
func (g gate) RehashPassword(ctx context.Context, personID uuid.UUID, old, hash string) error {
	_, err := exec(ctx, g.Tx, "rehash_password", sqlRehashPassword, pgx.StrictNamedArgs{"person_id": personID, "old": old, "password_hash": hash})
	return err
}

const sqlInsertFailure = `-- insert_failure
insert into sign_in_failure (failure_id, account_sha256, at) values (@failure_id, @account_sha256, @at)`

// InsertFailure counts a failed sign-in.
func (g gate) InsertFailure(ctx context.Context, id uuid.UUID, account [32]byte, at time.Time) error {
	_, err := exec(ctx, g.Tx, "insert_failure", sqlInsertFailure, pgx.StrictNamedArgs{"failure_id": id, "account_sha256": account[:], "at": at})
	return err
}

type failuresRow struct {
	Count int
	Last  *time.Time
}

const sqlFailures = `-- failures
select count(*) as count, max(at) as last from sign_in_failure where account_sha256 = @account_sha256`

// Failures tells how many sign-ins failed in a row, and when the last one did.
func (g gate) Failures(ctx context.Context, account [32]byte) (count int, last time.Time, err error) {
	r, err := queryOne[failuresRow](ctx, g.Tx, "failures", sqlFailures, pgx.StrictNamedArgs{"account_sha256": account[:]}, "internal")
	if err != nil || r.Last == nil {
		return 0, time.Time{}, err
	}
	return r.Count, *r.Last, nil
}

const sqlForgetFailures = `-- forget_failures
delete from sign_in_failure where account_sha256 in (select account_sha256 from sign_in_failure group by account_sha256 having max(at) < @before)`

// ForgetFailures deletes the failures of accounts whose last one was before an instant.
func (g gate) ForgetFailures(ctx context.Context, before time.Time) (int64, error) {
	return exec(ctx, g.Tx, "forget_failures", sqlForgetFailures, pgx.StrictNamedArgs{"before": before})
}

const sqlClearFailures = `-- clear_failures
delete from sign_in_failure where account_sha256 = @account_sha256`

// ClearFailures forgets failed sign-ins after one that succeeded.
func (g gate) ClearFailures(ctx context.Context, account [32]byte) error {
	_, err := exec(ctx, g.Tx, "clear_failures", sqlClearFailures, pgx.StrictNamedArgs{"account_sha256": account[:]})
	return err
}

const sqlInsertClaim = `-- insert_claim
insert into kept_answer (person_id, key_sha256, begun_at) values (@person_id, @key_sha256, @begun_at)
on conflict do nothing`

// InsertClaim begins a request under a key, or answers false when one was begun.
func (g gate) InsertClaim(ctx context.Context, personID uuid.UUID, key [32]byte, at time.Time) (bool, error) {
	n, err := exec(ctx, g.Tx, "insert_claim", sqlInsertClaim, pgx.StrictNamedArgs{"person_id": personID, "key_sha256": key[:], "begun_at": at})
	return n == 1, err
}

const sqlKeptAnswer = `-- kept_answer
select begun_at, sealed from kept_answer where person_id = @person_id and key_sha256 = @key_sha256`

type keptAnswerRow struct {
	BegunAt time.Time
	Sealed  []byte
}

// KeptAnswer gives the sealed answer to the request under a key.
func (g gate) KeptAnswer(ctx context.Context, personID uuid.UUID, key [32]byte) (sealed []byte, begunAt time.Time, there bool, err error) {
	rows, err := query[keptAnswerRow](ctx, g.Tx, "kept_answer", sqlKeptAnswer, pgx.StrictNamedArgs{"person_id": personID, "key_sha256": key[:]})
	if err != nil || len(rows) == 0 {
		return nil, time.Time{}, false, err
	}
	return rows[0].Sealed, rows[0].BegunAt, true, nil
}

const sqlTakeClaim = `-- take_claim
update kept_answer set begun_at = @at where person_id = @person_id and key_sha256 = @key_sha256 and begun_at = @begun_at and sealed is null`

// TakeClaim takes over a request that was broken off.
func (g gate) TakeClaim(ctx context.Context, personID uuid.UUID, key [32]byte, begunAt, at time.Time) (bool, error) {
	n, err := exec(ctx, g.Tx, "take_claim", sqlTakeClaim, pgx.StrictNamedArgs{"person_id": personID, "key_sha256": key[:], "begun_at": begunAt, "at": at})
	return n == 1, err
}

const sqlSealAnswer = `-- seal_answer
update kept_answer set sealed = @sealed where person_id = @person_id and key_sha256 = @key_sha256 and begun_at = @begun_at and sealed is null`

// SealAnswer keeps the answer to a request.
func (g gate) SealAnswer(ctx context.Context, personID uuid.UUID, key [32]byte, begunAt time.Time, sealed []byte) error {
	_, err := exec(ctx, g.Tx, "seal_answer", sqlSealAnswer, pgx.StrictNamedArgs{"person_id": personID, "key_sha256": key[:], "begun_at": begunAt, "sealed": sealed})
	return err
}

const sqlDropClaim = `-- drop_claim
delete from kept_answer where person_id = @person_id and key_sha256 = @key_sha256 and begun_at = @begun_at and sealed is null`

// DropClaim forgets a request that came to nothing.
func (g gate) DropClaim(ctx context.Context, personID uuid.UUID, key [32]byte, begunAt time.Time) error {
	_, err := exec(ctx, g.Tx, "drop_claim", sqlDropClaim, pgx.StrictNamedArgs{"person_id": personID, "key_sha256": key[:], "begun_at": begunAt})
	return err
}

const sqlForgetAnswers = `-- forget_answers
delete from kept_answer where begun_at < @before`

// ForgetAnswers deletes the answers to requests of before an instant.
func (g gate) ForgetAnswers(ctx context.Context, before time.Time) (int64, error) {
	return exec(ctx, g.Tx, "forget_answers", sqlForgetAnswers, pgx.StrictNamedArgs{"before": before})
}

type qualificationRow struct {
	PersonID        uuid.UUID
	QualificationID uuid.UUID
	Kind            string
	Scheme          string
	Number          string
	Issuer          string
	ValidFrom       time.Time
	ValidUntil      *time.Time
	StatedUntil     *time.Time
	RecordedAt      time.Time
	Renewed         bool
}

func (r qualificationRow) qualification() identity.Qualification {
	return identity.Qualification{PersonID: r.PersonID, QualificationID: r.QualificationID, Kind: r.Kind, Scheme: r.Scheme, Number: r.Number, Issuer: r.Issuer,
		ValidFrom: day(&r.ValidFrom), ValidUntil: day(r.ValidUntil), StatedUntil: day(r.StatedUntil), RecordedAt: r.RecordedAt, Renewed: r.Renewed}
}

const sqlInsertQualification = `-- insert_qualification
insert into qualification (person_id, qualification_id, kind, scheme, number, issuer, valid_from, valid_until, recorded_at)
values (@person_id, @qualification_id, @kind, @scheme, @number, @issuer, @valid_from, @valid_until, @recorded_at)
on conflict (person_id, qualification_id) do nothing`

// InsertQualification records a certificate, or answers false when the person has one under this id.
func (g gate) InsertQualification(ctx context.Context, q identity.Qualification) (bool, error) {
	n, err := exec(ctx, g.Tx, "insert_qualification", sqlInsertQualification, pgx.StrictNamedArgs{"person_id": q.PersonID, "qualification_id": q.QualificationID,
		"kind": q.Kind, "scheme": q.Scheme, "number": q.Number, "issuer": q.Issuer, "valid_from": date(q.ValidFrom), "valid_until": date(q.ValidUntil), "recorded_at": q.RecordedAt})
	return n == 1, err
}

const sqlQualificationByID = `-- qualification_by_id
select person_id, qualification_id, kind, scheme, number, issuer, valid_from, valid_until, stated_until, recorded_at, renewed from certificate
where person_id = @person_id and qualification_id = @qualification_id`

// QualificationByID gives one certificate of a person.
func (g gate) QualificationByID(ctx context.Context, personID, id uuid.UUID) (identity.Qualification, error) {
	r, err := queryOne[qualificationRow](ctx, g.Tx, "qualification_by_id", sqlQualificationByID,
		pgx.StrictNamedArgs{"person_id": personID, "qualification_id": id}, "qualification_not_found")
	return r.qualification(), err
}

const sqlEndQualification = `-- end_qualification
insert into qualification_end (person_id, qualification_id, valid_until, recorded_at, recorded_by)
values (@person_id, @qualification_id, @valid_until, @recorded_at, @recorded_by) on conflict do nothing`

// EndQualification brings the last day of a certificate forward.
func (g gate) EndQualification(ctx context.Context, q identity.Qualification, at time.Time, by uuid.UUID) error {
	_, err := exec(ctx, g.Tx, "end_qualification", sqlEndQualification, pgx.StrictNamedArgs{"person_id": q.PersonID, "qualification_id": q.QualificationID,
		"valid_until": date(q.ValidUntil), "recorded_at": at, "recorded_by": by})
	return err
}

const sqlQualificationPage = `-- qualification_page
select person_id, qualification_id, kind, scheme, number, issuer, valid_from, valid_until, stated_until, recorded_at, renewed from certificate
where person_id = @person_id and (recorded_at, qualification_id) < (@before_at, @before_id)
order by recorded_at desc, qualification_id desc limit @limit`

// QualificationPage lists the certificates of a person, the last recorded first.
func (g gate) QualificationPage(ctx context.Context, personID uuid.UUID, page identity.Page) ([]identity.Qualification, error) {
	rows, err := query[qualificationRow](ctx, g.Tx, "qualification_page", sqlQualificationPage, pgx.StrictNamedArgs{"person_id": personID,
		"before_at": bound(page.BeforeAt), "before_id": page.BeforeID, "limit": page.Limit})
	return each(rows, qualificationRow.qualification), err
}

type expiryRow struct {
	qualificationRow
	Name string
}

func (r expiryRow) expiry() identity.Expiry {
	return identity.Expiry{Qualification: r.qualification(), Name: r.Name}
}

const sqlExpiryPage = `-- expiry_page
select c.person_id, c.qualification_id, c.kind, c.scheme, c.number, c.issuer, c.valid_from, c.valid_until, c.stated_until, c.recorded_at, c.renewed, p.name
from certificate c join person p on p.person_id = c.person_id
where not c.renewed and p.disabled_at is null and c.valid_until >= coalesce(@from, '-infinity'::date) and c.valid_until <= coalesce(@until, 'infinity'::date)
  and (c.valid_until, c.person_id, c.qualification_id) > (coalesce(@after_day, '-infinity'::date), @after_person, @after_id)
order by c.valid_until, c.person_id, c.qualification_id limit @limit`

// ExpiryPage lists certificates that run out, by their last day.
func (g gate) ExpiryPage(ctx context.Context, q identity.ExpiryQuery) ([]identity.Expiry, error) {
	rows, err := query[expiryRow](ctx, g.Tx, "expiry_page", sqlExpiryPage, pgx.StrictNamedArgs{"from": date(q.From), "until": date(q.Until),
		"after_day": date(q.AfterDay), "after_person": q.AfterPerson, "after_id": q.AfterID, "limit": q.Limit})
	return each(rows, expiryRow.expiry), err
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
