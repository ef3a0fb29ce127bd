create index concurrently visit_entry_inspector_idx on visit_entry (recorded_by, observed_at) where kind = 'conclusion';
