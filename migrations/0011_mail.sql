-- Mail and calendars. Nothing here is a change of the course: what is to be sent follows from the journal, row by row,
-- and from what the coordinator asks for. No text of a mail is kept, and no code: both are made when it is sent.
CREATE TABLE mail_course (
    one     INTEGER PRIMARY KEY CHECK (one = 1),
    wanted  INTEGER NOT NULL,            -- whether the course sends mail of its own accord
    seq     INTEGER NOT NULL             -- the newest row of the journal that was gone through
) STRICT;
INSERT INTO mail_course (one, wanted, seq) VALUES (1, 0, 0);

CREATE TABLE mail (
    id          INTEGER PRIMARY KEY,
    event       TEXT NOT NULL UNIQUE,    -- what it is about: nothing is queued for it twice
    what        TEXT NOT NULL CHECK (what IN ('code', 'returned', 'released', 'digest')),
    kind        TEXT NOT NULL CHECK (kind IN ('staff', 'student')),
    who         TEXT NOT NULL,           -- a login, or a student's key in `person`
    experiment  TEXT NOT NULL,           -- empty where it is about none
    queued_at   INTEGER NOT NULL,
    state       TEXT NOT NULL CHECK (state IN ('waiting', 'sent', 'refused', 'dropped')),
    tries       INTEGER NOT NULL,
    next_at     INTEGER NOT NULL,        -- when it is tried next; put forward before it is tried, so that nobody else tries it
    ended_at    INTEGER,
    why         TEXT NOT NULL,           -- why it waits, was refused or dropped
    address     TEXT NOT NULL            -- where it was last tried; empty if nowhere, or if who it was for was taken out
) STRICT;
CREATE INDEX mail_waiting ON mail (next_at) WHERE state = 'waiting';
CREATE INDEX mail_who ON mail (kind, who);

-- What people chose. No row: students get mail at the address on the roster, staff none.
CREATE TABLE mail_choice (
    kind     TEXT NOT NULL,
    who      TEXT NOT NULL,              -- as in `mail`
    wanted   INTEGER NOT NULL,
    address  TEXT NOT NULL,              -- of staff, whose list has none; empty for students
    PRIMARY KEY (kind, who)
) STRICT;

-- Addresses of calendars. The secret stands here as it is, for its owner to look at again: it opens due dates alone,
-- which whoever has this file has anyway.
CREATE TABLE calendar (
    kind     TEXT NOT NULL,
    who      TEXT NOT NULL,              -- as in `mail`
    secret   TEXT NOT NULL UNIQUE,
    made_at  INTEGER NOT NULL,
    PRIMARY KEY (kind, who)
) STRICT;
