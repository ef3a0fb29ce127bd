package store

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
)

// reportRow is a report without its prints' bytes.
type reportRow struct {
	ReportID            uuid.UUID
	Kind                string
	CustomerID          *uuid.UUID
	SiteID              *uuid.UUID
	DoorID              *uuid.UUID
	PortfolioCustomerID *uuid.UUID
	Sites               []siteKeyRow
	AsOf                *time.Time
	Canonical           []byte
	SHA256              []byte `db:"sha256"`
	PDFSHA256           []byte `db:"pdf_sha256"`
	HTMLSHA256          []byte `db:"html_sha256"`
	CSVSHA256           []byte `db:"csv_sha256"`
	MadeAt              time.Time
	MadeBy              uuid.UUID
}

type siteKeyRow struct {
	CustomerID uuid.UUID `json:"customer_id"`
	SiteID     uuid.UUID `json:"site_id"`
}

func (r reportRow) report() fleet.Report {
	out := fleet.Report{ReportID: r.ReportID, Kind: r.Kind, CustomerID: orNil(r.CustomerID), SiteID: orNil(r.SiteID), DoorID: orNil(r.DoorID),
		PortfolioCustomerID: orNil(r.PortfolioCustomerID), AsOf: day(r.AsOf), Canonical: r.Canonical, MadeAt: r.MadeAt, MadeBy: r.MadeBy}
	copy(out.SHA256[:], r.SHA256)
	for _, s := range r.Sites {
		out.Sites = append(out.Sites, fleet.ReportedSite(s))
	}
	for form, sum := range map[string][]byte{"pdf": r.PDFSHA256, "html": r.HTMLSHA256, "csv": r.CSVSHA256} {
		if sum != nil {
			p := fleet.ReportPrint{Form: form}
			copy(p.SHA256[:], sum)
			out.Prints = append(out.Prints, p)
		}
	}
	slices.SortFunc(out.Prints, func(a, b fleet.ReportPrint) int { return cmp.Compare(a.Form, b.Form) })
	return out
}

// orNil turns NULL into the zero id.
func orNil(id *uuid.UUID) uuid.UUID {
	if id == nil {
		return uuid.Nil
	}
	return *id
}

const sqlReportByID = `-- report_by_id
select report_id, kind, customer_id, site_id, door_id, portfolio_customer_id,
  coalesce((select jsonb_agg(jsonb_build_object('customer_id', s.customer_id, 'site_id', s.site_id)) from report_site s where s.report_id = report.report_id), '[]') as sites,
  as_of, canonical, sha256, pdf_sha256, html_sha256, csv_sha256, made_at, made_by
from report where report_id = @report_id`

// ReportByID gives a report without its prints' bytes.
func (t *Tx) ReportByID(ctx context.Context, id uuid.UUID) (fleet.Report, error) {
	r, err := queryOne[reportRow](ctx, t, "report_by_id", sqlReportByID, pgx.StrictNamedArgs{"report_id": id}, "report_not_found")
	return r.report(), err
}

type reportPrintRow struct {
	Bytes  []byte
	SHA256 []byte `db:"sha256"`
}

const sqlReportPrint = `-- report_print
select case @form::text when 'pdf' then pdf when 'html' then html when 'csv' then csv end as bytes,
  case @form::text when 'pdf' then pdf_sha256 when 'html' then html_sha256 when 'csv' then csv_sha256 end as sha256
from report where report_id = @report_id`

// ReportPrint gives the bytes of one print.
func (t *Tx) ReportPrint(ctx context.Context, id uuid.UUID, form string) (fleet.ReportPrint, error) {
	r, err := queryOne[reportPrintRow](ctx, t, "report_print", sqlReportPrint, pgx.StrictNamedArgs{"report_id": id, "form": form}, "report_not_found")
	p := fleet.ReportPrint{Form: form, Bytes: r.Bytes}
	copy(p.SHA256[:], r.SHA256)
	return p, err
}

const sqlReportPage = `-- report_page
select report_id, kind, customer_id, site_id, door_id, portfolio_customer_id, '[]'::jsonb as sites, as_of, ''::bytea as canonical, sha256,
  pdf_sha256, html_sha256, csv_sha256, made_at, made_by from report
where (made_at, report_id) < (@before_at, @before_id)
  and (@kind::text = '' or kind = @kind)
  and (@door_id::uuid is null or door_id = @door_id)
  and (@site_id::uuid is null or site_id = @site_id)
  and (@customer_id::uuid is null or customer_id = @customer_id or portfolio_customer_id = @customer_id)
order by made_at desc, report_id desc limit @limit`

