-- The former names are written by the next file down, together with what they cannot say.
select 1;
