-- The first tables: the service and its people, the audit log, patients, stomas, reviews, contacts,
-- assessments, catalogue, prescriptions, and the narrow row that the week's list reads.
-- Every patient-owned table carries service_id, first in its indexes (a test reads the catalogue for it).

CREATE TABLE services (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    name TEXT NOT NULL,
    nation TEXT NOT NULL CHECK (nation IN ('england', 'wales', 'scotland', 'northern-ireland')),
    demo INTEGER CHECK (demo IN (0, 1)) NOT NULL,
    band_set TEXT NOT NULL,
    quantity_set TEXT NOT NULL,
    protocol_colostomy TEXT NOT NULL,
    protocol_ileostomy TEXT NOT NULL,
    protocol_urostomy TEXT NOT NULL,
    clinic_opens TEXT NOT NULL,
    clinic_closes TEXT NOT NULL,
    slot_minutes INTEGER NOT NULL CHECK (slot_minutes BETWEEN 5 AND 240),
    phone TEXT,
    created_at TEXT CHECK (length(created_at) = 26) NOT NULL
) STRICT;

CREATE TABLE sites (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    name TEXT NOT NULL,
    UNIQUE (service_id, name)
) STRICT;

CREATE TABLE staff (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    sign_in_name TEXT NOT NULL UNIQUE,
    display_name TEXT NOT NULL,
    registration TEXT,
    password_hash TEXT,
    failed_count INTEGER NOT NULL,
    locked_until TEXT CHECK (length(locked_until) = 26),
    disabled_at TEXT CHECK (length(disabled_at) = 26),
    version INTEGER NOT NULL,
    created_at TEXT CHECK (length(created_at) = 26) NOT NULL
) STRICT;
CREATE INDEX staff_by_service ON staff (service_id, display_name);

CREATE TABLE staff_roles (
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    staff_id BLOB CHECK (length(staff_id) = 16) NOT NULL REFERENCES staff (id),
    role TEXT NOT NULL CHECK (role IN ('nurse', 'prescriber', 'assistant', 'clerk', 'lead', 'auditor', 'administrator')),
    PRIMARY KEY (staff_id, role)
) STRICT;

CREATE TABLE sign_in_links (
    token_hash BLOB CHECK (length(token_hash) = 32) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    staff_id BLOB CHECK (length(staff_id) = 16) NOT NULL REFERENCES staff (id),
    expires_at TEXT CHECK (length(expires_at) = 26) NOT NULL,
    used_at TEXT CHECK (length(used_at) = 26)
) STRICT;

CREATE TABLE sessions (
    token_hash BLOB CHECK (length(token_hash) = 32) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    staff_id BLOB CHECK (length(staff_id) = 16) NOT NULL REFERENCES staff (id),
    form_token TEXT NOT NULL,
    message TEXT,
    search TEXT,
    address TEXT NOT NULL,
    created_at TEXT CHECK (length(created_at) = 26) NOT NULL,
    last_seen_at TEXT CHECK (length(last_seen_at) = 26) NOT NULL,
    ended_at TEXT CHECK (length(ended_at) = 26)
) STRICT;
CREATE INDEX sessions_by_staff ON sessions (service_id, staff_id);

CREATE TABLE audit_events (
    seq INTEGER NOT NULL PRIMARY KEY,
    id BLOB CHECK (length(id) = 16) NOT NULL UNIQUE,
    service_id BLOB CHECK (length(service_id) = 16),
    at TEXT CHECK (length(at) = 26) NOT NULL,
    staff_id BLOB CHECK (length(staff_id) = 16),
    staff_name TEXT NOT NULL,
    roles TEXT NOT NULL,
    action TEXT NOT NULL CHECK (action IN ('C', 'R', 'U', 'D', 'E')),
    what TEXT NOT NULL,
    outcome TEXT NOT NULL CHECK (outcome IN ('ok', 'refused', 'failed')),
    request_id TEXT NOT NULL,
    address TEXT NOT NULL,
    detail TEXT NOT NULL,
    prev_hash BLOB CHECK (length(prev_hash) = 32) NOT NULL,
    hash BLOB CHECK (length(hash) = 32) NOT NULL
) STRICT;
CREATE INDEX audit_events_by_service ON audit_events (service_id, seq);

