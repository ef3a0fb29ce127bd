-- Paper often does not say how hard a door moves, what opens it or where a leaf is hinged. Not validated: what is there
-- already meets the narrower checks that these replace, and looking at every row would hold the lock.
alter table door_version
  drop constraint door_version_energy_check,
  drop constraint door_version_traffic_check,
  drop constraint door_version_activation_check,
  add constraint door_version_energy_check check (energy in ('full', 'low', 'assist', 'unknown')) not valid,
  add constraint door_version_traffic_check check (traffic in ('one_way_in', 'one_way_out', 'two_way', 'unknown')) not valid,
  add constraint door_version_activation_check check (activation_a in ('sensor', 'knowing_act', 'both', 'none', 'unknown')
    and activation_b in ('sensor', 'knowing_act', 'both', 'none', 'unknown')) not valid;
alter table door_leaf
  drop constraint door_leaf_hinge_check,
  drop constraint door_leaf_opens_check,
  add constraint door_leaf_hinge_check check (hinge in ('left', 'right', 'none', 'unknown')) not valid,
  add constraint door_leaf_opens_check check (opens_towards in ('a', 'b', 'both', 'left', 'right', 'none', 'unknown')) not valid;

create table import_run (
  run_id uuid not null,
  file_name text not null,
  file_sha256 bytea not null,
  at timestamptz not null,
  person_id uuid not null,
  summary jsonb not null,
  undone_at timestamptz,
  undone_by uuid,
  constraint import_run_pk primary key (run_id),
  constraint import_run_sha256_check check (octet_length(file_sha256) = 32),
  constraint import_run_undone_check check ((undone_at is null) = (undone_by is null)));
create index import_run_at_idx on import_run (at desc, run_id);
comment on table import_run is 'A spreadsheet that was brought in, and what came of it. Staff only.';

create table import_item (
  run_id uuid not null,
  item_no integer not null,
  row_no integer not null,
  subject_kind text not null,
  subject_id uuid not null,
  made boolean not null,
  versions text[] not null,
  before jsonb,
  constraint import_item_pk primary key (run_id, item_no),
  constraint import_item_run_fk foreign key (run_id) references import_run (run_id),
  constraint import_item_kind_check check (subject_kind in ('customer', 'site', 'party', 'standing', 'door', 'component', 'revision', 'plan')),
  constraint import_item_before_check check (made = (before is null)));
create index import_item_subject_idx on import_item (subject_id);
comment on table import_item is 'What an import made or changed, the versions that it wrote, and the state before: what undoing it needs. Insert only.';

alter table import_run enable row level security;
alter table import_run force row level security;
alter table import_item enable row level security;
alter table import_item force row level security;
create policy staff on import_run to lintel_staff using (true) with check (true);
create policy staff on import_item to lintel_staff using (true) with check (true);
grant select, insert on import_run, import_item to lintel_staff;
grant update (undone_at, undone_by) on import_run to lintel_staff;

-- Staff may delete a row of the register only if an import made it and that import is being undone. What has been added
-- to it since is another table's row, and its foreign key refuses.
do $$
declare
  t record;
begin
  for t in select * from (values
    ('customer', 'customer_id'), ('party', 'party_id'), ('site', 'site_id'), ('site_party', 'standing_id'), ('door', 'door_id'), ('door_version', 'door_id'),
    ('door_leaf', 'door_id'), ('coverage', 'door_id'), ('finding', 'door_id'), ('component', 'component_id'), ('component_version', 'component_id'),
    ('revision', 'revision_id'), ('extent', 'revision_id'), ('inspection_plan', 'plan_id')) as v (name, id)
  loop
    execute format('grant delete on %I to lintel_staff', t.name);
    execute format('create policy undo on %1$I as restrictive for delete to lintel_staff using (exists (
      select from import_item i join import_run r on r.run_id = i.run_id where i.subject_id = %1$I.%2$I and i.made and r.undone_at is not null))', t.name, t.id);
  end loop;
end $$;
