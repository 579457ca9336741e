-- A course and everything handed in for it.
--
-- Decimal numbers are TEXT exactly as they were written: SQL never adds or orders them.
-- Instants are INTEGER milliseconds since 1970-01-01T00:00Z.
-- Raw data, values, decisions and evaluations are append-only: triggers below refuse any change or removal.

-- One course to a database.
CREATE TABLE course (
    id         INTEGER PRIMARY KEY CHECK (id = 1),
    title      TEXT NOT NULL,
    term       TEXT NOT NULL,
    time_zone  TEXT NOT NULL,
    glassware  TEXT              -- the course's own glassware file
) STRICT;

-- Texts of procedure files, every version that was ever used.
CREATE TABLE procedure (
    id    INTEGER PRIMARY KEY,
    key   TEXT NOT NULL,
    text  TEXT NOT NULL
) STRICT;

CREATE TABLE experiment (
    id         INTEGER PRIMARY KEY,
    key        TEXT NOT NULL UNIQUE,
    procedure  TEXT NOT NULL,    -- key of its procedure; the newest text counts
    opens      TEXT NOT NULL,    -- local time in the course's zone
    due        TEXT NOT NULL,
    marking    TEXT,             -- TOML that replaces the procedure's table
    trials     TEXT
) STRICT;

CREATE TABLE section_lot (
    experiment_id  INTEGER NOT NULL REFERENCES experiment (id),
    section        TEXT NOT NULL,
    titrant        TEXT,
    excess         TEXT,
    PRIMARY KEY (experiment_id, section)
) STRICT;

CREATE TABLE student (
    id           TEXT PRIMARY KEY,
    position     INTEGER NOT NULL,   -- order on the roster
    family_name  TEXT NOT NULL,
    given_name   TEXT NOT NULL,
    section      TEXT NOT NULL,
    email        TEXT NOT NULL
) STRICT;

CREATE TABLE staff (
    login     TEXT PRIMARY KEY COLLATE NOCASE,
    position  INTEGER NOT NULL,
    name      TEXT NOT NULL,
    role      TEXT NOT NULL CHECK (role IN ('coordinator', 'assistant')),
    sections  TEXT NOT NULL          -- one to a line: a name may have spaces in it
) STRICT;

-- Every value a lot ever had; the newest counts.
CREATE TABLE lot_value (
    id                    INTEGER PRIMARY KEY,
    lot                   TEXT NOT NULL,
    version               INTEGER NOT NULL,
    reagent               TEXT NOT NULL,
    molarity              TEXT NOT NULL,
    standard_uncertainty  TEXT NOT NULL,
    record                TEXT,          -- preparation record, TOML
    reason                TEXT NOT NULL,
    by_login              TEXT NOT NULL,
    at                    INTEGER NOT NULL,
    UNIQUE (lot, version)
) STRICT;

-- Every value an unknown ever had; the newest counts. The secret of the course.
CREATE TABLE unknown_value (
    id                    INTEGER PRIMARY KEY,
    experiment            TEXT NOT NULL,
    unknown               TEXT NOT NULL,
    version               INTEGER NOT NULL,
    true_value            TEXT NOT NULL,
    standard_uncertainty  TEXT NOT NULL,
    record                TEXT,
    reason                TEXT NOT NULL,
    by_login              TEXT NOT NULL,
    at                    INTEGER NOT NULL,
    UNIQUE (experiment, unknown, version)
) STRICT;

-- Every bottle ever given to a student; the newest counts.
CREATE TABLE issue (
    id          INTEGER PRIMARY KEY,
    experiment  TEXT NOT NULL,
    student_id  TEXT NOT NULL REFERENCES student (id),
    unknown     TEXT NOT NULL,
    by_login    TEXT NOT NULL,
    at          INTEGER NOT NULL
) STRICT;

CREATE TABLE bench_group (
    experiment  TEXT NOT NULL,
    student_id  TEXT NOT NULL REFERENCES student (id),
    name        TEXT NOT NULL,
    PRIMARY KEY (experiment, student_id)
) STRICT;

-- What was handed in, one row a revision, the readings as one JSON document. The id is the receipt's number.
CREATE TABLE submission (
    id            INTEGER PRIMARY KEY AUTOINCREMENT,
    experiment    TEXT NOT NULL,
    student_id    TEXT NOT NULL REFERENCES student (id),
    revision      INTEGER NOT NULL,
    request_key   TEXT UNIQUE,       -- names the request, so that a repeat gets the same receipt
    document      TEXT NOT NULL CHECK (json_valid(document)),
    hash          TEXT NOT NULL,     -- SHA-256 of the document
    submitted_at  INTEGER,
    reason        TEXT NOT NULL,
    by_login      TEXT NOT NULL,
    recorded_at   INTEGER NOT NULL,
    UNIQUE (experiment, student_id, revision)
) STRICT;

-- Points given by hand; the newest counts.
CREATE TABLE by_hand (
    id          INTEGER PRIMARY KEY,
    experiment  TEXT NOT NULL,
    student_id  TEXT NOT NULL REFERENCES student (id),
    points      TEXT NOT NULL,
    by_login    TEXT NOT NULL,
    at          INTEGER NOT NULL
) STRICT;

