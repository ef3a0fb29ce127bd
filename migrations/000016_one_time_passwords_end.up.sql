-- A one-time password opens an account for a while only: it is told, written down, mailed on. Those that were given before
-- begin their time now.
alter table person add column one_time_until timestamptz;
comment on column person.one_time_until is 'Until when the one-time password opens a session; empty when the password is the person''s own.';
alter table person no force row level security; -- the owner has no policy of its own
update person set one_time_until = now() + interval '72 hours' where must_change_password;
alter table person force row level security;

-- Outsiders see the certificates of whoever signed a visit that they see, which is what their reports show, and of nobody else.
alter table qualification enable row level security;
alter table qualification force row level security;
create policy staff on qualification for select to lintel_staff using (true);
create policy gate on qualification to lintel_gate using (true) with check (true);
create policy inspector on qualification for select to lintel_customer, lintel_site
  using (exists (select from visit_sign_off s where s.signed_by = qualification.person_id));
