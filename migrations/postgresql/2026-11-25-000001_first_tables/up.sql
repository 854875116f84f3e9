-- The first tables: the service and its people, the audit log, patients, stomas, reviews, contacts,
-- assessments, catalogue, prescriptions, and the narrow row that the week's list reads.
-- Every patient-owned table carries service_id, first in its indexes (a test reads the catalogue for it).

CREATE TABLE services (
    id UUID NOT NULL PRIMARY KEY,
    name TEXT NOT NULL,
    nation TEXT NOT NULL CHECK (nation IN ('england', 'wales', 'scotland', 'northern-ireland')),
    demo BOOLEAN NOT NULL,
    band_set TEXT NOT NULL,
    quantity_set TEXT NOT NULL,
    protocol_colostomy TEXT NOT NULL,
    protocol_ileostomy TEXT NOT NULL,
    protocol_urostomy TEXT NOT NULL,
    clinic_opens TEXT NOT NULL,
    clinic_closes TEXT NOT NULL,
    slot_minutes INTEGER NOT NULL CHECK (slot_minutes BETWEEN 5 AND 240),
    phone TEXT,
    created_at TIMESTAMPTZ NOT NULL
);

CREATE TABLE sites (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    name TEXT NOT NULL,
    UNIQUE (service_id, name)
);

CREATE TABLE staff (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    sign_in_name TEXT NOT NULL UNIQUE,
    display_name TEXT NOT NULL,
    registration TEXT,
    password_hash TEXT,
    failed_count INTEGER NOT NULL,
    locked_until TIMESTAMPTZ,
    disabled_at TIMESTAMPTZ,
    version INTEGER NOT NULL,
    created_at TIMESTAMPTZ NOT NULL
);
CREATE INDEX staff_by_service ON staff (service_id, display_name);

CREATE TABLE staff_roles (
    service_id UUID NOT NULL REFERENCES services (id),
    staff_id UUID NOT NULL REFERENCES staff (id),
    role TEXT NOT NULL CHECK (role IN ('nurse', 'prescriber', 'assistant', 'clerk', 'lead', 'auditor', 'administrator')),
    PRIMARY KEY (staff_id, role)
);

CREATE TABLE sign_in_links (
    token_hash BYTEA NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    staff_id UUID NOT NULL REFERENCES staff (id),
    expires_at TIMESTAMPTZ NOT NULL,
    used_at TIMESTAMPTZ
);

CREATE TABLE sessions (
    token_hash BYTEA NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    staff_id UUID NOT NULL REFERENCES staff (id),
    form_token TEXT NOT NULL,
    message TEXT,
    search TEXT,
    address TEXT NOT NULL,
    created_at TIMESTAMPTZ NOT NULL,
    last_seen_at TIMESTAMPTZ NOT NULL,
    ended_at TIMESTAMPTZ
);
CREATE INDEX sessions_by_staff ON sessions (service_id, staff_id);

CREATE TABLE audit_events (
    seq BIGINT NOT NULL PRIMARY KEY,
    id UUID NOT NULL UNIQUE,
    service_id UUID,
    at TIMESTAMPTZ NOT NULL,
    staff_id UUID,
    staff_name TEXT NOT NULL,
    roles TEXT NOT NULL,
    action TEXT NOT NULL CHECK (action IN ('C', 'R', 'U', 'D', 'E')),
    what TEXT NOT NULL,
    outcome TEXT NOT NULL CHECK (outcome IN ('ok', 'refused', 'failed')),
    request_id TEXT NOT NULL,
    address TEXT NOT NULL,
    detail TEXT NOT NULL,
    prev_hash BYTEA NOT NULL,
    hash BYTEA NOT NULL
);
CREATE INDEX audit_events_by_service ON audit_events (service_id, seq);

CREATE TABLE audit_subjects (
    seq BIGINT NOT NULL REFERENCES audit_events (seq),
    service_id UUID NOT NULL,
    patient_id UUID NOT NULL,
    PRIMARY KEY (service_id, patient_id, seq)
);
CREATE INDEX audit_subjects_by_seq ON audit_subjects (seq);

CREATE TABLE audit_head (
    id INTEGER NOT NULL PRIMARY KEY CHECK (id = 1),
    seq BIGINT NOT NULL,
    hash BYTEA NOT NULL
);
INSERT INTO audit_head (id, seq, hash) VALUES (1, 0, decode(repeat('00', 32), 'hex'));

-- The log can only grow, whoever holds the connection.
CREATE FUNCTION audit_is_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION 'audit events are never changed or deleted'; END $$;
CREATE TRIGGER audit_events_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON audit_events
FOR EACH STATEMENT EXECUTE FUNCTION audit_is_append_only();
CREATE TRIGGER audit_subjects_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON audit_subjects
FOR EACH STATEMENT EXECUTE FUNCTION audit_is_append_only();

