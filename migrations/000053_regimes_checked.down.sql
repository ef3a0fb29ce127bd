alter table inspection_plan
  no force row level security,
  drop constraint inspection_plan_regime_check,
  add constraint inspection_plan_regime_check check (regime in ('anniversary', 'from_last', 'month_end', 'fixed_month', 'anchored', 'from_completion')) not valid;
