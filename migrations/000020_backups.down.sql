drop table backup_run;
