package identity

import (
	"context"
	"crypto/sha256"
	"io"
	"net/mail"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
)

// Person is somebody who may sign in.
type Person struct {
	PersonID           uuid.UUID
	Email              string // lower case
	Name               string
	Role               Role
	ScopeKind          ScopeKind
	Customers, Sites   []uuid.UUID // with the scope kind of the same name
	PasswordHash       string      // "" cannot sign in; only the gate reads it
	MustChangePassword bool
	Units, Language    string
	ExpiresAt          *time.Time // an auditor always has one
	DisabledAt         *time.Time
	Version            int
	CreatedAt          time.Time
	CreatedBy          *uuid.UUID
}

// Session is a signed-in browser or device.
type Session struct {
	SessionID  uuid.UUID
	PersonID   uuid.UUID
	CreatedAt  time.Time
	LastSeenAt time.Time
	ExpiresAt  time.Time
	EndedAt    *time.Time
	UserAgent  string
}

// Token is a secret for a program that acts for a person.
type Token struct {
	TokenID    uuid.UUID
	PersonID   uuid.UUID
	Name       string
	Scopes     []TokenScope
	CreatedAt  time.Time
	ExpiresAt  time.Time
	RevokedAt  *time.Time
	LastUsedAt *time.Time
}

// Qualification is a certificate with the days on which it is valid.
type Qualification struct {
	PersonID, QualificationID uuid.UUID
	Scheme, Number            string
	ValidFrom, ValidUntil     string // civil dates; "" until further notice
	RecordedAt                time.Time
}

// Event is something that must be provable later: who did or read what.
type Event struct {
	AuditID     uuid.UUID
	At          time.Time
	PersonID    *uuid.UUID
	Action      string
	SubjectKind string
	SubjectID   string
	RequestID   string
}

// PersonQuery asks for people in the order of their names; EventQuery for events, the newest first.
type PersonQuery struct {
	Search    string
	Role      Role
	AfterName string
	AfterID   uuid.UUID
	Limit     int
}

// EventQuery asks for events, the newest first.
type EventQuery struct {
	Subject  string // id of the subject, "" for all
	Person   uuid.UUID
	BeforeAt time.Time
	BeforeID uuid.UUID
	Limit    int
}

// GateStore opens transactions that see the identity tables and nothing else.
type GateStore interface {
	InGate(ctx context.Context, f func(context.Context, GateTx) error) error
}

// GateTx is what this room needs of storage.
type GateTx interface {
	PersonByEmail(ctx context.Context, email string) (Person, error)
	PersonByID(ctx context.Context, id uuid.UUID) (Person, error)
	PersonPage(ctx context.Context, q PersonQuery) ([]Person, error)
	InsertPerson(ctx context.Context, p Person) (bool, error)
	UpdatePerson(ctx context.Context, p Person) error
	// SetScope writes the set of customers or sites that a person sees.
	SetScope(ctx context.Context, p Person) error
	CountAdministrators(ctx context.Context) (int, error)

	InsertSession(ctx context.Context, hash [32]byte, s Session) error
	SessionByHash(ctx context.Context, hash [32]byte) (Session, error)
	SessionsOf(ctx context.Context, personID uuid.UUID, now time.Time) ([]Session, error)
	TouchSession(ctx context.Context, id uuid.UUID, at time.Time) error
	// EndSessions ends those of a person but for one; the zero id keeps none.
	EndSessions(ctx context.Context, personID, keep uuid.UUID, at time.Time) error
	EndSession(ctx context.Context, personID, id uuid.UUID, at time.Time) (bool, error)

	InsertToken(ctx context.Context, hash [32]byte, t Token) error
	TokenByHash(ctx context.Context, hash [32]byte) (Token, error)
	TokensOf(ctx context.Context, personID uuid.UUID) ([]Token, error)
	TouchToken(ctx context.Context, id uuid.UUID, at time.Time) error
	RevokeToken(ctx context.Context, personID, id uuid.UUID, at time.Time) (bool, error)

	InsertFailure(ctx context.Context, id uuid.UUID, account [32]byte, at time.Time) error
	// Failures tells how many there were since and when the last one was.
	Failures(ctx context.Context, account [32]byte, since time.Time) (count int, last time.Time, err error)
	ClearFailures(ctx context.Context, account [32]byte) error

	PutQualification(ctx context.Context, q Qualification) error
	QualificationsOf(ctx context.Context, personID uuid.UUID) ([]Qualification, error)

	InsertEvent(ctx context.Context, e Event) error
	EventPage(ctx context.Context, q EventQuery) ([]Event, error)
}

