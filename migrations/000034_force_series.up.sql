-- What a gauge recorded, as entries of a visit: a force over time, and the positions of a test body that were tried. No row has one of the
-- new kinds, so the constraint is NOT VALID: no row is touched.
alter table visit_entry drop constraint visit_entry_kind_check;
alter table visit_entry add constraint visit_entry_kind_check
  check (kind in ('safe_work', 'reading', 'force_course', 'positions', 'left_out', 'photo', 'settings', 'finding', 'securing', 'adjustment', 'mending', 'part', 'function_test', 'note', 'conclusion', 'decision', 'dismissal')) not valid;

create table force_series (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  sha256 bytea not null,
  csv text not null,
  received_at timestamptz not null,
  recorded_by uuid not null,
  constraint force_series_pk primary key (customer_id, site_id, door_id, sha256),
  constraint force_series_door_fk foreign key (customer_id, site_id, door_id) references door (customer_id, site_id, door_id) on update cascade,
  constraint force_series_sha256_check check (octet_length(sha256) = 32 and sha256 = sha256(convert_to(csv, 'UTF8'))));
create index force_series_door_idx on force_series (door_id, sha256);
comment on table force_series is 'A force over time as a gauge wrote it, under the hash that its entry carries. Insert only.';
alter table force_series enable row level security;
alter table force_series force row level security;
create policy staff on force_series to lintel_staff using (true) with check (true);
create policy by_customer on force_series for select to lintel_customer
  using (customer_id = any ((select nullif(current_setting('lintel.customers', true), ''))::uuid[]));
create policy by_site on force_series for select to lintel_site
  using (site_id = any ((select nullif(current_setting('lintel.sites', true), ''))::uuid[]));
grant select, insert on force_series to lintel_staff;
grant select on force_series to lintel_customer, lintel_site;
