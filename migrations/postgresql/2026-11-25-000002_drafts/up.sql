-- What somebody typed and has not saved, so that a lock, a lost connection or a closed window loses nothing.
CREATE TABLE drafts (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    staff_id UUID NOT NULL REFERENCES staff (id),
    form TEXT NOT NULL,
    place TEXT NOT NULL,
    patient_id UUID REFERENCES patients (id),
    base_version INTEGER,
    body JSONB NOT NULL,
    begun_at TIMESTAMPTZ NOT NULL,
    saved_at TIMESTAMPTZ NOT NULL,
    UNIQUE (service_id, staff_id, place)
);
CREATE INDEX drafts_by_age ON drafts (service_id, saved_at);

-- A form that was sent and what it answered, so that sending it twice makes one thing.
CREATE TABLE sent_forms (
    service_id UUID NOT NULL REFERENCES services (id),
    once UUID NOT NULL,
    staff_id UUID NOT NULL REFERENCES staff (id),
    answer TEXT NOT NULL,
    sent_at TIMESTAMPTZ NOT NULL,
    PRIMARY KEY (service_id, once)
);
CREATE INDEX sent_forms_by_age ON sent_forms (service_id, sent_at);

-- An act that can be undone: what stood before, and the version that must still stand.
CREATE TABLE undos (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    staff_id UUID NOT NULL REFERENCES staff (id),
    act TEXT NOT NULL,
    before JSONB NOT NULL,
    done_at TIMESTAMPTZ NOT NULL,
    undone_at TIMESTAMPTZ
);
CREATE INDEX undos_by_age ON undos (service_id, done_at);

ALTER TABLE sessions ADD COLUMN undo TEXT;
ALTER TABLE contacts ADD COLUMN undone_at TIMESTAMPTZ;
