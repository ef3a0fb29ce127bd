-- What the readings of a door are expected to reach, so that the office has a list of a whole fleet without looking at every
-- entry. Computed and internal: staff only.
create table expected_crossing (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  reading text not null,
  leaf integer not null,
  side text not null,
  unit text not null,
  bound double precision not null,
  at_most boolean not null,
  advice boolean not null,
  per_year double precision not null,
  last_on date not null,
  last_value double precision not null,
  earliest_on date not null,
  likely_on date,
  latest_on date,
  computed_at timestamptz not null,
  constraint expected_crossing_pk primary key (customer_id, site_id, door_id, reading, leaf, side),
  constraint expected_crossing_door_fk foreign key (customer_id, site_id, door_id) references door (customer_id, site_id, door_id) on update cascade,
  constraint expected_crossing_side_check check (side in ('', 'a', 'b')),
  constraint expected_crossing_order_check check (earliest_on <= likely_on and likely_on <= latest_on));
create index expected_crossing_likely_idx on expected_crossing (likely_on, door_id, reading, leaf, side) where likely_on is not null;
create index expected_crossing_door_idx on expected_crossing (door_id);
comment on table expected_crossing is 'When a reading is likely to reach its limit, by its drift over the years. likely_on is empty where nothing is expected any more; latest_on where it is farther off than anybody can say.';
alter table expected_crossing enable row level security;
alter table expected_crossing force row level security;
create policy staff on expected_crossing to lintel_staff using (true) with check (true);
grant select, insert, update on expected_crossing to lintel_staff;
