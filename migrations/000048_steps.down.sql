alter table revision drop column steps;
alter table device_model drop column steps;
