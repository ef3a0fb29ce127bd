-- The overdue ladder: its rungs as data, letters apart from the notices that they carry, what mail servers said of each attempt.

-- Where else a party can be told, in which language, and in which zone its day begins.
alter table party
  add column language text not null default '',
  add column time_zone text not null default '',
  add column further_addresses text not null default '';

create table ladder (
  ladder_id uuid not null,
  effective_on date not null,
  document jsonb not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint ladder_pk primary key (ladder_id));
create index ladder_effective_idx on ladder (effective_on desc, recorded_at desc, ladder_id desc);
comment on table ladder is 'Who is told when about an inspection, from a day on. Insert only: what was sent stays as it was.';

create table letter (
  letter_id uuid not null,
  kind text not null,
  day date not null,
  address text not null,
  recipient_name text not null,
  language text not null,
  subject text not null,
  body text not null,
  html text not null,
  state text not null,
  because text not null default '',
  attempts integer not null default 0,
  next_try_at timestamptz not null,
  made_at timestamptz not null,
  sent_at timestamptz,
  answer text not null default '',
  constraint letter_pk primary key (letter_id),
  constraint letter_kind_check check (kind in ('digest', 'urgent')),
  constraint letter_state_check check (state in ('queued', 'sending', 'sent', 'perhaps_sent', 'failed', 'bounced', 'superseded')));
create unique index letter_digest_key on letter (address, day) where kind = 'digest';
create index letter_waiting_idx on letter (kind desc, next_try_at, letter_id) where state in ('queued', 'sending');
create index letter_address_idx on letter (address, made_at) where state = 'queued';
comment on table letter is 'A mail as it is or was sent: one digest a day and address, and one letter for each urgent notice.';

-- The notice becomes the fact alone. Its words, attempts and answers are its letter's. The owner of the tables meets their
-- walls, too: they are taken down while rows are moved.
alter table notice no force row level security;
alter table delivery no force row level security;
insert into letter (letter_id, kind, day, address, recipient_name, language, subject, body, html, state, attempts, next_try_at, made_at, sent_at, answer)
  select notice_id, 'urgent', made_at::date, recipient_email, recipient_name, language, subject, body, '', case when state = 'sending' then 'perhaps_sent' else state end,
    attempts, next_try_at, made_at, sent_at, answer
  from notice where state <> 'superseded';

create table letter_attempt (
  letter_id uuid not null,
  attempt integer not null,
  at timestamptz not null,
  outcome text not null,
  stage text not null default '',
  code integer not null default 0,
  answer text not null,
  constraint letter_attempt_pk primary key (letter_id, attempt),
  constraint letter_attempt_letter_fk foreign key (letter_id) references letter (letter_id),
  constraint letter_attempt_outcome_check check (outcome in ('sent', 'temporary', 'permanent', 'unknown')));
comment on table letter_attempt is 'One attempt to hand a letter over, how far it came and the server''s answer. Insert only.';
insert into letter_attempt (letter_id, attempt, at, outcome, answer) select notice_id, attempt, at, outcome, answer from delivery;
drop table delivery;

alter table notice
  add column due_on date,
  add column turn_on date,
  add column role text not null default '',
  add column recipient_id uuid,
  add column time_zone text not null default '',
  add column urgent boolean not null default false,
  add column why jsonb not null default '{}',
  add column because text not null default '';
update notice set recipient_id = md5(recipient_email)::uuid, urgent = case_id is not null;
alter table notice
  alter column recipient_id set not null,
  drop constraint notice_reason_key,
  drop constraint notice_state_check,
  drop column subject, drop column body, drop column attempts, drop column answer;
update notice set state = 'perhaps_sent' where state = 'sending';
alter table notice
  add constraint notice_told_key unique nulls not distinct (reason, due_on, rung, recipient_id),
  add constraint notice_told_state_check check (state in ('queued', 'sending', 'sent', 'perhaps_sent', 'failed', 'bounced', 'withdrawn', 'superseded'));
drop index notice_waiting_idx;
create index notice_waiting_idx on notice (next_try_at, recipient_email) where state = 'queued';
create index notice_address_idx on notice (recipient_email) where state = 'queued';
comment on table notice is 'Who is told what and why: rule and dates of that moment. Unique by reason, due day, rung and recipient: never made twice.';

create table letter_notice (
  letter_id uuid not null,
  notice_id uuid not null,
  constraint letter_notice_pk primary key (notice_id, letter_id),
  constraint letter_notice_letter_fk foreign key (letter_id) references letter (letter_id),
  constraint letter_notice_notice_fk foreign key (notice_id) references notice (notice_id));
create index letter_notice_letter_idx on letter_notice (letter_id);
comment on table letter_notice is 'Which notices a letter carries. The newest letter of a notice counts. Insert only.';
insert into letter_notice (letter_id, notice_id) select notice_id, notice_id from notice where state <> 'superseded';
alter table notice force row level security;

create table letter_bounce (
  letter_id uuid not null,
  sha256 bytea not null,
  action text not null,
  status text not null,
  answer text not null,
  received_at timestamptz not null,
  received_by uuid not null,
  constraint letter_bounce_pk primary key (letter_id, sha256),
  constraint letter_bounce_letter_fk foreign key (letter_id) references letter (letter_id),
  constraint letter_bounce_sha256_check check (octet_length(sha256) = 32),
  constraint letter_bounce_action_check check (action in ('failed', 'delayed', 'delivered', 'relayed', 'expanded')));
comment on table letter_bounce is 'What a mail server reported later about a letter (RFC 3464), by the SHA-256 of its message. Insert only.';

create table refused_address (
  address text not null,
  since timestamptz not null,
  letter_id uuid not null,
  answer text not null,
  cleared_at timestamptz,
  cleared_by uuid,
  constraint refused_address_pk primary key (address),
  constraint refused_address_letter_fk foreign key (letter_id) references letter (letter_id));
comment on table refused_address is 'An address that refused mail for good. Nothing is sent to it until somebody clears it.';

create table case_acknowledgement (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  case_id uuid not null,
  person_id uuid not null,
  at timestamptz not null,
  note text not null default '',
  constraint case_acknowledgement_pk primary key (customer_id, site_id, door_id, case_id, person_id),
  constraint case_acknowledgement_case_fk foreign key (customer_id, site_id, door_id, case_id)
    references out_of_service_case (customer_id, site_id, door_id, case_id) on update cascade);
create index case_acknowledgement_case_idx on case_acknowledgement (case_id);
comment on table case_acknowledgement is 'A person has taken note of an unsafe door; its notices are repeated until one has. Insert only.';

do $$
declare
  t text;
begin
  foreach t in array array['ladder', 'letter', 'letter_attempt', 'letter_notice', 'letter_bounce', 'refused_address', 'case_acknowledgement'] loop
    execute format('alter table %I enable row level security', t);
    execute format('alter table %I force row level security', t);
    execute format('create policy staff on %I to lintel_staff using (true) with check (true)', t);
    execute format('grant select, insert on %I to lintel_staff', t);
  end loop;
end $$;
grant update on letter, refused_address to lintel_staff;

delete from river_job where kind = 'send_notice';