// How long a session lasts, and how often it is written that it was used.
const (
	sessionIdle  = 12 * time.Hour
	sessionMost  = 7 * 24 * time.Hour
	touchEvery   = time.Minute
	mostFailures = 100 // in a row per account: NIST SP 800-63B
	forgetAfter  = 24 * time.Hour
	tokenMost    = 366 * 24 * time.Hour
)

// People holds the use-cases of this room.
type People struct {
	store  GateStore
	hasher *Hasher
	now    func() time.Time
	newID  func() uuid.UUID
	random io.Reader
}

// NewPeople makes the use-cases from their parts.
func NewPeople(store GateStore, hasher *Hasher, now func() time.Time, newID func() uuid.UUID, random io.Reader) *People {
	return &People{store: store, hasher: hasher, now: now, newID: newID, random: random}
}

func failed() error { return fault.New(fault.Unauthenticated, "sign_in_failed") }

// SignIn opens a session. An unknown account, a wrong password and a disabled person cost the same and read the same.
func (p *People) SignIn(ctx context.Context, email, password, userAgent, requestID string) (secret string, s Session, who Actor, err error) {
	account := strings.ToLower(strings.TrimSpace(email))
	key := sha256.Sum256([]byte(account))
	var person Person
	known := false
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		if err := p.checkWait(ctx, tx, key); err != nil {
			return err
		}
		person, err = tx.PersonByEmail(ctx, account)
		known = err == nil
		if fault.Is(err, "person_not_found") {
			return nil
		}
		return err
	})
	if err != nil {
		return "", Session{}, Actor{}, err
	}
	match, err := p.verify(ctx, person, known, password) // outside of the transaction: it takes its time on purpose
	if err != nil {
		return "", Session{}, Actor{}, err
	}
	now := p.now()
	if !match || !person.active(now) {
		err := p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error { return tx.InsertFailure(ctx, p.newID(), key, now) })
		if err != nil {
			return "", Session{}, Actor{}, err
		}
		return "", Session{}, Actor{}, failed()
	}
	secret, hash, err := NewSecret(p.random)
	if err != nil {
		return "", Session{}, Actor{}, err
	}
	s = Session{SessionID: p.newID(), PersonID: person.PersonID, CreatedAt: now, LastSeenAt: now, ExpiresAt: now.Add(sessionMost), UserAgent: shortened(userAgent, 200)}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		if err := tx.ClearFailures(ctx, key); err != nil {
			return err
		}
		if err := tx.InsertSession(ctx, hash, s); err != nil {
			return err
		}
		return p.event(ctx, tx, person.PersonID, "signed_in", "session", s.SessionID.String(), requestID)
	})
	return secret, s, person.actor(s.SessionID, nil), err
}

func (p *People) verify(ctx context.Context, person Person, known bool, password string) (bool, error) {
	if !known || person.PasswordHash == "" {
		return false, p.hasher.VerifyNobody(ctx)
	}
	match, _, err := p.hasher.Verify(ctx, password, person.PasswordHash)
	return match, err
}

// checkWait makes somebody who fails wait longer and longer: 1 s after the third failure, doubling up to 15 min.
func (p *People) checkWait(ctx context.Context, tx GateTx, account [32]byte) error {
	now := p.now()
	count, last, err := tx.Failures(ctx, account, now.Add(-forgetAfter))
	if err != nil || count < 3 {
		return err
	}
	wait := min(time.Second<<min(count-3, 20), 15*time.Minute)
	if count >= mostFailures {
		wait = forgetAfter
	}
	if left := last.Add(wait).Sub(now); left > 0 {
		return fault.New(fault.TooMany, "sign_in_wait", "seconds", int(left.Seconds())+1)
	}
	return nil
}

