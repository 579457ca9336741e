-- Who may sign in, and who is signed in.
--
-- Nothing here is a change of the course, and no key leads from here into its tables or back. An account belongs to
-- somebody on the staff list or the roster, named by kind and login, so that a student whose id happens
-- to be the login of a member of staff never gets that person's rights. Secrets are kept only as hashes.
-- Instants are INTEGER milliseconds since 1970-01-01T00:00Z.

CREATE TABLE account (
    kind           TEXT NOT NULL CHECK (kind IN ('staff', 'student')),
    login          TEXT NOT NULL,        -- as on that list
    password_hash  TEXT,                 -- PHC string; none until the account is claimed
    created_at     INTEGER NOT NULL,
    disabled_at    INTEGER,
    PRIMARY KEY (kind, login)
) STRICT;

-- One-time codes with which a person sets a first password, or a new one.
CREATE TABLE claim_code (
    id          INTEGER PRIMARY KEY,
    kind        TEXT NOT NULL,
    login       TEXT NOT NULL,
    code_hash   TEXT NOT NULL UNIQUE,    -- SHA-256
    issued_at   INTEGER NOT NULL,
    expires_at  INTEGER NOT NULL,
    used_at     INTEGER,
    FOREIGN KEY (kind, login) REFERENCES account (kind, login)
) STRICT;
CREATE INDEX claim_code_of ON claim_code (kind, login);

CREATE TABLE session (
    token_hash    TEXT PRIMARY KEY,      -- SHA-256 of what the cookie holds
    kind          TEXT NOT NULL,
    login         TEXT NOT NULL,
    created_at    INTEGER NOT NULL,
    last_seen_at  INTEGER NOT NULL,
    FOREIGN KEY (kind, login) REFERENCES account (kind, login)
) STRICT;
CREATE INDEX session_of ON session (kind, login);

-- Attempts to sign in or claim that have not succeeded, kept for a quarter of an hour.
CREATE TABLE sign_in_failure (
    id          INTEGER PRIMARY KEY,
    login_hash  TEXT NOT NULL,           -- of what was typed: people type passwords into the wrong field
    address     TEXT NOT NULL,
    at          INTEGER NOT NULL
) STRICT;
CREATE INDEX sign_in_failure_login ON sign_in_failure (login_hash, at);
CREATE INDEX sign_in_failure_address ON sign_in_failure (address, at);

-- A name for the drafts of an account in browsers, by which nobody can be told.
CREATE TABLE draft_owner (
    kind   TEXT NOT NULL,
    login  TEXT NOT NULL,
    name   TEXT NOT NULL DEFAULT (lower(hex(randomblob(12)))),
    PRIMARY KEY (kind, login),
    FOREIGN KEY (kind, login) REFERENCES account (kind, login)
) STRICT;
CREATE TRIGGER account_named AFTER INSERT ON account
BEGIN INSERT INTO draft_owner (kind, login) VALUES (new.kind, new.login); END;
CREATE TRIGGER account_unnamed BEFORE DELETE ON account
BEGIN DELETE FROM draft_owner WHERE kind = old.kind AND login = old.login; END;
