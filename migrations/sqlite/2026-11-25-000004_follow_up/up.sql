-- Follow-up as the service's own: protocols with versions, closures, bank holidays, slots of a week, the daily task.
-- A patient may have a usual site, a stoma may be replaced by the one it was refashioned as, and the week's row says
-- when a booking no longer fits the plan.

CREATE TABLE protocols (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    code TEXT NOT NULL,
    copied_from TEXT NOT NULL,
    created_by BLOB CHECK (length(created_by) = 16) REFERENCES staff (id),
    created_at TEXT CHECK (length(created_at) = 26) NOT NULL,
    UNIQUE (service_id, code)
) STRICT;

CREATE TABLE protocol_versions (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    protocol_id BLOB CHECK (length(protocol_id) = 16) NOT NULL REFERENCES protocols (id),
    number INTEGER NOT NULL CHECK (number >= 1),
    document TEXT CHECK (json_valid(document)) NOT NULL,
    in_force_from TEXT CHECK (date(in_force_from) = in_force_from),
    put_in_force_by BLOB CHECK (length(put_in_force_by) = 16) REFERENCES staff (id),
    put_in_force_at TEXT CHECK (length(put_in_force_at) = 26),
    changed_by BLOB CHECK (length(changed_by) = 16) REFERENCES staff (id),
    version INTEGER NOT NULL,
    created_at TEXT CHECK (length(created_at) = 26) NOT NULL,
    updated_at TEXT CHECK (length(updated_at) = 26) NOT NULL,
    CHECK ((in_force_from IS NULL) = (put_in_force_at IS NULL)),
    UNIQUE (service_id, protocol_id, number)
) STRICT;

-- Only a draft is changed: what was ever in force stays readable as it was.
CREATE TRIGGER protocol_versions_in_force_stay BEFORE UPDATE ON protocol_versions
WHEN OLD.in_force_from IS NOT NULL
BEGIN SELECT RAISE(ABORT, 'a version that was put into force is never changed'); END;

CREATE TABLE closures (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    closed_on TEXT CHECK (date(closed_on) = closed_on) NOT NULL,
    name TEXT NOT NULL,
    made_by BLOB CHECK (length(made_by) = 16) REFERENCES staff (id),
    created_at TEXT CHECK (length(created_at) = 26) NOT NULL,
    UNIQUE (service_id, closed_on)
) STRICT;

-- Of the nations, not of a service: the newest counts for the whole database.
CREATE TABLE bank_holiday_tables (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    document TEXT NOT NULL,
    source TEXT NOT NULL,
    made_on TEXT CHECK (date(made_on) = made_on) NOT NULL,
    loaded_at TEXT CHECK (length(loaded_at) = 26) NOT NULL
) STRICT;

CREATE TABLE weekly_slots (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    site_id BLOB CHECK (length(site_id) = 16) REFERENCES sites (id),
    mode TEXT NOT NULL CHECK (mode IN ('clinic', 'phone', 'home', 'ward', 'video')),
    slots INTEGER NOT NULL CHECK (slots BETWEEN 0 AND 10000)
) STRICT;
CREATE INDEX weekly_slots_by_service ON weekly_slots (service_id);

CREATE TABLE task_runs (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    task TEXT NOT NULL,
    for_day TEXT CHECK (date(for_day) = for_day) NOT NULL,
    instance TEXT NOT NULL,
    started_at TEXT CHECK (length(started_at) = 26) NOT NULL,
    beat_at TEXT CHECK (length(beat_at) = 26) NOT NULL,
    finished_at TEXT CHECK (length(finished_at) = 26),
    days_missed INTEGER NOT NULL,
    looked_at INTEGER NOT NULL,
    changed INTEGER NOT NULL,
    UNIQUE (service_id, task, for_day)
) STRICT;

ALTER TABLE patients ADD COLUMN site_id BLOB CHECK (length(site_id) = 16) REFERENCES sites (id);
ALTER TABLE stomas ADD COLUMN refashioned_as BLOB CHECK (length(refashioned_as) = 16) REFERENCES stomas (id);
ALTER TABLE week_rows ADD COLUMN off_plan TEXT;