CREATE TABLE decision (
    id          INTEGER PRIMARY KEY,
    experiment  TEXT NOT NULL,
    student_id  TEXT NOT NULL REFERENCES student (id),
    ruling      TEXT NOT NULL CHECK (json_valid(ruling)),
    revision    INTEGER NOT NULL,    -- how many revisions there were when it was made
    reason      TEXT NOT NULL,
    by_login    TEXT NOT NULL,
    at          INTEGER NOT NULL
) STRICT;

-- Releases and withdrawals; the newest counts.
CREATE TABLE release (
    id           INTEGER PRIMARY KEY,
    experiment   TEXT NOT NULL,
    released_at  INTEGER,            -- none: withdrawn
    by_login     TEXT NOT NULL,
    at           INTEGER NOT NULL
) STRICT;

-- Every judgement ever made; the newest counts.
CREATE TABLE evaluation (
    id          INTEGER PRIMARY KEY,
    experiment  TEXT NOT NULL,
    student_id  TEXT NOT NULL REFERENCES student (id),
    document    TEXT NOT NULL CHECK (json_valid(document)),
    at          INTEGER NOT NULL
) STRICT;
CREATE INDEX evaluation_of ON evaluation (experiment, student_id, id);

-- Who did what when, by ids only. Each row's hash covers the row and the hash before it.
CREATE TABLE event (
    id        INTEGER PRIMARY KEY,
    at        INTEGER NOT NULL,
    by_login  TEXT NOT NULL,
    what      TEXT NOT NULL,
    subject   TEXT NOT NULL,
    hash      TEXT NOT NULL
) STRICT;

CREATE TRIGGER procedure_kept BEFORE UPDATE ON procedure
BEGIN SELECT RAISE(ABORT, 'procedure is append-only: a row is never changed'); END;
CREATE TRIGGER procedure_kept_whole BEFORE DELETE ON procedure
BEGIN SELECT RAISE(ABORT, 'procedure is append-only: a row is never removed'); END;

CREATE TRIGGER lot_value_kept BEFORE UPDATE ON lot_value
BEGIN SELECT RAISE(ABORT, 'lot_value is append-only: a row is never changed'); END;
CREATE TRIGGER lot_value_kept_whole BEFORE DELETE ON lot_value
BEGIN SELECT RAISE(ABORT, 'lot_value is append-only: a row is never removed'); END;

CREATE TRIGGER unknown_value_kept BEFORE UPDATE ON unknown_value
BEGIN SELECT RAISE(ABORT, 'unknown_value is append-only: a row is never changed'); END;
CREATE TRIGGER unknown_value_kept_whole BEFORE DELETE ON unknown_value
BEGIN SELECT RAISE(ABORT, 'unknown_value is append-only: a row is never removed'); END;

CREATE TRIGGER issue_kept BEFORE UPDATE ON issue
BEGIN SELECT RAISE(ABORT, 'issue is append-only: a row is never changed'); END;
CREATE TRIGGER issue_kept_whole BEFORE DELETE ON issue
BEGIN SELECT RAISE(ABORT, 'issue is append-only: a row is never removed'); END;

CREATE TRIGGER submission_kept BEFORE UPDATE ON submission
BEGIN SELECT RAISE(ABORT, 'submission is append-only: a row is never changed'); END;
CREATE TRIGGER submission_kept_whole BEFORE DELETE ON submission
BEGIN SELECT RAISE(ABORT, 'submission is append-only: a row is never removed'); END;

CREATE TRIGGER by_hand_kept BEFORE UPDATE ON by_hand
BEGIN SELECT RAISE(ABORT, 'by_hand is append-only: a row is never changed'); END;
CREATE TRIGGER by_hand_kept_whole BEFORE DELETE ON by_hand
BEGIN SELECT RAISE(ABORT, 'by_hand is append-only: a row is never removed'); END;

CREATE TRIGGER decision_kept BEFORE UPDATE ON decision
BEGIN SELECT RAISE(ABORT, 'decision is append-only: a row is never changed'); END;
CREATE TRIGGER decision_kept_whole BEFORE DELETE ON decision
BEGIN SELECT RAISE(ABORT, 'decision is append-only: a row is never removed'); END;

CREATE TRIGGER release_kept BEFORE UPDATE ON release
BEGIN SELECT RAISE(ABORT, 'release is append-only: a row is never changed'); END;
CREATE TRIGGER release_kept_whole BEFORE DELETE ON release
BEGIN SELECT RAISE(ABORT, 'release is append-only: a row is never removed'); END;

CREATE TRIGGER evaluation_kept BEFORE UPDATE ON evaluation
BEGIN SELECT RAISE(ABORT, 'evaluation is append-only: a row is never changed'); END;
CREATE TRIGGER evaluation_kept_whole BEFORE DELETE ON evaluation
BEGIN SELECT RAISE(ABORT, 'evaluation is append-only: a row is never removed'); END;

CREATE TRIGGER event_kept BEFORE UPDATE ON event
BEGIN SELECT RAISE(ABORT, 'event is append-only: a row is never changed'); END;
CREATE TRIGGER event_kept_whole BEFORE DELETE ON event
BEGIN SELECT RAISE(ABORT, 'event is append-only: a row is never removed'); END;
