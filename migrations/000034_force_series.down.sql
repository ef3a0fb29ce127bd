drop table force_series;
alter table visit_entry drop constraint visit_entry_kind_check;
alter table visit_entry add constraint visit_entry_kind_check
  check (kind in ('safe_work', 'reading', 'left_out', 'photo', 'settings', 'finding', 'securing', 'adjustment', 'mending', 'part', 'function_test', 'note', 'conclusion', 'decision', 'dismissal')) not valid;
