-- When and from where technicians work, when sites let them in, which orders stay where they are, and plans of who drives where.
create table working_terms (
  person_id uuid not null,
  time_zone text not null,
  latitude_deg double precision not null,
  longitude_deg double precision not null,
  weekdays smallint[] not null,
  from_minute integer not null,
  to_minute integer not null,
  break_from_minute integer not null,
  break_to_minute integer not null,
  regions text[] not null,
  version integer not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint working_terms_pk primary key (person_id),
  constraint working_terms_person_fk foreign key (person_id) references person (person_id),
  constraint working_terms_minutes_check check (latitude_deg between -90 and 90 and longitude_deg between -180 and 180 and weekdays <@ '{1,2,3,4,5,6,7}'
    and 0 <= from_minute and from_minute <= break_from_minute and break_from_minute <= break_to_minute and break_to_minute <= to_minute and to_minute <= 1440));
comment on table working_terms is 'When a technician works, from where, and in which regions; minutes are of the day in their zone. A break of no length is none. Staff only.';
alter table working_terms enable row level security;
alter table working_terms force row level security;
create policy staff on working_terms to lintel_staff using (true) with check (true);
grant select, insert, update on working_terms to lintel_staff;

create table visiting_hours (
  customer_id uuid not null,
  site_id uuid not null,
  weekdays smallint[] not null,
  from_minute integer not null,
  to_minute integer not null,
  version integer not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint visiting_hours_pk primary key (customer_id, site_id),
  constraint visiting_hours_site_fk foreign key (customer_id, site_id) references site (customer_id, site_id) on update cascade,
  constraint visiting_hours_minutes_check check (weekdays <@ '{1,2,3,4,5,6,7}' and 0 <= from_minute and from_minute < to_minute and to_minute <= 1440));
create index visiting_hours_site_idx on visiting_hours (site_id);
comment on table visiting_hours is 'When a site lets technicians in; minutes are of the day in its zone. A site without a row does so at any time. Staff only.';
alter table visiting_hours enable row level security;
alter table visiting_hours force row level security;
create policy staff on visiting_hours to lintel_staff using (true) with check (true);
grant select, insert, update on visiting_hours to lintel_staff;

create table work_order_hold (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  work_order_id uuid not null,
  from_minute integer,
  to_minute integer,
  held boolean not null,
  why text not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint work_order_hold_pk primary key (customer_id, site_id, door_id, work_order_id),
  constraint work_order_hold_id_key unique (work_order_id),
  constraint work_order_hold_order_fk foreign key (customer_id, site_id, door_id, work_order_id)
    references work_order (customer_id, site_id, door_id, work_order_id) on update cascade,
  constraint work_order_hold_minutes_check check ((from_minute is null) = (to_minute is null) and (from_minute is null or 0 <= from_minute and from_minute <= to_minute and to_minute <= 1440)));
comment on table work_order_hold is 'That an order stays with its technician and on its planned day, and begins within these minutes of the day at the site if they were agreed, as long as it is held. Staff only.';
alter table work_order_hold enable row level security;
alter table work_order_hold force row level security;
create policy staff on work_order_hold to lintel_staff using (true) with check (true);
grant select, insert, update on work_order_hold to lintel_staff;

create table route_plan (
  route_plan_id uuid not null,
  from_day date not null,
  days integer not null,
  state text not null,
  answer jsonb not null,
  made_at timestamptz not null,
  made_by uuid not null,
  taken_at timestamptz,
  taken_by uuid,
  constraint route_plan_pk primary key (route_plan_id),
  constraint route_plan_state_check check (state in ('draft', 'taken_over') and (state = 'draft') = (taken_at is null) and (taken_at is null) = (taken_by is null)));
create index route_plan_made_idx on route_plan (made_at desc, route_plan_id);
comment on table route_plan is 'Who drives where on some days, as it was planned. It changes no order until somebody takes it over. Staff only.';
alter table route_plan enable row level security;
alter table route_plan force row level security;
create policy staff on route_plan to lintel_staff using (true) with check (true);
grant select, insert, update on route_plan to lintel_staff;
