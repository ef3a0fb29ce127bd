-- What the former regimes cannot say becomes the nearest that they can: a plan on ends of months counts on from the last inspection, one of a fixed
-- month keeps its anniversary.
alter table inspection_plan drop constraint inspection_plan_month_check;
update inspection_plan set regime = case when regime in ('anniversary', 'fixed_month') then 'anchored' else 'from_completion' end, fixed_month = null
where regime not in ('anchored', 'from_completion');
drop table plan_suspension_event;
alter table inspection_plan
  force row level security,
  drop constraint inspection_plan_grace_check,
  drop constraint inspection_plan_regime_check,
  drop column suspended,
  drop column orders_from,
  drop column due_by,
  drop column regular_due,
  drop column longest_months,
  drop column grace_days,
  drop column fixed_month,
  add constraint inspection_plan_regime_check check (regime in ('anchored', 'from_completion'));