CREATE TABLE audit_subjects (
    seq INTEGER NOT NULL REFERENCES audit_events (seq),
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL,
    patient_id BLOB CHECK (length(patient_id) = 16) NOT NULL,
    PRIMARY KEY (service_id, patient_id, seq)
) STRICT;
CREATE INDEX audit_subjects_by_seq ON audit_subjects (seq);

CREATE TABLE audit_head (
    id INTEGER NOT NULL PRIMARY KEY CHECK (id = 1),
    seq INTEGER NOT NULL,
    hash BLOB CHECK (length(hash) = 32) NOT NULL
) STRICT;
INSERT INTO audit_head (id, seq, hash) VALUES (1, 0, zeroblob(32));

-- The log can only grow, whoever holds the connection.
CREATE TRIGGER audit_events_no_update BEFORE UPDATE ON audit_events
BEGIN SELECT RAISE(ABORT, 'audit events are never changed'); END;
CREATE TRIGGER audit_events_no_delete BEFORE DELETE ON audit_events
BEGIN SELECT RAISE(ABORT, 'audit events are never deleted'); END;
-- Replacing is deleting and inserting, and runs no trigger for the deletion.
CREATE TRIGGER audit_events_no_replace BEFORE INSERT ON audit_events
WHEN EXISTS (SELECT 1 FROM audit_events WHERE seq = NEW.seq OR id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'audit events are never replaced'); END;
CREATE TRIGGER audit_subjects_no_replace BEFORE INSERT ON audit_subjects
WHEN EXISTS (SELECT 1 FROM audit_subjects
             WHERE service_id = NEW.service_id AND patient_id = NEW.patient_id AND seq = NEW.seq)
BEGIN SELECT RAISE(ABORT, 'audit subjects are never replaced'); END;
CREATE TRIGGER audit_subjects_no_update BEFORE UPDATE ON audit_subjects
BEGIN SELECT RAISE(ABORT, 'audit subjects are never changed'); END;
CREATE TRIGGER audit_subjects_no_delete BEFORE DELETE ON audit_subjects
BEGIN SELECT RAISE(ABORT, 'audit subjects are never deleted'); END;

CREATE TABLE patients (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    family_name TEXT NOT NULL,
    given_name TEXT NOT NULL,
    title TEXT,
    preferred_name TEXT,
    born_on TEXT CHECK (date(born_on) = born_on),
    gender TEXT NOT NULL CHECK (gender IN ('male', 'female', 'other', 'not-known', 'not-specified')),
    address TEXT,
    postcode TEXT,
    phone TEXT,
    email TEXT,
    gp_practice TEXT,
    dispenser TEXT,
    sensitivity TEXT NOT NULL CHECK (sensitivity IN ('known', 'none-known', 'not-recorded')),
    sensitivity_note TEXT,
    note TEXT,
    search_key TEXT NOT NULL,
    name_key TEXT NOT NULL,
    ended_reason TEXT CHECK (ended_reason IN ('died', 'moved-away', 'declined')),
    ended_on TEXT CHECK (date(ended_on) = ended_on),
    version INTEGER NOT NULL,
    created_at TEXT CHECK (length(created_at) = 26) NOT NULL,
    updated_at TEXT CHECK (length(updated_at) = 26) NOT NULL,
    CHECK ((ended_reason IS NULL) = (ended_on IS NULL))
) STRICT;
CREATE INDEX patients_by_name ON patients (service_id, family_name, given_name);
CREATE INDEX patients_by_name_key ON patients (service_id, name_key);
CREATE INDEX patients_by_birth ON patients (service_id, born_on);

CREATE TABLE patient_identifiers (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    patient_id BLOB CHECK (length(patient_id) = 16) NOT NULL REFERENCES patients (id),
    scheme TEXT NOT NULL CHECK (scheme IN ('nhs', 'chi', 'hc', 'local')),
    value TEXT NOT NULL,
    UNIQUE (service_id, scheme, value)
) STRICT;
CREATE INDEX patient_identifiers_by_patient ON patient_identifiers (service_id, patient_id);

CREATE TABLE record_versions (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    patient_id BLOB CHECK (length(patient_id) = 16) NOT NULL REFERENCES patients (id),
    entity TEXT NOT NULL,
    entity_id BLOB CHECK (length(entity_id) = 16) NOT NULL,
    version INTEGER NOT NULL,
    content TEXT CHECK (json_valid(content)) NOT NULL,
    reason TEXT,
    replaced_at TEXT CHECK (length(replaced_at) = 26) NOT NULL,
    replaced_by BLOB CHECK (length(replaced_by) = 16),
    UNIQUE (service_id, entity_id, version)
) STRICT;
CREATE INDEX record_versions_by_patient ON record_versions (service_id, patient_id);

