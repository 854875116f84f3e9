-- Follow-up as the service's own: protocols with versions, closures, bank holidays, slots of a week, the daily task.
-- A patient may have a usual site, a stoma may be replaced by the one it was refashioned as, and the week's row says
-- when a booking no longer fits the plan.

CREATE TABLE protocols (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    code TEXT NOT NULL,
    copied_from TEXT NOT NULL,
    created_by UUID REFERENCES staff (id),
    created_at TIMESTAMPTZ NOT NULL,
    UNIQUE (service_id, code)
);

CREATE TABLE protocol_versions (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    protocol_id UUID NOT NULL REFERENCES protocols (id),
    number INTEGER NOT NULL CHECK (number >= 1),
    document JSONB NOT NULL,
    in_force_from DATE,
    put_in_force_by UUID REFERENCES staff (id),
    put_in_force_at TIMESTAMPTZ,
    changed_by UUID REFERENCES staff (id),
    version INTEGER NOT NULL,
    created_at TIMESTAMPTZ NOT NULL,
    updated_at TIMESTAMPTZ NOT NULL,
    CHECK ((in_force_from IS NULL) = (put_in_force_at IS NULL)),
    UNIQUE (service_id, protocol_id, number)
);

-- Only a draft is changed: what was ever in force stays readable as it was.
CREATE FUNCTION protocol_versions_stay() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'a version that was put into force is never changed';
END $$;
CREATE TRIGGER protocol_versions_in_force_stay BEFORE UPDATE ON protocol_versions
FOR EACH ROW WHEN (OLD.in_force_from IS NOT NULL) EXECUTE FUNCTION protocol_versions_stay();

CREATE TABLE closures (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    closed_on DATE NOT NULL,
    name TEXT NOT NULL,
    made_by UUID REFERENCES staff (id),
    created_at TIMESTAMPTZ NOT NULL,
    UNIQUE (service_id, closed_on)
);

-- Of the nations, not of a service: the newest counts for the whole database.
CREATE TABLE bank_holiday_tables (
    id UUID NOT NULL PRIMARY KEY,
    document TEXT NOT NULL,
    source TEXT NOT NULL,
    made_on DATE NOT NULL,
    loaded_at TIMESTAMPTZ NOT NULL
);

CREATE TABLE weekly_slots (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    site_id UUID REFERENCES sites (id),
    mode TEXT NOT NULL CHECK (mode IN ('clinic', 'phone', 'home', 'ward', 'video')),
    slots INTEGER NOT NULL CHECK (slots BETWEEN 0 AND 10000)
);
CREATE INDEX weekly_slots_by_service ON weekly_slots (service_id);

CREATE TABLE task_runs (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    task TEXT NOT NULL,
    for_day DATE NOT NULL,
    instance TEXT NOT NULL,
    started_at TIMESTAMPTZ NOT NULL,
    beat_at TIMESTAMPTZ NOT NULL,
    finished_at TIMESTAMPTZ,
    days_missed INTEGER NOT NULL,
    looked_at INTEGER NOT NULL,
    changed INTEGER NOT NULL,
    UNIQUE (service_id, task, for_day)
);

ALTER TABLE patients ADD COLUMN site_id UUID REFERENCES sites (id);
ALTER TABLE stomas ADD COLUMN refashioned_as UUID REFERENCES stomas (id);
ALTER TABLE week_rows ADD COLUMN off_plan TEXT;
