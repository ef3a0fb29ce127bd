-- Which packs of the company judge, changed: then what the readings of doors are expected to reach is written anew.
alter table recomputation drop constraint recomputation_why_check;
alter table recomputation add constraint recomputation_why_check check (why in ('program', 'catalogue', 'asked', 'packs')) not valid;
comment on table recomputation is 'Computing anew what rests on something that many doors share, from door to door by id; after_door is the last of those that are all done.';
