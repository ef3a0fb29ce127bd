alter table revision drop column fitted;
alter table antenna drop column tilt_tolerance_deg;
alter table antenna drop column range_tolerance_share;
alter table visit_entry drop constraint visit_entry_kind_check;
alter table visit_entry add constraint visit_entry_kind_check
  check (kind in ('safe_work', 'reading', 'force_course', 'positions', 'left_out', 'photo', 'settings', 'finding', 'securing', 'adjustment', 'mending', 'part', 'function_test', 'note', 'conclusion', 'decision', 'dismissal')) not valid;
