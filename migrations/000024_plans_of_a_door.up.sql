create index concurrently inspection_plan_door_idx on inspection_plan (door_id);
