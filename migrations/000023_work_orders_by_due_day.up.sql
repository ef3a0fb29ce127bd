create index concurrently work_order_all_idx on work_order (due_on, work_order_id);
