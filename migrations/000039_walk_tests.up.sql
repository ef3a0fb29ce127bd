-- Walk tests: entries of a visit, what an antenna's catalogue entry lets a fit come to, and the fit that a revision carries. No row has the
-- new kind or a fit, so the constraints on large tables are NOT VALID: no row is touched.
alter table visit_entry drop constraint visit_entry_kind_check;
alter table visit_entry add constraint visit_entry_kind_check
  check (kind in ('safe_work', 'reading', 'force_course', 'positions', 'walk_test', 'left_out', 'photo', 'settings', 'finding', 'securing', 'adjustment', 'mending', 'part', 'function_test', 'note', 'conclusion', 'decision', 'dismissal')) not valid;

alter table antenna add column range_tolerance_share double precision not null default 0.2;
alter table antenna add column tilt_tolerance_deg double precision not null default 5;
alter table antenna add constraint antenna_tolerance_check check (range_tolerance_share between 0.01 and 1 and tilt_tolerance_deg between 0.5 and 45);
comment on column antenna.range_tolerance_share is 'How far the range on the axis of one device may be from the entry''s, as a share of it.';
comment on column antenna.tilt_tolerance_deg is 'How far the tilt at which one device looks may be from the one that it is mounted with.';

alter table revision add column fitted jsonb;
alter table revision add constraint revision_fitted_check check (fitted is null or standing = 'found' and reason = 'walk_test' and fitted ? 'revision_id') not valid;
comment on column revision.fitted is 'What a walk test says of the device: its range and tilt with their intervals, the model version, and the revision that it was walked with.';
