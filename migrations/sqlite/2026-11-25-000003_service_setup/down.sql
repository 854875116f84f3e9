DROP TABLE setup_steps;
ALTER TABLE sites DROP COLUMN closed_at;
ALTER TABLE services DROP COLUMN version;
