-- Facts of a service that its lead changes on pages, sites that are closed, and which steps of setting up are done.

ALTER TABLE services ADD COLUMN version INTEGER NOT NULL DEFAULT 1;
ALTER TABLE sites ADD COLUMN closed_at TEXT CHECK (length(closed_at) = 26);

-- A step without a row is left to do. 'put-away' hides the page of steps from the first page.
CREATE TABLE setup_steps (
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    step TEXT NOT NULL CHECK (step IN ('facts', 'protocols', 'quantities', 'bands', 'put-away')),
    done_at TEXT CHECK (length(done_at) = 26) NOT NULL,
    done_by BLOB CHECK (length(done_by) = 16) REFERENCES staff (id),
    PRIMARY KEY (service_id, step)
) STRICT;

-- A service that keeps patients already is at work: its lead is not sent to the steps.
INSERT INTO setup_steps (service_id, step, done_at)
    SELECT id, 'put-away', created_at FROM services WHERE id IN (SELECT service_id FROM patients);
