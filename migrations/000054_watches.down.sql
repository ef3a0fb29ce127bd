drop view watch_now;
drop table watch_event;
drop table watch;
