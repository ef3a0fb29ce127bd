package fleet

import (
	"context"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
)

// PersonCard is who somebody is, and what they are certified for.
type PersonCard struct {
	Name         string
	Certificates []identity.Qualification // those that are valid the longest first
}

// On gives the certificate of one of the kinds, of any where none is named, that holds on a day.
func (c PersonCard) On(day duedate.Day, kinds ...string) (identity.Qualification, bool) {
	for _, q := range c.Certificates {
		if q.ValidOn(day) && (len(kinds) == 0 || slices.Contains(kinds, q.Kind)) {
			return q, true
		}
	}
	return identity.Qualification{}, false
}

// signedUnder is the certificate by which an inspection of a door was signed, as it was then. The JSON names are the recorded form.
type signedUnder struct {
	DoorID          uuid.UUID `json:"door_id"`
	Pack            string    `json:"pack,omitempty"` // that asks for it; absent without a rule basis
	QualificationID uuid.UUID `json:"qualification_id"`
	Kind            string    `json:"kind"`
	Scheme          string    `json:"scheme"`
	Number          string    `json:"number"`
	Issuer          string    `json:"issuer,omitempty"`
	ValidFrom       string    `json:"valid_from"`
	ValidUntil      string    `json:"valid_until,omitempty"` // absent: until further notice
}

// under gives the certificate by which, after the rules of its basis, the inspection of a door was signed; nil in records of before there were any in them.
func (r visitRecord) under(door uuid.UUID) *signedUnder {
	i := slices.IndexFunc(r.Qualifications, func(u signedUnder) bool { return u.DoorID == door })
	if i < 0 {
		return nil
	}
	return &r.Qualifications[i]
}

// certified gives the certificates by which somebody signs for the inspections of a visit: for each door that was concluded one of a kind that
// the rule pack of its basis names, and one of a kind that a pack of the company names, if it names any; valid on the day of the conclusion
// at the site. Law judges beside the basis and asks for no certificate of its own.
func (f *Fleet) certified(ctx context.Context, tx Tx, by identity.Actor, entries []Entry, judged []judgedDoor, zone *time.Location) (under []signedUnder, err error) {
	if len(judged) == 0 {
		return nil, nil
	}
	card, err := tx.PersonCard(ctx, by.PersonID)
	if err != nil {
		return nil, err
	}
	var faults fault.List
	for i, j := range judged {
		basis := i == 0 || judged[i-1].DoorID != j.DoorID
		pack := j.rules
		if !basis && (pack.Role != rulebook.Company || pack.SignedBy == nil) {
			continue
		}
		conclusion, ok, err := conclusionOf(j.DoorID, entries)
		if err != nil || !ok {
			return nil, err
		}
		day := duedate.DayIn(conclusion.ObservedAt, zone)
		q, ok := card.On(day, pack.Certificates()...)
		if !ok {
			if refused := card.refusal(day, j.Pack, pack.Certificates()); !slices.ContainsFunc(faults, func(e *fault.Error) bool { return e.Error() == refused.Error() }) {
				faults = append(faults, refused)
			}
			continue
		}
		under = append(under, signedUnder{DoorID: j.DoorID, Pack: j.Pack, QualificationID: q.QualificationID, Kind: q.Kind, Scheme: q.Scheme, Number: q.Number, Issuer: q.Issuer,
			ValidFrom: q.ValidFrom.String(), ValidUntil: q.ValidUntil.String()})
	}
	return under, faults.Err()
}

// refusal says why none of the certificates signs for an inspection of a day: the one that ran out last, or that those which hold are
// for other doors, or that there is none.
func (c PersonCard) refusal(day duedate.Day, pack string, kinds []string) *fault.Error {
	var expired identity.Qualification
	var others []string
	for _, q := range c.Certificates {
		switch {
		case !slices.Contains(kinds, q.Kind):
			if q.ValidOn(day) && !slices.Contains(others, q.Kind) {
				others = append(others, q.Kind)
			}
		case !q.ValidUntil.IsZero() && q.ValidUntil.Before(day) && q.ValidUntil.After(expired.ValidUntil):
			expired = q
		}
	}
	switch {
	case !expired.ValidUntil.IsZero():
		return fault.New(fault.Conflict, "certificate_expired", "name", c.Name, "number", expired.Number, "scheme", expired.Scheme, "until", expired.ValidUntil.String(), "day", day.String())
	case len(others) > 0:
		return fault.New(fault.Conflict, "certificate_of_other_kind", "name", c.Name, "has", strings.Join(others, ", "), "wanted", strings.Join(kinds, ", "), "pack", pack)
	}
	return fault.New(fault.Conflict, "certificate_missing", "name", c.Name, "day", day.String())
}

