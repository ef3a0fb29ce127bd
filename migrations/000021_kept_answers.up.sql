-- What was answered to a request that may be sent again under its key. Neither the key nor the request is here, and the
-- answer opens only with both and with the secret of who asked: a copy of the database tells nothing.
create table kept_answer (
  person_id uuid not null,
  key_sha256 bytea not null,
  begun_at timestamptz not null,
  sealed bytea,
  constraint kept_answer_pk primary key (person_id, key_sha256),
  constraint kept_answer_person_fk foreign key (person_id) references person (person_id),
  constraint kept_answer_key_check check (octet_length(key_sha256) = 32));
create index kept_answer_begun_idx on kept_answer (begun_at);
comment on table kept_answer is 'A request under a key of the sender''s: at work while sealed is empty, then answered. Forgotten after a day or two.';

alter table kept_answer enable row level security;
alter table kept_answer force row level security;
create policy gate on kept_answer to lintel_gate using (true) with check (true);
grant select, insert, update, delete on kept_answer to lintel_gate;