// ReportPage lists reports without any bytes.
func (t *Tx) ReportPage(ctx context.Context, q fleet.ReportQuery) ([]fleet.Report, error) {
	rows, err := query[reportRow](ctx, t, "report_page", sqlReportPage, pgx.StrictNamedArgs{"kind": q.Kind, "door_id": optional(q.DoorID), "site_id": optional(q.SiteID),
		"customer_id": optional(q.CustomerID), "before_at": bound(q.BeforeAt), "before_id": q.BeforeID, "limit": q.Limit})
	return each(rows, reportRow.report), err
}

const sqlInsertReport = `-- insert_report
insert into report (report_id, kind, customer_id, site_id, door_id, portfolio_customer_id, site_count, as_of, canonical, sha256,
  pdf, pdf_sha256, html, html_sha256, csv, csv_sha256, made_at, made_by)
values (@report_id, @kind, @customer_id, @site_id, @door_id, @portfolio_customer_id, @site_count, @as_of, @canonical, @sha256,
  @pdf, @pdf_sha256, @html, @html_sha256, @csv, @csv_sha256, @made_at, @made_by)
on conflict do nothing`

const sqlInsertReportSites = `-- insert_report_sites
insert into report_site (customer_id, site_id, report_id)
select c.id, s.id, @report_id from unnest(@customers::uuid[]) with ordinality as c (id, n) join unnest(@sites::uuid[]) with ordinality as s (id, n) using (n)`

// InsertReport keeps a report with its prints, or answers false when its id is taken.
func (t *Tx) InsertReport(ctx context.Context, r fleet.Report) (bool, error) {
	args := pgx.StrictNamedArgs{"report_id": r.ReportID, "kind": r.Kind, "customer_id": optional(r.CustomerID), "site_id": optional(r.SiteID), "door_id": optional(r.DoorID),
		"portfolio_customer_id": optional(r.PortfolioCustomerID), "site_count": max(1, len(r.Sites)), "as_of": date(r.AsOf), "canonical": r.Canonical, "sha256": r.SHA256[:],
		"made_at": r.MadeAt, "made_by": r.MadeBy}
	for _, form := range []string{"pdf", "html", "csv"} {
		args[form], args[form+"_sha256"] = []byte(nil), []byte(nil)
		if p, ok := r.Print(form); ok {
			args[form], args[form+"_sha256"] = p.Bytes, p.SHA256[:]
		}
	}
	n, err := exec(ctx, t, "insert_report", sqlInsertReport, args)
	if err != nil || n == 0 || len(r.Sites) == 0 {
		return n == 1, err
	}
	customers, sites := make([]uuid.UUID, len(r.Sites)), make([]uuid.UUID, len(r.Sites))
	for i, s := range r.Sites {
		customers[i], sites[i] = s.CustomerID, s.SiteID
	}
	_, err = exec(ctx, t, "insert_report_sites", sqlInsertReportSites, pgx.StrictNamedArgs{"report_id": r.ReportID, "customers": customers, "sites": sites})
	return true, err
}

const sqlSitesInSight = `-- sites_in_sight
select s.customer_id, s.site_id, s.name, s.address, s.city, s.region, s.postal_code, s.country, s.jurisdiction, s.time_zone, c.name as customer_name
from site s join customer c on c.customer_id = s.customer_id
where (@customer_id::uuid is null or s.customer_id = @customer_id) and (cardinality(@sites::uuid[]) = 0 or s.site_id = any (@sites))
order by c.name, s.customer_id, s.name, s.site_id limit @most`

// SitesInSight gives sites with their customers, in the order of customer and name.
func (t *Tx) SitesInSight(ctx context.Context, customer uuid.UUID, sites []uuid.UUID, most int) ([]fleet.SiteLine, error) {
	rows, err := query[siteLineRow](ctx, t, "sites_in_sight", sqlSitesInSight,
		pgx.StrictNamedArgs{"customer_id": optional(customer), "sites": append([]uuid.UUID{}, sites...), "most": most})
	return each(rows, siteLineRow.line), err
}

type siteLineRow struct {
	CustomerID   uuid.UUID
	SiteID       uuid.UUID
	Name         string
	Address      string
	City         string
	Region       string
	PostalCode   string
	Country      string
	Jurisdiction string
	TimeZone     string
	CustomerName string
}

