-- What is fitted on a door, how it is mounted, wired and set, and what it then watches.
create table component (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  component_id uuid not null,
  kind text not null,
  model_id uuid,
  model_text text not null default '',
  serial text not null default '',
  warranty_until date,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint component_pk primary key (customer_id, site_id, door_id, component_id),
  constraint component_id_key unique (component_id),
  constraint component_door_fk foreign key (customer_id, site_id, door_id) references door (customer_id, site_id, door_id) on update cascade,
  constraint component_model_fk foreign key (model_id) references device_model (model_id),
  constraint component_kind_check check (kind in ('operator', 'control', 'power_supply', 'battery', 'mode_selector', 'lock',
    'sensor', 'activation', 'safety_device', 'leaf_hardware')),
  constraint component_model_check check (model_id is not null or model_text <> ''));
create index component_door_idx on component (door_id, component_id);
comment on table component is 'Anything fitted in a door. A component that senses is a device.';

create table component_version (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  component_id uuid not null,
  version_id uuid not null,
  effective_at timestamptz not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  reason text not null,
  sha256 bytea not null,
  state text not null,
  side text not null,
  wired_to uuid,
  input text not null,
  contact text not null,
  tested_by_control boolean,
  inhibited_while_moving boolean,
  constraint component_version_pk primary key (customer_id, site_id, door_id, component_id, version_id),
  constraint component_version_id_key unique (version_id),
  constraint component_version_component_fk foreign key (customer_id, site_id, door_id, component_id)
    references component (customer_id, site_id, door_id, component_id) on update cascade,
  constraint component_version_wired_fk foreign key (customer_id, site_id, door_id, wired_to)
    references component (customer_id, site_id, door_id, component_id) on update cascade,
  constraint component_version_state_check check (state in ('fitted', 'removed')),
  constraint component_version_side_check check (side in ('a', 'b', 'both', 'none')),
  constraint component_version_input_check check (input in ('activate', 'protect', 'inhibit', 'hold', 'none', 'unknown')),
  constraint component_version_contact_check check (contact in ('normally_open', 'normally_closed', 'none', 'unknown')));
create index component_version_asof_idx on component_version (component_id, effective_at desc, recorded_at desc, version_id desc);
comment on table component_version is 'Fitted or removed, on which side, wired to which input of which control. Insert only.';

create table revision (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  component_id uuid not null,
  revision_id uuid not null,
  standing text not null,
  effective_at timestamptz not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  reason text not null,
  visit_id uuid,
  sha256 bytea not null,
  antenna_id uuid,
  height_m double precision,
  height_basis basis,
  offset_x_m double precision,
  offset_x_basis basis,
  offset_y_m double precision,
  offset_y_basis basis,
  tilt_deg double precision,
  tilt_basis basis,
  yaw_deg double precision,
  yaw_basis basis,
  reach_db double precision,
  reach_basis basis,
  motion_direction text not null,
  hold_while_moving boolean,
  confirm_travel_mm double precision,
  confirm_travel_basis basis,
  output_hold_s double precision,
  output_hold_basis basis,
  output_contact text not null,
  constraint revision_pk primary key (customer_id, site_id, door_id, component_id, revision_id),
  constraint revision_id_key unique (revision_id),
  constraint revision_component_fk foreign key (customer_id, site_id, door_id, component_id)
    references component (customer_id, site_id, door_id, component_id) on update cascade,
  constraint revision_antenna_fk foreign key (antenna_id) references antenna (antenna_id),
  constraint revision_standing_check check (standing in ('intended', 'found', 'left')),
  constraint revision_direction_check check (motion_direction in ('approach', 'departure', 'either', 'unknown')),
  constraint revision_contact_check check (output_contact in ('normally_open', 'normally_closed', 'unknown')),
  constraint revision_height_check check ((height_m is null) = (height_basis = 'unknown') and (height_m is null or height_m between 0.3 and 12)),
  constraint revision_offset_x_check check ((offset_x_m is null) = (offset_x_basis = 'unknown') and (offset_x_m is null or offset_x_m between -20 and 20)),
  constraint revision_offset_y_check check ((offset_y_m is null) = (offset_y_basis = 'unknown') and (offset_y_m is null or offset_y_m between -20 and 20)),
  constraint revision_tilt_check check ((tilt_deg is null) = (tilt_basis = 'unknown') and (tilt_deg is null or tilt_deg between 0 and 90)),
  constraint revision_yaw_check check ((yaw_deg is null) = (yaw_basis = 'unknown') and (yaw_deg is null or yaw_deg between -180 and 180)),
  constraint revision_reach_check check ((reach_db is null) = (reach_basis = 'unknown') and (reach_db is null or reach_db between -60 and 0)),
  constraint revision_travel_check check ((confirm_travel_mm is null) = (confirm_travel_basis = 'unknown') and (confirm_travel_mm is null or confirm_travel_mm between 0 and 2000)),
  constraint revision_hold_check check ((output_hold_s is null) = (output_hold_basis = 'unknown') and (output_hold_s is null or output_hold_s between 0 and 600)));
