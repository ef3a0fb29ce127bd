-- What was computed of corrected entries stands in the way of the narrower key.
delete from extent where corrections <> '{}';
alter table extent drop constraint extent_pk;
alter table extent add constraint extent_pk primary key (customer_id, site_id, door_id, component_id, revision_id, door_version_id, model_version);
create unique index extent_corrected_key on extent (customer_id, site_id, door_id, component_id, revision_id, door_version_id, model_version, corrections);
