-- What is to be computed anew at every door of the fleet, and how far that is: cut off anywhere it goes on from here.
create table recomputation (
  recomputation_id uuid not null,
  why text not null,
  detail text not null,
  asked_at timestamptz not null,
  asked_by uuid not null,
  after_door uuid not null default '00000000-0000-0000-0000-000000000000',
  done integer not null default 0,
  changed integer not null default 0,
  opened integer not null default 0,
  cleared integer not null default 0,
  finished_at timestamptz,
  constraint recomputation_pk primary key (recomputation_id),
  constraint recomputation_why_check check (why in ('program', 'catalogue', 'asked')),
  constraint recomputation_counts_check check (done >= 0 and changed >= 0 and opened >= 0 and cleared >= 0));
create unique index recomputation_program_key on recomputation (detail) where why = 'program';
comment on table recomputation is 'Computing anew what is watched at every door of the fleet, from door to door by id; after_door is the last of those that are all done.';

alter table recomputation enable row level security;
alter table recomputation force row level security;
create policy staff on recomputation to lintel_staff using (true) with check (true);
grant select, insert on recomputation to lintel_staff;
grant update (after_door, done, changed, opened, cleared, finished_at) on recomputation to lintel_staff;
