-- Letters have no place in the schema before. Their rows are hidden from their owner, too, while row-level security is forced.
alter table record_log no force row level security;
alter table report no force row level security;
delete from record_log where kind = 'report' and subject_id in (select report_id from report where kind = 'letter');
delete from report where kind = 'letter';
alter table report force row level security;
alter table record_log force row level security;
alter table report drop constraint report_kind_check;
alter table report add constraint report_kind_check check (kind in ('door', 'certificate', 'site', 'portfolio')
  and (kind = 'portfolio') = (site_id is null) and (customer_id is null) = (site_id is null)
  and (kind in ('door', 'certificate')) = (door_id is not null) and (kind = 'portfolio' or portfolio_customer_id is null)
  and site_count > 0);
drop table letter_template_approval, letter_template;
