-- A course is the journal of what was changed in it, in order. Everything else here follows from it.
--
-- Instants are INTEGER milliseconds since 1970-01-01T00:00Z. Within bodies they are text as in 2026-10-01T12:00:00Z, and
-- decimal numbers are text exactly as they were written: SQL never adds or orders them.

CREATE TABLE journal (
    seq         INTEGER PRIMARY KEY,   -- 1, 2, … without a gap; that of a hand-in is the number of its receipt
    at          INTEGER NOT NULL,
    by_login    TEXT NOT NULL,         -- who made it; a student's is their key in `person`
    kind        TEXT NOT NULL,
    body        TEXT NOT NULL CHECK (json_valid(body)),
    judgements  TEXT NOT NULL,         -- SHA-256 over the judgements written with it; empty if there are none
    previous    TEXT NOT NULL,         -- hash of the row before; empty for the first
    hash        TEXT NOT NULL          -- SHA-256 of the JSON array of previous, seq, at, by_login, kind, body, judgements
) STRICT;
CREATE INDEX journal_kind ON journal (kind);
CREATE INDEX journal_student ON journal (body ->> '$.student') WHERE kind = 'student';
-- a request brings one hand-in, however often it is sent
CREATE UNIQUE INDEX journal_request ON journal (body ->> '$.key') WHERE kind = 'hand-in';

-- Who the students are: the only place with their numbers, names and addresses. A row for every time one was entered;
-- the journal knows a student by the key and what the row says by the commitment. Removing a student's rows removes
-- who they are and leaves the journal whole.
CREATE TABLE person (
    id           INTEGER PRIMARY KEY,
    key          TEXT NOT NULL,        -- random, the same in all rows of a student
    number       TEXT NOT NULL,        -- at the institution
    family_name  TEXT NOT NULL,
    given_name   TEXT NOT NULL,
    email        TEXT NOT NULL,
    salt         TEXT NOT NULL,        -- random, so that nobody finds a name by trying names
    commitment   TEXT NOT NULL UNIQUE  -- SHA-256 of the JSON array of salt, number, family_name, given_name, email
) STRICT;
CREATE INDEX person_number ON person (number);
CREATE INDEX person_key ON person (key);

-- Every judgement ever made, as the program that made it wrote it; the newest counts. All of it can be made again.
CREATE TABLE judgement (
    id          INTEGER PRIMARY KEY,
    seq         INTEGER NOT NULL REFERENCES journal (seq),   -- the change it was written with
    experiment  TEXT NOT NULL,
    student     TEXT NOT NULL,         -- key in `person`
    schema      INTEGER NOT NULL,      -- which form the document has
    document    TEXT NOT NULL CHECK (json_valid(document))   -- null: nothing is left to judge
) STRICT;
CREATE INDEX judgement_of ON judgement (experiment, student, id);
CREATE INDEX judgement_seq ON judgement (seq);

CREATE TRIGGER journal_kept BEFORE UPDATE ON journal
BEGIN SELECT RAISE(ABORT, 'journal is append-only: a row is never changed'); END;
CREATE TRIGGER journal_kept_whole BEFORE DELETE ON journal
BEGIN SELECT RAISE(ABORT, 'journal is append-only: a row is never removed'); END;

CREATE TRIGGER judgement_kept BEFORE UPDATE ON judgement
BEGIN SELECT RAISE(ABORT, 'judgement is append-only: a row is never changed'); END;
CREATE TRIGGER judgement_kept_whole BEFORE DELETE ON judgement
BEGIN SELECT RAISE(ABORT, 'judgement is append-only: a row is never removed'); END;

CREATE TRIGGER person_kept BEFORE UPDATE ON person
BEGIN SELECT RAISE(ABORT, 'person is append-only: a row is never changed'); END;
