-- What can be fitted. Entries never change once made: a correction is a new entry, so that what an old
-- revision said stays computable.
create domain basis as text not null default 'unknown'
  constraint basis_check check (value in ('measured', 'seen_on_site', 'told', 'from_paper', 'assumed', 'unknown'));
comment on domain basis is 'How a physical value came to be known. unknown goes with NULL and only with NULL.';

create table device_model (
  model_id uuid not null,
  maker text not null,
  name text not null,
  kind text not null,
  sensing text not null,
  frequency_hz double precision,
  least_speed_mps double precision,
  note text not null default '',
  sha256 bytea not null,
  created_at timestamptz not null,
  created_by uuid not null,
  constraint device_model_pk primary key (model_id),
  constraint device_model_name_key unique (maker, name),
  constraint device_model_kind_check check (kind in ('operator', 'control', 'power_supply', 'battery', 'mode_selector', 'lock',
    'sensor', 'activation', 'safety_device', 'leaf_hardware')),
  constraint device_model_sensing_check check (sensing in ('none', 'radar', 'infrared_presence', 'laser_curtain', 'beam', 'mat', 'knowing_act')));
comment on table device_model is 'Catalogue entry of anything that can be fitted.';

create table antenna (
  antenna_id uuid not null,
  model_id uuid not null,
  name text not null,
  azimuth_beamwidth_deg double precision not null,
  elevation_beamwidth_deg double precision not null,
  attenuation_limit_db double precision not null,
  boresight_range_m double precision not null,
  source text not null,
  constraint antenna_pk primary key (antenna_id),
  constraint antenna_model_key unique (model_id, antenna_id),
  constraint antenna_name_key unique (model_id, name),
  constraint antenna_model_fk foreign key (model_id) references device_model (model_id),
  constraint antenna_beam_check check (azimuth_beamwidth_deg between 1 and 180 and elevation_beamwidth_deg between 1 and 180),
  constraint antenna_limit_check check (attenuation_limit_db between 3 and 60),
  constraint antenna_range_check check (boresight_range_m between 0.1 and 50));
comment on table antenna is 'An antenna of a radar model: full half-power beamwidths and the range on its axis at full reach.';

create table accessory (
  accessory_id uuid not null,
  kind text not null,
  name text not null,
  effect jsonb not null,
  sha256 bytea not null,
  created_at timestamptz not null,
  created_by uuid not null,
  constraint accessory_pk primary key (accessory_id),
  constraint accessory_name_key unique (name),
  constraint accessory_kind_check check (kind in ('spacer', 'rain_hood', 'weather_cover', 'ceiling_recess', 'extension_arm')));
comment on table accessory is 'Something between a sensor and the door that acts on the field; effect holds its physical members by kind.';