func (p Person) active(now time.Time) bool {
	return p.DisabledAt == nil && (p.ExpiresAt == nil || now.Before(*p.ExpiresAt))
}

func (p Person) actor(session uuid.UUID, scopes []TokenScope) Actor {
	return Actor{PersonID: p.PersonID, Name: p.Name, Role: p.Role, ScopeKind: p.ScopeKind, Customers: p.Customers, Sites: p.Sites, Units: p.Units,
		Language: p.Language, SessionID: session, TokenScopes: scopes, MustChangePassword: p.MustChangePassword && scopes == nil}
}

// Authenticate tells whom a session's or a token's secret stands for. Rights are read anew each time: what an
// administrator takes away is gone at once.
func (p *People) Authenticate(ctx context.Context, secret string) (who Actor, err error) {
	hash, ok := HashSecret(secret)
	if !ok {
		return Actor{}, fault.New(fault.Unauthenticated, "secret_unknown")
	}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		s, err := tx.SessionByHash(ctx, hash)
		if fault.Is(err, "session_not_found") {
			who, err = p.byToken(ctx, tx, hash)
			return err
		}
		if err != nil {
			return err
		}
		who, err = p.bySession(ctx, tx, s)
		return err
	})
	return who, err
}

func (p *People) bySession(ctx context.Context, tx GateTx, s Session) (Actor, error) {
	now := p.now()
	if s.EndedAt != nil || !now.Before(s.ExpiresAt) || !now.Before(s.LastSeenAt.Add(sessionIdle)) {
		return Actor{}, fault.New(fault.Unauthenticated, "session_ended")
	}
	person, err := tx.PersonByID(ctx, s.PersonID)
	if err != nil {
		return Actor{}, err
	}
	if !person.active(now) {
		return Actor{}, fault.New(fault.Unauthenticated, "session_ended")
	}
	if now.Sub(s.LastSeenAt) >= touchEvery {
		if err := tx.TouchSession(ctx, s.SessionID, now); err != nil {
			return Actor{}, err
		}
	}
	return person.actor(s.SessionID, nil), nil
}

func (p *People) byToken(ctx context.Context, tx GateTx, hash [32]byte) (Actor, error) {
	now := p.now()
	t, err := tx.TokenByHash(ctx, hash)
	if fault.Is(err, "token_not_found") || err == nil && (t.RevokedAt != nil || !now.Before(t.ExpiresAt)) {
		return Actor{}, fault.New(fault.Unauthenticated, "secret_unknown")
	}
	if err != nil {
		return Actor{}, err
	}
	person, err := tx.PersonByID(ctx, t.PersonID)
	if err != nil {
		return Actor{}, err
	}
	if !person.active(now) {
		return Actor{}, fault.New(fault.Unauthenticated, "secret_unknown")
	}
	if t.LastUsedAt == nil || now.Sub(*t.LastUsedAt) >= touchEvery {
		if err := tx.TouchToken(ctx, t.TokenID, now); err != nil {
			return Actor{}, err
		}
	}
	return person.actor(uuid.Nil, t.Scopes), nil
}

// SignOut ends the actor's session.
func (p *People) SignOut(ctx context.Context, by Actor) error {
	_, err := p.endSession(ctx, by, by.SessionID)
	return err
}

// EndSession ends one of the actor's own sessions.
func (p *People) EndSession(ctx context.Context, by Actor, id uuid.UUID) error {
	ended, err := p.endSession(ctx, by, id)
	if err == nil && !ended {
		return fault.New(fault.NotFound, "session_not_found")
	}
	return err
}

func (p *People) endSession(ctx context.Context, by Actor, id uuid.UUID) (ended bool, err error) {
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		ended, err = tx.EndSession(ctx, by.PersonID, id, p.now())
		return err
	})
	return ended, err
}

