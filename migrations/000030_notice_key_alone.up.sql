create unique index concurrently notice_alone_key on notice (notice_id);
