package identity

import (
	"context"
	"net/mail"
	"slices"
	"strings"
	"time"
	"unicode"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
)

// Person is somebody who may sign in. The hash of the password is not part of it.
type Person struct {
	PersonID           uuid.UUID
	Email              string // lower case
	Name               string
	Role               Role
	ScopeKind          ScopeKind
	Customers, Sites   []uuid.UUID // with the scope kind of the same name; in the order of their texts
	MustChangePassword bool
	Units, Language    string
	ExpiresAt          *time.Time // an auditor always has one
	DisabledAt         *time.Time
	Version            int
	CreatedAt          time.Time
	CreatedBy          *uuid.UUID // nil: made on the machine itself
}

// PersonQuery asks for people in the order of their names.
type PersonQuery struct {
	Search    string // part of the name or the address
	Role      Role   // "" for all
	AfterName string
	AfterID   uuid.UUID
	Limit     int
}

type personRows interface {
	PersonByID(ctx context.Context, id uuid.UUID) (Person, error)
	PersonPage(ctx context.Context, q PersonQuery) ([]Person, error)
	// InsertPerson adds a person with a one-time password, and answers false when the id is taken.
	InsertPerson(ctx context.Context, p Person, passwordHash string, oneTimeUntil time.Time) (bool, error)
	UpdatePerson(ctx context.Context, p Person) error
	// SetScope writes the set of customers or sites that a person sees.
	SetScope(ctx context.Context, p Person) error
	// LastingAdministrators counts those who are neither disabled nor will expire.
	LastingAdministrators(ctx context.Context) (int, error)
}

func (p Person) active(now time.Time) bool {
	return p.DisabledAt == nil && (p.ExpiresAt == nil || now.Before(*p.ExpiresAt))
}

func (p Person) lastingAdministrator() bool {
	return p.Role == Administrator && p.DisabledAt == nil && p.ExpiresAt == nil
}

// actor is the person at work. A token was not got with a one-time password, so it is not held up by one.
func (p Person) actor(session uuid.UUID, scopes []TokenScope) Actor {
	return Actor{PersonID: p.PersonID, Name: p.Name, Role: p.Role, ScopeKind: p.ScopeKind, Customers: p.Customers, Sites: p.Sites, Units: p.Units,
		Language: p.Language, SessionID: session, TokenScopes: scopes, MustChangePassword: p.MustChangePassword && scopes == nil}
}

// PutPerson makes a person, with a one-time password that is answered this once, or changes address, name, role, scope
// and end. A change of rights holds from the next request on.
func (p *People) PutPerson(ctx context.Context, by Actor, in Person, ifMatch int, requestID string) (saved Person, oneTime string, created bool, err error) {
	if err := need(by, ActManagePeople); err != nil {
		return Person{}, "", false, err
	}
	if err := in.tidy().check(); err != nil {
		return Person{}, "", false, err
	}
	password, hash, err := p.oneTimePassword(ctx)
	if err != nil {
		return Person{}, "", false, err
	}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		saved, created, err = p.makePerson(ctx, tx, by, in, hash, requestID)
		if err != nil || created {
			return err
		}
		saved, err = p.changePerson(ctx, tx, by, in, ifMatch, requestID)
		return err
	})
	if err != nil {
		return Person{}, "", false, err
	}
	if created {
		oneTime = password
	}
	return saved, oneTime, created, nil
}

func (p *People) makePerson(ctx context.Context, tx GateTx, by Actor, in Person, hash, requestID string) (Person, bool, error) {
	in.MustChangePassword, in.Units, in.Language, in.DisabledAt = true, "metric", "en", nil
	in.Version, in.CreatedAt, in.CreatedBy = 1, p.now(), &by.PersonID
	created, err := tx.InsertPerson(ctx, in, hash, in.CreatedAt.Add(OneTimeFor))
	if err != nil || !created {
		return in, false, err
	}
	if err := in.checkEnd(in.CreatedAt); err != nil {
		return in, false, err
	}
	if err := tx.SetScope(ctx, in); err != nil {
		return in, false, err
	}
	return in, true, p.event(ctx, tx, by.PersonID, "person_made", "person", in.PersonID.String(), requestID)
}

