drop table audit_event, sign_in_failure, token, session, qualification, person;
