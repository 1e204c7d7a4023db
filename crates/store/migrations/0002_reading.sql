-- One version of what is judged of a night by hand. Undo and redo are versions too: they say where they go.
CREATE TABLE notes_version (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    night BIGINT NOT NULL REFERENCES night (id),
    text TEXT NOT NULL,
    criteria TEXT NOT NULL,
    outcome BIGINT NOT NULL REFERENCES outcome (id),
    at BIGINT NOT NULL,
    who TEXT NOT NULL,
    what TEXT NOT NULL,
    because TEXT,
    replaces BIGINT REFERENCES notes_version (id),
    goes_to BIGINT REFERENCES notes_version (id)
);
CREATE INDEX notes_version_night ON notes_version (night, id);