func (r siteLineRow) line() fleet.SiteLine {
	return fleet.SiteLine{CustomerName: r.CustomerName, Site: fleet.Site{CustomerID: r.CustomerID, SiteID: r.SiteID, Name: r.Name, Address: r.Address, City: r.City,
		Region: r.Region, PostalCode: r.PostalCode, Country: r.Country, Jurisdiction: r.Jurisdiction, TimeZone: r.TimeZone}}
}

type portfolioDoorRow struct {
	DoorID         uuid.UUID
	SiteID         uuid.UUID
	Tag            string
	Name           string
	Kind           string
	RulePack       string
	IntervalMonths *int
	Regime         *string
	FixedMonth     *int
	ToleranceDays  *int
	GraceDays      *int
	LeadDays       *int
	AnchorOn       *time.Time
	LongestMonths  *int
	Suspended      []time.Time
	FromHandover   *bool
	HandedOver     *time.Time
}

func (r portfolioDoorRow) door() fleet.PortfolioDoor {
	d := fleet.PortfolioDoor{DoorID: r.DoorID, SiteID: r.SiteID, Tag: fleet.Tag(r.Tag), Name: r.Name, Kind: r.Kind, RulePack: r.RulePack, HandedOver: day(r.HandedOver)}
	if r.IntervalMonths != nil {
		d.Plan = &fleet.Plan{IntervalMonths: *r.IntervalMonths, Regime: duedate.Regime(*r.Regime).NamedNow(), FixedMonth: time.Month(valueOf(r.FixedMonth)), ToleranceDays: *r.ToleranceDays,
			GraceDays: *r.GraceDays, LeadDays: *r.LeadDays, AnchorOn: day(r.AnchorOn), PlanDates: fleet.PlanDates{LongestMonths: valueOf(r.LongestMonths)}, Suspended: spans(r.Suspended), FromHandover: *r.FromHandover}
	}
	return d
}

const sqlPortfolioDoors = `-- portfolio_doors
select d.door_id, d.site_id, d.tag, d.name, v.kind, v.rule_pack, p.interval_months, p.regime, p.fixed_month, p.tolerance_days, p.grace_days, p.lead_days, p.anchor_on, p.longest_months, p.suspended, p.from_handover,
  (select max(o.done_on) from work_order o join site s on s.site_id = o.site_id
    where o.door_id = d.door_id and o.kind = 'handover' and o.state = 'done' and o.done_on <= (@at::timestamptz at time zone s.time_zone)::date) as handed_over
from door d
cross join lateral (select w.kind, w.rule_pack from door_version w where w.door_id = d.door_id and w.effective_at <= @at
  order by w.effective_at desc, w.recorded_at desc, w.version_id desc limit 1) v
left join inspection_plan p on p.door_id = d.door_id and p.active and p.purpose = 'inspection'
where d.site_id = any (@sites::uuid[])
order by d.door_id`

// PortfolioDoors gives the doors of sites as they were at an instant, with their plans, in the order of their ids.
func (t *Tx) PortfolioDoors(ctx context.Context, sites []uuid.UUID, at time.Time) ([]fleet.PortfolioDoor, error) {
	rows, err := query[portfolioDoorRow](ctx, t, "portfolio_doors", sqlPortfolioDoors, pgx.StrictNamedArgs{"sites": sites, "at": bound(at)})
	return each(rows, portfolioDoorRow.door), err
}

const sqlEachStandingEntry = `-- each_standing_entry
select e.customer_id, e.site_id, e.door_id, e.visit_id, e.entry_id, e.observed_at, e.received_at, e.recorded_by, e.canonical, e.sha256, s.visit_id is not null as signed
from visit_entry e left join visit_sign_off s on s.visit_id = e.visit_id
where e.site_id = any (@sites::uuid[]) and e.observed_at < @before
  and (e.kind in ('finding', 'securing', 'mending', 'conclusion') or e.corrects is not null)
order by e.door_id, e.observed_at, e.entry_id`

// EachStandingEntry gives the entries that say how doors stand, door by door in the order of their ids.
func (t *Tx) EachStandingEntry(ctx context.Context, sites []uuid.UUID, before time.Time, visit func(fleet.Entry) error) error {
	rows, err := t.tx.Query(ctx, sqlEachStandingEntry, pgx.StrictNamedArgs{"sites": sites, "before": before})
	if err != nil {
		return fmt.Errorf("each_standing_entry: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		r, err := pgx.RowToStructByName[entryRow](rows)
		if err != nil {
			return fmt.Errorf("each_standing_entry: %w", err)
		}
		e, err := r.entry()
		if err != nil {
			return err
		}
		if err := visit(e); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("each_standing_entry: %w", err)
	}
	return nil
}
