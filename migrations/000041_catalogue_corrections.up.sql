-- Figures of a catalogue entry that turned out to be wrong. The entry stays as it was entered; what was computed before a correction was
-- recorded can be computed again.
create table catalogue_correction (
  correction_id uuid not null,
  model_id uuid,
  accessory_id uuid,
  figures jsonb not null,
  why text not null,
  recorded_at timestamptz not null,
  recorded_by uuid not null,
  constraint catalogue_correction_pk primary key (correction_id),
  constraint catalogue_correction_model_fk foreign key (model_id) references device_model (model_id),
  constraint catalogue_correction_accessory_fk foreign key (accessory_id) references accessory (accessory_id),
  constraint catalogue_correction_subject_check check ((model_id is null) <> (accessory_id is null)),
  constraint catalogue_correction_figures_check check (jsonb_typeof(figures) = 'object'));
create index catalogue_correction_model_idx on catalogue_correction (model_id) where model_id is not null;
create index catalogue_correction_accessory_idx on catalogue_correction (accessory_id) where accessory_id is not null;
comment on table catalogue_correction is 'Figures of a device model, its antennas or an accessory that hold instead of those of the entry, from the moment they were recorded; members of figures that are absent stay.';

grant select, insert on catalogue_correction to lintel_staff;
grant select on catalogue_correction to lintel_customer, lintel_site;

-- What a revision watches is computed again when the entry that it rests on is corrected, and what was computed before stays.
alter table extent add column corrections uuid[] not null default '{}';
comment on column extent.corrections is 'Which corrections of the catalogue it rests on, in their order.';
