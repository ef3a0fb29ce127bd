drop index visit_entry_part_idx;
alter table visit_entry drop constraint visit_entry_kind_check;
alter table visit_entry add constraint visit_entry_kind_check
  check (kind in ('reading', 'photo', 'settings', 'finding', 'securing', 'mending', 'conclusion', 'note'));
drop table work_order_event;
alter table inspection_plan drop column from_handover;
drop index work_order_respond_idx;
alter table work_order
  drop constraint work_order_priority_check, drop constraint work_order_billing_check, drop constraint work_order_accident_check,
  drop column made_by, drop column caller_name, drop column caller_telephone, drop column caller_role, drop column symptom, drop column priority,
  drop column received_at, drop column respond_by, drop column reported_unsafe, drop column people_hurt, drop column accident_what,
  drop column accident_told, drop column kept_as_found, drop column billing_basis, drop column customer_order_number,
  drop column state_at, drop column state_by, drop column state_why;
