-- Letters of risk, refusal and declination: the company's own texts with versions and approvers, and letters among the reports.
create table letter_template (
  template_id uuid not null,
  kind text not null,
  version integer not null,
  body text not null,
  written_at timestamptz not null,
  written_by uuid not null,
  constraint letter_template_pk primary key (template_id),
  constraint letter_template_version_key unique (kind, version),
  constraint letter_template_kind_check check (kind in ('risk', 'refusal', 'declination')),
  constraint letter_template_version_check check (version > 0));
comment on table letter_template is 'One version of the text of a kind of letter, as the company wrote it. Insert only: a correction is a new version.';

create table letter_template_approval (
  template_id uuid not null,
  approved_at timestamptz not null,
  approved_by uuid not null,
  constraint letter_template_approval_pk primary key (template_id),
  constraint letter_template_approval_template_fk foreign key (template_id) references letter_template (template_id));
comment on table letter_template_approval is 'Somebody approved a version: letters may be issued from it. Insert only.';

do $$
declare t text;
begin
  foreach t in array array['letter_template', 'letter_template_approval'] loop
    execute format('alter table %I enable row level security', t);
    execute format('alter table %I force row level security', t);
    execute format('create policy staff on %I to lintel_staff using (true) with check (true)', t);
    execute format('grant select, insert on %I to lintel_staff', t);
  end loop;
end $$;
-- Others may ask and see no row: no policy is theirs.
grant select on letter_template, letter_template_approval to lintel_customer, lintel_site;

alter table report drop constraint report_kind_check;
alter table report add constraint report_kind_check check (kind in ('door', 'certificate', 'letter', 'site', 'portfolio')
  and (kind = 'portfolio') = (site_id is null) and (customer_id is null) = (site_id is null)
  and (kind in ('door', 'certificate', 'letter')) = (door_id is not null) and (kind = 'portfolio' or portfolio_customer_id is null)
  and site_count > 0) not valid;