// Sessions lists the actor's own sessions that still run.
func (p *People) Sessions(ctx context.Context, by Actor) (list []Session, err error) {
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		list, err = tx.SessionsOf(ctx, by.PersonID, p.now())
		return err
	})
	return list, err
}

// Self gives the actor's own person.
func (p *People) Self(ctx context.Context, by Actor) (Person, error) {
	return p.person(ctx, by.PersonID)
}

func (p *People) person(ctx context.Context, id uuid.UUID) (person Person, err error) {
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		person, err = tx.PersonByID(ctx, id)
		return err
	})
	return person, err
}

// ChangePassword needs the present password, and ends all other sessions.
func (p *People) ChangePassword(ctx context.Context, by Actor, present, next, requestID string) error {
	person, err := p.person(ctx, by.PersonID)
	if err != nil {
		return err
	}
	match, err := p.verify(ctx, person, true, present)
	if err != nil {
		return err
	}
	if !match {
		return &fault.Error{Kind: fault.Invalid, Code: "password_differs", Pointer: "/present"}
	}
	if err := CheckPassword(next, person.Email, false); err != nil {
		return atMember(err, "/next")
	}
	hash, err := p.hasher.Hash(ctx, next)
	if err != nil {
		return err
	}
	return p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		person, err := tx.PersonByID(ctx, by.PersonID)
		if err != nil {
			return err
		}
		person.PasswordHash, person.MustChangePassword = hash, false
		person.Version++
		if err := tx.UpdatePerson(ctx, person); err != nil {
			return err
		}
		if err := tx.EndSessions(ctx, by.PersonID, by.SessionID, p.now()); err != nil {
			return err
		}
		return p.event(ctx, tx, by.PersonID, "password_changed", "person", by.PersonID.String(), requestID)
	})
}

// atMember says of which member the faults of a text are.
func atMember(err error, pointer string) error {
	var list fault.List
	for _, f := range fault.Of(err) {
		list.Add(pointer, f.Code, f.Args...)
	}
	if len(list) == 0 {
		return err
	}
	return list.Err()
}

// SetUnits chooses what the actor sees.
func (p *People) SetUnits(ctx context.Context, by Actor, units string) (person Person, err error) {
	if units != "metric" && units != "us" {
		return Person{}, fault.At("/units", "word_unknown", "word", units, "allowed", "metric, us")
	}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		if person, err = tx.PersonByID(ctx, by.PersonID); err != nil || person.Units == units {
			return err
		}
		person.Units = units
		person.Version++
		return tx.UpdatePerson(ctx, person)
	})
	return person, err
}

// PutPerson makes a person, with a one-time password that is answered once, or changes one. A change of rights
// holds from the next request on.
func (p *People) PutPerson(ctx context.Context, by Actor, in Person, ifMatch int, requestID string) (saved Person, oneTime string, created bool, err error) {
	in.Email = strings.ToLower(strings.TrimSpace(in.Email))
	in.Name = strings.TrimSpace(in.Name)
	if err := in.check(p.now()); err != nil {
		return Person{}, "", false, err
	}
	oneTime, hash, err := p.oneTimePassword(ctx)
	if err != nil {
		return Person{}, "", false, err
	}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		fresh := in
		fresh.PasswordHash, fresh.MustChangePassword, fresh.Language, fresh.Version, fresh.CreatedAt, fresh.CreatedBy = hash, true, "en", 1, p.now(), &by.PersonID
		if fresh.Units == "" {
			fresh.Units = "metric"
		}
		saved = fresh
		if created, err = tx.InsertPerson(ctx, fresh); err != nil {
			return err
		}
		action := "person_made"
		if !created {
			present, err := tx.PersonByID(ctx, in.PersonID)
			if err != nil {
				return err
			}
			saved = present
			saved.Email, saved.Name, saved.Role, saved.ScopeKind, saved.Customers, saved.Sites, saved.ExpiresAt = in.Email, in.Name, in.Role, in.ScopeKind, in.Customers, in.Sites, in.ExpiresAt
			if samePerson(saved, present) {
				saved = present
				return nil
			}
			if ifMatch == 0 {
				return fault.New(fault.PreconditionRequired, "version_required")
			}
			if ifMatch != present.Version {
				return fault.New(fault.PreconditionFailed, "version_differs")
			}
			saved.Version++
			if err := tx.UpdatePerson(ctx, saved); err != nil {
				return err
			}
			action = "rights_changed"
		}
		if err := tx.SetScope(ctx, saved); err != nil {
			return err
		}
		return p.event(ctx, tx, by.PersonID, action, "person", saved.PersonID.String(), requestID)
	})
	if !created {
		oneTime = ""
	}
	return saved, oneTime, created, err
}

