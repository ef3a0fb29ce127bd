-- What was done with a letter about findings: by mail with the letter enclosed, by hand, by post, or not, because it was refused or nobody was there.
create table report_delivery (
  customer_id uuid not null,
  site_id uuid not null,
  report_id uuid not null,
  delivery_id uuid not null,
  way text not null,
  party_id uuid,
  to_name text not null,
  on_day date,
  by_name text not null default '',
  note text not null default '',
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint report_delivery_pk primary key (delivery_id),
  constraint report_delivery_report_fk foreign key (report_id) references report (report_id),
  constraint report_delivery_site_fk foreign key (customer_id, site_id) references site (customer_id, site_id) on update cascade,
  constraint report_delivery_way_check check (way in ('mail', 'handed_over', 'posted', 'refused', 'absent')
    and (way = 'mail') = (party_id is not null) and (way = 'mail') = (on_day is null) and (way = 'mail') = (by_name = '')));
create index report_delivery_report_idx on report_delivery (report_id, recorded_at, delivery_id);
create index report_delivery_site_idx on report_delivery (site_id);
comment on table report_delivery is 'That a letter about findings was sent, handed over, posted, refused, or brought to nobody. Of what is sent by mail, the notice of reason delivery:ID says what became of it. Insert only.';
alter table report_delivery enable row level security;
alter table report_delivery force row level security;
create policy staff on report_delivery to lintel_staff using (true) with check (true);
grant select, insert on report_delivery to lintel_staff;

-- A mail may enclose the PDF of a report.
alter table letter
  add column report_id uuid,
  add constraint letter_report_fk foreign key (report_id) references report (report_id) not valid;
comment on column letter.report_id is 'Of which the PDF is enclosed.';

-- Who wrote a text does not approve it, unless nobody else may: then somebody outside has read it.
alter table letter_template_approval add column read_by text not null default '';
comment on column letter_template_approval.read_by is 'Who else has read the text, such as the company''s lawyer. Never empty where its writer approved it, since this is kept.';
