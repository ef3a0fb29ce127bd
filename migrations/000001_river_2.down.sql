-- River's schema, version 2, as github.com/riverqueue/river v0.51.2 has it (MPL-2.0). A copy: not to be edited.

DROP TABLE river_job;
DROP FUNCTION river_job_notify;
DROP TYPE river_job_state;

DROP TABLE river_leader;

REVOKE SELECT ON schema_migrations FROM lintel_app;
