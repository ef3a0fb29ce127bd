drop table oddity;
