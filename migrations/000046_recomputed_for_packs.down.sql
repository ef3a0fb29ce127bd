delete from recomputation where why = 'packs';
alter table recomputation drop constraint recomputation_why_check;
alter table recomputation add constraint recomputation_why_check check (why in ('program', 'catalogue', 'asked'));
comment on table recomputation is 'Computing anew what is watched at every door of the fleet, from door to door by id; after_door is the last of those that are all done.';
