-- One text for both databases. {bytes} is BLOB or BYTEA.
-- Instants are whole seconds UTC, days are ISO text, lists and forms are JSON text.

CREATE TABLE act (
    seq BIGINT PRIMARY KEY,
    at BIGINT NOT NULL,
    who TEXT NOT NULL,
    role TEXT NOT NULL,
    station TEXT NOT NULL,
    verb TEXT NOT NULL,
    object TEXT NOT NULL,
    person BIGINT,
    software TEXT NOT NULL,
    body TEXT,
    body_sha256 TEXT NOT NULL,
    prev TEXT NOT NULL,
    hash TEXT NOT NULL
);
CREATE INDEX act_person ON act (person, seq);
CREATE INDEX act_object ON act (object, seq);

-- The one row every act locks first, so that acts follow each other.
CREATE TABLE gate (
    id BIGINT PRIMARY KEY,
    seq BIGINT NOT NULL,
    at BIGINT NOT NULL,
    hash TEXT NOT NULL
);

CREATE TABLE account (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    login TEXT NOT NULL UNIQUE,
    name TEXT NOT NULL,
    role TEXT NOT NULL,
    password TEXT,
    once_sha256 TEXT,
    once_until_at BIGINT,
    closed_at BIGINT
);

CREATE TABLE person (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    mrn TEXT NOT NULL,
    nhs_number TEXT,
    family TEXT NOT NULL,
    given TEXT NOT NULL,
    born_on TEXT NOT NULL,
    telephone TEXT,
    address TEXT,
    needs TEXT,
    voided_at BIGINT,
    voided_because TEXT,
    same_as BIGINT REFERENCES person (id)
);
CREATE UNIQUE INDEX person_mrn ON person (mrn) WHERE voided_at IS NULL;
CREATE UNIQUE INDEX person_nhs ON person (nhs_number) WHERE voided_at IS NULL AND nhs_number IS NOT NULL;

CREATE TABLE referral (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    person BIGINT NOT NULL REFERENCES person (id),
    asked_by TEXT NOT NULL,
    received_on TEXT NOT NULL,
    question TEXT NOT NULL,
    words TEXT,
    support TEXT,
    urgency TEXT NOT NULL,
    criteria TEXT NOT NULL,
    voided_at BIGINT,
    voided_because TEXT
);
CREATE INDEX referral_person ON referral (person);

CREATE TABLE study (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    person BIGINT NOT NULL REFERENCES person (id),
    referral BIGINT NOT NULL REFERENCES referral (id),
    status TEXT NOT NULL,
    closed_because TEXT
);
CREATE INDEX study_person ON study (person);
CREATE INDEX study_status ON study (status);

CREATE TABLE consumable (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    kind TEXT NOT NULL,
    lot TEXT NOT NULL,
    expires_on TEXT,
    received BIGINT NOT NULL,
    co2_percent DOUBLE PRECISION,
    closed_at BIGINT
);

CREATE TABLE monitor (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    mark TEXT NOT NULL UNIQUE,
    serial TEXT NOT NULL UNIQUE,
    kind TEXT NOT NULL,
    value_pence BIGINT NOT NULL,
    bought_on TEXT,
    in_use_since_on TEXT,
    firmware TEXT,
    service_due_on TEXT,
    electrical_due_on TEXT,
    membrane_on TEXT,
    gas BIGINT REFERENCES consumable (id),
    status TEXT NOT NULL,
    because TEXT,
    loan BIGINT,
    returned_at BIGINT,
    cleaned_at BIGINT,
    checked_at BIGINT
);

CREATE TABLE loan (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    mark TEXT NOT NULL UNIQUE,
    study BIGINT NOT NULL REFERENCES study (id),
    person BIGINT NOT NULL REFERENCES person (id),
    monitor BIGINT NOT NULL REFERENCES monitor (id),
    first_night_on TEXT NOT NULL,
    nights BIGINT NOT NULL,
    due_at BIGINT NOT NULL,
    status TEXT NOT NULL,
    booked_by TEXT NOT NULL,
    booked_at BIGINT NOT NULL,
    out_at BIGINT,
    out_by TEXT,
    out TEXT NOT NULL,
    back_at BIGINT,
    back_by TEXT,
    back TEXT NOT NULL,
    because TEXT,
    repeats_night BIGINT
);
-- Whatever else goes wrong, the database itself lets one monitor be out on one loan only.
CREATE UNIQUE INDEX loan_one_out ON loan (monitor) WHERE status = 'out';
CREATE INDEX loan_person ON loan (person);
CREATE INDEX loan_study ON loan (study);
CREATE INDEX loan_status ON loan (status, first_night_on);
CREATE INDEX loan_monitor ON loan (monitor, first_night_on);

CREATE TABLE loan_night (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    loan BIGINT NOT NULL REFERENCES loan (id),
    monitor BIGINT NOT NULL REFERENCES monitor (id),
    night_on TEXT NOT NULL,
    freed BOOLEAN NOT NULL
);
CREATE UNIQUE INDEX loan_night_once ON loan_night (monitor, night_on) WHERE NOT freed;
CREATE INDEX loan_night_loan ON loan_night (loan);
CREATE INDEX loan_night_on ON loan_night (night_on);

CREATE TABLE movement (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    monitor BIGINT NOT NULL REFERENCES monitor (id),
    at BIGINT NOT NULL,
    who TEXT NOT NULL,
    before TEXT NOT NULL,
    after TEXT NOT NULL,
    loan BIGINT,
    what TEXT NOT NULL
);
CREATE INDEX movement_monitor ON movement (monitor, at);

