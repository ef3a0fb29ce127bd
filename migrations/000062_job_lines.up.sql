-- When a job runs, where somebody has said otherwise than the program: the latest line of a job holds.
create table job_line (
  line_id uuid not null,
  job text not null,
  line text not null,
  why text not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint job_line_pk primary key (line_id));
create index job_line_job_idx on job_line (job, recorded_at desc, line_id desc);
comment on table job_line is 'When a job is due, as somebody has said it: minute, hour, day of month, month, day of week, in UTC; an empty line: as the program has it. Insert only.';
alter table job_line enable row level security;
alter table job_line force row level security;
create policy staff on job_line to lintel_staff using (true) with check (true);
grant select, insert on job_line to lintel_staff;

-- What webhooks were told is no record: it is forgotten after a while, and not before.
comment on table webhook_event is 'What happened, for those who were to be told. Never changed; forgotten after 90 days.';
comment on table webhook_attempt is 'Each attempt to tell a webhook, and what it answered; status 0: no answer came. Never changed; forgotten with its event.';
create policy forget on webhook_event as restrictive for delete to lintel_staff using (happened_at < now() - interval '90 days');
create policy forget on webhook_delivery as restrictive for delete to lintel_staff using (happened_at < now() - interval '90 days');
create policy forget on webhook_attempt as restrictive for delete to lintel_staff
  using (exists (select from webhook_event e where e.event_id = webhook_attempt.event_id and e.happened_at < now() - interval '90 days'));
grant delete on webhook_event, webhook_delivery, webhook_attempt to lintel_staff;
