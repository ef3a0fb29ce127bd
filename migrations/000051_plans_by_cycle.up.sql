-- Inspection plans by the four regimes of lintel due: what a plan says more than before, what is derived of it, and when it is suspended.
-- The former names of regimes are kept until the next file has written the present ones.
alter table inspection_plan
  no force row level security, -- the next file writes rows as the owner of the table, and the one after it forces it again: else it would be locked meanwhile
  add column fixed_month integer,
  add column grace_days integer not null default 0,
  add column longest_months integer,
  add column regular_due date,
  add column due_by date,
  add column orders_from date,
  add column suspended date[] not null default '{}',
  drop constraint inspection_plan_regime_check,
  add constraint inspection_plan_regime_check check (regime in ('anniversary', 'from_last', 'month_end', 'fixed_month', 'anchored', 'from_completion')) not valid,
  add constraint inspection_plan_month_check check ((regime = 'fixed_month') = (fixed_month is not null) and fixed_month between 1 and 12) not valid,
  add constraint inspection_plan_grace_check check (grace_days between 0 and 366) not valid;
comment on column inspection_plan.longest_months is 'The most that may lie between two inspections by the rules that judge the door; derived. Null: none of them says.';
comment on column inspection_plan.regular_due is 'What the regime alone gives, where the longest interval or a suspension moved next_due; derived.';
comment on column inspection_plan.due_by is 'Until when next_due is served in time, where that is another day; derived.';
comment on column inspection_plan.orders_from is 'From when the work order is made, where that is not lead_days before next_due; derived.';
comment on column inspection_plan.suspended is 'First and last day of each suspension, in pairs; derived of plan_suspension_event.';

create table plan_suspension_event (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  plan_id uuid not null,
  event_id uuid not null,
  suspension_id uuid not null,
  kind text not null,
  from_on date not null,
  until_on date,
  reason text not null,
  why text not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint plan_suspension_event_pk primary key (customer_id, site_id, door_id, plan_id, event_id),
  constraint plan_suspension_event_id_key unique (event_id),
  constraint plan_suspension_event_plan_fk foreign key (customer_id, site_id, door_id, plan_id)
    references inspection_plan (customer_id, site_id, door_id, plan_id) on update cascade,
  constraint plan_suspension_event_kind_check check (kind in ('suspended', 'resumed') and (kind = 'suspended') = (until_on is not null)
    and (kind = 'suspended') = (event_id = suspension_id) and (kind = 'suspended') = (reason <> '') and (until_on is null or until_on >= from_on)),
  constraint plan_suspension_event_reason_check check (reason in ('', 'door_out_of_use', 'building_closed', 'season', 'other')));
create index plan_suspension_event_plan_idx on plan_suspension_event (plan_id, recorded_at, event_id);
comment on table plan_suspension_event is 'That a plan is suspended from a day until another, and that it goes on from an earlier day than was said. The days of a suspension are what its events add up to, in whatever order they came. Insert only.';

alter table plan_suspension_event enable row level security;
alter table plan_suspension_event force row level security;
create policy staff on plan_suspension_event to lintel_staff using (true) with check (true);
create policy by_customer on plan_suspension_event for select to lintel_customer
  using (customer_id = any ((select nullif(current_setting('lintel.customers', true), ''))::uuid[]));
create policy by_site on plan_suspension_event for select to lintel_site
  using (site_id = any ((select nullif(current_setting('lintel.sites', true), ''))::uuid[]));
grant select, insert on plan_suspension_event to lintel_staff;
grant select on plan_suspension_event to lintel_customer, lintel_site;
