-- Browsers in which somebody has logged in before. Like sessions they come and go and are no rows of the record.
CREATE TABLE device (
    token_sha256 TEXT NOT NULL,
    account BIGINT NOT NULL REFERENCES account (id),
    since_at BIGINT NOT NULL,
    seen_at BIGINT NOT NULL,
    PRIMARY KEY (token_sha256, account)
);

-- Who made the one-time link of an account, and the second person without whom it does not work.
ALTER TABLE account ADD COLUMN once_by TEXT;
ALTER TABLE account ADD COLUMN once_seconded_by TEXT;
