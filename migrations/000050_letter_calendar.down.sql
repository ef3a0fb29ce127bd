alter table letter drop column calendar;
