do $$
declare
  p record;
begin
  for p in select tablename, policyname from pg_policies where schemaname = 'public' loop
    execute format('drop policy %I on %I', p.policyname, p.tablename);
  end loop;
  for p in select relname from pg_class where relnamespace = 'public'::regnamespace and relrowsecurity loop
    execute format('alter table %I no force row level security', p.relname);
    execute format('alter table %I disable row level security', p.relname);
  end loop;
end $$;
revoke all on
  person, qualification, session, token, sign_in_failure, audit_event, device_model, antenna, accessory, customer, party, site, site_party,
  person_customer, person_site, door, door_version, door_leaf, kept_clear_zone, change_log, component, component_version, revision,
  revision_accessory, extent, coverage, sealed_code, inspection_plan, work_order, job_run, visit, visit_entry, visit_sign_off, photo,
  entry_photo, finding, out_of_service_case, notice, delivery, report, record_log
  from lintel_staff, lintel_customer, lintel_site, lintel_gate, lintel_jobs;
revoke all on sequence door_number from lintel_staff;
revoke select (person_id, name) on person from lintel_customer, lintel_site;
revoke select (person_id, email, name, role, scope_kind, units, language, expires_at, disabled_at, version, created_at, created_by) on person from lintel_staff;
revoke update (name) on door from lintel_staff;
