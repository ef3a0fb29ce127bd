drop table instrument;