// CertificateDue is a certificate as the notices about it see it.
type CertificateDue struct {
	HolderID, QualificationID uuid.UUID
	Name, Email, Language     string // of the holder
	Scheme, Number            string
	ValidUntil                duedate.Day
	Renewed                   bool // another one of the kind goes on from its last day
	HolderGone                bool // may not sign in any more
}

func (c CertificateDue) reason() string {
	return "qualification:" + c.HolderID.String() + ":" + c.QualificationID.String()
}

type qualificationRows interface {
	// PersonCard gives a person's name and certificates.
	PersonCard(ctx context.Context, id uuid.UUID) (PersonCard, error)
	// CertificatesDue gives the certificates of people who may sign in of which the last day lies between two days, that were recorded
	// before it, and that no other one goes on from. None is renewed between this reading and the end of the transaction.
	CertificatesDue(ctx context.Context, from, until duedate.Day) ([]CertificateDue, error)
}

// roleHolder is the role of a recipient who is told of their own certificate, in duedate.ExpiryLadder.
const roleHolder = "holder"

// expiryToldDays is for how many days after its last one a certificate is still worth a notice: a standstill is shorter than that, and of
// one that ran out before there were notices the list says enough. Common practice, no source.
const expiryToldDays = 60

// queueExpiries makes the notices of certificates that run out, by the same rules as those of orders: of each the highest rung that has
// its turn, the lower ones written down as superseded.
func (f *Fleet) queueExpiries(ctx context.Context, asOf duedate.Day) (queued int64, err error) {
	err = f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		r, err := f.newRound(ctx, tx, asOf, []uuid.UUID{})
		if err != nil {
			return err
		}
		list, err := tx.CertificatesDue(ctx, asOf.AddDays(-expiryToldDays), asOf.AddDays(mostHolidays-duedate.ExpiryLadder()[0].OffsetDays))
		if err != nil || len(list) == 0 {
			return err
		}
		var reasons []string
		var holders []Recipient
		for _, c := range list {
			reasons, holders = append(reasons, c.reason()), append(holders, r.holder(c))
		}
		if err := r.read(ctx, nil, reasons, holders...); err != nil {
			return err
		}
		for i, c := range list {
			r.expiry(c, holders[i])
		}
		queued, err = r.write(ctx)
		return err
	})
	return queued, err
}

func (r *round) holder(c CertificateDue) Recipient {
	return Recipient{Role: roleHolder, ID: c.HolderID, Name: c.Name, Addresses: AddressesOf(c.Email, ""), Language: c.Language, TimeZone: r.ladders.company.OfficeTimeZone}
}

// expiry makes the notices of one certificate.
func (r *round) expiry(c CertificateDue, holder Recipient) {
	calendar := r.workingDays(r.ladders.company)
	rung, lower, ok := duedate.RungDue(duedate.ExpiryLadder(), c.ValidUntil, r.asOf, calendar)
	if !ok {
		return
	}
	notice := func(of duedate.Rung) Notice {
		return Notice{HolderID: &c.HolderID, QualificationID: &c.QualificationID, Reason: c.reason(), DueOn: c.ValidUntil, Rung: of.Code, TurnOn: of.Turn(c.ValidUntil, calendar),
			Why: Why{AsOf: r.asOf, OffsetDays: &of.OffsetDays}}
	}
	to := []Recipient{holder}
	for _, one := range r.dispatchers() {
		if one.ID != holder.ID {
			to = append(to, one)
		}
	}
	for _, l := range lower {
		r.supersede(notice(l), to, "higher_rung")
	}
	for _, one := range to {
		r.tell(notice(rung), one)
	}
}
