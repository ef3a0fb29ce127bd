-- Reports of more than one door, certificates, and prints besides the PDF. Reports are few (some a door and year): the new
-- key and index are built in a moment, and every other change here touches no row.
alter table report
  drop constraint report_pk,
  drop constraint report_id_key,
  add constraint report_pk primary key (report_id),
  add column kind text not null default 'door',
  add column as_of date,
  add column portfolio_customer_id uuid,
  add column site_count integer not null default 1,
  add column html bytea,
  add column html_sha256 bytea,
  add column csv bytea,
  add column csv_sha256 bytea,
  alter column customer_id drop not null,
  alter column site_id drop not null,
  alter column door_id drop not null,
  add constraint report_site_fk foreign key (customer_id, site_id) references site (customer_id, site_id) on update cascade,
  add constraint report_portfolio_customer_fk foreign key (portfolio_customer_id) references customer (customer_id),
  add constraint report_kind_check check (kind in ('door', 'certificate', 'site', 'portfolio')
    and (kind = 'portfolio') = (site_id is null) and (customer_id is null) = (site_id is null)
    and (kind in ('door', 'certificate')) = (door_id is not null) and (kind = 'portfolio' or portfolio_customer_id is null)
    and site_count > 0),
  add constraint report_prints_check check (octet_length(html_sha256) = 32 and octet_length(csv_sha256) = 32
    and (html is null) = (html_sha256 is null) and (csv is null) = (csv_sha256 is null));
create index report_made_idx on report (made_at desc, report_id);
comment on table report is 'A report as it was given out: its identifier always gives the same bytes. as_of, html and csv are empty where the report was made before there were any. Insert only.';

create table report_site (
  customer_id uuid not null,
  site_id uuid not null,
  report_id uuid not null,
  constraint report_site_pk primary key (report_id, site_id),
  constraint report_site_report_fk foreign key (report_id) references report (report_id),
  constraint report_site_site_fk foreign key (customer_id, site_id) references site (customer_id, site_id) on update cascade);
create index report_site_site_idx on report_site (site_id);
comment on table report_site is 'The sites that a portfolio speaks of: who sees all of them, as they stand today, sees the report. Insert only.';
alter table report_site enable row level security;
alter table report_site force row level security;
create policy staff on report_site to lintel_staff using (true) with check (true);
create policy by_customer on report_site for select to lintel_customer
  using (customer_id = any ((select nullif(current_setting('lintel.customers', true), ''))::uuid[]));
create policy by_site on report_site for select to lintel_site
  using (site_id = any ((select nullif(current_setting('lintel.sites', true), ''))::uuid[]));
create policy add_by_customer on report_site for insert to lintel_customer
  with check (customer_id = any ((select nullif(current_setting('lintel.customers', true), ''))::uuid[]));
create policy add_by_site on report_site for insert to lintel_site
  with check (site_id = any ((select nullif(current_setting('lintel.sites', true), ''))::uuid[]));
grant select, insert on report_site to lintel_staff, lintel_customer, lintel_site;

-- A portfolio has no customer and no site of its own, so no other policy shows it to an outsider. The count is of the
-- rows that the outsider sees.
create policy portfolio on report for select to lintel_customer, lintel_site
  using (kind = 'portfolio' and site_count = (select count(*) from report_site s where s.report_id = report.report_id));
create policy add_portfolio on report for insert to lintel_customer, lintel_site with check (kind = 'portfolio');

alter table record_log alter column customer_id drop not null, alter column site_id drop not null;
create policy add_portfolio on record_log for insert to lintel_customer, lintel_site
  with check (kind = 'report' and exists (select from report r where r.report_id = subject_id and r.kind = 'portfolio'));
