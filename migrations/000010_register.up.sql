-- Whose doors, where, and what they are. Every row below a customer carries customer_id, every row below a site
-- also site_id, in its keys: a row cannot point at another customer's row, and both kinds of scope are one
-- comparison. Keys cascade on update because a site may change hands with its whole history.
create table customer (
  customer_id uuid not null,
  name text not null,
  account text not null default '',
  note text not null default '',
  version integer not null default 1,
  created_at timestamptz not null,
  created_by uuid not null,
  constraint customer_pk primary key (customer_id),
  constraint customer_name_check check (length(name) between 1 and 200));
create index customer_name_idx on customer (lower(name), customer_id);
comment on table customer is 'Who the company works for.';

create table party (
  party_id uuid not null,
  name text not null,
  email text not null default '',
  telephone text not null default '',
  note text not null default '',
  version integer not null default 1,
  created_at timestamptz not null,
  created_by uuid not null,
  constraint party_pk primary key (party_id),
  constraint party_name_check check (length(name) between 1 and 200));
create index party_name_idx on party (lower(name), party_id);
comment on table party is 'A person or firm that stands to sites as owner, occupier, managing agent or payer. One party may stand to sites of several customers.';

create table site (
  customer_id uuid not null,
  site_id uuid not null,
  name text not null,
  address text not null default '',
  city text not null default '',
  region text not null default '',
  postal_code text not null default '',
  country text not null,
  jurisdiction text not null,
  time_zone text not null,
  latitude_deg double precision,
  longitude_deg double precision,
  opening_hours text not null default '',
  access_notes text not null default '',
  version integer not null default 1,
  created_at timestamptz not null,
  created_by uuid not null,
  constraint site_pk primary key (customer_id, site_id),
  constraint site_id_key unique (site_id),
  constraint site_customer_fk foreign key (customer_id) references customer (customer_id),
  constraint site_name_check check (length(name) between 1 and 200),
  constraint site_position_check check ((latitude_deg is null) = (longitude_deg is null)
    and (latitude_deg is null or (latitude_deg between -90 and 90 and longitude_deg between -180 and 180))));
create index site_name_idx on site (lower(name), site_id);
comment on table site is 'A building or place, with its jurisdiction and IANA time zone. Its position may be unknown.';

create table site_party (
  customer_id uuid not null,
  site_id uuid not null,
  standing_id uuid not null,
  party_id uuid not null,
  role text not null,
  from_day date not null,
  to_day date,
  version integer not null default 1,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint site_party_pk primary key (customer_id, site_id, standing_id),
  constraint site_party_id_key unique (standing_id),
  constraint site_party_site_fk foreign key (customer_id, site_id) references site (customer_id, site_id) on update cascade,
  constraint site_party_party_fk foreign key (party_id) references party (party_id),
  constraint site_party_role_check check (role in ('owner', 'occupier', 'managing_agent', 'payer')),
  constraint site_party_days_check check (to_day is null or to_day >= from_day));
create index site_party_party_idx on site_party (party_id);
create index site_party_site_idx on site_party (site_id, from_day);
comment on table site_party is 'A party stands to a site in a role from one day to another.';

create table person_customer (
  person_id uuid not null,
  customer_id uuid not null,
  constraint person_customer_pk primary key (person_id, customer_id),
  constraint person_customer_person_fk foreign key (person_id) references person (person_id),
  constraint person_customer_customer_fk foreign key (customer_id) references customer (customer_id));
comment on table person_customer is 'The customers that a person with scope_kind customers may see.';

create table person_site (
  person_id uuid not null,
  site_id uuid not null,
  constraint person_site_pk primary key (person_id, site_id),
  constraint person_site_person_fk foreign key (person_id) references person (person_id),
  constraint person_site_site_fk foreign key (site_id) references site (site_id));
comment on table person_site is 'The sites that a person with scope_kind sites may see.';

create sequence door_number as bigint start 1000001 maxvalue 9999999;
comment on sequence door_number is 'Payload of the next door tag; the check digit is added by the program.';

create table door (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  tag text not null,
  name text not null,
  known_since date not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint door_pk primary key (customer_id, site_id, door_id),
  constraint door_id_key unique (door_id),
  constraint door_tag_key unique (tag),
  constraint door_site_fk foreign key (customer_id, site_id) references site (customer_id, site_id) on update cascade,
  constraint door_tag_check check (tag ~ '^[0-9]{8}$'),
  constraint door_name_check check (length(name) between 1 and 200));
create index door_site_idx on door (site_id, tag, door_id);
create index door_customer_idx on door (customer_id, tag, door_id);
comment on table door is 'The opening. It keeps its tag when everything in it is replaced.';

