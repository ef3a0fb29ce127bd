-- Who is who. Only the role lintel_gate reads password hashes, sessions and tokens; the roles of the other
-- rooms see names. Ids are UUIDv7 made by the program, instants are UTC.
create table person (
  person_id uuid not null,
  email text not null,
  name text not null,
  role text not null,
  scope_kind text not null,
  password_hash text,
  must_change_password boolean not null default false,
  units text not null default 'metric',
  language text not null default 'en',
  expires_at timestamptz,
  disabled_at timestamptz,
  version integer not null default 1,
  created_at timestamptz not null,
  created_by uuid,
  constraint person_pk primary key (person_id),
  constraint person_email_key unique (email),
  constraint person_email_check check (email = lower(email) and email like '%_@_%' and length(email) <= 254),
  constraint person_name_check check (length(name) between 1 and 200),
  constraint person_role_check check (role in ('dispatcher', 'technician', 'support', 'owner_agent', 'auditor', 'administrator')),
  constraint person_scope_check check (scope_kind in ('all', 'customers', 'sites')
    and (scope_kind = 'all') = (role in ('dispatcher', 'technician', 'support', 'administrator'))),
  constraint person_auditor_check check (role <> 'auditor' or expires_at is not null),
  constraint person_units_check check (units in ('metric', 'us')));
comment on table person is 'Somebody who may sign in. Staff see all rows; owners, agents and auditors see a set of customers or of sites.';

create table qualification (
  person_id uuid not null,
  qualification_id uuid not null,
  scheme text not null,
  number text not null,
  valid_from date not null,
  valid_until date,
  recorded_at timestamptz not null,
  constraint qualification_pk primary key (person_id, qualification_id),
  constraint qualification_person_fk foreign key (person_id) references person (person_id),
  constraint qualification_dates_check check (valid_until is null or valid_until >= valid_from));
comment on table qualification is 'A certificate of a technician or inspector, with the days on which it is valid.';

create table session (
  secret_sha256 bytea not null,
  session_id uuid not null,
  person_id uuid not null,
  created_at timestamptz not null,
  last_seen_at timestamptz not null,
  expires_at timestamptz not null,
  ended_at timestamptz,
  user_agent text not null default '',
  constraint session_pk primary key (secret_sha256),
  constraint session_id_key unique (session_id),
  constraint session_person_fk foreign key (person_id) references person (person_id),
  constraint session_secret_check check (octet_length(secret_sha256) = 32));
create index session_person_idx on session (person_id, expires_at);
comment on table session is 'A signed-in browser or device. The secret itself is never stored, only its SHA-256.';

create table token (
  secret_sha256 bytea not null,
  token_id uuid not null,
  person_id uuid not null,
  name text not null,
  scopes text[] not null,
  created_at timestamptz not null,
  expires_at timestamptz not null,
  revoked_at timestamptz,
  last_used_at timestamptz,
  constraint token_pk primary key (secret_sha256),
  constraint token_id_key unique (token_id),
  constraint token_person_fk foreign key (person_id) references person (person_id),
  constraint token_secret_check check (octet_length(secret_sha256) = 32),
  constraint token_scopes_check check (cardinality(scopes) > 0 and scopes <@ array['read', 'visits', 'register', 'administration']));
create index token_person_idx on token (person_id, created_at);
comment on table token is 'A secret for a program that acts for a person, limited to scopes. Stored hashed.';

create table sign_in_failure (
  failure_id uuid not null,
  account_sha256 bytea not null,
  at timestamptz not null,
  constraint sign_in_failure_pk primary key (failure_id));
create index sign_in_failure_account_idx on sign_in_failure (account_sha256, at);
comment on table sign_in_failure is 'Failed sign-ins by account name (hashed), counted in the database because a counter in memory counts per process.';

create table audit_event (
  audit_id uuid not null,
  at timestamptz not null,
  person_id uuid,
  action text not null,
  subject_kind text not null,
  subject_id text not null,
  request_id text not null default '',
  constraint audit_event_pk primary key (audit_id));
create index audit_event_at_idx on audit_event (at, audit_id);
create index audit_event_subject_idx on audit_event (subject_kind, subject_id, at);
comment on table audit_event is 'Who did or read what that must be provable later: reveals of codes, reads by auditors, sign-ins, changes of rights. Insert only.';
