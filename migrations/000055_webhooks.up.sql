-- Other programs are told of what happened: written in the transaction of the change itself, by triggers, so that no use-case
-- can forget it; sent afterwards, at least once. Without anybody who wants to be told nothing is written.
create table webhook (
  webhook_id uuid not null,
  address text not null,
  types text[] not null,
  note text not null,
  state text not null,
  because text not null default '',
  failing_since timestamptz,
  key_id text not null,
  sealed bytea not null,
  former_key_id text,
  former_sealed bytea,
  former_until timestamptz,
  version integer not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint webhook_pk primary key (webhook_id),
  constraint webhook_state_check check (state in ('enabled', 'disabled') and because in ('', 'person', 'gone', 'failing') and (state = 'disabled') = (because <> '')),
  constraint webhook_former_check check ((former_sealed is null) = (former_key_id is null) and (former_sealed is null) = (former_until is null)));
comment on table webhook is 'An address of another program that is told of events. The secrets that sign are encrypted with a named key.';

create table webhook_event (
  event_id uuid not null,
  type text not null,
  subject_id uuid not null,
  data jsonb not null,
  happened_at timestamptz not null,
  constraint webhook_event_pk primary key (event_id));
create index webhook_event_happened_idx on webhook_event (happened_at, event_id);
comment on table webhook_event is 'What happened, for those who were to be told. Insert only.';

create table webhook_delivery (
  webhook_id uuid not null,
  event_id uuid not null,
  happened_at timestamptz not null,
  state text not null,
  attempts integer not null default 0,
  next_try_at timestamptz,
  claimed_until timestamptz,
  constraint webhook_delivery_pk primary key (webhook_id, event_id),
  constraint webhook_delivery_webhook_fk foreign key (webhook_id) references webhook (webhook_id),
  constraint webhook_delivery_event_fk foreign key (event_id) references webhook_event (event_id),
  constraint webhook_delivery_state_check check (state in ('waiting', 'delivered', 'given_up')));
create index webhook_delivery_waiting_idx on webhook_delivery (webhook_id, happened_at, event_id) where state = 'waiting';
create index webhook_delivery_event_idx on webhook_delivery (event_id);
comment on table webhook_delivery is 'That a webhook is told of an event, and how far that is.';

create table webhook_attempt (
  attempt_id uuid not null,
  webhook_id uuid not null,
  event_id uuid not null,
  at timestamptz not null,
  status integer not null,
  answer text not null,
  took_ms integer not null,
  constraint webhook_attempt_pk primary key (attempt_id),
  constraint webhook_attempt_delivery_fk foreign key (webhook_id, event_id) references webhook_delivery (webhook_id, event_id));
create index webhook_attempt_delivery_idx on webhook_attempt (webhook_id, event_id, at);
comment on table webhook_attempt is 'Each attempt to tell a webhook, and what it answered; status 0: no answer came. Insert only.';

alter table webhook enable row level security;
alter table webhook force row level security;
create policy staff on webhook to lintel_staff using (true) with check (true);
grant select, insert, update on webhook to lintel_staff;
alter table webhook_event enable row level security;
alter table webhook_event force row level security;
create policy staff on webhook_event to lintel_staff using (true) with check (true);
grant select, insert on webhook_event to lintel_staff;
alter table webhook_delivery enable row level security;
alter table webhook_delivery force row level security;
create policy staff on webhook_delivery to lintel_staff using (true) with check (true);
grant select, insert, update on webhook_delivery to lintel_staff;
alter table webhook_attempt enable row level security;
alter table webhook_attempt force row level security;
create policy staff on webhook_attempt to lintel_staff using (true) with check (true);
grant select, insert on webhook_attempt to lintel_staff;

-- Keeps those events of a statement that somebody wants to be told of, and that each of these is to be told.
create function webhook_tell(happened webhook_event[]) returns void language sql as $$
  with told as (
    insert into webhook_event (event_id, type, subject_id, data, happened_at)
    select h.event_id, h.type, h.subject_id, h.data, h.happened_at from unnest(happened) h
    where exists (select from webhook w where w.state = 'enabled' and h.type = any (w.types))
    returning event_id, type, happened_at)
  insert into webhook_delivery (webhook_id, event_id, happened_at, state)
  select w.webhook_id, t.event_id, t.happened_at, 'waiting' from told t join webhook w on w.state = 'enabled' and t.type = any (w.types)
