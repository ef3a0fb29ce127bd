-- What the ladder of notices decided for an open inspection stays decided until something that it looked at changes. So that not every
-- open order is looked at every night, this keeps until when time alone changes nothing, and what was looked at.
create table ladder_look (
  work_order_id uuid not null,
  through date,
  saw bigint not null,
  constraint ladder_look_pk primary key (work_order_id),
  constraint ladder_look_work_order_fk foreign key (work_order_id) references work_order (work_order_id));
comment on table ladder_look is 'That the ladder of notices looked at an order: until which day (null: for good) it has nothing to add while what it saw (a hash) is the same. It may be emptied: everything is looked at again, and nobody is told twice.';
alter table ladder_look enable row level security;
alter table ladder_look force row level security;
create policy staff on ladder_look to lintel_staff using (true) with check (true);
grant select, insert, update on ladder_look to lintel_staff;
