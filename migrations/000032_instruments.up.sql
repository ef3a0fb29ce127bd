-- What readings are taken with. Each calibration is a version of its own, so that a signed reading stays with the instrument as it was.
create table instrument (
  instrument_id uuid not null,
  version integer not null,
  kind text not null,
  name text not null,
  serial text not null,
  calibrated_on date,
  calibrated_until date,
  certificate text not null,
  uncertainty jsonb not null,
  retired boolean not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint instrument_pk primary key (instrument_id, version),
  constraint instrument_kind_check check (kind in ('force_gauge', 'stopwatch', 'tape', 'energy_gauge', 'light_meter', 'angle_gauge', 'speed_meter', 'other')),
  constraint instrument_days_check check (calibrated_until is null or calibrated_until >= calibrated_on));
comment on table instrument is 'Something that readings are taken with, in one of its versions; uncertainty is expanded (k = 2) by unit. Insert only.';

alter table instrument enable row level security;
alter table instrument force row level security;
create policy staff on instrument to lintel_staff using (true) with check (true);
grant select, insert on instrument to lintel_staff;