CREATE TABLE stomas (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    patient_id BLOB CHECK (length(patient_id) = 16) NOT NULL REFERENCES patients (id),
    kind TEXT NOT NULL CHECK (kind IN ('colostomy', 'ileostomy', 'urostomy')),
    construction TEXT NOT NULL CHECK (construction IN ('end', 'loop', 'double-barrel', 'not-known')),
    permanence TEXT NOT NULL CHECK (permanence IN ('permanent', 'temporary', 'not-known')),
    surgery TEXT NOT NULL CHECK (surgery IN ('planned', 'emergency', 'not-known')),
    surgery_on TEXT CHECK (date(surgery_on) = surgery_on),
    discharge_on TEXT CHECK (date(discharge_on) = discharge_on),
    reversal_on TEXT CHECK (date(reversal_on) = reversal_on),
    reversed_on TEXT CHECK (date(reversed_on) = reversed_on),
    place TEXT,
    width_mm INTEGER CHECK (width_mm BETWEEN 1 AND 300),
    height_mm INTEGER CHECK (height_mm BETWEEN 1 AND 300),
    protrusion_mm INTEGER CHECK (protrusion_mm BETWEEN -50 AND 300),
    protocol_id TEXT NOT NULL,
    protocol_version INTEGER NOT NULL,
    last_seen_on TEXT CHECK (date(last_seen_on) = last_seen_on),
    taken_on TEXT CHECK (date(taken_on) = taken_on) NOT NULL,
    version INTEGER NOT NULL,
    created_at TEXT CHECK (length(created_at) = 26) NOT NULL,
    updated_at TEXT CHECK (length(updated_at) = 26) NOT NULL
) STRICT;
CREATE INDEX stomas_by_patient ON stomas (service_id, patient_id);

CREATE TABLE reviews (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    patient_id BLOB CHECK (length(patient_id) = 16) NOT NULL REFERENCES patients (id),
    stoma_id BLOB CHECK (length(stoma_id) = 16) REFERENCES stomas (id),
    protocol_id TEXT NOT NULL,
    protocol_version INTEGER NOT NULL,
    step TEXT,
    occurrence INTEGER NOT NULL,
    title TEXT NOT NULL,
    mode TEXT NOT NULL CHECK (mode IN ('clinic', 'phone', 'home', 'ward', 'video')),
    nominal_on TEXT CHECK (date(nominal_on) = nominal_on) NOT NULL,
    earliest_on TEXT CHECK (date(earliest_on) = earliest_on),
    latest_on TEXT CHECK (date(latest_on) = latest_on) NOT NULL,
    planned_on TEXT CHECK (date(planned_on) = planned_on) NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('proposed', 'booked', 'fulfilled', 'noshow', 'cancelled', 'entered-in-error')),
    reasons TEXT CHECK (json_valid(reasons)) NOT NULL,
    booked_on TEXT CHECK (date(booked_on) = booked_on),
    booked_time TEXT,
    assigned_to BLOB CHECK (length(assigned_to) = 16) REFERENCES staff (id),
    deferred_reason TEXT,
    by_hand INTEGER CHECK (by_hand IN (0, 1)) NOT NULL,
    closed_by_plan INTEGER CHECK (closed_by_plan IN (0, 1)) NOT NULL,
    off_plan TEXT,
    closed_reason TEXT,
    closed_on TEXT CHECK (date(closed_on) = closed_on),
    version INTEGER NOT NULL,
    created_at TEXT CHECK (length(created_at) = 26) NOT NULL,
    updated_at TEXT CHECK (length(updated_at) = 26) NOT NULL
) STRICT;
CREATE INDEX reviews_by_patient ON reviews (service_id, patient_id);
CREATE INDEX reviews_by_planned ON reviews (service_id, status, planned_on);
CREATE UNIQUE INDEX reviews_one_to_a_slot ON reviews (service_id, booked_on, booked_time) WHERE status = 'booked';