create table door_version (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  version_id uuid not null,
  effective_at timestamptz not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  reason text not null,
  sha256 bytea not null,
  kind text not null,
  energy text not null,
  traffic text not null,
  presence_by text not null,
  activation_a text not null,
  activation_b text not null,
  label_a text not null,
  label_b text not null,
  clear_width_m double precision,
  clear_width_basis basis,
  header_depth_m double precision,
  header_depth_basis basis,
  opening_time_s double precision,
  opening_time_basis basis,
  closing_time_s double precision,
  closing_time_basis basis,
  modes text[] not null default '{}',
  guide_rails text not null,
  interlock_group text not null default '',
  egress boolean,
  fire_rated boolean,
  vulnerable_users boolean,
  rule_pack text not null,
  rule_since date not null,
  rule_why text not null,
  constraint door_version_pk primary key (customer_id, site_id, door_id, version_id),
  constraint door_version_id_key unique (version_id),
  constraint door_version_door_fk foreign key (customer_id, site_id, door_id) references door (customer_id, site_id, door_id) on update cascade,
  constraint door_version_kind_check check (kind in ('sliding', 'swinging', 'folding', 'revolving')),
  constraint door_version_energy_check check (energy in ('full', 'low', 'assist')),
  constraint door_version_traffic_check check (traffic in ('one_way_in', 'one_way_out', 'two_way')),
  constraint door_version_presence_check check (presence_by in ('overhead_sensor', 'beams', 'both', 'none', 'unknown')),
  constraint door_version_activation_check check (activation_a in ('sensor', 'knowing_act', 'both', 'none') and activation_b in ('sensor', 'knowing_act', 'both', 'none')),
  constraint door_version_rails_check check (guide_rails in ('fitted', 'walls', 'none', 'unknown')),
  constraint door_version_clear_width_check check ((clear_width_m is null) = (clear_width_basis = 'unknown') and (clear_width_m is null or clear_width_m between 0.3 and 12)),
  constraint door_version_header_depth_check check ((header_depth_m is null) = (header_depth_basis = 'unknown') and (header_depth_m is null or header_depth_m between 0 and 3)),
  constraint door_version_opening_time_check check ((opening_time_s is null) = (opening_time_basis = 'unknown') and (opening_time_s is null or opening_time_s between 0.1 and 120)),
  constraint door_version_closing_time_check check ((closing_time_s is null) = (closing_time_basis = 'unknown') and (closing_time_s is null or closing_time_s between 0.1 and 120)));
create index door_version_asof_idx on door_version (door_id, effective_at desc, recorded_at desc, version_id desc);
comment on table door_version is 'What was true of a door from effective_at on, as known since recorded_at. Insert only.';

create table door_leaf (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  version_id uuid not null,
  leaf_no integer not null,
  motion text not null,
  hinge text not null,
  opens_towards text not null,
  width_m double precision,
  width_basis basis,
  height_m double precision,
  height_basis basis,
  mass_kg double precision,
  mass_basis basis,
  constraint door_leaf_pk primary key (customer_id, site_id, door_id, version_id, leaf_no),
  constraint door_leaf_version_fk foreign key (customer_id, site_id, door_id, version_id)
    references door_version (customer_id, site_id, door_id, version_id) on update cascade,
  constraint door_leaf_no_check check (leaf_no between 1 and 8),
  constraint door_leaf_motion_check check (motion in ('swing', 'slide', 'fold', 'revolve')),
  constraint door_leaf_hinge_check check (hinge in ('left', 'right', 'none')),
  constraint door_leaf_opens_check check (opens_towards in ('a', 'b', 'both', 'left', 'right', 'none')),
  constraint door_leaf_width_check check ((width_m is null) = (width_basis = 'unknown') and (width_m is null or width_m between 0.1 and 6)),
  constraint door_leaf_height_check check ((height_m is null) = (height_basis = 'unknown') and (height_m is null or height_m between 0.5 and 8)),
  constraint door_leaf_mass_check check ((mass_kg is null) = (mass_basis = 'unknown') and (mass_kg is null or mass_kg between 1 and 1000)));
create index door_leaf_version_idx on door_leaf (version_id);
comment on table door_leaf is 'The leaves of a door version. Hinge and sliding direction are as seen from side A; a swing leaf says the side that it opens towards.';

create table kept_clear_zone (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  version_id uuid not null,
  side text not null,
  zone_no integer not null,
  what text not null,
  x0_m double precision not null,
  x1_m double precision not null,
  y0_m double precision not null,
  y1_m double precision not null,
  constraint kept_clear_zone_pk primary key (customer_id, site_id, door_id, version_id, side, zone_no),
  constraint kept_clear_zone_version_fk foreign key (customer_id, site_id, door_id, version_id)
    references door_version (customer_id, site_id, door_id, version_id) on update cascade,
  constraint kept_clear_zone_side_check check (side in ('a', 'b')),
  constraint kept_clear_zone_rectangle_check check (x0_m < x1_m and y0_m < y1_m and y0_m >= 0 and y1_m <= 30 and x0_m >= -30 and x1_m <= 30));
create index kept_clear_zone_version_idx on kept_clear_zone (version_id);
comment on table kept_clear_zone is 'A rectangle on the floor of one side that a sensor must not see (pavement, corridor, display), in that side''s frame.';

create table change_log (
  change_id uuid not null,
  at timestamptz not null,
  person_id uuid not null,
  subject_kind text not null,
  subject_id uuid not null,
  body jsonb not null,
  constraint change_log_pk primary key (change_id));
create index change_log_subject_idx on change_log (subject_kind, subject_id, at);
comment on table change_log is 'Every state that a customer, party, site, standing or plan was given, by whom and when. Insert only; staff only.';
