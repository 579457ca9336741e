-- Notes between a student and staff, whether a course shows true values, and names for drafts.

-- What was said about a submission. A student's note asks for another look.
CREATE TABLE note (
    id          INTEGER PRIMARY KEY,
    experiment  TEXT NOT NULL,
    student_id  TEXT NOT NULL REFERENCES student (id),
    from_staff  INTEGER NOT NULL CHECK (from_staff IN (0, 1)),
    text        TEXT NOT NULL,
    by_login    TEXT NOT NULL,
    at          INTEGER NOT NULL
) STRICT;

CREATE TRIGGER note_kept BEFORE UPDATE ON note
BEGIN SELECT RAISE(ABORT, 'note is append-only: a row is never changed'); END;
CREATE TRIGGER note_kept_whole BEFORE DELETE ON note
BEGIN SELECT RAISE(ABORT, 'note is append-only: a row is never removed'); END;

-- 1: students see the true value of their bottle once results are out for everybody.
ALTER TABLE experiment ADD COLUMN show_truth INTEGER NOT NULL DEFAULT 0 CHECK (show_truth IN (0, 1));

-- A name for the drafts of an account in browsers, by which nobody can be told.
CREATE TABLE draft_owner (
    kind   TEXT NOT NULL,
    login  TEXT NOT NULL,
    name   TEXT NOT NULL DEFAULT (lower(hex(randomblob(12)))),
    PRIMARY KEY (kind, login),
    FOREIGN KEY (kind, login) REFERENCES account (kind, login)
) STRICT;
INSERT INTO draft_owner (kind, login) SELECT kind, login FROM account;
CREATE TRIGGER account_named AFTER INSERT ON account
BEGIN INSERT INTO draft_owner (kind, login) VALUES (new.kind, new.login); END;
CREATE TRIGGER account_unnamed BEFORE DELETE ON account
BEGIN DELETE FROM draft_owner WHERE kind = old.kind AND login = old.login; END;
