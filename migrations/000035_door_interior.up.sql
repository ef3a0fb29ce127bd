-- Whether a door is indoors decides which opening forces the rules of ways out and of accessibility ask of it.
alter table door_version add column interior boolean;
comment on column door_version.interior is 'No side of the door is outdoors; null: nobody has said.';
