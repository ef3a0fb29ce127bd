-- Days on which nobody works: everywhere, in a country or jurisdiction, at a customer or at a site. They move no due date, only the day on which something is to be done.
create table closed_day (
  closed_day_id uuid not null,
  customer_id uuid,
  site_id uuid,
  place text not null,
  from_on date not null,
  until_on date not null,
  name text not null,
  cancelled boolean not null,
  version integer not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint closed_day_pk primary key (closed_day_id),
  constraint closed_day_customer_fk foreign key (customer_id) references customer (customer_id),
  constraint closed_day_site_fk foreign key (customer_id, site_id) references site (customer_id, site_id) on update cascade,
  constraint closed_day_where_check check ((site_id is null or customer_id is not null) and (customer_id is null or place = '')),
  constraint closed_day_days_check check (from_on <= until_on and until_on - from_on < 366));
create index closed_day_site_idx on closed_day (site_id);
create index closed_day_customer_idx on closed_day (customer_id);
create index closed_day_from_idx on closed_day (from_on, closed_day_id) where not cancelled;
comment on table closed_day is 'Days on which nobody works at a site, at all sites of a customer, in a country or jurisdiction (place), or, with none of them, anywhere. Staff only.';
alter table closed_day enable row level security;
alter table closed_day force row level security;
create policy staff on closed_day to lintel_staff using (true) with check (true);
grant select, insert, update on closed_day to lintel_staff;
