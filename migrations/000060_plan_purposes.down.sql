-- The files before know inspections alone: other plans end, and what was made of them is superseded unless it was done.
alter table work_order no force row level security, drop constraint work_order_plan_check;
alter table inspection_plan no force row level security;
update work_order set kind = 'inspection', state = case state when 'open' then 'superseded' else state end, version = version + 1 where plan_id is not null and kind = 'service';
update inspection_plan set active = false, version = version + 1 where active and purpose <> 'inspection';
alter table work_order force row level security,
  add constraint work_order_plan_check check ((plan_id is null) = (period is null) and (plan_id is null or kind = 'inspection'));
drop index inspection_plan_purpose_key;
alter table inspection_plan force row level security, drop constraint inspection_plan_purpose_check, drop column purpose, drop column beside_from; -- and the index of beside_from with it
create unique index inspection_plan_active_key on inspection_plan (door_id) where active;
