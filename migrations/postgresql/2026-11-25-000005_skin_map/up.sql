-- The clock map of an assessment by cell, answers to red flags, photographs with consent, calibration.

-- One marked cell. The plate, the shares and what was overruled stand with the assessment's inputs.
CREATE TABLE assessment_cells (
    service_id UUID NOT NULL REFERENCES services (id),
    patient_id UUID NOT NULL REFERENCES patients (id),
    assessment_id UUID NOT NULL REFERENCES assessments (id),
    hour INTEGER NOT NULL CHECK (hour BETWEEN 1 AND 12),
    ring INTEGER NOT NULL CHECK (ring BETWEEN 1 AND 10),
    finding TEXT NOT NULL CHECK (finding IN ('discoloured', 'eroded', 'overgrown')),
    PRIMARY KEY (service_id, assessment_id, hour, ring, finding)
);
CREATE INDEX assessment_cells_by_patient ON assessment_cells (service_id, patient_id);

-- What was answered when a red flag interrupted.
CREATE TABLE red_flags (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    patient_id UUID NOT NULL REFERENCES patients (id),
    assessment_id UUID NOT NULL REFERENCES assessments (id),
    rule TEXT NOT NULL,
    thresholds TEXT NOT NULL,
    answer TEXT NOT NULL CHECK (answer IN ('handed-on', 'overruled')),
    reason TEXT,
    answered_by UUID NOT NULL REFERENCES staff (id),
    answered_at TIMESTAMPTZ NOT NULL,
    CHECK (answer <> 'overruled' OR reason IS NOT NULL)
);
CREATE INDEX red_flags_by_patient ON red_flags (service_id, patient_id);
CREATE INDEX red_flags_by_answer ON red_flags (service_id, answer, answered_at);

-- A photograph: encoded anew, without what the camera wrote into it. Once removed its content is gone; who, when and
-- why stays.
CREATE TABLE photographs (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    patient_id UUID NOT NULL REFERENCES patients (id),
    stoma_id UUID REFERENCES stomas (id),
    taken_on DATE NOT NULL,
    consent TEXT NOT NULL CHECK (consent IN ('written', 'spoken', 'best-interests')),
    consent_note TEXT,
    what TEXT,
    width INTEGER NOT NULL CHECK (width BETWEEN 1 AND 20000),
    height INTEGER NOT NULL CHECK (height BETWEEN 1 AND 20000),
    content BYTEA,
    added_by UUID NOT NULL REFERENCES staff (id),
    added_at TIMESTAMPTZ NOT NULL,
    removed_by UUID REFERENCES staff (id),
    removed_at TIMESTAMPTZ,
    removed_reason TEXT,
    CHECK ((content IS NULL) = (removed_at IS NOT NULL)),
    CHECK ((removed_at IS NULL) = (removed_reason IS NULL))
);
CREATE INDEX photographs_by_patient ON photographs (service_id, patient_id, taken_on);

-- One person's answer to one calibration case. The cases are data of the program.
CREATE TABLE calibration_answers (
    id UUID NOT NULL PRIMARY KEY,
    service_id UUID NOT NULL REFERENCES services (id),
    staff_id UUID NOT NULL REFERENCES staff (id),
    case_id TEXT NOT NULL,
    case_version TEXT NOT NULL,
    discolouration_area INTEGER NOT NULL CHECK (discolouration_area BETWEEN 0 AND 3),
    discolouration_severity INTEGER NOT NULL CHECK (discolouration_severity BETWEEN 0 AND 2),
    erosion_area INTEGER NOT NULL CHECK (erosion_area BETWEEN 0 AND 3),
    erosion_severity INTEGER NOT NULL CHECK (erosion_severity BETWEEN 0 AND 2),
    overgrowth_area INTEGER NOT NULL CHECK (overgrowth_area BETWEEN 0 AND 3),
    overgrowth_severity INTEGER NOT NULL CHECK (overgrowth_severity BETWEEN 0 AND 2),
    score INTEGER NOT NULL CHECK (score BETWEEN 0 AND 15),
    answered_at TIMESTAMPTZ NOT NULL,
    UNIQUE (service_id, staff_id, case_id, case_version)
);
