-- Which antennas were worked out from one height; accessories that replace beamwidths.
alter table antenna add column fitted_at_one_height boolean not null default false;
comment on column antenna.fitted_at_one_height is 'The beamwidths and the range were worked out from extents at one height: at another the field is a guess.';
alter table accessory drop constraint accessory_kind_check;
alter table accessory add constraint accessory_kind_check check (kind in ('spacer', 'rain_hood', 'weather_cover', 'ceiling_recess', 'extension_arm', 'mask', 'reflector'));
