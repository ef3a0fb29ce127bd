-- The calendar, the visits and what follows from them.
create table inspection_plan (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  plan_id uuid not null,
  interval_months integer not null,
  regime text not null,
  tolerance_days integer not null,
  lead_days integer not null,
  anchor_on date not null,
  next_due date not null,
  active boolean not null default true,
  version integer not null default 1,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint inspection_plan_pk primary key (customer_id, site_id, door_id, plan_id),
  constraint inspection_plan_id_key unique (plan_id),
  constraint inspection_plan_door_fk foreign key (customer_id, site_id, door_id) references door (customer_id, site_id, door_id) on update cascade,
  constraint inspection_plan_interval_check check (interval_months between 1 and 120),
  constraint inspection_plan_regime_check check (regime in ('anchored', 'from_completion')),
  constraint inspection_plan_days_check check (tolerance_days between 0 and 366 and lead_days between 0 and 366));
create unique index inspection_plan_active_key on inspection_plan (door_id) where active;
create index inspection_plan_due_idx on inspection_plan (next_due, plan_id) where active;
comment on table inspection_plan is 'How often a door is inspected. next_due is written by the program in the transaction that causes it: SQL does no month arithmetic.';

create table work_order (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  work_order_id uuid not null,
  kind text not null,
  plan_id uuid,
  period date,
  origin_visit_id uuid,
  due_on date not null,
  state text not null,
  assigned_to uuid,
  planned_on date,
  note text not null default '',
  done_on date,
  done_visit_id uuid,
  version integer not null default 1,
  recorded_at timestamptz not null,
  constraint work_order_pk primary key (customer_id, site_id, door_id, work_order_id),
  constraint work_order_id_key unique (work_order_id),
  constraint work_order_period_key unique (door_id, plan_id, period),
  constraint work_order_door_fk foreign key (customer_id, site_id, door_id) references door (customer_id, site_id, door_id) on update cascade,
  constraint work_order_plan_fk foreign key (customer_id, site_id, door_id, plan_id)
    references inspection_plan (customer_id, site_id, door_id, plan_id) on update cascade,
  constraint work_order_assigned_fk foreign key (assigned_to) references person (person_id),
  constraint work_order_kind_check check (kind in ('inspection', 'service', 'repair', 'call_out', 'accident', 'handover')),
  constraint work_order_plan_check check ((plan_id is null) = (period is null) and (plan_id is null or kind = 'inspection')),
  constraint work_order_state_check check (state in ('open', 'done', 'cancelled', 'superseded')),
  constraint work_order_done_check check (state = 'done' or (done_on is null and done_visit_id is null)));
create unique index work_order_open_key on work_order (door_id, plan_id) where state = 'open' and plan_id is not null;
create unique index work_order_origin_key on work_order (door_id, origin_visit_id) where origin_visit_id is not null;
create index work_order_due_idx on work_order (due_on, work_order_id) where state = 'open';
create index work_order_customer_idx on work_order (customer_id, due_on, work_order_id);
create index work_order_site_idx on work_order (site_id, due_on, work_order_id);
create index work_order_door_idx on work_order (door_id, due_on);
comment on table work_order is 'Something to be done at a door. An inspection is keyed by door, plan and period, so that no run of any job makes it twice.';

create table job_run (
  job text not null,
  scheduled_for timestamptz not null,
  as_of date not null,
  state text not null,
  started_at timestamptz,
  finished_at timestamptz,
  cursor text not null default '',
  result jsonb not null default '{}',
  constraint job_run_pk primary key (job, scheduled_for),
  constraint job_run_state_check check (state in ('due', 'running', 'done', 'failed', 'superseded')));
create index job_run_at_idx on job_run (scheduled_for desc, job);
comment on table job_run is 'The ledger of scheduled jobs: one row per job and due instant. The row, not the trigger, is what is worked off.';

create table visit (
  customer_id uuid not null,
  site_id uuid not null,
  visit_id uuid not null,
  canonical bytea,
  sha256 bytea,
  arrived_at timestamptz,
  received_at timestamptz not null,
  recorded_by uuid not null,
  constraint visit_pk primary key (customer_id, site_id, visit_id),
  constraint visit_id_key unique (visit_id),
  constraint visit_site_fk foreign key (customer_id, site_id) references site (customer_id, site_id) on update cascade,
  constraint visit_attendance_check check ((canonical is null) = (sha256 is null) and (canonical is null) = (arrived_at is null)
    and (sha256 is null or octet_length(sha256) = 32)));
create index visit_site_idx on visit (site_id, arrived_at desc, visit_id);
create index visit_customer_idx on visit (customer_id, arrived_at desc, visit_id);
comment on table visit is 'One attendance at one site. It exists from the first piece that names it; canonical is empty until the attendance itself arrives.';

create table visit_entry (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  visit_id uuid not null,
  entry_id uuid not null,
  kind text not null,
  observed_at timestamptz not null,
  received_at timestamptz not null,
  recorded_by uuid not null,
  corrects uuid,
  canonical bytea not null,
  sha256 bytea not null,
  constraint visit_entry_pk primary key (customer_id, site_id, door_id, visit_id, entry_id),
  constraint visit_entry_id_key unique (entry_id),
  constraint visit_entry_door_fk foreign key (customer_id, site_id, door_id) references door (customer_id, site_id, door_id) on update cascade,
  constraint visit_entry_visit_fk foreign key (customer_id, site_id, visit_id) references visit (customer_id, site_id, visit_id) on update cascade,
  constraint visit_entry_kind_check check (kind in ('reading', 'photo', 'settings', 'finding', 'securing', 'mending', 'conclusion', 'note')),
  constraint visit_entry_sha256_check check (octet_length(sha256) = 32));
