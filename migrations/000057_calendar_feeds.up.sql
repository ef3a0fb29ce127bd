-- Calendars that other programs subscribe with. Whoever has the address reads it without signing in: so it is random, kept as a
-- hash, shown once, and can be taken back.
create table calendar_feed (
  feed_id uuid not null,
  secret_sha256 bytea not null,
  person_id uuid,
  customer_id uuid,
  site_id uuid,
  note text not null,
  language text not null,
  made_at timestamptz not null,
  made_by uuid not null,
  read_at timestamptz,
  constraint calendar_feed_pk primary key (feed_id),
  constraint calendar_feed_secret_key unique (secret_sha256),
  constraint calendar_feed_person_fk foreign key (person_id) references person (person_id),
  constraint calendar_feed_site_fk foreign key (customer_id, site_id) references site (customer_id, site_id) on update cascade,
  constraint calendar_feed_secret_check check (octet_length(secret_sha256) = 32),
  constraint calendar_feed_subject_check check ((person_id is null) = (site_id is not null) and (customer_id is null) = (site_id is null)));
create index calendar_feed_made_idx on calendar_feed (made_at, feed_id);
create index calendar_feed_person_idx on calendar_feed (person_id, made_at);
create index calendar_feed_site_idx on calendar_feed (customer_id, site_id, made_at);
comment on table calendar_feed is 'An address at which another program reads the work of a technician or of a site. Only the hash of its secret is kept.';
comment on column calendar_feed.read_at is 'When it was last read, to the hour.';

create table calendar_feed_end (
  feed_id uuid not null,
  revoked_at timestamptz not null,
  revoked_by uuid not null,
  constraint calendar_feed_end_pk primary key (feed_id),
  constraint calendar_feed_end_feed_fk foreign key (feed_id) references calendar_feed (feed_id));
comment on table calendar_feed_end is 'That an address was taken back. Insert only.';

alter table calendar_feed enable row level security;
alter table calendar_feed force row level security;
alter table calendar_feed_end enable row level security;
alter table calendar_feed_end force row level security;
create policy staff on calendar_feed to lintel_staff using (true) with check (true);
create policy staff on calendar_feed_end to lintel_staff using (true) with check (true);
create policy by_customer on calendar_feed for select to lintel_customer
  using (customer_id = any ((select nullif(current_setting('lintel.customers', true), ''))::uuid[]));
create policy by_site on calendar_feed for select to lintel_site
  using (site_id = any ((select nullif(current_setting('lintel.sites', true), ''))::uuid[]));
create policy add_by_customer on calendar_feed for insert to lintel_customer
  with check (customer_id = any ((select nullif(current_setting('lintel.customers', true), ''))::uuid[]));
create policy add_by_site on calendar_feed for insert to lintel_site
  with check (site_id = any ((select nullif(current_setting('lintel.sites', true), ''))::uuid[]));
create policy by_feed on calendar_feed_end for select to lintel_customer, lintel_site
  using (exists (select from calendar_feed f where f.feed_id = calendar_feed_end.feed_id));
create policy add_by_feed on calendar_feed_end for insert to lintel_customer, lintel_site
  with check (exists (select from calendar_feed f where f.feed_id = calendar_feed_end.feed_id));
grant select, insert on calendar_feed, calendar_feed_end to lintel_staff, lintel_customer, lintel_site;
grant update (read_at) on calendar_feed to lintel_staff;

-- When what a calendar says of an order last changed, by the program's clock. Null: never, since it was recorded. The trigger sees to it that nothing else
-- moves it, and that it never goes back.
alter table work_order add column changed_at timestamptz;
comment on column work_order.changed_at is 'When its day, its technician or its state last changed; null: not since it was recorded.';
create function work_order_changed() returns trigger language plpgsql as $$
begin
  if (old.due_on, old.planned_on, old.assigned_to, old.state, old.done_on) is distinct from (new.due_on, new.planned_on, new.assigned_to, new.state, new.done_on) then
    new.changed_at := coalesce(greatest(new.changed_at, old.changed_at), now());
  else
    new.changed_at := old.changed_at;
  end if;
  return new;
end $$;
create trigger work_order_changed before update on work_order for each row execute function work_order_changed();

-- What was agreed about the hour of a visit is part of what a calendar says: those with whom it was agreed may read it, but not why.
create policy by_customer on work_order_hold for select to lintel_customer
  using (customer_id = any ((select nullif(current_setting('lintel.customers', true), ''))::uuid[]));
create policy by_site on work_order_hold for select to lintel_site
  using (site_id = any ((select nullif(current_setting('lintel.sites', true), ''))::uuid[]));
grant select (customer_id, site_id, door_id, work_order_id, from_minute, to_minute, held, recorded_at) on work_order_hold to lintel_customer, lintel_site;
