-- Two customers with two sites each and, at every site, at least one row in every table. Ids are the MD5 of what the
-- row is, such as 'door 1 2': the door at the second site of the first customer. Only rows: what a use-case would
-- compute is not in them.
do $$
declare
  at constant timestamptz := '2026-03-03 09:00Z';
  technician constant uuid := md5('technician')::uuid;
  former constant uuid := md5('former')::uuid; -- worked here once, and is an agent now
  model constant uuid := md5('model')::uuid;
  antenna constant uuid := md5('antenna')::uuid;
  hood constant uuid := md5('hood')::uuid;
  company constant uuid := md5('party of all')::uuid; -- one managing agent for both customers
  poster constant bytea := sha256('poster'); -- one photo that entries of both customers name
  text_ constant bytea := '{"a":1}';
  hash constant bytea := sha256('{"a":1}');
  c_ uuid; s_ uuid; d_ uuid; v_ uuid; e_ uuid; control uuid; sensor uuid; revised uuid; plan uuid; told uuid; party_ uuid; report_ uuid; photo_ bytea;
begin
  insert into person (person_id, email, name, role, scope_kind, created_at) values (technician, 'jonas@door.example', 'Jonas Reber', 'technician', 'all', at), (former, 'former@owner.example', 'Former', 'owner_agent', 'customers', at);
  insert into qualification values (technician, md5('certificate')::uuid, 'inspector', '17', '2025-01-01', null, at);
  insert into qualification_end values (technician, md5('certificate')::uuid, '2027-01-01', at, technician);
  insert into notice (notice_id, holder_id, qualification_id, rung, reason, role, recipient_id, recipient_name, recipient_email, state, next_try_at, made_at)
    values (md5('notice of a certificate')::uuid, technician, md5('certificate')::uuid, 'runs_out_in_60', 'qualification:17', 'holder', technician, 'Jonas Reber', 'jonas@door.example', 'queued', at, at);
  insert into kept_answer values (technician, hash, at, 'sealed');
  insert into session values (hash, md5('session')::uuid, technician, at, at, at + interval '1 day', null, '');
  insert into token values (hash, md5('token')::uuid, technician, 'phone', '{read}', at, at + interval '1 day', null, null);
  insert into sign_in_failure values (md5('failure')::uuid, hash, at);
  insert into audit_event values (md5('event')::uuid, at, technician, 'sign_in', 'person', technician::text, '');
  insert into job_run values ('orders', at, '2026-03-03', 'done', at, at, '', '{}');
  insert into backup_run values (md5('backup')::uuid, at, at + interval '1 minute', 'good', '/backups/lintel-20260303T090000Z', 4711, false, '');
  insert into device_model values (model, 'Halm', 'R1', 'sensor', 'radar', 24e9, 0.1, '', hash, at, technician);
  insert into device_model values (md5('mat')::uuid, 'Halm', 'M1', 'sensor', 'mat', null, null, '', hash, at, technician,
    '{"purpose": "both", "endless": true, "hold_s": 1, "width_m": 1.2, "depth_m": 0.8}',
    '{"scales": [{"setting": "output_hold_s", "way": "dial", "control": "T", "steps": [{"label": "1", "value": 0.5}, {"label": "2", "value": 2}]}]}');
  insert into antenna values (antenna, model, 'wide', 60, 40, 25, 4, 'made up');
  insert into accessory values (hood, 'rain_hood', 'hood', '{"cut_off_deg": 10}', hash, at, technician);
  insert into catalogue_correction values (md5('correction')::uuid, model, null, '{"frequency_hz": 24.1e9}', 'a misprint', at, technician);
  insert into party (party_id, name, created_at, created_by) values (company, 'Imhof Agents', at, technician);
  insert into photo values (poster, 6, 'image/png', at, technician);
  for c in 1..2 loop
    c_ := md5(format('customer %s', c))::uuid;
    insert into customer (customer_id, name, created_at, created_by) values (c_, format('Customer %s', c), at, technician);
    insert into change_log values (md5(format('change %s', c))::uuid, at, technician, 'customer', c_, '{}');
    insert into person (person_id, email, name, role, scope_kind, created_at)
      values (md5(format('agent %s', c))::uuid, format('agent%s@owner.example', c), format('Agent %s', c), 'owner_agent', 'customers', at);
    insert into person_customer values (md5(format('agent %s', c))::uuid, c_);
    for s in 1..2 loop
      s_ := md5(format('site %s %s', c, s))::uuid;
      d_ := md5(format('door %s %s', c, s))::uuid;
      v_ := md5(format('visit %s %s', c, s))::uuid;
      e_ := md5(format('entry %s %s', c, s))::uuid;
      control := md5(format('control %s %s', c, s))::uuid;
      sensor := md5(format('sensor %s %s', c, s))::uuid;
      revised := md5(format('revision %s %s', c, s))::uuid;
      plan := md5(format('plan %s %s', c, s))::uuid;
      told := md5(format('notice %s %s', c, s))::uuid;
      party_ := md5(format('party %s %s', c, s))::uuid;
      report_ := md5(format('report %s %s', c, s))::uuid;
      photo_ := sha256(convert_to(format('photo %s %s', c, s), 'UTF8'));

      insert into site (customer_id, site_id, name, country, jurisdiction, time_zone, created_at, created_by)
        values (c_, s_, format('Site %s %s', c, s), 'US', 'US-CA', 'America/Los_Angeles', at, technician);
      insert into person (person_id, email, name, role, scope_kind, created_at)
        values (md5(format('tenant %s %s', c, s))::uuid, format('tenant%s%s@shop.example', c, s), format('Tenant %s %s', c, s), 'owner_agent', 'sites', at);
      insert into person_site values (md5(format('tenant %s %s', c, s))::uuid, s_);
      insert into party (party_id, name, created_at, created_by) values (party_, format('Party %s %s', c, s), at, technician);
      insert into site_party values (c_, s_, md5(format('owner %s %s', c, s))::uuid, party_, 'owner', '2020-01-01', null, 1, at, technician);
      if s = 1 then
        insert into site_party values (c_, s_, md5(format('agent %s %s', c, s))::uuid, company, 'managing_agent', '2020-01-01', null, 1, at, technician);
      end if;

      insert into door values (c_, s_, d_, format('1000%s00%s', c, s), format('Door %s %s', c, s), '2026-01-01', at, technician);
      insert into door_version (customer_id, site_id, door_id, version_id, effective_at, recorded_at, recorded_by, reason, sha256, kind, energy, traffic, presence_by,
          activation_a, activation_b, label_a, label_b, guide_rails, rule_pack, rule_since, rule_why)
        values (c_, s_, d_, d_, at, at, technician, 'taken over', hash, 'sliding', 'full', 'two_way', 'both', 'sensor', 'sensor', 'street', 'hall', 'none', 'pack', '2026-01-01', 'in force');
      insert into door_leaf (customer_id, site_id, door_id, version_id, leaf_no, motion, hinge, opens_towards) values (c_, s_, d_, d_, 1, 'slide', 'none', 'left');
      insert into kept_clear_zone values (c_, s_, d_, d_, 'a', 1, 'pavement', -1, 1, 2, 3);
      insert into component (customer_id, site_id, door_id, component_id, kind, model_text, recorded_at, recorded_by)
        values (c_, s_, d_, control, 'control', 'box', at, technician), (c_, s_, d_, sensor, 'sensor', 'radar', at, technician);
      insert into component_version values
        (c_, s_, d_, control, control, at, at, technician, 'seen', hash, 'fitted', 'none', null, 'none', 'none', null, null),
        (c_, s_, d_, sensor, sensor, at, at, technician, 'seen', hash, 'fitted', 'a', control, 'activate', 'normally_open', false, null);
      insert into revision (customer_id, site_id, door_id, component_id, revision_id, standing, effective_at, recorded_at, recorded_by, reason, sha256, antenna_id,
          motion_direction, output_contact)
        values (c_, s_, d_, sensor, revised, 'found', at, at, technician, 'seen', hash, antenna, 'approach', 'normally_open');
      insert into revision_accessory values (c_, s_, d_, sensor, revised, 1, hood);
      insert into extent values (c_, s_, d_, sensor, revised, d_, '1', at, '{height_m}', null, null, null, null, null);
      insert into coverage values (c_, s_, d_, 'a', 'approach', hash, '1', 'pack', at, '{height_m}', null, null, null, null);
      insert into expected_crossing values (c_, s_, d_, 'closing_force_n', 1, '', 'N', 133.4, true, false, 4.5, '2026-03-03', 121, '2027-06-01', '2028-02-01', null, at);
      insert into sealed_code values (c_, s_, s_, 'site', s_, 'test', 'sealed', at, technician);

      insert into inspection_plan values (c_, s_, d_, plan, 12, 'anniversary', 30, 30, '2026-03-10', '2026-03-10', true, 1, at, technician);
      insert into plan_suspension_event values (c_, s_, d_, plan, md5(format('suspension %s %s', c, s))::uuid, md5(format('suspension %s %s', c, s))::uuid, 'suspended', '2027-01-01', '2027-01-31', 'season', 'closed in winter', at, technician);
      insert into work_order (customer_id, site_id, door_id, work_order_id, kind, plan_id, period, due_on, state, recorded_at)
        values (c_, s_, d_, md5(format('order %s %s', c, s))::uuid, 'inspection', plan, '2026-03-10', '2026-03-10', 'open', at);
      insert into work_order_hold values (c_, s_, d_, md5(format('order %s %s', c, s))::uuid, null, null, true, 'the caretaker is in', at, technician);
      insert into work_order_event (customer_id, site_id, door_id, work_order_id, event_id, kind, at, why, recorded_at, recorded_by)
        values (c_, s_, d_, md5(format('order %s %s', c, s))::uuid, md5(format('said %s %s', c, s))::uuid, 'reopened', at, 'wanted after all', at, technician);
      insert into visit values (c_, s_, v_, text_, hash, at, at, technician);
      insert into visit_entry values (c_, s_, d_, v_, e_, 'finding', at, at, case when (c, s) = (2, 1) then former else technician end, null, text_, hash);
      insert into visit_sign_off values (c_, s_, v_, text_, hash, at, at, case when (c, s) = (1, 1) then former else technician end, hash);
      insert into oddity (customer_id, site_id, visit_id, oddity_id, kind, person_id, day, doors, entries, looked_at, seconds, noticed_at)
        values (c_, s_, v_, md5(format('oddity %s %s', c, s))::uuid, 'received_late', technician, '2026-03-03', array[d_], array[e_], 1, 700000, at);
      insert into photo values (photo_, 9, 'image/png', at, technician);
      insert into entry_photo values (c_, s_, d_, v_, e_, photo_), (c_, s_, d_, v_, e_, poster);
      insert into finding values
        (c_, s_, d_, e_, 'visit', 'unsafe', '', 'closes on people', 'open', at, null, v_, e_, null, at),
        (c_, s_, d_, md5(format('computed %s %s', c, s))::uuid, 'computed', 'advisory', 'approach_gap', '', 'open', at, null, null, null, null, at);
      insert into shown_text values (c_, s_, d_, sha256(convert_to(format('shown %s %s', c, s), 'UTF8')), array[e_], 'en', format('shown %s %s', c, s), at, technician);
      insert into force_series values (c_, s_, d_, sha256(convert_to(format('0,%s', s), 'UTF8')), format('0,%s', s), at, technician);
      insert into out_of_service_case (customer_id, site_id, door_id, case_id, finding_id, state, opened_at, recorded_at)
        values (c_, s_, d_, e_, e_, 'unsecured', at, at);
      insert into report values (c_, s_, d_, report_, text_, hash, 'pdf', sha256('pdf'), at, technician);
      insert into visiting_hours values (c_, s_, '{1,2,3,4,5}', 480, 960, 1, at, technician);
      insert into closed_day values (md5(format('closed %s %s', c, s))::uuid, c_, s_, '', '2026-12-24', '2026-12-26', 'closed for the feast', false, 1, at, technician);
      insert into report_delivery values (c_, s_, report_, md5(format('delivery %s %s', c, s))::uuid, 'refused', null, 'the caretaker', '2026-03-03', 'Cato Wren', 'at the desk', at, technician);
      insert into notice (customer_id, site_id, notice_id, door_id, rung, reason, role, recipient_id, recipient_name, recipient_email, state, next_try_at, made_at, sent_at)
        values (c_, s_, told, d_, 'due_in_7', format('work_order:%s', plan), 'owner', party_, 'Rosa Imhof', 'rosa@owner.example', 'sent', at, at, at);
      insert into letter (letter_id, kind, day, address, recipient_name, language, subject, body, html, state, attempts, next_try_at, made_at, sent_at, report_id)
        values (told, 'urgent', '2026-03-03', 'rosa@owner.example', 'Rosa Imhof', 'en', 'due', 'soon', '', 'sent', 1, at, at, at, report_);
      insert into letter_notice values (told, told);
      insert into letter_attempt values (told, 1, at, 'sent', '', 0, '250');
      insert into letter_bounce values (told, hash, 'delayed', '4.4.1', '4.4.1', at, technician);
      insert into case_acknowledgement values (c_, s_, d_, e_, technician, at, 'seen');
      insert into import_run (run_id, file_name, file_sha256, at, person_id, summary) values (d_, 'doors.csv', hash, at, technician, '{}');
      insert into import_item (run_id, item_no, row_no, subject_kind, subject_id, made, versions) values (d_, 1, 2, 'door', d_, true, '{}');
      insert into record_log (kind, customer_id, site_id, subject_id, canonical, sha256, recorded_at, recorded_by)
        values ('visit', c_, s_, v_, text_, hash, at, technician), ('report', c_, s_, report_, text_, hash, at, technician);
      insert into report (report_id, kind, canonical, sha256, pdf, pdf_sha256, made_at, made_by)
        values (md5(format('portfolio %s %s', c, s))::uuid, 'portfolio', text_, hash, 'pdf', sha256('pdf'), at, technician);
      insert into report_site values (c_, s_, md5(format('portfolio %s %s', c, s))::uuid);
      insert into calendar_feed values (md5(format('feed %s %s', c, s))::uuid, sha256(s_::text::bytea), null, c_, s_, 'the caretaker', 'en', at, technician);
    end loop;
  end loop;
  insert into letter_acknowledgement values (told, at, 'Ines Holm', null);
  insert into declined_address values ('calm@owner.example', at, told, null, null);
  insert into refused_address values ('old@owner.example', at, told, '550', null, null);
  insert into company_pack values ('house@1', 'id: house@1', sha256('id: house@1'), '', at, technician), ('house@2', 'id: house@2', sha256('id: house@2'), 'a draft', at, technician);
  insert into company_pack_activation values (md5('house 1')::uuid, 'house', 'house@1', '2026-03-03', null, 'decided', at, technician),
    (md5('house 2')::uuid, 'house', null, '2999-01-01', null, 'planned', at, technician);
  insert into working_terms values (technician, 'America/Los_Angeles', 38.58, -121.49, '{1,2,3,4,5}', 420, 960, 720, 750, '{}', 1, at, technician);
  insert into route_plan values (md5('rounds')::uuid, '2026-03-02', 5, 'draft', '{"ask": {}}', at, technician);
  insert into instrument values (md5('gauge')::uuid, 1, 'force_gauge', 'Gauge 3', 'G-3', '2026-01-05', '2027-01-04', 'C-7', '{"N": 2.5}', false, at, technician);
  insert into recomputation (recomputation_id, why, detail, asked_at, asked_by, done) values (md5('recomputation')::uuid, 'program', 'field-0', at, technician, 7);
  insert into letter_template values (md5('letter text')::uuid, 'risk', 1, 'About {findings}', at, technician);
  insert into letter_template_approval values (md5('letter text')::uuid, at, technician, 'Rosa Imhof, lawyer');
  insert into watch values (md5('watch')::uuid, technician, null, 'plant room', '', '2026-03-03 12:00+00', at, technician, at);
  insert into watch_event values (md5('watch')::uuid, md5('watch event')::uuid, 'ended', null, '', at, technician);
  insert into work_order_taken select work_order_id, technician, at from work_order limit 1;
  insert into ladder_look select work_order_id, '2026-03-02', 7 from work_order limit 1;
  insert into job_line values (md5('line')::uuid, 'backup', '30 2 * * *', 'quieter then', at, technician);
  insert into calendar_feed values (md5('feed of a technician')::uuid, sha256('technician'), technician, null, null, '', 'en', at, technician);
  insert into calendar_feed_end values (md5('feed of a technician')::uuid, at, technician), (md5('feed 2 1')::uuid, at, technician);
  insert into ladder values (md5('ladder')::uuid, '2026-03-03', '{"rungs": []}', at, technician);
  insert into webhook values (md5('webhook')::uuid, 'https://example.com/in', '{visit.signed}', '', 'disabled', 'person', null, 'test', 'sealed', null, null, null, 1, at, technician);
  insert into webhook_event values (md5('webhook event')::uuid, 'visit.signed', md5('visit 1 1')::uuid, '{}', at);
  insert into webhook_delivery values (md5('webhook')::uuid, md5('webhook event')::uuid, at, 'delivered');
  insert into webhook_attempt values (md5('webhook attempt')::uuid, md5('webhook')::uuid, md5('webhook event')::uuid, at, 204, '', 12);
end $$;

-- A portfolio of two sites of different customers: who sees one of them does not see it.
insert into report (report_id, kind, site_count, canonical, sha256, pdf, pdf_sha256, made_at, made_by)
  select md5('portfolio of two')::uuid, 'portfolio', 2, canonical, sha256, pdf, pdf_sha256, made_at, made_by from report where report_id = md5('report 1 1')::uuid;
insert into report_site select customer_id, site_id, md5('portfolio of two')::uuid from site where site_id in (md5('site 1 1')::uuid, md5('site 2 2')::uuid);
