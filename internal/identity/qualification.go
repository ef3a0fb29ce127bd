package identity

import (
	"context"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
)

// Qualification is a certificate of a technician or inspector. What it says does not change: a renewed certificate is
// another one, and only its last day may come earlier, when it is withdrawn or was recorded by mistake.
type Qualification struct {
	PersonID, QualificationID uuid.UUID
	Scheme, Number            string
	ValidFrom                 duedate.Day
	ValidUntil                duedate.Day // the last day; zero: until further notice
	RecordedAt                time.Time
}

type qualificationRows interface {
	// InsertQualification answers false when the person has one under this id.
	InsertQualification(ctx context.Context, q Qualification) (bool, error)
	QualificationByID(ctx context.Context, personID, id uuid.UUID) (Qualification, error)
	EndQualification(ctx context.Context, q Qualification) error
	// QualificationPage lists those of a person, the last recorded first.
	QualificationPage(ctx context.Context, personID uuid.UUID, page Page) ([]Qualification, error)
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
		if _, err := tx.PersonByID(ctx, q.PersonID); err != nil {
			return err
		}
		q.RecordedAt = p.now()
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
			if err := tx.EndQualification(ctx, saved); err != nil {
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
	checkText(&faults, "/scheme", &q.Scheme, 100)
	checkText(&faults, "/number", &q.Number, 100)
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
