-- Why a night is repeated, for the desk: of the recording, no findings.
ALTER TABLE loan ADD COLUMN repeats_because TEXT;