func (p *People) changePerson(ctx context.Context, tx GateTx, by Actor, in Person, ifMatch int, requestID string) (Person, error) {
	if err := tx.Lock(ctx, lockAdministrators); err != nil {
		return Person{}, err
	}
	present, err := tx.PersonByID(ctx, in.PersonID)
	if err != nil {
		return Person{}, err
	}
	changed := present
	changed.Email, changed.Name, changed.Role, changed.ScopeKind = in.Email, in.Name, in.Role, in.ScopeKind
	changed.Customers, changed.Sites, changed.ExpiresAt = in.Customers, in.Sites, in.ExpiresAt
	if changed.same(present) {
		return present, nil
	}
	if err := checkVersion(ifMatch, present.Version); err != nil {
		return Person{}, err
	}
	if !sameInstant(changed.ExpiresAt, present.ExpiresAt) {
		if err := changed.checkEnd(p.now()); err != nil {
			return Person{}, err
		}
	}
	changed.Version++
	if err := tx.UpdatePerson(ctx, changed); err != nil {
		return Person{}, err
	}
	if err := tx.SetScope(ctx, changed); err != nil {
		return Person{}, err
	}
	if err := keepAdministrator(ctx, tx, present, changed); err != nil {
		return Person{}, err
	}
	return changed, p.event(ctx, tx, by.PersonID, "rights_changed", "person", changed.PersonID.String(), requestID)
}

// lockAdministrators is held by whatever may take away an administrator, so that two do not take away the last two.
const lockAdministrators = "administrators"

// keepAdministrator refuses a change after which nobody could manage people any more.
func keepAdministrator(ctx context.Context, tx GateTx, before, after Person) error {
	if !before.lastingAdministrator() || after.lastingAdministrator() {
		return nil
	}
	left, err := tx.LastingAdministrators(ctx)
	if err == nil && left == 0 {
		return fault.New(fault.Conflict, "last_administrator")
	}
	return err
}

func (p Person) same(other Person) bool {
	return p.Email == other.Email && p.Name == other.Name && p.Role == other.Role && p.ScopeKind == other.ScopeKind &&
		sameInstant(p.ExpiresAt, other.ExpiresAt) && slices.Equal(p.Customers, other.Customers) && slices.Equal(p.Sites, other.Sites)
}

func sameInstant(a, b *time.Time) bool {
	return a == b || a != nil && b != nil && a.Equal(*b)
}

// tidy brings what was sent into the form in which it is kept.
func (p *Person) tidy() *Person {
	p.Email = accountName(p.Email)
	p.Customers, p.Sites = set(p.Customers), set(p.Sites)
	if p.ExpiresAt != nil {
		end := p.ExpiresAt.UTC().Truncate(time.Microsecond)
		p.ExpiresAt = &end
	}
	return p
}

func (p *Person) check() error {
	var faults fault.List
	if !emailKnown(p.Email) {
		faults.Add("/email", "email_unreadable")
	}
	checkText(&faults, "/name", &p.Name, 200)
	switch {
	case !slices.Contains(Roles(), p.Role):
		faults.Add("/role", "word_unknown", "word", string(p.Role), "allowed", joined(Roles()))
	case p.Role.Staff() != (p.ScopeKind == ScopeAll) || !p.Role.Staff() && p.ScopeKind != ScopeCustomers && p.ScopeKind != ScopeSites:
		faults.Add("/scope_kind", "scope_of_other_role", "role", string(p.Role))
	default:
		if (p.ScopeKind == ScopeCustomers) != (len(p.Customers) > 0) {
			faults.Add("/customers", "scope_set")
		}
		if (p.ScopeKind == ScopeSites) != (len(p.Sites) > 0) {
			faults.Add("/sites", "scope_set")
		}
	}
	if p.Role == Auditor && p.ExpiresAt == nil {
		faults.Add("/expires_at", "auditor_expires")
	}
	return faults.Err()
}

// checkEnd is asked where an end is given, not where a person who has expired is put again.
func (p *Person) checkEnd(now time.Time) error {
	if p.ExpiresAt == nil {
		return nil
	}
	if !p.ExpiresAt.After(now) {
		return fault.At("/expires_at", "in_the_past")
	}
	var faults fault.List
	checkDay(&faults, "/expires_at", duedate.DayIn(*p.ExpiresAt, time.UTC), now)
	return faults.Err()
}

