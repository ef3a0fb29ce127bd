drop index concurrently notice_alone_key;
