revoke delete on webhook_event, webhook_delivery, webhook_attempt from lintel_staff;
drop policy forget on webhook_attempt;
drop policy forget on webhook_delivery;
drop policy forget on webhook_event;
comment on table webhook_attempt is 'Each attempt to tell a webhook, and what it answered; status 0: no answer came. Insert only.';
comment on table webhook_event is 'What happened, for those who were to be told. Insert only.';
drop table job_line;
