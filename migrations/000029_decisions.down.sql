drop table shown_text;
drop index finding_site_idx;
drop index finding_pressing_idx;
alter table finding drop constraint finding_state_check;
alter table finding
  drop column safe_until, drop column decided, drop column times, drop column first_at, drop column recurs_of,
  add constraint finding_state_check check (state in ('open', 'mended', 'cleared', 'withdrawn') and (state = 'open') = (closed_at is null));
alter table visit_entry drop constraint visit_entry_kind_check;
alter table visit_entry add constraint visit_entry_kind_check
  check (kind in ('safe_work', 'reading', 'left_out', 'photo', 'settings', 'finding', 'securing', 'adjustment', 'mending', 'part', 'function_test', 'note', 'conclusion')) not valid;
