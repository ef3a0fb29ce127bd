-- River's schema, version 8, as github.com/riverqueue/river v0.51.2 has it (MPL-2.0). A copy: not to be edited.

-- No-op. Postgres sequences already prevent automatically generated job IDs
-- from being reused.
SELECT 1;
