-- When this installation was last backed up, as far as its own database was told.
create table backup_run (
  backup_id uuid not null,
  began_at timestamptz not null,
  ended_at timestamptz not null,
  outcome text not null,
  folder text not null,
  size_bytes bigint not null,
  with_keys boolean not null,
  note text not null,
  constraint backup_run_pk primary key (backup_id),
  constraint backup_run_outcome_check check (outcome in ('good', 'incomplete', 'failed')),
  constraint backup_run_times_check check (ended_at >= began_at),
  constraint backup_run_size_check check (size_bytes >= 0));
create index backup_run_ended_idx on backup_run (ended_at desc, backup_id desc);
comment on table backup_run is 'One backup of this installation: good when everything was written and read back. Insert only.';

alter table backup_run enable row level security;
alter table backup_run force row level security;
create policy staff on backup_run to lintel_staff using (true) with check (true);
grant select, insert on backup_run to lintel_staff;
