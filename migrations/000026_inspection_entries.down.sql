alter table visit_entry drop constraint visit_entry_kind_check;
alter table visit_entry add constraint visit_entry_kind_check
  check (kind in ('reading', 'photo', 'settings', 'finding', 'securing', 'mending', 'conclusion', 'note', 'part')) not valid;
