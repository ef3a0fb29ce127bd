-- What a certificate allows and who issued it; its earlier end is a row of its own, so that what was said before stays.
alter table qualification
  add column kind text not null default 'general',
  add column issuer text not null default '',
  add constraint qualification_kind_check check (kind in ('general', 'full_energy', 'low_energy', 'revolving', 'european', 'fire'));
comment on table qualification is 'A certificate of a technician or inspector, with the days on which it is valid as it says itself. Insert only.';
comment on column qualification.kind is 'Which inspections it allows: rule packs name the kinds that sign by them.';

create table qualification_end (
  person_id uuid not null,
  qualification_id uuid not null,
  valid_until date not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint qualification_end_pk primary key (person_id, qualification_id, valid_until),
  constraint qualification_end_qualification_fk foreign key (person_id, qualification_id) references qualification (person_id, qualification_id));
comment on table qualification_end is 'A certificate ends earlier than it says: it was withdrawn, or recorded by mistake. The earliest counts. Insert only.';
alter table qualification_end enable row level security;
alter table qualification_end force row level security;
create policy staff on qualification_end for select to lintel_staff using (true);
create policy gate on qualification_end to lintel_gate using (true) with check (true);
create policy inspector on qualification_end for select to lintel_customer, lintel_site
  using (exists (select from visit_sign_off s where s.signed_by = qualification_end.person_id));
grant select on qualification_end to lintel_staff, lintel_customer, lintel_site, lintel_gate;
grant insert on qualification_end to lintel_gate;
revoke update on qualification from lintel_gate;

-- Certificates as they stand. One is renewed by another of its kind that goes on without a day between.
create view certificate with (security_invoker = true) as
  with standing as (
    select q.person_id, q.qualification_id, q.kind, q.scheme, q.number, q.issuer, q.valid_from, q.valid_until as stated_until,
      least(q.valid_until, (select min(e.valid_until) from qualification_end e where e.person_id = q.person_id and e.qualification_id = q.qualification_id)) as valid_until, q.recorded_at
    from qualification q)
  select s.person_id, s.qualification_id, s.kind, s.scheme, s.number, s.issuer, s.valid_from, s.valid_until, s.stated_until, s.recorded_at,
    exists (select from standing o where o.person_id = s.person_id and o.kind = s.kind and o.qualification_id <> s.qualification_id
      and o.valid_from <= s.valid_until + 1 and coalesce(o.valid_until, 'infinity') > s.valid_until) as renewed
  from standing s;
comment on view certificate is 'Certificates with their last day as it stands, and whether another one of the kind goes on from there.';
grant select on certificate to lintel_staff, lintel_customer, lintel_site, lintel_gate;

-- A notice about a certificate is of no site.
alter table notice
  drop constraint notice_pk,
  add constraint notice_pk primary key using index notice_alone_key,
  alter column customer_id drop not null,
  alter column site_id drop not null,
  add column holder_id uuid,
  add column qualification_id uuid;
comment on column notice.holder_id is 'With qualification_id: whose certificate, and which, the notice is about. Such a notice is of no site.';
