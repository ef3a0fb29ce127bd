drop index concurrently work_order_all_idx;