create index revision_asof_idx on revision (component_id, effective_at desc, recorded_at desc, revision_id desc);
create index revision_door_idx on revision (door_id, effective_at desc);
comment on table revision is 'How a device is mounted and set: planned in the office (intended), or found or left at the door. Insert only.';

create table revision_accessory (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  component_id uuid not null,
  revision_id uuid not null,
  place integer not null,
  accessory_id uuid not null,
  constraint revision_accessory_pk primary key (customer_id, site_id, door_id, component_id, revision_id, place),
  constraint revision_accessory_revision_fk foreign key (customer_id, site_id, door_id, component_id, revision_id)
    references revision (customer_id, site_id, door_id, component_id, revision_id) on update cascade,
  constraint revision_accessory_accessory_fk foreign key (accessory_id) references accessory (accessory_id));
create index revision_accessory_revision_idx on revision_accessory (revision_id);
comment on table revision_accessory is 'The accessories of a revision, from the header outwards.';

create table extent (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  component_id uuid not null,
  revision_id uuid not null,
  door_version_id uuid not null,
  model_version text not null,
  computed_at timestamptz not null,
  missing text[] not null,
  width_m double precision,
  depth_m double precision,
  near_m double precision,
  far_m double precision,
  area_m2 double precision,
  constraint extent_pk primary key (customer_id, site_id, door_id, component_id, revision_id, door_version_id, model_version),
  constraint extent_revision_fk foreign key (customer_id, site_id, door_id, component_id, revision_id)
    references revision (customer_id, site_id, door_id, component_id, revision_id) on update cascade,
  constraint extent_computable_check check ((cardinality(missing) = 0) = (area_m2 is not null)));
create index extent_revision_idx on extent (revision_id);
comment on table extent is 'What a revision watches, computed with a version of the field model; missing names the unknown inputs instead of a guess.';

create table coverage (
  customer_id uuid not null,
  site_id uuid not null,
  door_id uuid not null,
  side text not null,
  zone text not null,
  inputs_sha256 bytea not null,
  model_version text not null,
  rule_pack text not null,
  computed_at timestamptz not null,
  missing text[] not null,
  required_m2 double precision,
  covered_share double precision,
  gap_m double precision,
  shortfall boolean,
  constraint coverage_pk primary key (customer_id, site_id, door_id, side, zone),
  constraint coverage_door_fk foreign key (customer_id, site_id, door_id) references door (customer_id, site_id, door_id) on update cascade,
  constraint coverage_side_check check (side in ('a', 'b')),
  constraint coverage_share_check check (covered_share is null or covered_share between 0 and 1));
create index coverage_door_idx on coverage (door_id);
comment on table coverage is 'How far the fields of a side cover each zone that the rule basis asks for, as of the door''s present versions.';

create table sealed_code (
  customer_id uuid not null,
  site_id uuid not null,
  code_id uuid not null,
  subject_kind text not null,
  subject_id uuid not null,
  key_id text not null,
  sealed bytea not null,
  set_at timestamptz not null,
  set_by uuid not null,
  constraint sealed_code_pk primary key (customer_id, site_id, code_id),
  constraint sealed_code_site_fk foreign key (customer_id, site_id) references site (customer_id, site_id) on update cascade,
  constraint sealed_code_kind_check check (subject_kind in ('component', 'site')));
create index sealed_code_subject_idx on sealed_code (subject_kind, subject_id, set_at desc);
comment on table sealed_code is 'Lock codes of devices and key-safe codes of sites, encrypted with a named key. Staff only; every reveal is an audit_event.';
