alter table extent drop column corrections;
drop table catalogue_correction;
