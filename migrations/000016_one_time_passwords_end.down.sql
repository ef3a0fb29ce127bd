drop policy inspector on qualification;
drop policy gate on qualification;
drop policy staff on qualification;
alter table qualification no force row level security;
alter table qualification disable row level security;
alter table person drop column one_time_until;
