alter table notice no force row level security;
alter table letter_notice no force row level security;
delete from letter_notice where notice_id in (select notice_id from notice where site_id is null);
delete from notice where site_id is null;
alter table letter_notice force row level security;
alter table notice force row level security;
alter table notice
  drop column holder_id,
  drop column qualification_id,
  drop constraint notice_pk,
  alter column customer_id set not null,
  alter column site_id set not null,
  add constraint notice_pk primary key (customer_id, site_id, notice_id);
create unique index notice_alone_key on notice (notice_id);

drop view certificate;
grant update on qualification to lintel_gate;
alter table qualification no force row level security;
alter table qualification_end no force row level security;
update qualification q set valid_until = least(q.valid_until, (select min(e.valid_until) from qualification_end e where e.person_id = q.person_id and e.qualification_id = q.qualification_id));
alter table qualification force row level security;
drop table qualification_end;
alter table qualification drop constraint qualification_kind_check, drop column kind, drop column issuer;
comment on table qualification is 'A certificate of a technician or inspector, with the days on which it is valid.';
