-- What is unusual about the entries of a signed visit: questions of the office's. Those whose entries they are about do not see
-- them: a transaction has the office's sight only when whoever asks has the right to read them (lintel.office).
create table oddity (
  customer_id uuid not null,
  site_id uuid not null,
  visit_id uuid not null,
  oddity_id uuid not null,
  kind text not null,
  person_id uuid not null,
  day date not null,
  doors uuid[] not null,
  entries uuid[] not null,
  looked_at integer not null,
  doors_of_day integer not null default 0,
  seconds bigint not null default 0,
  other_visits uuid[] not null default '{}',
  noticed_at timestamptz not null,
  state text not null default 'open',
  explained_at timestamptz,
  explained_by uuid,
  explanation text not null default '',
  constraint oddity_pk primary key (customer_id, site_id, visit_id, oddity_id),
  constraint oddity_id_key unique (oddity_id),
  constraint oddity_visit_fk foreign key (customer_id, site_id, visit_id) references visit (customer_id, site_id, visit_id) on update cascade,
  constraint oddity_kind_check check (kind in ('same_readings', 'short_visit', 'before_arrival', 'after_leaving', 'received_late', 'clock_ahead', 'elsewhere_meanwhile', 'same_photo')),
  constraint oddity_counts_check check (cardinality(doors) > 0 and cardinality(entries) between 1 and looked_at and doors_of_day >= 0 and seconds >= 0),
  constraint oddity_state_check check (state in ('open', 'explained', 'withdrawn')),
  constraint oddity_explained_check check ((state = 'explained') = (explained_at is not null) and (state = 'explained') = (explained_by is not null) and (state = 'explained') = (explanation <> '')));
create index oddity_noticed_idx on oddity (noticed_at desc, oddity_id desc);
create index oddity_open_idx on oddity (noticed_at desc, oddity_id desc) where state = 'open';
create index oddity_visit_idx on oddity (visit_id);
create index oddity_doors_idx on oddity using gin (doors);
comment on table oddity is 'A question that the entries of one person on one day of a signed visit raise, with the numbers that raise it. It accuses nobody and stands in no record; withdrawn when later entries have answered it.';
comment on column oddity.looked_at is 'How many entries were looked at.';
comment on column oddity.doors_of_day is 'same_readings: at how many doors of the person on that day.';
comment on column oddity.seconds is 'short_visit: from arrival to leaving; times: the greatest distance; elsewhere_meanwhile: how long both went on.';
comment on column oddity.other_visits is 'Visits that the entries were held against.';

alter table oddity enable row level security;
alter table oddity force row level security;
create policy office on oddity to lintel_staff
  using ((select current_setting('lintel.office', true)) = 'on') with check ((select current_setting('lintel.office', true)) = 'on');
grant select, insert on oddity to lintel_staff;
grant update (doors, entries, looked_at, doors_of_day, seconds, other_visits, state, explained_at, explained_by, explanation) on oddity to lintel_staff;
