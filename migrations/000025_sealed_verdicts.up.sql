-- A report made for an owner or an agent shows the verdicts as they were sealed, so whoever sees a visit's sign-off sees its
-- record. The record keeps the customer of its day, so it is the sign-off that says who that is now.
create policy of_sign_off on record_log for select to lintel_customer, lintel_site
  using (kind = 'visit' and exists (select from visit_sign_off s where s.visit_id = subject_id));
grant select on record_log to lintel_customer, lintel_site;