create index visit_entry_visit_idx on visit_entry (visit_id, observed_at, entry_id);
create index visit_entry_door_idx on visit_entry (door_id, observed_at, entry_id);
create index visit_entry_corrects_idx on visit_entry (corrects) where corrects is not null;
comment on table visit_entry is 'A piece of a visit as it was sent: canonical JSON and its SHA-256. Insert only; a correction is an entry that names the one it corrects.';

create table visit_sign_off (
  customer_id uuid not null,
  site_id uuid not null,
  visit_id uuid not null,
  canonical bytea not null,
  sha256 bytea not null,
  signed_at timestamptz not null,
  received_at timestamptz not null,
  signed_by uuid not null,
  record_sha256 bytea not null,
  constraint visit_sign_off_pk primary key (customer_id, site_id, visit_id),
  constraint visit_sign_off_id_key unique (visit_id),
  constraint visit_sign_off_visit_fk foreign key (customer_id, site_id, visit_id) references visit (customer_id, site_id, visit_id) on update cascade,
  constraint visit_sign_off_sha256_check check (octet_length(sha256) = 32 and octet_length(record_sha256) = 32));
comment on table visit_sign_off is 'The signature that closes a visit: it lists the SHA-256 of every entry. Insert only.';

create table photo (
  sha256 bytea not null,
  size bigint not null,
  media_type text not null,
  received_at timestamptz not null,
  received_by uuid not null,
  constraint photo_pk primary key (sha256),
  constraint photo_sha256_check check (octet_length(sha256) = 32),
  constraint photo_size_check check (size > 0),
  constraint photo_media_type_check check (media_type in ('image/jpeg', 'image/png', 'image/webp')));
comment on table photo is 'Bytes that have arrived whole and are on disk under their SHA-256. Insert only.';

create table entry_photo (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  visit_id uuid not null,
  entry_id uuid not null,
  sha256 bytea not null,
  constraint entry_photo_pk primary key (customer_id, site_id, door_id, visit_id, entry_id, sha256),
  constraint entry_photo_entry_fk foreign key (customer_id, site_id, door_id, visit_id, entry_id)
    references visit_entry (customer_id, site_id, door_id, visit_id, entry_id) on update cascade);
create index entry_photo_photo_idx on entry_photo (sha256);
create index entry_photo_entry_idx on entry_photo (entry_id);
comment on table entry_photo is 'The photos that an entry names; they may arrive before or after it.';

create table finding (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  finding_id uuid not null,
  origin text not null,
  severity text not null,
  cause text not null,
  what text not null,
  state text not null,
  opened_at timestamptz not null,
  closed_at timestamptz,
  visit_id uuid,
  entry_id uuid,
  closed_by_entry uuid,
  recorded_at timestamptz not null,
  constraint finding_pk primary key (customer_id, site_id, door_id, finding_id),
  constraint finding_id_key unique (finding_id),
  constraint finding_door_fk foreign key (customer_id, site_id, door_id) references door (customer_id, site_id, door_id) on update cascade,
  constraint finding_origin_check check (origin in ('computed', 'visit') and (origin = 'visit') = (entry_id is not null)),
  constraint finding_severity_check check (severity in ('unsafe', 'deficient', 'advisory') and (origin = 'visit' or severity = 'advisory')),
  constraint finding_state_check check (state in ('open', 'mended', 'cleared', 'withdrawn') and (state = 'open') = (closed_at is null)));
create unique index finding_computed_key on finding (door_id, cause) where origin = 'computed' and state = 'open';
create index finding_door_idx on finding (door_id, opened_at, finding_id);
create index finding_open_idx on finding (opened_at, finding_id) where state = 'open';
comment on table finding is 'What falls short. A computed finding is advisory and internal until a person confirms it at the door.';

create table out_of_service_case (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  case_id uuid not null,
  finding_id uuid not null,
  state text not null,
  opened_at timestamptz not null,
  secured_at timestamptz,
  secured_how text not null default '',
  egress_kept boolean,
  told_name text not null default '',
  refused boolean not null default false,
  securing_entry uuid,
  ended_at timestamptz,
  ended_by_entry uuid,
  recorded_at timestamptz not null,
  constraint out_of_service_case_pk primary key (customer_id, site_id, door_id, case_id),
  constraint out_of_service_case_id_key unique (case_id),
  constraint out_of_service_case_finding_key unique (finding_id),
  constraint out_of_service_case_finding_fk foreign key (customer_id, site_id, door_id, finding_id)
    references finding (customer_id, site_id, door_id, finding_id) on update cascade,
  constraint out_of_service_case_state_check check (state in ('unsecured', 'secured', 'ended') and (state = 'ended') = (ended_at is not null)
    and (state <> 'secured' or securing_entry is not null)));
create index out_of_service_case_door_idx on out_of_service_case (door_id, opened_at);
create index out_of_service_case_open_idx on out_of_service_case (state, opened_at, case_id) where state <> 'ended';
comment on table out_of_service_case is 'One per unsafe finding: unsecured until a person records how the door was secured, ended only by a passed re-inspection.';
