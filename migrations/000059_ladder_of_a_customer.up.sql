-- A customer may have a ladder of its own, and an owner may name a person for what stays undone. The role is checked for new rows at once; no
-- present row can break the wider check.
alter table ladder
  add column customer_id uuid,
  add constraint ladder_customer_fk foreign key (customer_id) references customer (customer_id);
drop index ladder_effective_idx;
create index ladder_effective_idx on ladder (customer_id, effective_on desc, recorded_at desc, ladder_id desc);
alter table site_party
  drop constraint site_party_role_check,
  add constraint site_party_role_check check (role in ('owner', 'occupier', 'managing_agent', 'payer', 'named_person')) not valid;
