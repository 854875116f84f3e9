-- Takes away what the step added, youngest first.
ALTER TABLE contacts DROP COLUMN undone_at;
ALTER TABLE sessions DROP COLUMN undo;
DROP TABLE undos;
DROP TABLE sent_forms;
DROP TABLE drafts;
