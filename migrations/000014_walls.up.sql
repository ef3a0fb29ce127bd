-- Who may touch which row. One policy per role and table, each a plain comparison with a constant expression:
-- a policy that says "empty or equal" cannot use an index and fails open.
--   lintel_staff     all rows                      (dispatcher, technician, support, administrator, jobs)
--   lintel_customer  rows of a set of customers    (owner, agent, auditor scoped by customers)
--   lintel_site      rows of a set of sites        (the same, scoped by sites)
--   lintel_gate      identity and the audit only   (sign-in, people, tokens)
--   lintel_jobs      River's queue and the ledger
do $$
declare
  t text;
  below_site constant text[] := array[
    'site', 'site_party', 'door', 'door_version', 'door_leaf', 'kept_clear_zone', 'component', 'component_version', 'revision',
    'revision_accessory', 'extent', 'coverage', 'inspection_plan', 'work_order', 'visit', 'visit_entry', 'visit_sign_off',
    'entry_photo', 'finding', 'out_of_service_case', 'report', 'notice', 'delivery', 'record_log', 'sealed_code'];
  staff_only constant text[] := array['notice', 'delivery', 'record_log', 'sealed_code', 'coverage', 'change_log', 'finding'];
begin
  foreach t in array below_site || array['customer', 'party', 'change_log', 'photo'] loop
    execute format('alter table %I enable row level security', t);
    execute format('alter table %I force row level security', t);
    execute format('create policy staff on %I to lintel_staff using (true) with check (true)', t);
  end loop;
  foreach t in array below_site || array['customer'] loop
    continue when t = any (staff_only);
    execute format($f$create policy by_customer on %I for select to lintel_customer
      using (customer_id = any ((select nullif(current_setting('lintel.customers', true), ''))::uuid[]))$f$, t);
    execute format('grant select on %I to lintel_customer, lintel_site', t);
    continue when t = 'customer';
    execute format($f$create policy by_site on %I for select to lintel_site
      using (site_id = any ((select nullif(current_setting('lintel.sites', true), ''))::uuid[]))$f$, t);
  end loop;
end $$;

-- A computed finding is internal: it has no row for anybody but staff.
create policy by_customer on finding for select to lintel_customer
  using (customer_id = any ((select nullif(current_setting('lintel.customers', true), ''))::uuid[]) and origin = 'visit');
create policy by_site on finding for select to lintel_site
  using (site_id = any ((select nullif(current_setting('lintel.sites', true), ''))::uuid[]) and origin = 'visit');
grant select on finding to lintel_customer, lintel_site;

-- A person scoped by sites sees the customer of those sites, and both kinds see the parties and photos of what they see.
create policy by_site on customer for select to lintel_site
  using (exists (select from site s where s.customer_id = customer.customer_id));
create policy by_customer on party for select to lintel_customer
  using (exists (select from site_party p where p.party_id = party.party_id));
create policy by_site on party for select to lintel_site
  using (exists (select from site_party p where p.party_id = party.party_id));
create policy by_customer on photo for select to lintel_customer
  using (exists (select from entry_photo p where p.sha256 = photo.sha256));
create policy by_site on photo for select to lintel_site
  using (exists (select from entry_photo p where p.sha256 = photo.sha256));
grant select on party, photo to lintel_customer, lintel_site;

-- An owner or agent may have a report made of what they see: the report and its record are theirs to add, not to change.
create policy add_by_customer on report for insert to lintel_customer
  with check (customer_id = any ((select nullif(current_setting('lintel.customers', true), ''))::uuid[]));
create policy add_by_site on report for insert to lintel_site
  with check (site_id = any ((select nullif(current_setting('lintel.sites', true), ''))::uuid[]));
create policy add_report on record_log for insert to lintel_customer, lintel_site
  with check (kind = 'report' and exists (select from report r
    where r.report_id = subject_id and r.customer_id = record_log.customer_id and r.site_id = record_log.site_id));
grant insert on report, record_log to lintel_customer, lintel_site;

-- People: outsiders see the names of the company's own people, and of whoever once worked at what they see; of other
-- customers' people they see nothing.
do $$
declare
  t text;
begin
  foreach t in array array['person', 'person_customer', 'person_site'] loop
    execute format('alter table %I enable row level security', t);
    execute format('alter table %I force row level security', t);
    execute format('create policy staff on %I for select to lintel_staff using (true)', t);
    execute format('create policy gate on %I to lintel_gate using (true) with check (true)', t);
  end loop;
end $$;
create policy company on person for select to lintel_customer, lintel_site using (scope_kind = 'all');
create policy inspector on person for select to lintel_customer, lintel_site
  using (exists (select from visit_sign_off s where s.signed_by = person.person_id));
create policy technician on person for select to lintel_customer, lintel_site
  using (exists (select from visit_entry e where e.recorded_by = person.person_id));

grant select on device_model, antenna, accessory to lintel_customer, lintel_site;
grant select (person_id, name) on person to lintel_customer, lintel_site;
grant select on qualification to lintel_customer, lintel_site;

-- Staff. Nobody has DELETE on anything; tables that are insert only get no UPDATE.
grant select, insert on
  device_model, antenna, accessory, customer, party, site, site_party, door, door_version, door_leaf, kept_clear_zone, change_log,
  component, component_version, revision, revision_accessory, extent, coverage, sealed_code, inspection_plan, work_order, job_run,
  visit, visit_entry, visit_sign_off, photo, entry_photo, finding, out_of_service_case, notice, delivery, report, record_log, audit_event
  to lintel_staff;
grant update on
  customer, party, site, site_party, coverage, inspection_plan, work_order, job_run, visit, finding, out_of_service_case, notice
  to lintel_staff;
grant update (name) on door to lintel_staff;
grant usage on sequence door_number to lintel_staff;
grant select (person_id, email, name, role, scope_kind, units, language, expires_at, disabled_at, version, created_at, created_by) on person to lintel_staff;
grant select on qualification, person_customer, person_site to lintel_staff;

grant select, insert, update on person, session, token, qualification to lintel_gate;
grant select, insert, delete on person_customer, person_site, sign_in_failure to lintel_gate;
grant select, insert on audit_event to lintel_gate;

grant select, insert, update on job_run to lintel_jobs;
