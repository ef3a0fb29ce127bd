-- What people say of a work order: who called and why, by when somebody must be there, who pays, and what became of
-- it. The constraints are NOT VALID because every row there satisfies them by its defaults: nothing is scanned under a lock.
alter table work_order
  add column made_by uuid,
  add column caller_name text not null default '',
  add column caller_telephone text not null default '',
  add column caller_role text not null default '',
  add column symptom text not null default '',
  add column priority text not null default 'normal',
  add column received_at timestamptz,
  add column respond_by timestamptz,
  add column reported_unsafe boolean not null default false,
  add column people_hurt boolean not null default false,
  add column accident_what text not null default '',
  add column accident_told text not null default '',
  add column kept_as_found boolean,
  add column billing_basis text not null default 'unsettled',
  add column customer_order_number text not null default '',
  add column state_at timestamptz,
  add column state_by uuid,
  add column state_why text not null default '',
  add constraint work_order_priority_check check (priority in ('normal', 'urgent', 'emergency')) not valid,
  add constraint work_order_billing_check check (billing_basis in ('unsettled', 'contract', 'warranty', 'time_and_material', 'insurance', 'goodwill')) not valid,
  add constraint work_order_accident_check check (kind = 'accident' or (accident_what = '' and accident_told = '' and kept_as_found is null and not people_hurt)) not valid;
create index work_order_respond_idx on work_order (respond_by, work_order_id) where state = 'open' and respond_by is not null;

alter table inspection_plan add column from_handover boolean not null default false;

create table work_order_event (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  work_order_id uuid not null,
  event_id uuid not null,
  kind text not null,
  at timestamptz not null,
  done_on date,
  visit_id uuid,
  why text not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint work_order_event_pk primary key (customer_id, site_id, door_id, work_order_id, event_id),
  constraint work_order_event_id_key unique (event_id),
  constraint work_order_event_order_fk foreign key (customer_id, site_id, door_id, work_order_id)
    references work_order (customer_id, site_id, door_id, work_order_id) on update cascade,
  constraint work_order_event_kind_check check (kind in ('done', 'cancelled', 'reopened') and (kind = 'done') = (done_on is not null)
    and (visit_id is null or kind = 'done')));
create index work_order_event_door_idx on work_order_event (door_id, work_order_id);
comment on table work_order_event is 'Who said of a work order that it is done, cancelled or open again: its state is what they add up to. Insert only; staff only.';

-- What was said before there was such a table. The owner of the tables sees their rows only while row-level security is not forced on it.
alter table work_order no force row level security;
alter table visit_sign_off no force row level security;
alter table change_log no force row level security;
insert into work_order_event (customer_id, site_id, door_id, work_order_id, event_id, kind, at, done_on, visit_id, why, recorded_at, recorded_by)
select o.customer_id, o.site_id, o.door_id, o.work_order_id, gen_random_uuid(), 'done', least(s.signed_at, s.received_at), o.done_on, o.done_visit_id, '', s.received_at, s.signed_by
from work_order o join visit_sign_off s on s.visit_id = o.done_visit_id
where o.state = 'done' and o.plan_id is null and o.origin_visit_id is null
union all
select o.customer_id, o.site_id, o.door_id, o.work_order_id, gen_random_uuid(), 'cancelled', c.at, null, null, '', c.at, c.person_id
from work_order o cross join lateral (
  select l.at, l.person_id from change_log l where l.subject_kind = 'work_order' and l.subject_id = o.work_order_id order by l.at desc limit 1) c
where o.state = 'cancelled' and o.origin_visit_id is null;
update work_order o set state_at = e.at, state_by = e.recorded_by from work_order_event e where e.work_order_id = o.work_order_id;
alter table work_order force row level security;
alter table visit_sign_off force row level security;
alter table change_log force row level security;

alter table work_order_event enable row level security;
alter table work_order_event force row level security;
create policy staff on work_order_event to lintel_staff using (true) with check (true);
grant select, insert on work_order_event to lintel_staff;

-- A part that a visit fitted or took out is an entry of its own.
alter table visit_entry drop constraint visit_entry_kind_check;
alter table visit_entry add constraint visit_entry_kind_check
  check (kind in ('reading', 'photo', 'settings', 'finding', 'securing', 'mending', 'conclusion', 'note', 'part')) not valid;
create index visit_entry_part_idx on visit_entry (door_id, observed_at) where kind = 'part';
