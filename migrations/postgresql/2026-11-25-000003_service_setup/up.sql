-- Facts of a service that its lead changes on pages, sites that are closed, and which steps of setting up are done.

ALTER TABLE services ADD COLUMN version INTEGER NOT NULL DEFAULT 1;
ALTER TABLE sites ADD COLUMN closed_at TIMESTAMPTZ;

-- A step without a row is left to do. 'put-away' hides the page of steps from the first page.
CREATE TABLE setup_steps (
    service_id UUID NOT NULL REFERENCES services (id),
    step TEXT NOT NULL CHECK (step IN ('facts', 'protocols', 'quantities', 'bands', 'put-away')),
    done_at TIMESTAMPTZ NOT NULL,
    done_by UUID REFERENCES staff (id),
    PRIMARY KEY (service_id, step)
);

-- A service that keeps patients already is at work: its lead is not sent to the steps.
INSERT INTO setup_steps (service_id, step, done_at)
    SELECT id, 'put-away', created_at FROM services WHERE id IN (SELECT service_id FROM patients);