// emailKnown tells whether a text is one bare address (RFC 5322) of a length that mail servers take (RFC 5321), in ASCII: what
// is lower case must be the same here and in the database.
func emailKnown(text string) bool {
	a, err := mail.ParseAddress(text)
	ascii := !strings.ContainsFunc(text, func(r rune) bool { return r > unicode.MaxASCII })
	return err == nil && a.Name == "" && a.Address == text && len(text) <= 254 && ascii
}

func joined[T ~string](list []T) string {
	texts := make([]string, len(list))
	for i, one := range list {
		texts[i] = string(one)
	}
	return strings.Join(texts, ", ")
}

// DisablePerson takes the right to sign in, or gives it back. Taking it ends every session and revokes every token;
// giving it back brings back neither.
func (p *People) DisablePerson(ctx context.Context, by Actor, id uuid.UUID, disabled bool, requestID string) (person Person, err error) {
	if err := need(by, ActManagePeople); err != nil {
		return Person{}, err
	}
	if id == by.PersonID {
		return Person{}, fault.New(fault.Conflict, "not_yourself")
	}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		if err := tx.Lock(ctx, lockAdministrators); err != nil {
			return err
		}
		if err := lockPerson(ctx, tx, id); err != nil {
			return err
		}
		present, err := tx.PersonByID(ctx, id)
		person = present
		if err != nil || (present.DisabledAt != nil) == disabled {
			return err
		}
		now, action := p.now(), "person_enabled"
		person.DisabledAt = nil
		if disabled {
			person.DisabledAt, action = &now, "person_disabled"
		}
		person.Version++
		if err := tx.UpdatePerson(ctx, person); err != nil {
			return err
		}
		if err := keepAdministrator(ctx, tx, present, person); err != nil {
			return err
		}
		if disabled {
			if err := tx.EndSessions(ctx, id, uuid.Nil, now); err != nil {
				return err
			}
			if err := tx.RevokeTokens(ctx, id, now); err != nil {
				return err
			}
		}
		return p.event(ctx, tx, by.PersonID, action, "person", id.String(), requestID)
	})
	if err != nil {
		return Person{}, err
	}
	return person, nil
}

// Self gives the actor's own person.
func (p *People) Self(ctx context.Context, by Actor) (Person, error) {
	return p.person(ctx, by.PersonID)
}

// Person gives one person; staff see all.
func (p *People) Person(ctx context.Context, by Actor, id uuid.UUID) (Person, error) {
	if err := needFor(by, id, ActReadOffice); err != nil {
		return Person{}, err
	}
	return p.person(ctx, id)
}

func (p *People) person(ctx context.Context, id uuid.UUID) (person Person, err error) {
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		person, err = tx.PersonByID(ctx, id)
		return err
	})
	return person, err
}

// Persons lists people by name.
func (p *People) Persons(ctx context.Context, by Actor, q PersonQuery) (list []Person, err error) {
	if err := need(by, ActReadOffice); err != nil {
		return nil, err
	}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		list, err = tx.PersonPage(ctx, q)
		return err
	})
	return list, err
}

// SetUnits chooses what the actor sees: metric or us.
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

// CheckAdministrator tells what is wrong with the address or the name of a first administrator.
func CheckAdministrator(email, name string) error {
	p := firstAdministrator(email, name)
	return p.tidy().check()
}

func firstAdministrator(email, name string) Person {
	return Person{Email: email, Name: name, Role: Administrator, ScopeKind: ScopeAll}
}

// MakeFirstAdministrator makes the person who makes all others, with a one-time password. It refuses when there is an
// administrator.
func (p *People) MakeFirstAdministrator(ctx context.Context, email, name string) (oneTime string, err error) {
	first := firstAdministrator(email, name)
	first.PersonID = p.newID()
	if err := first.tidy().check(); err != nil {
		return "", err
	}
	oneTime, hash, err := p.oneTimePassword(ctx)
	if err != nil {
		return "", err
	}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		if err := tx.Lock(ctx, lockAdministrators); err != nil {
			return err
		}
		present, err := tx.LastingAdministrators(ctx)
		if err != nil {
			return err
		}
		if present > 0 {
			return fault.New(fault.Conflict, "administrator_exists")
		}
		_, _, err = p.makePerson(ctx, tx, Program(), first, hash, "")
		return err
	})
	if err != nil {
		return "", err
	}
	return oneTime, nil
}
