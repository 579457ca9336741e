-- Who came in, who was kept out, what was printed, seen and taken away. Nothing here is a change of the course.
--
-- Rows are kept, each with a hash over all of it and the hash before. `head` is the newest row of the journal at that
-- time, so that each of the two shows what was cut off the other. Students stand here by their key in `person`, and
-- where somebody was in a table of its own, by a commitment: an address removed leaves the rest whole.
CREATE TABLE access_event (
    id        INTEGER PRIMARY KEY,   -- 1, 2, … without a gap
    at        INTEGER NOT NULL,
    what      TEXT NOT NULL,
    kind      TEXT NOT NULL,         -- of the account it is about; empty if it is about none
    who       TEXT NOT NULL,         -- its login; a student's key
    by_login  TEXT NOT NULL,         -- who did it, if it was somebody else
    subject   TEXT NOT NULL,         -- what was seen or taken away; of a password, the SHA-256 of its hash
    head      TEXT NOT NULL,         -- number and hash of the newest row of the journal; empty if there was none
    place     TEXT NOT NULL,         -- SHA-256 of the JSON array of salt and address in access_place; empty if none
    previous  TEXT NOT NULL,
    hash      TEXT NOT NULL          -- SHA-256 of the JSON array of all these columns, `previous` first
) STRICT;
CREATE INDEX access_event_who ON access_event (kind, who, id);

CREATE TABLE access_place (
    event    INTEGER PRIMARY KEY REFERENCES access_event (id),
    salt     TEXT NOT NULL,
    address  TEXT NOT NULL
) STRICT;

CREATE TRIGGER access_event_kept BEFORE UPDATE ON access_event
BEGIN SELECT RAISE(ABORT, 'access_event is append-only: a row is never changed'); END;
CREATE TRIGGER access_event_kept_whole BEFORE DELETE ON access_event
BEGIN SELECT RAISE(ABORT, 'access_event is append-only: a row is never removed'); END;
CREATE TRIGGER access_place_kept BEFORE UPDATE ON access_place
BEGIN SELECT RAISE(ABORT, 'access_place is never changed'); END;
