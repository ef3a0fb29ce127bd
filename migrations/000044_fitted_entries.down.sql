delete from catalogue_correction where accessory_id in (select accessory_id from accessory where kind in ('mask', 'reflector'));
delete from revision_accessory where accessory_id in (select accessory_id from accessory where kind in ('mask', 'reflector'));
delete from accessory where kind in ('mask', 'reflector');
alter table accessory drop constraint accessory_kind_check;
alter table accessory add constraint accessory_kind_check check (kind in ('spacer', 'rain_hood', 'weather_cover', 'ceiling_recess', 'extension_arm'));
alter table antenna drop column fitted_at_one_height;
