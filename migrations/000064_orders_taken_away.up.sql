-- An order that goes to somebody else leaves the calendar of whoever had it: a program that has the event already must be told that
-- it is off, and for that must be known whose it was.
create table work_order_taken (
  work_order_id uuid not null,
  person_id uuid not null,
  at timestamptz not null,
  constraint work_order_taken_pk primary key (work_order_id, person_id),
  constraint work_order_taken_work_order_fk foreign key (work_order_id) references work_order (work_order_id),
  constraint work_order_taken_person_fk foreign key (person_id) references person (person_id));
create index work_order_taken_person_idx on work_order_taken (person_id, at);
comment on table work_order_taken is 'Who had an order to do and has it no more, and when it was last taken from them. Kept by a trigger; given back, the row stays.';
alter table work_order_taken enable row level security;
alter table work_order_taken force row level security;
create policy staff on work_order_taken to lintel_staff using (true) with check (true);
grant select, insert, update on work_order_taken to lintel_staff;
create function work_order_taken() returns trigger language plpgsql as $$
begin
  insert into work_order_taken (work_order_id, person_id, at) values (old.work_order_id, old.assigned_to, new.changed_at)
  on conflict (work_order_id, person_id) do update set at = excluded.at;
  return null;
end $$;
create trigger work_order_taken after update of assigned_to on work_order for each row
  when (old.assigned_to is not null and old.assigned_to is distinct from new.assigned_to) execute function work_order_taken();
