-- What somebody typed and has not saved, so that a lock, a lost connection or a closed window loses nothing.
CREATE TABLE drafts (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    staff_id BLOB CHECK (length(staff_id) = 16) NOT NULL REFERENCES staff (id),
    form TEXT NOT NULL,
    place TEXT NOT NULL,
    patient_id BLOB CHECK (length(patient_id) = 16) REFERENCES patients (id),
    base_version INTEGER,
    body TEXT CHECK (json_valid(body)) NOT NULL,
    begun_at TEXT CHECK (length(begun_at) = 26) NOT NULL,
    saved_at TEXT CHECK (length(saved_at) = 26) NOT NULL,
    UNIQUE (service_id, staff_id, place)
) STRICT;
CREATE INDEX drafts_by_age ON drafts (service_id, saved_at);

-- A form that was sent and what it answered, so that sending it twice makes one thing.
CREATE TABLE sent_forms (
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    once BLOB CHECK (length(once) = 16) NOT NULL,
    staff_id BLOB CHECK (length(staff_id) = 16) NOT NULL REFERENCES staff (id),
    answer TEXT NOT NULL,
    sent_at TEXT CHECK (length(sent_at) = 26) NOT NULL,
    PRIMARY KEY (service_id, once)
) STRICT;
CREATE INDEX sent_forms_by_age ON sent_forms (service_id, sent_at);

-- An act that can be undone: what stood before, and the version that must still stand.
CREATE TABLE undos (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    staff_id BLOB CHECK (length(staff_id) = 16) NOT NULL REFERENCES staff (id),
    act TEXT NOT NULL,
    before TEXT CHECK (json_valid(before)) NOT NULL,
    done_at TEXT CHECK (length(done_at) = 26) NOT NULL,
    undone_at TEXT CHECK (length(undone_at) = 26)
) STRICT;
CREATE INDEX undos_by_age ON undos (service_id, done_at);

ALTER TABLE sessions ADD COLUMN undo TEXT;
ALTER TABLE contacts ADD COLUMN undone_at TEXT CHECK (length(undone_at) = 26);
