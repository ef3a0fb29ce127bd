-- A door may have an active plan for each purpose. On a million plans the index is built in about a second, in which nobody writes them.
alter table inspection_plan
  add column purpose text not null default 'inspection',
  add column beside_from date,
  add constraint inspection_plan_purpose_check check (purpose in ('inspection', 'fire_door', 'service')) not valid;
comment on column inspection_plan.purpose is 'What is done: a safety inspection, which ends with a signed conclusion, the items of a fire door, or service, which end when their order is said to be done.';
comment on column inspection_plan.beside_from is 'From when its work order is made together with that of another plan of the door, before orders_from; derived. Null: it is not.';
create unique index inspection_plan_purpose_key on inspection_plan (door_id, purpose) where active;
drop index inspection_plan_active_key;
create index inspection_plan_beside_idx on inspection_plan (door_id) where active and beside_from is not null;

alter table work_order
  drop constraint work_order_plan_check,
  add constraint work_order_plan_check check ((plan_id is null) = (period is null) and (plan_id is null or kind in ('inspection', 'service'))) not valid;
