ALTER TABLE week_rows DROP COLUMN off_plan;
ALTER TABLE stomas DROP COLUMN refashioned_as;
ALTER TABLE patients DROP COLUMN site_id;
DROP TABLE task_runs;
DROP TABLE weekly_slots;
DROP TABLE bank_holiday_tables;
DROP TABLE closures;
DROP TABLE protocol_versions;
DROP TABLE protocols;
