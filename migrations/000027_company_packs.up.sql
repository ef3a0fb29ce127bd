-- Rule packs of the company's own: each edition as it was given, and when it judges.
create table company_pack (
  pack_id text not null,
  body text not null,
  sha256 bytea not null,
  note text not null,
  added_at timestamptz not null,
  added_by uuid not null,
  constraint company_pack_pk primary key (pack_id),
  constraint company_pack_sha256_check check (sha256 = sha256(convert_to(body, 'UTF8'))));
comment on table company_pack is 'One edition of a rule pack that the company wrote, the YAML as it was given. Insert only: a correction is a new edition.';

create table company_pack_activation (
  activation_id uuid not null,
  pack_name text not null,
  pack_id text,
  from_day date not null,
  until_day date,
  why text not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint company_pack_activation_pk primary key (activation_id),
  constraint company_pack_activation_pack_fk foreign key (pack_id) references company_pack (pack_id),
  constraint company_pack_activation_name_check check (starts_with(pack_id, pack_name || '@')),
  constraint company_pack_activation_days_check check (until_day >= from_day));
comment on table company_pack_activation is 'From a civil day of the site on, an edition judges, or none of that name does (no pack_id), until until_day or the next row. Insert only.';

do $$
declare
  t text;
begin
  foreach t in array array['company_pack', 'company_pack_activation'] loop
    execute format('alter table %I enable row level security', t);
    execute format('alter table %I force row level security', t);
    execute format('create policy staff on %I to lintel_staff using (true) with check (true)', t);
    execute format('grant select, insert on %I to lintel_staff', t);
  end loop;
end $$;
-- Whose doors are judged sees by which rules and why, once they judge: neither drafts nor plans. A day ahead of the database's own,
-- because it is tomorrow already somewhere.
create policy begun on company_pack_activation for select to lintel_customer, lintel_site
  using (from_day <= current_date + 1 and exists (select from site));
create policy begun on company_pack for select to lintel_customer, lintel_site
  using (exists (select from company_pack_activation a where a.pack_id = company_pack.pack_id));
grant select on company_pack, company_pack_activation to lintel_customer, lintel_site;
