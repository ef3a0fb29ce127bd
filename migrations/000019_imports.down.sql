do $$
declare
  t text;
begin
  foreach t in array array['customer', 'party', 'site', 'site_party', 'door', 'door_version', 'door_leaf', 'coverage', 'finding', 'component', 'component_version',
    'revision', 'extent', 'inspection_plan'] loop
    execute format('drop policy undo on %I', t);
    execute format('revoke delete on %I from lintel_staff', t);
  end loop;
end $$;
drop table import_item;
drop table import_run;
-- What paper left unknown was not allowed before: it becomes the most that the older program could say.
update door_leaf set hinge = case when hinge = 'unknown' then 'none' else hinge end, opens_towards = case when opens_towards = 'unknown' then 'none' else opens_towards end
where 'unknown' in (hinge, opens_towards);
update door_version set energy = case when energy = 'unknown' then 'full' else energy end, traffic = case when traffic = 'unknown' then 'two_way' else traffic end,
  activation_a = case when activation_a = 'unknown' then 'none' else activation_a end, activation_b = case when activation_b = 'unknown' then 'none' else activation_b end
where 'unknown' in (energy, traffic, activation_a, activation_b);
alter table door_leaf
  drop constraint door_leaf_hinge_check,
  drop constraint door_leaf_opens_check,
  add constraint door_leaf_hinge_check check (hinge in ('left', 'right', 'none')),
  add constraint door_leaf_opens_check check (opens_towards in ('a', 'b', 'both', 'left', 'right', 'none'));
alter table door_version
  drop constraint door_version_energy_check,
  drop constraint door_version_traffic_check,
  drop constraint door_version_activation_check,
  add constraint door_version_energy_check check (energy in ('full', 'low', 'assist')),
  add constraint door_version_traffic_check check (traffic in ('one_way_in', 'one_way_out', 'two_way')),
  add constraint door_version_activation_check check (activation_a in ('sensor', 'knowing_act', 'both', 'none') and activation_b in ('sensor', 'knowing_act', 'both', 'none'));
