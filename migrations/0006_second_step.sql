-- The second step of signing in: codes by RFC 6238, and codes on paper for whoever loses the device.
CREATE TABLE second_step (
    kind          TEXT NOT NULL,
    login         TEXT NOT NULL,
    secret        TEXT NOT NULL,         -- hexadecimal; the server has to know it, so the file is as good as the device
    confirmed_at  INTEGER,               -- none until a first code was right
    last_step     INTEGER NOT NULL,      -- of the newest code that was taken: none is taken twice
    PRIMARY KEY (kind, login),
    FOREIGN KEY (kind, login) REFERENCES account (kind, login) ON DELETE CASCADE
) STRICT;

CREATE TABLE recovery_code (
    kind       TEXT NOT NULL,
    login      TEXT NOT NULL,
    code_hash  TEXT NOT NULL,            -- SHA-256
    PRIMARY KEY (kind, login, code_hash),
    FOREIGN KEY (kind, login) REFERENCES account (kind, login) ON DELETE CASCADE
) STRICT;

-- Somebody whose password was right and whose second step is still to come.
CREATE TABLE half_sign_in (
    ticket_hash  TEXT PRIMARY KEY,       -- SHA-256
    kind         TEXT NOT NULL,
    login        TEXT NOT NULL,
    at           INTEGER NOT NULL,
    FOREIGN KEY (kind, login) REFERENCES account (kind, login) ON DELETE CASCADE
) STRICT;

-- What the course asks of those who sign in: a row where it asks.
CREATE TABLE sign_in_rule (
    name  TEXT PRIMARY KEY CHECK (name IN ('second-step-of-staff'))
) STRICT;
