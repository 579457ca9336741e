-- The prep room: its people, and how long its bottles keep.

-- A check cannot be altered: the table is made again with one role more.
CREATE TABLE staff_with_prep (
    login     TEXT PRIMARY KEY COLLATE NOCASE,
    position  INTEGER NOT NULL,
    name      TEXT NOT NULL,
    role      TEXT NOT NULL CHECK (role IN ('coordinator', 'assistant', 'prep')),
    sections  TEXT NOT NULL          -- one to a line: a name may have spaces in it
) STRICT;
INSERT INTO staff_with_prep (login, position, name, role, sections)
    SELECT login, position, name, role, sections FROM staff;
DROP TABLE staff;
ALTER TABLE staff_with_prep RENAME TO staff;

-- When a lot or an unknown was made and until when it keeps; the newest counts.
CREATE TABLE shelf_life (
    id          INTEGER PRIMARY KEY,
    experiment  TEXT,                -- none: a lot
    code        TEXT NOT NULL,
    made        TEXT,                -- dates as in 2026-10-05
    expires     TEXT,
    by_login    TEXT NOT NULL,
    at          INTEGER NOT NULL
) STRICT;

CREATE TRIGGER shelf_life_kept BEFORE UPDATE ON shelf_life
BEGIN SELECT RAISE(ABORT, 'shelf_life is append-only: a row is never changed'); END;
CREATE TRIGGER shelf_life_kept_whole BEFORE DELETE ON shelf_life
BEGIN SELECT RAISE(ABORT, 'shelf_life is append-only: a row is never removed'); END;
