-- River's schema, version 3, as github.com/riverqueue/river v0.51.2 has it (MPL-2.0). A copy: not to be edited.

ALTER TABLE river_job ALTER COLUMN tags SET DEFAULT '{}';
UPDATE river_job SET tags = '{}' WHERE tags IS NULL;
ALTER TABLE river_job ALTER COLUMN tags SET NOT NULL;