CREATE TABLE contacts (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    patient_id BLOB CHECK (length(patient_id) = 16) NOT NULL REFERENCES patients (id),
    stoma_id BLOB CHECK (length(stoma_id) = 16) REFERENCES stomas (id),
    review_id BLOB CHECK (length(review_id) = 16) REFERENCES reviews (id),
    mode TEXT NOT NULL CHECK (mode IN ('clinic', 'phone', 'home', 'ward', 'video')),
    outcome TEXT NOT NULL CHECK (outcome IN ('fulfilled', 'noshow', 'cancelled', 'no-answer')),
    held_on TEXT CHECK (date(held_on) = held_on) NOT NULL,
    note TEXT,
    made_by BLOB CHECK (length(made_by) = 16) NOT NULL REFERENCES staff (id),
    created_at TEXT CHECK (length(created_at) = 26) NOT NULL
) STRICT;
CREATE INDEX contacts_by_patient ON contacts (service_id, patient_id, held_on);

CREATE TABLE assessments (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    patient_id BLOB CHECK (length(patient_id) = 16) NOT NULL REFERENCES patients (id),
    stoma_id BLOB CHECK (length(stoma_id) = 16) NOT NULL REFERENCES stomas (id),
    contact_id BLOB CHECK (length(contact_id) = 16) REFERENCES contacts (id),
    assessed_on TEXT CHECK (date(assessed_on) = assessed_on) NOT NULL,
    inputs TEXT CHECK (json_valid(inputs)) NOT NULL,
    score INTEGER NOT NULL CHECK (score BETWEEN 0 AND 15),
    discolouration INTEGER NOT NULL CHECK (discolouration BETWEEN 0 AND 5),
    erosion INTEGER NOT NULL CHECK (erosion BETWEEN 0 AND 5),
    overgrowth INTEGER NOT NULL CHECK (overgrowth BETWEEN 0 AND 5),
    band_set TEXT NOT NULL,
    band TEXT NOT NULL,
    rule_version TEXT NOT NULL,
    symptoms TEXT CHECK (json_valid(symptoms)) NOT NULL,
    findings TEXT CHECK (json_valid(findings)) NOT NULL,
    cause TEXT,
    plan TEXT,
    status TEXT NOT NULL CHECK (status IN ('signed', 'amended')),
    amends_id BLOB CHECK (length(amends_id) = 16) REFERENCES assessments (id),
    amend_reason TEXT,
    signed_by BLOB CHECK (length(signed_by) = 16) NOT NULL REFERENCES staff (id),
    signed_at TEXT CHECK (length(signed_at) = 26) NOT NULL
) STRICT;
CREATE INDEX assessments_by_patient ON assessments (service_id, patient_id, assessed_on);
CREATE UNIQUE INDEX assessments_amended_once ON assessments (service_id, amends_id);

CREATE TABLE catalogue_items (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    code TEXT NOT NULL,
    category TEXT NOT NULL,
    name TEXT NOT NULL,
    size TEXT,
    pack INTEGER NOT NULL CHECK (pack BETWEEN 1 AND 10000),
    unit TEXT NOT NULL,
    coupling_mm INTEGER,
    coupling TEXT,
    convexity TEXT,
    content_g INTEGER,
    content_ml INTEGER,
    precut INTEGER CHECK (precut IN (0, 1)),
    latex INTEGER CHECK (latex IN (0, 1)),
    animal_derived INTEGER CHECK (animal_derived IN (0, 1)),
    source TEXT NOT NULL,
    active INTEGER CHECK (active IN (0, 1)) NOT NULL,
    version INTEGER NOT NULL,
    created_at TEXT CHECK (length(created_at) = 26) NOT NULL,
    UNIQUE (service_id, code)
) STRICT;

CREATE TABLE prescriptions (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    patient_id BLOB CHECK (length(patient_id) = 16) NOT NULL REFERENCES patients (id),
    stoma_id BLOB CHECK (length(stoma_id) = 16) NOT NULL REFERENCES stomas (id),
    number INTEGER NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('draft', 'signed', 'superseded', 'stopped')),
    period_days INTEGER NOT NULL CHECK (period_days BETWEEN 1 AND 366),
    quantity_set TEXT NOT NULL,
    rule_version TEXT NOT NULL,
    findings TEXT CHECK (json_valid(findings)) NOT NULL,
    dispenser TEXT,
    note TEXT,
    override_reason TEXT,
    drawn_up_by BLOB CHECK (length(drawn_up_by) = 16) NOT NULL REFERENCES staff (id),
    drawn_up_at TEXT CHECK (length(drawn_up_at) = 26) NOT NULL,
    signed_by BLOB CHECK (length(signed_by) = 16) REFERENCES staff (id),
    signed_at TEXT CHECK (length(signed_at) = 26),
    supersedes_id BLOB CHECK (length(supersedes_id) = 16) REFERENCES prescriptions (id),
    stopped_reason TEXT,
    version INTEGER NOT NULL,
    CHECK ((signed_by IS NULL) = (signed_at IS NULL)),
    UNIQUE (service_id, patient_id, number)
) STRICT;
CREATE UNIQUE INDEX prescriptions_one_draft ON prescriptions (service_id, patient_id, stoma_id) WHERE status = 'draft';
CREATE UNIQUE INDEX prescriptions_one_signed ON prescriptions (service_id, stoma_id) WHERE status = 'signed';

