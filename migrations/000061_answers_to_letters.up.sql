-- What recipients answer by the links in their letters.
alter table letter add column decline_link text not null default '';

create table letter_acknowledgement (
  letter_id uuid not null,
  at timestamptz not null,
  name text not null,
  person_id uuid,
  constraint letter_acknowledgement_pk primary key (letter_id),
  constraint letter_acknowledgement_letter_fk foreign key (letter_id) references letter (letter_id));
comment on table letter_acknowledgement is 'Somebody has taken note of a letter: by its link, or as somebody of the office was told. The first counts. Insert only.';

create table declined_address (
  address text not null,
  since timestamptz not null,
  letter_id uuid not null,
  ended_at timestamptz,
  ended_by uuid,
  constraint declined_address_pk primary key (address),
  constraint declined_address_letter_fk foreign key (letter_id) references letter (letter_id));
comment on table declined_address is 'An address that wants no reminders ahead of due days. What is due, late or unsafe goes there all the same. The office ends it.';

do $$
declare
  t text;
begin
  foreach t in array array['letter_acknowledgement', 'declined_address'] loop
    execute format('alter table %I enable row level security', t);
    execute format('alter table %I force row level security', t);
    execute format('create policy staff on %I to lintel_staff using (true) with check (true)', t);
    execute format('grant select, insert on %I to lintel_staff', t);
  end loop;
end $$;
grant update on declined_address to lintel_staff;

-- What did not arrive, and what asks for an answer and may have none: few rows of many. A second's work on a million rows, while which
-- nothing but notices waits.
create index notice_unanswered_idx on notice (made_at, notice_id) where state in ('failed', 'bounced', 'perhaps_sent')
  or state = 'sent' and role not in ('dispatcher', 'administrator', 'holder') and (case_id is not null or turn_on > due_on);
