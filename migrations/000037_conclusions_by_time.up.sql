create index concurrently visit_entry_conclusion_idx on visit_entry (observed_at, entry_id) where kind = 'conclusion';
