package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

type reportRow struct {
	CustomerID uuid.UUID
	SiteID     uuid.UUID
	DoorID     uuid.UUID
	ReportID   uuid.UUID
	Canonical  []byte
	SHA256     []byte `db:"sha256"`
	PDF        []byte `db:"pdf"`
	PDFSHA256  []byte `db:"pdf_sha256"`
	MadeAt     time.Time
	MadeBy     uuid.UUID
}

func (r reportRow) report() fleet.Report {
	out := fleet.Report{CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, ReportID: r.ReportID, Canonical: r.Canonical, PDF: r.PDF, MadeAt: r.MadeAt, MadeBy: r.MadeBy}
	copy(out.SHA256[:], r.SHA256)
	copy(out.PDFSHA256[:], r.PDFSHA256)
	return out
}

const sqlReportByID = `-- report_by_id
select customer_id, site_id, door_id, report_id, canonical, sha256, pdf, pdf_sha256, made_at, made_by from report where report_id = @report_id`

// ReportByID gives a report with its bytes.
func (t *Tx) ReportByID(ctx context.Context, id uuid.UUID) (fleet.Report, error) {
	r, err := queryOne[reportRow](ctx, t, "report_by_id", sqlReportByID, pgx.StrictNamedArgs{"report_id": id}, "report_not_found")
	return r.report(), err
}

const sqlReportPage = `-- report_page
select customer_id, site_id, door_id, report_id, ''::bytea as canonical, sha256, ''::bytea as pdf, pdf_sha256, made_at, made_by from report
where door_id = @door_id and (made_at, report_id) < (@before_at, @before_id)
order by made_at desc, report_id desc limit @limit`

// ReportPage lists the reports of a door without their bytes.
func (t *Tx) ReportPage(ctx context.Context, q fleet.ReportQuery) ([]fleet.Report, error) {
	rows, err := query[reportRow](ctx, t, "report_page", sqlReportPage,
		pgx.StrictNamedArgs{"door_id": q.DoorID, "before_at": bound(q.BeforeAt), "before_id": q.BeforeID, "limit": q.Limit})
	return each(rows, reportRow.report), err
}

const sqlInsertReport = `-- insert_report
insert into report (customer_id, site_id, door_id, report_id, canonical, sha256, pdf, pdf_sha256, made_at, made_by)
values (@customer_id, @site_id, @door_id, @report_id, @canonical, @sha256, @pdf, @pdf_sha256, @made_at, @made_by)
on conflict do nothing`

// InsertReport keeps a report, or answers false when its id is taken.
func (t *Tx) InsertReport(ctx context.Context, r fleet.Report) (bool, error) {
	n, err := exec(ctx, t, "insert_report", sqlInsertReport, pgx.StrictNamedArgs{"customer_id": r.CustomerID, "site_id": r.SiteID, "door_id": r.DoorID,
		"report_id": r.ReportID, "canonical": r.Canonical, "sha256": r.SHA256[:], "pdf": r.PDF, "pdf_sha256": r.PDFSHA256[:], "made_at": r.MadeAt, "made_by": r.MadeBy})
	return n == 1, err
}

type personCardRow struct {
	Name       string
	Scheme     string
	Number     string
	ValidFrom  *time.Time
	ValidUntil *time.Time
}

const sqlPersonCard = `-- person_card
select p.name, coalesce(q.scheme, '') as scheme, coalesce(q.number, '') as number, q.valid_from, q.valid_until
from person p left join lateral (
  select scheme, number, valid_from, valid_until from qualification q
  where q.person_id = p.person_id and q.valid_from <= @day and (q.valid_until is null or q.valid_until >= @day)
  order by q.valid_until desc nulls first, q.qualification_id limit 1) q on true
where p.person_id = @person_id`

// PersonCard gives a person's name and the qualification that was valid on a day.
func (t *Tx) PersonCard(ctx context.Context, id uuid.UUID, on duedate.Day) (fleet.PersonCard, error) {
	r, err := queryOne[personCardRow](ctx, t, "person_card", sqlPersonCard, pgx.StrictNamedArgs{"person_id": id, "day": date(on)}, "person_not_found")
	return fleet.PersonCard{Name: r.Name, Scheme: r.Scheme, Number: r.Number, ValidFrom: day(r.ValidFrom), ValidUntil: day(r.ValidUntil)}, err
}
