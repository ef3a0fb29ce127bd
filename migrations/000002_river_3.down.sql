-- River's schema, version 3, as github.com/riverqueue/river v0.51.2 has it (MPL-2.0). A copy: not to be edited.

ALTER TABLE river_job
    ALTER COLUMN tags DROP NOT NULL,
    ALTER COLUMN tags DROP DEFAULT;
