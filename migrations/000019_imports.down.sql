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
alter table door_leaf
  drop constraint door_leaf_hinge_check,
  drop constraint door_leaf_opens_check,
  add constraint door_leaf_hinge_check check (hinge in ('left', 'right', 'none')) not valid,
  add constraint door_leaf_opens_check check (opens_towards in ('a', 'b', 'both', 'left', 'right', 'none')) not valid;
alter table door_version
  drop constraint door_version_energy_check,
  drop constraint door_version_traffic_check,
  drop constraint door_version_activation_check,
  add constraint door_version_energy_check check (energy in ('full', 'low', 'assist')) not valid,
  add constraint door_version_traffic_check check (traffic in ('one_way_in', 'one_way_out', 'two_way')) not valid,
  add constraint door_version_activation_check check (activation_a in ('sensor', 'knowing_act', 'both', 'none') and activation_b in ('sensor', 'knowing_act', 'both', 'none')) not valid;