func samePerson(a, b Person) bool {
	sameExpiry := a.ExpiresAt == b.ExpiresAt || a.ExpiresAt != nil && b.ExpiresAt != nil && a.ExpiresAt.Equal(*b.ExpiresAt)
	return a.Email == b.Email && a.Name == b.Name && a.Role == b.Role && a.ScopeKind == b.ScopeKind && sameExpiry &&
		sameSet(a.Customers, b.Customers) && sameSet(a.Sites, b.Sites)
}

func sameSet(a, b []uuid.UUID) bool {
	compare := func(x, y uuid.UUID) int { return strings.Compare(x.String(), y.String()) }
	return slices.Equal(slices.SortedFunc(slices.Values(a), compare), slices.SortedFunc(slices.Values(b), compare))
}

func (p Person) check(now time.Time) error {
	var faults fault.List
	if at, err := mail.ParseAddress(p.Email); err != nil || at.Address != p.Email || len(p.Email) > 254 {
		faults.Add("/email", "email_unreadable")
	}
	if len(p.Name) < 1 || len(p.Name) > 200 {
		faults.Add("/name", "text_length", "least", 1, "greatest", 200)
	}
	if !slices.Contains(Roles(), p.Role) {
		faults.Add("/role", "word_unknown", "word", string(p.Role), "allowed", "dispatcher, technician, support, owner_agent, auditor, administrator")
	} else if p.Role.Staff() != (p.ScopeKind == ScopeAll) {
		faults.Add("/scope_kind", "scope_of_other_role", "role", string(p.Role))
	}
	if (p.ScopeKind == ScopeCustomers) != (len(p.Customers) > 0) {
		faults.Add("/customers", "scope_set")
	}
	if (p.ScopeKind == ScopeSites) != (len(p.Sites) > 0) {
		faults.Add("/sites", "scope_set")
	}
	if p.Role == Auditor && p.ExpiresAt == nil {
		faults.Add("/expires_at", "auditor_expires")
	}
	if p.ExpiresAt != nil && !p.ExpiresAt.After(now) {
		faults.Add("/expires_at", "in_the_past")
	}
	return faults.Err()
}

func (p *People) oneTimePassword(ctx context.Context) (password, hash string, err error) {
	if password, err = RandomPassword(p.random); err != nil {
		return "", "", err
	}
	hash, err = p.hasher.Hash(ctx, password)
	return password, hash, err
}

// DisablePerson takes or gives back the right to sign in; taking it ends every session at once.
func (p *People) DisablePerson(ctx context.Context, by Actor, id uuid.UUID, disabled bool, requestID string) (person Person, err error) {
	if id == by.PersonID {
		return Person{}, fault.New(fault.Conflict, "not_yourself")
	}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		if person, err = tx.PersonByID(ctx, id); err != nil || (person.DisabledAt != nil) == disabled {
			return err
		}
		now, action := p.now(), "person_enabled"
		person.DisabledAt = nil
		if disabled {
			person.DisabledAt, action = &now, "person_disabled"
			if err := tx.EndSessions(ctx, id, uuid.Nil, now); err != nil {
				return err
			}
		}
		person.Version++
		if err := tx.UpdatePerson(ctx, person); err != nil {
			return err
		}
		return p.event(ctx, tx, by.PersonID, action, "person", id.String(), requestID)
	})
	return person, err
}

