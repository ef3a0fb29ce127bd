alter table coverage drop column unfit;
alter table device_model drop column senses;
