drop trigger work_order_taken on work_order;
drop function work_order_taken();
drop table work_order_taken;