CREATE TABLE prescription_lines (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    patient_id BLOB CHECK (length(patient_id) = 16) NOT NULL REFERENCES patients (id),
    prescription_id BLOB CHECK (length(prescription_id) = 16) NOT NULL REFERENCES prescriptions (id),
    position INTEGER NOT NULL,
    item_id BLOB CHECK (length(item_id) = 16) NOT NULL REFERENCES catalogue_items (id),
    category TEXT NOT NULL,
    name TEXT NOT NULL,
    size TEXT,
    unit TEXT NOT NULL,
    pack INTEGER NOT NULL CHECK (pack >= 1),
    use_units INTEGER NOT NULL CHECK (use_units >= 1),
    use_every_days INTEGER NOT NULL CHECK (use_every_days >= 1),
    on_hand INTEGER NOT NULL CHECK (on_hand >= 0),
    aperture_mm INTEGER CHECK (aperture_mm BETWEEN 1 AND 300),
    issue TEXT NOT NULL CHECK (issue IN ('repeat', 'acute')),
    reason TEXT,
    review_on TEXT CHECK (date(review_on) = review_on),
    units INTEGER NOT NULL,
    packs INTEGER NOT NULL,
    supplied INTEGER NOT NULL,
    days_supply INTEGER NOT NULL,
    verdict TEXT CHECK (json_valid(verdict)) NOT NULL,
    UNIQUE (service_id, prescription_id, position)
) STRICT;
CREATE INDEX prescription_lines_by_patient ON prescription_lines (service_id, patient_id);

CREATE TABLE uploads (
    id BLOB CHECK (length(id) = 16) NOT NULL PRIMARY KEY,
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    staff_id BLOB CHECK (length(staff_id) = 16) NOT NULL REFERENCES staff (id),
    content BLOB NOT NULL,
    created_at TEXT CHECK (length(created_at) = 26) NOT NULL
) STRICT;
CREATE INDEX uploads_by_staff ON uploads (service_id, staff_id);

CREATE TABLE week_rows (
    patient_id BLOB CHECK (length(patient_id) = 16) NOT NULL PRIMARY KEY REFERENCES patients (id),
    service_id BLOB CHECK (length(service_id) = 16) NOT NULL REFERENCES services (id),
    name TEXT NOT NULL,
    sort_name TEXT NOT NULL,
    born_on TEXT CHECK (date(born_on) = born_on),
    identifier TEXT,
    stoma_id BLOB CHECK (length(stoma_id) = 16) REFERENCES stomas (id),
    stoma_kind TEXT,
    stoma_words TEXT NOT NULL,
    surgery_on TEXT CHECK (date(surgery_on) = surgery_on),
    review_id BLOB CHECK (length(review_id) = 16) REFERENCES reviews (id),
    review_title TEXT,
    review_mode TEXT,
    review_status TEXT,
    review_version INTEGER,
    due_on TEXT CHECK (date(due_on) = due_on),
    planned_on TEXT CHECK (date(planned_on) = planned_on),
    latest_on TEXT CHECK (date(latest_on) = latest_on),
    booked_on TEXT CHECK (date(booked_on) = booked_on),
    booked_time TEXT,
    assigned_to BLOB CHECK (length(assigned_to) = 16),
    last_score INTEGER,
    previous_score INTEGER,
    last_band TEXT,
    urgent INTEGER CHECK (urgent IN (0, 1)) NOT NULL,
    signals TEXT CHECK (json_valid(signals)) NOT NULL
) STRICT;
CREATE INDEX week_rows_by_due ON week_rows (service_id, due_on);
CREATE INDEX week_rows_urgent ON week_rows (service_id, urgent);