CREATE TABLE monitor_check (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    monitor BIGINT NOT NULL REFERENCES monitor (id),
    loan BIGINT,
    at BIGINT NOT NULL,
    who TEXT NOT NULL,
    made TEXT NOT NULL,
    gas BIGINT REFERENCES consumable (id),
    expected_kpa DOUBLE PRECISION,
    observed_kpa DOUBLE PRECISION,
    pressure_kpa DOUBLE PRECISION,
    clock_ahead_s BIGINT,
    parts TEXT NOT NULL,
    missing TEXT NOT NULL,
    passed BOOLEAN NOT NULL,
    note TEXT
);
CREATE INDEX monitor_check_monitor ON monitor_check (monitor, at);

CREATE TABLE cleaning (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    monitor BIGINT NOT NULL REFERENCES monitor (id),
    loan BIGINT,
    at BIGINT NOT NULL,
    who TEXT NOT NULL,
    method TEXT NOT NULL,
    wiped BOOLEAN NOT NULL
);
CREATE INDEX cleaning_monitor ON cleaning (monitor, at);

CREATE TABLE chase (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    loan BIGINT NOT NULL REFERENCES loan (id),
    at BIGINT NOT NULL,
    who TEXT NOT NULL,
    how TEXT NOT NULL,
    outcome TEXT NOT NULL
);
CREATE INDEX chase_loan ON chase (loan, at);

CREATE TABLE original (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    sha256 TEXT NOT NULL UNIQUE,
    name TEXT NOT NULL,
    length BIGINT NOT NULL,
    format TEXT NOT NULL,
    serial TEXT,
    received_at BIGINT NOT NULL,
    who TEXT NOT NULL,
    destroyed_at BIGINT,
    destroyed_because TEXT
);

-- The bytes themselves, deflated, by the hash of what they were. Also the signed papers.
CREATE TABLE bytes (
    sha256 TEXT PRIMARY KEY,
    length BIGINT NOT NULL,
    deflated {bytes} NOT NULL
);

CREATE TABLE night (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    original BIGINT NOT NULL REFERENCES original (id),
    from_s BIGINT NOT NULL,
    to_s BIGINT NOT NULL,
    start_at BIGINT NOT NULL,
    end_at BIGINT NOT NULL,
    status TEXT NOT NULL,
    loan BIGINT REFERENCES loan (id),
    person BIGINT REFERENCES person (id),
    study BIGINT REFERENCES study (id),
    doubts TEXT NOT NULL,
    settled_by TEXT,
    settled_because TEXT,
    notes TEXT NOT NULL,
    result BIGINT
);
CREATE UNIQUE INDEX night_once ON night (original, from_s);
CREATE INDEX night_status ON night (status);
CREATE INDEX night_person ON night (person);
CREATE INDEX night_loan ON night (loan);

CREATE TABLE outcome (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    night BIGINT NOT NULL REFERENCES night (id),
    at BIGINT NOT NULL,
    criteria TEXT NOT NULL,
    criteria_version TEXT NOT NULL,
    criteria_sha256 TEXT NOT NULL,
    engine TEXT NOT NULL,
    notes_sha256 TEXT NOT NULL,
    verdict TEXT NOT NULL,
    reason TEXT,
    believed_h DOUBLE PRECISION NOT NULL,
    scores TEXT NOT NULL
);
CREATE INDEX outcome_night ON outcome (night);

CREATE TABLE diary_entry (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    loan BIGINT NOT NULL REFERENCES loan (id),
    night_on TEXT NOT NULL,
    lines TEXT NOT NULL,
    representative TEXT NOT NULL,
    at BIGINT NOT NULL,
    who TEXT NOT NULL,
    replaces BIGINT REFERENCES diary_entry (id)
);
CREATE INDEX diary_entry_loan ON diary_entry (loan);

CREATE TABLE report (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    night BIGINT NOT NULL REFERENCES night (id),
    version BIGINT NOT NULL,
    outcome BIGINT NOT NULL REFERENCES outcome (id),
    content TEXT NOT NULL,
    pdf_sha256 TEXT,
    signed_by TEXT,
    signed_at BIGINT,
    interpretation TEXT,
    interpreted_by TEXT,
    interpreted_at BIGINT,
    replaces BIGINT REFERENCES report (id),
    because TEXT,
    withdrawn_at BIGINT
);
CREATE UNIQUE INDEX report_version ON report (night, version);

CREATE TABLE setting (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    name TEXT NOT NULL,
    value TEXT NOT NULL,
    at BIGINT NOT NULL,
    who TEXT NOT NULL
);
CREATE INDEX setting_name ON setting (name, id);

-- Sessions and failed logins come and go; their comings and goings are acts, these rows are not records.
CREATE TABLE session (
    token_sha256 TEXT PRIMARY KEY,
    account BIGINT NOT NULL REFERENCES account (id),
    station TEXT NOT NULL,
    began_at BIGINT NOT NULL,
    seen_at BIGINT NOT NULL
);

CREATE TABLE failed_login (
    id TEXT PRIMARY KEY,
    failures BIGINT NOT NULL,
    until_at BIGINT NOT NULL
);

INSERT INTO gate (id, seq, at, hash) VALUES (1, 0, 0, '0000000000000000000000000000000000000000000000000000000000000000');
