drop table closed_day;
