-- What is arranged while the term is running: dates of sections and of single students, bottles given in place of
-- others, results released to single sections, students who have left, and the texts that others replaced.

ALTER TABLE student ADD COLUMN left_on TEXT;                      -- the day they left; none: on the course
ALTER TABLE issue ADD COLUMN reason TEXT NOT NULL DEFAULT '';     -- why it replaced the one before; empty for the first
ALTER TABLE release ADD COLUMN section TEXT;                      -- none: every section

CREATE TABLE section_date (
    experiment_id  INTEGER NOT NULL REFERENCES experiment (id),
    section        TEXT NOT NULL,
    opens          TEXT,
    due            TEXT,
    PRIMARY KEY (experiment_id, section)
) STRICT;

-- Other dates for one student; the newest counts, and one without date or section takes the others back.
CREATE TABLE extension (
    id          INTEGER PRIMARY KEY,
    experiment  TEXT NOT NULL,
    student_id  TEXT NOT NULL REFERENCES student (id),
    due         TEXT,
    section     TEXT,                -- the section they make it up with
    reason      TEXT NOT NULL,
    by_login    TEXT NOT NULL,
    at          INTEGER              -- none: a file did not say
) STRICT;

-- Texts that were replaced, whole.
CREATE TABLE amendment (
    id        INTEGER PRIMARY KEY,
    what      TEXT NOT NULL CHECK (what IN ('marking', 'trials', 'procedure')),
    key       TEXT NOT NULL,
    before    TEXT,                  -- none: the experiment had none of its own
    reason    TEXT NOT NULL,
    by_login  TEXT NOT NULL,
    at        INTEGER NOT NULL
) STRICT;

CREATE TRIGGER extension_kept BEFORE UPDATE ON extension
BEGIN SELECT RAISE(ABORT, 'extension is append-only: a row is never changed'); END;
CREATE TRIGGER extension_kept_whole BEFORE DELETE ON extension
BEGIN SELECT RAISE(ABORT, 'extension is append-only: a row is never removed'); END;

CREATE TRIGGER amendment_kept BEFORE UPDATE ON amendment
BEGIN SELECT RAISE(ABORT, 'amendment is append-only: a row is never changed'); END;
CREATE TRIGGER amendment_kept_whole BEFORE DELETE ON amendment
BEGIN SELECT RAISE(ABORT, 'amendment is append-only: a row is never removed'); END;
