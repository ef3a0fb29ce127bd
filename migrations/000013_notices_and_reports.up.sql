-- Word to the outside, and what must stay provable.
create table notice (
  customer_id uuid not null,
  site_id uuid not null,
  notice_id uuid not null,
  door_id uuid,
  work_order_id uuid,
  case_id uuid,
  rung text not null,
  reason text not null,
  recipient_name text not null,
  recipient_email text not null,
  language text not null default 'en',
  subject text not null,
  body text not null,
  state text not null,
  attempts integer not null default 0,
  next_try_at timestamptz not null,
  made_at timestamptz not null,
  sent_at timestamptz,
  answer text not null default '',
  constraint notice_pk primary key (customer_id, site_id, notice_id),
  constraint notice_id_key unique (notice_id),
  constraint notice_reason_key unique (reason, rung, recipient_email),
  constraint notice_site_fk foreign key (customer_id, site_id) references site (customer_id, site_id) on update cascade,
  constraint notice_state_check check (state in ('queued', 'sending', 'sent', 'failed', 'superseded') and (state = 'sent') = (sent_at is not null)));
create index notice_waiting_idx on notice (next_try_at, notice_id) where state in ('queued', 'sending');
create index notice_made_idx on notice (made_at desc, notice_id);
comment on table notice is 'Who was told what, why and when, as sent. Unique by reason, rung and recipient: never made twice.';

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

create table report (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  report_id uuid not null,
  canonical bytea not null,
  sha256 bytea not null,
  pdf bytea not null,
  pdf_sha256 bytea not null,
  made_at timestamptz not null,
  made_by uuid not null,
  constraint report_pk primary key (customer_id, site_id, door_id, report_id),
  constraint report_id_key unique (report_id),
  constraint report_door_fk foreign key (customer_id, site_id, door_id) references door (customer_id, site_id, door_id) on update cascade,
  constraint report_sha256_check check (octet_length(sha256) = 32 and octet_length(pdf_sha256) = 32));
create index report_door_idx on report (door_id, made_at desc, report_id);
comment on table report is 'A compliance report as it was given out: its identifier always gives the same bytes. Insert only.';

create table record_log (
  seq bigint generated always as identity,
  kind text not null,
  customer_id uuid not null,
  site_id uuid not null,
  subject_id uuid not null,
  canonical bytea not null,
  sha256 bytea not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint record_log_pk primary key (seq),
  constraint record_log_subject_key unique (kind, subject_id),
  constraint record_log_kind_check check (kind in ('visit', 'report')),
  constraint record_log_sha256_check check (sha256 = sha256(canonical)));
comment on table record_log is 'Signed records as canonical JSON (RFC 8785) with their SHA-256. Insert only, for every role.';
