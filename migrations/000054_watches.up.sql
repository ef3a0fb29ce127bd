-- Whoever works alone says when they will be back; when they are not, the office is alarmed until somebody takes it.
create table watch (
  watch_id uuid not null,
  person_id uuid not null,
  visit_id uuid,
  place text not null,
  note text not null,
  back_by timestamptz not null,
  started_at timestamptz not null,
  started_by uuid not null,
  ended_at timestamptz,
  constraint watch_pk primary key (watch_id),
  constraint watch_person_fk foreign key (person_id) references person (person_id),
  constraint watch_visit_fk foreign key (visit_id) references visit (visit_id));
create index watch_open_idx on watch (started_at, watch_id) where ended_at is null;
create index watch_visit_idx on watch (visit_id);
comment on table watch is 'That somebody works alone and by when they said they would be back at first. Its events say what came of it.';
comment on column watch.ended_at is 'Of its first event that ends it; the rest of the row never changes.';

create table watch_event (
  watch_id uuid not null,
  event_id uuid not null,
  kind text not null,
  back_by timestamptz,
  note text not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint watch_event_pk primary key (event_id),
  constraint watch_event_watch_fk foreign key (watch_id) references watch (watch_id),
  constraint watch_event_kind_check check (kind in ('extended', 'ended', 'taken') and (kind = 'extended') = (back_by is not null)));
create index watch_event_watch_idx on watch_event (watch_id, recorded_at, event_id);
comment on table watch_event is 'Somebody who works alone needs longer, is back, or somebody sees to the alarm. Insert only.';

-- The latest word on when somebody is back holds; an alarm is taken only by who came after it.
create view watch_now with (security_invoker = true) as
  select w.watch_id, w.person_id, w.visit_id, w.place, w.note, w.started_at, w.started_by, w.back_by as first_back_by, coalesce(x.back_by, w.back_by) as back_by, w.ended_at, t.recorded_at as taken_at, t.recorded_by as taken_by, coalesce(t.note, '') as taken_note
  from watch w
  left join lateral (select e.back_by, e.recorded_at from watch_event e where e.watch_id = w.watch_id and e.kind = 'extended' order by e.recorded_at desc, e.event_id desc limit 1) x on true
  left join lateral (select e.recorded_at, e.recorded_by, e.note from watch_event e where e.watch_id = w.watch_id and e.kind = 'taken' and e.recorded_at >= coalesce(x.recorded_at, '-infinity')
    order by e.recorded_at, e.event_id limit 1) t on true;
comment on view watch_now is 'Watches as they stand: by when somebody is back, whether they are, and who sees to the alarm.';

do $$
declare
  t text;
begin
  foreach t in array array['watch', 'watch_event'] loop
    execute format('alter table %I enable row level security', t);
    execute format('alter table %I force row level security', t);
    execute format('create policy staff on %I to lintel_staff using (true) with check (true)', t);
    execute format('grant select, insert on %I to lintel_staff', t);
  end loop;
end $$;
grant update (ended_at) on watch to lintel_staff;
grant select on watch_now to lintel_staff;
