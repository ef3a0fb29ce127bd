drop table record_log, report, delivery, notice;
