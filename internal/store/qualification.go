package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
)

// personCardRow is a person with one certificate; with none, its id is zero.
type personCardRow struct {
	Name string
	qualificationRow
}

const sqlPersonCard = `-- person_card
select p.name, p.person_id, coalesce(c.qualification_id, '00000000-0000-0000-0000-000000000000'::uuid) as qualification_id, coalesce(c.kind, '') as kind, coalesce(c.scheme, '') as scheme,
  coalesce(c.number, '') as number, coalesce(c.issuer, '') as issuer, coalesce(c.valid_from, '0001-01-01'::date) as valid_from, c.valid_until, c.stated_until,
  coalesce(c.recorded_at, '0001-01-01'::timestamptz) as recorded_at, coalesce(c.renewed, false) as renewed
from person p left join certificate c on c.person_id = p.person_id
where p.person_id = @person_id
order by c.valid_until desc nulls first, c.qualification_id`

// PersonCard gives a person's name and certificates.
func (t *Tx) PersonCard(ctx context.Context, id uuid.UUID) (fleet.PersonCard, error) {
	rows, err := query[personCardRow](ctx, t, "person_card", sqlPersonCard, pgx.StrictNamedArgs{"person_id": id})
	if err != nil {
		return fleet.PersonCard{}, err
	}
	if len(rows) == 0 {
		return fleet.PersonCard{}, fault.New(fault.NotFound, "person_not_found")
	}
	card := fleet.PersonCard{Name: rows[0].Name}
	for _, r := range rows {
		if r.QualificationID != uuid.Nil {
			card.Certificates = append(card.Certificates, r.qualification())
		}
	}
	return card, nil
}

type certificateDueRow struct {
	HolderID        uuid.UUID
	QualificationID uuid.UUID
	Name            string
	Email           string
	Language        string
	Scheme          string
	Number          string
	ValidUntil      time.Time
}

func (r certificateDueRow) certificate() fleet.CertificateDue {
	return fleet.CertificateDue{HolderID: r.HolderID, QualificationID: r.QualificationID, Name: r.Name, Email: r.Email, Language: r.Language, Scheme: r.Scheme, Number: r.Number,
		ValidUntil: day(&r.ValidUntil)}
}

// What was recorded after its last day is history, and nobody is warned of it.
const sqlCertificatesDue = `-- certificates_due
select c.person_id as holder_id, c.qualification_id, p.name, p.email, p.language, c.scheme, c.number, c.valid_until
from certificate c join person p on p.person_id = c.person_id
where not c.renewed and p.disabled_at is null and c.valid_until between @from and @until and c.recorded_at::date <= c.valid_until
order by c.valid_until, c.person_id, c.qualification_id`

// CertificatesDue gives certificates of which the last day lies between two days.
func (t *Tx) CertificatesDue(ctx context.Context, from, until duedate.Day) ([]fleet.CertificateDue, error) {
	rows, err := query[certificateDueRow](ctx, t, "certificates_due", sqlCertificatesDue, pgx.StrictNamedArgs{"from": date(from), "until": date(until)})
	return each(rows, certificateDueRow.certificate), err
}
