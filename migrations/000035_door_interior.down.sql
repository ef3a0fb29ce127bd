alter table door_version drop column interior;
