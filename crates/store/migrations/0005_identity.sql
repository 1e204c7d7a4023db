-- A night tied by hand, or proposed to be, with what speaks against it and who agreed.
CREATE TABLE night_tie (
    id BIGINT PRIMARY KEY,
    act BIGINT NOT NULL,
    night BIGINT NOT NULL REFERENCES night (id),
    loan BIGINT NOT NULL REFERENCES loan (id),
    status TEXT NOT NULL,
    replaces BIGINT,
    proposed_by TEXT NOT NULL,
    proposed_at BIGINT NOT NULL,
    because TEXT NOT NULL,
    against TEXT NOT NULL,
    open TEXT NOT NULL,
    second_by TEXT,
    second_at BIGINT,
    second_because TEXT,
    ended_by TEXT,
    ended_at BIGINT,
    ended_because TEXT
);
CREATE INDEX night_tie_night ON night_tie (night, id);
-- A proposal waits for one answer.
CREATE UNIQUE INDEX night_tie_proposed ON night_tie (night) WHERE status = 'proposed';
-- What took a night's place. A night that was signed stays with its patient; another stands for the piece of the file.
ALTER TABLE night ADD COLUMN replaced_by BIGINT;
DROP INDEX night_once;
CREATE UNIQUE INDEX night_once ON night (original, from_s) WHERE status <> 'set_aside';
-- A check that was typed wrong speaks for no night.
ALTER TABLE monitor_check ADD COLUMN voided_at BIGINT;
ALTER TABLE monitor_check ADD COLUMN voided_by TEXT;
ALTER TABLE monitor_check ADD COLUMN voided_because TEXT;
