create table delivery (
  customer_id uuid not null,
  site_id uuid not null,
  notice_id uuid not null,
  attempt integer not null,
  at timestamptz not null,
  outcome text not null,
  answer text not null,
  constraint delivery_pk primary key (customer_id, site_id, notice_id, attempt),
  constraint delivery_notice_fk foreign key (customer_id, site_id, notice_id) references notice (customer_id, site_id, notice_id) on update cascade,
  constraint delivery_outcome_check check (outcome in ('sent', 'temporary', 'permanent')));
comment on table delivery is 'One attempt to hand a notice over, with the server''s answer. Insert only.';
create policy staff on delivery to lintel_staff using (true) with check (true);
alter table delivery enable row level security;
grant select, insert on delivery to lintel_staff;
alter table notice no force row level security;
alter table letter no force row level security;
alter table letter_attempt no force row level security;
alter table letter_notice no force row level security;

alter table notice
  drop constraint notice_told_key,
  drop constraint notice_told_state_check,
  add column subject text not null default '',
  add column body text not null default '',
  add column attempts integer not null default 0,
  add column answer text not null default '';
update notice n set subject = l.subject, body = l.body, attempts = l.attempts, answer = l.answer
  from letter l where l.letter_id = (select max(c.letter_id::text)::uuid from letter_notice c where c.notice_id = n.notice_id);
update notice set state = case when state = 'withdrawn' then 'superseded' when state in ('perhaps_sent', 'bounced') then 'failed' else state end,
  sent_at = case when state = 'sent' then coalesce(sent_at, made_at) end;
insert into delivery (customer_id, site_id, notice_id, attempt, at, outcome, answer)
  select n.customer_id, n.site_id, n.notice_id, a.attempt, a.at, a.outcome, a.answer from letter_attempt a join notice n on n.notice_id = a.letter_id
  where a.outcome <> 'unknown';
delete from notice n using notice o where n.notice_id > o.notice_id and (n.reason, n.rung, n.recipient_email) = (o.reason, o.rung, o.recipient_email)
  and not exists (select from delivery d where d.notice_id = n.notice_id) and not exists (select from letter_notice c where c.notice_id = n.notice_id);
alter table notice
  alter column subject drop default,
  alter column body drop default,
  add constraint notice_reason_key unique (reason, rung, recipient_email),
  add constraint notice_state_check check (state in ('queued', 'sending', 'sent', 'failed', 'superseded') and (state = 'sent') = (sent_at is not null)),
  drop column due_on, drop column turn_on, drop column role, drop column recipient_id, drop column time_zone, drop column urgent, drop column why, drop column because;
drop index notice_waiting_idx, notice_address_idx;
create index notice_waiting_idx on notice (next_try_at, notice_id) where state in ('queued', 'sending');
comment on table notice is 'Who was told what, why and when, as sent. Unique by reason, rung and recipient: never made twice.';
alter table notice force row level security;
alter table delivery force row level security;

drop table case_acknowledgement, refused_address, letter_bounce, letter_notice, letter_attempt, letter, ladder;
alter table party drop column language, drop column time_zone, drop column further_addresses;
