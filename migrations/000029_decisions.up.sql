-- What becomes of a finding: what somebody decided on it after having been shown what it means, until which day the door
-- may stand so, and how often it has come back. The columns have defaults and the constraints are NOT VALID: no row is touched.
alter table visit_entry drop constraint visit_entry_kind_check;
alter table visit_entry add constraint visit_entry_kind_check
  check (kind in ('safe_work', 'reading', 'left_out', 'photo', 'settings', 'finding', 'securing', 'adjustment', 'mending', 'part', 'function_test', 'note', 'conclusion', 'decision', 'dismissal')) not valid;
alter table finding drop constraint finding_state_check;
alter table finding
  add constraint finding_state_check check (state in ('open', 'mended', 'cleared', 'withdrawn', 'dismissed') and (state = 'open') = (closed_at is null)) not valid,
  add column safe_until date,
  add column decided jsonb,
  add column times integer not null default 1,
  add column first_at timestamptz,
  add column recurs_of uuid;
create index finding_pressing_idx on finding (safe_until, finding_id) where state = 'open' and (safe_until is not null or decided is not null);
create index finding_site_idx on finding (site_id, opened_at, finding_id);

create table shown_text (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  sha256 bytea not null,
  findings uuid[] not null,
  language text not null,
  text text not null,
  made_at timestamptz not null,
  made_by uuid not null,
  constraint shown_text_pk primary key (customer_id, site_id, door_id, sha256),
  constraint shown_text_door_fk foreign key (customer_id, site_id, door_id) references door (customer_id, site_id, door_id) on update cascade,
  constraint shown_text_sha256_check check (octet_length(sha256) = 32 and sha256 = sha256(convert_to(text, 'UTF8'))));
create index shown_text_door_idx on shown_text (door_id, sha256);
comment on table shown_text is 'What somebody was shown of findings before they decided on them, under the hash that their decision carries. Insert only.';
alter table shown_text enable row level security;
alter table shown_text force row level security;
create policy staff on shown_text to lintel_staff using (true) with check (true);
create policy by_customer on shown_text for select to lintel_customer
  using (customer_id = any ((select nullif(current_setting('lintel.customers', true), ''))::uuid[]));
create policy by_site on shown_text for select to lintel_site
  using (site_id = any ((select nullif(current_setting('lintel.sites', true), ''))::uuid[]));
grant select, insert on shown_text to lintel_staff;
grant select on shown_text to lintel_customer, lintel_site;