$$;

create function webhook_work_order() returns trigger language plpgsql as $$
begin
  if not exists (select from webhook where state = 'enabled') then
    return null;
  end if;
  if tg_op = 'INSERT' then
    perform webhook_tell((select array_agg((gen_random_uuid(), 'work_order.opened', o.work_order_id, jsonb_build_object('work_order_id', o.work_order_id, 'customer_id', o.customer_id,
      'site_id', o.site_id, 'door_id', o.door_id, 'kind', o.kind, 'due_on', o.due_on), now())::webhook_event) from fresh o where o.state = 'open'));
  else
    perform webhook_tell((select array_agg((gen_random_uuid(), case o.state when 'open' then 'work_order.opened' else 'work_order.closed' end, o.work_order_id,
      jsonb_build_object('work_order_id', o.work_order_id, 'customer_id', o.customer_id, 'site_id', o.site_id, 'door_id', o.door_id, 'kind', o.kind, 'due_on', o.due_on)
      || case o.state when 'open' then '{}'::jsonb else jsonb_build_object('state', o.state, 'done_on', o.done_on) end, now())::webhook_event)
      from fresh o join before b using (work_order_id) where (o.state = 'open') <> (b.state = 'open')));
  end if;
  return null;
end $$;
create trigger webhook_opened after insert on work_order referencing new table as fresh for each statement execute function webhook_work_order();
create trigger webhook_turned after update on work_order referencing old table as before new table as fresh for each statement execute function webhook_work_order();

create function webhook_case() returns trigger language plpgsql as $$
begin
  if not exists (select from webhook where state = 'enabled') then
    return null;
  end if;
  if tg_op = 'INSERT' then
    perform webhook_tell((select array_agg((gen_random_uuid(), k.type, c.case_id, jsonb_build_object('case_id', c.case_id, 'customer_id', c.customer_id, 'site_id', c.site_id,
      'door_id', c.door_id, 'finding_id', c.finding_id), now())::webhook_event)
      from fresh c join (values ('unsecured', 'door.unsafe'), ('secured', 'door.secured'), ('ended', 'door.reinspected')) k (state, type) using (state)));
  else
    perform webhook_tell((select array_agg((gen_random_uuid(), k.type, c.case_id, jsonb_build_object('case_id', c.case_id, 'customer_id', c.customer_id, 'site_id', c.site_id,
      'door_id', c.door_id, 'finding_id', c.finding_id), now())::webhook_event)
      from fresh c join before b using (case_id) join (values ('unsecured', 'door.unsafe'), ('secured', 'door.secured'), ('ended', 'door.reinspected')) k (state, type) on k.state = c.state
      where c.state <> b.state));
  end if;
  return null;
end $$;
create trigger webhook_opened after insert on out_of_service_case referencing new table as fresh for each statement execute function webhook_case();
create trigger webhook_turned after update on out_of_service_case referencing old table as before new table as fresh for each statement execute function webhook_case();

create function webhook_sign_off() returns trigger language plpgsql as $$
begin
  if exists (select from webhook where state = 'enabled') then
    perform webhook_tell((select array_agg((gen_random_uuid(), 'visit.signed', v.visit_id, jsonb_build_object('visit_id', v.visit_id, 'customer_id', v.customer_id, 'site_id', v.site_id,
      'record_sha256', encode(v.record_sha256, 'hex')), now())::webhook_event) from fresh v));
  end if;
  return null;
end $$;
create trigger webhook_signed after insert on visit_sign_off referencing new table as fresh for each statement execute function webhook_sign_off();

create function webhook_report_delivery() returns trigger language plpgsql as $$
begin
  if exists (select from webhook where state = 'enabled') then
    perform webhook_tell((select array_agg((gen_random_uuid(), 'report.delivered', d.report_id, jsonb_build_object('report_id', d.report_id, 'delivery_id', d.delivery_id,
      'customer_id', d.customer_id, 'site_id', d.site_id, 'way', d.way), now())::webhook_event) from fresh d));
  end if;
  return null;
end $$;
create trigger webhook_delivered after insert on report_delivery referencing new table as fresh for each statement execute function webhook_report_delivery();
