-- Whom an owner has named stands to the site as its managing agent would; a customer's ladder is none of the company's and goes.
alter table site_party no force row level security;
update site_party set role = 'managing_agent' where role = 'named_person';
alter table site_party
  force row level security,
  drop constraint site_party_role_check,
  add constraint site_party_role_check check (role in ('owner', 'occupier', 'managing_agent', 'payer'));
alter table ladder no force row level security;
delete from ladder where customer_id is not null;
drop index ladder_effective_idx;
alter table ladder
  force row level security,
  drop constraint ladder_customer_fk,
  drop column customer_id;
create index ladder_effective_idx on ladder (effective_on desc, recorded_at desc, ladder_id desc);
