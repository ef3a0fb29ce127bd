create index concurrently work_order_assigned_idx on work_order (assigned_to, due_on) where assigned_to is not null;
