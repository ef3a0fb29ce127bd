alter table extent drop constraint extent_pk;
alter table extent add constraint extent_pk primary key using index extent_corrected_key;