CREATE TABLE patients (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    family_name TEXT NOT NULL,
    given_name TEXT NOT NULL,
    title TEXT,
    preferred_name TEXT,
    born_on DATE,
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
    ended_on DATE,
    version INTEGER NOT NULL,
    created_at TIMESTAMPTZ NOT NULL,
    updated_at TIMESTAMPTZ NOT NULL,
    CHECK ((ended_reason IS NULL) = (ended_on IS NULL))
);
CREATE INDEX patients_by_name ON patients (service_id, family_name, given_name);
CREATE INDEX patients_by_name_key ON patients (service_id, name_key);
CREATE INDEX patients_by_birth ON patients (service_id, born_on);

CREATE TABLE patient_identifiers (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    patient_id UUID NOT NULL REFERENCES patients (id),
    scheme TEXT NOT NULL CHECK (scheme IN ('nhs', 'chi', 'hc', 'local')),
    value TEXT NOT NULL,
    UNIQUE (service_id, scheme, value)
);
CREATE INDEX patient_identifiers_by_patient ON patient_identifiers (service_id, patient_id);

CREATE TABLE record_versions (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    patient_id UUID NOT NULL REFERENCES patients (id),
    entity TEXT NOT NULL,
    entity_id UUID NOT NULL,
    version INTEGER NOT NULL,
    content JSONB NOT NULL,
    reason TEXT,
    replaced_at TIMESTAMPTZ NOT NULL,
    replaced_by UUID,
    UNIQUE (service_id, entity_id, version)
);
CREATE INDEX record_versions_by_patient ON record_versions (service_id, patient_id);

CREATE TABLE stomas (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    patient_id UUID NOT NULL REFERENCES patients (id),
    kind TEXT NOT NULL CHECK (kind IN ('colostomy', 'ileostomy', 'urostomy')),
    construction TEXT NOT NULL CHECK (construction IN ('end', 'loop', 'double-barrel', 'not-known')),
    permanence TEXT NOT NULL CHECK (permanence IN ('permanent', 'temporary', 'not-known')),
    surgery TEXT NOT NULL CHECK (surgery IN ('planned', 'emergency', 'not-known')),
    surgery_on DATE,
    discharge_on DATE,
    reversal_on DATE,
    reversed_on DATE,
    place TEXT,
    width_mm INTEGER CHECK (width_mm BETWEEN 1 AND 300),
    height_mm INTEGER CHECK (height_mm BETWEEN 1 AND 300),
    protrusion_mm INTEGER CHECK (protrusion_mm BETWEEN -50 AND 300),
    protocol_id TEXT NOT NULL,
    protocol_version INTEGER NOT NULL,
    last_seen_on DATE,
    taken_on DATE NOT NULL,
    version INTEGER NOT NULL,
    created_at TIMESTAMPTZ NOT NULL,
    updated_at TIMESTAMPTZ NOT NULL
);
CREATE INDEX stomas_by_patient ON stomas (service_id, patient_id);

CREATE TABLE reviews (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    patient_id UUID NOT NULL REFERENCES patients (id),
    stoma_id UUID REFERENCES stomas (id),
    protocol_id TEXT NOT NULL,
    protocol_version INTEGER NOT NULL,
    step TEXT,
    occurrence INTEGER NOT NULL,
    title TEXT NOT NULL,
    mode TEXT NOT NULL CHECK (mode IN ('clinic', 'phone', 'home', 'ward', 'video')),
    nominal_on DATE NOT NULL,
    earliest_on DATE,
    latest_on DATE NOT NULL,
    planned_on DATE NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('proposed', 'booked', 'fulfilled', 'noshow', 'cancelled', 'entered-in-error')),
    reasons JSONB NOT NULL,
    booked_on DATE,
    booked_time TEXT,
    assigned_to UUID REFERENCES staff (id),
    deferred_reason TEXT,
    by_hand BOOLEAN NOT NULL,
    closed_by_plan BOOLEAN NOT NULL,
    off_plan TEXT,
    closed_reason TEXT,
    closed_on DATE,
    version INTEGER NOT NULL,
    created_at TIMESTAMPTZ NOT NULL,
    updated_at TIMESTAMPTZ NOT NULL
);
CREATE INDEX reviews_by_patient ON reviews (service_id, patient_id);
CREATE INDEX reviews_by_planned ON reviews (service_id, status, planned_on);
CREATE UNIQUE INDEX reviews_one_to_a_slot ON reviews (service_id, booked_on, booked_time) WHERE status = 'booked';

CREATE TABLE contacts (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    patient_id UUID NOT NULL REFERENCES patients (id),
    stoma_id UUID REFERENCES stomas (id),
    review_id UUID REFERENCES reviews (id),
    mode TEXT NOT NULL CHECK (mode IN ('clinic', 'phone', 'home', 'ward', 'video')),
    outcome TEXT NOT NULL CHECK (outcome IN ('fulfilled', 'noshow', 'cancelled', 'no-answer')),
    held_on DATE NOT NULL,
    note TEXT,
    made_by UUID NOT NULL REFERENCES staff (id),
    created_at TIMESTAMPTZ NOT NULL
);
CREATE INDEX contacts_by_patient ON contacts (service_id, patient_id, held_on);

