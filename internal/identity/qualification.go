package identity

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/rulebook"
)

// Qualification is a certificate of a technician or inspector. What it says does not change: a renewed certificate is
// another one, and only its last day may come earlier, when it is withdrawn or was recorded by mistake.
type Qualification struct {
	PersonID, QualificationID uuid.UUID
	Kind                      string // of rulebook.CertificateKinds: which inspections it allows
	Scheme, Number            string
	Issuer                    string // "" when nobody recorded it
	ValidFrom                 duedate.Day
	ValidUntil                duedate.Day // the last day, as it stands; zero: until further notice
	StatedUntil               duedate.Day // the last day that it names itself: later where it was ended
	RecordedAt                time.Time
	Renewed                   bool // another one of the kind goes on from its last day
}

// ValidOn tells whether the certificate holds on a day.
func (q Qualification) ValidOn(day duedate.Day) bool {
	return !day.Before(q.ValidFrom) && (q.ValidUntil.IsZero() || !day.After(q.ValidUntil))
}

type qualificationRows interface {
	// InsertQualification answers false when the person has one under this id.
	InsertQualification(ctx context.Context, q Qualification) (bool, error)
	QualificationByID(ctx context.Context, personID, id uuid.UUID) (Qualification, error)
	// EndQualification records an earlier last day.
	EndQualification(ctx context.Context, q Qualification, at time.Time, by uuid.UUID) error
	// QualificationPage lists those of a person, the last recorded first.
	QualificationPage(ctx context.Context, personID uuid.UUID, page Page) ([]Qualification, error)
	ExpiryPage(ctx context.Context, q ExpiryQuery) ([]Expiry, error)
}

// PutQualification records a certificate, or brings its last day forward.
func (p *People) PutQualification(ctx context.Context, by Actor, q Qualification, requestID string) (saved Qualification, created bool, err error) {
	if err := need(by, ActPlanWork); err != nil {
		return Qualification{}, false, err
	}
	if err := q.check(p.now()); err != nil {
		return Qualification{}, false, err
	}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		if err := lockPerson(ctx, tx, q.PersonID); err != nil { // letters about certificates of the person hold it, too
			return err
		}
		if _, err := tx.PersonByID(ctx, q.PersonID); err != nil {
			return err
		}
		q.RecordedAt, q.StatedUntil = p.now(), q.ValidUntil
		saved, created, err = q, true, nil
		if created, err = tx.InsertQualification(ctx, q); err != nil {
			return err
		}
		if !created {
			present, err := tx.QualificationByID(ctx, q.PersonID, q.QualificationID)
			if err != nil {
				return err
			}
			if saved, err = present.endedAs(q); err != nil || saved == present {
				return err
			}
			if err := tx.EndQualification(ctx, saved, p.now(), by.PersonID); err != nil {
				return err
			}
		}
		return p.event(ctx, tx, by.PersonID, "qualification_recorded", "person", q.PersonID.String(), requestID)
	})
	if err != nil {
		return Qualification{}, false, err
	}
	return saved, created, nil
}

func (q *Qualification) check(now time.Time) error {
	var faults fault.List
	q.Kind = cmp.Or(q.Kind, rulebook.GeneralCertificate)
	if !slices.Contains(rulebook.CertificateKinds(), q.Kind) {
		faults.Add("/kind", "word_unknown", "word", q.Kind, "allowed", strings.Join(rulebook.CertificateKinds(), ", "))
	}
	checkText(&faults, "/scheme", &q.Scheme, 100)
	checkText(&faults, "/number", &q.Number, 100)
	if q.Issuer = strings.TrimSpace(q.Issuer); q.Issuer != "" {
		checkText(&faults, "/issuer", &q.Issuer, 200)
	}
	if q.ValidFrom.IsZero() {
		faults.Add("/valid_from", "date_missing")
	}
	checkDay(&faults, "/valid_from", q.ValidFrom, now)
	checkDay(&faults, "/valid_until", q.ValidUntil, now)
	if !q.ValidUntil.IsZero() && q.ValidUntil.Before(q.ValidFrom) {
		faults.Add("/valid_until", "before_its_beginning")
	}
	return faults.Err()
}

// endedAs gives the certificate with the last day that other names, or says in what else other differs.
func (q Qualification) endedAs(other Qualification) (Qualification, error) {
	differs := ""
	switch {
	case q.Kind != other.Kind:
		differs = "/kind"
	case q.Issuer != other.Issuer:
		differs = "/issuer"
	case q.Scheme != other.Scheme:
		differs = "/scheme"
	case q.Number != other.Number:
		differs = "/number"
	case q.ValidFrom != other.ValidFrom:
		differs = "/valid_from"
	case q.ValidUntil == other.ValidUntil:
		return q, nil
	case other.ValidUntil.IsZero() || !q.ValidUntil.IsZero() && other.ValidUntil.After(q.ValidUntil):
		differs = "/valid_until"
	}
	if differs != "" {
		return q, &fault.Error{Kind: fault.Conflict, Code: "qualification_differs", Pointer: differs}
	}
	q.ValidUntil = other.ValidUntil
	return q, nil
}

// Qualifications lists the certificates of a person; staff see everybody's.
func (p *People) Qualifications(ctx context.Context, by Actor, personID uuid.UUID, page Page) (list []Qualification, err error) {
	if err := needFor(by, personID, ActReadOffice); err != nil {
		return nil, err
	}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		if _, err := tx.PersonByID(ctx, personID); err != nil {
			return err
		}
		list, err = tx.QualificationPage(ctx, personID, page)
		return err
	})
	return list, err
}

// ExpiryQuery asks for certificates by their last days.
type ExpiryQuery struct {
	From, Until duedate.Day // of the last day; zero: any
	AfterDay    duedate.Day
	AfterPerson uuid.UUID
	AfterID     uuid.UUID
	Limit       int
}

// Expiry is a certificate that runs out, and whose it is.
type Expiry struct {
	Qualification
	Name string
}

// Expiries lists the certificates with a last day that no other one goes on from, of people who may sign in, by that day.
func (p *People) Expiries(ctx context.Context, by Actor, q ExpiryQuery) (list []Expiry, err error) {
	if err := need(by, ActReadOffice); err != nil {
		return nil, err
	}
	err = p.store.InGate(ctx, func(ctx context.Context, tx GateTx) error {
		list, err = tx.ExpiryPage(ctx, q)
		return err
	})
	return list, err
}
