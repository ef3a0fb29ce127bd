drop index notice_unanswered_idx;
drop table declined_address;
drop table letter_acknowledgement;
alter table letter drop column decline_link;
