-- A digest encloses the due days that it tells of, as a calendar takes them. Kept, so that sending again sends the same bytes.
alter table letter add column calendar text not null default '';
comment on column letter.calendar is 'An iCalendar object (RFC 5545) that is enclosed; empty: none.';