CREATE TABLE assessments (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    patient_id UUID NOT NULL REFERENCES patients (id),
    stoma_id UUID NOT NULL REFERENCES stomas (id),
    contact_id UUID REFERENCES contacts (id),
    assessed_on DATE NOT NULL,
    inputs JSONB NOT NULL,
    score INTEGER NOT NULL CHECK (score BETWEEN 0 AND 15),
    discolouration INTEGER NOT NULL CHECK (discolouration BETWEEN 0 AND 5),
    erosion INTEGER NOT NULL CHECK (erosion BETWEEN 0 AND 5),
    overgrowth INTEGER NOT NULL CHECK (overgrowth BETWEEN 0 AND 5),
    band_set TEXT NOT NULL,
    band TEXT NOT NULL,
    rule_version TEXT NOT NULL,
    symptoms JSONB NOT NULL,
    findings JSONB NOT NULL,
    cause TEXT,
    plan TEXT,
    status TEXT NOT NULL CHECK (status IN ('signed', 'amended')),
    amends_id UUID REFERENCES assessments (id),
    amend_reason TEXT,
    signed_by UUID NOT NULL REFERENCES staff (id),
    signed_at TIMESTAMPTZ NOT NULL
);
CREATE INDEX assessments_by_patient ON assessments (service_id, patient_id, assessed_on);
CREATE UNIQUE INDEX assessments_amended_once ON assessments (service_id, amends_id);

CREATE TABLE catalogue_items (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
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
    precut BOOLEAN,
    latex BOOLEAN,
    animal_derived BOOLEAN,
    source TEXT NOT NULL,
    active BOOLEAN NOT NULL,
    version INTEGER NOT NULL,
    created_at TIMESTAMPTZ NOT NULL,
    UNIQUE (service_id, code)
);

CREATE TABLE prescriptions (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    patient_id UUID NOT NULL REFERENCES patients (id),
    stoma_id UUID NOT NULL REFERENCES stomas (id),
    number INTEGER NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('draft', 'signed', 'superseded', 'stopped')),
    period_days INTEGER NOT NULL CHECK (period_days BETWEEN 1 AND 366),
    quantity_set TEXT NOT NULL,
    rule_version TEXT NOT NULL,
    findings JSONB NOT NULL,
    dispenser TEXT,
    note TEXT,
    override_reason TEXT,
    drawn_up_by UUID NOT NULL REFERENCES staff (id),
    drawn_up_at TIMESTAMPTZ NOT NULL,
    signed_by UUID REFERENCES staff (id),
    signed_at TIMESTAMPTZ,
    supersedes_id UUID REFERENCES prescriptions (id),
    stopped_reason TEXT,
    version INTEGER NOT NULL,
    CHECK ((signed_by IS NULL) = (signed_at IS NULL)),
    UNIQUE (service_id, patient_id, number)
);
CREATE UNIQUE INDEX prescriptions_one_draft ON prescriptions (service_id, patient_id, stoma_id) WHERE status = 'draft';
CREATE UNIQUE INDEX prescriptions_one_signed ON prescriptions (service_id, stoma_id) WHERE status = 'signed';

CREATE TABLE prescription_lines (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    patient_id UUID NOT NULL REFERENCES patients (id),
    prescription_id UUID NOT NULL REFERENCES prescriptions (id),
    position INTEGER NOT NULL,
    item_id UUID NOT NULL REFERENCES catalogue_items (id),
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
    review_on DATE,
    units INTEGER NOT NULL,
    packs INTEGER NOT NULL,
    supplied INTEGER NOT NULL,
    days_supply INTEGER NOT NULL,
    verdict JSONB NOT NULL,
    UNIQUE (service_id, prescription_id, position)
);
CREATE INDEX prescription_lines_by_patient ON prescription_lines (service_id, patient_id);

CREATE TABLE uploads (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    staff_id UUID NOT NULL REFERENCES staff (id),
    content BYTEA NOT NULL,
    created_at TIMESTAMPTZ NOT NULL
);
CREATE INDEX uploads_by_staff ON uploads (service_id, staff_id);

CREATE TABLE week_rows (
    patient_id UUID NOT NULL PRIMARY KEY REFERENCES patients (id),
    service_id UUID NOT NULL REFERENCES services (id),
    name TEXT NOT NULL,
    sort_name TEXT NOT NULL,
    born_on DATE,
    identifier TEXT,
    stoma_id UUID REFERENCES stomas (id),
    stoma_kind TEXT,
    stoma_words TEXT NOT NULL,
    surgery_on DATE,
    review_id UUID REFERENCES reviews (id),
    review_title TEXT,
    review_mode TEXT,
    review_status TEXT,
    review_version INTEGER,
    due_on DATE,
    planned_on DATE,
    latest_on DATE,
    booked_on DATE,
    booked_time TEXT,
    assigned_to UUID,
    last_score INTEGER,
    previous_score INTEGER,
    last_band TEXT,
    urgent BOOLEAN NOT NULL,
    signals JSONB NOT NULL
);
CREATE INDEX week_rows_by_due ON week_rows (service_id, due_on);
CREATE INDEX week_rows_urgent ON week_rows (service_id, urgent);
