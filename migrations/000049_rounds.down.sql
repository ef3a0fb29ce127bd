drop table route_plan;
drop table work_order_hold;
drop table visiting_hours;
drop table working_terms;