// ResetPassword gives a person a new one-time password and ends every session.
func (p *People) ResetPassword(ctx context.Context, by Actor, id uuid.UUID, requestID string) (oneTime string, err error) {
	oneTime, hash, err := p.oneTimePassword(ctx)
	if err != nil {
		return "", err
	}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		person, err := tx.PersonByID(ctx, id)
		if err != nil {
			return err
		}
		person.PasswordHash, person.MustChangePassword = hash, true
		person.Version++
		if err := tx.UpdatePerson(ctx, person); err != nil {
			return err
		}
		if err := tx.EndSessions(ctx, id, uuid.Nil, p.now()); err != nil {
			return err
		}
		return p.event(ctx, tx, by.PersonID, "password_reset", "person", id.String(), requestID)
	})
	return oneTime, err
}

// Person gives one person.
func (p *People) Person(ctx context.Context, _ Actor, id uuid.UUID) (Person, error) {
	return p.person(ctx, id)
}

// Persons lists people by name.
func (p *People) Persons(ctx context.Context, _ Actor, q PersonQuery) (list []Person, err error) {
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		list, err = tx.PersonPage(ctx, q)
		return err
	})
	return list, err
}

// mayManage tells whether the actor may manage the tokens of a person: their own, or all as administrator.
func mayManage(by Actor, personID uuid.UUID) error {
	if by.PersonID == personID || by.May(ActManagePeople) {
		return nil
	}
	return fault.New(fault.NotFound, "person_not_found")
}

// CreateToken makes a token; its secret is answered once.
func (p *People) CreateToken(ctx context.Context, by Actor, t Token, requestID string) (secret string, saved Token, err error) {
	if err := mayManage(by, t.PersonID); err != nil {
		return "", Token{}, err
	}
	var faults fault.List
	t.Name = strings.TrimSpace(t.Name)
	if len(t.Name) < 1 || len(t.Name) > 100 {
		faults.Add("/name", "text_length", "least", 1, "greatest", 100)
	}
	known := []TokenScope{TokenRead, TokenVisits, TokenRegister, TokenAdministration}
	if len(t.Scopes) == 0 || slices.ContainsFunc(t.Scopes, func(s TokenScope) bool { return !slices.Contains(known, s) }) {
		faults.Add("/scopes", "word_unknown", "word", "", "allowed", "read, visits, register, administration")
	}
	now := p.now()
	if !t.ExpiresAt.After(now) || t.ExpiresAt.After(now.Add(tokenMost)) {
		faults.Add("/expires_at", "token_life", "days", int(tokenMost.Hours()/24))
	}
	if err := faults.Err(); err != nil {
		return "", Token{}, err
	}
	secret, hash, err := NewSecret(p.random)
	if err != nil {
		return "", Token{}, err
	}
	t.TokenID, t.CreatedAt, t.RevokedAt, t.LastUsedAt = p.newID(), now, nil, nil
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		if _, err := tx.PersonByID(ctx, t.PersonID); err != nil {
			return err
		}
		if err := tx.InsertToken(ctx, hash, t); err != nil {
			return err
		}
		return p.event(ctx, tx, by.PersonID, "token_made", "token", t.TokenID.String(), requestID)
	})
	return secret, t, err
}

// Tokens lists the tokens of a person, without secrets.
func (p *People) Tokens(ctx context.Context, by Actor, personID uuid.UUID) (list []Token, err error) {
	if err := mayManage(by, personID); err != nil {
		return nil, err
	}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		list, err = tx.TokensOf(ctx, personID)
		return err
	})
	return list, err
}

