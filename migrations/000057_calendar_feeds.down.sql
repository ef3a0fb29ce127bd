revoke select (customer_id, site_id, door_id, work_order_id, from_minute, to_minute, held, recorded_at) on work_order_hold from lintel_customer, lintel_site;
drop policy by_site on work_order_hold;
drop policy by_customer on work_order_hold;
drop trigger work_order_changed on work_order;
drop function work_order_changed();
alter table work_order drop column changed_at;
drop table calendar_feed_end;
drop table calendar_feed;
