-- A night chosen for a second, blind reading. It never touches the night itself.
CREATE TABLE second_reading (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    night BIGINT NOT NULL REFERENCES night (id),
    how TEXT NOT NULL,
    drawn_by TEXT NOT NULL,
    drawn_at BIGINT NOT NULL,
    draw TEXT NOT NULL,
    reader TEXT,
    begun_at BIGINT,
    seen_before BIGINT NOT NULL,
    criteria_sha256 TEXT,
    steps TEXT NOT NULL,
    here BIGINT NOT NULL,
    verdict TEXT,
    scores TEXT NOT NULL,
    before TEXT NOT NULL,
    finished_at BIGINT,
    pair TEXT NOT NULL,
    withdrawn_at BIGINT,
    withdrawn_because TEXT
);
CREATE INDEX second_reading_night ON second_reading (night, id);
