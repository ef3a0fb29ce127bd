revoke select on record_log from lintel_customer, lintel_site;
drop policy of_sign_off on record_log;