// RevokeToken ends a token.
func (p *People) RevokeToken(ctx context.Context, by Actor, personID, id uuid.UUID, requestID string) error {
	if err := mayManage(by, personID); err != nil {
		return err
	}
	return p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		revoked, err := tx.RevokeToken(ctx, personID, id, p.now())
		if err != nil {
			return err
		}
		if !revoked {
			return fault.New(fault.NotFound, "token_not_found")
		}
		return p.event(ctx, tx, by.PersonID, "token_revoked", "token", id.String(), requestID)
	})
}

// PutQualification records a certificate. The same id again replaces what was said of it.
func (p *People) PutQualification(ctx context.Context, by Actor, q Qualification, requestID string) (Qualification, error) {
	q.Scheme, q.Number = strings.TrimSpace(q.Scheme), strings.TrimSpace(q.Number)
	var faults fault.List
	for pointer, text := range map[string]string{"/scheme": q.Scheme, "/number": q.Number} {
		if len(text) < 1 || len(text) > 100 {
			faults.Add(pointer, "text_length", "least", 1, "greatest", 100)
		}
	}
	if q.ValidFrom == "" {
		faults.Add("/valid_from", "date_missing")
	}
	if q.ValidUntil != "" && q.ValidUntil < q.ValidFrom {
		faults.Add("/valid_until", "before_its_beginning")
	}
	if err := faults.Err(); err != nil {
		return Qualification{}, err
	}
	q.RecordedAt = p.now()
	err := p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		if _, err := tx.PersonByID(ctx, q.PersonID); err != nil {
			return err
		}
		if err := tx.PutQualification(ctx, q); err != nil {
			return err
		}
		return p.event(ctx, tx, by.PersonID, "qualification_recorded", "person", q.PersonID.String(), requestID)
	})
	return q, err
}

// Qualifications lists the certificates of a person.
func (p *People) Qualifications(ctx context.Context, _ Actor, personID uuid.UUID) (list []Qualification, err error) {
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		if _, err := tx.PersonByID(ctx, personID); err != nil {
			return err
		}
		list, err = tx.QualificationsOf(ctx, personID)
		return err
	})
	return list, err
}

// RecordRead writes down what an auditor read.
func (p *People) RecordRead(ctx context.Context, by Actor, operation, path, requestID string) error {
	return p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		return p.event(ctx, tx, by.PersonID, "read", operation, shortened(path, 300), requestID)
	})
}

// Events lists the audit, the newest first.
func (p *People) Events(ctx context.Context, _ Actor, q EventQuery) (list []Event, err error) {
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		list, err = tx.EventPage(ctx, q)
		return err
	})
	return list, err
}

// MakeFirstAdministrator makes the person who makes all others. It refuses when there is an administrator.
func (p *People) MakeFirstAdministrator(ctx context.Context, email, name string) (oneTime string, err error) {
	person := Person{PersonID: p.newID(), Email: strings.ToLower(strings.TrimSpace(email)), Name: strings.TrimSpace(name), Role: Administrator, ScopeKind: ScopeAll,
		Units: "metric", Language: "en", Version: 1, MustChangePassword: true}
	if err := person.check(p.now()); err != nil {
		return "", err
	}
	oneTime, hash, err := p.oneTimePassword(ctx)
	if err != nil {
		return "", err
	}
	person.PasswordHash, person.CreatedAt = hash, p.now()
	return oneTime, p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		n, err := tx.CountAdministrators(ctx)
		if err != nil {
			return err
		}
		if n > 0 {
			return fault.New(fault.Conflict, "administrator_exists")
		}
		if _, err := tx.InsertPerson(ctx, person); err != nil {
			return err
		}
		return p.event(ctx, tx, person.PersonID, "person_made", "person", person.PersonID.String(), "")
	})
}

func (p *People) event(ctx context.Context, tx GateTx, by uuid.UUID, action, kind, subject, requestID string) error {
	return tx.InsertEvent(ctx, Event{AuditID: p.newID(), At: p.now(), PersonID: &by, Action: action, SubjectKind: kind, SubjectID: subject, RequestID: requestID})
}

func shortened(text string, most int) string {
	if len(text) <= most {
		return text
	}
	return strings.ToValidUTF8(text[:most], "")
}
