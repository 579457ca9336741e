-- Browsers from which somebody was let in before: what others try with the same login holds them up no longer.
CREATE TABLE known_browser (
    browser_hash  TEXT NOT NULL,         -- SHA-256 of what its cookie holds
    login_hash    TEXT NOT NULL,         -- as in sign_in_failure
    used_at       INTEGER NOT NULL,
    PRIMARY KEY (browser_hash, login_hash)
) STRICT;
CREATE INDEX known_browser_login ON known_browser (login_hash);
